"""Lost strokes and gaps found from events, and told where they lie on board and mark."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from evenburn.core.art.picture import Drawn, draw_on_bed, grid_in_box
from evenburn.core.layout.place import mark_on_bed, outline_on_bed
from evenburn.core.motion.raster import raster_events
from evenburn.core.nouns.mark import Piece
from evenburn.core.optics.beam import Beam
from evenburn.core.proof.board import Burn
from evenburn.core.proof.lost_places import LostDetail, burnt_mask, detail_grid, lost_places
from unit.core.examples import blank, mark, piece
from unit.core.proof.bench import machine, wood

Picture = NDArray[np.float32]
PX = 40  # of the drawing, a millimetre
SIZE_mm = (20.0, 12.0)
FULL_L, SPEED_mm_per_s, SPACING_mm = 55.0, 100.0, 0.1  # 1 J/mm² on the test wood; half its tone at 0.73 of the dose


def drawing(*bars_mm: tuple[float, float, float, float], slots_mm: tuple[tuple[float, ...], ...] = ()) -> Picture:
    """Return ink in boxes (x0, y0, x1, y1) from the lower left corner, slots cut out, top row first."""
    picture = np.zeros((round(SIZE_mm[1] * PX), round(SIZE_mm[0] * PX)), np.float32)
    for boxes, value in ((bars_mm, 1.0), (slots_mm, 0.0)):
        for x0, y0, x1, y1 in boxes:
            picture[round(y0 * PX) : round(y1 * PX), round(x0 * PX) : round(x1 * PX)] = value
    return np.ascontiguousarray(picture[::-1])


def found(
    picture: Picture, *, radius_mm: float = 0.15, turn_deg: float = 0.0, **more: float
) -> tuple[LostDetail, Piece]:
    """Return what a drawing loses that is burnt at one line a tenth of a millimetre, and the piece."""
    front = mark(size_mm=SIZE_mm, place_mm=(10.0, 20.0))
    work = piece(blank=blank(size_mm=(50.0, 40.0)), marks=(front,), turn_deg=turn_deg)
    art = Drawn(picture=picture)
    box = mark_on_bed(work, place_mm=front.place_mm, size_mm=SIZE_mm).bounds
    grid = grid_in_box(box, pixel_mm=SPACING_mm)
    ink = draw_on_bed(art, grid=grid, size_mm=SIZE_mm, turn_deg=turn_deg, as_light=False) >= 0.5
    events = raster_events(
        machine(),
        np.where(ink, np.float32(SPEED_mm_per_s * SPACING_mm), np.float32(0.0)),
        axis="x",
        along_origin_mm=grid.x0_mm,
        cross_origin_mm=grid.y0_mm,
        line_spacing_mm=SPACING_mm,
        speed_mm_per_s=SPEED_mm_per_s,
        passes=1,
    )
    burn = Burn(
        grid=grid,
        events=tuple(events),
        beam=Beam(waist_radius_mm=radius_mm, rayleigh_length_mm=1.0),
        focus_offset_mm=0.0,
        speed_mm_per_s=SPEED_mm_per_s,
        line_spacing_mm=SPACING_mm,
        passes=1,
        rise_time_s=0.0,
    )
    fine = detail_grid(box, line_spacing_mm=SPACING_mm)
    coverage = draw_on_bed(art, grid=fine, size_mm=SIZE_mm, turn_deg=turn_deg, as_light=False)
    lost = lost_places(
        burn,
        wood(),
        coverage=coverage,
        grid=fine,
        tone_L=FULL_L,
        size_mm=SIZE_mm,
        outline=outline_on_bed(work),
        turn_deg=turn_deg,
        **more,
    )
    return lost, work


def test_half_tone_is_reached_where_the_curve_says() -> None:
    # a wide bar of which half the tone is at 0.73 of the dose: its burnt edge lies W/√2 erfinv(2 · 0.73 − 1) inside
    lost, _ = found(drawing((2.0, 2.0, 18.0, 10.0)))
    assert lost.places == ()
    assert lost.lost.nothing()


@pytest.mark.parametrize("turn_deg", [0.0, 90.0, 180.0, 30.0])
def test_a_thin_stroke_vanishes_at_its_place_on_mark_and_board(turn_deg: float) -> None:
    # 0.1 mm wide: erf(0.1 / (√2 · 0.15)) = 0.50 of the dose (Abramowitz and Stegun, from memory), half tone needs 0.73
    picture = drawing((2.0, 2.0, 6.0, 10.0), (15.0, 3.0, 15.1, 9.0))
    lost, _ = found(picture, turn_deg=turn_deg)
    assert lost.count("vanish") >= 1
    assert lost.count("fill") == 0
    place = lost.places[0]
    assert place.on_mark_mm == pytest.approx((15.05, 6.0), abs=0.3)  # a turned grid ends up to a pixel off
    # by hand: the mark starts at (10, 20) of a blank of 50 × 40 mm
    x0, y0, x1, y1 = place.box_on_board
    assert (x0 + x1) / 2.0 == pytest.approx((10.0 + 15.05) / 50.0, abs=0.01)
    assert (y0 + y1) / 2.0 == pytest.approx((20.0 + 6.0) / 40.0, abs=0.01)
    assert place.narrowest_mm == pytest.approx(0.1, abs=0.04)


def test_a_thin_gap_fills_where_the_beam_is_wide_and_stays_where_it_is_narrow() -> None:
    picture = drawing((2.0, 2.0, 18.0, 10.0), slots_mm=((9.9, 3.0, 10.1, 9.0),))
    # in the middle of 0.2 mm: 1 − erf(0.2 / (√2 w)) of the dose: 0.78 at w 0.7 and below 0.02 at w 0.08
    wide, _ = found(picture, radius_mm=0.7)
    assert wide.count("fill") == 1
    assert wide.places[-1].on_mark_mm == pytest.approx((10.0, 6.0), abs=0.1)
    narrow, _ = found(picture, radius_mm=0.08)
    assert narrow.places == ()


def test_a_warped_board_loses_what_a_flat_one_keeps() -> None:
    picture = drawing((2.0, 2.0, 6.0, 10.0), (15.0, 3.0, 15.2, 9.0))
    flat, _ = found(picture, radius_mm=0.1)
    assert flat.places == ()
    warped, _ = found(picture, radius_mm=0.1, unevenness_mm=2.0)
    assert warped.count("vanish") == 1


def test_what_lies_near_together_is_one_place_with_its_count() -> None:
    strokes = [(x, 3.0, x + 0.1, 9.0) for x in (10.0, 11.0, 12.0, 17.0)]
    lost, _ = found(drawing((2.0, 2.0, 6.0, 10.0), *strokes))
    assert [place.count for place in lost.places] == [3, 1]
    assert lost.count("vanish") == 4


def test_lines_that_stand_apart_are_no_lost_detail() -> None:
    # lines 0.1 mm apart under a beam of 0.04 mm leave bare troughs: that is banding, and another check tells it
    lost, _ = found(drawing((2.0, 2.0, 18.0, 10.0)), radius_mm=0.04)
    assert lost.places == ()


def test_the_grid_stays_within_two_million_pixels() -> None:
    grid = detail_grid((0.0, 0.0, 300.0, 200.0), line_spacing_mm=0.05)
    assert grid.rows * grid.columns <= 2.01e6
    small = detail_grid((0.0, 0.0, 0.004, 0.01), line_spacing_mm=0.05)
    assert (small.rows, small.columns) == (2, 1)


def test_nothing_burnt_is_nowhere_burnt() -> None:
    grid = detail_grid((0.0, 0.0, 5.0, 5.0), line_spacing_mm=0.1)
    burn = Burn(
        grid=grid,
        events=(),
        beam=Beam(waist_radius_mm=0.1, rayleigh_length_mm=1.0),
        focus_offset_mm=0.0,
        speed_mm_per_s=100.0,
        line_spacing_mm=0.1,
        passes=1,
        rise_time_s=0.0,
    )
    assert not burnt_mask(burn, wood(), grid=grid, tone_L=FULL_L).any()
