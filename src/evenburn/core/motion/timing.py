"""The clock: machine time of a stream of events, and a bound that no plan can beat."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from evenburn.core.motion.profile import move_time_s, time_to_speed_s
from evenburn.core.nouns.events import Dwell, Event, Sweep, Travel
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
        elif isinstance(event, Dwell):
            total_s += event.time_s
    return total_s


def time_lower_bound_s(machine: Machine, events: Sequence[Event]) -> float:
    """Return a time that no program burning the same lines at the same speed can beat. [s]

    Each burnt stretch takes its length over the speed. A gap inside a line takes at least its length over the faster of
    speed and rapid, or else the line is burnt in two goes, which costs another turn. A turn takes at least 2 v/a.

    Source
    ------
    Own derivation, docs/how-it-works/motion.md.
    """
    total_s = 0.0
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
        return 0.0
    v, a = last
    return total_s + 2.0 * float(time_to_speed_s(v, accel_mm_per_s2=a, jerk_mm_per_s3=machine.jerk_mm_per_s3))
