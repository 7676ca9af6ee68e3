"""What the eye lets pass; published points of the sensitivity curve stand in tests/published."""

from __future__ import annotations

import math

import numpy as np
import pytest

from evenburn.core.tone.vision import UNSEEN_L, contrast_sensitivity, cycles_per_degree, unseen_banding_L


def test_stripes_twice_as_wide_or_as_near_have_half_the_frequency() -> None:
    near = float(cycles_per_degree(period_mm=0.2, distance_mm=300.0))
    assert float(cycles_per_degree(period_mm=0.4, distance_mm=300.0)) == pytest.approx(near / 2.0, rel=1e-12)
    assert float(cycles_per_degree(period_mm=0.2, distance_mm=150.0)) == pytest.approx(near / 2.0, rel=1e-12)


def test_thirty_cycles_per_degree_at_300_mm_are_0_1745_mm() -> None:
    # check-values.md, 3: "30 cpd period = 0.17453 mm"
    assert float(cycles_per_degree(period_mm=0.17453, distance_mm=300.0)) == pytest.approx(30.0, rel=1e-4)


def test_sensitivity_has_one_peak() -> None:
    values = contrast_sensitivity(np.linspace(0.1, 60.0, 2000))
    turns = np.flatnonzero(np.diff(np.sign(np.diff(values))))
    assert turns.size == 1
    assert (values > 0.0).all()


def test_finer_stripes_past_the_peak_may_ripple_more() -> None:
    periods = np.array([0.6, 0.4, 0.3, 0.2, 0.15, 0.1, 0.05])  # from about the best frequency to far past it
    limits = unseen_banding_L(tone=40.0, period_mm=periods, distance_mm=300.0)
    assert (np.diff(limits) >= 0.0).all()
    assert limits[0] < limits[3]


def test_from_farther_away_more_may_ripple() -> None:
    near, far = (float(unseen_banding_L(tone=40.0, period_mm=0.2, distance_mm=d)) for d in (300.0, 450.0))
    assert near < far


@pytest.mark.parametrize("tone", [0.0, 5.0, 20.0, 50.0, 95.0])
def test_what_is_unseen_is_never_more_than_one_L(tone: float) -> None:
    limits = unseen_banding_L(tone=tone, period_mm=np.geomspace(0.01, 10.0, 50), distance_mm=300.0)
    assert (limits >= 0.0).all()
    assert (limits <= UNSEEN_L).all()
    assert UNSEEN_L == 1.0


def test_the_finest_stripes_are_limited_by_whoever_looks_closer() -> None:
    assert float(unseen_banding_L(tone=40.0, period_mm=0.04, distance_mm=300.0)) == UNSEEN_L


DEGREE_mm = 2.0 * 300.0 * math.tan(math.radians(0.5))  # at 300 mm


def test_banding_at_20_cycles_is_let_pass_up_to_the_eyes_own_threshold() -> None:
    """A(20) = 0.50268, check-values.md, 3: 1 in 100.536 of contrast, on L* 50 a swing of (50 + 16) · ⅔ c = 0.4377 L*."""
    by_hand = (50.0 + 16.0) * 2.0 / 3.0 / (200.0 * 0.50268)
    found = unseen_banding_L(tone=50.0, period_mm=DEGREE_mm / 20.0, distance_mm=300.0)
    # L* goes as the cube root, whose next term is 5/27 c² = 1.8e-5 of it; half a digit of A is 1e-5
    assert float(found) == pytest.approx(by_hand, rel=3e-5)


def test_banding_at_30_cycles_would_pass_higher_and_is_held_to_one_L() -> None:
    # A(30) = 0.18698: (50 + 16) · ⅔ / (200 · 0.18698) = 1.18 L*
    assert float(unseen_banding_L(tone=50.0, period_mm=DEGREE_mm / 30.0, distance_mm=300.0)) == UNSEEN_L
    by_hand = (20.0 + 16.0) * 2.0 / 3.0 / (200.0 * 0.18698)
    found = unseen_banding_L(tone=20.0, period_mm=DEGREE_mm / 30.0, distance_mm=300.0)
    assert float(found) == pytest.approx(by_hand, rel=1.7e-4)  # 5/27 c² = 1.3e-4, half a digit of A 2.7e-5
