"""A whole text, line by line, through the machine's state: the exact way, and a short way for the common line."""

from __future__ import annotations

import re

from evenburn.adapters.formats.ngc_reader.findings import Collector, Limits
from evenburn.adapters.formats.ngc_reader.machine_state import FEED, RAPID, Machine
from evenburn.adapters.formats.ngc_reader.words import line_of

_DECIMAL = r"[0-9]{1,5}+(?:\.[0-9]{0,5}+)?"  # digits are never given back: a line that does not fit fails at once
# N5 G1 X1.5 Y-2 S100 F6000, each word optional, F also before S, at most one blank between: 77 characters at most
_PLAIN = re.compile(
    r"(?:N[0-9]{1,5}+ ?)?(?:G0?([01]) ?)?"
    rf"(?:X(-?{_DECIMAL}) ?)?(?:Y(-?{_DECIMAL}) ?)?(?:F({_DECIMAL}) ?)?(?:S({_DECIMAL}) ?)?(?:F({_DECIMAL}))?"
)


def run_program(text: str, limits: Limits, *, findings: Collector, is_exact: bool = False) -> tuple[Machine, int]:
    """Run a program's text; return the machine as it is left, and the number of lines.

    Parameters
    ----------
    text : str
        Lines end with LF or CR LF.
    limits : Limits
    findings : Collector
        Takes what is wrong with the lines; where the moves lead is judged elsewhere.
    is_exact : bool
        Take every line apart the long way. The result is the same.
    """
    lines = text.replace("\r\n", "\n").split("\n")
    if lines[-1] == "":
        lines.pop()
    machine = Machine(limits, findings=findings)
    first, last = _framed(lines, findings)
    at = first
    while at < last and not machine.ended:
        if not is_exact:
            at = _run_plain(machine, lines, at, last)
        if at < last:
            machine.execute(line_of(lines[at]), at + 1)
            at += 1
    for number in range(at, last):
        if lines[number].strip(" \t"):
            findings.add("text-after-end", "text behind the end of the program", line=number + 1)
    _finish(machine, last_line=at)
    return machine, len(lines)


def _framed(lines: list[str], findings: Collector) -> tuple[int, int]:
    """Return the lines between the percent signs, or all of them."""
    marks = [at for at, line in enumerate(lines) if line.strip(" \t") == "%"]
    if not marks:
        return 0, len(lines)
    first = marks[0]
    if any(line.strip(" \t") for line in lines[:first]):
        findings.add("percent", "a percent sign that is not on the first line with text", line=first + 1)
        return 0, first
    if len(marks) == 1:
        findings.add("percent", "a percent sign opens the file and none closes it", line=first + 1)
        return first + 1, len(lines)
    for at in range(marks[1] + 1, len(lines)):
        if lines[at].strip(" \t"):
            findings.add("text-after-end", "text behind the closing percent sign", line=at + 1)
    return first + 1, marks[1]


def _run_plain(machine: Machine, lines: list[str], at: int, last: int) -> int:
    """Take plain moves as long as nothing but moves, S and F words come; return the first line not taken."""
    if machine.motion is None or not machine.is_plain:
        return at
    moves, match = machine.moves, _PLAIN.fullmatch
    put_kind, put_x, put_y = moves.kind.append, moves.x_mm.append, moves.y_mm.append
    put_power, put_feed = moves.power_word.append, moves.feed_mm_per_min.append
    x, y, kind, feed = machine.x_mm, machine.y_mm, machine.motion, machine.feed_mm_per_min
    power, is_on = machine.power_word, machine.laser_on is True
    lit_power = power if machine.is_lit else 0.0
    clean: dict[str, float] = {}  # S words with nothing to say about them
    begin = at
    while at < last:
        found = match(lines[at])
        if found is None:
            break
        g, x_text, y_text, f_text, s_text, f_late = found.groups()
        if f_late:
            if f_text:
                break  # two of them
            f_text = f_late
        if x_text:
            x = float(x_text)
            if y_text:
                y = float(y_text)
        elif y_text:
            y = float(y_text)
        else:
            break  # no move
        at += 1
        if g:
            kind = RAPID if g == "0" else FEED
        if f_text:
            machine.set_feed(float(f_text), at)
            feed = machine.feed_mm_per_min
        if s_text:
            if s_text in clean:
                power = clean[s_text]
            else:
                power = float(s_text)
                if 0 < power < machine.power_low or power > machine.power_high:
                    machine.set_power(power, at)
                else:
                    clean[s_text] = power
            lit_power = power if is_on else 0.0
        put_kind(kind)
        put_x(x)
        put_y(y)
        put_power(lit_power)
        put_feed(feed)
    moves.line.extend(range(begin + 1, at + 1))
    machine.x_mm, machine.y_mm, machine.motion, machine.power_word = x, y, kind, power
    return at


def _finish(machine: Machine, *, last_line: int) -> None:
    """Judge how the program ended."""
    findings, off = machine.findings, " or ".join(machine.limits.off_words)
    if machine.is_empty:
        findings.add("empty-program", "no word in the whole file", line=None)
        return
    line = max(last_line, 1)
    if not machine.ended:
        findings.add("end-missing", "the last line is reached without M2", line=line)
    if machine.laser_on is None:
        findings.add("not-off-at-end", f"the program ends and {off} was never read", line=line)
    elif machine.laser_on:
        findings.add("not-off-at-end", f"the program ends with the laser on; allowed is after {off}", line=line)
    elif machine.switched_off_at != len(machine.moves.kind):
        findings.add("off-not-last", f"moves follow the last {off}", line=line)
