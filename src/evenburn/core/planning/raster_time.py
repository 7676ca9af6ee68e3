"""How fast the head may go where there is so much room for it to run up, and how long a raster takes there."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenburn.core.art.ink import InkProfile
from evenburn.core.motion.profile import move_time_s, speed_within_mm_per_s, time_to_speed_s
from evenburn.core.motion.raster import room_needed_mm
from evenburn.core.motion.timing import accel_mm_per_s2, travel_time_s
from evenburn.core.nouns.machine import Machine
from evenburn.core.nouns.mark import Axis
from evenburn.core.planning.wish import Wish

FloatArray = NDArray[np.float64]


@lru_cache(maxsize=4096)
def speed_limit_mm_per_s(machine: Machine, *, axis: Axis, room_mm: float) -> float:
    """Return the greatest speed whose run-up and lead fit into a room. [mm/s]

    Source
    ------
    Own derivation: run-up and lead both grow with speed; solved by bisection below the run-up's own limit.
    """
    accel, jerk = accel_mm_per_s2(machine, axis=axis), machine.jerk_mm_per_s3
    high = speed_within_mm_per_s(room_mm, accel_mm_per_s2=accel, jerk_mm_per_s3=jerk)
    if high <= 0.0 or room_needed_mm(machine, axis=axis, speed_mm_per_s=high) <= room_mm:
        return high
    low = 0.0
    for _ in range(50):
        middle = 0.5 * (low + high)
        if room_needed_mm(machine, axis=axis, speed_mm_per_s=middle) <= room_mm:
            low = middle
        else:
            high = middle
    return low


def raster_time_s(
    wish: Wish,
    *,
    axis: Axis,
    speed_mm_per_s: FloatArray,
    line_spacing_mm: FloatArray,
    passes: FloatArray,
    one_way: ArrayLike = False,
) -> FloatArray:
    """Return the estimated time of a raster from the artwork's profile: in one go, or in islands where that is quicker. [s]

    Parameters
    ----------
    one_way : whether each line is burnt in the same direction, the head coming back at rapid. They all broadcast.

    Source
    ------
    Own derivation: hull area over swept area per second, plus two run-ups, a step and the overhead for each line; with
    lines one way the way back, too. Islands have less hull, more lines, and ways from one to the next.
    """
    machine, whole = wish.machine, wish.profiles[axis]
    ramp = time_to_speed_s(
        speed_mm_per_s, accel_mm_per_s2=accel_mm_per_s2(machine, axis=axis), jerk_mm_per_s3=machine.jerk_mm_per_s3
    )
    step = np.array(
        [
            travel_time_s(machine, dx_mm=0.0 if axis == "x" else p, dy_mm=p if axis == "x" else 0.0)
            for p in np.ravel(line_spacing_mm)
        ]
    ).reshape(np.shape(line_spacing_mm))

    def swept_s(profile: InkProfile) -> FloatArray:
        lines = profile.rows_mm / line_spacing_mm
        mean_mm = profile.hull_mm2 / max(profile.rows_mm, 1e-9)
        way_mm = mean_mm + speed_mm_per_s * ramp  # the line and both run-ups
        back = np.where(one_way, np.maximum(_travel_s(machine, way_mm, axis=axis) - step, 0.0), 0.0)
        each = 2.0 * ramp + step + back + machine.line_overhead_s
        hop_mm = profile.hops_mm / max(profile.islands - 1, 1)
        hops_s = (profile.islands - 1) * travel_time_s(
            machine, dx_mm=hop_mm / math.sqrt(2), dy_mm=hop_mm / math.sqrt(2)
        )
        burning_s = profile.hull_mm2 / (line_spacing_mm * speed_mm_per_s) + profile.wander_mm / speed_mm_per_s
        return np.asarray(passes * (burning_s + lines * each + hops_s))

    least = swept_s(whole)
    for profile in whole.parted:
        least = np.minimum(least, swept_s(profile))
    return np.asarray(least)


def _travel_s(machine: Machine, way_mm: FloatArray, *, axis: Axis) -> FloatArray:
    """Return the time of rapids along an axis. [s] Source: `move_time_s`."""
    return move_time_s(
        way_mm,
        speed_mm_per_s=machine.rapid_mm_per_s,
        accel_mm_per_s2=accel_mm_per_s2(machine, axis=axis),
        jerk_mm_per_s3=machine.jerk_mm_per_s3,
    )
