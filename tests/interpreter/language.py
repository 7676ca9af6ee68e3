"""RS-274/NGC, interpreted once more from the report alone, for tests only: a text becomes straight moves, or is refused.

It shares no code with evenburn, nor with the reader of the service tests. Modal groups, order of execution, numbers and
blanks are those of [nistir6556], tables 4 and 8 and section 3.3. What a bench's program never needs (arcs, canned cycles,
tools, parameters, inverse time) is refused as not spoken, so that no test passes over it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from math import nan

MM_PER_INCH = 25.4
LONGEST_LINE = 255  # 256 with its end
MOST_M_WORDS = 4
WHOLE_WITHIN = 1e-4

# [nistir6556] Table 4, codes ten times over
G_GROUP = {
    "dwell and the like": "4 10 28 30 53 92 92.1 92.2 92.3",
    "motion": "0 1 2 3 38.2 80 81 82 83 84 85 86 87 88 89",
    "plane": "17 18 19",
    "distance": "90 91",
    "feed mode": "93 94",
    "units": "20 21",
    "cutter radius": "40 41 42",
    "tool length": "43 49",
    "return": "98 99",
    "coordinates": "54 55 56 57 58 59 59.1 59.2 59.3",
    "path": "61 61.1 64",
}
M_GROUP = {"stop": "0 1 2 30 60", "tool": "6", "laser": "3 4 5", "air": "7 8 9", "overrides": "48 49"}
GROUP_OF_G = {round(float(code) * 10): group for group, codes in G_GROUP.items() for code in codes.split()}
GROUP_OF_M = {int(code): group for group, codes in M_GROUP.items() for code in codes.split()}
SPOKEN_G = {0, 10, 40, 170, 200, 210, 400, 490, 540, 610, 640, 800, 900, 910, 940}
SPOKEN_M = {0, 1, 2, 3, 4, 5, 7, 8, 9, 30, 48, 49}
AXES_OF_OTHERS = {"dwell and the like"}

WORD = re.compile(r"([A-Z])([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+))")
NUMBERED = re.compile(r"N[0-9]{1,5}(?![0-9.])")


class Refused(Exception):
    """A line that the language does not allow, or that is not spoken here."""

    def __init__(self, line: int, why: str) -> None:
        super().__init__(f"line {line}: {why}")
        self.line = line
        self.why = why


@dataclass(frozen=True, slots=True)
class Move:
    """One straight move as it is executed; `word` is the S word while the laser is on, else 0; nan: place not known."""

    x0_mm: float
    y0_mm: float
    x1_mm: float
    y1_mm: float
    is_rapid: bool
    feed_mm_per_s: float
    word: float
    after_rest: bool  # something before it holds the head: the laser's switch, a dwell, a pause
    line: int


@dataclass(slots=True)
class Tape:
    """What a program does. `lit_at_rest` are lines at which light comes out while the head stands still."""

    moves: list[Move] = field(default_factory=list)
    dwell_s: float = 0.0
    pauses: int = 0
    lit_at_rest: list[int] = field(default_factory=list)
    switched: list[tuple[int, bool]] = field(default_factory=list)  # number of moves before, on or off
    ended_off: bool = False
    comments: list[str] = field(default_factory=list)


@dataclass(slots=True)
class _Modes:
    motion: int | None = None
    scale: float | None = None
    incremental: bool | None = None
    feed_mode: bool = False
    plane: bool = False
    feed_mm_per_s: float = nan
    speed_word: float = nan
    is_on: bool = False
    x_mm: float = nan
    y_mm: float = nan
    rested: bool = True


def interpret(text: str) -> Tape:
    """Return what a program does.

    Raises
    ------
    Refused
        At the first line that breaks the language or says what is not spoken here; or if the program does not end.
    """
    tape, modes = Tape(), _Modes()
    lines = text.split("\n")
    framed = next((line.strip() for line in lines if line.strip()), "") == "%"
    opened = ended = False
    for number, raw in enumerate(lines, start=1):
        if len(raw) > LONGEST_LINE:
            raise Refused(number, f"{len(raw)} characters")
        if framed and raw.strip() == "%":
            if opened:
                if any(rest.strip() for rest in lines[number:]):
                    raise Refused(number, "words behind the closing percent sign")
                break
            opened = True
            continue
        words = _words(raw, number, tape)
        if not words:
            continue
        if ended:
            raise Refused(number, "words behind the end")
        ended = _execute(words, number, modes, tape)
    if not ended and not framed:
        raise Refused(len(lines), "no M2 or M30")
    tape.ended_off = not modes.is_on
    return tape


def _words(raw: str, number: int, tape: Tape) -> list[tuple[str, float]]:
    """Return the words of a line: comments taken out and kept, blanks dropped, letters in capitals."""
    text, depth = raw, 0
    plain: list[str] = []
    comment: list[str] = []
    if "(" in text or ")" in text:
        for sign in text:
            if sign == "(":
                if depth:
                    raise Refused(number, "a comment within a comment")
                depth = 1
                if plain and plain[-1].isalpha():
                    raise Refused(number, "a comment between a letter and its number")
            elif sign == ")":
                if not depth:
                    raise Refused(number, "a comment closed that was not opened")
                depth = 0
                tape.comments.append("".join(comment))
                comment = []
            else:
                (comment if depth else plain).append(sign)
        if depth:
            raise Refused(number, "a comment that is not closed")
        text = "".join(plain)
    text = text.replace(" ", "").replace("\t", "").rstrip("\r").upper()
    if not text:
        return []
    if text[0] == "/":
        raise Refused(number, "a block that may be left out")
    if text[0] == "N":
        found = NUMBERED.match(text)
        if found is None:
            raise Refused(number, "a line number of one to five digits")
        text = text[found.end() :]
    words, at = [], 0
    for found in WORD.finditer(text):
        if found.start() != at:
            break
        words.append((found[1], float(found[2])))
        at = found.end()
    if at != len(text):
        raise Refused(number, f"not a word: {text[at : at + 20]}")
    return words


def _sorted(words: list[tuple[str, float]], number: int) -> tuple[dict[str, int], dict[str, int], dict[str, float]]:
    """Return the G and M codes of a line by modal group, and its other words by letter."""
    g: dict[str, int] = {}
    m: dict[str, int] = {}
    values: dict[str, float] = {}
    for letter, value in words:
        if letter == "G":
            code = round(10.0 * value)
            if code not in GROUP_OF_G or abs(10.0 * value - code) > 10.0 * WHOLE_WITHIN:
                raise Refused(number, f"G{value:g} is no code")
            _put(g, GROUP_OF_G[code], code, number)
        elif letter == "M":
            code = round(value)
            if code not in GROUP_OF_M or abs(value - code) > WHOLE_WITHIN:
                raise Refused(number, f"M{value:g} is no code")
            _put(m, GROUP_OF_M[code], code, number)
        elif letter in "XYFSP":
            if letter in values:
                raise Refused(number, f"two {letter} words")
            values[letter] = value
        else:
            raise Refused(number, f"{letter} is not spoken here")
    if len(m) > MOST_M_WORDS:
        raise Refused(number, f"{len(m)} M words")
    if not set(g.values()) <= SPOKEN_G or not set(m.values()) <= SPOKEN_M:
        raise Refused(number, f"a code that is not spoken here: {sorted(g.values())} {sorted(m.values())}")
    return g, m, values


def _put(codes: dict[str, int], group: str, code: int, number: int) -> None:
    if group in codes:
        raise Refused(number, f"two codes of the group {group}")
    codes[group] = code


def _execute(words: list[tuple[str, float]], number: int, modes: _Modes, tape: Tape) -> bool:
    """Carry out a line in the order of [nistir6556] Table 8; return whether the program ends with it."""
    g, m, values = _sorted(words, number)
    modes.feed_mode = modes.feed_mode or "feed mode" in g
    if "F" in values:
        if modes.scale is None:
            raise Refused(number, "a feed before its units")
        if not values["F"] > 0.0:
            raise Refused(number, f"a feed of {values['F']:g}")
        modes.feed_mm_per_s = values["F"] * modes.scale / 60.0
    if "S" in values:
        if values["S"] < 0.0:
            raise Refused(number, f"S{values['S']:g}")
        modes.speed_word = values["S"]
    if "laser" in m:
        modes.is_on = m["laser"] in (3, 4)
        modes.rested = True
        tape.switched.append((len(tape.moves), modes.is_on))
        if modes.is_on and modes.speed_word != modes.speed_word:
            raise Refused(number, "the laser is switched on without an S word")
    _dwell(g, values, number, modes, tape)
    modes.plane = modes.plane or g.get("plane") == 170
    if "units" in g:
        modes.scale = MM_PER_INCH if g["units"] == 200 else 1.0
    if "distance" in g:
        modes.incremental = g["distance"] == 910
    if "motion" in g:
        modes.motion = None if g["motion"] == 800 else g["motion"]
        if modes.motion is not None and not {"X", "Y"} & set(values):
            raise Refused(number, "a motion without X or Y")
    if {"X", "Y"} & set(values):
        _move(values, number, modes, tape)
    elif _lit(modes) > 0.0 and ("S" in values or "laser" in m):
        tape.lit_at_rest.append(number)
    stop = m.get("stop")
    if stop in (0, 1):
        modes.rested = True
        tape.pauses += 1
        if _lit(modes) > 0.0:
            tape.lit_at_rest.append(number)
    return stop in (2, 30)


def _dwell(g: dict[str, int], values: dict[str, float], number: int, modes: _Modes, tape: Tape) -> None:
    if g.get("dwell and the like") == 40:
        if not values.get("P", -1.0) >= 0.0:
            raise Refused(number, "a dwell without its seconds")
        modes.rested = True
        tape.dwell_s += values["P"]
        if _lit(modes) > 0.0:
            tape.lit_at_rest.append(number)
    elif "P" in values:
        raise Refused(number, "a P word without a dwell")


def _lit(modes: _Modes) -> float:
    return modes.speed_word if modes.is_on and modes.speed_word > 0.0 else 0.0


def _move(values: dict[str, float], number: int, modes: _Modes, tape: Tape) -> None:
    if modes.scale is None or modes.incremental is None or not modes.feed_mode or not modes.plane:
        raise Refused(number, "a move before units, distance mode, feed mode and plane are set")
    if modes.motion is None:
        raise Refused(number, "X or Y without a motion in force")
    is_rapid = modes.motion == 0
    if not is_rapid and modes.feed_mm_per_s != modes.feed_mm_per_s:
        raise Refused(number, "a feed move without a feed")
    x0, y0 = modes.x_mm, modes.y_mm
    if "X" in values:
        modes.x_mm = values["X"] * modes.scale + (x0 if modes.incremental else 0.0)
    if "Y" in values:
        modes.y_mm = values["Y"] * modes.scale + (y0 if modes.incremental else 0.0)
    tape.moves.append(
        Move(x0, y0, modes.x_mm, modes.y_mm, is_rapid, modes.feed_mm_per_s, _lit(modes), modes.rested, number)
    )
    modes.rested = False
