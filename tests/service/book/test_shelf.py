"""The shelf: put there, found, changed, used up, taken off and brought back."""

from __future__ import annotations

from io import BytesIO
from typing import Any

import numpy as np
import pytest
import sqlalchemy as sa
from PIL import Image

from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.tables import plan
from evenburn.core.errors import ChangedMeanwhile, InvalidInput, NotFound
from evenburn.services.book.edit_piece import change_piece, copy_piece, remove_piece
from evenburn.services.book.mark_step import mark_step
from evenburn.services.book.piece_of import piece_of
from evenburn.services.book.plan_piece import plan_piece
from evenburn.services.book.shelf import (
    blank_of,
    change_shelf,
    list_shelf,
    photo_of_blank,
    photo_on_shelf,
    put_on_shelf,
    take_from_shelf,
)
from evenburn.services.book.take_in import TakenIn
from evenburn.services.book.today import today
from evenburn.services.book.undo import undo_edit
from evenburn.services.book.wanted import Short
from service.book.conftest import LATER, NOW

PLAQUE: dict[str, Any] = {
    "name": "Plaque, A5",
    "wood_id": "club-maple",
    "left_count": 17,
    "blank": {"shape": "rounded", "size_mm": [200.0, 150.0], "radius_mm": 5.0, "thickness_mm": 12.1},
    "price": 4.8,
    "currency": "€",
    "bought_at": "2026-05-28",
    "from": "Osier Lock sawmill",
    "note": "two with a knot",
}


def picture() -> bytes:
    out = BytesIO()
    pixels = np.random.default_rng(1).integers(0, 255, size=(200, 300, 3), dtype=np.uint8)
    Image.fromarray(pixels).save(out, format="JPEG")
    return out.getvalue()


def put(book: Book, **changes: Any) -> int:
    return int(put_on_shelf(book, {**PLAQUE, **changes}, now=NOW).key)


def test_what_was_put_there_stands_there(book: Book, taken: TakenIn) -> None:
    assert taken.wood_ids
    assert list_shelf(book).lines == ()
    line = blank_of(book, put(book))
    assert (line.name, line.left, line.put, line.wood_name) == ("Plaque, A5", 17, 17, "hard maple")
    assert (line.price, line.currency, line.bought_at, line.bought_from) == (
        4.8,
        "€",
        "2026-05-28",
        "Osier Lock sawmill",
    )
    assert line.size_text == "200 × 150 × 12.1 mm"
    page = list_shelf(book)
    assert (page.left, page.woods, [one.name for one in page.lines]) == (17, 1, ["Plaque, A5"])


def test_words_find_name_wood_note_and_place(book: Book, taken: TakenIn) -> None:
    assert taken.wood_ids
    put(book)
    put(book, name="Coaster", wood_id="beech", note="50 % off_cut", **{"from": "market"})
    for text, found in [
        ("plaque", ["Plaque, A5"]),
        ("MAPLE knot", ["Plaque, A5"]),
        ("market", ["Coaster"]),
        ("50 %", ["Coaster"]),
        ("off_cut", ["Coaster"]),
        ("offXcut", []),
        ("", ["Coaster", "Plaque, A5"]),
    ]:
        assert [one.name for one in list_shelf(book, text=text).lines] == found, text
    assert [one.name for one in list_shelf(book, wood_id="beech").lines] == ["Coaster"]


def test_what_is_used_up_is_shown_only_when_asked_for(book: Book, taken: TakenIn) -> None:
    assert taken.wood_ids
    blank_id = put(book)
    change_shelf(book, blank_id, {"left_count": 0}, version=1, now=LATER)
    assert list_shelf(book).lines == ()
    line = list_shelf(book, all_of_them=True).lines[0]
    assert (line.left, line.put, line.note) == (0, 17, "two with a knot")


def test_taking_off_can_be_undone_and_the_later_window_is_told(book: Book, taken: TakenIn) -> None:
    assert taken.wood_ids
    blank_id = put(book)
    change_shelf(book, blank_id, {"left_count": 16}, version=1, now=LATER)
    with pytest.raises(ChangedMeanwhile):
        take_from_shelf(book, blank_id, version=1, now=LATER)
    saved = take_from_shelf(book, blank_id, version=2, now=LATER)
    with pytest.raises(NotFound):
        blank_of(book, blank_id)
    undo_edit(book, saved.edit_id, now=LATER)
    assert blank_of(book, blank_id).left == 16


