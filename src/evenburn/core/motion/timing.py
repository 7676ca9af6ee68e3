"""The clock: machine time of a stream of events, and a bound that no plan can beat."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from evenburn.core.motion.path_speed import PathSpeed, speed_along
from evenburn.core.motion.profile import move_time_s, run_up_mm, time_to_speed_s
from evenburn.core.nouns.events import Dwell, Event, Sweep, Trace, Travel
from evenburn.core.nouns.machine import Machine
from evenburn.core.nouns.mark import Axis

FloatArray = NDArray[np.float64]

ROUNDING = 1e-3  # of that, for what binary fractions are off
SAME_LINE_mm = 1e-6  # places nearer than this are one place; a program writes 1 µm


def accel_mm_per_s2(machine: Machine, *, axis: Axis) -> float:
    """Return the acceleration along an axis. [mm/s²] Definition."""
    return machine.accel_x_mm_per_s2 if axis == "x" else machine.accel_y_mm_per_s2


def lead_mm(machine: Machine, *, speed_mm_per_s: float) -> float:
    """Return by how much edges are commanded before they are to fall. [mm]

    Source
    ------
    Own derivation: a first-order response delays its centre by its time constant; docs/how-it-works/motion.md.
    """
    return speed_mm_per_s * machine.rise_time_s + 0.5 * machine.reversal_offset_mm


def travel_time_s(machine: Machine, *, dx_mm: float, dy_mm: float) -> float:
    """Return the time of a rapid in a straight line, from rest to rest. [s]

    Source
    ------
    [biagiotti2008], 3.2 and 3.4 along the line, each axis within its own acceleration.
    """
    return _travel_time_s(
        dx_mm,
        dy_mm,
        rapid_mm_per_s=machine.rapid_mm_per_s,
        accel_x_mm_per_s2=machine.accel_x_mm_per_s2,
        accel_y_mm_per_s2=machine.accel_y_mm_per_s2,
        jerk_mm_per_s3=machine.jerk_mm_per_s3,
    )


@lru_cache(maxsize=16384)  # the same step is made from line to line
def _travel_time_s(
    dx_mm: float,
    dy_mm: float,
    *,
    rapid_mm_per_s: float,
    accel_x_mm_per_s2: float,
    accel_y_mm_per_s2: float,
    jerk_mm_per_s3: float | None,
) -> float:
    length_mm = math.hypot(dx_mm, dy_mm)
    if length_mm == 0.0:
        return 0.0
    limits = [
        limit * length_mm / abs(part)
        for part, limit in ((dx_mm, accel_x_mm_per_s2), (dy_mm, accel_y_mm_per_s2))
        if part != 0.0
    ]
    return float(
        move_time_s(
            length_mm,
            speed_mm_per_s=rapid_mm_per_s,
            accel_mm_per_s2=min(limits),
            jerk_mm_per_s3=jerk_mm_per_s3,
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


def _lit_stretches(speeds: PathSpeed, power_W: FloatArray) -> int:
    """Return how many stretches of a path, from rest to rest, burn somewhere."""
    first = np.flatnonzero(speeds.at_mm_per_s[:-1] == 0.0)
    return int(np.count_nonzero(np.maximum.reduceat(power_W, first) > 0.0))


def program_time_s(machine: Machine, events: Iterable[Event]) -> float:
    """Return machine time from the head's arrival at the first point to its last rest. [s]

    Source
    ------
    Own derivation: the sum over the events; where the head stands before the first is not known and not counted.
    """
    total_s = 0.0
    at: tuple[float, float] | None = None
    swept: dict[tuple[Axis, float], list[float]] = {}  # lengths of alike sweeps, reckoned together
    ways: dict[tuple[float, float], float] = {}  # most steps from line to line are the same
    for event in events:
        if isinstance(event, Travel):
            if at is not None:
                way = (round(event.to_mm[0] - at[0], 9), round(event.to_mm[1] - at[1], 9))
                if way not in ways:
                    ways[way] = travel_time_s(machine, dx_mm=way[0], dy_mm=way[1])
                total_s += ways[way]
            at = event.to_mm
        elif isinstance(event, Sweep):
            swept.setdefault((event.axis, event.speed_mm_per_s), []).append(event.end_mm - event.start_mm)
            at = (event.end_mm, event.cross_mm) if event.axis == "x" else (event.cross_mm, event.end_mm)
        elif isinstance(event, Trace):
            speeds = speed_along(machine, event.points_mm, speed_mm_per_s=event.speed_mm_per_s)
            lines = _lit_stretches(speeds, event.power_W)
            total_s += lines * machine.line_overhead_s + float(speeds.times_s().sum())
            at = (float(event.points_mm[-1, 0]), float(event.points_mm[-1, 1]))
        elif isinstance(event, Dwell):
            total_s += event.time_s
    for (axis, speed), lengths in swept.items():
        times = move_time_s(
            np.array(lengths),
            speed_mm_per_s=speed,
            accel_mm_per_s2=accel_mm_per_s2(machine, axis=axis),
            jerk_mm_per_s3=machine.jerk_mm_per_s3,
        )
        total_s += len(lengths) * machine.line_overhead_s + float(times.sum())
    return total_s


def time_lower_bound_s(machine: Machine, events: Sequence[Event]) -> float:
    """Return a time that no program of sweeps and rapids burning the same lines at the same speed can beat. [s]

    Each burnt stretch takes its length over the speed; each line at least one sweep with its two ramps and the overhead.
    A gap inside a line is either passed at the speed of the line or costs one more sweep and a way to it. All lines are
    visited, so at least the steps between neighbours are travelled. Paths that are followed take at least their burnt
    length over the speed and, where nothing else is burnt, what a straight move of that length loses by starting and
    stopping at the greatest acceleration of any direction; corners are given away.

    Source
    ------
    Own derivation, docs/how-it-works/motion.md: steps by the least spanning tree of the lines, a bound for every tour.
    """
    sweeps = [event for event in events if isinstance(event, Sweep)]
    traces = [event for event in events if isinstance(event, Trace)]
    total_s = _followed_bound_s(machine, traces, alone=not sweeps)
    groups: dict[tuple[Axis, float], list[Sweep]] = {}
    for sweep in sweeps:
        groups.setdefault((sweep.axis, sweep.speed_mm_per_s), []).append(sweep)
    alone = len(groups) == 1 and not traces  # else the head gets about while it burns something else
    return total_s + sum(_swept_bound_s(machine, group, alone=alone) for group in groups.values())


def _swept_bound_s(machine: Machine, sweeps: Sequence[Sweep], *, alone: bool) -> float:
    """Return the bound for sweeps along one axis at one speed; `alone` when nothing else is burnt in between. [s]"""
    axis, speed = sweeps[0].axis, sweeps[0].speed_mm_per_s
    accel, jerk = accel_mm_per_s2(machine, axis=axis), machine.jerk_mm_per_s3
    room_mm = float(run_up_mm(speed, accel_mm_per_s2=accel, jerk_mm_per_s3=jerk))
    each_s = 2.0 * float(time_to_speed_s(speed, accel_mm_per_s2=accel, jerk_mm_per_s3=jerk)) + machine.line_overhead_s
    lines: dict[int, list[Sweep]] = {}
    for sweep in sweeps:
        lines.setdefault(round(sweep.cross_mm / SAME_LINE_mm), []).append(sweep)
    crosses_mm = np.sort(np.array([group[0].cross_mm for group in lines.values()]))
    spacings_mm = np.diff(crosses_mm)
    unlike, which = np.unique(np.floor(spacings_mm / SAME_LINE_mm + ROUNDING) * SAME_LINE_mm, return_inverse=True)
    steps_s = np.array(
        [travel_time_s(machine, dx_mm=d if axis == "y" else 0.0, dy_mm=d if axis == "x" else 0.0) for d in unlike]
    )
    total_s = float(steps_s[which].sum()) if alone else 0.0
    step_s = float(steps_s.min()) if alone and steps_s.size else 0.0
    gaps_mm: list[FloatArray] = []
    for group in lines.values():
        burnt_mm, union_mm, gaps = _coverage_mm(machine, group)
        if burnt_mm == 0.0:
            continue
        times = max(1, int(burnt_mm / union_mm + 1e-6))
        total_s += burnt_mm / speed + times * each_s
        gaps_mm += [gaps] * times
        step_s = step_s if times == 1 else 0.0  # a line may be burnt to and fro without a step
    if not gaps_mm:
        return total_s
    gaps_mm_all = np.concatenate(gaps_mm)
    past_mm = gaps_mm_all - 2.0 * room_mm
    along_s = np.where(past_mm >= 0.0, past_mm / max(speed, machine.rapid_mm_per_s), 0.0)
    again_s = each_s + np.minimum(step_s, along_s)
    return total_s + float(np.minimum(gaps_mm_all / speed, again_s).sum())


def _coverage_mm(machine: Machine, sweeps: Sequence[Sweep]) -> tuple[float, float, FloatArray]:
    """Return burnt length, length burnt at least once, and the gaps between, of all sweeps on one line. [mm]

    The lead shifts both ways apart by a little; edges nearer than that are taken as the same.
    """
    begins, ends = [], []
    for sweep in sweeps:
        shift = lead_mm(machine, speed_mm_per_s=sweep.speed_mm_per_s)
        shift = shift if sweep.end_mm > sweep.start_mm else -shift
        low, high = (
            np.minimum(sweep.edges_mm[:-1], sweep.edges_mm[1:]),
            np.maximum(sweep.edges_mm[:-1], sweep.edges_mm[1:]),
        )
        on = sweep.power_W > 0.0
        begins.append(low[on] + shift)
        ends.append(high[on] + shift)
    begin, end = np.concatenate(begins), np.concatenate(ends)
    if begin.size == 0:
        return 0.0, 0.0, np.empty(0)
    order = np.argsort(begin)
    begin, end = begin[order], end[order]
    reached = np.maximum.accumulate(end)
    free = begin[1:] - reached[:-1]
    gaps = free[free > SAME_LINE_mm]
    return float((end - begin).sum()), float(reached[-1] - begin[0] - gaps.sum()), gaps


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
