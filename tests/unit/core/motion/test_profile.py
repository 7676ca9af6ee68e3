"""Run-up and its inverse, and moves too short for their speed; published numbers stand in tests/published."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from evenburn.core.motion.profile import move_time_s, run_up_mm, speed_within_mm_per_s, time_to_speed_s

JERKS = pytest.mark.parametrize("jerk", [None, 1e5, 3e4], ids=["trapezoid", "jerk 1e5", "jerk 3e4"])


@JERKS
@pytest.mark.parametrize("speed", [1.0, 40.0, 250.0, 600.0, 1500.0])
def test_the_speed_within_a_run_up_is_the_speed_run_up_to(jerk: float | None, speed: float) -> None:
    room = float(run_up_mm(speed, accel_mm_per_s2=5000.0, jerk_mm_per_s3=jerk))
    assert speed_within_mm_per_s(room, accel_mm_per_s2=5000.0, jerk_mm_per_s3=jerk) == pytest.approx(speed, rel=1e-9)


@JERKS
@pytest.mark.parametrize("room", [0.0, -3.0])
def test_without_room_there_is_no_speed(jerk: float | None, room: float) -> None:
    assert speed_within_mm_per_s(room, accel_mm_per_s2=5000.0, jerk_mm_per_s3=jerk) == 0.0


@JERKS
def test_moves_join_without_a_step_where_the_speed_is_just_reached(jerk: float | None) -> None:
    twice = 2.0 * float(run_up_mm(300.0, accel_mm_per_s2=5000.0, jerk_mm_per_s3=jerk))
    just_below, just_above = move_time_s(
        [twice * (1.0 - 1e-12), twice * (1.0 + 1e-12)],
        speed_mm_per_s=300.0,
        accel_mm_per_s2=5000.0,
        jerk_mm_per_s3=jerk,
    )
    assert just_below == pytest.approx(just_above, rel=1e-9)
    both_ramps_s = 2.0 * float(time_to_speed_s(300.0, accel_mm_per_s2=5000.0, jerk_mm_per_s3=jerk))
    assert just_above == pytest.approx(both_ramps_s, rel=1e-9)


@JERKS
def test_either_way_takes_the_same_and_standing_still_takes_none(jerk: float | None) -> None:
    forth, back, none = move_time_s(
        np.array([7.0, -7.0, 0.0]), speed_mm_per_s=300.0, accel_mm_per_s2=5000.0, jerk_mm_per_s3=jerk
    )
    assert forth == back
    assert none == 0.0


def test_a_short_move_without_jerk_peaks_half_way() -> None:
    assert float(move_time_s(5.0, speed_mm_per_s=600.0, accel_mm_per_s2=5000.0, jerk_mm_per_s3=None)) == pytest.approx(
        2.0 * math.sqrt(5.0 / 5000.0), rel=1e-12
    )


@JERKS
def test_no_move_takes_less_than_its_distance_at_top_speed(jerk: float | None) -> None:
    distances = np.geomspace(1e-4, 500.0, 300)
    times = move_time_s(distances, speed_mm_per_s=300.0, accel_mm_per_s2=5000.0, jerk_mm_per_s3=jerk)
    assert (times >= distances / 300.0).all()
    assert (np.diff(times) > 0.0).all()


@JERKS
@pytest.mark.parametrize("shape", [(0,), (1,), (2, 3)])
def test_shapes_are_kept_and_what_is_not_known_stays_unknown(jerk: float | None, shape: tuple[int, ...]) -> None:
    ways = np.full(shape, 40.0)
    limits: dict[str, Any] = {"accel_mm_per_s2": 5000.0, "jerk_mm_per_s3": jerk}
    assert move_time_s(ways, speed_mm_per_s=300.0, **limits).shape == shape
    assert run_up_mm(ways, **limits).shape == shape
    assert time_to_speed_s(ways, **limits).shape == shape
    for values in (
        move_time_s([math.nan, 40.0], speed_mm_per_s=300.0, **limits),
        run_up_mm([math.nan, 40.0], **limits),
        time_to_speed_s([math.nan, 40.0], **limits),
    ):
        assert np.isnan(values).tolist() == [True, False]


@JERKS
def test_no_speed_needs_neither_time_nor_way(jerk: float | None) -> None:
    assert float(time_to_speed_s(0.0, accel_mm_per_s2=5000.0, jerk_mm_per_s3=jerk)) == 0.0
    assert float(run_up_mm(0.0, accel_mm_per_s2=5000.0, jerk_mm_per_s3=jerk)) == 0.0
