"""Dose of a raster and of one line: conservation of energy, and the line integral of a Gaussian beam [siegman1986].

- 60 W, 300 mm/s, lines 0.1 mm apart: P/(v p) = 2.000 J/mm². DERIVED.
- 60 W, 300 mm/s, w = 57.13 µm: √(2/π) P/(v w) = 2.793 J/mm² on the axis of one line. DERIVED; here also by numerical
  integration of the irradiance 2P/(πw²) exp(−2r²/w²) that passes over a point, and by adding such lines up.
Tolerances: half of the last digit printed; 1e-9 against quadrature, which is its own error estimate.
"""

from __future__ import annotations

import math
from functools import partial

import numpy as np
import pytest
from scipy.integrate import quad

import outside
from evenburn.core.optics.lines import line_peak_dose_J_per_mm2, mean_dose_J_per_mm2, ripple_factor
from outside import HALF_DIGIT

check = partial(outside.check, field="exposure across scan lines", source="siegman1986", trust="derived", unit="J/mm²")

POWER_W, SPEED_mm_per_s, RADIUS_mm = 60.0, 300.0, 0.05713
PEAK_W_per_mm2 = 2.0 * POWER_W / (math.pi * RADIUS_mm**2)


def dose_beside_a_line_J_per_mm2(away_mm: float) -> float:
    """Integrate the irradiance over the time in which the beam passes."""
    long_s = 12.0 * RADIUS_mm / SPEED_mm_per_s

    def irradiance(time_s: float) -> float:
        along_mm = SPEED_mm_per_s * time_s
        return PEAK_W_per_mm2 * math.exp(-2.0 * (along_mm**2 + away_mm**2) / RADIUS_mm**2)

    value, _ = quad(irradiance, -long_s, long_s, points=[0.0], epsabs=1e-13, epsrel=1e-12)
    return float(value)


def test_mean_dose_example() -> None:
    dose = float(mean_dose_J_per_mm2(power_W=POWER_W, speed_mm_per_s=SPEED_mm_per_s, line_spacing_mm=0.1))
    name = "mean dose of 60 W, 300 mm/s, lines 0.1 mm apart"
    check(name, got=dose, expected=2.000, tolerance=0.0005, why=HALF_DIGIT)


def test_peak_of_one_line_example() -> None:
    peak = line_peak_dose_J_per_mm2(power_W=POWER_W, speed_mm_per_s=SPEED_mm_per_s, beam_radius_mm=RADIUS_mm)
    name = "dose on one line of 60 W, 300 mm/s, w 57.13 µm"
    check(name, got=peak, expected=2.793, tolerance=0.0005, why=HALF_DIGIT)
    summed = dose_beside_a_line_J_per_mm2(0.0)
    check(
        f"{name}, by quadrature", got=peak, expected=round(summed, 8), tolerance=1e-8, why="what quadrature is sure of"
    )


@pytest.mark.parametrize("spacing_mm", [0.05, 0.1, 0.2])
@pytest.mark.parametrize("phase", [0.0, 0.2, 0.5])
def test_lines_added_up_are_mean_dose_times_ripple(spacing_mm: float, phase: float) -> None:
    added = sum(dose_beside_a_line_J_per_mm2((phase - k) * spacing_mm) for k in range(-12, 13))
    mean = mean_dose_J_per_mm2(power_W=POWER_W, speed_mm_per_s=SPEED_mm_per_s, line_spacing_mm=spacing_mm)
    ripple = ripple_factor(beam_radius_mm=RADIUS_mm, line_spacing_mm=spacing_mm, phase=phase)
    assert added == pytest.approx(float(mean * ripple), rel=1e-9)


def test_doubling_speed_halves_dose_and_two_passes_double_it() -> None:
    base = mean_dose_J_per_mm2(power_W=POWER_W, speed_mm_per_s=SPEED_mm_per_s, line_spacing_mm=0.1)
    twice = mean_dose_J_per_mm2(
        power_W=POWER_W, speed_mm_per_s=np.array([600.0, 300.0]), line_spacing_mm=0.1, passes=np.array([1, 2])
    )
    np.testing.assert_allclose(twice, np.array([0.5, 2.0]) * base, rtol=1e-15)
