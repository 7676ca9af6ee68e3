"""A clock for straight moves, for tests only: trapezoids, double S from rest to rest, corners on their circles.

It shares no code with evenburn nor with the reader of the service tests, and goes another way about it: places are
sorted into sides by an opening cone, tops of double S are found by halving, and every move's own time is read off the
finished profile. Sources: [biagiotti2008] 3.2 and 3.4; [siciliano2009] for the trapezoid.

What it takes for granted is what docs/how-it-works/motion.md promises of a controller: feed moves at one feed run through,
a corner is rounded within the tolerance, a turn back by more than 172 degrees is a stop, and jerk counts in the mean.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

from interpreter.language import Move

BESIDE_mm = 0.002  # a place so near to a straight line may be a rounded place on it …
ROUNDED_mm = 0.001  # … which its own rounding leaves open by so much
BACK = math.cos(math.radians(172.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """What a bench allows."""

    rapid_mm_per_s: float
    accel_x_mm_per_s2: float
    accel_y_mm_per_s2: float
    jerk_mm_per_s3: float | None
    overhead_s: float
    tolerance_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Times:
    """Time of every move, in their order, and what the controller adds to lines that burn. [s]"""

    moves_s: list[float]
    overheads: int
    overhead_s: float

    def total_s(self) -> float:
        """Return all of it."""
        return sum(self.moves_s) + self.overheads * self.overhead_s


@dataclass(frozen=True, slots=True)
class _Side:
    """A straight piece of way: the numbers of its moves, its length, and the acceleration it allows."""

    first: int
    last: int
    dx: float
    dy: float
    length: float
    accel: float


def times_of(moves: Sequence[Move], pace: Pace, *, beside_mm: float = BESIDE_mm) -> Times:
    """Return the time of each move; a move from a place not known takes none."""
    taken = [0.0] * len(moves)
    overheads = 0
    at = 0
    while at < len(moves):
        move = moves[at]
        if _length(move) == 0.0 or math.isnan(_length(move)):
            at += 1
            continue
        if move.is_rapid:
            accel = _along(move.x1_mm - move.x0_mm, move.y1_mm - move.y0_mm, pace)
            taken[at] = rest_to_rest_s(_length(move), pace.rapid_mm_per_s, accel, pace.jerk_mm_per_s3)
            at += 1
            continue
        end = at + 1
        while end < len(moves) and _goes_on(moves[end], move):
            end += 1
        for stretch in _stretches(_sides(moves, at, end, pace, beside_mm)):
            _time(moves, stretch, move.feed_mm_per_s, pace, taken)
            overheads += any(moves[n].word > 0.0 for side in stretch for n in range(side.first, side.last))
        at = end
    return Times(moves_s=taken, overheads=overheads, overhead_s=pace.overhead_s)


def times_left_open(moves: Sequence[Move], pace: Pace) -> tuple[Times, ...]:
    """Return the times as places a little less and a little more beside a line count as on it.

    Of outlines some micrometres thin it is the rounding of places that says whether a tip is a corner or a turn back.
    """
    return tuple(times_of(moves, pace, beside_mm=BESIDE_mm + by) for by in (0.0, -ROUNDED_mm, ROUNDED_mm))


def _length(move: Move) -> float:
    return math.hypot(move.x1_mm - move.x0_mm, move.y1_mm - move.y0_mm)


def _goes_on(move: Move, first: Move) -> bool:
    return not move.is_rapid and not move.after_rest and move.feed_mm_per_s == first.feed_mm_per_s


def _along(dx: float, dy: float, pace: Pace) -> float:
    """Return the acceleration along a direction, each axis within its own."""
    length = math.hypot(dx, dy)
    x = pace.accel_x_mm_per_s2 * length / abs(dx) if dx else math.inf
    y = pace.accel_y_mm_per_s2 * length / abs(dy) if dy else math.inf
    return min(x, y)


def ramp_s(speed: float, accel: float, jerk: float | None) -> float:
    """Return the time from rest to a speed."""
    if jerk is None:
        return speed / accel
    return speed / accel + accel / jerk if speed >= accel * accel / jerk else 2.0 * math.sqrt(speed / jerk)


@lru_cache(maxsize=65536)
def top_speed(length: float, feed: float, accel: float, jerk: float | None) -> float:
    """Return the highest speed on a way from rest to rest, by halving: both ramps have to fit, at half of it each."""
    if feed * ramp_s(feed, accel, jerk) <= length:
        return feed
    low, high = 0.0, feed
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if middle * ramp_s(middle, accel, jerk) <= length else (low, middle)
    return 0.5 * (low + high)


def rest_to_rest_s(length: float, feed: float, accel: float, jerk: float | None) -> float:
    """Return the time of a straight way from rest to rest: two ramps, and what is left between them at the top."""
    top = top_speed(length, feed, accel, jerk)
    ramp = ramp_s(top, accel, jerk)
    return 2.0 * ramp + max(0.0, length - top * ramp) / top


def _sides(moves: Sequence[Move], begin: int, end: int, pace: Pace, beside_mm: float) -> list[_Side]:
    """Return the straight sides of moves that run through: a cone from each corner, as wide as what lies beside allows."""
    sides: list[_Side] = []
    first = begin
    while first < end:
        x0, y0 = moves[first].x0_mm, moves[first].y0_mm
        low, high, reach, last, axis = -math.inf, math.inf, 0.0, first, None
        for n in range(first, end):
            dx, dy = moves[n].x1_mm - x0, moves[n].y1_mm - y0
            far = math.hypot(dx, dy)
            if axis is None:
                if far > 0.0:
                    axis = math.atan2(dy, dx)
                    low, high, reach = _opened(low, high, 0.0, far, beside_mm)
                    reach = far
                last = n + 1
                continue
            turn = math.remainder(math.atan2(dy, dx) - axis, 2.0 * math.pi)
            stays = far == reach and _length(moves[n]) == 0.0
            if (far <= reach or not low <= turn <= high) and not stays:
                break
            low, high, _ = _opened(low, high, turn, far, beside_mm)
            reach, last = far, n + 1
        dx, dy = moves[last - 1].x1_mm - x0, moves[last - 1].y1_mm - y0
        length = math.hypot(dx, dy)
        if length > 0.0:
            sides.append(_Side(first, last, dx, dy, length, _along(dx, dy, pace)))
        first = last
    return sides


def _opened(low: float, high: float, turn: float, far: float, beside_mm: float) -> tuple[float, float, float]:
    """Return the cone narrowed by a place."""
    half = math.asin(min(1.0, beside_mm / far))
    return max(low, turn - half), min(high, turn + half), far


def _stretches(sides: list[_Side]) -> list[list[_Side]]:
    """Return sides parted at turns back."""
    parted: list[list[_Side]] = []
    for side in sides:
        if parted and not _cosine(parted[-1][-1], side) <= BACK:
            parted[-1].append(side)
        else:
            parted.append([side])
    return parted


def _cosine(one: _Side, other: _Side) -> float:
    return (one.dx * other.dx + one.dy * other.dy) / (one.length * other.length)


def _corner_speed(one: _Side, other: _Side, inward: float, tolerance_mm: float) -> float:
    """Return the speed on the circle that touches two sides within their halves and leaves the corner no further."""
    cosine = max(-1.0, min(1.0, _cosine(one, other)))
    cos_half = math.sqrt(0.5 * (1.0 + cosine))
    sin_half = math.sqrt(max(0.0, 0.5 * (1.0 - cosine)))
    if sin_half == 0.0:
        return math.inf
    by_corner = tolerance_mm * cos_half * (1.0 + cos_half) / sin_half**2  # 1 − cos = sin²/(1 + cos)
    by_sides = 0.5 * min(one.length, other.length) * cos_half / sin_half
    return math.sqrt(inward * min(by_corner, by_sides))


def _time(moves: Sequence[Move], sides: list[_Side], feed: float, pace: Pace, taken: list[float]) -> None:
    """Write the times of the moves of one stretch, from rest to rest."""
    jerk = pace.jerk_mm_per_s3
    if jerk is not None and len(sides) == 1:
        top = top_speed(sides[0].length, feed, sides[0].accel, jerk)
        mean = top / ramp_s(top, sides[0].accel, jerk)
        _time_within(moves, sides[0], (0.0, 0.0), taken, cap=top, accel=mean)
        return
    top = top_speed(sum(s.length for s in sides), feed, min(s.accel for s in sides), jerk)
    accels = [top / ramp_s(top, s.accel, jerk) for s in sides] if jerk is not None else [s.accel for s in sides]
    slower = min(pace.accel_x_mm_per_s2, pace.accel_y_mm_per_s2)
    inward = top / ramp_s(top, slower, jerk) if jerk is not None else slower
    speeds = [0.0]
    for one, other in pairwise(sides):
        speeds.append(min(feed, _corner_speed(one, other, inward, pace.tolerance_mm)))
    speeds.append(0.0)
    for n, (side, accel) in enumerate(zip(sides, accels, strict=True)):
        speeds[n + 1] = min(speeds[n + 1], math.sqrt(speeds[n] ** 2 + 2.0 * accel * side.length))
    for n in range(len(sides) - 1, -1, -1):
        speeds[n] = min(speeds[n], math.sqrt(speeds[n + 1] ** 2 + 2.0 * accels[n] * sides[n].length))
    for n, side in enumerate(sides):
        _time_within(moves, side, (speeds[n], speeds[n + 1]), taken, cap=feed, accel=accels[n])


def _time_within(
    moves: Sequence[Move], side: _Side, ends: tuple[float, float], taken: list[float], *, cap: float, accel: float
) -> None:
    """Write the times of the moves of one side: up from the speed it is entered at, even, down to where it is left."""
    enter, leave = ends
    length = side.length
    peak = min(cap, math.sqrt(0.5 * (enter**2 + leave**2) + accel * length))
    peak = max(peak, enter, leave)
    rise, fall = (peak**2 - enter**2) / (2.0 * accel), (peak**2 - leave**2) / (2.0 * accel)
    even = max(0.0, length - rise - fall)
    whole_s = (2.0 * peak - enter - leave) / accel + even / peak

    def since_s(way: float) -> float:
        if way <= rise:
            return (math.sqrt(enter**2 + 2.0 * accel * max(way, 0.0)) - enter) / accel
        if way <= rise + even:
            return (peak - enter) / accel + (way - rise) / peak
        return whole_s - (math.sqrt(leave**2 + 2.0 * accel * max(length - way, 0.0)) - leave) / accel

    x0, y0 = moves[side.first].x0_mm, moves[side.first].y0_mm
    before = 0.0
    for n in range(side.first, side.last):
        dx, dy = moves[n].x1_mm - x0, moves[n].y1_mm - y0
        way = length if n == side.last - 1 else (dx * side.dx + dy * side.dy) / length
        now = since_s(way)
        taken[n] = now - before
        before = now
