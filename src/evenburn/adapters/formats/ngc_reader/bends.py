"""How long feed moves take that follow one another through bends, from rest to rest."""

from __future__ import annotations

import numpy as np

from evenburn.adapters.formats.ngc_reader.findings import Limits
from evenburn.adapters.formats.ngc_reader.geometry import BoolArray, FloatArray

STRAIGHT_MM = 2e-3  # two printed steps of three decimals: how far a point may lie off the line of its neighbours
_BACK_COSINE = -0.99  # a bend by more than 172 degrees is a turn back, at which the head comes to rest


def speed_in_reach(
    length_mm: FloatArray, speed_mm_per_s: FloatArray, *, accel_mm_per_s2: FloatArray, jerk_mm_per_s3: float | None
) -> FloatArray:
    """Return the highest speed on moves from rest to rest: the one asked for, or what the length has room for. [mm/s]

    Source
    ------
    [biagiotti2008], sec. 3.2 and 3.4: two ramps fill the length.
    """
    accel = accel_mm_per_s2
    if jerk_mm_per_s3 is None:
        return np.minimum(speed_mm_per_s, np.sqrt(accel * length_mm))
    onset_s = accel / jerk_mm_per_s3
    # peak²/a + peak a/j = length  where the acceleration's limit is met on the way, else  2 √(peak³/j) = length
    peak = accel / 2 * (np.sqrt(onset_s**2 + 4 * length_mm / accel) - onset_s)
    peak = np.where(peak >= accel * onset_s, peak, np.cbrt(length_mm**2 * jerk_mm_per_s3 / 4))
    return np.minimum(speed_mm_per_s, peak)


def accel_in_the_mean(
    accel_mm_per_s2: FloatArray, speed_mm_per_s: FloatArray, *, jerk_mm_per_s3: float | None
) -> FloatArray:
    """Return the acceleration that a start from rest to a speed has in the mean. [mm/s²]

    Source
    ------
    [biagiotti2008], sec. 3.4: a start takes v/a + a/j, or 2 √(v/j) where it ends before the limit of acceleration.
    """
    if jerk_mm_per_s3 is None:
        return accel_mm_per_s2
    onset_s = accel_mm_per_s2 / jerk_mm_per_s3
    limited_s = 2 * np.sqrt(speed_mm_per_s / jerk_mm_per_s3)
    full_s = speed_mm_per_s / accel_mm_per_s2 + onset_s
    return speed_mm_per_s / np.where(speed_mm_per_s < accel_mm_per_s2 * onset_s, limited_s, full_s)


def times_through_bends_s(
    ends_mm: FloatArray,
    steps_mm: FloatArray,
    *,
    opens: BoolArray,
    feed_mm_per_s: FloatArray,
    accel_mm_per_s2: FloatArray,
    limits: Limits,
) -> tuple[FloatArray, BoolArray]:
    """Return the time of every move of chains of feed moves, (N,), and whether each sets out from rest, (N,). [s]

    A bend by the angle φ is rounded by a circle that leaves the corner by no more than the machine's tolerance and
    fits between the middles of its two sides; it is passed at √(a r). Speeds follow by looking forward and backward.
    A turn back brings the head to rest. A jerk limit counts in the mean: the acceleration is what a start from rest to
    the feed, or to what the way from one rest to the next has room for, takes. A point between its neighbours and
    within two printed steps of their line is no bend.

    Parameters
    ----------
    ends_mm, steps_mm : (N, 2) where each move ends, and from where to where it goes.
    opens : (N,) whether a move is the first of its chain.
    feed_mm_per_s, accel_mm_per_s2 : (N,), the feed the same all along a chain.

    Source
    ------
    Own derivation, apart from the planner's; trapezoid of [biagiotti2008], sec. 3.2.
    """
    jerk = limits.jerk_mm_per_s3
    chain = np.cumsum(opens) - 1
    length = np.hypot(steps_mm[:, 0], steps_mm[:, 1])
    # one more point than moves in each chain, one chain behind the other; between two chains lies a step of no meaning
    begin, end = np.arange(length.size) + chain, np.arange(length.size) + chain + 1
    points = np.empty((length.size + int(chain[-1]) + 1, 2))
    points[begin], points[end] = ends_mm - steps_mm, ends_mm
    at_rest = np.ones(len(points), dtype=np.bool_)
    at_rest[end[:-1]] = opens[1:]
    radius = _radii_mm(points, at_rest, tolerance_mm=limits.corner_tolerance_mm)
    at_rest |= radius == 0.0
    rests = at_rest[begin]
    first, between = np.flatnonzero(rests), np.cumsum(rests) - 1
    top = speed_in_reach(
        np.add.reduceat(length, first),
        feed_mm_per_s[first],
        accel_mm_per_s2=np.minimum.reduceat(accel_mm_per_s2, first),
        jerk_mm_per_s3=jerk,
    )[between]
    accel = accel_in_the_mean(accel_mm_per_s2, top, jerk_mm_per_s3=jerk)
    slower_axis = np.full(length.size, min(limits.accel_x_mm_per_s2, limits.accel_y_mm_per_s2))
    squares = np.zeros(len(points))
    inward = accel_in_the_mean(slower_axis, top, jerk_mm_per_s3=jerk)
    squares[end] = np.minimum(inward * radius[end], feed_mm_per_s**2)
    squares[at_rest] = 0.0
    gains = np.zeros(len(points) - 1)
    gains[begin] = 2.0 * accel * length
    squares = _reached(squares, gains)
    enter, leave = np.sqrt(squares[begin]), np.sqrt(squares[end])
    peak = np.sqrt(np.minimum(0.5 * (squares[begin] + squares[end]) + accel * length, feed_mm_per_s**2))
    rise, fall = (peak - enter) / accel, (peak - leave) / accel
    even = length - 0.5 * (enter + peak) * rise - 0.5 * (peak + leave) * fall
    return np.asarray(rise + fall + np.maximum(even, 0.0) / peak, dtype=np.float64), rests


