"""[ruckig2021] L. Berscheid, T. Kröger, Jerk-limited Real-time Trajectory Generation with Arbitrary Target States, RSS 2021.

The library `ruckig` is the authors' own and finds the time-optimal move under limits of speed, acceleration and jerk.
- First it has to give back example 3.9 of [biagiotti2008], 2.7100 s, so that two sources bear each other out.
- Then 960 moves from rest to rest, a tenth of a micrometre to 1.3 m, a quarter of them without a limit of jerk, against our
  closed forms; 300 more drawn at random (seed 300), a micrometre to 1 m, so that no grid of round numbers hides a corner; and the
time and the way from rest to a speed; 300 slanted rapids of two axes that differ, both axes in one phase (seed 2021).
Tolerance: 1e-6 s, a thousandth of what a stopwatch or a controller tells; ways 1e-6 of themselves.
Left out: moves that start or end in motion (we have none), and moves over 1 km, past the library's own range.
"""

from __future__ import annotations

import itertools
from functools import partial
from math import cos, inf, pi, sin

import numpy as np
import pytest
from ruckig import ControlInterface, InputParameter, Result, Ruckig, Synchronization, Trajectory

import outside
from evenburn.core.motion.profile import move_time_s, run_up_mm, time_to_speed_s
from evenburn.core.motion.timing import travel_time_s
from unit.core.examples import machine

SAME_s = 1e-6
SAME = 1e-6


check = partial(outside.check, field="motion", source="ruckig2021", trust="seen", unit="s")
FAR_OFF = "a thousandth of what a stopwatch or a controller tells"

DISTANCES_mm = (1e-4, 0.003, 0.05, 0.1, 0.5, 2.0, 10.0, 49.9, 50.1, 75.0, 300.0, 1300.0)
LIMITS = tuple(itertools.product((20.0, 150.0, 400.0, 600.0, 1000.0), (800.0, 3000.0, 5000.0, 12000.0)))  # mm/s, mm/s²
JERKS_mm_per_s3 = (2e4, 1e5, 1e6)


def fastest(
    way: float,
    *,
    speed: float,
    accel: float,
    jerk: float,
    speed_0: float = 0.0,
) -> Trajectory:
    """The library's quickest move over a way, at rest at its end."""
    wish = InputParameter(1)
    wish.current_position, wish.target_position = [0.0], [way]
    wish.current_velocity, wish.target_velocity = [speed_0], [0.0]
    wish.current_acceleration = wish.target_acceleration = [0.0]
    wish.max_velocity, wish.max_acceleration, wish.max_jerk = [speed], [accel], [jerk]
    move = Trajectory(1)
    assert Ruckig(1).calculate(wish, move) in {Result.Working, Result.Finished}
    return move


def to_speed(speed: float, *, accel: float, jerk: float) -> tuple[float, float]:
    """Time and way of the library's quickest change from rest to a speed."""
    wish = InputParameter(1)
    wish.control_interface = ControlInterface.Velocity
    wish.current_position = wish.current_velocity = wish.current_acceleration = [0.0]
    wish.target_velocity, wish.target_acceleration = [speed], [0.0]
    wish.max_acceleration, wish.max_jerk = [accel], [jerk]
    move = Trajectory(1)
    assert Ruckig(1).calculate(wish, move) in {Result.Working, Result.Finished}
    (way,), _, _ = move.at_time(move.duration)
    return float(move.duration), float(way)


def test_the_library_gives_back_the_book_s_example() -> None:
    move = fastest(10.0, speed=5.0, accel=10.0, jerk=30.0, speed_0=1.0)
    why = "half of the last digit printed in [biagiotti2008]"
    check("the library's own time for example 3.9", got=move.duration, expected=2.7100, tolerance=0.00005, why=why)


@pytest.mark.parametrize(("speed", "accel"), LIMITS)
def test_moves_from_rest_to_rest_with_limited_jerk(speed: float, accel: float) -> None:
    far_s = 0.0
    for way, jerk in itertools.product(DISTANCES_mm, JERKS_mm_per_s3):
        ours = float(move_time_s(way, speed_mm_per_s=speed, accel_mm_per_s2=accel, jerk_mm_per_s3=jerk))
        theirs = fastest(way, speed=speed, accel=accel, jerk=jerk).duration
        assert ours == pytest.approx(theirs, abs=SAME_s), f"{way} mm, {jerk} mm/s³"
        far_s = max(far_s, abs(ours - theirs))
    if (speed, accel) == (600.0, 5000.0):
        name = "farthest from its times, 36 moves with three jerks, 600 mm/s, 5000 mm/s²"
        check(name, got=far_s, expected=0.0, tolerance=SAME_s, why=FAR_OFF)


