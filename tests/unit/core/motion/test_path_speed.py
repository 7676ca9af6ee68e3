"""Speeds along a path, against ruckig (somebody else's trajectory generator), by hand, and by v²/r."""

from __future__ import annotations

import math
from dataclasses import replace
from math import inf

import numpy as np
import pytest
from ruckig import InputParameter, Result, Ruckig, Trajectory

from evenburn.core.motion.path_speed import bends_at, corner_speeds_mm_per_s, speed_along
from unit.core.examples import machine

SAME_s = 1e-6  # the library solves polynomials; a controller tells thousandths
BENCH = machine()  # 5000 and 3000 mm/s², corners cut by 0.02 mm

# 90°: the circle in the corner leaves it by r (√2 − 1) = 0.02 mm, so r = 0.02 (1 + √2) = 0.048284 mm
SQUARE_CORNER_mm_per_s = math.sqrt(3000.0 * 0.02 * (1.0 + math.sqrt(2.0)))  # 12.035


def ruckig_s(
    way: float, *, speed: float, accel: float, jerk: float | None, enter: float = 0.0, leave: float = 0.0
) -> float:
    wish = InputParameter(1)
    wish.current_position, wish.target_position = [0.0], [way]
    wish.current_velocity, wish.target_velocity = [enter], [leave]
    wish.current_acceleration = wish.target_acceleration = [0.0]
    wish.max_velocity, wish.max_acceleration, wish.max_jerk = [speed], [accel], [inf if jerk is None else jerk]
    move = Trajectory(1)
    assert Ruckig(1).calculate(wish, move) in {Result.Working, Result.Finished}
    return float(move.duration)


def circle(radius: float, *, flatness: float, sweep: float = 2.0 * math.pi) -> np.ndarray:
    count = math.ceil(sweep / (2.0 * math.acos(1.0 - flatness / radius)))
    angles = np.linspace(0.0, sweep, count + 1)
    return np.round(100.0 + radius * np.stack([np.cos(angles), np.sin(angles)], axis=1), 3)


@pytest.mark.parametrize("jerk", [None, 2e4, 1e5])
@pytest.mark.parametrize("length", [0.03, 0.7, 6.0, 250.0])
@pytest.mark.parametrize(("way", "accel"), [((1.0, 0.0), 5000.0), ((0.0, -1.0), 3000.0), ((0.6, 0.8), 3750.0)])
@pytest.mark.parametrize("pieces", [1, 7])
def test_a_straight_path_takes_what_a_move_from_rest_to_rest_takes(
    jerk: float | None, length: float, way: tuple[float, float], accel: float, pieces: int
) -> None:
    points = np.outer(np.linspace(0.0, length, pieces + 1), way)
    times = speed_along(machine(jerk_mm_per_s3=jerk), points, speed_mm_per_s=180.0).times_s()
    assert times.shape == (pieces,)
    assert float(times.sum()) == pytest.approx(ruckig_s(length, speed=180.0, accel=accel, jerk=jerk), abs=SAME_s)


def test_a_square_is_rounded_at_its_corners_by_the_circle_that_fits() -> None:
    square = np.array([[0.0, 0.0], [20.0, 0.0], [20.0, 20.0], [0.0, 20.0], [0.0, 0.0]])
    speeds = speed_along(BENCH, square, speed_mm_per_s=100.0)
    corner = SQUARE_CORNER_mm_per_s
    assert corner == pytest.approx(12.035, abs=5e-4)  # by a desk calculator
    assert speeds.at_mm_per_s == pytest.approx([0.0, corner, corner, corner, 0.0], rel=1e-9)
    by_ruckig = [
        ruckig_s(20.0, speed=100.0, accel=5000.0, jerk=None, leave=corner),
        ruckig_s(20.0, speed=100.0, accel=3000.0, jerk=None, enter=corner, leave=corner),
        ruckig_s(20.0, speed=100.0, accel=5000.0, jerk=None, enter=corner, leave=corner),
        ruckig_s(20.0, speed=100.0, accel=3000.0, jerk=None, enter=corner),
    ]
    assert speeds.times_s() == pytest.approx(by_ruckig, abs=SAME_s)


def test_the_circle_stays_in_the_half_of_a_short_side() -> None:
    # sides of 0.06 mm: the circle touches at 0.03 mm, which in a right angle is its radius; 0.0483 mm would not fit
    stair = np.array([[0.0, 0.0], [5.0, 0.0], [5.0, 0.06], [10.0, 0.06]])
    speeds = corner_speeds_mm_per_s(stair, accel_mm_per_s2=3000.0, tolerance_mm=0.02)
    assert speeds == pytest.approx(math.sqrt(3000.0 * 0.03), rel=1e-9)


@pytest.mark.parametrize(
    ("turn_deg", "radius"),
    # r (1/cos(φ/2) − 1) = 0.02 mm: 60° 0.02/(2/√3 − 1), 120° 0.02/(2 − 1), 180° stands still
    [(60.0, 0.129282), (120.0, 0.02), (180.0, 0.0)],
)
def test_sharper_corners_are_slower_and_a_turn_back_is_a_stop(turn_deg: float, radius: float) -> None:
    turn = math.radians(turn_deg)
    points = np.array([[0.0, 0.0], [9.0, 0.0], [9.0 + 9.0 * math.cos(turn), 9.0 * math.sin(turn)]])
    (speed,) = corner_speeds_mm_per_s(points, accel_mm_per_s2=3000.0, tolerance_mm=0.02)
    assert speed**2 / 3000.0 == pytest.approx(radius, abs=1e-6)  # printed to six places


