"""A new piece from few words: fitted on its blank, put where the head reaches it, or refused with every fault at its field."""

from __future__ import annotations

import io
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import sqlalchemy as sa
from PIL import Image

from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.tables import artwork, batch, piece, wood
from evenburn.core.errors import ChangedMeanwhile, InvalidInput
from evenburn.services.book.new_piece import NewMark, NewPiece, add_mark, new_piece, replace_artwork
from evenburn.services.book.piece_of import piece_of
from evenburn.services.book.plan_piece import plan_piece
from evenburn.services.book.reach_of import bed_of
from evenburn.services.book.shelf import put_on_shelf
from evenburn.services.book.take_in import TakenIn
from evenburn.services.book.undo import undo_edit
from service.book.conftest import LATER

SVG = b"""<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="20mm" viewBox="0 0 40 20">
<path fill-rule="evenodd" d="M1 1h38v18h-38z M5 5v10h30v-10z"/></svg>"""
BROKEN = b"<svg"
DISC = {"shape": "circle", "diameter_mm": 60.0, "thickness_mm": 6.0}
FRAME = NewPiece(
    name="Cox’s coaster",
    wood_id="club-maple",
    blank=DISC,
    mark=NewMark(artwork_name="my frame.svg", artwork_data=SVG),
)


def document(book: Book, piece_id: int | str) -> dict[str, Any]:
    return piece_of(book, int(piece_id)).document


def counts(book: Book) -> tuple[int, ...]:
    with book.reading() as connection:
        return tuple(
            connection.execute(sa.select(sa.func.count()).select_from(table)).scalar_one()
            for table in (piece, artwork, wood, batch)
        )


def test_few_words_make_a_piece_that_can_be_planned(book: Book, taken: TakenIn) -> None:
    saved = new_piece(book, taken.batch_id, FRAME, now=LATER)
    made = document(book, saved.key)
    mark = made["mark"][0]
    assert made["id"] == "coxs-coaster"
    assert mark["art"] == "my-frame.svg"
    # a box twice as wide as high in a circle of 60 mm less the margin of 12 % on either side: its corners touch the circle
    radius = 30.0 - 7.2
    assert np.hypot(mark["size_mm"][0] / 2, mark["size_mm"][1] / 2) == pytest.approx(radius, abs=0.15)
    assert mark["size_mm"][0] == pytest.approx(2.0 * mark["size_mm"][1], abs=0.15)
    middle = [p + s / 2 for p, s in zip(mark["place_mm"], mark["size_mm"], strict=True)]
    assert middle == pytest.approx([30.0, 30.0], abs=0.06)
    bed = bed_of(book, int(saved.key))  # in the middle of the bed, where run-up has most room on both sides
    x0, y0, x1, y1 = bed.marks[0].box_mm
    assert (0.5 * (x0 + x1), 0.5 * (y0 + y1)) == pytest.approx([v / 2 for v in bed.bed_mm], abs=0.1)
    planned = plan_piece(book, int(saved.key), now=LATER)
    assert planned.summary.stops == 0
    undo_edit(book, saved.edit_id, now=LATER)


def test_every_fault_at_once_and_nothing_kept(book: Book, taken: TakenIn) -> None:
    before = counts(book)
    wish = NewPiece(
        name=" ",
        wood_id="balsa",
        blank={"shape": "rounded", "size_mm": [10.0, -1.0]},
        mark=NewMark(artwork_name="a.svg", artwork_data=BROKEN, text="and a text"),
    )
    with pytest.raises(InvalidInput) as told:
        new_piece(book, taken.batch_id, wish, now=LATER, wrong_already={"margin": "is no number"})
    assert {"name", "wood", "blank.size_mm[2]", "blank.thickness_mm", "artwork", "text", "margin"} == set(
        told.value.fields
    )
    assert counts(book) == before


@pytest.mark.parametrize(
    ("mark", "field", "text"),
    [
        (NewMark(), "artwork", "choose a file"),
        (NewMark(text="Swan", face="nonsense"), "face", "not known"),
        (NewMark(text="Swan", face="zilla-slab", treatment="photo"), "treatment", "no picture"),
        (NewMark(text="Swan", face="zilla-slab", margin_mm=40.0), "margin", "leaves less than"),
        (NewMark(text="Swan", face="zilla-slab", tone_L=140.0), "tone_L", "100 or less"),
        (NewMark(artwork_name="a.png", artwork_data=b"x"), "artwork", "no picture"),
        (NewMark(artwork_name="a.svg", artwork_data=SVG, treatment="photo"), "", ""),
    ],
)
def test_what_is_wrong_with_the_mark_stands_at_its_field(
    book: Book, taken: TakenIn, mark: NewMark, field: str, text: str
) -> None:
    before = counts(book)
    wish = replace(FRAME, mark=mark)
    if not field:  # a drawing may be burnt as a photograph is
        assert document(book, new_piece(book, taken.batch_id, wish, now=LATER).key)["mark"][0]["treatment"] == "photo"
        return
    with pytest.raises(InvalidInput) as told:
        new_piece(book, taken.batch_id, wish, now=LATER)
    assert text in told.value.fields[field]
    assert counts(book) == before


