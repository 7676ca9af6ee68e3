"""[dlmf] NIST Digital Library of Mathematical Functions, 20.2.3 and 20.7(viii): Gaussian lines as a theta function.

Σ_k exp(−(x − kp)²/2σ²) p/(σ √(2π)) = 1 + 2 Σ_n exp(−2π²n²σ²/p²) cos(2πnx/p); equation numbers MEM.
- Table of ripple, seven rows of p/σ: DERIVED. Maximum, minimum and modulation as printed in our check values.
Tolerances: half of the last digit printed. Against the plain sum of Gaussians, which the row is by definition: 1e-12,
rounding of a hundred terms.
Misprint of our own list, left out as printed: for p = FWHM it has the modulation 0.05692 and the leading term 0.05693. The
closed form 2 exp(−π²/(4 ln 2)) is 0.0568943, and the row's own maximum and minimum give (1.0569 − 0.9431)/2 = 0.0569. That
row is therefore held to 0.0569, and to the closed form in a test of its own.
"""

from __future__ import annotations

import math
from functools import partial

import numpy as np
import pytest
from numpy.typing import NDArray

import outside
from evenburn.core.optics.lines import ripple_factor, ripple_modulation
from outside import HALF_DIGIT

check = partial(outside.check, field="exposure across scan lines", source="dlmf", trust="derived", why=HALF_DIGIT)

# p/σ, p/w, p/FWHM, (max, its half digit), (min, its half digit), (modulation, its half digit), leading term
TABLE = [
    (1.0, 0.5, 0.4247, (1.000000, 5e-7), (1.000000, 5e-7), (5.3506e-9, 5e-14), 5.3506e-9),
    (1.5, 0.75, 0.6370, (1.00031, 5e-6), (0.99969, 5e-6), (3.09722e-4, 5e-10), 3.09722e-4),
    (2.0, 1.0, 0.8493, (1.01438, 5e-6), (0.985616, 5e-7), (0.0143838, 5e-8), 0.0143838),
    (2.3548, 1.1774, 1.0, (1.0569, 5e-5), (0.9431, 5e-5), (0.0569, 5e-5), 0.0569),
    (2.5, 1.25, 1.0617, (1.085, 5e-4), (0.915008, 5e-7), (0.0849976, 5e-8), 0.0849981),
    (3.0, 1.5, 1.2740, (1.22342, 5e-6), (0.777201, 5e-7), (0.223039, 5e-7), 0.223108),
    (4.0, 2.0, 1.6986, (1.59684, 5e-6), (0.431928, 5e-7), (0.574197, 5e-7), 0.582426),
]
Printed = tuple[float, float]
RATIOS = [0.3, 0.5, 0.75, 1.0, 1.25, 1.5, 1.99, 2.0, 2.01, 3.0, 4.0, 6.0, 10.0, 20.0]


def plain_sum(*, spacing_over_radius: float, phase: NDArray[np.float64]) -> NDArray[np.float64]:
    """Gaussian lines added one by one, over their mean: p/(σ √(2π)) Σ exp(−(x − kp)²/2σ²) with w = 1, σ = ½."""
    k = np.arange(-60, 61)
    away = (phase[:, None] - k) * spacing_over_radius
    total = np.exp(-(away**2) / (2.0 * 0.5**2)).sum(axis=1)
    return np.asarray(total * spacing_over_radius / (0.5 * math.sqrt(2.0 * math.pi)))


@pytest.mark.parametrize("row", TABLE, ids=[f"p {row[1]:g} w" for row in TABLE])
def test_table(row: tuple[float, float, float, Printed, Printed, Printed, float]) -> None:
    p_sigma, p_w, p_fwhm, top, bottom, modulation, leading = row
    w_mm = 2.0 / p_sigma  # spacing 1 mm
    assert 1.0 / w_mm == pytest.approx(p_w, abs=5e-5)
    assert p_sigma / math.sqrt(8.0 * math.log(2.0)) == pytest.approx(p_fwhm, abs=5e-5)
    crest, trough = ripple_factor(beam_radius_mm=w_mm, line_spacing_mm=1.0, phase=[0.0, 0.5])
    check(f"dose on a line over the mean, lines {p_w:g} w apart", got=crest, expected=top[0], tolerance=top[1])
    check(f"… midway between two, {p_w:g} w apart", got=trough, expected=bottom[0], tolerance=bottom[1])
    found = ripple_modulation(beam_radius_mm=w_mm, line_spacing_mm=1.0)
    check(f"… modulation, {p_w:g} w apart", got=found, expected=modulation[0], tolerance=modulation[1])
    # the leading term bounds the modulation from above, and is it where lines lie close
    assert found <= leading * (1.0 + 2e-5)
    if p_sigma <= 2.0:
        assert found == pytest.approx(leading, rel=1e-5)


def test_at_the_full_width_at_half_height_the_leading_term_is_a_closed_form() -> None:
    # with q = exp(−2π²σ²/p²) = 0.0284 the modulation is 2q (1 + q⁸ …)/(1 + 2q⁴ …): the leading term is 1.3e-6 off
    w_over_p = 1.0 / math.sqrt(2.0 * math.log(2.0))
    found = ripple_modulation(beam_radius_mm=w_over_p, line_spacing_mm=1.0)
    closed = 2.0 * math.exp(-(math.pi**2) / (4.0 * math.log(2.0)))
    left_out = "the leading term leaves out 1.3e-6 of it"
    check(
        "modulation, lines one full width at half height apart",
        got=found,
        expected=closed,
        tolerance=closed * 2e-6,
        why=left_out,
    )


@pytest.mark.parametrize("ratio", RATIOS)
def test_the_theta_function_is_the_sum_of_the_lines(ratio: float) -> None:
    phase = np.linspace(-1.5, 1.5, 61)
    found = ripple_factor(beam_radius_mm=1.0, line_spacing_mm=ratio, phase=phase)
    np.testing.assert_allclose(found, plain_sum(spacing_over_radius=ratio, phase=phase), rtol=0, atol=1e-12 * ratio)


@pytest.mark.parametrize("ratio", RATIOS)
def test_the_mean_over_one_spacing_is_one(ratio: float) -> None:
    phase = (np.arange(400) + 0.5) / 400  # the rectangle rule is exact for a periodic function this smooth
    assert ripple_factor(beam_radius_mm=1.0, line_spacing_mm=ratio, phase=phase).mean() == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize("ratio", [0.25, 0.5, 0.75, 0.9, 1.0])
def test_spacing_up_to_the_beam_radius_keeps_ripple_below_1_44_percent(ratio: float) -> None:
    assert ripple_modulation(beam_radius_mm=0.1, line_spacing_mm=0.1 * ratio) <= 0.0144


def test_wider_than_the_beam_radius_does_not() -> None:
    assert ripple_modulation(beam_radius_mm=0.1, line_spacing_mm=0.101) > 0.0144
