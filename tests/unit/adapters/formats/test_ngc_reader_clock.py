"""The reader's clock against closed forms and against ruckig, a trajectory generator of somebody else's."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

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
    # 45 degrees: the circle that leaves the corner by 0.02 mm has r = 0.02 / (1/cos 22.5° − 1) = 0.24285 mm
    bent, corner = "G1 X100 Y0\nG1 X200 Y100", (3000 * 0.24285) ** 0.5
    accel = 3000 * 2**0.5
    first = 100 / 300 + 300 / 5000 / 2 + (300 - corner) ** 2 / (2 * 5000 * 300)
    second = 100 * 2**0.5 / 300 + 300 / accel / 2 + (300 - corner) ** 2 / (2 * accel * 300)
    assert time_s(bent) == pytest.approx(first + second, rel=1e-5)  # the radius is printed to five digits


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


CORNER = (3000 * 0.02 * (1 + 2**0.5)) ** 0.5  # a right angle: r (√2 − 1) = 0.02 mm; 12.035 mm/s


def between_s(length_mm: float, *, accel: float, enter: float, leave: float) -> float:
    """Return ruckig's time of a move at 300 mm/s at most that is already under way, or still is."""
    ask = ruckig.InputParameter(1)
    ask.target_position, ask.current_velocity, ask.target_velocity = [length_mm], [enter], [leave]
    ask.max_velocity, ask.max_acceleration, ask.max_jerk = [300.0], [accel], [float("inf")]
    answer = ruckig.Trajectory(1)
    assert ruckig.Ruckig(1).calculate(ask, answer) in {ruckig.Result.Working, ruckig.Result.Finished}
    return float(answer.duration)


def test_a_square_is_run_through_and_slows_at_its_corners() -> None:
    by_ruckig = (
        between_s(40.0, accel=5000.0, enter=0.0, leave=CORNER)
        + between_s(40.0, accel=3000.0, enter=CORNER, leave=CORNER)
        + between_s(40.0, accel=5000.0, enter=CORNER, leave=CORNER)
        + between_s(40.0, accel=3000.0, enter=CORNER, leave=0.0)
    )
    assert time_s("G1 X40\nY40\nX0\nY0") == pytest.approx(by_ruckig, abs=SOLVER_S)
    # cut into pieces it is the same square
    assert time_s("G1 X7\nX31.5\nX40\nY0.06\nY40\nX39.95\nX0\nY20\nY0.1\nY0") == pytest.approx(by_ruckig, abs=SOLVER_S)


def test_a_corner_is_passed_faster_where_more_of_it_may_be_cut() -> None:
    square = "G1 X40\nY40\nX0\nY0"
    exact, loose = (time_s(square, replace(BENCH, corner_tolerance_mm=by)) for by in (0.001, 0.5))
    assert loose < time_s(square) < exact
    stops = sum(between_s(40.0, accel=a, enter=0.0, leave=0.0) for a in (5000.0, 3000.0, 5000.0, 3000.0))
    assert exact < stops


@pytest.mark.parametrize("word", ["G4 P0", "M3 S0", "M5", "M0"])
def test_whatever_holds_the_head_ends_a_path_with_bends(word: str) -> None:
    halves = (
        between_s(40.0, accel=5000.0, enter=0.0, leave=CORNER),
        between_s(40.0, accel=3000.0, enter=CORNER, leave=0.0),
    )
    body = f"G1 X40\nY40\n{word}\nG1 X0\nY0"
    assert time_s(body) == pytest.approx(2.0 * sum(halves), abs=SOLVER_S)
    rapid_s = 2 * (20 / 3000) ** 0.5  # too short for 500 mm/s
    assert time_s("G1 X40\nY40\nG0 Y60\nG0 Y40\nG1 X0\nY0") == pytest.approx(
        2.0 * sum(halves) + 2.0 * rapid_s, abs=SOLVER_S
    )


def test_a_path_with_bends_adds_the_overhead_once_and_only_if_it_burns() -> None:
    slow = replace(BENCH, line_overhead_s=0.25)
    lit = "M3 S0\nG1 X40 S300\nY40 S0\nX0 S300\nY0 S0"
    assert time_s(lit, slow) == pytest.approx(time_s(lit) + 0.25)
    dark = "M3 S0\nG1 X40\nY40\nX0\nY0"
    assert time_s(dark, slow) == pytest.approx(time_s(dark))


def test_many_paths_are_timed_as_each_alone() -> None:
    square = "G1 X{0}\nY40\nX0\nY0\nG0 X{0}\nG0 X0\n"
    sizes = (5, 11.5, 40)
    together = time_s("".join(square.format(size) for size in sizes))
    assert together == pytest.approx(sum(time_s(square.format(size)) for size in sizes), rel=1e-12)


