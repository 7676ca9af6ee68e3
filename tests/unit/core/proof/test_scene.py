"""Any window of a board, at any scale: the same picture wherever it is cut, true in tone, and that of the printed proof."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from shapely import MultiPolygon, Point, Polygon, box

from evenburn.core.art.picture import Grid
from evenburn.core.motion.follow import FollowPath, trace_events
from evenburn.core.motion.raster import raster_events
from evenburn.core.optics.beam import Beam
from evenburn.core.proof.board import Burn, draw_board, enlarge
from evenburn.core.proof.scene import SURROUND, Scene, Window, draw_window, layer_of, scene_of
from evenburn.core.response.curve import tone_L
from unit.core.proof.bench import (
    BARE_L,
    HALF_L,
    BLANK_mm,
    MARK_PLACE_mm,
    SPACING_mm,
    burnt,
    letter_f,
    light_of,
    machine,
    on_bed_mm,
    solid,
    wood,
)

TURNS_deg = (0.0, 90.0, 180.0, 30.0)
LEVEL = 1  # of 255: what rounding of the last digit may do
TONE_TOLERANCE_L = 1.0  # what the proof promises
CORNER_mm = (MARK_PLACE_mm[0] + 5.0, BLANK_mm[1] - MARK_PLACE_mm[1] - 19.0)  # inner corner of the F, from above


def _generator() -> np.random.Generator:
    return np.random.default_rng(11)


def _scene(outline: Polygon | MultiPolygon, burn: Burn, *, turn_deg: float = 0.0, evenness_L: float = 2.4) -> Scene:
    return scene_of(
        outline, wood(evenness_L=evenness_L), turn_deg=turn_deg, burns={"front": burn}, generator=_generator()
    )


def _about(place_mm: tuple[float, float], *, pixel_mm: float, columns: int, rows: int) -> Window:
    """Return a window about a place from the board's left and from above."""
    return Window(
        left_mm=place_mm[0] - 0.5 * columns * pixel_mm,
        top_mm=place_mm[1] - 0.5 * rows * pixel_mm,
        pixel_mm=pixel_mm,
        columns=columns,
        rows=rows,
    )


def _followed() -> Burn:
    path = FollowPath(
        points_mm=np.array([(5.0, 3.0), (25.0, 16.0), (8.0, 14.0)]), closed=False, off_mm=np.zeros((0, 2))
    )
    bench = machine()
    events = trace_events(
        bench, [path], speed_mm_per_s=50.0, line_energy_J_per_mm=0.12, passes=1, least_W=0.0, most_W=60.0
    )
    return Burn(
        grid=Grid(x0_mm=0.0, y0_mm=0.0, pixel_mm=0.05, rows=400, columns=600),
        events=tuple(events),
        beam=Beam(waist_radius_mm=0.1, rayleigh_length_mm=1.0),
        focus_offset_mm=0.0,
        speed_mm_per_s=50.0,
        line_spacing_mm=0.2,
        passes=1,
        rise_time_s=0.0,
        machine=bench,
    )


def _shaded(*, axis: str = "x") -> tuple[Polygon, Burn]:
    """Return a photograph's power, rising along the board and waving across it, on both kinds of line."""
    rows, columns = 160, 240
    x, y = np.meshgrid(np.arange(columns) / columns, np.arange(rows) / rows)
    power = (10.0 * (0.3 + 0.5 * x + 0.2 * np.sin(40.0 * y))).astype(np.float32)
    events = raster_events(
        machine(),
        power if axis == "x" else np.ascontiguousarray(power.T),
        axis="x" if axis == "x" else "y",
        along_origin_mm=103.0 if axis == "x" else 52.0,
        cross_origin_mm=52.0 if axis == "x" else 103.0,
        line_spacing_mm=SPACING_mm,
        speed_mm_per_s=100.0,
        passes=1,
    )
    _, like = burnt(solid())
    burn = replace(
        like,
        events=tuple(events),
        grid=Grid(x0_mm=103.0, y0_mm=52.0, pixel_mm=SPACING_mm, rows=rows, columns=columns),
    )
    return box(100.0, 50.0, 130.0, 70.0), burn


