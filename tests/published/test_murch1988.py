"""[murch1988] G. M. Murch, R. J. Beaton, Matching display resolution and addressability, Displays (1988).

- Spot width at half height over line pitch: about 1 leaves some 5 % of modulation, below 1 the lines show. MEM, year and
  pages unsure; the same from the theta function, 5.7 %, DERIVED.
Tolerance: "some 5 %" is one digit, so 1 percent point; 5.7 to half of its last digit.
"""

from __future__ import annotations

import math

from evenburn.core.optics.lines import ripple_modulation
from outside import HALF_DIGIT, Field, check

LINES: Field = "exposure across scan lines"

FWHM_OVER_RADIUS = math.sqrt(2.0 * math.log(2.0))  # 1.17741


def modulation(resolution_over_pitch: float) -> float:
    return ripple_modulation(beam_radius_mm=1.0, line_spacing_mm=FWHM_OVER_RADIUS / resolution_over_pitch)


def test_lines_a_half_width_apart_leave_some_5_percent() -> None:
    check(
        "modulation of a display whose spot is as wide as its pitch",
        got=modulation(1.0),
        expected=0.05,
        tolerance=0.01,
        field=LINES,
        source="murch1988",
        trust="from memory",
        why="“some 5 %” is one digit",
    )
    check(
        "… by the theta function",
        got=modulation(1.0),
        expected=0.057,
        tolerance=0.0005,
        field=LINES,
        source="dlmf",
        trust="derived",
        why=HALF_DIGIT,
    )


def test_a_ratio_below_one_shows_more_and_above_less() -> None:
    assert modulation(0.9) > 0.10
    assert modulation(1.1) < 0.03