def _radii_mm(points: FloatArray, at_rest: BoolArray, *, tolerance_mm: float) -> FloatArray:
    """Return the radius with which each point may be passed: infinite where no bend is, 0 at a turn back."""
    left = np.arange(len(points))
    while True:  # each round leaves out at least every other point of a straight stretch
        before, here, after = points[left[:-2]], points[left[1:-1]], points[left[2:]]
        span, leg = after - before, here - before
        reach = np.hypot(span[:, 0], span[:, 1])
        off = np.abs(span[:, 0] * leg[:, 1] - span[:, 1] * leg[:, 0])
        shadow = span[:, 0] * leg[:, 0] + span[:, 1] * leg[:, 1]
        flat = ~at_rest[left[1:-1]] & (off <= STRAIGHT_MM * reach) & (shadow > 0) & (shadow < reach * reach)
        places = np.flatnonzero(flat)
        if not places.size:
            break
        heads = np.flatnonzero(np.diff(places, prepend=-2) > 1)  # where runs of flat neighbours begin
        nth = np.arange(places.size) - np.repeat(heads, np.diff(heads, append=places.size))
        left = np.delete(left, places[nth % 2 == 0] + 1)
    radius = np.full(len(points), np.inf)
    leg = np.diff(points[left], axis=0)
    size = np.hypot(leg[:, 0], leg[:, 1])
    ahead = (leg[:-1] * leg[1:]).sum(axis=1)
    aside = leg[:-1, 0] * leg[1:, 1] - leg[:-1, 1] * leg[1:, 0]
    cosine = np.cos(0.5 * np.abs(np.arctan2(aside, ahead)))
    with np.errstate(divide="ignore", invalid="ignore"):  # invalid where two chains meet in a step of no length
        fitting = 0.5 * np.minimum(size[:-1], size[1:]) * cosine / np.sqrt(1.0 - cosine**2)
        round_mm = np.minimum(tolerance_mm * cosine / (1.0 - cosine), fitting)
    radius[left[1:-1]] = np.where(ahead <= _BACK_COSINE * size[:-1] * size[1:], 0.0, round_mm)
    return radius


def _reached(squares: FloatArray, gains: FloatArray) -> FloatArray:
    """Return squares of speeds of which each can be reached from the one before and left for the one behind."""
    values, steps = squares.tolist(), gains.tolist()
    now = values[0]
    for at, step in enumerate(steps, start=1):
        now = values[at] = min(values[at], now + step)
    for at in range(len(steps) - 1, -1, -1):
        now = values[at] = min(values[at], now + steps[at])
    return np.array(values, dtype=np.float64)
