"""Programs in RS-274/NGC from motion events: the portable subset, laser off on every move that does not burn.

Source: [nistir6556]. Checked afterwards by a reader that shares no code with this file.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from evenburn.core.nouns.events import Comment, Dwell, Event, Sweep, Trace, Travel
from evenburn.core.nouns.machine import Machine
from evenburn.core.nouns.wood import Wood
from evenburn.core.planning.power import power_word, power_word_decimals
from evenburn.core.units import mm_per_min

WIDEST_COMMENT = 70


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """What the comment at the top of a program says, a line each."""

    lines: tuple[str, ...]


def lot_comments(wood: Wood) -> tuple[str, ...]:
    """Return the lot of a wood for the head of a program, none where its name says all; a long one stands on several lines.

    The id stands first: it is plain ASCII, and tells lots apart whatever letters they are called by.
    """
    if not wood.lot:
        return ()
    words = f"lot {wood.id}, called {wood.called}" if wood.called else f"lot {wood.id}"
    return tuple(textwrap.wrap(words, WIDEST_COMMENT))


def comment_line(text: str) -> str:
    """Return a comment that any reader takes: ASCII, no brackets inside, under 80 characters."""
    plain = text.replace("²", "2").replace("±", "+/-").replace("−", "-").replace("×", "x").replace("\u00a0", " ")
    plain = plain.encode("ascii", "replace").decode("ascii").translate(str.maketrans("()", "[]"))
    plain = "".join(c if c.isprintable() else " " for c in plain)
    return f"({plain[:WIDEST_COMMENT]})"


def _number(value: float, decimals: int) -> str:
    text = f"{value:.{decimals}f}"
    return text[1:] if text.startswith("-") and float(text) == 0.0 else text


def program_lines(machine: Machine, events: Iterable[Event], *, head: Head) -> Iterator[str]:
    """Yield the lines of a program, without line ends; where nothing burns, no word switches the laser on.

    Source
    ------
    [nistir6556], sections 3.3 to 3.8.
    """
    decimals = power_word_decimals(machine)
    for line in head.lines:
        yield comment_line(line)
    yield "G21 G90 G94 G17"
    yield "M5"
    yield from machine.post_processor.opening_lines
    started = False
    feed: float | None = None
    for event in events:
        if isinstance(event, Comment):
            yield comment_line(event.text)
        elif isinstance(event, Travel):
            yield f"G0 X{_number(event.to_mm[0], 3)} Y{_number(event.to_mm[1], 3)} S0"
        elif isinstance(event, Dwell):
            yield f"G4 P{_number(event.time_s, 3)}"
        elif isinstance(event, Sweep | Trace):
            if not started and bool((event.power_W > 0.0).any()):
                yield f"{machine.post_processor.on_word} S0"
                started = True
            feed_word = ""
            if feed != event.speed_mm_per_s:
                feed_word = f" F{_number(mm_per_min(event.speed_mm_per_s), 1)}"
                feed = event.speed_mm_per_s
            if isinstance(event, Sweep):
                yield from _sweep_lines(machine, event, decimals=decimals, feed_word=feed_word)
            else:
                yield from _trace_lines(machine, event, decimals=decimals, feed_word=feed_word)
    yield "M5"
    yield from machine.post_processor.closing_lines
    yield "M2"


def _sweep_lines(machine: Machine, sweep: Sweep, *, decimals: int, feed_word: str) -> Iterator[str]:
    along, cross = ("X", "Y") if sweep.axis == "x" else ("Y", "X")
    words: Sequence[float] = power_word(machine, power_W=sweep.power_W).tolist()
    edges = sweep.edges_mm.tolist()
    first = f"G1 {along}{_number(edges[0], 3)} {cross}{_number(sweep.cross_mm, 3)} S0{feed_word}"
    yield first
    for edge, word in zip(edges[1:], words, strict=True):
        yield f"G1 {along}{_number(edge, 3)} S{word:.{decimals}f}"
    yield f"G1 {along}{_number(sweep.end_mm, 3)} S0"


def _trace_lines(machine: Machine, trace: Trace, *, decimals: int, feed_word: str) -> Iterator[str]:
    words: Sequence[float] = power_word(machine, power_W=trace.power_W).tolist()
    places = [f"X{_number(x_mm, 3)} Y{_number(y_mm, 3)}" for x_mm, y_mm in trace.points_mm.tolist()]
    at = places[0]
    for place, word in zip(places[1:], words, strict=True):
        if place == at:
            continue  # a piece that is none as it is written: no burn at rest
        power = f"{word:.{decimals}f}" if word > 0.0 else "0"
        yield f"G1 {place} S{power}{feed_word}"
        at, feed_word = place, ""
