"""[webvision] Kalloniatis and Luu, Webvision: 20/20 is a gap of 1 arc minute, so 30 cycles per degree.

- SEEN. At 300 mm: 1 arc minute 0.08727 mm (291 to the inch), period of 30 cycles per degree 0.17453 mm, of 60 0.08727 mm,
  of 8 0.6545 mm. DERIVED.
Tolerance: half of the last digit printed over the period, and 2.6e-5 of the frequency beside it: the list has a degree as
the arc 300 mm · π/180, ours is the chord 2 · 300 mm · tan ½°, which is longer by (½°)²/3 = 2.54e-5.
"""

from __future__ import annotations

from functools import partial

import pytest

import outside
from evenburn.core.tone.vision import cycles_per_degree
from evenburn.core.units import MM_PER_INCH, lines_per_inch

READING_mm = 300.0
CHORD = 2.6e-5


check = partial(outside.check, field="tone, colour and sight", source="webvision")


@pytest.mark.parametrize(
    ("period_mm", "half_digit_mm", "frequency_cpd"),
    [(0.17453, 5e-6, 30.0), (0.08727, 5e-6, 60.0), (0.6545, 5e-5, 8.0)],
)
def test_period_at_300_mm(period_mm: float, half_digit_mm: float, frequency_cpd: float) -> None:
    found = float(cycles_per_degree(period_mm=period_mm, distance_mm=READING_mm))
    within = frequency_cpd * (half_digit_mm / period_mm + CHORD)
    why = "half of the last digit of the period, and chord against arc"
    name = f"frequency of {period_mm:g} mm seen from 300 mm"
    check(name, got=found, expected=frequency_cpd, tolerance=within, unit="cycles per degree", trust="derived", why=why)


def test_an_arc_minute_is_half_a_period_of_20_20() -> None:
    # a gap of one arc minute and its bar: two to a cycle, so 0.08727 mm wide each
    assert float(cycles_per_degree(period_mm=2 * 0.08727, distance_mm=READING_mm)) == pytest.approx(30.0, rel=1e-4)
    name, why = "one arc minute at 300 mm, to the inch", outside.HALF_DIGIT
    check(name, got=lines_per_inch(0.08727), expected=291.0, tolerance=0.5, trust="derived", why=why)
    assert lines_per_inch(1.0) == MM_PER_INCH


def test_half_the_distance_halves_the_frequency() -> None:
    far, near = (float(cycles_per_degree(period_mm=0.1, distance_mm=d)) for d in (300.0, 150.0))
    assert far == pytest.approx(2.0 * near, rel=1e-12)
