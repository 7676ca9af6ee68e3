"""Marks that lie over one another: how much, where, what tone that gives, and when it is ordinary."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from shapely import Point, Polygon, affinity, box
from shapely.geometry.base import BaseGeometry

from evenburn.core.nouns.mark import Mark, Piece
from evenburn.core.optics.lines import effective_passes
from evenburn.core.planning.mark_plan import MarkWork
from evenburn.core.planning.overlap_checks import exposure_together, overlap_checks, overlap_of
from evenburn.core.response.curve import effective_exposure, tone_L
from unit.core.examples import SLATE, blank, mark, piece
from unit.core.planning.drawn_marks import WOOD, hold, worked

SURVEY_PIXEL_mm = 0.05  # least pixel of a survey
DISC = Point(10.0, 10.0).buffer(10.0, quad_segs=64)
BOARD = piece(blank=blank(size_mm=(100.0, 60.0)))


def placed(mark_id: str, x_mm: float, y_mm: float, **changes: Any) -> Mark:
    """Return a mark of 20 by 20 mm at a place on the blank."""
    plain: dict[str, Any] = {
        "id": mark_id,
        "place_mm": (x_mm, y_mm),
        "size_mm": (20.0, 20.0),
        "hold": hold(),
        "sharpness_mm": 1.0,
    }
    return mark(**(plain | changes))


def two(
    first: tuple[float, float],
    second: tuple[float, float],
    *,
    on: Piece = BOARD,
    shape: BaseGeometry = DISC,
    **of_second: Any,
) -> tuple[MarkWork, MarkWork]:
    marks = placed("front", *first), placed("motto", *second, **of_second)
    return worked(marks[0], on, shape=shape), worked(marks[1], on, shape=shape)


def as_cut(work: MarkWork) -> MarkWork:
    return replace(work, mark=replace(work.mark, treatment="cut"))


def test_the_area_is_that_of_two_discs() -> None:
    """Lens of two discs of radius 10, middles 12 apart: 2 r² acos(d/2r) − d/2 √(4r² − d²) = 89.5 mm², and by shapely."""
    works = two((10.0, 20.0), (22.0, 20.0))
    one, other = (affinity.translate(DISC, *w.mark.place_mm) for w in works)

    found = overlap_of(*works)

    assert found is not None
    lens = one.intersection(other)
    assert lens.area == pytest.approx(89.5, abs=0.1)  # the formula
    rim = lens.length * SURVEY_PIXEL_mm  # pixels that the rim passes are in or out as a whole
    assert found.area_mm2 == pytest.approx(lens.area, abs=rim)
    x0, y0 = BOARD.place_bed_mm
    assert found.box_bed_mm == pytest.approx(np.add(lens.bounds, (x0, y0, x0, y0)), abs=2 * SURVEY_PIXEL_mm)


@pytest.mark.parametrize("seed", range(6))
def test_areas_of_crooked_shapes_agree_with_shapely(seed: int) -> None:
    generator = np.random.default_rng(seed)
    shapes = [Polygon(generator.uniform(0.0, 20.0, (5, 2))).convex_hull for _ in range(2)]
    marks = placed("front", 10.0, 20.0), placed("motto", *generator.uniform((4.0, 14.0), (16.0, 26.0)))
    works = [worked(m, BOARD, shape=s) for m, s in zip(marks, shapes, strict=True)]
    both = affinity.translate(shapes[0], *marks[0].place_mm).intersection(
        affinity.translate(shapes[1], *marks[1].place_mm)
    )

    found = overlap_of(*works)

    area = 0.0 if found is None else found.area_mm2
    assert area == pytest.approx(both.area, abs=both.length * SURVEY_PIXEL_mm + 9 * SURVEY_PIXEL_mm**2)


def test_marks_side_by_side_do_not_overlap() -> None:
    square = box(0.0, 0.0, 20.0, 20.0)

    assert overlap_checks(two((10.0, 20.0), (30.0, 20.0), shape=square), BOARD, wood=WOOD) == []
    assert overlap_checks(two((10.0, 20.0), (29.97, 20.0), shape=square), BOARD, wood=WOOD) == []  # less than a pixel
    assert len(overlap_checks(two((10.0, 20.0), (29.7, 20.0), shape=square), BOARD, wood=WOOD)) == 1


def test_a_mark_inside_a_frame_does_not_overlap_it() -> None:
    """The boxes lie over one another, the ink does not."""
    frame = box(0.0, 0.0, 20.0, 20.0).difference(box(2.0, 2.0, 18.0, 18.0))
    works = (
        worked(placed("frame", 10.0, 20.0), BOARD, shape=frame),
        worked(placed("word", 14.0, 24.0, size_mm=(12.0, 12.0)), BOARD, shape=box(0.0, 0.0, 12.0, 12.0)),
    )

    assert overlap_checks(works, BOARD, wood=WOOD) == []


def test_the_check_tells_area_tone_and_place() -> None:
    (check,) = overlap_checks(two((10.0, 20.0), (22.0, 20.0), tone_L=60.0), BOARD, wood=WOOD)

    assert (check.level, check.code, check.mark_id) == ("warn", "marks-overlap", "motto")
    text = check.text.replace("\u00a0", " ")
    assert "“front” and “motto” burn the same 89." in text
    assert "mm² twice" in text
    assert "between x 22.0 and 30.0, y 22.0 and 38.0 mm on the blank" in text
    assert "instead of L* 40.0 and L* 60.0" in text
    assert check.remedy.replace("\u00a0", " ").startswith("Move “motto” 8.0 mm to the right on the bed, or ")


def test_the_move_it_offers_takes_them_apart() -> None:
    (check,) = overlap_checks(two((10.0, 20.0), (22.0, 20.0)), BOARD, wood=WOOD)
    assert "8.0" in check.remedy

    assert overlap_checks(two((10.0, 20.0), (30.0, 20.0)), BOARD, wood=WOOD) == []


def test_the_place_is_told_on_the_blank_also_when_it_is_turned() -> None:
    turned = replace(BOARD, turn_deg=90.0)

    (check,) = overlap_checks(two((10.0, 20.0), (22.0, 20.0), on=turned), turned, wood=WOOD)

    assert "between x 22.0 and 30.0, y 22.0 and 38.0" in check.text


def test_twice_the_same_mark_is_the_same_as_two_passes() -> None:
    """By definition of the model: n passes of a dose each, [schwarzschild1900] for the exponent."""
    work, _ = two((10.0, 20.0), (22.0, 20.0))
    once = work.predicted

    both = exposure_together(WOOD.curve, (work, work), dose_fraction=(np.ones(1), np.ones(1)))

    over = effective_passes(
        passes=2 * work.recipe.passes,
        beam_radius_mm=once.beam_radius_mm,
        line_spacing_mm=work.recipe.line_spacing_mm,
    )
    twice = effective_exposure(
        WOOD.curve, dose_J_per_mm2=2.0 * once.dose_J_per_mm2, dwell_ms=once.dwell_ms, passes=over
    )
    assert both[0] == pytest.approx(float(twice), abs=1e-12)
    (check,) = overlap_checks((work, replace(work, mark=replace(work.mark, id="again"))), BOARD, wood=WOOD)
    assert f"{float(tone_L(WOOD.curve, twice)):.1f}" in check.text


def test_past_the_char_limit_it_says_so() -> None:
    charring = replace(WOOD, curve=replace(WOOD.curve, x_char=0.0))

    (check,) = overlap_checks(two((10.0, 20.0), (22.0, 20.0)), BOARD, wood=charring)

    assert "past the char limit" in check.text
    assert "leave it as it is" not in check.remedy


def test_a_photograph_is_told_by_its_extreme() -> None:
    """A picture that burns its full tone in half of the overlap only: the worst of it is told, darkest or lightest."""
    solid, other = two((10.0, 20.0), (22.0, 20.0))
    powers = other.picture_W.copy()
    powers[: len(powers) // 2] *= np.float32(0.5)
    photo = replace(other, mark=replace(other.mark, treatment="photo"), picture_W=powers)

    (check,) = overlap_checks((solid, photo), BOARD, wood=WOOD)
    (full,) = overlap_checks((solid, other), BOARD, wood=WOOD)

    assert "together give at its darkest L*" in check.text
    assert check.text.replace("at its darkest ", "") == full.text
    slate = replace(WOOD, curve=SLATE)
    (check,) = overlap_checks((solid, photo), BOARD, wood=slate)
    assert "together give at its lightest L*" in check.text


def test_a_cut_after_an_engraving_is_ordinary_and_one_before_it_is_not() -> None:
    engraved, other = two((10.0, 20.0), (22.0, 20.0))

    assert overlap_checks((engraved, as_cut(other)), BOARD, wood=WOOD) == []
    (check,) = overlap_checks((as_cut(engraved), other), BOARD, wood=WOOD)
    assert check.remedy == "List “front” behind “motto” in batch.toml, so that it is cut last."


def test_no_ink_no_overlap() -> None:
    work, other = two((10.0, 20.0), (22.0, 20.0))
    empty = replace(other, survey=replace(other.survey, ink_box_mm=None))

    assert overlap_of(work, empty) is None
