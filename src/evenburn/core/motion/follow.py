"""From paths to motion events: each path followed from rest to rest, the power following the speed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenburn.core.motion.path_speed import PathSpeed, bends_at, speed_along
from evenburn.core.nouns.events import Event, Trace, Travel
from evenburn.core.nouns.machine import Machine

FloatArray = NDArray[np.float64]

DECIMALS = 3  # places are written to 1 µm, and planned as they are written
STEP = 0.1  # one power serves a piece over which the speed changes by a tenth of the commanded
SHORTEST_mm = 0.05  # shorter pieces would only fill the controller's buffer
NEAR_mm = 0.002  # two places of a path nearer than this are one


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FollowPath:
    """A path as it is travelled: (N, 2) points, closed ones without their first repeated; where the laser stays off.

    `off_mm` is (M, 2), distances along the path from its first point, in order. [mm]
    """

    points_mm: FloatArray
    closed: bool
    off_mm: FloatArray


def trace_events(
    machine: Machine,
    paths: Sequence[FollowPath],
    *,
    speed_mm_per_s: float,
    line_energy_J_per_mm: float,
    passes: int,
    least_W: float,
    most_W: float,
) -> Iterator[Event]:
    """Yield the events that follow paths one after another, all passes of one before the next, without a stop.

    Parameters
    ----------
    line_energy_J_per_mm : of one pass; the power is this times the speed at each place.
    least_W, most_W : the power is kept between them wherever the laser is on. [W]

    Yields
    ------
    Travel to a path's beginning where the head is not there yet, then a Trace.

    Source
    ------
    Own derivation: energy per length is power over speed.
    """
    at: tuple[float, float] | None = None
    for points, off_mm in _chains([_passes(path, passes=passes) for path in paths]):
        start = (float(points[0, 0]), float(points[0, 1]))
        if at is None or at != start:
            yield Travel(to_mm=start)
        yield _trace(
            machine,
            points,
            off_mm=off_mm,
            speed_mm_per_s=speed_mm_per_s,
            line_energy_J_per_mm=line_energy_J_per_mm,
            window_W=(least_W, most_W),
        )
        at = (float(points[-1, 0]), float(points[-1, 1]))


def _passes(path: FollowPath, *, passes: int) -> tuple[FloatArray, FloatArray]:
    """Return a path's corners through all its passes without a stop, as they are written, and where the laser is off."""
    drawn = np.vstack([path.points_mm, path.points_mm[:1]]) if path.closed else path.points_mm
    points = np.round(drawn, DECIMALS)
    other = np.flatnonzero(np.concatenate(([True], (np.diff(points, axis=0) != 0.0).any(axis=1))))
    kept = other[bends_at(points[other])]
    points = points[kept]
    length = float(_along(points)[-1])
    off = np.asarray(path.off_mm, dtype=np.float64).reshape(-1, 2)
    off = np.interp(off, _along(drawn)[kept], _along(points))  # leaving places out has made it a little shorter
    ways, spans = [points], [off]
    for number in range(1, passes):
        back = number % 2 == 1 and not path.closed
        ways.append((points[::-1] if back else points)[1:])
        spans.append((length - off[::-1, ::-1] if back else off) + number * length)
    return np.vstack(ways), np.vstack(spans)


def _along(points: FloatArray) -> FloatArray:
    """Return how far along a path each of its points lies."""
    return np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))))


def _chains(paths: Sequence[tuple[FloatArray, FloatArray]]) -> Iterator[tuple[FloatArray, FloatArray]]:
    """Yield paths, those joined that begin where the one before ends: no controller stops between them."""
    joined: tuple[FloatArray, FloatArray] | None = None
    for points, off in paths:
        if len(points) < 2:
            continue
        if joined is not None and bool((joined[0][-1] == points[0]).all()):
            reached = float(_along(joined[0])[-1])
            joined = (np.vstack([joined[0], points[1:]]), np.vstack([joined[1], off + reached]))
            continue
        if joined is not None:
            yield joined
        joined = (points, off)
    if joined is not None:
        yield joined


def _trace(
    machine: Machine,
    points: FloatArray,
    *,
    off_mm: FloatArray,
    speed_mm_per_s: float,
    line_energy_J_per_mm: float,
    window_W: tuple[float, float],
) -> Trace:
    speeds = speed_along(machine, points, speed_mm_per_s=speed_mm_per_s)
    along = _along(points)
    spans = np.clip(off_mm, 0.0, along[-1])
    ends = _apart(spans.ravel(), others=along, least_mm=NEAR_mm)
    fixed = np.union1d(along, ends)
    cuts = _apart(
        _places_of_steps(speeds, along, commanded_mm_per_s=speed_mm_per_s), others=fixed, least_mm=SHORTEST_mm
    )
    kept = np.union1d(fixed, cuts)
    places = np.stack([np.interp(kept, along, points[:, k]) for k in (0, 1)], axis=1).astype(np.float64).round(DECIMALS)
    differs = np.concatenate(([True], (np.diff(places, axis=0) != 0.0).any(axis=1)))
    places, kept = places[differs], kept[differs]
    by_piece = speed_along(machine, places, speed_mm_per_s=speed_mm_per_s)
    power = np.clip(line_energy_J_per_mm * by_piece.length_mm / by_piece.times_s(), *window_W)
    middle = 0.5 * (kept[:-1] + kept[1:])
    for low, high in spans:
        power[(middle > low) & (middle < high)] = 0.0
    return Trace(points_mm=places, speed_mm_per_s=speed_mm_per_s, power_W=power)


def _apart(places: FloatArray, *, others: FloatArray, least_mm: float) -> FloatArray:
    """Return those places along a path, rising, that are so far from the ones before them and from all others."""
    places = np.unique(places)
    after = np.searchsorted(others, places)
    low, high = others[np.maximum(after - 1, 0)], others[np.minimum(after, others.size - 1)]
    far = places[np.minimum(np.abs(places - low), np.abs(high - places)) >= least_mm].tolist()
    kept: list[float] = []
    last = -np.inf
    for place in far:
        if place - last >= least_mm:
            kept.append(place)
            last = place
    return np.array(kept, dtype=np.float64)


def _places_of_steps(speeds: PathSpeed, along: FloatArray, *, commanded_mm_per_s: float) -> FloatArray:
    """Return where along a path the speed has changed by another step, on the way up and down within each piece. [mm]"""
    start, end, peak = speeds.at_mm_per_s[:-1], speeds.at_mm_per_s[1:], speeds.peak_mm_per_s
    found = []
    for low, first, sign in ((start, along[:-1], 1.0), (end, along[1:], -1.0)):
        count = np.maximum(np.ceil((peak - low) / (STEP * commanded_mm_per_s)), 1.0).astype(np.int64)
        owner = np.repeat(np.arange(len(low)), count)
        nth = np.arange(owner.size) - np.repeat(np.cumsum(count) - count, count) + 1
        speed = low[owner] + (peak - low)[owner] * nth / count[owner]
        reach = (speed**2 - low[owner] ** 2) / (2.0 * speeds.accel_mm_per_s2[owner])
        found.append(first[owner] + sign * reach)
    return np.concatenate(found)
