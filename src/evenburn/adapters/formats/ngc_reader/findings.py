"""What a program is checked against, what is found, and the rules with their remedies."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, fields
from typing import Literal

from evenburn.core.errors import InvalidInput

Level = Literal["stop", "warn", "note"]
Box = tuple[float, float, float, float]
SHOWN_PER_CODE = 5  # findings of one code told one by one; the rest are counted
_ORDER: dict[Level, int] = {"stop": 0, "warn": 1, "note": 2}
_M_WORD = re.compile(r"M[0-9]{1,3}", re.ASCII)

RULES: dict[str, tuple[Level, str]] = {
    # the line
    "line-too-long": ("stop", "break the line into shorter ones"),
    "line-not-short": ("stop", "break the line, or shorten its comment or its decimals"),
    "character": ("stop", "use printable ASCII only, in comments too"),
    "comment-unclosed": ("stop", "close the comment on the line it opens on"),
    "comment-unopened": ("stop", "take the closing parenthesis out, or open the comment"),
    "comment-nested": ("stop", "use one pair of parentheses for a comment"),
    "comment-form": ("stop", "write comments as (text)"),
    "comment-in-word": ("stop", "move the comment before the letter or behind the number"),
    "number-format": ("stop", "write numbers as plain decimals, such as -12.345"),
    "line-number": ("stop", "write N and up to five digits first on the line, or leave it out"),
    "block-delete": (
        "warn",
        "take the slash out: it leaves the line to a switch on the machine; here it is read as if it ran",
    ),
    "percent": ("stop", "let a line with a percent sign alone stand first and last, or nowhere"),
    # words and codes
    "unknown-word": ("stop", "take the word out"),
    "unknown-code": ("stop", "take the code out, or name it in the machine's on and off words"),
    "unsupported-word": ("stop", "write plain X, Y, S and F words only"),
    "unsupported-code": ("stop", "take the code out, or name it in the machine's on and off words"),
    "z-word": ("stop", "take the Z word out and set the stand-off by hand"),
    "repeated-word": ("stop", "put the second word on a line of its own"),
    "modal-group": ("stop", "put the second code on a line of its own"),
    "m-words": ("stop", "spread the M words over two lines"),
    "unrelated-word": ("stop", "take the word out, or add the code it belongs to"),
    # settings
    "units-not-set": ("stop", "write G21 before the first move"),
    "distance-not-set": ("stop", "write G90 before the first move"),
    "feed-mode-not-set": ("stop", "write G94 before the first move"),
    "plane-not-set": ("stop", "write G17 before the first move"),
    "units-inch": ("stop", "write the program in millimetres, G21"),
    "distance-incremental": ("stop", "write the program in absolute positions, G90"),
    "feed-inverse": ("stop", "write feeds in mm/min, G94"),
    "plane-other": ("stop", "write the program in the XY plane, G17"),
    "feed-before-units": ("warn", "write G21 on an earlier line: F is read before the units on its line"),
    # moves
    "motion-not-set": ("stop", "write G0 or G1 on the first line that moves"),
    "axis-words-missing": ("stop", "add X or Y to the line, or take the motion code out"),
    "outside-travel": ("stop", "move the mark, or make its run-up shorter with a lower speed"),
    "arc": ("stop", "write the arc with I and J, or as short straight moves"),
    "feed-not-set": ("stop", "write an F word on or before the first G1 line"),
    "feed-out-of-range": ("stop", "write a feed the machine can go"),
    "dwell": ("stop", "write G4 with P and the seconds to wait, zero or more"),
    # the laser
    "power-not-set": ("stop", "write an S word on or before the line that switches the laser on"),
    "power-out-of-range": ("stop", "write S between 0 and the machine's full power word"),
    "power-above-cap": ("warn", "lower the power, or raise the cap in the machine file; tubes age faster above it"),
    "power-below-least": ("warn", "raise the power or write S0: the tube does not fire there"),
    "laser-not-off-first": ("stop", "switch the laser off before the first move"),
    "start-unknown": ("stop", "move there with the laser off, X and Y both, before it burns"),
    "lit-in-rapid": ("stop", "write S0 or the off word on or before every G0 line"),
    "lit-at-rest": ("stop", "write S above 0 only on a line that moves"),
    "lit-in-dwell": ("stop", "switch the laser off before a dwell or pause"),
    "lit-without-length": ("stop", "take the move out: it burns where the head stands"),
    # the whole
    "not-off-at-end": ("stop", "write the off word after the last move"),
    "off-not-last": ("warn", "write the off word again after the last move"),
    "end-missing": ("stop", "end the program with the off word and M2"),
    "text-after-end": ("stop", "let nothing follow the end of the program"),
    "ends-with-m30": ("note", "M2 is enough; M30 may also change pallets"),
    "pauses": ("note", "somebody has to press start to go on"),
    "empty-program": ("stop", "write the program again"),
    "nothing-burnt": ("warn", "check that this is the right program"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What the machine file says a program may ask for.

    `on_words` and `off_words` are M words; `jerk_mm_per_s3` is None where the machine has no jerk limit;
    `corner_tolerance_mm` is how far the head may cut the corners of moves that follow one another without a stop.

    Raises
    ------
    InvalidInput
        With every field at fault.
    """

    bed_x_mm: float
    bed_y_mm: float
    power_word_max: float
    speed_max_mm_per_s: float
    rapid_mm_per_s: float
    accel_x_mm_per_s2: float
    accel_y_mm_per_s2: float
    jerk_mm_per_s3: float | None
    line_overhead_s: float
    power_cap_fraction: float
    power_least_fraction: float
    on_words: tuple[str, ...] = ("M3",)
    off_words: tuple[str, ...] = ("M5",)
    corner_tolerance_mm: float = 0.02

    def __post_init__(self) -> None:
        """Refuse limits that nothing could keep."""
        bad: dict[str, str] = {}
        for each in fields(self):
            value = getattr(self, each.name)
            if isinstance(value, tuple):
                bad |= _bad_words(each.name, value)
            elif value is None and each.name == "jerk_mm_per_s3":
                continue
            elif not math.isfinite(value):
                bad[each.name] = f"is {value}; allowed is a finite number"
            elif each.name in ("line_overhead_s", "power_least_fraction"):
                if value < 0:
                    bad[each.name] = f"is {value:g}; allowed is 0 or more"
            elif value <= 0:
                bad[each.name] = f"is {value:g}; allowed is above 0"
        both = set(self.on_words) & set(self.off_words)
        if both:
            bad["off_words"] = f"{', '.join(sorted(both))} switches on as well as off; allowed is one meaning"
        if bad:
            raise InvalidInput(bad)


