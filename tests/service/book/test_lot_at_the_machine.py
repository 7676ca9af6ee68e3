"""Two lots of one wood are told apart where a piece is burnt: in its program, on the run sheet, and in a card's program."""

from __future__ import annotations

import re
import zipfile
from io import BytesIO
from pathlib import Path

import pytest
from pypdf import PdfReader

from evenburn.adapters.formats.ngc_writer import WIDEST_COMMENT
from evenburn.adapters.print.faces import SANS, shorten_middle, width_mm
from evenburn.adapters.storage.book.opening import Book
from evenburn.services.book.change_wood import NewWood, change_wood, new_wood
from evenburn.services.book.edit_piece import change_piece
from evenburn.services.book.lay_out import lay_out_batch
from evenburn.services.book.machine_cards import make_machine_card, packed_card
from evenburn.services.book.open_book import open_book_at
from evenburn.services.book.plan_piece import plan_of, plan_piece
from evenburn.services.book.take_in import TakenIn, take_in_batch
from evenburn.services.book.woods_of import list_woods
from evenburn.services.verify_program import verify_program
from service.book.conftest import LATER, NOW

LOT = "Hard maple, grün, lot HM-2"


def put_in(book: Book, called: str = LOT) -> str:
    return str(new_wood(book, NewWood(called=called, begins="same", of="hard-maple"), now=NOW).key)


@pytest.fixture
def lot(book: Book, taken: TakenIn) -> str:
    wood_id = put_in(book)
    change_piece(book, taken.piece_ids[0], {"wood": wood_id}, version=1, now=NOW)
    return wood_id


def test_the_lot_stands_in_the_program_and_on_the_run_sheet(book: Book, taken: TakenIn, lot: str) -> None:
    planned = plan_piece(book, taken.piece_ids[0], now=NOW)
    assert planned.summary.programs == 1
    lines = (planned.folder / "plaque-front.ngc").read_text().splitlines()
    assert f"(lot {lot}, called Hard maple, gr?n, lot HM-2)" in lines
    assert lines[lines.index("(wood hard maple, starting value)") + 1].startswith(f"(lot {lot}, called Hard maple")
    assert all(len(line) <= WIDEST_COMMENT + 2 and line.isascii() for line in lines if line.startswith("("))
    assert verify_program(planned.folder / "plaque-front.ngc", planned.batch_folder / "machine.toml").passed
    pages = [page.extract_text() for page in PdfReader(planned.folder / "run-sheet.pdf").pages]
    told = " ".join(" ".join(pages).replace("\u00a0", " ").split())
    assert LOT in told  # at the head of the piece's own sheet
    assert re.search(r"Hard \S+ (lot )?HM-2, 60 × 40 × 12 mm", told)  # in the order of the day, where room is short


def test_a_lot_that_is_called_otherwise_is_planned_anew(book: Book, taken: TakenIn, lot: str) -> None:
    plan_piece(book, taken.piece_ids[0], now=NOW)
    change_wood(book, lot, {"called": "Hard maple, lot HM-3"}, version=1, now=LATER)
    stale = plan_of(book, taken.piece_ids[0])
    assert stale is not None
    assert not stale.fresh


def test_a_folder_keeps_what_its_boards_are_called(book: Book, taken: TakenIn, lot: str, tmp_path: Path) -> None:
    laid = lay_out_batch(book, taken.batch_id, to=tmp_path / "laid")
    assert f'called = "{LOT}"' in (laid.folder / "woods" / f"{lot}.toml").read_text()
    assert "called" not in (laid.folder / "woods" / "beech.toml").read_text()
    other = open_book_at(tmp_path / "other")
    try:
        take_in_batch(other, laid.folder, now=NOW)
        again = take_in_batch(other, laid.folder, now=LATER)
        assert {one.wood_id: one.name for one in list_woods(other).rows} == {lot: LOT, "beech": "beech"}
        text = (laid.folder / "woods" / f"{lot}.toml").read_text().replace("HM-2", "HM-9")
        (laid.folder / "woods" / f"{lot}.toml").write_text(text)
        apart = take_in_batch(other, laid.folder, now=LATER)
        assert (lot in again.wood_ids, lot in apart.wood_ids) == (True, False)  # another lot, kept beside
    finally:
        other.close()


def test_the_lot_stands_in_the_programs_of_a_card(book: Book, taken: TakenIn, lot: str) -> None:
    card_id = make_machine_card(book, taken.machine_id, "beam", wood_id=lot, now=NOW)
    with zipfile.ZipFile(BytesIO(packed_card(book, card_id))) as packed:
        programs = [packed.read(name).decode() for name in packed.namelist() if name.endswith(".ngc")]
    assert programs
    assert all(f"(lot {lot}, called Hard maple" in text for text in programs)


def test_where_a_name_is_shortened_its_end_stays() -> None:
    called = "Hard maple from the sawmill at Osier Lock, delivered in spring, lot HM-2"
    short = shorten_middle(called, SANS, size_pt=7.5, width=40.0)
    assert width_mm(short, SANS, size_pt=7.5) <= 40.0
    assert short.startswith("Hard maple ")
    assert short.endswith(" lot HM-2")
    assert shorten_middle(called, SANS, size_pt=7.5, width=9.0).endswith("HM-2")
    assert shorten_middle("oak", SANS, size_pt=7.5, width=40.0) == "oak"
