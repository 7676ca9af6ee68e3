"""A walk round a mark with the laser off, so that a person sees by eye where it will come to lie.

First the mark's box with a rest at each corner, then round what it burns, then as far as the head goes, run-up included.
What would only be walked twice is left out.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from shapely import LineString, hausdorff_distance

from evenburn.core.motion.timing import program_time_s
from evenburn.core.nouns.events import Comment, Dwell, Event, Trace, Travel
from evenburn.core.nouns.machine import Machine

FloatArray = NDArray[np.float64]

WALK_s = 12.0  # what all the walking takes where the eye lets it: long enough to look, short enough to do it each time
EYE_MOST_mm_per_s = 150.0  # some 30 degrees a second, seen from 0.3 m: an eye follows it without a jump; from memory
LEAST_mm_per_s = 1.0  # slower than that a head is not seen to move
REST_s = 1.0  # at each corner: time to look down along it; own choice
SEEN_mm = 1.0  # two walks nearer to one another than this look the same from where one stands; own choice
DECIMALS = 3  # places are written to 1 µm, and planned as they are written


def ring_mm(points_mm: FloatArray) -> FloatArray:
    """Return a closed way as it is written, its first place repeated, (N+1, 2); begins nearest to the bed's origin.

    Places that are one as they are written come once. [mm] Definition.
    """
    points = np.round(np.asarray(points_mm, dtype=np.float64), DECIMALS)
    points = points[(points != np.roll(points, 1, axis=0)).any(axis=1)]
    if len(points) < 2:
        return np.zeros((0, 2))
    points = np.roll(points, -int(np.argmin(points.sum(axis=1))), axis=0)
    return np.vstack([points, points[:1]])


def walks_mm(*, box_mm: FloatArray, hull_mm: FloatArray, swept_mm: FloatArray) -> tuple[FloatArray | None, ...]:
    """Return the three walks as rings, None for one that a former one already shows, or that has no length.

    Parameters
    ----------
    box_mm, hull_mm, swept_mm : (N, 2) corners of the mark's box, of the hull of what it burns, and of the box the head
        moves in; the first not repeated. [mm]
    """
    told: list[FloatArray | None] = []
    for corners in (box_mm, hull_mm, swept_mm):
        ring = ring_mm(corners)
        told.append(None if len(ring) == 0 or any(_alike(ring, r) for r in told if r is not None) else ring)
    return tuple(told)


def _alike(one: FloatArray, other: FloatArray) -> bool:
    return float(hausdorff_distance(LineString(one), LineString(other))) < SEEN_mm


def pace_mm_per_s(machine: Machine, *, length_mm: float) -> float:
    """Return the speed of a walk: done in `WALK_s`, but no faster than an eye follows or the machine goes. [mm/s]

    Source
    ------
    Definition, with our own choices named above; whole mm/s where the machine goes as fast.
    """
    wished = max(LEAST_mm_per_s, float(np.ceil(length_mm / WALK_s)))
    return min(wished, EYE_MOST_mm_per_s, machine.rapid_mm_per_s, machine.speed_max_mm_per_s)


def dry_trace_events(
    machine: Machine, *, box_mm: FloatArray, hull_mm: FloatArray, swept_mm: FloatArray
) -> tuple[Event, ...]:
    """Return the events of a dry trace; none where there is no way to walk.

    Parameters
    ----------
    box_mm, hull_mm, swept_mm : as in `walks_mm`.

    Returns
    -------
    Travel to each walk's beginning, Trace with no power, Dwell at the corners of the boxes, and Comment between.

    Source
    ------
    Definition.
    """
    box, hull, swept = walks_mm(box_mm=box_mm, hull_mm=hull_mm, swept_mm=swept_mm)
    rings = [ring for ring in (box, hull, swept) if ring is not None]
    length = sum(float(np.hypot(*np.diff(ring, axis=0).T).sum()) for ring in rings)
    pace = pace_mm_per_s(machine, length_mm=length)
    events: list[Event] = []
    if box is not None:
        events += [Comment(text="the box of the mark"), *_side_by_side(box, pace=pace)]
    if hull is not None:
        events += [Comment(text="round what it burns"), Travel(to_mm=_place(hull[0])), _dark(hull, pace=pace)]
    if swept is not None:
        events += [Comment(text="as far as the head goes, run-up included"), *_side_by_side(swept, pace=pace)]
    return tuple(events)


def dry_trace_time_s(machine: Machine, events: Iterable[Event]) -> float:
    """Return machine time of a walk that burns nothing. [s]

    Source
    ------
    `program_time_s`; the controller's overhead belongs to scan lines and burnt paths, and there are none.
    """
    return program_time_s(replace(machine, line_overhead_s=0.0), events)


def _side_by_side(ring: FloatArray, *, pace: float) -> Iterator[Event]:
    """Yield a ring side after side, with a rest at each corner."""
    yield Travel(to_mm=_place(ring[0]))
    for side in range(len(ring) - 1):
        yield Dwell(time_s=REST_s)
        yield _dark(ring[side : side + 2], pace=pace)


def _dark(points: FloatArray, *, pace: float) -> Trace:
    return Trace(points_mm=points, speed_mm_per_s=pace, power_W=np.zeros(len(points) - 1))


def _place(point: FloatArray) -> tuple[float, float]:
    return float(point[0]), float(point[1])
