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

import pytest

from evenburn.core.motion.profile import move_time_s, run_up_mm, speed_within_mm_per_s, time_to_speed_s

HALF_DIGIT_s = 0.00005
ROUNDING = 1e-12


class TestExample39:
    ACCEL, JERK, SPEED, SPEED_0, WAY = 10.0, 30.0, 5.0, 1.0, 10.0

    def ramp_s(self, gained: float) -> float:
        return float(time_to_speed_s(gained, accel_mm_per_s2=self.ACCEL, jerk_mm_per_s3=self.JERK))

    def ramp_mm(self, gained: float) -> float:
        return float(run_up_mm(gained, accel_mm_per_s2=self.ACCEL, jerk_mm_per_s3=self.JERK))

    def test_acceleration_takes_0_7333_s(self) -> None:
        assert self.ramp_s(self.SPEED - self.SPEED_0) == pytest.approx(0.7333, abs=HALF_DIGIT_s)

    def test_deceleration_takes_0_8333_s(self) -> None:
        assert self.ramp_s(self.SPEED) == pytest.approx(0.8333, abs=HALF_DIGIT_s)

    def test_jerk_phases_take_0_3333_s(self) -> None:
        # what a ramp takes beyond v/a is one jerk phase
        assert self.ramp_s(self.SPEED) - self.SPEED / self.ACCEL == pytest.approx(0.3333, abs=HALF_DIGIT_s)

    def test_constant_speed_lasts_1_1433_s_and_the_whole_2_7100_s(self) -> None:
        gaining_s, losing_s = self.ramp_s(self.SPEED - self.SPEED_0), self.ramp_s(self.SPEED)
        ramps = self.ramp_mm(self.SPEED - self.SPEED_0) + self.SPEED_0 * gaining_s + self.ramp_mm(self.SPEED)
        even_s = (self.WAY - ramps) / self.SPEED
        assert even_s == pytest.approx(1.1433, abs=HALF_DIGIT_s)
        assert gaining_s + even_s + losing_s == pytest.approx(2.7100, abs=HALF_DIGIT_s)


@pytest.mark.parametrize(
    ("speed", "accel", "run_up"), [(300.0, 3000.0, 15.0), (500.0, 5000.0, 25.0), (1000.0, 10000.0, 50.0)]
)
def test_run_up_with_endless_jerk(speed: float, accel: float, run_up: float) -> None:
    assert run_up_mm(speed, accel_mm_per_s2=accel, jerk_mm_per_s3=None) == pytest.approx(run_up, rel=ROUNDING)
    assert speed_within_mm_per_s(run_up, accel_mm_per_s2=accel, jerk_mm_per_s3=None) == pytest.approx(speed)


def test_limited_jerk_lengthens_the_run_up_from_25_to_37_5_mm() -> None:
    assert run_up_mm(500.0, accel_mm_per_s2=5000.0, jerk_mm_per_s3=1e5) == pytest.approx(37.5, rel=ROUNDING)
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
    assert trapezoid_s(200.0) == pytest.approx(0.5, rel=ROUNDING)


def test_short_trapezoid_is_two_root_l_over_a_and_not_root_l_over_2a() -> None:
    assert trapezoid_s(20.0) == pytest.approx(2.0 * math.sqrt(20.0 / 5000.0), rel=ROUNDING)
    assert trapezoid_s(20.0) > 2.0 * math.sqrt(20.0 / (2.0 * 5000.0))


def test_both_branches_meet_at_v_squared_over_a() -> None:
    assert trapezoid_s(50.0) == pytest.approx(2.0 * math.sqrt(50.0 / 5000.0), rel=ROUNDING)
    assert trapezoid_s(50.0) == pytest.approx(50.0 / 500.0 + 500.0 / 5000.0, rel=ROUNDING)
