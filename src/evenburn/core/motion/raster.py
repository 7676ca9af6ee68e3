"""From a picture of powers to motion events: lines trimmed to what they burn, empty lines skipped, both directions.

The laser answers late by its rise time, so each edge is commanded early by v τ; lines burnt the other way round
additionally lead by half the machine's reversal offset. Forward and backward lines then meet.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from evenburn.core.motion.profile import run_up_mm
from evenburn.core.motion.timing import accel_mm_per_s2, lead_mm, travel_time_s
from evenburn.core.nouns.events import Event, Sweep, Travel
from evenburn.core.nouns.machine import Machine
from evenburn.core.nouns.mark import Axis, Direction

FloatArray = NDArray[np.float64]


def room_needed_mm(machine: Machine, *, axis: Axis, speed_mm_per_s: float) -> float:
    """Return the distance needed on both sides of a mark along the scan axis: run-up and lead. [mm] Definition."""
    return float(
        run_up_mm(
            speed_mm_per_s,
            accel_mm_per_s2=accel_mm_per_s2(machine, axis=axis),
            jerk_mm_per_s3=machine.jerk_mm_per_s3,
        )
    ) + abs(lead_mm(machine, speed_mm_per_s=speed_mm_per_s))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Patch:
    """A picture of powers with its place: rows are lines, the lowest first; pixels run in the + direction of the axis.

    Attributes
    ----------
    power_W : (lines, pixels) power on the work; 0 is off. [W]
    along_origin_mm, cross_origin_mm : lower edges on the bed; lines lie in the middle of their row. [mm]
    """

    power_W: NDArray[np.float32]
    along_origin_mm: float
    cross_origin_mm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Line:
    """What one line burns, from its first burnt place to its last, in the + direction of the axis.

    Attributes
    ----------
    cross_mm : its place on the other axis. [mm]
    edges_mm : (N+1,) places where the power changes, rising. [mm]
    power_W : (N,) power from each edge to the next; 0 is off. [W]
    """

    cross_mm: float
    edges_mm: FloatArray
    power_W: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Run:
    """Lines burnt one after another; `forward` says whether the first of them goes in the + direction."""

    lines: tuple[Line, ...]
    forward: bool


def line_of_row(row: NDArray[np.float32], *, cross_mm: float, along_origin_mm: float, pixel_mm: float) -> Line:
    """Return the line that burns a row of pixels, trimmed to its first and last burnt one. Definition."""
    burnt = np.flatnonzero(row > 0.0)
    first, last = int(burnt[0]), int(burnt[-1]) + 1
    part = row[first:last]
    changes = np.flatnonzero(part[1:] != part[:-1]) + 1
    edges = np.concatenate(([0], changes, [last - first])) + first
    return Line(
        cross_mm=cross_mm,
        edges_mm=along_origin_mm + edges.astype(np.float64) * pixel_mm,
        power_W=part[edges[:-1] - first].astype(np.float64),
    )


def lines_of(patch: Patch, *, line_spacing_mm: float) -> tuple[Line, ...]:
    """Return the lines of a picture, the lowest first, empty ones left out. Definition."""
    return tuple(
        line_of_row(
            patch.power_W[index],
            cross_mm=patch.cross_origin_mm + (float(index) + 0.5) * line_spacing_mm,
            along_origin_mm=patch.along_origin_mm,
            pixel_mm=line_spacing_mm,
        )
        for index in np.flatnonzero((patch.power_W > 0.0).any(axis=1))
    )


def raster_events(
    machine: Machine,
    power_W: NDArray[np.float32],
    *,
    axis: Axis,
    along_origin_mm: float,
    cross_origin_mm: float,
    line_spacing_mm: float,
    speed_mm_per_s: float,
    passes: int,
    direction: Direction = "both ways",
) -> Iterator[Event]:
    """Yield the events that burn a picture of powers in one go, line after line, each trimmed to what it burns.

    Parameters
    ----------
    power_W, along_origin_mm, cross_origin_mm : as in `Patch`.

    Yields
    ------
    Travel and Sweep, whole picture after whole picture where there are several passes.
    """
    patch = Patch(power_W=power_W, along_origin_mm=along_origin_mm, cross_origin_mm=cross_origin_mm)
    lines = lines_of(patch, line_spacing_mm=line_spacing_mm)
    runs = [Run(lines=lines, forward=number * len(lines) % 2 == 0) for number in range(passes)]
    return run_events(machine, runs, axis=axis, speed_mm_per_s=speed_mm_per_s, direction=direction)


def run_events(
    machine: Machine, runs: Iterable[Run], *, axis: Axis, speed_mm_per_s: float, direction: Direction = "both ways"
) -> Iterator[Event]:
    """Yield the events that burn runs of lines, one after the other.

    Parameters
    ----------
    direction : "both ways" burns every second line on the way back; "one way" all of them in the + direction.

    Yields
    ------
    Travel and Sweep.
    """
    pending: Sweep | None = None
    at: tuple[float, float] | None = None
    for run in runs:
        forward = run.forward or direction == "one way"
        for line in run.lines:
            sweep = sweep_of(machine, line, axis=axis, speed_mm_per_s=speed_mm_per_s, forward=forward)
            if pending is not None:
                pending, sweep = _join_turn(machine, pending, sweep)
                yield from _arrive(pending, at)
                yield pending
                at = _rest(pending)
            pending = sweep
            forward = forward if direction == "one way" else not forward
    if pending is not None:
        yield from _arrive(pending, at)
        yield pending


def sweep_of(machine: Machine, line: Line, *, axis: Axis, speed_mm_per_s: float, forward: bool) -> Sweep:
    """Return the sweep that burns a line one way or the other: edges commanded early by the lead, run-up at both ends.

    Source
    ------
    `lead_mm`, `run_up_mm`.
    """
    sign = 1.0 if forward else -1.0
    room = _run_up_mm(speed_mm_per_s, accel_mm_per_s2(machine, axis=axis), machine.jerk_mm_per_s3)
    edges = line.edges_mm if forward else line.edges_mm[::-1]
    edges = edges - sign * lead_mm(machine, speed_mm_per_s=speed_mm_per_s)
    return Sweep(
        axis=axis,
        cross_mm=line.cross_mm,
        start_mm=float(edges[0]) - sign * room,
        end_mm=float(edges[-1]) + sign * room,
        speed_mm_per_s=speed_mm_per_s,
        edges_mm=edges,
        power_W=line.power_W if forward else line.power_W[::-1],
    )


@lru_cache(maxsize=256)  # the same for all lines of a mark
def _run_up_mm(speed_mm_per_s: float, accel: float, jerk: float | None) -> float:
    return float(run_up_mm(speed_mm_per_s, accel_mm_per_s2=accel, jerk_mm_per_s3=jerk))


def _join_turn(machine: Machine, before: Sweep, after: Sweep) -> tuple[Sweep, Sweep]:
    """Let two neighbouring lines turn at one place where that is quicker than travelling between two."""
    if (before.end_mm > before.start_mm) == (after.end_mm > after.start_mm):
        return before, after  # one way: the head has to come back
    gap_mm = after.start_mm - before.end_mm
    if gap_mm == 0.0:
        return before, after
    step_mm = after.cross_mm - before.cross_mm
    forward = before.end_mm > before.start_mm
    along, cross = (gap_mm, step_mm) if before.axis == "x" else (step_mm, gap_mm)
    straight = (0.0, step_mm) if before.axis == "x" else (step_mm, 0.0)
    stretched_s = abs(gap_mm) / before.speed_mm_per_s + travel_time_s(machine, dx_mm=straight[0], dy_mm=straight[1])
    if stretched_s > travel_time_s(machine, dx_mm=along, dy_mm=cross):
        return before, after
    if (gap_mm > 0.0) == forward:
        return replace(before, end_mm=after.start_mm), after
    return before, replace(after, start_mm=before.end_mm)


def _point(sweep: Sweep, along_mm: float) -> tuple[float, float]:
    return (along_mm, sweep.cross_mm) if sweep.axis == "x" else (sweep.cross_mm, along_mm)


def _rest(sweep: Sweep) -> tuple[float, float]:
    return _point(sweep, sweep.end_mm)


def _arrive(sweep: Sweep, at: tuple[float, float] | None) -> Iterator[Event]:
    start = _point(sweep, sweep.start_mm)
    if at is None or max(abs(at[0] - start[0]), abs(at[1] - start[1])) > 1e-9:
        yield Travel(to_mm=start)
