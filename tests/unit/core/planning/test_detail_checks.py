"""What the finding on lost detail says, and that each remedy does what it promises."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from evenburn.core.art.detail import Widths
from evenburn.core.art.lost import Lost
from evenburn.core.art.picture import Grid
from evenburn.core.nouns.check import Check
from evenburn.core.nouns.mark import Hold
from evenburn.core.optics.beam import beam_of_lens
from evenburn.core.planning.detail_checks import detail_checks
from evenburn.core.planning.mark_plan import MarkWork, predict, recipe_of
from evenburn.core.planning.recipe import search
from evenburn.core.planning.survey import Survey
from evenburn.core.planning.wish import Wish
from evenburn.core.proof.lost_places import LostDetail, LostPlace
from unit.core.examples import LENS, blank, mark, piece
from unit.core.planning.wishes import wish

NB = "\u00a0"


def lost(*, strokes_mm: tuple[float, ...] = (), gaps_mm: tuple[float, ...] = ()) -> LostDetail:
    """Return lost strokes and gaps of given widths, a place to each."""
    nothing = np.zeros((2, 2), np.bool_)
    box = (0.0, 0.0, 1.0, 1.0)
    places = [
        LostPlace(kind="vanish", box_on_board=box, on_mark_mm=(3.25 + k, 4.5), narrowest_mm=w, count=1)
        for k, w in enumerate(strokes_mm)
    ]
    places += [
        LostPlace(kind="fill", box_on_board=box, on_mark_mm=(7.0, 8.0), narrowest_mm=w, count=1) for w in gaps_mm
    ]
    return LostDetail(
        lost=Lost(
            vanished=nothing,
            filled=nothing,
            vanished_mm2=0.0,
            filled_mm2=0.0,
            vanished_regions_mm=(box,) * len(strokes_mm),
            filled_regions_mm=(box,) * len(gaps_mm),
            vanished_widths_mm=strokes_mm,
            filled_widths_mm=gaps_mm,
        ),
        places=tuple(places),
    )


def work(wished: Wish, **of_mark: Any) -> MarkWork:
    """Return a mark worked through, without a picture."""
    found = search(wished)
    recipe = recipe_of(wished, found, air_kPa=None)
    grid = Grid(x0_mm=0.0, y0_mm=0.0, pixel_mm=1.0, rows=1, columns=1)
    return MarkWork(
        mark=mark(hold=wished.hold, **of_mark),
        survey=Survey(
            box_bed_mm=(0.0, 0.0, 1.0, 1.0),
            grid=grid,
            ink=np.ones((1, 1), np.bool_),
            ink_box_mm=None,
            profiles=wished.profiles,
            room_mm=wished.room_mm,
            widths=wished.widths,
            faint_L=None,
        ),
        wish=wished,
        found=found,
        recipe=recipe,
        predicted=predict(wished, recipe, events=()),
        grid=grid,
        picture_W=np.zeros((1, 1), np.float32),
        events=(),
    )


FAR = wish(hold=Hold(focus_offset_mm=3.0), widths=Widths(stroke_mm=0.5, gap_mm=0.5))


def only(checks: list[Check]) -> Check:
    (check,) = checks
    assert (check.code, check.level, check.mark_id) == ("detail-lost", "warn", "front")
    return check


def test_nothing_lost_is_nothing_said() -> None:
    assert detail_checks(work(FAR), piece(), lost=lost()) == []
    assert detail_checks(work(FAR), piece(), lost=None) == []


def test_what_is_lost_is_counted_measured_and_placed() -> None:
    text = only(detail_checks(work(FAR), piece(), lost=lost(strokes_mm=(0.15, 0.12), gaps_mm=(0.17,)))).text
    assert f"2 strokes vanish, the thinnest 0.12{NB}mm wide, at 3.2, 4.5{NB}mm; 4.2, 4.5{NB}mm." in text
    assert f"1 gap fills in, 0.17{NB}mm wide, at 7.0, 8.0{NB}mm." in text
    assert "from the mark's lower left corner" in text


def test_more_than_three_places_are_not_all_named() -> None:
    text = only(detail_checks(work(FAR), piece(), lost=lost(strokes_mm=(0.15,) * 5))).text
    assert text.count("4.5") == 3
    assert "and elsewhere" in text


def test_without_a_burn_the_widths_are_compared() -> None:
    check = only(detail_checks(work(replace(FAR, widths=Widths(stroke_mm=0.1, gap_mm=None))), piece(), lost=None))
    assert f"narrowest stroke, 0.10{NB}mm" in check.text


def test_the_offered_focus_keeps_what_was_lost() -> None:
    there = work(FAR)
    assert there.predicted.detail_mm > 0.2
    check = only(detail_checks(there, piece(), lost=lost(strokes_mm=(0.2,))))
    fix = next(f for f in check.fixes if f.change[0][0] == "hold.focus_offset_mm")
    offset = fix.change[0][1]
    assert isinstance(offset, float)
    assert 0.0 <= offset < 3.0
    assert work(replace(FAR, hold=Hold(focus_offset_mm=offset))).found.detail_mm <= 0.2
    further = work(replace(FAR, hold=Hold(focus_offset_mm=offset + 0.5)))
    assert further.found.detail_mm > 0.2  # it goes no nearer to the waist than it has to


def test_larger_only_where_it_still_fits_the_blank() -> None:
    there = work(FAR)
    loss = lost(strokes_mm=(0.9 * there.predicted.detail_mm,))
    big = only(detail_checks(there, piece(blank=blank(size_mm=(300.0, 200.0))), lost=loss))
    size = next(f.change[0][1] for f in big.fixes if f.change[0][0] == "size_mm")
    # kept over lost is 1 / 0.9, rounded up to 1.2: 40 by 20 mm become 48 by 24
    assert size == (48.0, 24.0)
    small = only(detail_checks(there, piece(blank=blank(size_mm=(54.0, 60.0))), lost=loss))
    assert not [f for f in small.fixes if f.change[0][0] == "size_mm"]


def test_a_face_is_offered_only_if_its_strokes_survive() -> None:
    there, loss = work(FAR), lost(strokes_mm=(0.1,))
    kept = there.predicted.detail_mm
    check = only(detail_checks(there, piece(), lost=loss, faces=(("thin", 0.5 * kept), ("sturdy", 1.5 * kept))))
    assert [f.change for f in check.fixes if f.change[0][0] == "face"] == [(("face", "sturdy"),)]
    none = only(detail_checks(there, piece(), lost=loss, faces=(("thin", 0.5 * kept),)))
    assert "thin" not in none.remedy.split()


def test_a_shorter_lens_is_offered_with_what_it_keeps() -> None:
    there = work(FAR)
    short = replace(LENS, name="1.5 inch", focal_length_mm=38.1)
    assert beam_of_lens(short).waist_radius_mm < beam_of_lens(LENS).waist_radius_mm
    check = only(detail_checks(there, piece(), lost=lost(strokes_mm=(0.2,)), lenses=(LENS, short)))
    assert "take the lens 1.5 inch" in check.remedy
    assert "2 inch" not in check.remedy


@pytest.mark.parametrize("width", [0.001, 0.02])
def test_where_nothing_helps_thickening_is_left(width: float) -> None:
    check = only(detail_checks(work(FAR), piece(), lost=lost(strokes_mm=(width,))))
    assert "thicken it in the drawing" in check.remedy.lower()
    assert check.remedy.endswith(".")
