"""A controller's modal state, fed with one line at a time in the standard's order of execution."""

from __future__ import annotations

from array import array
from dataclasses import dataclass, field

from evenburn.adapters.formats.ngc_reader.arc import Arc, ArcFault, arc_of
from evenburn.adapters.formats.ngc_reader.block import (
    DISTANCE,
    FEED_MODE,
    LASER,
    MOTION,
    NON_MODAL,
    PLANE,
    STOPPING,
    UNITS,
    Block,
    block_of,
)
from evenburn.adapters.formats.ngc_reader.findings import Collector, Limits, shown
from evenburn.adapters.formats.ngc_reader.scales import MM_PER_INCH, S_PER_MIN
from evenburn.adapters.formats.ngc_reader.words import Line

UNKNOWN = float("nan")
RAPID, FEED, CLOCKWISE, COUNTERCLOCKWISE = 0, 1, 2, 3
_FEED_SLACK_MM_PER_MIN = 0.5  # half a step of a whole-number F word
_FEED_LEAST_MM_PER_MIN = 1e-3
_NO_MOTION = 800  # G80

_SETTINGS = {  # modal group: the code wanted, the finding when it was never set, the finding for another one
    UNITS: (210, "units-not-set", "units-inch"),
    DISTANCE: (900, "distance-not-set", "distance-incremental"),
    FEED_MODE: (940, "feed-mode-not-set", "feed-inverse"),
    PLANE: (170, "plane-not-set", "plane-other"),
}


@dataclass(slots=True)
class Moves:
    """Every move's end and state, in columns; `power_word` is 0 while the laser is off.

    Positions are NaN until their axis was named once. `stops` are the numbers of moves before which the head is
    held: the laser was switched, or it dwelt or paused.
    """

    kind: array[int] = field(default_factory=lambda: array("b"))
    x_mm: array[float] = field(default_factory=lambda: array("d"))
    y_mm: array[float] = field(default_factory=lambda: array("d"))
    power_word: array[float] = field(default_factory=lambda: array("d"))
    feed_mm_per_min: array[float] = field(default_factory=lambda: array("d"))
    line: array[int] = field(default_factory=lambda: array("l"))
    arcs: dict[int, Arc] = field(default_factory=dict)
    stops: list[int] = field(default_factory=list)


