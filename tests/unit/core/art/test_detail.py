"""Widths of strokes and gaps in artwork, and the narrowest a recipe keeps."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from evenburn.core.art.detail import measure_widths, narrowest_kept_mm
from unit.core.art.drawing import bars

FloatArray = NDArray[np.float64]

PIXEL_mm = 0.025  # that of the survey
SIZE_mm = (4.5, 4.5)
ANGLES_deg = pytest.mark.parametrize("angle_deg", [0.0, 30.0, 45.0, 90.0])
WIDTHS_mm = pytest.mark.parametrize("width_mm", [0.2, 0.33, 0.5, 1.0])


@WIDTHS_mm
@ANGLES_deg
def test_a_bar_is_as_wide_as_it_was_drawn(width_mm: float, angle_deg: float) -> None:
    picture = bars([0.0], widths_mm=[width_mm], angle_deg=angle_deg, size_mm=SIZE_mm, pixel_mm=PIXEL_mm)
    widths = measure_widths(picture, pixel_mm=PIXEL_mm)
    assert widths.stroke_mm == pytest.approx(width_mm, abs=PIXEL_mm)  # the promise: one pixel


@WIDTHS_mm
@ANGLES_deg
def test_a_gap_is_as_wide_as_it_was_drawn(width_mm: float, angle_deg: float) -> None:
    apart = 0.5 + width_mm / 2.0
    picture = bars([-apart, apart], widths_mm=[1.0, 1.0], angle_deg=angle_deg, size_mm=SIZE_mm, pixel_mm=PIXEL_mm)
    widths = measure_widths(picture, pixel_mm=PIXEL_mm)
    assert widths.gap_mm == pytest.approx(width_mm, abs=PIXEL_mm)
    assert widths.stroke_mm == pytest.approx(1.0, abs=PIXEL_mm)


@ANGLES_deg
def test_a_thin_line_beside_a_thick_one_is_found(angle_deg: float) -> None:
    """A double frame: 1.2 mm outside, then 0.5 mm of gap, then 0.25 mm."""
    picture = bars([0.0, 1.225], widths_mm=[1.2, 0.25], angle_deg=angle_deg, size_mm=SIZE_mm, pixel_mm=PIXEL_mm)
    widths = measure_widths(picture, pixel_mm=PIXEL_mm)
    assert widths.stroke_mm == pytest.approx(0.25, abs=PIXEL_mm)
    assert widths.gap_mm == pytest.approx(0.5, abs=PIXEL_mm)


def test_a_closed_double_frame_has_the_inner_lines_width() -> None:
    """Square frames, corners included: corners are neither strokes nor gaps."""
    picture = np.zeros((400, 400), np.float32)
    picture[20:380, 20:380] = 1.0
    picture[60:340, 60:340] = 0.0  # outer line 40 px
    picture[80:320, 80:320] = 1.0  # gap of 20 px
    picture[92:308, 92:308] = 0.0  # inner line 12 px
    widths = measure_widths(picture, pixel_mm=PIXEL_mm)
    assert widths.stroke_mm == pytest.approx(12 * PIXEL_mm, abs=PIXEL_mm)
    assert widths.gap_mm == pytest.approx(20 * PIXEL_mm, abs=PIXEL_mm)


@pytest.mark.parametrize("angle_deg", [0.0, 10.0, 20.0, 30.0, 45.0])
def test_wherever_a_bar_falls_between_pixels_it_is_measured_to_a_pixel_and_a_half(angle_deg: float) -> None:
    """Its square corners, a pixel or two of staircase each, are no strokes: they once made a 1 mm bar read as 0.04."""
    rng = np.random.default_rng(7)
    for _ in range(6):
        width_mm, middle_mm = float(rng.uniform(0.15, 1.0)), float(rng.uniform(-PIXEL_mm, PIXEL_mm))
        picture = bars([middle_mm], widths_mm=[width_mm], angle_deg=angle_deg, size_mm=(3.0, 3.0), pixel_mm=PIXEL_mm)
        widths = measure_widths(picture, pixel_mm=PIXEL_mm)
        assert widths.stroke_mm == pytest.approx(width_mm, abs=1.5 * PIXEL_mm)


def test_where_strokes_run_together_the_crotch_is_no_gap() -> None:
    """Three long lines 60 pixels apart, and a short one that leaves the first at 5°, as letters joined by hand do."""
    picture = np.zeros((200, 1040), np.float32)
    for top in (20, 88, 156):
        picture[top : top + 8, 20:1020] = 1.0
    for step in range(40):
        low = 28 + round(step * math.tan(math.radians(5.0)))
        picture[low : low + 4, 500 + step] = 1.0
    assert measure_widths(picture, pixel_mm=PIXEL_mm).gap_mm == pytest.approx(60 * PIXEL_mm, abs=5 * PIXEL_mm)
    # as long as a fiftieth of all strokes it counts: the same gap of 10 pixels, 100 long
    picture[38:42, 300:400] = 1.0
    assert measure_widths(picture, pixel_mm=PIXEL_mm).gap_mm == pytest.approx(10 * PIXEL_mm, abs=PIXEL_mm)


@pytest.mark.parametrize("angle_deg", [8.0, 10.0])
def test_a_crotch_shorter_than_a_fiftieth_of_the_strokes_is_told_by_its_mouth(angle_deg: float) -> None:
    """One line of 1000 pixels with a hook of 25, the only gap there is: not the nothing it begins with, but its end."""
    picture = np.zeros((80, 1040), np.float32)
    picture[20:28, 20:1020] = 1.0
    rise = [round(step * math.tan(math.radians(angle_deg))) for step in range(25)]
    for step, up in enumerate(rise):
        picture[28 + up : 32 + up, 500 + step] = 1.0
    assert measure_widths(picture, pixel_mm=PIXEL_mm).gap_mm == pytest.approx(rise[-1] * PIXEL_mm, abs=PIXEL_mm)


def test_an_empty_picture_has_no_widths() -> None:
    widths = measure_widths(np.zeros((50, 60), np.float32), pixel_mm=PIXEL_mm)
    assert (widths.stroke_mm, widths.gap_mm) == (None, None)


def test_a_filled_picture_has_a_stroke_but_no_gap() -> None:
    widths = measure_widths(np.ones((80, 60), np.float32), pixel_mm=PIXEL_mm)
    assert widths.stroke_mm == pytest.approx(60 * PIXEL_mm, abs=PIXEL_mm)
    assert widths.gap_mm is None


@pytest.mark.parametrize("radius_px", [8, 30, 90])
def test_a_round_dot_has_no_gap_in_the_corners_of_its_box(radius_px: int) -> None:
    y, x = np.mgrid[0:200, 0:200] - 100
    dot = (x * x + y * y <= radius_px**2).astype(np.float32)
    widths = measure_widths(dot, pixel_mm=PIXEL_mm)
    assert widths.gap_mm is None
    assert widths.stroke_mm == pytest.approx(2 * radius_px * PIXEL_mm, abs=1.5 * PIXEL_mm)


def test_a_gap_wider_than_its_strokes_are_long_is_still_measured_across() -> None:
    picture = np.zeros((60, 400), np.float32)
    picture[20:40, 50:70] = picture[20:40, 330:350] = 1.0
    assert measure_widths(picture, pixel_mm=PIXEL_mm).gap_mm == pytest.approx(260 * PIXEL_mm, abs=PIXEL_mm)


def test_a_single_pixel_is_one_pixel_wide() -> None:
    picture = np.zeros((21, 21), np.float32)
    picture[10, 10] = 1.0
    assert measure_widths(picture, pixel_mm=0.1).stroke_mm == pytest.approx(0.1, abs=0.1)


# ---- what survives the beam -----------------------------------------------------------------------------------

STEP_mm = 0.001


def spread(*, beam_radius_mm: float, smear_mm: float) -> FloatArray:
    """Return what one point of a raster spreads to along its lines, in steps, its sum 1.

    The beam is Gaussian. The laser answers late, v τ in the mean, on lines burnt either way; their edges lead by v τ,
    and lines near each other blend, so that half comes early and half late.
    """
    half = 3.0 * beam_radius_mm + 12.0 * smear_mm
    x = np.arange(-round(half / STEP_mm), round(half / STEP_mm) + 1) * STEP_mm
    beam = np.exp(-2.0 * (x / beam_radius_mm) ** 2)
    if smear_mm == 0.0:
        return np.asarray(beam / beam.sum(), np.float64)
    forward = np.where(x >= -smear_mm, np.exp(-np.maximum(x + smear_mm, 0.0) / smear_mm), 0.0)
    spread_out = np.convolve(beam, forward + forward[::-1], mode="same")
    return np.asarray(spread_out / spread_out.sum(), np.float64)


def narrowest_by_simulation_mm(*, beam_radius_mm: float, smear_mm: float, share: float) -> float:
    """Return the least width at which a stroke reaches `share` of the full dose and a gap falls to it."""
    total = np.concatenate(([0.0], np.cumsum(spread(beam_radius_mm=beam_radius_mm, smear_mm=smear_mm))))
    for steps in range(1, total.size):
        peak = float((total[steps:] - total[:-steps]).max())  # in the middle of a stroke so many steps wide
        if peak >= share and 1.0 - peak <= share:  # the map is linear: a gap is a wide area less a stroke
            return steps * STEP_mm
    raise AssertionError("no width is kept")


SHARES = pytest.mark.parametrize("share", [0.3, 0.5, 0.75])


@SHARES
@pytest.mark.parametrize("beam_radius_mm", [0.06, 0.12])
def test_the_narrowest_kept_is_what_a_simulated_beam_keeps(beam_radius_mm: float, share: float) -> None:
    by_formula = float(
        narrowest_kept_mm(
            beam_radius_mm=beam_radius_mm, smear_mm=0.0, line_spacing_mm=0.0, half_tone_dose_fraction=share
        )
    )
    simulated = narrowest_by_simulation_mm(beam_radius_mm=beam_radius_mm, smear_mm=0.0, share=share)
    assert by_formula == pytest.approx(simulated, abs=STEP_mm)  # simulated widths are whole steps


@SHARES
@pytest.mark.parametrize(
    ("smear_mm", "too_much"),
    [(0.02, 0.02), (0.04, 0.08), (0.08, 0.16), (0.16, 0.26)],
    ids=["a quarter of the beam", "half", "as wide as the beam", "twice the beam"],
)
def test_a_late_laser_keeps_at_least_what_is_said(smear_mm: float, too_much: float, share: float) -> None:
    """Adding in quadrature takes the exponential for a Gaussian: on the safe side, the more so the later the laser."""
    by_formula = float(
        narrowest_kept_mm(beam_radius_mm=0.08, smear_mm=smear_mm, line_spacing_mm=0.0, half_tone_dose_fraction=share)
    )
    simulated = narrowest_by_simulation_mm(beam_radius_mm=0.08, smear_mm=smear_mm, share=share)
    assert by_formula >= simulated - STEP_mm
    assert by_formula <= simulated * (1.0 + too_much) + STEP_mm


def test_stroke_and_gap_need_the_same_width_where_half_the_dose_is_half_the_tone() -> None:
    # erf(s/(√2 w)) = ½ at s = √2 · 0.476936 w: erf⁻¹(½) = 0.4769362762, from memory (tables of the error function)
    kept = narrowest_kept_mm(beam_radius_mm=0.1, smear_mm=0.0, line_spacing_mm=0.0, half_tone_dose_fraction=0.5)
    assert float(kept) == pytest.approx(math.sqrt(2.0) * 0.4769362762 * 0.1, rel=1e-9)


def test_wider_beam_spacing_and_smear_each_keep_less() -> None:
    base = {"beam_radius_mm": 0.1, "smear_mm": 0.02, "line_spacing_mm": 0.1}

    def kept(**changes: float) -> float:
        return float(narrowest_kept_mm(**{**base, **changes}, half_tone_dose_fraction=0.4))

    assert kept(beam_radius_mm=0.12) > kept()
    assert kept(smear_mm=0.05) > kept()
    assert kept(line_spacing_mm=0.2) == pytest.approx(kept() + 0.05, abs=1e-12)


def test_arguments_broadcast() -> None:
    kept = narrowest_kept_mm(
        beam_radius_mm=np.full((2, 1), 0.1),
        smear_mm=np.zeros((1, 3)),
        line_spacing_mm=0.1,
        half_tone_dose_fraction=0.5,
    )
    assert kept.shape == (2, 3)