def test_every_fault_is_said_at_once(book: Book, taken: TakenIn) -> None:
    assert taken.wood_ids
    wrong = {
        "name": "",
        "wood_id": "ebony",
        "left_count": -1,
        "blank": {"shape": "circle", "thickness_mm": 0.0},
        "price": -3.0,
        "currency": "ducats and doubloons",
        "bought_at": "2026-02-30",
        "note": "x" * 3000,
        "colour": "red",
    }
    with pytest.raises(InvalidInput) as caught:
        put_on_shelf(book, wrong, now=NOW)
    named = set(caught.value.fields)
    assert {"name", "wood_id", "left_count", "price", "currency", "bought_at", "note", "colour"} <= named
    assert any(where.startswith("blank") for where in named)
    assert list_shelf(book).lines == ()


def test_a_photograph_is_kept_and_shown_small(book: Book, taken: TakenIn) -> None:
    assert taken.wood_ids
    sha256 = photo_on_shelf(book, picture(), name="IMG_1.jpg", now=NOW)
    blank_id = put(book, photo_sha256=sha256)
    with Image.open(BytesIO(photo_of_blank(book, blank_id))) as shown:
        assert shown.format == "JPEG"
    with pytest.raises(InvalidInput) as caught:
        photo_on_shelf(book, b"no picture", name="IMG_2.jpg", now=NOW)
    assert "photo" in caught.value.fields
    change_shelf(book, blank_id, {"photo_sha256": None}, version=1, now=LATER)
    with pytest.raises(NotFound):
        photo_of_blank(book, blank_id)


def test_pieces_that_are_not_burnt_are_wanted_of_the_blank_they_are_like(book: Book, taken: TakenIn) -> None:
    plaque = taken.piece_ids[0]
    of = piece_of(book, plaque)
    stock = {"name": "Plaque, A5", "wood_id": of.wood_id, "left_count": 3, "blank": {**of.document["blank"]}}
    blank_id = int(put_on_shelf(book, stock, now=NOW).key)
    assert (blank_of(book, blank_id).wanted, today(book, now=NOW).short) == (1, ())
    copies = [int(copy_piece(book, plaque, now=NOW).key) for _ in range(4)]
    assert (blank_of(book, blank_id).left, list_shelf(book).lines[0].wanted) == (3, 5)
    short = Short(blank_id=blank_id, name="Plaque, A5", left=3, wanted=5)
    assert today(book, now=NOW).short == (short,)
    assert piece_of(book, copies[0]).short == short
    assert piece_of(book, taken.piece_ids[1]).short is None  # of another form
    mark_step(book, copies[0], "burnt", done=True, now=NOW, blank_id=blank_id)
    assert piece_of(book, copies[0]).short is None
    assert (blank_of(book, blank_id).left, blank_of(book, blank_id).wanted) == (2, 4)
    change_piece(book, copies[1], {"blank.thickness_mm": 30.0}, version=1, now=NOW)
    remove_piece(book, copies[2], version=1, now=NOW)
    assert (blank_of(book, blank_id).wanted, today(book, now=NOW).short) == (2, ())


def test_of_two_lines_alike_the_first_is_wanted_first(book: Book, taken: TakenIn) -> None:
    plaque = piece_of(book, taken.piece_ids[0])
    stock = {"wood_id": plaque.wood_id, "blank": plaque.document["blank"]}
    first = int(put_on_shelf(book, {**stock, "name": "Plaque, lot A", "left_count": 1}, now=NOW).key)
    second = int(put_on_shelf(book, {**stock, "name": "Plaque, lot B", "left_count": 1}, now=NOW).key)
    for _ in range(2):
        copy_piece(book, plaque.piece_id, now=NOW)
    assert (blank_of(book, first).wanted, blank_of(book, second).wanted) == (1, 2)
    assert today(book, now=NOW).short == (Short(blank_id=second, name="Plaque, lot B", left=2, wanted=3),)


def test_each_name_of_a_list_wants_a_blank(book: Book, taken: TakenIn) -> None:
    plaque = piece_of(book, taken.piece_ids[0])
    stock = {"name": "Plaque", "wood_id": plaque.wood_id, "left_count": 1, "blank": plaque.document["blank"]}
    blank_id = int(put_on_shelf(book, stock, now=NOW).key)
    plan_piece(book, plaque.piece_id, now=NOW)
    with book.writing() as connection:
        told = connection.execute(sa.select(plan.c.document).where(plan.c.piece_id == plaque.piece_id)).scalar_one()
        connection.execute(
            sa.update(plan).where(plan.c.piece_id == plaque.piece_id).values(document={**told, "pieces": 12})
        )
    assert blank_of(book, blank_id).wanted == 12
