"""The list of woods and a wood's page: what is told, what it rests on, and the drawing of its curve."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import sqlalchemy as sa

from evenburn.adapters.formats.wood_toml import read_wood, shipped_ids, shipped_wood
from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.tables import burn, curve, piece, wood
from evenburn.core.errors import InvalidInput, NotFound
from evenburn.core.nouns.wood import Wood
from evenburn.core.response.curve import fit_sd_L, tone_L
from evenburn.services.book.change_wood import NewWood, new_wood
from evenburn.services.book.lay_out import lay_out_piece
from evenburn.services.book.take_in import TakenIn
from evenburn.services.book.wood_curve import WIDE, Patch, curve_drawing
from evenburn.services.book.wood_figures import sds_L
from evenburn.services.book.wood_rows import wood_of_row
from evenburn.services.book.woods_of import PER_PAGE, evenness_picture, list_woods, shades_picture, wood_of
from service.book.conftest import NOW

JPEG = b"\xff\xd8\xff"


def patch(name: str, exposure: float, tone: float, **more: Any) -> Patch:
    plain = {"power_W": 20.0, "speed_mm_per_s": 200.0, "passes": 1, "tone_L_sd": 1.0, "spread_L": 2.0, "flags": ()}
    return Patch(name=name, exposure_J_per_mm2=exposure, tone_L=tone, **{**plain, "aside": False, **more})


def test_the_list_tells_of_each_wood_what_it_rests_on_and_how_much_is_made_of_it(book: Book, taken: TakenIn) -> None:
    found = list_woods(book)
    told = {line.wood_id: line for line in found.rows}
    assert set(told) == {"beech", "club-maple"} == set(taken.wood_ids)
    assert (told["club-maple"].kind, told["club-maple"].since, told["club-maple"].pieces) == ("fitted", NOW, 1)
    assert (told["beech"].kind, told["beech"].since, told["beech"].surface) == ("starting value", None, "bare")
    assert told["beech"].char_J_per_mm2 == pytest.approx(1.20)  # as docs/reference/wood.md prints it
    assert len(told["beech"].colours) == told["beech"].shades + 1  # the bare surface first


@pytest.mark.usefixtures("taken")
def test_every_word_of_a_search_must_stand_in_the_name(book: Book) -> None:
    for number in range(3):
        new_wood(book, NewWood(called=f"Hard maple, lot HM-{number}", begins="lot", of="club-maple"), now=NOW)
    assert [line.name for line in list_woods(book, search="maple HM-2").rows] == ["Hard maple, lot HM-2"]
    assert list_woods(book, search="maple oak").count == 0
    assert list_woods(book, search="100 % maple_").count == 0  # no wildcards
    assert list_woods(book, search="zzz").every == 5


@pytest.mark.usefixtures("taken")
def test_five_hundred_woods_stand_on_pages(book: Book) -> None:
    rows = [
        {"id": f"w{n:03}", "name": f"oak {n:03}", "document": {"name": "oak"}, "version": 1, "changed_at": NOW}
        for n in range(498)
    ]
    with book.writing() as connection:
        connection.execute(sa.insert(wood), rows)
    last = list_woods(book, page=99)
    assert (last.count, last.pages, last.page) == (500, 13, 13)
    assert len(last.rows) == 500 - 12 * PER_PAGE
    with pytest.raises(InvalidInput):
        list_woods(book, page=0)


@pytest.mark.usefixtures("taken")
def test_a_wood_tells_its_figures_and_what_its_pieces_wish_for(book: Book) -> None:
    page = wood_of(book, "club-maple")
    assert (page.name, page.surface, page.kind, page.learnt) == ("hard maple", "sanded", "fitted", True)
    assert page.detail == "from card 1"  # as its curve says it, without the date that stands beside it
    assert page.char_J_per_mm2 == pytest.approx(1.25)
    assert page.shades[0].tone_L > page.shades[-1].tone_L
    assert [line.name for line in page.pieces] == ["Novice plaque"]
    assert page.wished_L == 40.0  # of its one piece
    assert page.drawing.wished is not None
    assert page.newest is None
    assert page.blanks_left == 0


@pytest.mark.usefixtures("taken")
def test_a_tone_that_the_wood_does_not_take_is_told(book: Book) -> None:
    assert wood_of(book, "beech", wished_L=45.0).wished_wrong == ""
    page = wood_of(book, "beech", wished_L=95.0)
    assert page.drawing.wished is None
    assert "95" in page.wished_wrong
    assert "31 to 73" in re.sub(r"\d+\.\d", lambda m: f"{float(m[0]):.0f}", page.wished_wrong)  # as wood.md prints it
    with pytest.raises(NotFound):
        wood_of(book, "no-such-wood")


@pytest.mark.usefixtures("taken")
def test_burns_stand_in_the_history_with_what_came_of_them(book: Book) -> None:
    with book.writing() as connection:
        key = connection.execute(sa.select(piece.c.id).where(piece.c.slug == "plaque")).scalar_one()
        values = {"piece_id": key, "mark_id": "front", "wood_id": "club-maple", "recipe": {}, "changed_at": NOW}
        told = {"predicted": {"tone_L": 38.4}, "outcome": {"compared": {"got": {"tone_L": 41.2}}}}
        connection.execute(sa.insert(burn).values(**values, **told, burnt_at="2026-06-08T10:00:00+00:00"))
        connection.execute(
            sa.insert(burn).values(**values, predicted={}, outcome=None, grade=4, burnt_at="2026-06-07T10:00:00+00:00")
        )
    lines = [(line.what, line.came) for line in wood_of(book, "club-maple").history if line.piece_id is not None]
    assert lines == [
        ("Novice plaque, promised L*\u00a038", "came out L*\u00a041"),
        ("Novice plaque burnt", "graded 4 of 5"),
    ]


def test_a_wood_of_the_book_is_the_one_that_planning_works_with(book: Book, taken: TakenIn, tmp_path: Path) -> None:
    new_wood(book, NewWood(called="Pear", begins="like", of="cherry", surface="oiled"), now=NOW)
    with book.reading() as connection:
        rows = connection.execute(
            sa.select(wood.c.id, wood.c.document, curve.c.document).select_from(
                wood.outerjoin(curve, wood.c.curve_id == curve.c.id)
            )
        ).all()
    documents = {str(row[0]): (row[1], row[2]) for row in rows}
    assert set(documents) == {"beech", "club-maple", "pear"}
    for wood_id, (document, told) in documents.items():
        folder = tmp_path / wood_id
        (folder / "woods").mkdir(parents=True)
        named = f'curve = "{wood_id}.curve.json"\n' if told else ""
        lines = "".join(f'{k} = "{v}"\n' for k, v in document.items())
        (folder / "woods" / f"{wood_id}.toml").write_text(lines + named)
        if told:
            (folder / "woods" / f"{wood_id}.curve.json").write_text(json.dumps(told))
        same(wood_of_row(wood_id, document, told), read_wood(folder, wood_id)[0])
    laid = lay_out_piece(book, taken.piece_ids[0], to=tmp_path / "laid")
    same(wood_of_row("club-maple", *documents["club-maple"]), read_wood(laid.folder, "club-maple")[0])


def same(ours: Wood, planned: Wood) -> None:
    for name in Wood.__slots__:
        if name != "curve":
            assert getattr(ours, name) == getattr(planned, name), name
    assert ours.curve.parameters() == pytest.approx(planned.curve.parameters())
    assert (ours.curve.x_char, ours.curve.board_L) == (planned.curve.x_char, planned.curve.board_L)


# ---- the drawing -------------------------------------------------------------------------------------------------


def test_patches_lie_where_their_tones_and_exposures_are() -> None:
    one = shipped_wood("hard-maple")
    dots = curve_drawing(
        one, [patch("a1", 0.5, 70.0), patch("b2", 1.0, 40.0, aside=True, flags=("glare",))], frame=WIDE
    ).dots
    by_name = {dot.said[:2]: dot for dot in dots}
    assert by_name["a1"].x < by_name["b2"].x
    assert by_name["a1"].y < by_name["b2"].y  # lighter lies higher
    assert by_name["a1"].high_y < by_name["a1"].y < by_name["a1"].low_y
    assert dots[0].aside  # drawn first, under the others
    assert "set aside: glare" in by_name["b2"].said
    assert by_name["a1"].colour != by_name["b2"].colour


@pytest.mark.parametrize("wood_id", shipped_ids())
def test_a_drawing_keeps_inside_its_frame(wood_id: str) -> None:
    one = shipped_wood(wood_id)
    drawing = curve_drawing(one, frame=WIDE, wished_L=float(tone_L(one.curve, one.curve.x_mid)))
    assert WIDE.left < drawing.char_x < WIDE.right
    assert drawing.wished is not None
    numbers = [p for d in (drawing.curve_d, drawing.band_d, drawing.hatch_d) for p in points(d)]
    assert all(WIDE.left - 1 <= x <= WIDE.right + 1 and WIDE.top - 1 <= y <= WIDE.bottom + 1 for x, y in numbers)
    assert all(x >= drawing.char_x - 0.1 for x, _ in points(drawing.hatch_d))
    assert len([t for t in drawing.doses if t.said]) >= 3


def points(d: str) -> list[tuple[float, float]]:
    pairs = [pair.split() for pair in d.replace("M", "L").replace("Z", "").split("L") if pair.strip()]
    return [(float(x), float(y)) for x, y in pairs]


def test_the_band_is_as_wide_as_the_curves_covariance_says() -> None:
    one = shipped_wood("oak").curve
    own = sds_L(one, np.array([-0.5, 0.0]), dwell=1.0)
    assert own == pytest.approx([fit_sd_L(one, log10_dose=x, dwell_ms=1.0) for x in (-0.5, 0.0)], rel=1e-3)


@pytest.mark.usefixtures("taken")
def test_pictures_of_a_wood_are_made(book: Book) -> None:
    assert shades_picture(book, "club-maple").startswith(JPEG)
    assert evenness_picture(book, "beech").startswith(JPEG)