def _two_and_one(scene: Scene, middle_mm: tuple[float, float], *, pixel_mm: float) -> tuple[np.ndarray, np.ndarray]:
    """Return two neighbouring windows side by side, and one as wide as both."""
    wide = _about(middle_mm, pixel_mm=pixel_mm, columns=256, rows=96)
    left = replace(wide, columns=128)
    right = replace(left, left_mm=left.left_mm + 128 * pixel_mm)
    return np.hstack([draw_window(scene, left), draw_window(scene, right)]), draw_window(scene, wide)


@pytest.mark.parametrize("turn_deg", TURNS_deg)
@pytest.mark.parametrize("pixel_mm", [0.0025, 0.02, 0.037, 0.07, 0.3])
def test_neighbouring_tiles_are_as_one_of_twice_the_width(pixel_mm: float, turn_deg: float) -> None:
    outline, burn = burnt(letter_f(), turn_deg=turn_deg)
    two, one = _two_and_one(_scene(outline, burn, turn_deg=turn_deg), CORNER_mm, pixel_mm=pixel_mm)
    assert np.abs(two.astype(int) - one).max() <= LEVEL
    assert one.std() > 5.0  # something is to be seen


@pytest.mark.parametrize("pixel_mm", [0.0025, 0.02, 0.09, 0.3])
@pytest.mark.parametrize("axis", ["x", "y"])
def test_no_seams_in_a_photograph(pixel_mm: float, axis: str) -> None:
    outline, burn = _shaded(axis=axis)
    two, one = _two_and_one(_scene(outline, burn), (13.0, 9.0), pixel_mm=pixel_mm)
    assert np.abs(two.astype(int) - one).max() <= LEVEL


@pytest.mark.parametrize("pixel_mm", [0.0025, 0.02, 0.09, 0.3])
def test_no_seams_in_followed_lines(pixel_mm: float) -> None:
    outline = box(0.0, 0.0, 30.0, 20.0)
    two, one = _two_and_one(_scene(outline, _followed()), (15.0, 20.0 - 9.5), pixel_mm=pixel_mm)
    assert np.abs(two.astype(int) - one).max() <= LEVEL
    assert (one < 120).any()


@pytest.mark.parametrize("turn_deg", TURNS_deg)
@pytest.mark.parametrize("pixel_mm", [0.005, 0.02])
def test_it_agrees_with_the_enlargement_of_the_printed_proof(pixel_mm: float, turn_deg: float) -> None:
    outline, burn = burnt(letter_f(), turn_deg=turn_deg)
    place = (CORNER_mm[0], BLANK_mm[1] - CORNER_mm[1])
    part = enlarge(
        burn,
        wood(),
        middle_mm=on_bed_mm(place, turn_deg=turn_deg),
        size_px=(240, 160),
        pixel_mm=pixel_mm,
        focus_offset_mm=burn.focus_offset_mm,
        generator=_generator(),
        turn_deg=turn_deg,
        outline=outline,
    )
    mine = draw_window(
        _scene(outline, burn, turn_deg=turn_deg), _about(CORNER_mm, pixel_mm=pixel_mm, columns=240, rows=160)
    )
    apart = np.abs(mine.astype(int) - part.colours)
    # free turns are read between pixels on two lattices, so edges of the F may lie half a pixel apart
    assert float(apart.mean()) < (0.3 if turn_deg % 90.0 == 0.0 else 1.2)
    assert float(np.percentile(apart, 99)) <= (2 if turn_deg % 90.0 == 0.0 else 20)


