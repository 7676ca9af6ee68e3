"""A second, independent interpreter of RS-274/NGC, for tests only: what a program burns and how long it takes.

It shares no code with evenburn. It knows the words a raster program needs and refuses every other.
Source: [nistir6556], sections 3.3 to 3.8; times by ruckig, an independent trajectory library.
"""

from __future__ import annotations

import functools
import re
from dataclasses import dataclass

import ruckig

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
    strokes: list[Stroke], *, accel: tuple[float, float], jerk: float | None, line_overhead_s: float = 0.0
) -> float:
    """Return the time of all moves; straight runs at one speed do not stop in between."""
    runs: list[list[Stroke]] = []
    for stroke in strokes:
        last = runs[-1][-1] if runs else None
        dx, dy = stroke.end[0] - stroke.start[0], stroke.end[1] - stroke.start[1]
        if last is not None:
            ex, ey = last.end[0] - last.start[0], last.end[1] - last.start[1]
            on = abs(dx * ey - dy * ex) < 1e-9 * max(1.0, abs(dx * ex + dy * ey)) and dx * ex + dy * ey > 0.0
            if on and last.rapid == stroke.rapid and last.speed_mm_per_s == stroke.speed_mm_per_s:
                runs[-1].append(stroke)
                continue
        runs.append([stroke])
    total = 0.0
    for run in runs:
        length = sum(s.length_mm for s in run)
        if length == 0.0:
            continue
        ux = abs(run[-1].end[0] - run[0].start[0]) / length
        uy = abs(run[-1].end[1] - run[0].start[1]) / length
        limit = min(a / u for a, u in zip(accel, (ux, uy), strict=True) if u > 1e-12)
        total += _rest_to_rest_s(round(length, 6), run[0].speed_mm_per_s, round(limit, 6), jerk)
        total += line_overhead_s * any(s.power_word > 0.0 for s in run)
    return total
