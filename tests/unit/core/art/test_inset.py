"""Growth, commanded widths, and art moved by them: closed forms, then what the machine burns of it."""

from __future__ import annotations

import math
from functools import cache
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from evenburn.core.art.inset import commanded_width_mm, growth_mm, inset_ink
from evenburn.core.motion.raster import raster_events
from evenburn.core.proof.dose import DoseGrid, collect, dose_map_J_per_mm2
from evenburn.core.response.curve import exposures_for_tones, tone_L
from unit.core.examples import machine, plain_curve

Picture = NDArray[np.float32]
GRADES: dict[str, Any] = {"beam_radius_mm": 0.12, "smear_mm": 0.0, "half_tone_dose_fraction": 0.6}


def strip(width_mm: float, *, at_mm: float, pixel_mm: float, size_px: int, up: bool = False) -> Picture:
    """Return soft coverage of a strip that runs up the picture, or across it, ending 10 pixels before its borders."""
    edges = np.arange(size_px + 1) * pixel_mm
    low, high = at_mm - 0.5 * width_mm, at_mm + 0.5 * width_mm
    covered = np.maximum(np.minimum(edges[1:], high) - np.maximum(edges[:-1], low), 0.0) / pixel_mm
    picture = np.zeros((size_px, size_px), np.float32)
    picture[10:-10] = covered
    return np.ascontiguousarray(picture.T) if up else picture


def letters(text: str, *, px: float, rows: int = 60, columns: int = 460) -> Picture:
    """Return lettering with soft edges."""
    fine = 8
    big = np.zeros((rows * fine, columns * fine), np.uint8)
    cv2.putText(
        big, text, (5 * fine, (rows - 20) * fine), cv2.FONT_HERSHEY_COMPLEX, px / 30.0 * fine, (255,), 2, cv2.LINE_AA
    )
    return np.asarray(cv2.resize(big, (columns, rows), interpolation=cv2.INTER_AREA), np.float32) / 255.0


# ---- closed forms ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("argument", "error_function"),
    # erf(x), ten digits, from memory of Abramowitz and Stegun, table 7.1
    [(0.1, 0.1124629160), (0.5, 0.5204998778), (1.0, 0.8427007929), (1.5, 0.9661051465)],
)
def test_growth_at_tabulated_values_of_the_error_function(argument: float, error_function: float) -> None:
    # erfinv(1 − 2 s) is the argument where s = (1 − erf)/2, so that the growth is argument × W/√2
    share = 0.5 * (1.0 - error_function)
    found = growth_mm(beam_radius_mm=0.1, smear_mm=0.0, half_tone_dose_fraction=share)
    assert found == pytest.approx(argument * 0.1 / math.sqrt(2.0), abs=1e-10)  # ten digits are printed
    back = growth_mm(beam_radius_mm=0.1, smear_mm=0.0, half_tone_dose_fraction=1.0 - share)
    assert back == pytest.approx(-argument * 0.1 / math.sqrt(2.0), abs=1e-10)


def test_beam_and_smear_add_in_quadrature() -> None:
    # 3, 4, 5: a beam of 0.06 and a smear of 0.04 spread like a beam of 0.1
    both = growth_mm(beam_radius_mm=0.06, smear_mm=0.04, half_tone_dose_fraction=0.4)
    alone = growth_mm(beam_radius_mm=0.1, smear_mm=0.0, half_tone_dose_fraction=0.4)
    assert both == pytest.approx(float(alone), rel=1e-12)  # rounding


@pytest.mark.parametrize("share", [0.25, 0.4, 0.5, 0.6, 0.75])
def test_a_wide_stroke_is_drawn_in_by_the_growth_on_both_sides(share: float) -> None:
    kw: dict[str, Any] = {"beam_radius_mm": 0.12, "smear_mm": 0.05, "half_tone_dose_fraction": share}
    commanded = commanded_width_mm(3.0, line_spacing_mm=0.1, **kw)
    assert float(commanded) == pytest.approx(3.0 - 2.0 * float(growth_mm(**kw)), abs=1e-9)  # 50 halvings of 4 mm


