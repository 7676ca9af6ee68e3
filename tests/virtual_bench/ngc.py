"""A small interpreter of RS-274/NGC: what a controller does with a program, word for word. A third one, shared with nobody."""

from __future__ import annotations

import re
from dataclasses import dataclass

_WORD = re.compile(r"([A-Z])([+-]?(?:\d+\.?\d*|\.\d+))")
_KNOWN_G = {0, 1, 4, 17, 21, 90, 94}
_KNOWN_M = {2, 3, 4, 5}


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """One straight move; `word` is S while the laser is on, else 0. A dwell is a move of no length with a wait."""

    x0_mm: float
    y0_mm: float
    x1_mm: float
    y1_mm: float
    feed_mm_per_s: float
    word: float
    wait_s: float
    line: int


def moves_of(text: str, *, rapid_mm_per_s: float) -> list[Move]:
    """Return the moves of a program, in order. Raises ValueError on what this controller does not know."""
    moves: list[Move] = []
    x = y = 0.0
    motion, feed, word, on, ended = 0, 0.0, 0.0, False, False
    for number, raw in enumerate(text.splitlines(), start=1):
        line = re.sub(r"\([^()]*\)", "", raw).replace(" ", "").upper()
        if not line or line == "%":
            continue
        if ended:
            raise ValueError(f"line {number}: words after M2")
        words = _WORD.findall(line)
        if "".join(a + b for a, b in words) != line:
            raise ValueError(f"line {number}: not understood: {raw!r}")
        values: dict[str, float] = {}
        gs: list[int] = []
        for letter, digits in words:
            value = float(digits)
            if letter == "G":
                if value not in _KNOWN_G:
                    raise ValueError(f"line {number}: G{digits} is unknown here")
                gs.append(int(value))
            elif letter == "M":
                if value not in _KNOWN_M:
                    raise ValueError(f"line {number}: M{digits} is unknown here")
                on = value in {3, 4} if value != 2 else False
                ended = ended or value == 2
            elif letter in "FSXYPN":
                values[letter] = value
            elif letter != "Z":
                raise ValueError(f"line {number}: word {letter} is unknown here")
        feed = values.get("F", feed * 60.0) / 60.0
        word = values.get("S", word)
        if 4 in gs:
            moves.append(_at(x, y, wait_s=values.get("P", 0.0), line=number))
            continue
        motion = next((g for g in gs if g in {0, 1}), motion)
        if "X" not in values and "Y" not in values:
            continue
        to_x, to_y = values.get("X", x), values.get("Y", y)
        if motion == 1 and feed <= 0.0:
            raise ValueError(f"line {number}: G1 without a feed")
        speed = rapid_mm_per_s if motion == 0 else min(feed, rapid_mm_per_s)
        lit = word if on else 0.0
        moves.append(
            Move(x0_mm=x, y0_mm=y, x1_mm=to_x, y1_mm=to_y, feed_mm_per_s=speed, word=lit, wait_s=0.0, line=number)
        )
        x, y = to_x, to_y
    if not ended:
        raise ValueError("the program does not end with M2")
    return moves


def _at(x: float, y: float, *, wait_s: float, line: int) -> Move:
    return Move(x0_mm=x, y0_mm=y, x1_mm=x, y1_mm=y, feed_mm_per_s=0.0, word=0.0, wait_s=wait_s, line=line)
