"""The board and its enlargements: upright, true in tone, lines seen where they are."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from shapely import MultiPolygon, box

from evenburn.core.art.picture import Grid
from evenburn.core.motion.follow import FollowPath, trace_events
from evenburn.core.optics.beam import Beam, beam_radius_mm
from evenburn.core.proof import board as board_module
from evenburn.core.proof.board import Burn, draw_board, enlarge, mark_reflectance, telling_place_mm
from evenburn.core.response.curve import tone_L
from evenburn.core.tone.colour import luminance
from unit.core.proof.bench import (
    BARE_L,
    HALF_L,
    BLANK_mm,
    MARK_PLACE_mm,
    MARK_SIZE_mm,
    SPACING_mm,
    burnt,
    letter_f,
    light_of,
    machine,
    on_bed_mm,
    solid,
    wood,
)

TURNS_deg = (0.0, 90.0, 180.0, 270.0, -90.0, 30.0, 197.0)
TONE_TOLERANCE_L = 1.0  # what the proof promises; grain averages out over the areas read here


def _generator() -> np.random.Generator:
    return np.random.default_rng(11)


def _rest(picture: np.ndarray, *, edge: int) -> np.ndarray:
    return picture[edge:-edge, edge:-edge]


def _expected_ink(*, pixel_mm: float, shape: tuple[int, int]) -> np.ndarray:
    """Return where the upright board shows the F, drawn by hand; top row first."""
    x = (np.arange(shape[1]) + 0.5) * pixel_mm - MARK_PLACE_mm[0]
    y = BLANK_mm[1] - (np.arange(shape[0]) + 0.5) * pixel_mm - MARK_PLACE_mm[1]
    column, row = np.meshgrid(x / MARK_SIZE_mm[0], 1.0 - y / MARK_SIZE_mm[1])
    inside = (column >= 0.0) & (column < 1.0) & (row >= 0.0) & (row < 1.0)
    ink = letter_f()
    r = np.clip(row * ink.shape[0], 0, ink.shape[0] - 1).astype(int)
    c = np.clip(column * ink.shape[1], 0, ink.shape[1] - 1).astype(int)
    return (ink[r, c] > 0.5) & inside


@pytest.mark.parametrize("turn_deg", TURNS_deg)
def test_artwork_stands_upright_and_unmirrored_however_the_blank_lies(turn_deg: float) -> None:
    outline, burn = burnt(letter_f(), turn_deg=turn_deg)
    board = draw_board(outline, wood(), burns=[burn], turn_deg=turn_deg, longest_px=600, generator=_generator())
    dark = light_of(board.colours) < 0.5 * (BARE_L + HALF_L)
    rows, columns = dark.shape
    assert columns * board.pixel_mm == pytest.approx(BLANK_mm[0], abs=3 * board.pixel_mm)
    assert rows * board.pixel_mm == pytest.approx(BLANK_mm[1], abs=3 * board.pixel_mm)
    expected = _expected_ink(pixel_mm=board.pixel_mm, shape=dark.shape)
    # edges may be off by a pixel of board and one of the mark's grid; grain turns a few pixels over
    assert (dark != expected).mean() < 0.02
    for wrong in (expected[::-1], expected[:, ::-1], expected[::-1, ::-1]):
        assert (dark != wrong).mean() > 0.1


@pytest.mark.parametrize("turn_deg", TURNS_deg)
def test_an_enlargement_stands_upright_too(turn_deg: float) -> None:
    _, burn = burnt(letter_f(), turn_deg=turn_deg)
    corner_mm = (MARK_PLACE_mm[0] + 5.0, MARK_PLACE_mm[1] + 19.0)  # the inner corner of stem and upper arm
    part = enlarge(
        burn,
        wood(evenness_L=0.5),
        middle_mm=on_bed_mm(corner_mm, turn_deg=turn_deg),
        size_px=(180, 120),
        pixel_mm=0.02,
        focus_offset_mm=1.5,
        generator=_generator(),
        turn_deg=turn_deg,
    )
    assert part.colours.shape == (120, 180, 3)
    dark = light_of(part.colours) < 0.5 * (BARE_L + HALF_L)
    assert dark[:50].mean() > 0.98  # the arm above
    assert dark[:, :80].mean() > 0.98  # the stem at its left
    assert dark[70:, 100:].mean() < 0.02  # bare wood right below


@pytest.mark.parametrize("grain", [True, False])
@pytest.mark.parametrize("turn_deg", [0.0, 30.0])
def test_an_even_area_has_the_predicted_tone_on_the_board_and_close_up(*, grain: bool, turn_deg: float) -> None:
    outline, burn = burnt(solid(), turn_deg=turn_deg)
    kind = wood(grain=grain)
    board = draw_board(outline, kind, burns=[burn], turn_deg=turn_deg, longest_px=800, generator=_generator())
    light = light_of(board.colours)
    px = 1.0 / board.pixel_mm
    top, left = (
        round((BLANK_mm[1] - MARK_PLACE_mm[1] - MARK_SIZE_mm[1] + 1.0) * px),
        round((MARK_PLACE_mm[0] + 1.0) * px),
    )
    inside = light[top : top + round(22.0 * px), left : left + round(18.0 * px)]
    assert inside.mean() == pytest.approx(HALF_L, abs=TONE_TOLERANCE_L)
    bare = light[round(1.0 * px) : round(29.0 * px), round(27.0 * px) : round(39.0 * px)]
    assert bare.mean() == pytest.approx(BARE_L, abs=TONE_TOLERANCE_L)
    part = enlarge(
        burn,
        wood(grain=grain, evenness_L=0.0),  # so near, a board has blotches larger than the picture
        middle_mm=on_bed_mm((15.0, 16.0), turn_deg=turn_deg),
        size_px=(448, 240),
        pixel_mm=0.007,
        focus_offset_mm=2.0,
        generator=_generator(),
        turn_deg=turn_deg,
    )
    assert light_of(part.colours).mean() == pytest.approx(HALF_L, abs=TONE_TOLERANCE_L)


def test_slate_turns_lighter() -> None:
    outline, burn = burnt(solid())
    slate = wood(lightens=True, grain=False)
    board = draw_board(outline, slate, burns=[burn], turn_deg=0.0, longest_px=400, generator=_generator())
    light = light_of(board.colours)
    assert light[100:250, 80:220].mean() == pytest.approx(50.0, abs=TONE_TOLERANCE_L)  # half of the way from 35 to 65
    assert light[:, 300:].mean() == pytest.approx(35.0, abs=TONE_TOLERANCE_L)


def test_lines_show_in_focus_and_blend_two_millimetres_off() -> None:
    _, burn = burnt(solid())

    def swing_L(offset_mm: float) -> float:
        part = enlarge(
            burn,
            wood(evenness_L=0.01),
            middle_mm=on_bed_mm((15.0, 16.0), turn_deg=0.0),
            size_px=(60, 200),
            pixel_mm=0.005,
            focus_offset_mm=offset_mm,
            generator=_generator(),
        )
        along = light_of(part.colours).mean(axis=1)
        period_px = round(SPACING_mm / 0.005)
        crests = along.reshape(-1, period_px)
        return float((crests.max(axis=1) - crests.min(axis=1)).mean())

    # By hand: doses 1 ± 2 exp(−π² w² / 2p²) of the mean, w = 0.05 mm at 0 mm and 0.05 √5 mm at 2 mm, p = 0.1 mm, on
    # a logistic of 8 per decade between L* 80 and 30: 0.418 and 1.582 give L* 77.7 and 38.4; at 2 mm the doses are
    # 0.9958 and 1.0042, 0.4 L* apart. Tolerances: the grid's step, and a step of 8-bit colour.
    assert swing_L(0.0) == pytest.approx(39.3, abs=1.5)
    assert swing_L(2.0) == pytest.approx(0.4, abs=0.4)
    assert swing_L(0.0) > swing_L(1.0) > swing_L(2.0)


def test_a_wide_beam_is_enlarged_on_coarser_pixels_and_looks_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    _, burn = burnt(letter_f())
    corner_mm = (MARK_PLACE_mm[0] + 5.0, MARK_PLACE_mm[1] + 19.0)

    def light_L() -> np.ndarray:
        part = enlarge(
            burn,
            wood(evenness_L=0.01),
            middle_mm=on_bed_mm(corner_mm, turn_deg=0.0),
            size_px=(301, 199),  # no multiple of the coarser pixels
            pixel_mm=0.01,
            focus_offset_mm=20.0,
            generator=_generator(),
        )
        return light_of(part.colours)

    radius_mm = float(beam_radius_mm(burn.beam, offset_mm=20.0))
    assert radius_mm > 2 * board_module.ENOUGH_ACROSS * 0.01
    coarser = light_L()
    monkeypatch.setattr(board_module, "ENOUGH_ACROSS", 1e9)
    as_fine = light_L()
    assert np.ptp(as_fine) > 10.0  # an edge crosses it
    assert coarser == pytest.approx(as_fine, abs=0.6)  # a step of 8-bit colour


def test_other_marks_reach_into_the_enlargement() -> None:
    _, first = burnt(letter_f())
    _, second = burnt(solid())
    where = on_bed_mm((20.0, 8.0), turn_deg=0.0)  # bare in the F, burnt in the solid mark

    def seen(others: tuple) -> float:
        part = enlarge(
            first,
            wood(),
            middle_mm=where,
            size_px=(80, 60),
            pixel_mm=0.02,
            focus_offset_mm=2.0,
            generator=_generator(),
            others=others,
        )
        return float(light_of(part.colours).mean())

    assert seen(()) == pytest.approx(BARE_L, abs=TONE_TOLERANCE_L)
    assert seen((second,)) == pytest.approx(HALF_L, abs=TONE_TOLERANCE_L)


def test_the_coverage_keeps_holes_and_gaps_open() -> None:
    _, burn = burnt(letter_f())
    pair = MultiPolygon([box(0.0, 0.0, 10.0, 10.0), box(12.0, 0.0, 22.0, 10.0).difference(box(15.0, 4.0, 19.0, 6.0))])
    board = draw_board(pair, wood(), burns=[burn], turn_deg=0.0, longest_px=220, generator=_generator())
    assert board.coverage.shape == (100, 220)
    assert board.coverage[50, 50] == 1.0
    assert board.coverage[50, 110] == 0.0  # between the two
    assert board.coverage[50, 170] == 0.0  # in the hole
    assert board.coverage[20, 170] == 1.0
    assert board.coverage.mean() == pytest.approx((200.0 - 8.0) / 220.0, abs=0.01)  # areas by hand; edge pixels


def _grid(rows: int, columns: int) -> Grid:
    return Grid(x0_mm=10.0, y0_mm=20.0, pixel_mm=0.1, rows=rows, columns=columns)


def test_the_window_is_chosen_where_strokes_meet_not_where_they_run_straight() -> None:
    picture = np.zeros((400, 800), np.float32)
    picture[40:60] = 10.0  # a long straight bar
    picture[200:320, 600:612] = 10.0  # a cross
    picture[255:267, 550:660] = 10.0
    x, y = telling_place_mm(picture, _grid(400, 800), width_mm=8.0, height_mm=4.0)
    assert abs(x - (10.0 + 60.6)) < 2.0
    assert abs(y - (20.0 + 26.1)) < 2.0


@pytest.mark.parametrize("value", [0.0, 10.0])
def test_an_even_mark_is_shown_inside_itself(value: float) -> None:
    x, y = telling_place_mm(np.full((300, 500), value, np.float32), _grid(300, 500), width_mm=10.0, height_mm=4.0)
    assert 10.0 <= x <= 60.0
    assert 20.0 <= y <= 50.0


def test_the_window_keeps_inside_a_photograph() -> None:
    picture = np.full((300, 500), 8.0, np.float32)
    picture[150:, 250:] = 4.0
    x, y = telling_place_mm(picture, _grid(300, 500), width_mm=10.0, height_mm=4.0)
    assert 15.0 - 0.1 <= x <= 55.0 + 0.1
    assert 22.0 - 0.1 <= y <= 48.0 + 0.1


@pytest.mark.parametrize(("rows", "columns"), list(itertools.product((1, 2, 30), (1, 2, 30))))
def test_the_smallest_marks_have_a_place_too(rows: int, columns: int) -> None:
    x, y = telling_place_mm(
        np.full((rows, columns), 5.0, np.float32), _grid(rows, columns), width_mm=9.0, height_mm=3.0
    )
    assert 10.0 <= x <= 10.0 + 0.1 * columns
    assert 20.0 <= y <= 20.0 + 0.1 * rows


def _followed(points: list[tuple[float, float]], *, pixel_mm: float, radius_mm: float = 0.1) -> Burn:
    """Return a burn of a path at 0.12 J/mm on a grid of 30 by 20 mm."""
    path = FollowPath(points_mm=np.array(points), closed=False, off_mm=np.zeros((0, 2)))
    bench = machine()
    events = trace_events(
        bench, [path], speed_mm_per_s=50.0, line_energy_J_per_mm=0.12, passes=1, least_W=0.0, most_W=60.0
    )
    return Burn(
        grid=Grid(x0_mm=0.0, y0_mm=0.0, pixel_mm=pixel_mm, rows=round(20 / pixel_mm), columns=round(30 / pixel_mm)),
        events=tuple(events),
        beam=Beam(waist_radius_mm=radius_mm, rayleigh_length_mm=1.0),
        focus_offset_mm=0.0,
        speed_mm_per_s=50.0,
        line_spacing_mm=2.0 * radius_mm,
        passes=1,
        rise_time_s=0.0,
        machine=bench,
    )


@pytest.mark.parametrize("pixel_mm", [0.05, 0.25, 1.0])
@pytest.mark.parametrize("end", [(25.0, 6.013), (25.0, 13.5)])
def test_a_line_narrower_than_a_pixel_darkens_it_by_its_share_of_the_area(
    pixel_mm: float, end: tuple[float, float]
) -> None:
    """Light lost per millimetre of line: the integral across a Gaussian of dose, whatever the pixel."""
    burn = _followed([(5.0, 6.013), end], pixel_mm=pixel_mm)
    beside = np.linspace(-0.6, 0.6, 4001)
    dose = math.sqrt(2.0 / math.pi) * 0.12 / 0.1 * np.exp(-2.0 * (beside / 0.1) ** 2)
    seen = luminance(tone_L(wood().curve, np.log10(dose)))
    lost = float((luminance(BARE_L) - seen).mean()) * 1.2
    picture = mark_reflectance(burn, wood()).astype(np.float64)
    length = math.hypot(end[0] - 5.0, end[1] - 6.013)
    # both ends add half a beam; pixels of half a radius may lie well or ill to the line: 2 %
    assert float((luminance(BARE_L) - picture).sum()) * pixel_mm**2 / length == pytest.approx(lost, rel=0.025)


def test_a_followed_line_is_seen_on_the_board_and_close_to() -> None:
    burn = _followed([(5.0, 10.0), (25.0, 10.0)], pixel_mm=0.05)
    even = wood(evenness_L=0.0, grain=False)
    board = draw_board(
        box(0.0, 0.0, 30.0, 20.0), even, burns=[burn], turn_deg=0.0, longest_px=300, generator=_generator()
    )
    light = light_of(board.colours)
    rows = np.flatnonzero((light < BARE_L - 3.0).any(axis=1))
    assert set(rows.tolist()) <= {98, 99, 100, 101}  # 0.1 mm each, the line is 0.2 mm wide at its foot
    assert rows.size >= 2
    part = enlarge(
        burn,
        even,
        middle_mm=(15.0, 10.0),
        size_px=(80, 60),
        pixel_mm=0.01,
        focus_offset_mm=0.0,
        generator=_generator(),
    )
    column = light_of(part.colours)[:, 40]
    peak = math.sqrt(2.0 / math.pi) * 0.12 / 0.1
    assert column.min() == pytest.approx(float(tone_L(even.curve, math.log10(peak))), abs=TONE_TOLERANCE_L)
    assert column[0] == pytest.approx(BARE_L, abs=TONE_TOLERANCE_L)


def test_the_board_looks_the_same_drawn_in_bands(monkeypatch: pytest.MonkeyPatch) -> None:
    burn = _followed([(5.0, 3.0), (25.0, 16.0), (8.0, 14.0)], pixel_mm=0.1)
    whole = mark_reflectance(burn, wood())
    monkeypatch.setattr(board_module, "FOLLOWED_ROWS", 22)
    assert mark_reflectance(burn, wood()) == pytest.approx(
        whole, abs=1e-3
    )  # the table of tones is made anew in each band
