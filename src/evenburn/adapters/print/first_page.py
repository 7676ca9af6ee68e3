"""What the first page says of the whole batch: its name, its sums, and room for notes."""

from __future__ import annotations

from evenburn.adapters.print import figures as fig
from evenburn.adapters.print.faces import SANS, SANS_BOLD, SERIF, SERIF_BOLD, width_mm, wrap
from evenburn.adapters.print.order import SET_UP_S, Row, focusings
from evenburn.adapters.print.page import SECOND, Block, Sheet
from evenburn.core.nouns.plan import BatchPlan
from evenburn.core.units import duration_text

_NOTE_LINES = 8
_NOTE_PITCH = 8.4


def title(plan: BatchPlan, rows: tuple[Row, ...], *, left: float, right: float) -> Block:
    """Return the batch by name, with burning time, focusings and pieces."""
    marks = [mark for piece in plan.pieces for mark in piece.marks]
    stopped = sum(mark.program_file is None for mark in marks)
    held = f", {stopped}\u00a0stopped" if stopped else ""
    figures = (
        (duration_text(plan.total_time_s()), "burning"),
        (fig.count(focusings(rows), "time", "times"), "focus to set"),
        (fig.count(len(plan.pieces), "piece", "pieces"), f"{fig.count(len(marks), 'mark', 'marks')}{held}"),
    )
    widths = [max(width_mm(big, SANS_BOLD, size_pt=11.5), width_mm(small, SANS, size_pt=8.6)) for big, small in figures]
    start = right - sum(widths) - 6.0 * (len(widths) - 1)
    room = start - left - 6.0
    names = wrap(plan.name, SERIF, size_pt=20.0, width=room)
    under = wrap(plan.subtitle, SERIF, size_pt=10.4, width=room) if plan.subtitle else ()
    height = len(names) * 7.6 + len(under) * 4.4 + 4.4

    def draw(sheet: Sheet, y: float) -> None:
        sheet.bookmark("Order of the batch", key="order", y=0.0)
        line = y + 5.4
        sheet.lines(left, line, names, leading=7.6, face=SERIF, size_pt=20.0)
        line += len(names) * 7.6 - 1.5
        sheet.lines(left, line, under, leading=4.4, face=SERIF, size_pt=10.4, grey=SECOND)
        x, base = start, y + 7.0
        for (big, small), wide in zip(figures, widths, strict=True):
            sheet.text(x, base, big, face=SANS_BOLD, size_pt=11.5)
            sheet.text(x, base + 4.6, small, size_pt=8.6)
            x += wide + 6.0

    return Block(max(height, 15.5), draw)


def order_end(plan: BatchPlan, rows: tuple[Row, ...], *, left: float, right: float) -> Block:
    """Return how long the batch takes with its set-up, and that the set-up time is a starting value."""
    burning, sets = plan.total_time_s(), focusings(rows)
    total = fig.minutes_text(burning + sets * SET_UP_S)
    words = (
        f"From start to end {total}: {duration_text(burning)} of burning and {fig.count(sets, 'time', 'times')} "
        f"{fig.minutes_text(SET_UP_S)} to bring in, focus and trace. These {fig.minutes_text(SET_UP_S)} are a "
        "starting value; write down what it really takes."
    )
    lines = wrap(words, SANS, size_pt=8.3, width=right - left)
    height = 2.2 + len(lines) * 3.7

    def draw(sheet: Sheet, y: float) -> None:
        sheet.lines(left, y + 4.0, lines, leading=3.7, size_pt=8.3, grey=SECOND)

    return Block(height, draw)


def draw_notes(sheet: Sheet, *, top: float, bottom: float) -> None:
    """Rule what the order leaves of its last page for writing, where it is worth it."""
    last = bottom - 7.0
    first = top + 15.0
    if last - first < _NOTE_PITCH:
        return
    sheet.text(sheet.left, top + 9.0, "Notes of the day", face=SERIF_BOLD, size_pt=10.3)
    for index in range(min(_NOTE_LINES, int((last - first) / _NOTE_PITCH) + 1)):
        sheet.rule(first + index * _NOTE_PITCH, x0=sheet.left, x1=sheet.right, weight_pt=0.55, grey=0.3)
