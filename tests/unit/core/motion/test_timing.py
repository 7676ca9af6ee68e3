"""The clock, event by event and by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from evenburn.core.motion.timing import (
    accel_mm_per_s2,
    program_time_s,
    sweep_time_s,
    time_lower_bound_s,
    travel_time_s,
)
from evenburn.core.nouns.events import Comment, Dwell, Event, Sweep, Trace, Travel
from evenburn.core.nouns.mark import Axis
from unit.core.examples import machine

BENCH = machine()  # 5000 and 3000 mm/s², rapids at 600 mm/s


def line(*, start: float, end: float, cross: float = 0.0, axis: Axis = "x", speed: float = 300.0) -> Sweep:
    """Return a sweep that burns all but 20 mm at either end."""
    sign = 1.0 if end > start else -1.0
    return Sweep(
        axis=axis,
        cross_mm=cross,
        start_mm=start,
        end_mm=end,
        speed_mm_per_s=speed,
        edges_mm=np.array([start + sign * 20.0, end - sign * 20.0]),
        power_W=np.array([30.0]),
    )


def test_a_program_takes_what_its_parts_take_by_hand() -> None:
    events: list[Event] = [
        Comment(text="crew"),
        Travel(to_mm=(0.0, 0.0)),  # from an unknown place: not counted
        line(start=0.0, end=100.0),
        Travel(to_mm=(100.0, 0.3)),
        Dwell(time_s=1.5),
        line(start=100.0, end=0.0, cross=0.3),
    ]
    one_line_s = 100.0 / 300.0 + 300.0 / 5000.0  # L/v + v/a, Biagiotti & Melchiorri 3.2
    step_s = 2.0 * math.sqrt(0.3 / 3000.0)  # too short to reach 600 mm/s
    assert program_time_s(BENCH, events) == pytest.approx(2.0 * one_line_s + step_s + 1.5, rel=1e-12)


def test_overhead_is_paid_for_every_line() -> None:
    events = [line(start=0.0, end=100.0), line(start=100.0, end=0.0)]
    slower = machine(line_overhead_s=0.05)
    assert program_time_s(slower, events) - program_time_s(BENCH, events) == pytest.approx(0.1, abs=1e-12)


def test_an_empty_program_takes_no_time() -> None:
    assert program_time_s(BENCH, []) == 0.0
    assert time_lower_bound_s(BENCH, []) == 0.0
    assert time_lower_bound_s(BENCH, [Travel(to_mm=(1.0, 1.0)), Dwell(time_s=3.0)]) == 0.0


def test_a_rapid_from_the_end_of_a_line_along_y_starts_there() -> None:
    events: list[Event] = [line(start=0.0, end=80.0, cross=40.0, axis="y"), Travel(to_mm=(40.0, 380.0))]
    on_y_s = 300.0 / 600.0 + 600.0 / 3000.0  # 300 mm straight on, at full rapid
    assert program_time_s(BENCH, events) == pytest.approx(80.0 / 300.0 + 300.0 / 3000.0 + on_y_s, rel=1e-12)


def test_a_diagonal_rapid_keeps_each_axis_within_its_own_acceleration() -> None:
    # 3-4-5: along the line 5000/0.6 and 3000/0.8 = 3750 mm/s², the lesser counts
    assert travel_time_s(BENCH, dx_mm=300.0, dy_mm=400.0) == pytest.approx(500.0 / 600.0 + 600.0 / 3750.0, rel=1e-12)
    assert travel_time_s(BENCH, dx_mm=-300.0, dy_mm=-400.0) == travel_time_s(BENCH, dx_mm=300.0, dy_mm=400.0)
    assert travel_time_s(BENCH, dx_mm=0.0, dy_mm=0.0) == 0.0


def test_a_rapid_with_limited_jerk_takes_longer() -> None:
    jerky = machine(jerk_mm_per_s3=1e5)
    # T = L/v + v/a + a/j for a long move, [biagiotti2008], 3.4
    assert travel_time_s(jerky, dx_mm=500.0, dy_mm=0.0) == pytest.approx(
        500.0 / 600.0 + 600.0 / 5000.0 + 5000.0 / 1e5, rel=1e-12
    )


def test_each_axis_has_its_own_acceleration() -> None:
    assert (accel_mm_per_s2(BENCH, axis="x"), accel_mm_per_s2(BENCH, axis="y")) == (5000.0, 3000.0)
    along_x, along_y = (sweep_time_s(BENCH, line(start=0.0, end=100.0, axis=axis)) for axis in ("x", "y"))
    assert along_y - along_x == pytest.approx(300.0 / 3000.0 - 300.0 / 5000.0, rel=1e-9)


def test_lower_bound_by_hand_counts_burning_gaps_turns_and_ends() -> None:
    """One line burnt twice, 40 mm on, 20 mm off, 10 mm on at 200 mm/s: a second sweep is quicker than the gap."""
    bench = machine(line_overhead_s=0.01)
    sweep = Sweep(
        axis="x",
        cross_mm=0.0,
        start_mm=0.0,
        end_mm=78.0,
        speed_mm_per_s=200.0,
        edges_mm=np.array([4.0, 44.0, 64.0, 74.0]),
        power_W=np.array([30.0, 0.0, 30.0]),
    )
    turn_s = 2.0 * 200.0 / 5000.0 + 0.01
    assert turn_s < 20.0 / 200.0
    by_hand = 2.0 * (50.0 / 200.0 + turn_s + turn_s)
    assert time_lower_bound_s(bench, [sweep, sweep]) == pytest.approx(by_hand, rel=1e-12)


def bars(*, apart_mm: float, lines: int) -> list[Event]:
    """Return lines over two bars 10 mm wide, forth and back, run-up v²/2a = 9 mm, stepping 0.1 mm."""
    events: list[Event] = []
    for index in range(lines):
        edges = 100.0 + np.array([0.0, 10.0, 10.0 + apart_mm, 20.0 + apart_mm])
        sign = 1.0 if index % 2 == 0 else -1.0
        edges = edges if sign > 0.0 else edges[::-1]
        sweep = Sweep(
            axis="x",
            cross_mm=0.1 * index,
            start_mm=float(edges[0]) - sign * 9.0,
            end_mm=float(edges[-1]) + sign * 9.0,
            speed_mm_per_s=300.0,
            edges_mm=edges,
            power_W=np.array([30.0, 0.0, 30.0]),
        )
        events += [Travel(to_mm=(sweep.start_mm, sweep.cross_mm)), sweep]
    return events


@pytest.mark.parametrize("overhead_s", [0.0, 0.01])
def test_lower_bound_by_hand_leaves_a_wide_gap_to_a_second_go(overhead_s: float) -> None:
    """Two bars 380 mm apart, 200 lines: over the gap 380/300 s; another sweep 2 · 300/5000 s, its overhead and a step."""
    events = bars(apart_mm=380.0, lines=200)
    step_s = 2.0 * (0.1 / 3000.0) ** 0.5  # 0.1 mm from rest to rest, [biagiotti2008] 3.2
    each_s = 20.0 / 300.0 + (0.12 + overhead_s) + (0.12 + overhead_s + step_s)
    by_hand = 200 * each_s + 199 * step_s
    bench = machine(line_overhead_s=overhead_s)
    assert time_lower_bound_s(bench, events) == pytest.approx(by_hand, rel=1e-9)
    if overhead_s == 0.0:
        assert by_hand == pytest.approx(66.0, abs=0.5)  # docs/how-it-works/motion.md
        assert program_time_s(bench, events) == pytest.approx(293.0, abs=0.5)  # and so does this


def test_lower_bound_of_a_gap_changes_from_its_length_to_a_turn_where_they_are_equal() -> None:
    # 36 mm at 300 mm/s are the 0.12 s of a turn
    bounds = [time_lower_bound_s(BENCH, bars(apart_mm=gap, lines=1)) for gap in (18.0, 36.0, 72.0)]
    assert np.diff(bounds) == pytest.approx([0.06, 0.0], abs=1e-12)


def test_a_single_line_without_gaps_reaches_its_lower_bound() -> None:
    sweep = Sweep(
        axis="x",
        cross_mm=0.0,
        start_mm=10.0,
        end_mm=10.0 + 9.0 + 50.0 + 9.0,  # run-up v²/2a = 9 mm
        speed_mm_per_s=300.0,
        edges_mm=np.array([19.0, 69.0]),
        power_W=np.array([30.0]),
    )
    assert time_lower_bound_s(BENCH, [sweep]) == pytest.approx(program_time_s(BENCH, [sweep]), rel=1e-12)


def trace(points: list[tuple[float, float]], *, power: list[float] | None = None, speed: float = 100.0) -> Trace:
    return Trace(
        points_mm=np.array(points, dtype=np.float64),
        speed_mm_per_s=speed,
        power_W=np.array([20.0] * (len(points) - 1) if power is None else power),
    )


def test_a_followed_path_takes_its_pieces_and_one_overhead_and_the_head_stands_at_its_end() -> None:
    events: list[Event] = [
        Travel(to_mm=(0.0, 0.0)),
        trace([(0.0, 0.0), (20.0, 0.0), (20.0, 20.0)]),
        Travel(to_mm=(20.0, 320.0)),
    ]
    corner = math.sqrt(
        3000.0 * 0.02 * (1.0 + math.sqrt(2.0))
    )  # a right angle, tests/unit/core/motion/test_path_speed.py
    # [biagiotti2008], 3.2 with a speed at one end: L/v + (v − v1)²/(2 a v) there, v/(2 a) at the end at rest
    sides_s = sum(
        20.0 / 100.0 + (100.0 - corner) ** 2 / (2.0 * a * 100.0) + 100.0 / (2.0 * a) for a in (5000.0, 3000.0)
    )
    rapid_s = 300.0 / 600.0 + 600.0 / 3000.0
    assert program_time_s(BENCH, events) == pytest.approx(sides_s + rapid_s, rel=1e-12)
    slower = machine(line_overhead_s=0.05)
    assert program_time_s(slower, events) - program_time_s(BENCH, events) == pytest.approx(0.05, abs=1e-12)


def test_lower_bound_of_followed_paths_by_hand() -> None:
    """80 mm burnt of 100 mm, at 100 mm/s; on a slant both axes together give √(5000² + 3000²) = 5831 mm/s²."""
    events: list[Event] = [
        trace([(0.0, 0.0), (50.0, 0.0), (60.0, 0.0), (60.0, 20.0)], power=[20.0, 0.0, 20.0]),
        trace([(0.0, 50.0), (10.0, 50.0), (20.0, 50.0)], power=[20.0, 0.0]),
    ]
    bench = machine(line_overhead_s=0.01)
    by_hand = 80.0 / 100.0 + 100.0 / math.hypot(5000.0, 3000.0) + 0.01
    assert time_lower_bound_s(bench, events) == pytest.approx(by_hand, rel=1e-12)
    assert by_hand <= program_time_s(bench, events)


def test_one_short_straight_burn_on_both_axes_at_once_reaches_its_lower_bound() -> None:
    ends = [(0.0, 0.0), (0.5, 0.3)]  # in the direction of (5000, 3000) both axes give all they have
    assert time_lower_bound_s(BENCH, [trace(ends)]) == pytest.approx(program_time_s(BENCH, [trace(ends)]), rel=1e-12)


def test_a_path_that_never_fires_is_not_bound_to_take_any_time() -> None:
    assert time_lower_bound_s(BENCH, [trace([(0.0, 0.0), (9.0, 0.0)], power=[0.0])]) == 0.0


def test_sweeps_and_paths_together_are_bound_by_both() -> None:
    sweep, path = line(start=0.0, end=100.0), trace([(0.0, 50.0), (30.0, 50.0)])
    both = time_lower_bound_s(BENCH, [sweep, path])
    assert both == pytest.approx(time_lower_bound_s(BENCH, [sweep]) + 30.0 / 100.0, rel=1e-12)