@pytest.mark.parametrize("make", [lambda: burnt(letter_f()), _shaded])
def test_it_agrees_with_the_board_of_the_printed_proof(make: Callable[[], tuple[Polygon, Burn]]) -> None:
    outline, burn = make()
    board = draw_board(outline, wood(), burns=[burn], turn_deg=0.0, longest_px=300, generator=_generator())
    rows, columns = board.coverage.shape
    window = Window(left_mm=0.0, top_mm=0.0, pixel_mm=board.pixel_mm, columns=columns, rows=rows)
    mine = light_of(draw_window(_scene(outline, burn), window))
    theirs = light_of(board.colours)
    whole = board.coverage > 0.99
    assert float(np.abs(mine - theirs)[whole].mean()) < 1.0
    # marks are pasted onto whole pixels there: by less than one of them edges lie apart
    inside = tuple(slice(4, -4) for _ in range(2))
    least = np.min(
        [np.abs(np.roll(theirs, (a, b), axis=(0, 1)) - mine)[inside] for a in (-1, 0, 1) for b in (-1, 0, 1)], axis=0
    )
    assert float(np.percentile(least, 99)) < 6.0


def test_an_even_area_has_the_predicted_tone_at_every_scale() -> None:
    outline, burn = burnt(solid())
    scene = _scene(outline, replace(burn, focus_offset_mm=3.0), evenness_L=0.0)
    for pixel_mm in (0.0025, 0.015, 0.03, 0.05, 0.1, 0.4):
        part = draw_window(scene, _about((15.0, 14.0), pixel_mm=pixel_mm, columns=24, rows=24))
        assert light_of(part).mean() == pytest.approx(HALF_L, abs=TONE_TOLERANCE_L), pixel_mm


def test_single_lines_have_the_dose_of_a_gaussian_beam() -> None:
    """On the axis of a line lies √(2/π) P / (v w) (the integral of a Gaussian), of lines 0.5 mm apart nothing else."""
    _, like = burnt(solid())
    power = np.zeros((41, 80), np.float32)
    power[::5] = 4.0
    events = raster_events(
        machine(),
        power,
        axis="x",
        along_origin_mm=101.0,
        cross_origin_mm=51.0,
        line_spacing_mm=SPACING_mm,
        speed_mm_per_s=100.0,
        passes=1,
    )
    burn = replace(
        like, events=tuple(events), beam=Beam(waist_radius_mm=0.08, rayleigh_length_mm=1.0), focus_offset_mm=0.0
    )
    scene = _scene(box(100.0, 50.0, 112.0, 60.0), burn, evenness_L=0.0)
    part = light_of(draw_window(scene, _about((5.0, 7.0), pixel_mm=0.004, columns=8, rows=400)))[:, 4]
    peak = math.sqrt(2.0 / math.pi) * 4.0 / (100.0 * 0.08)
    assert part.min() == pytest.approx(float(tone_L(wood().curve, math.log10(peak))), abs=TONE_TOLERANCE_L)
    assert part.max() == pytest.approx(BARE_L, abs=TONE_TOLERANCE_L)
    begins = np.flatnonzero(np.diff((part < 0.5 * (part.min() + BARE_L)).astype(int)) == 1)
    assert begins.size >= 3
    assert np.diff(begins) == pytest.approx(0.5 / 0.004, abs=1)


def test_in_focus_its_lines_show_and_off_focus_they_blend() -> None:
    outline, burn = burnt(solid())

    def swing_L(offset_mm: float) -> float:
        scene = _scene(outline, replace(burn, focus_offset_mm=offset_mm), evenness_L=0.0)
        light = light_of(draw_window(scene, _about((15.0, 14.0), pixel_mm=0.005, columns=16, rows=200)))
        return float(np.ptp(light.mean(axis=1)))

    assert swing_L(0.0) > 10.0
    assert swing_L(3.0) < 1.0


