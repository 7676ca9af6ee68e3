"""[sp811] NIST Special Publication 811, Guide for the Use of the SI, appendix B: factors of conversion; and unit traps.

- inch 25.4 mm, exact; lbf/in² (psi) 6.894757 kPa: MEM. Here the second also from pound 0.45359237 kg and standard gravity
  9.80665 m/s², both exact by definition.
- 1 J/cm² = 0.01 J/mm²; 10 lines to the mm = 0.1 mm = 254 to the inch; F words in mm/min: DERIVED.
- Beech doses of [kudela2019] are in J/cm², however its "total irradiation dose" is headed: char from 25 J/cm² = 0.25 J/mm².
Tolerances: half of the last digit printed, or equality of decimals to rounding.
Left out: W/cm², for the code states no irradiance. Widths (w = 2σ, FWHM) stand in test_siegman1986.py.
"""

from __future__ import annotations

from functools import partial
from typing import Any

import pytest

import outside
from evenburn.core.optics.lines import mean_dose_J_per_mm2
from evenburn.core.units import (
    KPA_PER_PSI,
    MM_PER_INCH,
    J_per_mm2_from_J_per_cm2,
    lines_per_inch,
    mm_per_min,
    pixels_per_m,
    psi,
)
from outside import EXACT, HALF_DIGIT

check = partial(outside.check, field="units", source="sp811")
ROUNDED = "rounding in binary"


def test_inch() -> None:
    check("inch", got=MM_PER_INCH, expected=25.4, tolerance=0.0, unit="mm", trust="from memory", why=EXACT)


def test_pound_to_the_square_inch() -> None:
    memory: dict[str, Any] = {"trust": "from memory", "why": HALF_DIGIT}
    check("pound to the square inch", got=KPA_PER_PSI, expected=6.894757, tolerance=5e-7, unit="kPa", **memory)
    assert pytest.approx(0.45359237 * 9.80665 / 0.0254**2 / 1000.0, rel=1e-14) == KPA_PER_PSI
    assert psi(6.894757) == pytest.approx(1.0, abs=1e-7)
    check("one atmosphere, 101.325 kPa", got=psi(101.325), expected=14.696, tolerance=0.0005, unit="psi", **memory)


def test_ten_lines_to_the_millimetre_are_254_to_the_inch() -> None:
    for per_mm, expected in ((10.0, 254.0), (30.0, 762.0)):
        got, name = lines_per_inch(1.0 / per_mm), f"{per_mm:g} lines to the millimetre, to the inch"
        check(name, got=got, expected=expected, tolerance=1e-11, trust="derived", why=ROUNDED)


def test_a_joule_to_the_square_centimetre_is_a_hundredth_to_the_square_millimetre() -> None:
    got = J_per_mm2_from_J_per_cm2(1.0)
    check("1 J/cm²", got=got, expected=0.01, tolerance=0.0, unit="J/mm²", trust="derived", why=EXACT)
    assert J_per_mm2_from_J_per_cm2(25.0) == 0.25
    # 60 W, 300 mm/s, 0.1 mm: the same in centimetres, 60 / (30 · 0.01) = 200 J/cm²
    in_cm = 60.0 / (30.0 * 0.01)
    in_mm = float(mean_dose_J_per_mm2(power_W=60.0, speed_mm_per_s=300.0, line_spacing_mm=0.1))
    assert J_per_mm2_from_J_per_cm2(in_cm) == pytest.approx(in_mm, rel=1e-14)


def test_feeds_are_per_minute() -> None:
    check("F word of 100 mm/s", got=mm_per_min(100.0), expected=6000.0, tolerance=0.0, trust="derived", why=EXACT)


def test_a_png_of_254_dots_to_the_inch_holds_10000_to_the_metre() -> None:
    got = pixels_per_m(0.1)
    check(
        "pHYs of lines 0.1 mm apart",
        got=got,
        expected=10_000.0,
        tolerance=0.0,
        trust="derived",
        why=EXACT,
        unit="to the metre",
    )