def test_a_stroke_too_thin_is_commanded_as_wide_as_one_that_just_reaches_half_tone() -> None:
    # erf(0.5) = 0.5204998778 (Abramowitz and Stegun, table 7.1, from memory): c = √2 W × 0.5 has that in its middle
    kw: dict[str, Any] = {
        "beam_radius_mm": 0.2,
        "smear_mm": 0.0,
        "half_tone_dose_fraction": 0.5204998778,
        "line_spacing_mm": 0.05,
    }
    assert float(commanded_width_mm(0.0, **kw)) == pytest.approx(math.sqrt(2.0) * 0.2 * 0.5, abs=1e-9)
    widths = commanded_width_mm(np.linspace(0.0, 1.0, 50), **kw)
    assert (np.diff(widths) > 0.0).all()
    assert float(commanded_width_mm(0.0, **{**kw, "line_spacing_mm": 0.18})) == 0.18


@pytest.mark.parametrize("share", [0.3, 0.46, 0.6, 0.7])
@pytest.mark.parametrize("drawn_mm", [0.05, 0.2, 0.5])
def test_the_commanded_strip_blurred_point_by_point_is_as_wide_as_drawn(share: float, drawn_mm: float) -> None:
    step = 0.0005
    x = np.arange(-2.0, 2.0, step) + 0.5 * step
    commanded = float(
        commanded_width_mm(
            drawn_mm, beam_radius_mm=0.16, smear_mm=0.0, line_spacing_mm=0.01, half_tone_dose_fraction=share
        )
    )
    beam = np.exp(-2.0 * x * x / 0.16**2)
    inside = np.clip((0.5 * commanded - np.abs(x)) / step + 0.5, 0.0, 1.0)
    share_of_full = np.convolve(inside, beam / beam.sum(), mode="same")
    # linear between samples of half a micrometre; where the profile is flat on top the width answers strongly
    above = np.flatnonzero(share_of_full >= share)
    lo, hi = above[0], above[-1]
    left = (share - share_of_full[lo - 1]) / (share_of_full[lo] - share_of_full[lo - 1])
    right = (share - share_of_full[hi + 1]) / (share_of_full[hi] - share_of_full[hi + 1])
    assert (hi - lo + 2 - left - right) * step == pytest.approx(drawn_mm, abs=2e-3)


# ---- pictures --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("share", [0.35, 0.5, 0.6])
@pytest.mark.parametrize("drawn_mm", [0.04, 0.15, 0.33, 0.5, 1.0, 3.0])
def test_strips_are_drawn_at_their_commanded_width(share: float, drawn_mm: float) -> None:
    pixel, places = 0.1, 20
    kw: dict[str, Any] = {"beam_radius_mm": 0.12, "smear_mm": 0.0, "half_tone_dose_fraction": share}
    commanded = float(commanded_width_mm(drawn_mm, line_spacing_mm=pixel, **kw))
    for up in (False, True):
        counts = []
        for place in range(places):
            at = 3.0 + place / places * pixel
            picture = strip(drawn_mm, at_mm=at, pixel_mm=pixel, size_px=60, up=up)
            ink = inset_ink(picture, pixel_mm=pixel, scan_axis="x", **kw)
            across = (ink.T if up else ink)[30]
            run = np.flatnonzero(across)
            counts.append(run.size)
            assert run.size == run[-1] - run[0] + 1 >= 1
            for edge, wanted in ((run[0], at - 0.5 * commanded), (run[-1] + 1, at + 0.5 * commanded)):
                # half a pixel, the twentieth that no stroke may lose, and a tenth from where soft edges are read
                assert edge * pixel == pytest.approx(wanted, abs=0.65 * pixel)
        # on average over where it falls: a tenth of a pixel, from the twentieth and the soft edges of thin strokes
        assert np.mean(counts) * pixel == pytest.approx(commanded, abs=0.02)