@pytest.mark.parametrize("pixel_mm", [0.01, 0.1, 0.5])
def test_round_the_board_and_through_its_holes_all_is_grey(pixel_mm: float) -> None:
    outline = box(100.0, 50.0, 140.0, 80.0).difference(Point(120.0, 65.0).buffer(6.0))
    assert isinstance(outline, Polygon)
    _, burn = burnt(solid())
    scene = _scene(outline, burn)
    hole = draw_window(scene, _about((20.0, 15.0), pixel_mm=pixel_mm, columns=9, rows=9))
    assert (hole == SURROUND).all()
    beyond = draw_window(scene, Window(left_mm=-60.0 * pixel_mm, top_mm=1.0, pixel_mm=pixel_mm, columns=60, rows=7))
    assert (beyond == SURROUND).all()
    edge = draw_window(scene, Window(left_mm=-10.5 * pixel_mm, top_mm=2.0, pixel_mm=pixel_mm, columns=20, rows=7))
    assert (edge[:, :10] == SURROUND).all()
    assert (edge[:, 11:, 0] > edge[:, 11:, 2] + 20).all()  # wood is warm
    assert (edge[:, 10, 0] > SURROUND[0]).all()  # half of that pixel is board
    assert (edge[:, 10, 0] < edge[:, 11, 0]).all()


def test_coverage_is_exact_on_a_slanting_edge() -> None:
    outline = Polygon([(0.0, 0.0), (20.0, 0.0), (20.0, 4.0), (0.0, 10.0)])
    scene = scene_of(outline, wood(evenness_L=0.0), turn_deg=0.0, burns={}, generator=_generator())
    whole = Window(left_mm=0.0, top_mm=0.0, pixel_mm=0.1, columns=200, rows=100)
    seen = draw_window(scene, whole)[:, :, 0].astype(float)
    share = (seen - SURROUND[0]) / (seen.max() - SURROUND[0])
    assert float(share.sum()) * 0.1**2 == pytest.approx(outline.area, rel=2e-3)  # colours have 100 steps between them


def test_a_mark_that_burns_nothing_is_left_out() -> None:
    _, burn = burnt(np.zeros((240, 200), np.float32))
    assert layer_of(burn, wood()) is None
    scene = _scene(box(100.0, 50.0, 140.0, 80.0), burn, evenness_L=0.0)
    light = light_of(draw_window(scene, _about((15.0, 14.0), pixel_mm=0.1, columns=30, rows=30)))
    assert light.mean() == pytest.approx(BARE_L, abs=TONE_TOLERANCE_L)


def test_marks_that_overlap_darken_as_two_filters() -> None:
    outline, burn = burnt(solid())
    far = replace(burn, focus_offset_mm=3.0)
    bare = wood(evenness_L=0.0)
    one = scene_of(outline, bare, turn_deg=0.0, burns={"a": far}, generator=_generator())
    two = scene_of(outline, bare, turn_deg=0.0, burns={"a": far, "b": far}, generator=_generator())
    window = _about((15.0, 14.0), pixel_mm=0.1, columns=30, rows=30)
    once, twice = (light_of(draw_window(scene, window)).mean() for scene in (one, two))
    # luminance of L* 80 is 0.5669, of 55 0.2301 [cie15]; twice as dark is 0.2301² / 0.5669 = 0.0934, L* 36.6
    assert once == pytest.approx(HALF_L, abs=TONE_TOLERANCE_L)
    assert twice == pytest.approx(36.6, abs=TONE_TOLERANCE_L)


def test_a_large_mark_is_the_same_from_a_pyramid_that_begins_coarser(monkeypatch: pytest.MonkeyPatch) -> None:
    from evenburn.core.proof import scanned_layer

    outline, burn = burnt(letter_f())
    windows = [_about(CORNER_mm, pixel_mm=p, columns=40, rows=30) for p in (0.09, 0.18, 0.45, 1.1)]
    usual = [draw_window(_scene(outline, burn), w).astype(int) for w in windows]
    monkeypatch.setattr(scanned_layer, "BASE_PIXELS", 4000.0)
    large = _scene(outline, burn)
    for window, expected in zip(windows, usual, strict=True):
        # sixteen bits, and averages of averages
        assert np.abs(draw_window(large, window).astype(int) - expected).max() <= 2 * LEVEL
