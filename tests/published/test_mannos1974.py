"""[mannos1974] Mannos and Sakrison: A(f) = 2.6 (0.0192 + 0.114 f) exp(−(0.114 f)^1.1).

- "Peak 1 at about 8 cycles per degree, meaningless above 60": SEEN in a thesis; the formula MEM.
- Peak 0.98088 at 7.891; A(20) = 0.50268, A(30) = 0.18698, A(40) = 0.05901: DERIVED, recomputed.
Tolerances: half of the last digit printed; for the words, 5 % and half a cycle.
"""

from __future__ import annotations

import pytest
from scipy.optimize import minimize_scalar

from evenburn.core.tone.vision import contrast_sensitivity


@pytest.mark.parametrize(("frequency_cpd", "sensitivity"), [(20.0, 0.50268), (30.0, 0.18698), (40.0, 0.05901)])
def test_values(frequency_cpd: float, sensitivity: float) -> None:
    assert float(contrast_sensitivity(frequency_cpd)) == pytest.approx(sensitivity, abs=5e-6)


def test_peak() -> None:
    found = minimize_scalar(lambda f: -float(contrast_sensitivity(f)), bounds=(1.0, 30.0), method="bounded")
    peak_cpd, peak = float(found.x), -float(found.fun)
    assert peak_cpd == pytest.approx(8.0, abs=0.5)
    assert peak == pytest.approx(1.0, rel=0.05)
    assert peak_cpd == pytest.approx(7.891, abs=0.0005)
    assert peak == pytest.approx(0.98088, abs=5e-6)


def test_hardly_anything_is_seen_above_60() -> None:
    assert float(contrast_sensitivity(60.0)) < 0.01