def test_across_the_lines_the_smear_counts_and_along_them_it_does_not() -> None:
    kw: dict[str, Any] = {"pixel_mm": 0.02, "beam_radius_mm": 0.1, "smear_mm": 0.12, "half_tone_dose_fraction": 0.35}
    square = np.zeros((200, 200), np.float32)
    square[50:150, 50:150] = 1.0
    along_x, along_y = inset_ink(square, scan_axis="x", **kw), inset_ink(square, scan_axis="y", **kw)
    assert np.array_equal(along_x, along_y.T)
    high, wide = int(along_x[:, 100].sum()), int(along_x[100].sum())
    assert high == pytest.approx(
        100 - 2 * float(growth_mm(beam_radius_mm=0.1, smear_mm=0, half_tone_dose_fraction=0.35)) / 0.02, abs=1
    )
    assert wide == pytest.approx(
        100 - 2 * float(growth_mm(beam_radius_mm=0.1, smear_mm=0.12, half_tone_dose_fraction=0.35)) / 0.02, abs=1
    )
    assert wide < high - 3


@pytest.mark.parametrize("angle_deg", [0.0, 13.0, 30.0, 45.0, 77.0])
@pytest.mark.parametrize("drawn_px", [0.4, 0.9, 1.3, 2.0, 4.0])
def test_a_leaning_stroke_stays_in_one_piece(angle_deg: float, drawn_px: float) -> None:
    fine, size = 10, 120
    v, u = (np.mgrid[0 : size * fine, 0 : size * fine] + 0.5) / fine - 0.5 * size
    angle = math.radians(angle_deg)
    across, along = u * math.sin(angle) - v * math.cos(angle), u * math.cos(angle) + v * math.sin(angle)
    shape = (np.abs(across - 0.13) <= 0.5 * drawn_px) & (np.abs(along) <= 45.0)
    coverage = shape.reshape(size, fine, size, fine).mean(axis=(1, 3)).astype(np.float32)
    for share in (0.35, 0.6):
        ink = inset_ink(
            coverage, pixel_mm=0.1, beam_radius_mm=0.12, smear_mm=0.0, half_tone_dose_fraction=share, scan_axis="x"
        )
        assert cv2.connectedComponents(ink.astype(np.uint8), connectivity=8)[0] == 2  # the ground and one stroke
        reached = np.flatnonzero(ink.any(axis=0) if angle_deg <= 45.0 else ink.any(axis=1))
        length = 90.0 * max(math.cos(angle), math.sin(angle))
        assert reached[-1] - reached[0] + 1 == pytest.approx(length, abs=4.0)  # its ends lie a pixel or two in or out


@pytest.mark.parametrize("share", [0.35, 0.46, 0.6, 0.7])
@pytest.mark.parametrize("px", [9.0, 14.0, 25.0])
def test_lettering_loses_no_stroke_and_gets_no_hole(share: float, px: float) -> None:
    picture = letters("Sedgeholm Regatta 8+", px=px)
    ink = inset_ink(
        picture, pixel_mm=0.1, beam_radius_mm=0.12, smear_mm=0.05, half_tone_dose_fraction=share, scan_axis="x"
    )
    drawn = picture >= 0.5
    count, labels = cv2.connectedComponents(drawn.astype(np.uint8), connectivity=8)
    assert all(ink[labels == k].any() for k in range(1, count))
    holes, where = cv2.connectedComponents((~ink).astype(np.uint8), connectivity=4)
    assert all((~drawn)[where == k].any() for k in range(1, holes))


@pytest.mark.parametrize("shrunk", [3.0, 3.7, 8.3])
def test_thick_strokes_stay_whole_whatever_softened_their_edges(shrunk: float) -> None:
    fine = np.zeros((600, 900), np.uint8)
    for x in range(160, 900, 140):
        cv2.line(fine, (x, 40), (x - 50, 560), (255,), 34, cv2.LINE_AA)
        cv2.circle(fine, (x - 80, 300), 25, (255,), 16, cv2.LINE_AA)
    # uneven averaging leaves inner pixels a hair below 1, as shrinking real artwork does
    size = (round(900 / shrunk), round(600 / shrunk))
    for soft in (0.0, 0.6):
        picture = np.asarray(cv2.resize(fine, size, interpolation=cv2.INTER_AREA), np.float32) / 255.0
        if soft:
            picture = np.asarray(cv2.GaussianBlur(picture, (0, 0), soft), np.float32)
        for share in (0.45, 0.55):  # grows and shrinks by under a tenth of a pixel
            ink = inset_ink(
                picture, pixel_mm=0.1, beam_radius_mm=0.1, smear_mm=0.0, half_tone_dose_fraction=share, scan_axis="x"
            )
            drawn = (picture >= 0.5).astype(np.uint8)
            cross = np.array([[0, 1, 0], [1, 1, 1], [0, 1, 0]], np.uint8)
            assert ink[cv2.erode(drawn, cross) > 0].all()
            assert not ink[cv2.dilate(drawn, cross) == 0].any()