def test_limited_jerk_counts_in_the_mean_where_a_path_bends() -> None:
    """300 mm/s in 300/5000 + 5000/1e5 = 0.11 s are 2727 mm/s² in the mean along x, 2308 along y."""
    mean_x, mean_y = 300 / (300 / 5000 + 5000 / 1e5), 300 / (300 / 3000 + 3000 / 1e5)
    corner = (mean_y * 0.02 * (1 + 2**0.5)) ** 0.5
    by_ruckig = between_s(400.0, accel=mean_x, enter=0.0, leave=corner)
    by_ruckig += between_s(300.0, accel=mean_y, enter=corner, leave=0.0)
    assert time_s("G1 X400\nY300", JERKY) == pytest.approx(by_ruckig, abs=SOLVER_S)


@pytest.mark.parametrize("pieces", [1, 2, 5])
@pytest.mark.parametrize(
    ("stroke_mm", "limits", "one_s"),
    [
        # trapezoid, v²/a = 18 mm: 20 mm take 20/300 + 300/5000, 5 mm 2 √(5/5000)
        (20.0, BENCH, 0.126666667),
        (5.0, BENCH, 0.063245553),
        # double S: 50 mm take 50/300 + 300/5000 + 5000/1e5 s; 29.68 mm = p²/a + p a/j peak at p = 280 mm/s and take
        # 2 (p/a + a/j); 5 mm never reach the acceleration and take 4 (L/2j)^⅓
        (50.0, JERKY, 0.276666667),
        (29.68, JERKY, 0.212),
        (5.0, JERKY, 0.116960709),
    ],
)
def test_strokes_that_turn_straight_back_rest_at_each_turn(
    stroke_mm: float, limits: Limits, one_s: float, pieces: int
) -> None:
    """Each stroke takes the time of a move from rest to rest, worked out by hand, however many there are."""
    places = [stroke_mm * (n + 1) / pieces for n in range(pieces)]
    back = [stroke_mm - place for place in places]
    body = "\n".join(f"G1 X{x:.3f}" for _ in range(50) for x in (*places, *back))
    assert time_s(body, limits) == pytest.approx(100 * one_s, rel=1e-6)


def test_each_stroke_of_a_path_that_turns_back_adds_the_overhead_if_it_burns() -> None:
    slow = replace(BENCH, line_overhead_s=0.25)
    body = "M3 S0\nG1 X20 S300\nX0 S0\nX20 S300\nX5 S100\nX20 S0"
    assert time_s(body, slow) == pytest.approx(time_s(body) + 3 * 0.25)


def test_a_gentle_bow_of_short_moves_is_no_straight_line() -> None:
    """Chords of 0.03 mm on r = 1 mm bend by 1.7 degrees each; 300 mm/s would be thirty times what 3000 mm/s² hold."""
    angles = np.linspace(0.0, np.pi, 105)
    arc = "\n".join(f"G1 X{1 - np.cos(a):.3f} Y{np.sin(a):.3f}" for a in angles[1:])
    v = 3000**0.5
    # places are rounded to 1 µm, and a chord is taken for straight up to 2 µm off it
    assert time_s(arc) == pytest.approx(np.pi / v + v / 3000, rel=0.1)


def test_full_power_seconds_are_energy_over_full_power() -> None:
    # 100 mm up to 300 mm/s at half power, 50 mm up to 100 mm/s at full power; starts and stops count in full
    report = read_program(
        "G21 G90 G94 G17\nM5\nF18000\nG0 X0 Y0\nM3 S0\nG1 X100 S500\nG1 X150 S1000 F6000\nG1 X160 S0\nM5\nM2\n", BENCH
    )
    first = 0.5 * (100 / 300 + 300 / 5000)
    second = 50 / 100 + 0.5 * 100 / 5000  # it goes on dark, and stops there
    assert report.full_power_s == pytest.approx(first + second)


def test_full_power_seconds_of_a_line_with_room_at_both_ends_are_at_its_feed() -> None:
    report = read_program(
        "G21 G90 G94 G17\nM5\nF18000\nG0 X0 Y0\nM3 S0\nG1 X9 S0\nG1 X59 S400\nG1 X109 S800\nG1 X118 S0\nM5\nM2\n", BENCH
    )  # 9 mm are v²/2a
    assert report.full_power_s == pytest.approx((0.4 + 0.8) * 50 / 300, rel=1e-12)


def test_power_that_follows_speed_leaves_the_same_energy_on_each_millimetre() -> None:
    """S set to the mean speed of each piece: the seconds at full power are length over feed, whatever the corners do."""
    ramp = [(n / 10) ** 2 * 9 for n in range(11)]  # v grows by a tenth of 300 mm/s from place to place
    places = [*ramp, *(118 - place for place in reversed(ramp))]
    lines = []
    for low, high in pairwise(places):
        start, end = (min(300.0, (2 * 5000 * max(min(p, 118 - p), 0.0)) ** 0.5) for p in (low, high))
        lines.append(f"G1 X{high:.3f} S{1000 * 0.5 * (start + end) / 300:.3f}")
    report = read_program("G21 G90 G94 G17\nM5\nF18000\nG0 X0 Y0\nM3 S0\n" + "\n".join(lines) + "\nM5\nM2\n", BENCH)
    assert report.full_power_s == pytest.approx(118 / 300, rel=1e-3)  # places are rounded to 1 µm of 0.09 mm