def test_a_photograph_is_burnt_as_one_and_keeps_its_proportions(book: Book, taken: TakenIn) -> None:
    ramp = np.tile(np.linspace(0, 255, 120, dtype=np.uint8), (80, 1))
    stage = io.BytesIO()
    Image.fromarray(ramp).save(stage, format="PNG")
    wish = replace(FRAME, mark=NewMark(artwork_name="dawn.png", artwork_data=stage.getvalue(), tone_L=40.0))
    mark = document(book, new_piece(book, taken.batch_id, wish, now=LATER).key)["mark"][0]
    assert mark["treatment"] == "photo"
    assert mark["tone_L"] == 40.0
    assert mark["size_mm"][0] / mark["size_mm"][1] == pytest.approx(1.5, abs=0.02)


def test_a_shipped_wood_and_a_new_batch_come_with_the_piece_and_go_with_it(book: Book, taken: TakenIn) -> None:
    before = counts(book)
    wish = replace(FRAME, wood_id="acacia", batch_name="Autumn fair", mark=NewMark(text="Swan", face="zilla-slab"))
    saved = new_piece(book, None, wish, now=LATER)
    sheet = piece_of(book, int(saved.key))
    assert (sheet.batch_name, sheet.wood_name, sheet.lens_name) == ("Autumn fair", "acacia", "2 inch")
    undo_edit(book, saved.edit_id, now=LATER)
    with book.reading() as connection:
        there = connection.execute(sa.select(sa.func.count()).where(wood.c.id == "acacia", wood.c.removed_at.is_(None)))
        assert there.scalar_one() == 0
    again = new_piece(book, taken.batch_id, replace(wish, batch_name=""), now=LATER)  # brought back, not made twice
    assert piece_of(book, int(again.key)).wood_id == "acacia"
    assert counts(book)[2] == before[2] + 1


def test_slate_is_marked_lighter_than_it_is(book: Book, taken: TakenIn) -> None:
    wish = replace(FRAME, wood_id="slate", mark=NewMark(text="8", face="cinzel"))
    assert document(book, new_piece(book, taken.batch_id, wish, now=LATER).key)["mark"][0]["tone_L"] > 50.0


def test_a_blank_of_the_shelf_says_wood_and_size(book: Book, taken: TakenIn) -> None:
    stood = put_on_shelf(
        book,
        {
            "name": "Offcut",
            "wood_id": "beech",
            "left_count": 2,
            "blank": {"size_mm": [80.0, 50.0], "thickness_mm": 9.0},
        },
        now=LATER,
    )
    wish = replace(FRAME, wood_id="", blank={}, blank_id=int(stood.key))
    made = document(book, new_piece(book, taken.batch_id, wish, now=LATER).key)
    assert made["wood"] == "beech"
    assert made["blank"]["size_mm"] == [80.0, 50.0]


def test_an_outline_is_read_and_its_hole_kept_clear(book: Book, taken: TakenIn) -> None:
    ring = b"""<svg xmlns="http://www.w3.org/2000/svg" width="80mm" height="40mm" viewBox="0 0 80 40">
    <path fill-rule="evenodd" d="M0 0h80v40h-80z M6 14h10v12h-10z"/></svg>"""
    wish = replace(
        FRAME,
        blank={"shape": "outline", "thickness_mm": 5.0},
        outline_name="tag & hole.svg",
        outline_data=ring,
        mark=NewMark(artwork_name="a.svg", artwork_data=SVG, margin_mm=3.0),
    )
    made = document(book, new_piece(book, taken.batch_id, wish, now=LATER).key)
    assert made["blank"]["outline"] == "tag-hole-outline.svg"
    mark = made["mark"][0]
    assert mark["place_mm"][0] >= 19.0 - 0.1 or mark["size_mm"][1] < 12.0  # right of the hole and its margin
    with pytest.raises(InvalidInput) as told:
        new_piece(book, taken.batch_id, replace(wish, outline_data=BROKEN), now=LATER)
    assert "well-formed" in told.value.fields["blank.outline"]


def test_another_mark_and_other_artwork(book: Book, taken: TakenIn) -> None:
    id_ = taken.piece_ids[0]
    add_mark(book, id_, NewMark(text="Swan", face="zilla-slab", tone_L=36.0), version=1, now=LATER)
    marks = document(book, id_)["mark"]
    assert [mark["id"] for mark in marks] == ["front", "front-2"]
    replace_artwork(book, id_, "front-2", name="frame.svg", data=SVG, version=2, now=LATER)
    second = document(book, id_)["mark"][1]
    assert second["art"] == "frame.svg"
    assert "text" not in second
    with pytest.raises(InvalidInput) as told:
        replace_artwork(book, id_, "front-2", name="frame.svg", data=BROKEN, version=3, now=LATER)
    assert "artwork" in told.value.fields
    with pytest.raises(ChangedMeanwhile):
        add_mark(book, id_, NewMark(text="Swan", face="zilla-slab"), version=1, now=LATER)
