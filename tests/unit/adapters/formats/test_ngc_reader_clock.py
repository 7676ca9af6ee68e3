"""The reader's clock against closed forms and against ruckig, a trajectory generator of somebody else's."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import ruckig
from hypothesis import given
from hypothesis import strategies as st

from evenburn.adapters.formats.ngc_reader import Limits, read_program
from evenburn.adapters.formats.ngc_reader.clock import rest_to_rest_s

BENCH = Limits(
    bed_x_mm=600.0,
    bed_y_mm=400.0,
    power_word_max=1000.0,
    speed_max_mm_per_s=600.0,
    rapid_mm_per_s=500.0,
    accel_x_mm_per_s2=5000.0,
    accel_y_mm_per_s2=3000.0,
    jerk_mm_per_s3=None,
    line_overhead_s=0.0,
    power_cap_fraction=1.0,
    power_least_fraction=0.0,
)
JERKY = replace(BENCH, jerk_mm_per_s3=1e5)
SOLVER_S = 1e-6  # ruckig solves polynomials; its own durations are good to some 1e-8 s


def time_s(body: str, limits: Limits = BENCH) -> float:
    """Return the time of moves that start at X0 Y0, which costs nothing to reach."""
    report = read_program(f"G21 G90 G94 G17\nM5\nF18000\nG0 X0 Y0\n{body}\nM5\nM2\n", limits)
    assert report.passed, report.findings
    return report.time_s


def ruckig_s(length_mm: float, *, speed: float, accel: float, jerk: float) -> float:
    ask = ruckig.InputParameter(1)
    ask.target_position = [length_mm]
    ask.max_velocity, ask.max_acceleration, ask.max_jerk = [speed], [accel], [jerk]
    answer = ruckig.Trajectory(1)
    assert ruckig.Ruckig(1).calculate(ask, answer) in {ruckig.Result.Working, ruckig.Result.Finished}
    return float(answer.duration)


# check-values.md sec. 4, run-ups of 15, 25 and 50 mm (derived there): going exactly both run-ups takes 2 v/a
@pytest.mark.parametrize(("speed", "accel", "run_up_mm"), [(300, 3000, 15), (500, 5000, 25), (1000, 10000, 50)])
def test_a_move_of_two_run_ups_only_just_reaches_speed(speed: float, accel: float, run_up_mm: float) -> None:
    length = np.array([2.0 * run_up_mm])
    time = rest_to_rest_s(length, np.array([speed]), accel_mm_per_s2=np.array([accel]), jerk_mm_per_s3=None)
    assert time == pytest.approx(2 * speed / accel, rel=1e-12)  # rounding in binary


# libraries.md, ruckig: 300 mm, 500 mm/s, 5000 mm/s2, 1e5 mm/s3 -> 0.7500 s; 0.5 mm -> 0.054288 s (printed digits)
@pytest.mark.parametrize(("length_mm", "time", "printed"), [(300.0, 0.7500, 5e-5), (0.5, 0.054288, 5e-7)])
def test_jerk_limited_moves_take_the_seen_times(length_mm: float, time: float, printed: float) -> None:
    assert time_s(f"G0 X{length_mm}", JERKY) == pytest.approx(time, abs=printed)


def test_a_trapezoid_is_length_over_speed_plus_speed_over_acceleration() -> None:
    assert time_s("G0 X300") == pytest.approx(300 / 500 + 500 / 5000)
    assert time_s("G1 X300") == pytest.approx(300 / 300 + 300 / 5000)
    assert time_s("G1 X2") == pytest.approx(2 * (2 / 5000) ** 0.5)  # too short for 300 mm/s


def test_each_axis_keeps_its_own_acceleration() -> None:
    assert time_s("G1 Y300") == pytest.approx(300 / 300 + 300 / 3000)
    # along 3-4-5 the axes allow 5000 / 0.6 = 8333 and 3000 / 0.8 = 3750
    assert time_s("G1 X180 Y240") == pytest.approx(300 / 300 + 300 / 3750)


@given(
    length_mm=st.floats(1e-3, 1e3),
    speed=st.floats(1.0, 1e3),
    accel=st.floats(100.0, 2e4),
    jerk=st.floats(1e3, 1e6),
)
def test_jerk_limited_moves_agree_with_ruckig(length_mm: float, speed: float, accel: float, jerk: float) -> None:
    ours = rest_to_rest_s(
        np.array([length_mm]), np.array([speed]), accel_mm_per_s2=np.array([accel]), jerk_mm_per_s3=jerk
    )
    assert ours[0] == pytest.approx(ruckig_s(length_mm, speed=speed, accel=accel, jerk=jerk), abs=SOLVER_S)


@given(length_mm=st.floats(1e-3, 1e3), speed=st.floats(1.0, 1e3), accel=st.floats(100.0, 2e4))
def test_trapezoids_agree_with_ruckig_without_a_jerk_limit(length_mm: float, speed: float, accel: float) -> None:
    ours = rest_to_rest_s(
        np.array([length_mm]), np.array([speed]), accel_mm_per_s2=np.array([accel]), jerk_mm_per_s3=None
    )
    assert ours[0] == pytest.approx(ruckig_s(length_mm, speed=speed, accel=accel, jerk=float("inf")), abs=SOLVER_S)


WHOLE = 300 / 300 + 300 / 5000  # 300 mm at 300 mm/s in one go
PARTS = 300 / 300 + 3 * 300 / 5000  # … in three, at rest between


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        ("G1 X100\nX200\nX300", WHOLE),
        ("M3 S0\nG1 X100\nX200 S500\nX300 S0", WHOLE),  # power changes on the fly
        ("G1 X100 F18000\n(words)\n\nX200 F18000\nX300", WHOLE),  # so do words that change nothing
        ("G1 X100\nM3 S0\nX200\nM5\nX300", PARTS),  # the laser's switch waits for the head
        ("G1 X100\nG4 P0\nX200\nM0\nX300", PARTS),
        ("G1 X100\nG4 P1.5\nX200\nM0\nX300", PARTS + 1.5),
        ("G1 X100\nX0\nX100", PARTS),  # back and forth
        ("G1 X100\nG0 X100\nG1 X300", WHOLE),  # a move of no length is none
    ],
)
def test_moves_in_one_line_run_through(body: str, expected: float) -> None:
    assert time_s(body) == pytest.approx(expected)


def test_a_change_of_feed_or_kind_stops_between() -> None:
    assert time_s("G1 X150\nG1 X300 F17999.9") == pytest.approx(
        300 / 300 + 2 * 300 / 5000, rel=1e-5
    )  # F differs by 6e-6
    assert time_s("G1 X150\nG0 X650", replace(BENCH, bed_x_mm=700)) == pytest.approx(
        150 / 300 + 300 / 5000 + 500 / 500 + 500 / 5000
    )


def test_a_slanting_line_of_rounded_points_is_one_run_and_a_corner_is_not() -> None:
    points = [(i * 0.1 / 3, i * 0.2 / 3) for i in range(1, 301)]  # 0.075 mm apart
    slant = "\n".join(f"G1 X{x:.3f} Y{y:.3f}" for x, y in points)
    length, accel = (10**2 + 20**2) ** 0.5, min(5000 * 5**0.5, 3000 * 5**0.5 / 2)
    # each of 300 points may be off by half a printed step, which adds at most that much to each length
    assert time_s(slant) == pytest.approx(length / 300 + 300 / accel, abs=300 * 0.0005 / 300)
    bent = "G1 X100 Y0\nG1 X200 Y2"  # 1.1 degrees
    assert time_s(bent) > time_s("G1 X200 Y0") + 0.9 * 300 / 5000


def test_only_runs_that_burn_add_the_overhead() -> None:
    slow = replace(BENCH, line_overhead_s=0.25)
    body = "M3 S0\nG1 X100\nX200 S500\nX300 S0\nG0 X0\nG1 X10"
    assert time_s(body, slow) == pytest.approx(time_s(body) + 0.25)


def test_reaching_the_start_counts_nothing() -> None:
    report = read_program("G21 G90 G94 G17\nM5\nG0 X500\nG0 Y300\nM5\nM2\n", BENCH)
    assert report.time_s == 0  # Y was unknown until the second line


def test_an_arc_is_no_faster_than_its_curve_allows() -> None:
    # half circle, radius 3 mm, at 300 mm/s: sqrt(3000 * 3) = 94.87 mm/s is what 3000 mm/s2 holds on it (v2/r)
    length, speed = np.pi * 3, (3000 * 3) ** 0.5
    assert time_s("G2 X6 Y0 I3 J0") == pytest.approx(length / speed + speed / 3000)


def test_full_power_seconds_are_energy_over_full_power() -> None:
    # 100 mm at 300 mm/s and half power, 50 mm at 100 mm/s and full power
    report = read_program(
        "G21 G90 G94 G17\nM5\nF18000\nG0 X0 Y0\nM3 S0\nG1 X100 S500\nG1 X150 S1000 F6000\nG1 X160 S0\nM5\nM2\n", BENCH
    )
    assert report.full_power_s == pytest.approx(0.5 * 100 / 300 + 1.0 * 50 / 100)