def test_empty_full_and_single_pixels() -> None:
    kw: dict[str, Any] = dict(pixel_mm=0.1, scan_axis="x", **GRADES)
    assert not inset_ink(np.zeros((7, 9), np.float32), **kw).any()
    assert inset_ink(np.ones((9, 7), np.float32), **kw).all()  # it would grow past the picture and cannot
    assert inset_ink(np.ones((1, 1), np.float32), **kw).tolist() == [[True]]
    dot = np.zeros((9, 9), np.float32)
    dot[4, 4] = 1.0
    assert inset_ink(dot, **kw)[4, 4]
    narrow: dict[str, Any] = dict(kw, half_tone_dose_fraction=0.2)
    assert not inset_ink(np.ones((40, 40), np.float32), **narrow)[
        0, 1:-1
    ].any()  # drawn in from the picture's own border
    assert inset_ink(np.ones((40, 40), np.float32), **narrow)[20, 20]


# ---- by the model: from drawing to burnt contour ---------------------------------------------------------------

SPEED_mm_per_s, FINE_px = 200.0, 8


@cache
def _half_tone(exposure: float) -> tuple[float, float]:
    """Return the dose of a wide area at an exposure and the dose of its half tone, on a curve of 80 to 20."""
    curve = plain_curve()
    half_L = 0.5 * (curve.bare_L + float(tone_L(curve, exposure)))
    return 10.0**exposure, 10.0 ** float(exposures_for_tones(curve, half_L))


def burnt_share(
    ink: NDArray[np.bool_], *, exposure: float, pixel_mm: float, beam_radius_mm: float, rise_time_s: float
) -> Picture:
    """Return the dose over that of half tone, on a grid a tenth of the line spacing."""
    full, half = _half_tone(exposure)
    power = full * SPEED_mm_per_s * pixel_mm
    events = raster_events(
        machine(rise_time_s=rise_time_s),
        np.where(ink, np.float32(power), np.float32(0.0)),
        axis="x",
        along_origin_mm=100.0,
        cross_origin_mm=100.0,
        line_spacing_mm=pixel_mm,
        speed_mm_per_s=SPEED_mm_per_s,
        passes=1,
    )
    rows, columns = ink.shape
    fine = pixel_mm / FINE_px
    grid = DoseGrid(
        x0_mm=100.0, y0_mm=100.0, pixel_x_mm=fine, pixel_y_mm=fine, rows=rows * FINE_px, columns=columns * FINE_px
    )
    dose = dose_map_J_per_mm2(collect(events, grid), beam_radius_mm=beam_radius_mm, rise_time_s=rise_time_s)
    return np.asarray(dose / np.float32(half), np.float32)


def width_at_half(profile: NDArray[np.float32]) -> float:
    """Return the width over 1 between linear crossings, in samples."""
    above = np.flatnonzero(profile >= 1.0)
    if above.size == 0:
        return 0.0
    lo, hi = int(above[0]), int(above[-1])
    left = (1.0 - profile[lo - 1]) / (profile[lo] - profile[lo - 1])
    right = (1.0 - profile[hi + 1]) / (profile[hi] - profile[hi + 1])
    return float(hi - lo + 2 - left - right)


# exposure of the wide area (grown by the burn at 0.5, shrunk at 0.1), line spacing, beam radius, rise time
BENCHES = [(0.5, 0.1, 0.12, 0.0002), (0.5, 0.06, 0.09, 0.0), (0.1, 0.1, 0.12, 0.0), (0.1, 0.1, 0.16, 0.0004)]