def _bad_words(name: str, words: tuple[str, ...]) -> dict[str, str]:
    wrong = [word for word in words if not _M_WORD.fullmatch(word)]
    if wrong or not words:
        return {name: f"is {', '.join(wrong) or 'empty'}; allowed are M words such as M3"}
    return {}


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing found: its level, a code, the line (None: the whole program), what was seen, what to do."""

    level: Level
    code: str
    line: int | None
    text: str
    remedy: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """What a program holds and what is wrong with it.

    `lines` counts the text's lines and `moves` the lines that move; boxes are (x0, y0, x1, y1), None where nothing
    moves; `full_power_s` is the burning moves' S over the full power word times their duration (at feed, or longer where
    the head speeds up, slows down or passes a bend), the seconds at full power that put in the same energy. `passed`
    means no finding of level `stop`.
    """

    findings: tuple[Finding, ...]
    lines: int
    moves: int
    burn_length_mm: float
    burn_box_mm: Box | None
    travel_box_mm: Box | None
    time_s: float
    full_power_s: float
    passed: bool


class Collector:
    """Gathers findings; of each code the first few in full, the rest as a count."""

    def __init__(self) -> None:
        self._shown: dict[str, list[Finding]] = {}
        self._counts: dict[str, int] = {}

    def add(self, code: str, text: str, *, line: int | None) -> None:
        """Note one finding."""
        count = self._counts.get(code, 0)
        self._counts[code] = count + 1
        if count < SHOWN_PER_CODE:
            level, remedy = RULES[code]
            finding = Finding(level=level, code=code, line=line, text=text, remedy=remedy)
            self._shown.setdefault(code, []).append(finding)

    def add_uncounted(self, code: str, more: int) -> None:
        """Count findings of one code that nobody needs to read one by one."""
        self._counts[code] = self._counts.get(code, 0) + more

    def findings(self) -> tuple[Finding, ...]:
        """Return all of them: by line, the program as a whole last, then stop before warn before note."""
        everything = [finding for shown in self._shown.values() for finding in shown]
        everything.sort(key=lambda f: (f.line is None, f.line or 0, _ORDER[f.level], f.code))
        rest: list[Finding] = []
        for code, shown in sorted(self._shown.items()):
            more = self._counts[code] - len(shown)
            if more > 0:
                level, remedy = RULES[code]
                text = f"{more} more of {code} after line {shown[-1].line}"
                rest.append(Finding(level=level, code=code, line=None, text=text, remedy=remedy))
        return (*everything, *rest)


def shown(value: float) -> str:
    """Return a number as a person would type it."""
    return f"{value + 0.0:.10g}"  # no minus zero
