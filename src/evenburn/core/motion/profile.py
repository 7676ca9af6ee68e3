"""Rest-to-rest moves: trapezoid by default, jerk-limited (double S) where the machine has a jerk value."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


def time_to_speed_s(speed_mm_per_s: ArrayLike, *, accel_mm_per_s2: float, jerk_mm_per_s3: float | None) -> FloatArray:
    """Return the time from rest to a speed. [s]

    Source
    ------
    [biagiotti2008], 3.2 (v/a) and 3.4 (v/a + a/j, or 2 √(v/j) where full acceleration is not reached).
    """
    v = np.asarray(speed_mm_per_s, dtype=np.float64)
    if jerk_mm_per_s3 is None:
        return np.asarray(v / accel_mm_per_s2, dtype=np.float64)
    ramp_s = accel_mm_per_s2 / jerk_mm_per_s3
    return np.where(
        v >= accel_mm_per_s2 * ramp_s, v / accel_mm_per_s2 + ramp_s, 2.0 * np.sqrt(np.maximum(v, 0.0) / jerk_mm_per_s3)
    )


def run_up_mm(speed_mm_per_s: ArrayLike, *, accel_mm_per_s2: float, jerk_mm_per_s3: float | None) -> FloatArray:
    """Return the distance from rest to a speed: v²/2a, or v (v/a + a/j)/2 with limited jerk. [mm]

    Source
    ------
    [biagiotti2008], 3.2 and 3.4: the mean speed on the way is half the speed reached.
    """
    v = np.asarray(speed_mm_per_s, dtype=np.float64)
    return np.asarray(
        0.5 * v * time_to_speed_s(v, accel_mm_per_s2=accel_mm_per_s2, jerk_mm_per_s3=jerk_mm_per_s3), dtype=np.float64
    )


def speed_within_mm_per_s(room_mm: float, *, accel_mm_per_s2: float, jerk_mm_per_s3: float | None) -> float:
    """Return the greatest speed whose run-up fits into a room. [mm/s]

    Source
    ------
    Own derivation: `run_up_mm` solved for speed.
    """
    if room_mm <= 0.0:
        return 0.0
    a = accel_mm_per_s2
    if jerk_mm_per_s3 is None:
        return math.sqrt(2.0 * a * room_mm)
    ramp_s = a / jerk_mm_per_s3
    speed = 0.5 * a * (-ramp_s + math.sqrt(ramp_s * ramp_s + 8.0 * room_mm / a))
    return speed if speed >= a * ramp_s else (room_mm * room_mm * jerk_mm_per_s3) ** (1.0 / 3.0)


def move_time_s(
    distance_mm: ArrayLike, *, speed_mm_per_s: float, accel_mm_per_s2: float, jerk_mm_per_s3: float | None
) -> FloatArray:
    """Return the time of moves from rest to rest, reaching the speed where the distance allows. [s]

    Source
    ------
    [biagiotti2008], 3.2 and 3.4; a short move peaks at the speed whose two run-ups fill it.
    """
    length = np.abs(np.asarray(distance_mm, dtype=np.float64))
    ramp_s = float(time_to_speed_s(speed_mm_per_s, accel_mm_per_s2=accel_mm_per_s2, jerk_mm_per_s3=jerk_mm_per_s3))
    a = accel_mm_per_s2
    if jerk_mm_per_s3 is None:
        short = 2.0 * np.sqrt(length / a)
    else:
        j = jerk_mm_per_s3
        full = 0.5 * a * (-a / j + np.sqrt((a / j) ** 2 + 4.0 * length / a))
        peak = np.where(full >= a * a / j, full, np.cbrt(0.25 * length * length * j))
        short = 2.0 * time_to_speed_s(peak, accel_mm_per_s2=a, jerk_mm_per_s3=j)
    return np.where(length >= speed_mm_per_s * ramp_s, length / speed_mm_per_s + ramp_s, short)
