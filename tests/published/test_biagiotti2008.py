"""[biagiotti2008] Biagiotti and Melchiorri, Trajectory Planning for Automatic Machines and Robots, Springer 2008.

- Trapezoid, sec. 3.2: L ≥ v²/a: T = L/v + v/a, else T = 2 √(L/a), peak √(a L). SEEN (long branch), MEM (short branch).
  A public code has √(L/(2a)) for the short branch, which is wrong; it is not used.
- Double S, sec. 3.4: T_a = a/j + (v − v0)/a where v − v0 ≥ a²/j, else 2 √((v − v0)/j). MEM.
- Example 3.9: q0 0, q1 10, v0 1, v1 0, v 5, a 10, j 30: T_a 0.7333, T_v 1.1433, T_d 0.8333, T_j 0.3333, in all 2.7100 s.
  MEM and recomputed; the same example by [ruckig2021] in test_ruckig2021.py.
- Run-up v²/2a: 300 mm/s at 3000 mm/s² 15 mm, 500 at 5000 25 mm, 1000 at 10000 50 mm; with 1e5 mm/s³, 500 at 5000:
  37.5 mm. DERIVED.
Our moves go from rest to rest. Phases of example 3.9 depend on v − v0 alone, so its first phase is read from our function at
4 and the way in it is our run-up to 4 plus v0 T_a.
Tolerances: half of the last digit printed; closed forms to rounding.
"""

from __future__ import annotations

import math
from functools import partial
from typing import Any

import pytest

import outside
from evenburn.core.motion.profile import move_time_s, run_up_mm, speed_within_mm_per_s, time_to_speed_s
from outside import HALF_DIGIT

EXAMPLE = "example 3.9, 10 m from 1 m/s to rest, 5 m/s, 10 m/s², 30 m/s³"
check = partial(outside.check, field="motion", source="biagiotti2008")

HALF_DIGIT_s = 0.00005
ROUNDING = 1e-12


PRINTED: dict[str, Any] = {"unit": "s", "trust": "from memory", "why": HALF_DIGIT}
CLOSED: dict[str, Any] = {"trust": "derived", "why": "rounding of a closed form in binary"}


class TestExample39:
    ACCEL, JERK, SPEED, SPEED_0, WAY = 10.0, 30.0, 5.0, 1.0, 10.0

    def ramp_s(self, gained: float) -> float:
        return float(time_to_speed_s(gained, accel_mm_per_s2=self.ACCEL, jerk_mm_per_s3=self.JERK))

    def ramp_mm(self, gained: float) -> float:
        return float(run_up_mm(gained, accel_mm_per_s2=self.ACCEL, jerk_mm_per_s3=self.JERK))

    def test_acceleration_takes_0_7333_s(self) -> None:
        got = self.ramp_s(self.SPEED - self.SPEED_0)
        check(f"acceleration, {EXAMPLE}", got=got, expected=0.7333, tolerance=HALF_DIGIT_s, **PRINTED)

    def test_deceleration_takes_0_8333_s(self) -> None:
        got = self.ramp_s(self.SPEED)
        check(f"deceleration, {EXAMPLE}", got=got, expected=0.8333, tolerance=HALF_DIGIT_s, **PRINTED)

    def test_jerk_phases_take_0_3333_s(self) -> None:
        # what a ramp takes beyond v/a is one jerk phase
        got = self.ramp_s(self.SPEED) - self.SPEED / self.ACCEL
        check(f"one phase of jerk, {EXAMPLE}", got=got, expected=0.3333, tolerance=HALF_DIGIT_s, **PRINTED)

    def test_constant_speed_lasts_1_1433_s_and_the_whole_2_7100_s(self) -> None:
        gaining_s, losing_s = self.ramp_s(self.SPEED - self.SPEED_0), self.ramp_s(self.SPEED)
        ramps = self.ramp_mm(self.SPEED - self.SPEED_0) + self.SPEED_0 * gaining_s + self.ramp_mm(self.SPEED)
        even_s = (self.WAY - ramps) / self.SPEED
        check(f"constant speed, {EXAMPLE}", got=even_s, expected=1.1433, tolerance=HALF_DIGIT_s, **PRINTED)
        whole_s = gaining_s + even_s + losing_s
        check(f"the whole, {EXAMPLE}", got=whole_s, expected=2.7100, tolerance=HALF_DIGIT_s, **PRINTED)


