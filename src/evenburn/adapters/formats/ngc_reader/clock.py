"""How long the moves take, from their lengths, speeds and the machine's accelerations alone."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from evenburn.adapters.formats.ngc_reader.findings import Limits
from evenburn.adapters.formats.ngc_reader.geometry import BoolArray, FloatArray, Path
from evenburn.adapters.formats.ngc_reader.machine_state import FEED, RAPID, Moves
from evenburn.adapters.formats.ngc_reader.scales import S_PER_MIN

_STRAIGHT_MM = 2e-3  # two printed steps of three decimals: how far a point may lie off the line of its neighbours
_STRAIGHT_SINE = 0.03  # and however short the moves, no bend above this


def rest_to_rest_s(
    length_mm: FloatArray, speed_mm_per_s: FloatArray, *, accel_mm_per_s2: FloatArray, jerk_mm_per_s3: float | None
) -> FloatArray:
    """Return the time of straight moves that begin and end at rest.

    Parameters
    ----------
    length_mm, speed_mm_per_s, accel_mm_per_s2 : (N,) float64
        All above 0. [mm], [mm/s], [mm/s²]
    jerk_mm_per_s3 : float or None
        None: acceleration may step (trapezoid). [mm/s³]

    Returns
    -------
    (N,) float64
        [s]

    Source
    ------
    [biagiotti2008], sec. 3.2 (trapezoid) and 3.4 (double S, initial and final speed 0).

    Checked by
    ----------
    tests/unit/adapters/formats/test_ngc_reader_clock.py, against ruckig
    """
    length, speed, accel = length_mm, speed_mm_per_s, accel_mm_per_s2
    if jerk_mm_per_s3 is None:
        reached = length >= speed**2 / accel
        return np.where(reached, length / speed + speed / accel, 2 * np.sqrt(length / accel))
    jerk = jerk_mm_per_s3
    corner_speed = accel**2 / jerk  # below it the acceleration never reaches its limit
    ramp_s = np.where(speed >= corner_speed, speed / accel + accel / jerk, 2 * np.sqrt(speed / jerk))
    onset_s = accel / jerk
    # the peak solves  peak²/a + peak a/j = length  where the acceleration's limit is met on the way
    peak = accel / 2 * (np.sqrt(onset_s**2 + 4 * length / accel) - onset_s)
    short = np.where(peak >= corner_speed, 2 * (peak / accel + onset_s), 4 * np.cbrt(length / (2 * jerk)))
    return np.where(length >= speed * ramp_s, length / speed + ramp_s, short)


def moving_time_s(path: Path, moves: Moves, *, limits: Limits) -> float:
    """Return the time of all moves, dwells apart.

    Neighbouring moves in one line, of one kind and one feed, run through; anything else stops between them, and so
    does switching the laser. A run of feed moves that burns somewhere adds the controller's overhead. A move from an
    unknown start, or without a feed, counts for nothing.

    Source
    ------
    Own derivation; per-axis accelerations are projected on the direction.
    """
    speed = np.where(path.kind == RAPID, limits.rapid_mm_per_s, path.feed_mm_per_min / S_PER_MIN)
    timed = (path.length_mm > 0) & (speed > 0)  # a NaN feed is not above 0
    straight = np.flatnonzero(timed & (path.kind <= FEED))
    total = _arcs_s(path, moves, speed, timed, limits)
    if not straight.size:
        return total
    dx, dy = path.dx_mm[straight], path.dy_mm[straight]
    first = np.flatnonzero(~_runs_on(path, moves, straight, dx, dy))
    length = np.add.reduceat(path.length_mm[straight], first)
    accel = np.minimum.reduceat(_accel_mm_per_s2(dx, dy, limits), first)
    head = straight[first]
    jerk = limits.jerk_mm_per_s3
    total += float(rest_to_rest_s(length, speed[head], accel_mm_per_s2=accel, jerk_mm_per_s3=jerk).sum())
    burns = np.maximum.reduceat(path.power_word[straight], first) > 0
    return total + limits.line_overhead_s * int(np.count_nonzero(burns & (path.kind[head] == FEED)))


def _runs_on(path: Path, moves: Moves, straight: NDArray[np.intp], dx: FloatArray, dy: FloatArray) -> BoolArray:
    """Return for each straight move whether it goes on from the one before without a stop."""
    runs_on = np.zeros(straight.size, dtype=np.bool_)
    if straight.size < 2:
        return runs_on
    kind, feed, length = path.kind[straight], path.feed_mm_per_min[straight], path.length_mm[straight]
    same = (kind[1:] == kind[:-1]) & ((kind[1:] == RAPID) | (feed[1:] == feed[:-1]))
    cross = np.abs(dx[1:] * dy[:-1] - dy[1:] * dx[:-1])
    longer, shorter = np.maximum(length[1:], length[:-1]), np.minimum(length[1:], length[:-1])
    same &= (cross <= _STRAIGHT_MM * longer) & (cross <= _STRAIGHT_SINE * longer * shorter)
    same &= dx[1:] * dx[:-1] + dy[1:] * dy[:-1] > 0
    held = np.zeros(path.kind.size + 1, dtype=np.int32)
    held[moves.stops] = 1
    held[list(moves.arcs)] = 1
    held[[at + 1 for at in moves.arcs]] = 1
    holds = np.cumsum(held)[straight]
    same &= holds[1:] == holds[:-1]
    runs_on[1:] = same
    return runs_on


def _accel_mm_per_s2(dx: FloatArray, dy: FloatArray, limits: Limits) -> FloatArray:
    chord = np.hypot(dx, dy)
    with np.errstate(divide="ignore", over="ignore"):
        return np.minimum(
            limits.accel_x_mm_per_s2 * chord / np.abs(dx),
            limits.accel_y_mm_per_s2 * chord / np.abs(dy),
        )


def _arcs_s(path: Path, moves: Moves, speed: FloatArray, timed: BoolArray, limits: Limits) -> float:
    """Return the time of the arcs: each from rest to rest, no faster than the slower axis can hold the curve."""
    numbers = [at for at in moves.arcs if timed[at]]
    if not numbers:
        return 0.0
    accel = np.full(len(numbers), min(limits.accel_x_mm_per_s2, limits.accel_y_mm_per_s2))
    radius = np.array([moves.arcs[at].radius_mm for at in numbers])
    curve_speed = np.minimum(speed[numbers], np.sqrt(accel * radius))
    jerk = limits.jerk_mm_per_s3
    time = rest_to_rest_s(path.length_mm[numbers], curve_speed, accel_mm_per_s2=accel, jerk_mm_per_s3=jerk)
    return float(time.sum()) + limits.line_overhead_s * int(np.count_nonzero(path.power_word[numbers] > 0))
