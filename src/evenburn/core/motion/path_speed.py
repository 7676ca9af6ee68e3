"""How fast the head can go along a path: slower where it bends, from rest to rest.

At a corner the head may leave the path by a stated tolerance. The circle that touches both sides and keeps within it
has the radius r = tolerance · cos(φ/2) / (1 − cos(φ/2)) for a turn by φ, but no more than the sides are long enough for;
the speed there is √(a r). Between corners the speed rises and falls at the acceleration, looking ahead to every corner
to come. A turn back is a stop, and what lies between two stops is a *stretch* of its own. Where a side is cut into
shorter pieces nothing changes: a place on the straight line between its neighbours, as nearly as places are written,
is no corner.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenburn.core.motion.profile import speed_within_mm_per_s
from evenburn.core.nouns.machine import Machine

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

STRAIGHT_mm = 0.002  # two steps of what is written: how far rounding may put a place beside the line of its neighbours
TURNS_BACK = -0.99  # cosine of a turn by 172°: from there on the head comes to rest; own choice


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PathSpeed:
    """Speeds along a path of N pieces.

    Attributes
    ----------
    length_mm : (N,) of each piece. [mm]
    at_mm_per_s : (N+1,) speed at each place, 0 at both ends. [mm/s]
    peak_mm_per_s : (N,) greatest speed on each piece. [mm/s]
    accel_mm_per_s2 : (N,) acceleration in each piece's direction. [mm/s²]
    """

    length_mm: FloatArray
    at_mm_per_s: FloatArray
    peak_mm_per_s: FloatArray
    accel_mm_per_s2: FloatArray

    def times_s(self) -> FloatArray:
        """Return the time of each piece, (N,). [s] Source: [biagiotti2008], 3.2, with speeds at both ends."""
        start, end = self.at_mm_per_s[:-1], self.at_mm_per_s[1:]
        peak, accel = self.peak_mm_per_s, self.accel_mm_per_s2
        ramps_mm = (2.0 * peak**2 - start**2 - end**2) / (2.0 * accel)
        even_mm = np.maximum(self.length_mm - ramps_mm, 0.0)
        return np.asarray((2.0 * peak - start - end) / accel + even_mm / peak, dtype=np.float64)


def mean_accel_mm_per_s2(
    accel_mm_per_s2: FloatArray, *, speed_mm_per_s: float | FloatArray, jerk_mm_per_s3: float | None
) -> FloatArray:
    """Return the mean acceleration of a start from rest to a speed: v/(v/a + a/j), or √(v j)/2 below a²/j. [mm/s²]

    Source
    ------
    [biagiotti2008], 3.4: speed over the time that a jerk-limited start takes.
    """
    a, v, j = accel_mm_per_s2, speed_mm_per_s, jerk_mm_per_s3
    if j is None:
        return a
    with np.errstate(over="ignore"):
        return np.where(v * j >= a**2, v / (v / a + a / j), 0.5 * np.sqrt(v * j))


def bends_at(points_mm: FloatArray) -> NDArray[np.intp]:
    """Return which places of a path are its ends or corners, (K,) rising.

    A place between its two neighbours, no farther than `STRAIGHT_mm` from the line through them, is left out; of
    neighbours only every other one at a time, until none is left to leave out.

    Source
    ------
    Own choice: what rounding to 1 µm can make of a straight line.
    """
    kept = np.arange(len(points_mm))
    while kept.size > 2:
        straight = _straight(points_mm[kept])
        if not straight.any():
            break
        kept = kept[~np.concatenate(([False], straight, [False]))]
    return kept


def _straight(points: FloatArray) -> BoolArray:
    """Return which inner places lie on the line of their neighbours, (N−2,), no two of them side by side."""
    step, chord = points[1:-1] - points[:-2], points[2:] - points[:-2]
    reach = np.hypot(chord[:, 0], chord[:, 1])
    along = (step * chord).sum(axis=1)
    beside = np.abs(step[:, 0] * chord[:, 1] - step[:, 1] * chord[:, 0])
    found = (beside <= STRAIGHT_mm * reach) & (along > 0.0) & (along < reach**2)
    number = np.arange(found.size)
    since_bend = number - np.maximum.accumulate(np.where(found, -1, number))
    return np.asarray(found & (since_bend % 2 == 1), dtype=np.bool_)


def corner_radii_mm(points_mm: FloatArray, *, tolerance_mm: float) -> FloatArray:
    """Return the radius with which each inner place of a path is passed, (N−1,); 0 where it turns back. [mm]

    Infinite where the path runs straight on.

    Parameters
    ----------
    points_mm : (N+1, 2), no two neighbours alike. [mm]
    tolerance_mm : how far the path may be left at a corner.

    Source
    ------
    Own derivation: the circle through a corner within the tolerance; docs/how-it-works/motion.md.
    """
    radii = np.full(len(points_mm), np.inf)
    bends = bends_at(points_mm)
    sides = np.diff(points_mm[bends], axis=0)
    length = np.hypot(sides[:, 0], sides[:, 1])
    before, after = sides[:-1], sides[1:]
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    ahead = (before * after).sum(axis=1)
    half = 0.5 * np.abs(np.arctan2(cross, ahead))
    shorter = np.minimum(length[:-1], length[1:])
    with np.errstate(divide="ignore", over="ignore"):
        by_tolerance = tolerance_mm * np.cos(half) / (1.0 - np.cos(half))
        by_length = 0.5 * shorter / np.tan(half)  # the circle touches each side in its own half
    turns_back = ahead <= TURNS_BACK * length[:-1] * length[1:]
    radii[bends[1:-1]] = np.where(turns_back, 0.0, np.minimum(by_tolerance, by_length))
    return radii[1:-1]


def corner_speeds_mm_per_s(points_mm: FloatArray, *, accel_mm_per_s2: float, tolerance_mm: float) -> FloatArray:
    """Return the speed allowed at each inner place of a path, (N−1,); infinite where it runs straight on. [mm/s]

    Parameters
    ----------
    points_mm : (N+1, 2), no two neighbours alike. [mm]
    accel_mm_per_s2 : towards the middle of the bend.
    tolerance_mm : how far the path may be left at a corner.

    Source
    ------
    Own derivation: v²/r = a on the circle of `corner_radii_mm`.
    """
    return np.sqrt(accel_mm_per_s2 * corner_radii_mm(points_mm, tolerance_mm=tolerance_mm))


def speed_along(machine: Machine, points_mm: FloatArray, *, speed_mm_per_s: float) -> PathSpeed:
    """Return the speeds along a path from rest to rest.

    Where jerk is limited it is followed in the mean: on each stretch from stop to stop, the acceleration is the mean one of
    a start from rest to the commanded speed, or to the highest that the stretch has room for. So straight paths, with
    turns back or without, take exactly the time of double S, and bent ones about the time of several.

    Parameters
    ----------
    points_mm : (N+1, 2), no two neighbours alike. [mm]
    speed_mm_per_s : commanded; never exceeded.

    Source
    ------
    [biagiotti2008], 3.2, forward and backward along the path, and 3.4; corners as `corner_radii_mm`.
    """
    points = np.asarray(points_mm, dtype=np.float64)
    steps = np.diff(points, axis=0)
    length = np.hypot(steps[:, 0], steps[:, 1])
    with np.errstate(divide="ignore"):
        limits = np.array([machine.accel_x_mm_per_s2, machine.accel_y_mm_per_s2]) / np.abs(steps / length[:, None])
    accel = limits.min(axis=1)
    radii = corner_radii_mm(points, tolerance_mm=machine.corner_tolerance_mm)
    inward = np.full(length.size, min(machine.accel_x_mm_per_s2, machine.accel_y_mm_per_s2))
    jerk = machine.jerk_mm_per_s3
    if jerk is not None and length.size:
        top = _tops_mm_per_s(length, accel, radii == 0.0, speed_mm_per_s=speed_mm_per_s, jerk_mm_per_s3=jerk)
        accel = mean_accel_mm_per_s2(accel, speed_mm_per_s=top, jerk_mm_per_s3=jerk)
        inward = mean_accel_mm_per_s2(inward, speed_mm_per_s=top, jerk_mm_per_s3=jerk)
    corners = np.sqrt(inward[1:] * radii)
    allowed = np.concatenate(([0.0], np.minimum(corners, speed_mm_per_s), [0.0]))
    at = np.sqrt(_looked_ahead(allowed**2, gain=2.0 * accel * length))
    peak = np.sqrt(accel * length + 0.5 * (at[:-1] ** 2 + at[1:] ** 2))
    return PathSpeed(
        length_mm=length,
        at_mm_per_s=at,
        peak_mm_per_s=np.clip(peak, np.maximum(at[:-1], at[1:]), speed_mm_per_s),
        accel_mm_per_s2=accel,
    )


def _tops_mm_per_s(
    length: FloatArray, accel: FloatArray, stops: BoolArray, *, speed_mm_per_s: float, jerk_mm_per_s3: float
) -> FloatArray:
    """Return for each piece, (N,), the highest speed that its stretch has room for; `stops` (N−1,) lie between pieces."""
    first = np.flatnonzero(np.concatenate(([True], stops)))
    tops = [
        min(speed_mm_per_s, speed_within_mm_per_s(0.5 * whole, accel_mm_per_s2=least, jerk_mm_per_s3=jerk_mm_per_s3))
        for whole, least in zip(
            np.add.reduceat(length, first).tolist(), np.minimum.reduceat(accel, first).tolist(), strict=True
        )
    ]
    return np.repeat(np.array(tops), np.diff(first, append=length.size))


def _looked_ahead(squares: FloatArray, *, gain: FloatArray) -> FloatArray:
    """Return squares of speeds of which none differs from its neighbour by more than the gain between them."""
    speeds, steps = squares.tolist(), gain.tolist()  # plain numbers: a loop over an array's takes four times as long
    now = speeds[0]
    for i, step in enumerate(steps, start=1):
        now = speeds[i] = min(speeds[i], now + step)
    for i in range(len(steps) - 1, -1, -1):
        now = speeds[i] = min(speeds[i], now + steps[i])
    return np.array(speeds, dtype=np.float64)
