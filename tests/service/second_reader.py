"""A second, independent interpreter of RS-274/NGC, for tests only: what a program burns and how long it takes.

It shares no code with evenburn. It knows the words our programs need and refuses every other.
Source: [nistir6556], sections 3.3 to 3.8; times by ruckig, an independent trajectory library, where moves run in one line;
where they bend, by a plain look-ahead over circles that touch both sides of a corner.
"""

from __future__ import annotations

import functools
import math
import re
from dataclasses import dataclass
from itertools import pairwise

import ruckig

Point = tuple[float, float]
WORD = re.compile(r"([A-Z])\s*([+-]?(?:\d+\.?\d*|\.\d+))")


@dataclass(frozen=True)
class Stroke:
    """One straight move: from, to, whether rapid, feed in mm/s, S word while it runs."""

    start: tuple[float, float]
    end: tuple[float, float]
    rapid: bool
    speed_mm_per_s: float
    power_word: float

    @property
    def length_mm(self) -> float:
        return ((self.end[0] - self.start[0]) ** 2 + (self.end[1] - self.start[1]) ** 2) ** 0.5


def interpret(text: str, *, rapid_mm_per_s: float) -> list[Stroke]:
    """Return the moves of a program; raises AssertionError on anything it must not hold."""
    strokes: list[Stroke] = []
    at: tuple[float | None, float | None] = (None, None)
    spindle, power, feed, ended = False, 0.0, 0.0, False
    seen: set[str] = set()
    for number, raw in enumerate(text.split("\n"), start=1):
        line = re.sub(r"\([^()]*\)", "", raw).strip()
        assert not set("()") & set(line), f"line {number}: unclosed comment"
        assert len(raw) < 80, f"line {number}: {len(raw)} characters"
        if not line:
            continue
        assert not ended, f"line {number}: words after the end"
        words = WORD.findall(line)
        assert re.sub(r"\s", "", line) == "".join(a + b for a, b in words), f"line {number}: not read whole: {line}"
        codes = [(letter, float(value)) for letter, value in words]
        values = {letter: value for letter, value in codes if letter in "XYFSP"}
        gs = [value for letter, value in codes if letter == "G"]
        ms = [value for letter, value in codes if letter == "M"]
        assert all(letter in "GMXYFSP" for letter, _ in codes), f"line {number}: {line}"
        feed = values.get("F", feed * 60.0) / 60.0
        power = values.get("S", power)
        for m in ms:
            assert m in (2.0, 3.0, 4.0, 5.0), f"line {number}: M{m}"
            spindle = {3.0: True, 4.0: True}.get(m, False)
            ended = ended or m == 2.0
        for g in gs:
            assert g in (0.0, 1.0, 4.0, 17.0, 21.0, 90.0, 94.0), f"line {number}: G{g}"
            seen.add(f"G{g:.0f}")
        motion = next((g for g in gs if g in (0.0, 1.0)), None)
        if "X" in values or "Y" in values:
            assert {"G21", "G90", "G94", "G17"} <= seen, f"line {number}: moves before the units are set"
            assert motion is not None, f"line {number}: a move without its own G word"
            to = (values.get("X", at[0]), values.get("Y", at[1]))
            burning = power if spindle else 0.0
            if at[0] is not None and at[1] is not None and to[0] is not None and to[1] is not None:
                speed = rapid_mm_per_s if motion == 0.0 else feed
                strokes.append(Stroke((at[0], at[1]), (to[0], to[1]), motion == 0.0, speed, burning))
            else:
                assert burning == 0.0, f"line {number}: burns from an unknown place"
            at = to
        else:
            assert motion is None
            assert not (spindle and power > 0.0), f"line {number}: burns at rest"
    assert ended, "does not end"
    assert not spindle, "ends with the laser on"
    return strokes


@functools.lru_cache(maxsize=100_000)
def _rest_to_rest_s(length_mm: float, speed: float, accel: float, jerk: float | None) -> float:
    if length_mm == 0.0:
        return 0.0
    calculator = ruckig.Ruckig(1)
    wish = ruckig.InputParameter(1)
    wish.current_position, wish.target_position = [0.0], [length_mm]
    wish.max_velocity, wish.max_acceleration = [speed], [accel]
    wish.max_jerk = [jerk if jerk is not None else float("inf")]
    path = ruckig.Trajectory(1)
    result = calculator.calculate(wish, path)
    assert result in (ruckig.Result.Working, ruckig.Result.Finished)
    return float(path.duration)


def time_s(
    strokes: list[Stroke],
    *,
    accel: tuple[float, float],
    jerk: float | None,
    line_overhead_s: float = 0.0,
    corner_tolerance_mm: float = 0.02,
) -> float:
    """Return the time of all moves; runs of burning moves at one speed do not stop in between, rapids always do."""
    runs: list[list[Stroke]] = []
    for stroke in strokes:
        if stroke.length_mm == 0.0:
            continue
        last = runs[-1][-1] if runs else None
        if last is not None and not last.rapid and not stroke.rapid and last.speed_mm_per_s == stroke.speed_mm_per_s:
            runs[-1].append(stroke)
        else:
            runs.append([stroke])
    total = 0.0
    for run in runs:
        corners = _corners([run[0].start, *(stroke.end for stroke in run)])
        if len(corners) == 2:
            dx, dy = (abs(here - there) for here, there in zip(run[-1].end, run[0].start, strict=True))
            length = math.hypot(dx, dy)
            limit = min(a * length / d for a, d in zip(accel, (dx, dy), strict=True) if d > 1e-12)
            total += _rest_to_rest_s(round(length, 6), run[0].speed_mm_per_s, round(limit, 6), jerk)
            total += line_overhead_s * any(s.power_word > 0.0 for s in run)
            continue
        for stretch in _stretches(run, corners):
            sides = [_way(part) for part in stretch]
            total += _around_corners_s(sides, run[0].speed_mm_per_s, accel, jerk, corner_tolerance_mm)
            total += line_overhead_s * any(s.power_word > 0.0 for part in stretch for s in part)
    return total