@pytest.mark.parametrize(("exposure", "pixel", "beam", "rise_s"), BENCHES)
@pytest.mark.parametrize("drawn_mm", [0.3, 0.5, 1.0, 3.0])
@pytest.mark.parametrize("gap", [False, True], ids=["stroke", "gap"])
@pytest.mark.parametrize("up", [False, True], ids=["across the lines", "along the lines"])
def test_strokes_and_gaps_burn_to_their_drawn_width(
    exposure: float, pixel: float, beam: float, rise_s: float, drawn_mm: float, *, gap: bool, up: bool
) -> None:
    full, half = _half_tone(exposure)
    share, places = half / full, 6
    size = 60 + round(drawn_mm / pixel)
    errors: list[float] = []
    plain: list[float] = []
    for place in range(places):
        at = 0.5 * size * pixel + place / places * pixel
        picture = strip(drawn_mm, at_mm=at, pixel_mm=pixel, size_px=size, up=up)
        if gap:
            block = np.zeros_like(picture)
            block[5:-5, 5:-5] = 1.0
            picture = block * (1.0 - picture)
        ink = inset_ink(
            picture,
            pixel_mm=pixel,
            beam_radius_mm=beam,
            smear_mm=SPEED_mm_per_s * rise_s,
            half_tone_dose_fraction=share,
            scan_axis="x",
        )
        for art, into in ((ink, errors), (picture >= 0.5, plain)):
            dose = burnt_share(art, exposure=exposure, pixel_mm=pixel, beam_radius_mm=beam, rise_time_s=rise_s)
            middle = dose.shape[0] // 2
            # lines that leave the edge at their own place: averaged over one spacing along the stroke
            near = slice(middle - FINE_px // 2, middle + FINE_px // 2)
            profile = (dose.T if up else dose)[near].mean(axis=0)
            if gap:
                inner = slice(15 * FINE_px, -15 * FINE_px)
                profile = 2.0 - profile[inner]
            into.append(width_at_half(profile) * pixel / FINE_px - drawn_mm)
    # each edge within half a line spacing, so the width within one; in the mean over places rounding averages out
    assert np.abs(errors).max() <= pixel
    assert abs(np.mean(errors)) <= 0.02
    assert abs(np.mean(errors)) < abs(np.mean(plain)) - 0.01  # without the inset it is clearly worse


@pytest.mark.parametrize(("exposure", "pixel", "beam", "rise_s"), BENCHES)
def test_a_square_of_5_mm_burns_to_its_size(exposure: float, pixel: float, beam: float, rise_s: float) -> None:
    full, half = _half_tone(exposure)
    size, sub = 60 + round(5.0 / pixel), 20
    errors: list[float] = []
    plain: list[float] = []
    for place in range(8):
        edges = np.arange(size + 1) * pixel
        low = 25.0 * pixel + place / 8.0 * pixel
        covered = np.maximum(np.minimum(edges[1:], low + 5.0) - np.maximum(edges[:-1], low), 0.0) / pixel
        picture = np.outer(covered, covered).astype(np.float32)
        ink = inset_ink(
            picture,
            pixel_mm=pixel,
            beam_radius_mm=beam,
            smear_mm=SPEED_mm_per_s * rise_s,
            half_tone_dose_fraction=half / full,
            scan_axis="x",
        )
        for art, into in ((ink, errors), (picture >= 0.5, plain)):
            dose = burnt_share(art, exposure=exposure, pixel_mm=pixel, beam_radius_mm=beam, rise_time_s=rise_s)
            middle = slice(dose.shape[0] // 2 - sub, dose.shape[0] // 2 + sub)
            for profile in (dose[middle].mean(axis=0), dose[:, middle].mean(axis=1)):
                into.append(width_at_half(profile) * pixel / FINE_px - 5.0)
    assert np.abs(errors).max() <= pixel
    assert abs(np.mean(errors)) <= 0.02
    assert abs(np.mean(errors)) < abs(np.mean(plain)) - 0.01
