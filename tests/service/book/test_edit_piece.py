"""A piece is changed by the keys of batch.toml: what does not hold is told at its key and nothing of it is kept."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.tables import artwork, edit, piece
from evenburn.core.errors import ChangedMeanwhile, InvalidInput, NotFound
from evenburn.services.book.edit_piece import (
    add_artwork,
    apply_fix,
    centre_marks,
    change_piece,
    copy_piece,
    remove_piece,
)
from evenburn.services.book.piece_edits import changes_since
from evenburn.services.book.piece_of import piece_of
from evenburn.services.book.plan_piece import plan_piece
from evenburn.services.book.take_in import TakenIn
from evenburn.services.book.undo import undo_edit
from service.book.conftest import LATER, NOW

EMPTY = b'<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="20mm"/>'


def document(book: Book, piece_id: int) -> dict[str, Any]:
    return piece_of(book, piece_id).document


def test_a_change_is_kept_told_in_words_and_undone(book: Book, taken: TakenIn) -> None:
    id_ = taken.piece_ids[0]
    saved = change_piece(book, id_, {"mark[1].tone_L": 38.0, "place_bed_mm[1]": 210.0}, version=1, now=LATER)
    assert saved.version == 2
    assert saved.what == "Novice plaque: wished tone 40 → 38, from the left 200 → 210"
    assert document(book, id_)["mark"][0]["tone_L"] == 38.0
    assert document(book, id_)["place_bed_mm"] == [210.0, 150.0]
    undo_edit(book, saved.edit_id, now=LATER)
    assert document(book, id_)["mark"][0]["tone_L"] == 40.0


def test_every_fault_stands_at_its_key_and_nothing_is_kept(book: Book, taken: TakenIn) -> None:
    id_ = taken.piece_ids[0]
    wrong = {
        "mark[1].tone_L": 380.0,
        "mark[1].hold.passes": 0,
        "blank.size_mm": [-1.0, 40.0],
        "turn_deg": 900.0,
    }
    with pytest.raises(InvalidInput) as told:
        change_piece(book, id_, wrong, version=1, now=LATER)
    assert set(told.value.fields) == {"mark[1].tone_L", "mark[1].hold.passes", "blank.size_mm[1]", "turn_deg"}
    assert told.value.fields["mark[1].tone_L"] == "is 380; allowed is 100 or less"
    assert piece_of(book, id_).version == 1


@pytest.mark.parametrize(
    ("changes", "where", "text"),
    [
        ({"mark[1].tone_L": None}, "mark[1].tone_L", "is missing"),
        ({"blank.shape": "rounded", "blank.radius_mm": 30.0}, "blank.radius_mm", "at most half of the shorter side"),
        ({"mark[1].hold.speed_mm_per_s": 9000.0}, "mark[1].hold.speed_mm_per_s", "at most"),  # only load_batch knows
        ({"wood": "balsa"}, "wood", "not in the book"),
        ({"mark[1].art": "gone.svg"}, "artwork", "not in the book"),
        ({"mark[1].text": "Swan"}, "mark[1]", "either art or text"),
        ({"mark[7].tone_L": 30.0}, "mark[7].tone_L", "no place of a piece"),
        ({"nonsense": 1}, "nonsense", "not a key"),
    ],
)
def test_what_cannot_be_planned_is_refused(
    book: Book, taken: TakenIn, changes: dict[str, Any], where: str, text: str
) -> None:
    id_ = taken.piece_ids[0]
    before = document(book, id_)
    with pytest.raises(InvalidInput) as told:
        change_piece(book, id_, changes, version=1, now=LATER)
    assert text in told.value.fields[where]
    assert document(book, id_) == before


def test_another_wood_and_other_artwork_of_the_book_are_taken(book: Book, taken: TakenIn) -> None:
    id_ = taken.piece_ids[0]
    data = b'<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="20mm"><path d="M2 2h30v15h-30z"/></svg>'
    name = add_artwork(book, data, name="weir.svg", now=NOW)
    changes = {"wood": "beech", "mark[1].art": name}
    saved = change_piece(book, id_, changes, version=1, now=LATER)
    assert saved.what == "Novice plaque: wood “club-maple” → “beech”, artwork “crew-cox.svg” → “weir.svg”"
    sheet = piece_of(book, id_)
    assert (sheet.wood_id, sheet.wood_name, sheet.document["mark"][0]["art"]) == ("beech", "beech", "weir.svg")
    plan_piece(book, id_, now=LATER)
    undo_edit(book, saved.edit_id, now=LATER)
    assert piece_of(book, id_).wood_id == "club-maple"


def test_the_later_of_two_windows_is_told_what_was_done_meanwhile(book: Book, taken: TakenIn) -> None:
    id_ = taken.piece_ids[0]
    change_piece(book, id_, {"turn_deg": 15.0}, version=1, now=LATER)
    with pytest.raises(ChangedMeanwhile, match="another window"):
        change_piece(book, id_, {"turn_deg": 30.0}, version=1, now=LATER)
    assert changes_since(book, id_, version=1) == ("Novice plaque: turn",)
    assert changes_since(book, id_, version=2) == ()
    assert document(book, id_)["turn_deg"] == 15.0


def test_a_remedy_of_the_plan_changes_the_piece_or_its_mark(book: Book, taken: TakenIn) -> None:
    id_ = taken.piece_ids[0]
    move = {"text": "Move 8.0 mm to the right", "price": "same time", "target": "piece"}
    saved = apply_fix(book, id_, {**move, "change": {"place_bed_mm": [208.0, 150.0]}}, version=1, now=LATER)
    assert saved.what == "Novice plaque: Move 8.0 mm to the right"
    slow = {"text": "slow to 209 mm/s", "price": "", "target": "front", "change": {"hold.speed_mm_per_s": 209.0}}
    apply_fix(book, id_, slow, version=2, now=LATER)
    assert document(book, id_)["place_bed_mm"] == [208.0, 150.0]
    assert document(book, id_)["mark"][0]["hold"] == {"speed_mm_per_s": 209.0}
    with pytest.raises(InvalidInput, match="does not have"):
        apply_fix(book, id_, {**slow, "target": "back"}, version=3, now=LATER)
    with pytest.raises(InvalidInput, match="no remedy"):
        apply_fix(book, id_, {"text": "x", "target": "piece", "change": {}}, version=3, now=LATER)


def test_what_is_held_can_be_let_go(book: Book, taken: TakenIn) -> None:
    id_ = taken.piece_ids[0]
    change_piece(book, id_, {"mark[1].hold.passes": 2}, version=1, now=LATER)
    change_piece(book, id_, {"mark[1].hold.passes": None}, version=2, now=LATER)
    assert "hold" not in document(book, id_)["mark"][0]


def test_marks_come_to_the_middle_of_the_blank_once(book: Book, taken: TakenIn) -> None:
    id_ = taken.piece_ids[0]  # blank 60 × 40, mark 40 × 20 at 10, 8
    centre_marks(book, id_, version=1, now=LATER)
    assert document(book, id_)["mark"][0]["place_mm"] == [10.0, 10.0]
    with pytest.raises(InvalidInput, match="already"):
        centre_marks(book, id_, version=2, now=LATER)


def test_a_piece_is_taken_out_and_brought_back(book: Book, taken: TakenIn) -> None:
    id_ = taken.piece_ids[0]
    with pytest.raises(ChangedMeanwhile):
        remove_piece(book, id_, version=7, now=LATER)
    saved = remove_piece(book, id_, version=1, now=LATER)
    with pytest.raises(NotFound):
        piece_of(book, id_)
    undo_edit(book, saved.edit_id, now=LATER)
    assert piece_of(book, id_).name == "Novice plaque"


def test_a_copy_stands_behind_its_piece_under_another_id(book: Book, taken: TakenIn) -> None:
    first, second = taken.piece_ids
    copies = [int(copy_piece(book, first, now=LATER).key) for _ in range(2)]
    with book.reading() as connection:
        order = connection.execute(
            sa.select(piece.c.id).where(piece.c.removed_at.is_(None)).order_by(piece.c.position)
        ).scalars()
        assert list(order) == [first, copies[1], copies[0], second]
    slugs = {piece_of(book, id_).slug for id_ in (first, *copies)}
    assert slugs == {"plaque", "plaque-2", "plaque-3"}
    assert piece_of(book, copies[0]).name == "Novice plaque, copy"


@pytest.mark.parametrize(
    ("data", "name", "text"),
    [
        (b"<svg", "crew.svg", "well-formed"),
        (EMPTY, "crew.svg", "nothing in it that would be burnt"),
        (b"", "crew.svg", "is empty"),
        (b"not a picture", "crew.png", "no picture"),
        (b"MZ", "crew.exe", "allowed are"),
        (
            b'<svg xmlns="http://www.w3.org/2000/svg"><script>1</script><rect width="9" height="9"/></svg>',
            "a.svg",
            "script",
        ),
    ],
)
def test_broken_artwork_is_told_and_not_kept(book: Book, data: bytes, name: str, text: str) -> None:
    with book.reading() as connection:
        before = connection.execute(sa.select(sa.func.count()).select_from(artwork)).scalar_one()
    with pytest.raises(InvalidInput) as told:
        add_artwork(book, data, name=name, now=NOW)
    assert text in told.value.fields["artwork"]
    with book.reading() as connection:
        assert connection.execute(sa.select(sa.func.count()).select_from(artwork)).scalar_one() == before


@pytest.mark.usefixtures("taken")
def test_artwork_goes_by_a_plain_name_of_the_book(book: Book, batch_folder: Path) -> None:
    data = (batch_folder / "art" / "tag.svg").read_bytes()
    assert add_artwork(book, data.replace(b"50", b"51"), name="../../Über & drüber.SVG", now=NOW) == "uber-druber.svg"
    with book.reading() as connection:
        assert (
            connection.execute(sa.select(sa.func.count()).select_from(edit)).scalar_one() == 1
        )  # not a change by itself


def test_a_piece_is_given_another_wood_of_the_book(book: Book, taken: TakenIn) -> None:
    plaque = taken.piece_ids[0]
    change_piece(book, plaque, {"wood": "beech"}, version=1, now=NOW)
    assert (piece_of(book, plaque).wood_id, piece_of(book, plaque).document["wood"]) == ("beech", "beech")
    plan_piece(book, plaque, now=NOW)
    assert piece_of(book, plaque).planned is not None