def _corners(points: list[Point]) -> list[int]:
    """Return where straight sides begin and end: each as long as all points on it keep within 2 µm of its line."""
    if _one_scan_line(points):
        return [0, len(points) - 1]
    corners = [0]
    for end in range(2, len(points)):
        x0, y0 = points[corners[-1]]
        dx, dy = points[end][0] - x0, points[end][1] - y0
        span = math.hypot(dx, dy)
        foot = 0.0
        for x, y in points[corners[-1] + 1 : end]:
            ax, ay = x - x0, y - y0
            on = (ax * dx + ay * dy) / span if span > 0.0 else -1.0
            if not foot < on < span or abs(ax * dy - ay * dx) > 0.002 * span:
                corners.append(end - 1)
                break
            foot = on
    corners.append(len(points) - 1)
    return corners


def _one_scan_line(points: list[Point]) -> bool:
    """Return whether all points lie on one line along an axis, one after another: most runs do, and are long."""
    xs, ys = zip(*points, strict=True)
    for along, across in ((xs, ys), (ys, xs)):
        if len(set(across)) == 1:
            steps = [b - a for a, b in pairwise(along)]
            return all(step > 0.0 for step in steps) or all(step < 0.0 for step in steps)
    return False


def _way(side: list[Stroke]) -> Point:
    return side[-1].end[0] - side[0].start[0], side[-1].end[1] - side[0].start[1]


def _stretches(run: list[Stroke], corners: list[int]) -> list[list[list[Stroke]]]:
    """Return the sides of a run, parted where it turns back by more than 172 degrees: there the head rests."""
    sides = [run[a:b] for a, b in pairwise(corners)]
    stretches = [[sides[0]]]
    for before, after in pairwise(sides):
        (ax, ay), (bx, by) = _way(before), _way(after)
        if ax * bx + ay * by <= -0.99 * math.hypot(ax, ay) * math.hypot(bx, by):
            stretches.append([])
        stretches[-1].append(after)
    return stretches


def _around_corners_s(
    sides: list[Point], feed: float, accel: tuple[float, float], jerk: float | None, tolerance_mm: float
) -> float:
    """Return the time along sides without a stop: each corner at the speed its circle holds, trapezoids between."""
    lengths = [math.hypot(*side) for side in sides]
    limits = [
        min(a * n / abs(d) for a, d in zip(accel, s, strict=True) if d != 0.0)
        for s, n in zip(sides, lengths, strict=True)
    ]
    inward = min(accel)
    if jerk is not None:
        top = min(feed, _highest(sum(lengths), min(limits), jerk))
        limits = [_mean_accel(a, top, jerk) for a in limits]
        inward = _mean_accel(inward, top, jerk)
    speeds = [0.0]
    for (ax, ay), (bx, by), before, after in zip(sides, sides[1:], lengths, lengths[1:], strict=False):
        opening = math.pi - math.acos(max(-1.0, min(1.0, (ax * bx + ay * by) / (before * after))))
        # a circle in an angle touches its sides r / tan(opening/2) away and leaves its corner by r / sin(opening/2) − r
        by_side = 0.5 * min(before, after) * math.tan(0.5 * opening)
        sine = math.sin(0.5 * opening)
        by_corner = tolerance_mm * sine / (1.0 - sine) if sine < 1.0 else math.inf
        speeds.append(min(feed, math.sqrt(inward * min(by_side, by_corner))))
    speeds.append(0.0)
    for k, (length, limit) in enumerate(zip(lengths, limits, strict=True)):
        speeds[k + 1] = min(speeds[k + 1], math.sqrt(speeds[k] ** 2 + 2.0 * limit * length))
    for k in reversed(range(len(sides))):
        speeds[k] = min(speeds[k], math.sqrt(speeds[k + 1] ** 2 + 2.0 * limits[k] * lengths[k]))
    total = 0.0
    for u, v, length, limit in zip(speeds, speeds[1:], lengths, limits, strict=False):
        peak = min(feed, math.sqrt(limit * length + 0.5 * (u * u + v * v)))
        ways = (peak * peak - u * u) / (2.0 * limit) + (peak * peak - v * v) / (2.0 * limit)
        total += (peak - u) / limit + (peak - v) / limit + max(0.0, length - ways) / peak
    return total


def _start_s(speed: float, limit: float, jerk: float) -> float:
    """Return the time of a start from rest to a speed."""
    return speed / limit + limit / jerk if speed * jerk > limit * limit else 2.0 * math.sqrt(speed / jerk)


def _mean_accel(limit: float, speed: float, jerk: float) -> float:
    return speed / _start_s(speed, limit, jerk)


def _highest(length: float, limit: float, jerk: float) -> float:
    """Return the speed at which a start and a stop, each at half of it in the mean, fill a length; by halving."""
    low, high = 0.0, math.sqrt(limit * length)
    for _ in range(100):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if middle * _start_s(middle, limit, jerk) < length else (low, middle)
    return low
