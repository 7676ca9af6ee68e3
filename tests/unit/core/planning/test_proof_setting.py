"""A mark at another setting: the same lines under another beam, or other lines with a power that holds the tone."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from evenburn.core.planning.mark_plan import MarkWork
from evenburn.core.planning.proof_setting import ScannedMark, Setting, at_setting, lines_at, recipe_at, scanned_mark
from evenburn.core.proof.line_table import LineTable, line_table
from unit.core.examples import CURVE, LENS
from unit.core.examples import mark as mark_of
from unit.core.examples import piece as piece_of
from unit.core.planning.drawn_marks import Shaped, hold, worked

RING = shapely.Point(15.0, 10.0).buffer(9.0).difference(shapely.Point(15.0, 10.0).buffer(5.0))
EVERYWHERE = (-math.inf, -math.inf, math.inf, math.inf)


def _kept(**changes: object) -> tuple[MarkWork, ScannedMark]:
    mark = mark_of(size_mm=(30.0, 20.0), hold=hold(**changes))
    piece = piece_of(marks=(mark,))
    work = worked(mark, piece, shape=RING)
    artwork = Shaped(shape=RING, size_mm=mark.size_mm)
    return work, scanned_mark(work, piece=piece, artwork=artwork)


def _burnt_mm(table: LineTable | None) -> float:
    """Return the length that is burnt."""
    assert table is not None
    widths = np.diff(table.edges_mm.astype(np.float64))
    ends = table.first[1:-1] - 1
    lit = table.power_W[:-1] > 0.0
    lit[ends] = False
    return float(widths[lit].sum())


def test_as_planned_it_is_the_plan() -> None:
    work, kept = _kept()
    recipe, _ = recipe_at(kept, line_spacing_mm=None)
    assert recipe == work.recipe
    assert recipe_at(kept, line_spacing_mm=work.recipe.line_spacing_mm)[0] == work.recipe
    told = at_setting(kept, Setting(), lens=LENS)
    assert told.predicted.tone_L == pytest.approx(work.predicted.tone_L)
    assert told.predicted.detail_mm == pytest.approx(work.predicted.detail_mm)
    assert told.predicted.time_s == pytest.approx(work.predicted.time_s)


def test_lines_twice_as_near_need_half_the_power() -> None:
    """The mean dose of a raster is n P / (v p): conservation of energy; and lines twice as near count as twice the passes."""
    work, kept = _kept(line_spacing_mm=0.1, focus_offset_mm=2.0)
    recipe, _ = recipe_at(kept, line_spacing_mm=0.05)
    assert recipe.power_W == pytest.approx(
        0.5 * 2.0 ** (1.0 - CURVE.pass_exponent) * work.recipe.power_W, rel=0.02
    )  # its ripple differs, S words are whole
    assert recipe.speed_mm_per_s == work.recipe.speed_mm_per_s
    told = at_setting(kept, Setting(line_spacing_mm=0.05), lens=LENS)
    assert told.predicted.tone_L == pytest.approx(work.predicted.tone_L, abs=0.3)  # a step of the S word
    assert told.predicted.time_s == pytest.approx(2.0 * work.predicted.time_s, rel=0.15)  # half as many turns beside


def test_another_offset_leaves_the_power_and_changes_the_beam() -> None:
    work, kept = _kept(line_spacing_mm=0.14, focus_offset_mm=2.0)
    told = at_setting(kept, Setting(focus_offset_mm=0.0), lens=LENS)
    assert told.recipe.power_W == work.recipe.power_W
    assert told.recipe.stand_off_mm == LENS.focus_stand_off_mm
    assert told.predicted.time_s == pytest.approx(work.predicted.time_s)
    assert told.predicted.ripple_L > 5.0 * work.predicted.ripple_L
    assert told.predicted.detail_mm < work.predicted.detail_mm


def test_lines_laid_anew_at_the_planned_spacing_burn_what_the_program_burns() -> None:
    work, kept = _kept()
    planned = line_table(work.events, reversal_offset_mm=0.0)
    anew, within = lines_at(kept, work.recipe, near_bed_mm=EVERYWHERE)
    assert within == EVERYWHERE
    assert planned is not None
    assert anew is not None
    assert anew.cross_mm == pytest.approx(np.unique(planned.cross_mm))
    assert _burnt_mm(anew) == pytest.approx(_burnt_mm(planned), rel=0.005)  # a drawing kept in 16 bits on half lines


@pytest.mark.parametrize("axis", ["x", "y"])
@pytest.mark.parametrize("spacing_mm", [0.07, 0.13])
def test_a_part_has_the_lines_of_the_whole(spacing_mm: float, axis: str) -> None:
    _, kept = _kept(scan_axis=axis)
    recipe, _ = recipe_at(kept, line_spacing_mm=spacing_mm)
    whole, _ = lines_at(kept, recipe, near_bed_mm=EVERYWHERE)
    x0, y0, _, _ = kept.box_bed_mm
    part, within = lines_at(kept, recipe, near_bed_mm=(x0 + 6.0, y0 + 5.0, x0 + 9.0, y0 + 8.0))
    assert whole is not None
    assert part is not None
    low, high = (within[1], within[3]) if axis == "x" else (within[0], within[2])
    assert high - low == pytest.approx(3.0, abs=2 * spacing_mm)
    assert math.isinf(within[0] if axis == "x" else within[1])
    first, last = whole.near(low, high)
    assert part.cross_mm == pytest.approx(whole.cross_mm[first:last])
    assert (part.forward == whole.forward[first:last]).all()
    begin, end = whole.first[first], whole.first[last]
    np.testing.assert_allclose(part.edges_mm, whole.edges_mm[begin:end], atol=1e-4)  # float32 of a bed
    np.testing.assert_allclose(part.power_W, whole.power_W[begin:end])


def test_beside_the_mark_there_are_no_lines() -> None:
    work, kept = _kept()
    table, _ = lines_at(kept, work.recipe, near_bed_mm=(-50.0, -50.0, -40.0, -40.0))
    assert table is None


def test_what_gives_way_is_told() -> None:
    _, kept = _kept(line_spacing_mm=0.1)
    told = at_setting(kept, Setting(line_spacing_mm=0.3), lens=LENS)
    assert "banding" in told.gave_way
    assert told.predicted.ripple_L > told.predicted.ripple_limit_L
