"""The clock: machine time of a stream of events, and a bound that no plan can beat."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from evenburn.core.motion.path_speed import speed_along
from evenburn.core.motion.profile import move_time_s, time_to_speed_s
from evenburn.core.nouns.events import Dwell, Event, Sweep, Trace, Travel
from evenburn.core.nouns.machine import Machine
from evenburn.core.nouns.mark import Axis

FloatArray = NDArray[np.float64]


def accel_mm_per_s2(machine: Machine, *, axis: Axis) -> float:
    """Return the acceleration along an axis. [mm/s²] Definition."""
    return machine.accel_x_mm_per_s2 if axis == "x" else machine.accel_y_mm_per_s2


def travel_time_s(machine: Machine, *, dx_mm: float, dy_mm: float) -> float:
    """Return the time of a rapid in a straight line, from rest to rest. [s]

    Source
    ------
    [biagiotti2008], 3.2 and 3.4 along the line, each axis within its own acceleration.
    """
    length_mm = float(np.hypot(dx_mm, dy_mm))
    if length_mm == 0.0:
        return 0.0
    limits = [
        limit * length_mm / abs(part)
        for part, limit in ((dx_mm, machine.accel_x_mm_per_s2), (dy_mm, machine.accel_y_mm_per_s2))
        if part != 0.0
    ]
    return float(
        move_time_s(
            length_mm,
            speed_mm_per_s=machine.rapid_mm_per_s,
            accel_mm_per_s2=min(limits),
            jerk_mm_per_s3=machine.jerk_mm_per_s3,
        )
    )


def sweep_time_s(machine: Machine, sweep: Sweep) -> float:
    """Return the time of one sweep, from rest to rest, with the controller's overhead. [s] Source: `move_time_s`."""
    return machine.line_overhead_s + float(
        move_time_s(
            sweep.end_mm - sweep.start_mm,
            speed_mm_per_s=sweep.speed_mm_per_s,
            accel_mm_per_s2=accel_mm_per_s2(machine, axis=sweep.axis),
            jerk_mm_per_s3=machine.jerk_mm_per_s3,
        )
    )


def trace_times_s(machine: Machine, trace: Trace) -> FloatArray:
    """Return the time of each piece of a followed path, (N,). [s] Source: `speed_along`."""
    return speed_along(machine, trace.points_mm, speed_mm_per_s=trace.speed_mm_per_s).times_s()


def program_time_s(machine: Machine, events: Iterable[Event]) -> float:
    """Return machine time from the head's arrival at the first point to its last rest. [s]

    Source
    ------
    Own derivation: the sum over the events; where the head stands before the first is not known and not counted.
    """
    total_s = 0.0
    at: tuple[float, float] | None = None
    for event in events:
        if isinstance(event, Travel):
            if at is not None:
                total_s += travel_time_s(machine, dx_mm=event.to_mm[0] - at[0], dy_mm=event.to_mm[1] - at[1])
            at = event.to_mm
        elif isinstance(event, Sweep):
            total_s += sweep_time_s(machine, event)
            at = (event.end_mm, event.cross_mm) if event.axis == "x" else (event.cross_mm, event.end_mm)
        elif isinstance(event, Trace):
            total_s += machine.line_overhead_s + float(trace_times_s(machine, event).sum())
            at = (float(event.points_mm[-1, 0]), float(event.points_mm[-1, 1]))
        elif isinstance(event, Dwell):
            total_s += event.time_s
    return total_s


def time_lower_bound_s(machine: Machine, events: Sequence[Event]) -> float:
    """Return a time that no program burning the same lines at the same speed can beat. [s]

    Each burnt stretch takes its length over the speed. A gap inside a line takes at least its length over the faster of
    speed and rapid, or else the line is burnt in two goes, which costs another turn. A turn takes at least 2 v/a. Paths
    that are followed take at least their burnt length over the speed and, where nothing else is burnt, what a straight
    move of that length loses by starting and stopping at the greatest acceleration of any direction; corners are given
    away.

    Source
    ------
    Own derivation, docs/how-it-works/motion.md.
    """
    alone = not any(isinstance(event, Sweep) for event in events)
    total_s = _followed_bound_s(machine, [event for event in events if isinstance(event, Trace)], alone=alone)
    last: tuple[float, float] | None = None
    for event in events:
        if not isinstance(event, Sweep):
            continue
        v, a = event.speed_mm_per_s, accel_mm_per_s2(machine, axis=event.axis)
        lengths = np.abs(np.diff(event.edges_mm))
        on = event.power_W > 0.0
        turn_s = 2.0 * v / a + machine.line_overhead_s
        gaps_s = np.minimum(lengths[~on] / max(v, machine.rapid_mm_per_s), turn_s)
        total_s += float(lengths[on].sum()) / v + float(gaps_s.sum()) + machine.line_overhead_s
        total_s += 2.0 * v / a if last is not None else 0.0
        last = (v, a)
    if last is None:
        return total_s
    v, a = last
    return total_s + 2.0 * float(time_to_speed_s(v, accel_mm_per_s2=a, jerk_mm_per_s3=machine.jerk_mm_per_s3))


def _followed_bound_s(machine: Machine, traces: Sequence[Trace], *, alone: bool) -> float:
    """Return what burning along paths takes at least: as if all of it were one straight line, from rest to rest. [s]"""
    burnt = [
        (float(np.hypot(*np.diff(trace.points_mm, axis=0)[trace.power_W > 0.0].T).sum()), trace.speed_mm_per_s)
        for trace in traces
    ]
    length_mm = sum(length for length, _ in burnt)
    if length_mm == 0.0:
        return 0.0
    at_speed_s = sum(length / speed for length, speed in burnt)
    if not alone:
        return at_speed_s
    slowest = min(speed for length, speed in burnt if length > 0.0)
    greatest = float(np.hypot(machine.accel_x_mm_per_s2, machine.accel_y_mm_per_s2))  # both axes at once
    whole_s = float(move_time_s(length_mm, speed_mm_per_s=slowest, accel_mm_per_s2=greatest, jerk_mm_per_s3=None))
    lost_s = whole_s - length_mm / slowest
    return machine.line_overhead_s + at_speed_s + lost_s
