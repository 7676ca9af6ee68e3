"""The sheet for a customer: what the piece is, in words for who does not own a laser, and room to sign."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator

import numpy as np
import pypdfium2
import pytest
from PIL import Image

from evenburn.adapters.formats.wood_toml import WoodTable, shipped_wood, wood_from_table
from evenburn.adapters.storage.book.opening import Book
from evenburn.core.errors import NotFound
from evenburn.core.proof.grain import grain_of
from evenburn.services.book.change_wood import NewWood, new_wood
from evenburn.services.book.customer_proof import customer_proof, customer_sheet_pdf, customer_sheet_png
from evenburn.services.book.edit_piece import change_piece
from evenburn.services.book.open_book import open_book_at
from evenburn.services.book.plan_piece import plan_piece
from evenburn.services.book.take_in import TakenIn, take_in_batch
from service.book.conftest import NOW, small_batch

INTERNAL = re.compile(r"\bW\b|L\*|mm/s|LPI|J/mm|focus|power|speed|dose|kPa|pass(es)?\b", re.IGNORECASE)


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Book]:
    folder = tmp_path_factory.mktemp("customer")
    made = open_book_at(folder / "book")
    for piece_id in take_in_batch(made, small_batch(folder / "own"), now=NOW).piece_ids:
        plan_piece(made, piece_id, now=NOW)
    yield made
    made.close()


def _words(pdf: bytes) -> tuple[str, int]:
    document = pypdfium2.PdfDocument(pdf)
    text = " ".join(page.get_textpage().get_text_bounded() for page in document)
    return text.replace("\u00a0", " ").replace("\r\n", " "), len(document)


@pytest.mark.parametrize("which", [0, 1])
def test_it_says_what_it_is_and_nothing_of_the_bench(planned: Book, which: int) -> None:
    told = customer_proof(planned, which + 1, date="2026-06-09")
    text, pages = _words(customer_sheet_pdf(planned, told))
    assert pages == 1
    for words in (
        ("Novice plaque", "60 × 40 × 12 mm", "Hard maple, sanded")
        if which == 0
        else ("50 × 30 × 5 mm", "Beech", "“Swan / 2026”")
    ):
        assert words in text
    for words in ("9 June 2026", "Sedgeholm Rowing Club", "no two boards are alike", "name and signature"):
        assert words in text
    assert INTERNAL.search(text) is None


def test_what_it_says_needs_no_drawing(planned: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    def drawn(*_: object, **__: object) -> None:
        raise AssertionError("the page has to answer before anything is drawn")

    monkeypatch.setattr("evenburn.services.book.customer_proof.prepared", drawn)
    told = customer_proof(planned, 2, date="2026-06-09")

    assert dict(told.facts)["size"].replace("\u00a0", " ") == "50 × 30 × 5 mm"  # as drawn, though it lies turned by 90°
    with pytest.raises(NotFound, match="none of this piece"):
        customer_proof(planned, 2, date="2026-06-09", slug="nobody")


def test_the_picture_is_the_printed_sheet(planned: Book) -> None:
    told = customer_proof(planned, 1, date="2026-06-09", inch=True)
    assert ("size", "2.36 × 1.57 × 0.47 in") in [(a, b.replace("\u00a0", " ")) for a, b in told.facts]
    picture = Image.open(io.BytesIO(customer_sheet_png(planned, told))).convert("RGB")
    assert picture.size == pytest.approx((1240, 1754), abs=2)  # A4 at 150 to the inch
    small = np.asarray(picture.resize((62, 88))).astype(int)
    assert (small[..., 0] > small[..., 2] + 25).sum() > 150  # the board, in its colours, at full size
    assert customer_sheet_pdf(planned, told) == customer_sheet_pdf(planned, told)


def test_before_it_is_planned_there_is_nothing_to_sign(book: Book, taken: TakenIn) -> None:
    with pytest.raises(NotFound, match="no proof yet"):
        customer_proof(book, taken.piece_ids[0], date="2026-06-09")


def test_leather_is_no_board_that_grew_and_has_no_grain(book: Book, taken: TakenIn) -> None:
    wish = NewWood(called="Belt leather", begins="like", of="hard-maple", confirmed_by="R. Moorhen")
    leather = str(new_wood(book, wish, now=NOW).key)
    piece_id = taken.piece_ids[0]
    change_piece(book, piece_id, {"wood": leather}, version=1, now=NOW)
    plan_piece(book, piece_id, now=NOW)
    told = customer_proof(book, piece_id, date="2026-06-09")
    assert dict(told.facts)["material"] == "Belt leather"
    assert told.sentences[1].startswith("No two pieces of such material")
    assert "Wood" not in " ".join(told.sentences)


@pytest.mark.parametrize(
    ("name", "grain"),
    [
        ("leather", False),
        ("Leder, pflanzlich gegerbt", False),
        ("cork", False),
        ("MDF 6 mm", False),
        ("hard maple", True),
        ("birch plywood", True),
        ("paper birch", True),
        ("cork oak", True),
        ("rubberwood", True),
        ("hornbeam", True),
        ("slate", False),
    ],
)
def test_a_grain_is_drawn_of_woods_alone(name: str, *, grain: bool) -> None:
    own = None if name in {"hard maple", "birch plywood", "slate"} else shipped_wood("hard-maple").curve
    wood = wood_from_table("lot-b", WoodTable(name=name, surface="bare"), own_curve=own)
    assert wood.grain is grain
    texture = grain_of(wood, size_mm=(60.0, 40.0), generator=np.random.default_rng(1))
    assert (texture.rings is not None) is grain