@pytest.mark.parametrize(("speed", "accel"), LIMITS)
def test_moves_from_rest_to_rest_without_jerk_limit(speed: float, accel: float) -> None:
    for way in DISTANCES_mm:
        ours = float(move_time_s(way, speed_mm_per_s=speed, accel_mm_per_s2=accel, jerk_mm_per_s3=None))
        theirs = fastest(way, speed=speed, accel=accel, jerk=inf).duration
        assert ours == pytest.approx(theirs, abs=SAME_s), f"{way} mm"


def test_moves_drawn_at_random() -> None:
    rng = np.random.default_rng(300)
    reached, far_s = 0, 0.0
    for i in range(300):
        way = float(10.0 ** rng.uniform(-3.0, 3.0))
        speed, accel = float(rng.uniform(10.0, 1200.0)), float(rng.uniform(300.0, 20000.0))
        jerk = None if i % 4 == 0 else float(10.0 ** rng.uniform(4.0, 6.5))
        ours = float(move_time_s(way, speed_mm_per_s=speed, accel_mm_per_s2=accel, jerk_mm_per_s3=jerk))
        theirs = fastest(way, speed=speed, accel=accel, jerk=inf if jerk is None else jerk).duration
        assert ours == pytest.approx(theirs, abs=SAME_s), f"{way} mm, {speed} mm/s, {accel} mm/s², {jerk} mm/s³"
        far_s = max(far_s, abs(ours - theirs))
        reached += way >= 2.0 * float(run_up_mm(speed, accel_mm_per_s2=accel, jerk_mm_per_s3=jerk))
    # both kinds of move are well met: those that reach their speed and those too short for it
    assert 30 < reached < 270
    name = "farthest from its times, 300 moves drawn at random, with and without jerk"
    check(name, got=far_s, expected=0.0, tolerance=SAME_s, why=FAR_OFF)


@pytest.mark.parametrize(("speed", "accel"), LIMITS)
@pytest.mark.parametrize("jerk", [*JERKS_mm_per_s3, None])
def test_time_and_way_from_rest_to_a_speed(speed: float, accel: float, jerk: float | None) -> None:
    time_s, way_mm = to_speed(speed, accel=accel, jerk=inf if jerk is None else jerk)
    ours_s = float(time_to_speed_s(speed, accel_mm_per_s2=accel, jerk_mm_per_s3=jerk))
    assert ours_s == pytest.approx(time_s, abs=SAME_s)
    assert float(run_up_mm(speed, accel_mm_per_s2=accel, jerk_mm_per_s3=jerk)) == pytest.approx(way_mm, rel=SAME)


@pytest.mark.parametrize("jerk", [1e5, None])
def test_backward_moves_take_as_long(jerk: float | None) -> None:
    theirs = fastest(-42.0, speed=400.0, accel=5000.0, jerk=inf if jerk is None else jerk).duration
    ours = float(move_time_s(-42.0, speed_mm_per_s=400.0, accel_mm_per_s2=5000.0, jerk_mm_per_s3=jerk))
    assert ours == pytest.approx(theirs, abs=SAME_s)


def test_slanted_rapids_of_two_unlike_axes() -> None:
    """Both axes in one phase, so that the way is straight: the axis that is short of acceleration sets the time."""
    rng, far_s = np.random.default_rng(2021), 0.0
    for i in range(300):
        way, turn = float(10.0 ** rng.uniform(-2.0, 3.0)), float(rng.uniform(0.02, 0.5 * pi - 0.02))
        part = (way * cos(turn), way * sin(turn))
        bench = machine(
            rapid_mm_per_s=float(rng.uniform(20.0, 1500.0)),
            accel_x_mm_per_s2=float(10.0 ** rng.uniform(2.3, 4.3)),
            accel_y_mm_per_s2=float(10.0 ** rng.uniform(2.3, 4.3)),
            jerk_mm_per_s3=None if i % 4 == 0 else float(10.0 ** rng.uniform(4.0, 6.0)),
        )
        wish = InputParameter(2)
        wish.synchronization = Synchronization.Phase
        wish.current_position, wish.target_position = [0.0, 0.0], list(part)
        wish.max_velocity = [bench.rapid_mm_per_s * p / way for p in part]  # along the way: the rapid's speed and jerk
        wish.max_acceleration = [bench.accel_x_mm_per_s2, bench.accel_y_mm_per_s2]
        jerk = inf if bench.jerk_mm_per_s3 is None else bench.jerk_mm_per_s3
        wish.max_jerk = [jerk * p / way for p in part]
        move = Trajectory(2)
        assert Ruckig(2).calculate(wish, move) in {Result.Working, Result.Finished}
        sign = 1.0 if i % 2 else -1.0
        ours_s = travel_time_s(bench, dx_mm=part[0], dy_mm=sign * part[1])
        assert ours_s == pytest.approx(move.duration, abs=SAME_s)
        far_s = max(far_s, abs(ours_s - move.duration))
    name = "farthest from its times, 300 slanted rapids of two unlike axes"
    check(name, got=far_s, expected=0.0, tolerance=SAME_s, why=FAR_OFF)