class Machine:
    """The state a program leaves a controller in after each of its lines."""

    def __init__(self, limits: Limits, *, findings: Collector) -> None:
        self.limits = limits
        self.findings = findings
        self.moves = Moves()
        self.motion: int | None = None
        self.x_mm = self.y_mm = UNKNOWN
        self.feed_mm_per_min = UNKNOWN
        self.power_word = UNKNOWN
        self.laser_on: bool | None = None  # None: never switched
        self.switched_off_at = -1  # number of moves made when the off word was last read
        self.dwell_s = 0.0
        self.scale = 1.0
        self.is_incremental = False
        self.ended = False
        self.is_empty = True
        self._set: set[int] = set()
        self._on = frozenset(int(word[1:]) for word in limits.on_words)
        self._laser_codes = self._on | {int(word[1:]) for word in limits.off_words}
        self._feed_limit = limits.speed_max_mm_per_s * S_PER_MIN + _FEED_SLACK_MM_PER_MIN
        full = limits.power_word_max
        slack = min(0.5, 0.005 * full)  # half a step of a whole-number S word, never more than 0.5 %
        self.power_high = limits.power_cap_fraction * full + slack
        self.power_low = limits.power_least_fraction * full - slack

    @property
    def is_lit(self) -> bool:
        """Whether light comes out now."""
        return self.laser_on is True and self.power_word > 0

    @property
    def is_plain(self) -> bool:
        """Whether a line of X, Y, S and F words alone is a straight move in mm, with nothing else to say about it."""
        settled = len(self._set) == len(_SETTINGS) and not self.is_incremental and self.scale == 1.0
        return settled and bool(self.moves.kind) and self.motion in {RAPID, FEED}

    def execute(self, line: Line, number: int) -> None:
        """Carry out one line, noting what is wrong with it.

        Source
        ------
        [kramer2000], Table 8: feed mode, F, S, laser, dwell, plane, units, distance mode, motion, stop.
        """
        for fault in line.faults:
            self.findings.add(fault.code, fault.text, line=number)
        if line.is_deletable:
            self.findings.add("block-delete", "the line begins with a slash", line=number)
        if not line.words:
            return
        self.is_empty = False
        block = block_of(line.words, laser_codes=self._laser_codes)
        for fault in block.faults:
            self.findings.add(fault.code, fault.text, line=number)
        self._setting(block, FEED_MODE, number)
        if "F" in block.values:
            if UNITS not in self._set:
                self.findings.add("feed-before-units", "an F word before G21 is in force", line=number)
            self.set_feed(block.values["F"] * self.scale, number)
        if "S" in block.values:
            self.set_power(block.values["S"], number)
        self._switch(block, number)
        self._dwell(block, number)
        for group in (PLANE, UNITS, DISTANCE):
            self._setting(block, group, number)
        moved = self._motion(block, number)
        if self.is_lit and not moved and ("S" in block.values or LASER in block.m):
            self.findings.add(
                "lit-at-rest", f"the laser is lit at S {shown(self.power_word)} and the line does not move", line=number
            )
        self._stop(block, number)

    def set_feed(self, feed_mm_per_min: float, number: int) -> None:
        """Take an F word."""
        high = self.limits.speed_max_mm_per_s * S_PER_MIN
        if feed_mm_per_min < _FEED_LEAST_MM_PER_MIN or feed_mm_per_min > self._feed_limit:
            text = f"F {shown(feed_mm_per_min)} mm/min; allowed is above 0 and up to {shown(high)}"
            self.findings.add("feed-out-of-range", text, line=number)
        self.feed_mm_per_min = feed_mm_per_min if feed_mm_per_min >= _FEED_LEAST_MM_PER_MIN else UNKNOWN

    def set_power(self, power_word: float, number: int) -> None:
        """Take an S word."""
        limits = self.limits
        full = limits.power_word_max
        if power_word < 0 or power_word > full:
            self.findings.add(
                "power-out-of-range", f"S {shown(power_word)}; allowed is 0 to {shown(full)}", line=number
            )
        elif power_word > self.power_high:
            cap = limits.power_cap_fraction * full
            self.findings.add("power-above-cap", f"S {shown(power_word)}; the cap is {shown(cap)}", line=number)
        elif 0 < power_word < self.power_low:
            least = limits.power_least_fraction * full
            self.findings.add("power-below-least", f"S {shown(power_word)}; it fires from {shown(least)}", line=number)
        self.power_word = power_word

    def _setting(self, block: Block, group: int, number: int) -> None:
        code = block.g.get(group)
        if code is None:
            return
        self._set.add(group)
        wanted, _, other = _SETTINGS[group]
        if code != wanted:
            self.findings.add(other, f"G{code // 10} is set; allowed is G{wanted // 10} only", line=number)
        if group == UNITS:
            self.scale = MM_PER_INCH if code == 200 else 1.0
        elif group == DISTANCE:
            self.is_incremental = code == 910

    def _switch(self, block: Block, number: int) -> None:
        code = block.m.get(LASER)
        if code is None:
            return
        self._hold()
        self.laser_on = code in self._on
        if not self.laser_on:
            self.switched_off_at = len(self.moves.kind)
        elif self.power_word != self.power_word:  # NaN: no S word yet
            self.findings.add("power-not-set", f"M{code} switches the laser on and no S word was read", line=number)

    def _dwell(self, block: Block, number: int) -> None:
        if block.g.get(NON_MODAL) != 40:
            if "P" in block.values:
                self.findings.add("unrelated-word", "a P word without G4", line=number)
            return
        self._hold()
        wait_s = block.values.get("P", -1.0)
        if wait_s < 0:
            seen = f"P {shown(wait_s)}" if "P" in block.values else "no P word"
            self.findings.add("dwell", f"G4 with {seen}; allowed is P 0 or more seconds", line=number)
        else:
            self.dwell_s += wait_s
        if self.is_lit:
            self.findings.add("lit-in-dwell", f"a dwell with the laser lit at S {shown(self.power_word)}", line=number)

    def _motion(self, block: Block, number: int) -> bool:
        explicit = block.g.get(MOTION)
        if explicit is not None:
            self.motion = None if explicit == _NO_MOTION else explicit // 10
        for letter in "IJR":
            if letter in block.values and self.motion not in (CLOCKWISE, COUNTERCLOCKWISE):
                self.findings.add("unrelated-word", f"a word {letter} without G2 or G3", line=number)
        if not block.has_axes:
            if explicit is not None and explicit != _NO_MOTION:
                text = f"G{explicit // 10} without X or Y; the standard wants at least one"
                self.findings.add("axis-words-missing", text, line=number)
            return False
        if block.suspends_motion:
            return False
        if self.motion is None:
            self.findings.add(
                "motion-not-set", "X or Y without a motion code in force; allowed are G0 G1 G2 G3", line=number
            )
            return False
        self._move(block, number)
        return True

    def _move(self, block: Block, number: int) -> None:
        assert self.motion is not None  # noqa: S101  the caller looked
        if not self.moves.kind:
            self._first_move(number)
        start = (self.x_mm, self.y_mm)
        values, scale = block.values, self.scale
        if "X" in values:
            self.x_mm = values["X"] * scale + (self.x_mm if self.is_incremental else 0.0)
        if "Y" in values:
            self.y_mm = values["Y"] * scale + (self.y_mm if self.is_incremental else 0.0)
        kind = self.motion
        if kind in (CLOCKWISE, COUNTERCLOCKWISE):
            words = {letter: values[letter] * scale for letter in "IJR" if letter in values}
            arc = arc_of(start, (self.x_mm, self.y_mm), words=words, is_clockwise=kind == CLOCKWISE)
            if isinstance(arc, ArcFault):
                self.findings.add("arc", arc.text, line=number)
                kind = FEED  # its ends are still worth a check
            else:
                self.moves.arcs[len(self.moves.kind)] = arc
        moves = self.moves
        moves.kind.append(kind)
        moves.x_mm.append(self.x_mm)
        moves.y_mm.append(self.y_mm)
        moves.power_word.append(self.power_word if self.is_lit else 0.0)
        moves.feed_mm_per_min.append(self.feed_mm_per_min)
        moves.line.append(number)

    def _first_move(self, number: int) -> None:
        for group, (wanted, missing, _) in _SETTINGS.items():
            if group not in self._set:
                self.findings.add(missing, f"the first move comes before G{wanted // 10}", line=number)
        if self.laser_on is None:
            off = " or ".join(self.limits.off_words)
            self.findings.add("laser-not-off-first", f"the first move comes before {off}", line=number)
        elif self.is_lit:
            text = f"the first move starts with the laser lit at S {shown(self.power_word)}; allowed is off"
            self.findings.add("laser-not-off-first", text, line=number)

    def _stop(self, block: Block, number: int) -> None:
        code = block.m.get(STOPPING)
        if code is None:
            return
        self._hold()
        if code in (0, 1):
            self.findings.add("pauses", f"M{code} holds the program", line=number)
            if self.is_lit:
                self.findings.add(
                    "lit-in-dwell", f"a pause with the laser lit at S {shown(self.power_word)}", line=number
                )
            return
        if code == 30:
            self.findings.add("ends-with-m30", "the program ends with M30", line=number)
        self.ended = True

    def _hold(self) -> None:
        stops, number = self.moves.stops, len(self.moves.kind)
        if not stops or stops[-1] != number:
            stops.append(number)
