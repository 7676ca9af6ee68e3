"""[mannos1974] Mannos and Sakrison: A(f) = 2.6 (0.0192 + 0.114 f) exp(−(0.114 f)^1.1).

- "Peak 1 at about 8 cycles per degree, meaningless above 60": SEEN in a thesis; the formula MEM.
- Peak 0.98088 at 7.891; A(20) = 0.50268, A(30) = 0.18698, A(40) = 0.05901: DERIVED, recomputed.
Tolerances: half of the last digit printed; for the words, 5 % and half a cycle.
"""

from __future__ import annotations

from functools import partial

import pytest
from scipy.optimize import minimize_scalar

import outside
from evenburn.core.tone.vision import contrast_sensitivity
from outside import HALF_DIGIT

check = partial(outside.check, field="tone, colour and sight", source="mannos1974")


@pytest.mark.parametrize(("frequency_cpd", "sensitivity"), [(20.0, 0.50268), (30.0, 0.18698), (40.0, 0.05901)])
def test_values(frequency_cpd: float, sensitivity: float) -> None:
    got, name = contrast_sensitivity(frequency_cpd), f"contrast sensitivity at {frequency_cpd:g} cycles per degree"
    check(name, got=got, expected=sensitivity, tolerance=5e-6, trust="derived", why=HALF_DIGIT)


def test_peak() -> None:
    found = minimize_scalar(lambda f: -float(contrast_sensitivity(f)), bounds=(1.0, 30.0), method="bounded")
    peak_cpd, peak = float(found.x), -float(found.fun)
    cpd, words = "cycles per degree", "“about 8” and “1” in words: half a cycle, 5 %"
    check(
        "peak of contrast sensitivity lies at",
        got=peak_cpd,
        expected=8.0,
        tolerance=0.5,
        unit=cpd,
        trust="seen",
        why=words,
    )
    check("… and is", got=peak, expected=1.0, tolerance=0.05, trust="seen", why=words)
    check(
        "… lies at, in digits",
        got=peak_cpd,
        expected=7.891,
        tolerance=0.0005,
        unit=cpd,
        trust="derived",
        why=HALF_DIGIT,
    )
    check("… and is, in digits", got=peak, expected=0.98088, tolerance=5e-6, trust="derived", why=HALF_DIGIT)


def test_hardly_anything_is_seen_above_60() -> None:
    assert float(contrast_sensitivity(60.0)) < 0.01
