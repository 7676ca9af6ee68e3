"""[murch1988] G. M. Murch, R. J. Beaton, Matching display resolution and addressability, Displays (1988).

- Spot width at half height over line pitch: about 1 leaves some 5 % of modulation, below 1 the lines show. MEM, year and
  pages unsure; the same from the theta function, 5.7 %, DERIVED.
Tolerance: "some 5 %" is one digit, so 1 percent point; 5.7 to half of its last digit.
"""

from __future__ import annotations

import math

import pytest

from evenburn.core.optics.lines import ripple_modulation

FWHM_OVER_RADIUS = math.sqrt(2.0 * math.log(2.0))  # 1.17741


def modulation(resolution_over_pitch: float) -> float:
    return ripple_modulation(beam_radius_mm=1.0, line_spacing_mm=FWHM_OVER_RADIUS / resolution_over_pitch)


def test_lines_a_half_width_apart_leave_some_5_percent() -> None:
    assert modulation(1.0) == pytest.approx(0.05, abs=0.01)
    assert modulation(1.0) == pytest.approx(0.057, abs=0.0005)


def test_a_ratio_below_one_shows_more_and_above_less() -> None:
    assert modulation(0.9) > 0.10
    assert modulation(1.1) < 0.03