@pytest.mark.parametrize(
    ("speed", "accel", "run_up"), [(300.0, 3000.0, 15.0), (500.0, 5000.0, 25.0), (1000.0, 10000.0, 50.0)]
)
def test_run_up_with_endless_jerk(speed: float, accel: float, run_up: float) -> None:
    got = run_up_mm(speed, accel_mm_per_s2=accel, jerk_mm_per_s3=None)
    name = f"run-up to {speed:g} mm/s at {accel:g} mm/s²"
    check(name, got=got, expected=run_up, tolerance=run_up * ROUNDING, unit="mm", **CLOSED)
    assert speed_within_mm_per_s(run_up, accel_mm_per_s2=accel, jerk_mm_per_s3=None) == pytest.approx(speed)


def test_limited_jerk_lengthens_the_run_up_from_25_to_37_5_mm() -> None:
    got = run_up_mm(500.0, accel_mm_per_s2=5000.0, jerk_mm_per_s3=1e5)
    name = "run-up to 500 mm/s at 5000 mm/s² and 1e5 mm/s³"
    check(name, got=got, expected=37.5, tolerance=37.5 * ROUNDING, unit="mm", **CLOSED)
    assert run_up_mm(500.0, accel_mm_per_s2=5000.0, jerk_mm_per_s3=None) == pytest.approx(25.0, rel=ROUNDING)
    assert speed_within_mm_per_s(37.5, accel_mm_per_s2=5000.0, jerk_mm_per_s3=1e5) == pytest.approx(500.0)


def test_below_a_squared_over_j_the_run_up_is_v_root_v_over_j() -> None:
    # 5000²/1e5 = 250 mm/s is where full acceleration is just reached; both branches meet there
    slow = run_up_mm(100.0, accel_mm_per_s2=5000.0, jerk_mm_per_s3=1e5)
    assert slow == pytest.approx(100.0 * math.sqrt(100.0 / 1e5), rel=ROUNDING)
    meeting = run_up_mm(250.0, accel_mm_per_s2=5000.0, jerk_mm_per_s3=1e5)
    assert meeting == pytest.approx(250.0 * math.sqrt(250.0 / 1e5), rel=ROUNDING)
    assert meeting == pytest.approx(0.5 * 250.0 * (250.0 / 5000.0 + 5000.0 / 1e5), rel=ROUNDING)


def trapezoid_s(way_mm: float) -> float:
    return float(move_time_s(way_mm, speed_mm_per_s=500.0, accel_mm_per_s2=5000.0, jerk_mm_per_s3=None))


def test_long_trapezoid() -> None:
    # (L a + v²)/(a v), as the public code has it
    assert trapezoid_s(200.0) == pytest.approx((200.0 * 5000.0 + 500.0**2) / (5000.0 * 500.0), rel=ROUNDING)
    name = "200 mm from rest to rest, 500 mm/s, 5000 mm/s²: (L a + v²)/(a v)"
    seen = {**CLOSED, "trust": "seen"}
    check(name, got=trapezoid_s(200.0), expected=0.5, tolerance=0.5 * ROUNDING, unit="s", **seen)


def test_short_trapezoid_is_two_root_l_over_a_and_not_root_l_over_2a() -> None:
    short = 2.0 * math.sqrt(20.0 / 5000.0)
    name = "20 mm from rest to rest, 500 mm/s, 5000 mm/s²: 2 √(L/a)"
    memory = {**CLOSED, "trust": "from memory"}
    check(name, got=trapezoid_s(20.0), expected=short, tolerance=short * ROUNDING, unit="s", **memory)
    assert trapezoid_s(20.0) > 2.0 * math.sqrt(20.0 / (2.0 * 5000.0))


def test_both_branches_meet_at_v_squared_over_a() -> None:
    assert trapezoid_s(50.0) == pytest.approx(2.0 * math.sqrt(50.0 / 5000.0), rel=ROUNDING)
    assert trapezoid_s(50.0) == pytest.approx(50.0 / 500.0 + 500.0 / 5000.0, rel=ROUNDING)
