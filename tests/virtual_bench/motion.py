"""How the virtual head truly moves: look-ahead over corners, acceleration and jerk of each axis, what the controller adds."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from virtual_bench.machine import Machine
from virtual_bench.ngc import Move

FloatArray = NDArray[np.float64]


@dataclass(slots=True, kw_only=True)
class Stretch:
    """Moves in one line at one feed, run without a change of direction. `breaks` are (mm from the start, S from there on)."""

    x0_mm: float
    y0_mm: float
    ux: float
    uy: float
    length_mm: float
    feed_mm_per_s: float
    accel_mm_per_s2: float
    jerk_mm_per_s3: float
    breaks: list[tuple[float, float]] = field(default_factory=list)
    v_in_mm_per_s: float = 0.0
    v_out_mm_per_s: float = 0.0
    wait_s: float = 0.0

    @property
    def burns(self) -> bool:
        """Whether the laser is told to be on anywhere along it."""
        return any(word > 0.0 for _, word in self.breaks)


def ramp_s(dv_mm_per_s: float, accel: float, jerk: float) -> float:
    """Time to change speed by so much: an S in speed where jerk is limited, else straight. Jerk 0 is none."""
    dv = abs(dv_mm_per_s)
    if jerk <= 0.0:
        return dv / accel
    return dv / accel + accel / jerk if dv >= accel**2 / jerk else 2.0 * math.sqrt(dv / jerk)


def _ramp_mm(v0: float, v1: float, accel: float, jerk: float) -> float:
    return 0.5 * (v0 + v1) * ramp_s(v1 - v0, accel, jerk)


def _reached(v0: float, length_mm: float, limit: float, accel: float, jerk: float) -> float:
    """Greatest speed, up to a limit, that can be reached from v0 in a length."""
    if _ramp_mm(v0, limit, accel, jerk) <= length_mm:
        return limit
    if jerk <= 0.0:
        return min(limit, math.sqrt(v0 * v0 + 2.0 * accel * length_mm))
    low, high = v0, limit
    for _ in range(50):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if _ramp_mm(v0, middle, accel, jerk) <= length_mm else (low, middle)
    return low


def stretches_of(moves: Sequence[Move], machine: Machine) -> list[Stretch]:
    """Return the moves as the planner of the controller runs them, with the speed at every corner."""
    found: list[Stretch] = []
    waits = 0.0
    for m in moves:
        dx, dy = m.x1_mm - m.x0_mm, m.y1_mm - m.y0_mm
        length = math.hypot(dx, dy)
        if length < 1e-9:
            waits += m.wait_s
            continue
        ux, uy = dx / length, dy / length
        last = found[-1] if found else None
        same = last is not None and waits == 0.0 and abs(last.feed_mm_per_s - m.feed_mm_per_s) < 1e-9
        if last is not None and same and last.ux * ux + last.uy * uy > 1.0 - 1e-7:
            last.breaks.append((last.length_mm, m.word))
            last.length_mm += length
            continue
        reach = [
            a / abs(u) for a, u in ((machine.accel_x_mm_per_s2, ux), (machine.accel_y_mm_per_s2, uy)) if abs(u) > 1e-9
        ]
        accel = min(reach)
        jerk = machine.jerk_mm_per_s3 / max(abs(ux), abs(uy))
        found.append(
            Stretch(
                x0_mm=m.x0_mm,
                y0_mm=m.y0_mm,
                ux=ux,
                uy=uy,
                length_mm=length,
                feed_mm_per_s=m.feed_mm_per_s,
                accel_mm_per_s2=accel,
                jerk_mm_per_s3=jerk,
                breaks=[(0.0, m.word)],
                wait_s=waits,
            )
        )
        waits = 0.0
    _plan_corners(found, machine)
    return found


def _plan_corners(stretches: list[Stretch], machine: Machine) -> None:
    for a, b in pairwise(stretches):
        a.v_out_mm_per_s = 0.0 if b.wait_s > 0.0 else _corner_speed(a, b, machine)
    for n in range(len(stretches) - 1, -1, -1):  # backwards: what can still be braked
        s = stretches[n]
        s.v_in_mm_per_s = _reached(s.v_out_mm_per_s, s.length_mm, s.feed_mm_per_s, s.accel_mm_per_s2, s.jerk_mm_per_s3)
        if n:
            before = stretches[n - 1]
            before.v_out_mm_per_s = min(before.v_out_mm_per_s, s.v_in_mm_per_s)
    v = 0.0
    for s in stretches:
        s.v_in_mm_per_s = min(s.v_in_mm_per_s, v)
        top = _reached(s.v_in_mm_per_s, s.length_mm, s.feed_mm_per_s, s.accel_mm_per_s2, s.jerk_mm_per_s3)
        s.v_out_mm_per_s = v = min(s.v_out_mm_per_s, top)


def _corner_speed(a: Stretch, b: Stretch, machine: Machine) -> float:
    """Speed at which the circle that leaves the corner by `corner_mm` at most is gone round within the acceleration."""
    limit = min(a.feed_mm_per_s, b.feed_mm_per_s)
    cosine = a.ux * b.ux + a.uy * b.uy
    if cosine > 1.0 - 1e-7:
        return limit
    half = math.sqrt(max(0.0, 0.5 * (1.0 + cosine)))  # cosine of half the turn
    if half < 1e-3 or machine.corner_mm <= 0.0:
        return 0.0
    radius = machine.corner_mm * half / (1.0 - half)
    radius = min(radius, 0.5 * min(a.length_mm, b.length_mm) * half / math.sqrt(max(1e-12, 1.0 - half * half)))
    return min(limit, math.sqrt(min(a.accel_mm_per_s2, b.accel_mm_per_s2) * radius))


def peak_mm_per_s(s: Stretch) -> float:
    """Greatest speed of a stretch: its feed, or what its length leaves room for."""
    a, j = s.accel_mm_per_s2, s.jerk_mm_per_s3
    low, high = max(s.v_in_mm_per_s, s.v_out_mm_per_s), s.feed_mm_per_s

    def need(v: float) -> float:
        return _ramp_mm(s.v_in_mm_per_s, v, a, j) + _ramp_mm(v, s.v_out_mm_per_s, a, j)

    if need(high) <= s.length_mm:
        return high
    for _ in range(50):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if need(middle) <= s.length_mm else (low, middle)
    return low


def time_s(s: Stretch) -> float:
    """Time of a stretch, without what the controller adds."""
    a, j, v = s.accel_mm_per_s2, s.jerk_mm_per_s3, peak_mm_per_s(s)
    ramps = _ramp_mm(s.v_in_mm_per_s, v, a, j) + _ramp_mm(v, s.v_out_mm_per_s, a, j)
    cruise = max(0.0, s.length_mm - ramps) / v if v > 0.0 else 0.0
    return ramp_s(v - s.v_in_mm_per_s, a, j) + cruise + ramp_s(v - s.v_out_mm_per_s, a, j)


def program_s(stretches: Sequence[Stretch], machine: Machine) -> float:
    """Time of a program from the first point on: the rapid to it is over when the watch is started."""
    first = 1 if stretches and not stretches[0].burns else 0
    total = sum(s.wait_s + time_s(s) for s in stretches[first:])
    return total + machine.line_overhead_s * sum(s.burns for s in stretches)


def times_at(s: Stretch, places_mm: FloatArray) -> FloatArray:
    """Time at which the head passes places along a stretch, mm from its start, from the start on."""
    peak = peak_mm_per_s(s)
    up_mm, up_s = _ramp(s.v_in_mm_per_s, peak, s.accel_mm_per_s2, s.jerk_mm_per_s3)
    down_mm, down_s = _ramp(s.v_out_mm_per_s, peak, s.accel_mm_per_s2, s.jerk_mm_per_s3)
    cruise_s = max(0.0, s.length_mm - up_mm[-1] - down_mm[-1]) / peak
    total = up_s[-1] + cruise_s + down_s[-1]
    known_mm = np.concatenate([up_mm, (s.length_mm - down_mm)[::-1]])
    known_s = np.concatenate([up_s, (total - down_s)[::-1]])
    return np.asarray(np.interp(places_mm, known_mm, known_s))


def _ramp(v0: float, v1: float, accel: float, jerk: float) -> tuple[FloatArray, FloatArray]:
    """Places and times along a ramp from v0 up to v1."""
    whole = ramp_s(v1 - v0, accel, jerk)
    if whole <= 0.0:
        return np.zeros(1), np.zeros(1)
    t = np.linspace(0.0, whole, 161)
    if jerk <= 0.0:
        v = v0 + accel * t
    else:
        bend = min(accel / jerk, 0.5 * whole)
        rise = jerk * bend  # greatest acceleration that is reached
        v = np.where(
            t < bend,
            v0 + 0.5 * jerk * t**2,
            np.where(t < whole - bend, v0 + 0.5 * rise * bend + rise * (t - bend), v1 - 0.5 * jerk * (whole - t) ** 2),
        )
    step = 0.5 * (v[1:] + v[:-1]) * np.diff(t)
    return np.concatenate([[0.0], np.cumsum(step)]), t