@pytest.mark.parametrize(
    ("stroke_mm", "jerk", "one_s"),
    [
        (20.0, None, 20.0 / 300.0 + 300.0 / 5000.0),  # trapezoid
        (5.0, None, 2.0 * math.sqrt(5.0 / 5000.0)),
        (50.0, 1e5, 50.0 / 300.0 + 300.0 / 5000.0 + 5000.0 / 1e5),  # double S
        (5.0, 1e5, 4.0 * (5.0 / 2e5) ** (1.0 / 3.0)),  # … too short for the acceleration
    ],
)
def test_each_stroke_that_turns_straight_back_is_a_move_from_rest_to_rest(
    stroke_mm: float, jerk: float | None, one_s: float
) -> None:
    to_and_fro = np.array([[stroke_mm * (n % 2), 0.0] for n in range(11)])
    times = speed_along(replace(BENCH, jerk_mm_per_s3=jerk), to_and_fro, speed_mm_per_s=300.0).times_s()
    assert times == pytest.approx(one_s, rel=1e-9)


@pytest.mark.parametrize("radius", [0.5, 3.0, 20.0, 80.0])
def test_on_an_arc_the_acceleration_is_that_of_its_radius_and_no_more(radius: float) -> None:
    """v²/r ≤ a on a quarter circle of chords 0.01 mm off it; and not much less, or it would be slow for nothing."""
    arc = circle(radius, flatness=0.01, sweep=0.5 * math.pi)
    speeds = corner_speeds_mm_per_s(arc, accel_mm_per_s2=3000.0, tolerance_mm=0.02)
    inward = speeds**2 / radius
    # places are rounded to 1 µm, and a chord 10 µm off the arc turns by what 40 µm beside the next but one tell: 3.5 %
    assert (inward <= 3000.0 * 1.035).all()
    assert float(np.median(inward)) == pytest.approx(3000.0, rel=0.02)


def test_a_side_cut_into_pieces_is_passed_as_before() -> None:
    rng = np.random.default_rng(7)
    corners = np.round(np.cumsum(rng.normal(0.0, 2.0, (40, 2)), axis=0) + 100.0, 3)
    shares = np.sort(rng.uniform(0.02, 0.98, (39, 5)), axis=1)
    cut = corners[:-1, None] + shares[:, :, None] * np.diff(corners, axis=0)[:, None]
    pieces = np.round(np.vstack([np.concatenate([corners[:-1, None], cut], axis=1).reshape(-1, 2), corners[-1:]]), 3)
    whole, parts = (speed_along(BENCH, points, speed_mm_per_s=150.0) for points in (corners, pieces))
    assert parts.at_mm_per_s[::6] == pytest.approx(whole.at_mm_per_s, rel=2e-3)  # directions off by 1 µm in 0.1 mm
    assert float(parts.times_s().sum()) == pytest.approx(float(whole.times_s().sum()), rel=1e-3)


def test_rounding_makes_no_bends_and_a_corner_is_kept() -> None:
    slant = np.round(np.outer(np.linspace(0.0, 1.0, 200), [7.0, 3.0]), 3)
    assert bends_at(slant).tolist() == [0, 199]
    bent = np.vstack([slant, slant[-2::-1] * (1.0, -1.0) + (0.0, 6.0)])
    assert bends_at(bent).tolist() == [0, 199, 398]
    there_and_back = np.array([[0.0, 0.0], [5.0, 0.0], [2.0, 0.0]])
    assert bends_at(there_and_back).tolist() == [0, 1, 2]


def test_points_as_dense_as_rounding_do_not_hide_a_curve() -> None:
    """A circle of 2 mm in 3000 places, 4 µm apart: its radius is still seen."""
    angles = np.linspace(0.0, 2.0 * math.pi, 3000)
    dense = np.round(50.0 + 2.0 * np.stack([np.cos(angles), np.sin(angles)], axis=1), 3)
    dense = dense[np.concatenate(([True], (np.diff(dense, axis=0) != 0.0).any(axis=1)))]
    speeds = speed_along(BENCH, dense, speed_mm_per_s=400.0)
    v = math.sqrt(3000.0 * 2.0)  # √(a r) = 77 mm/s
    # rounding moves places by 0.7 µm, on chords that leave the circle by about 2 µm
    assert float(speeds.times_s().sum()) == pytest.approx(4.0 * math.pi / v + v / 3000.0, rel=0.08)


def test_no_speed_step_is_steeper_than_the_acceleration() -> None:
    rng = np.random.default_rng(8)
    points = np.cumsum(rng.normal(0.0, 1.0, (300, 2)), axis=0)
    speeds = speed_along(BENCH, points, speed_mm_per_s=200.0)
    steps = np.abs(np.diff(speeds.at_mm_per_s**2)) / (2.0 * speeds.length_mm)
    assert (steps <= speeds.accel_mm_per_s2 * (1.0 + 1e-9)).all()
    assert (speeds.at_mm_per_s[[0, -1]] == 0.0).all()
    assert (speeds.peak_mm_per_s <= 200.0).all()
    times = speeds.times_s()
    assert (times >= speeds.length_mm / speeds.peak_mm_per_s * (1.0 - 1e-9)).all()


def test_limited_jerk_is_slower_along_bends_too() -> None:
    points = circle(6.0, flatness=0.01)
    free, soft, softer = (
        float(speed_along(machine(jerk_mm_per_s3=j), points, speed_mm_per_s=120.0).times_s().sum())
        for j in (None, 1e6, 1e4)
    )
    assert free < soft < softer
