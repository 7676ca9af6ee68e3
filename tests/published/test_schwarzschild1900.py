"""[schwarzschild1900] K. Schwarzschild: a weak light's effect goes as I t^p, p = 0.86 on his plates.

- p = 0.86: SEEN in an encyclopaedia. Worked example, SEEN: a source so faint that it would take 4 times as long under
  reciprocity "takes approximately fivefold". Digits 4 → 5.0127, 2 → 2.2389, 10 → 14.548 (n^(1/p)): DERIVED.
Mapping: dose H = I t and our exposure x = log10 H + κ log10 τ with the dwell τ as t give x = log10(I t^(1+κ)), so κ = p − 1.
Tolerances: half of the last digit printed; "approximately fivefold" is one digit, 10 %.
Ours is a spot that passes in a millisecond, not a night at the telescope: the law's form is borrowed, its 0.86 is not.
"""

from __future__ import annotations

import math
from functools import partial

import pytest
from scipy.optimize import brentq

import outside
from evenburn.core.response.curve import effective_exposure, exposure_shift
from outside import HALF_DIGIT
from published.plain_curve import plain_curve

P = 0.86
CURVE = plain_curve(kappa=P - 1.0)
IRRADIANCE, TIME_ms = 3.0, 7.0


check = partial(outside.check, field="wood and heat", source="schwarzschild1900")


def exposure(irradiance: float, time_ms: float) -> float:
    return float(effective_exposure(CURVE, dose_J_per_mm2=irradiance * time_ms, dwell_ms=time_ms))


def longer(fainter: float) -> float:
    """By what factor the time grows that gives the effect of old with a light so many times fainter."""

    def off(factor: float) -> float:
        return exposure(IRRADIANCE / fainter, factor * TIME_ms) - exposure(IRRADIANCE, TIME_ms)

    return float(brentq(off, 1.0, 100.0, xtol=1e-12))


def test_four_times_fainter_takes_approximately_fivefold() -> None:
    name, why = "times as long for a light four times fainter", "“approximately fivefold” is one digit"
    check(name, got=longer(4.0), expected=5.0, tolerance=0.5, trust="seen", why=why)


@pytest.mark.parametrize(
    ("fainter", "factor", "half_digit"), [(4.0, 5.0127, 5e-5), (2.0, 2.2389, 5e-5), (10.0, 14.548, 5e-4)]
)
def test_factors(fainter: float, factor: float, half_digit: float) -> None:
    name = f"… for {fainter:g} times fainter, n^(1/0.86)"
    check(name, got=longer(fainter), expected=factor, tolerance=half_digit, trust="derived", why=HALF_DIGIT)


def test_the_shift_is_the_power_of_time_that_is_missing() -> None:
    apart = exposure_shift(CURVE, dwell_ms=50.0) - exposure_shift(CURVE, dwell_ms=5.0)
    assert float(apart) == pytest.approx(-0.14, abs=1e-12)


def test_without_failure_of_reciprocity_only_dose_counts() -> None:
    true = plain_curve(kappa=0.0)
    slow, fast = (float(effective_exposure(true, dose_J_per_mm2=2.0, dwell_ms=t)) for t in (50.0, 0.5))
    assert slow == fast == math.log10(2.0)
