"""From a picture of powers to motion events: lines trimmed to what they burn, empty lines skipped, both directions.

The laser answers late by its rise time, so each edge is commanded early by v τ; lines burnt the other way round
additionally lead by half the machine's reversal offset. Forward and backward lines then meet.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from evenburn.core.motion.profile import run_up_mm
from evenburn.core.motion.timing import accel_mm_per_s2, travel_time_s
from evenburn.core.nouns.events import Event, Sweep, Travel
from evenburn.core.nouns.machine import Machine
from evenburn.core.nouns.mark import Axis

FloatArray = NDArray[np.float64]


def lead_mm(machine: Machine, *, speed_mm_per_s: float) -> float:
    """Return by how much edges are commanded before they are to fall. [mm]

    Source
    ------
    Own derivation: a first-order response delays its centre by its time constant; docs/how-it-works/motion.md.
    """
    return speed_mm_per_s * machine.rise_time_s + 0.5 * machine.reversal_offset_mm


def room_needed_mm(machine: Machine, *, axis: Axis, speed_mm_per_s: float) -> float:
    """Return the distance needed on both sides of a mark along the scan axis: run-up and lead. [mm] Definition."""
    return float(
        run_up_mm(
            speed_mm_per_s,
            accel_mm_per_s2=accel_mm_per_s2(machine, axis=axis),
            jerk_mm_per_s3=machine.jerk_mm_per_s3,
        )
    ) + abs(lead_mm(machine, speed_mm_per_s=speed_mm_per_s))


def _row_runs(row: NDArray[np.float32]) -> tuple[NDArray[np.intp], FloatArray]:
    """Return pixel edges (N+1) from first to last burnt pixel, and the power between them (N)."""
    burnt = np.flatnonzero(row > 0.0)
    first, last = int(burnt[0]), int(burnt[-1]) + 1
    part = row[first:last]
    changes = np.flatnonzero(part[1:] != part[:-1]) + 1
    edges = np.concatenate(([0], changes, [last - first])) + first
    return edges, part[edges[:-1] - first].astype(np.float64)


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
) -> Iterator[Event]:
    """Yield the events that burn a picture of powers.

    Parameters
    ----------
    power_W : (lines, pixels) power on the work; row 0 is the line at the lowest cross coordinate, pixels run in the
        positive direction of the axis. 0 is off. [W]
    along_origin_mm, cross_origin_mm : lower edges of the picture on the bed; lines lie in the middle of their row. [mm]

    Yields
    ------
    Travel and Sweep, whole picture after whole picture where there are several passes.
    """
    lead = lead_mm(machine, speed_mm_per_s=speed_mm_per_s)
    room = float(
        run_up_mm(
            speed_mm_per_s,
            accel_mm_per_s2=accel_mm_per_s2(machine, axis=axis),
            jerk_mm_per_s3=machine.jerk_mm_per_s3,
        )
    )
    rows = np.flatnonzero((power_W > 0.0).any(axis=1))
    at: tuple[float, float] | None = None
    direction = 1.0
    for _ in range(passes):
        pending: Sweep | None = None
        for index in rows:
            pixel_edges, powers = _row_runs(power_W[index])
            edges: FloatArray = along_origin_mm + pixel_edges.astype(np.float64) * line_spacing_mm
            if direction < 0.0:
                edges, powers = edges[::-1], powers[::-1]
            edges = edges - direction * lead
            sweep = Sweep(
                axis=axis,
                cross_mm=cross_origin_mm + (float(index) + 0.5) * line_spacing_mm,
                start_mm=float(edges[0]) - direction * room,
                end_mm=float(edges[-1]) + direction * room,
                speed_mm_per_s=speed_mm_per_s,
                edges_mm=edges,
                power_W=powers,
            )
            if pending is not None:
                pending, sweep = _join_turn(machine, pending, sweep)
                yield from _arrive(pending, at)
                yield pending
                at = _rest(pending)
            pending = sweep
            direction = -direction
        if pending is not None:
            yield from _arrive(pending, at)
            yield pending
            at = _rest(pending)


def _join_turn(machine: Machine, before: Sweep, after: Sweep) -> tuple[Sweep, Sweep]:
    """Let two neighbouring lines turn at one place where that is quicker than travelling between two."""
    gap_mm = after.start_mm - before.end_mm
    step_mm = after.cross_mm - before.cross_mm
    forward = before.end_mm > before.start_mm
    along, cross = (gap_mm, step_mm) if before.axis == "x" else (step_mm, gap_mm)
    straight = (0.0, step_mm) if before.axis == "x" else (step_mm, 0.0)
    stretched_s = abs(gap_mm) / before.speed_mm_per_s + travel_time_s(machine, dx_mm=straight[0], dy_mm=straight[1])
    if stretched_s > travel_time_s(machine, dx_mm=along, dy_mm=cross):
        return before, after
    if (gap_mm > 0.0) == forward:
        return _replaced(before, end_mm=after.start_mm), after
    return before, _replaced(after, start_mm=before.end_mm)


def _replaced(sweep: Sweep, *, start_mm: float | None = None, end_mm: float | None = None) -> Sweep:
    return Sweep(
        axis=sweep.axis,
        cross_mm=sweep.cross_mm,
        start_mm=sweep.start_mm if start_mm is None else start_mm,
        end_mm=sweep.end_mm if end_mm is None else end_mm,
        speed_mm_per_s=sweep.speed_mm_per_s,
        edges_mm=sweep.edges_mm,
        power_W=sweep.power_W,
    )


def _point(sweep: Sweep, along_mm: float) -> tuple[float, float]:
    return (along_mm, sweep.cross_mm) if sweep.axis == "x" else (sweep.cross_mm, along_mm)


def _rest(sweep: Sweep) -> tuple[float, float]:
    return _point(sweep, sweep.end_mm)


def _arrive(sweep: Sweep, at: tuple[float, float] | None) -> Iterator[Event]:
    start = _point(sweep, sweep.start_mm)
    if at is None or max(abs(at[0] - start[0]), abs(at[1] - start[1])) > 1e-9:
        yield Travel(to_mm=start)
