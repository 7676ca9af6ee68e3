"""What the first page says of the whole batch: its name, its sums, and room for notes."""

from __future__ import annotations

from evenburn.adapters.print import figures as fig
from evenburn.adapters.print.faces import SANS, SANS_BOLD, SERIF, SERIF_BOLD, width_mm, wrap
from evenburn.adapters.print.order import Row, focusings
from evenburn.adapters.print.page import FINE_PT, PALE, SECOND, Block, Sheet
from evenburn.adapters.print.paragraph import Run, draw_runs, wrap_runs
from evenburn.core.nouns.plan import BatchPlan, SharedRun
from evenburn.core.planning.set_ups import batch_change_overs, batch_time_s
from evenburn.core.units import duration_text

NB = fig.NB
_SMALL_LEADING = 3.4
_RUN_PT, _RUN_LEADING = 9.3, 3.9
_RUN_TIME_MM = 20.0
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
        (_pieces_left(plan), f"{fig.count(len(marks), 'mark', 'marks')}{held}"),
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


def _pieces_left(plan: BatchPlan) -> str:
    left = fig.count(len(plan.pieces), "piece", "pieces")
    return f"{left} of{NB}{len(plan.pieces) + len(plan.burnt)}" if plan.burnt else left


def run_blocks(plan: BatchPlan, *, left: float, right: float) -> list[Block]:
    """Return the runs of several marks at once as rows to tick, under a heading; nothing where none is offered."""
    if not plan.runs:
        return []
    return [_runs_head(left=left, right=right), *(_run_row(plan, run, left=left, right=right) for run in plan.runs)]


def _runs_head(*, left: float, right: float) -> Block:
    head, size = "In one run", 10.3
    words = (
        "Instead of one after another, all of them on the bed at once; leave out the programs that a run stands for."
    )
    indent = width_mm(head, SERIF_BOLD, size_pt=size) + 3.0
    lines = wrap(words, SANS, size_pt=8.3, width=right - left - indent)
    height = 4.4 + len(lines) * _SMALL_LEADING

    def draw(sheet: Sheet, y: float) -> None:
        sheet.text(left, y + 6.0, head, face=SERIF_BOLD, size_pt=size)
        sheet.lines(left + indent, y + 6.0, lines, leading=_SMALL_LEADING, size_pt=8.3, grey=SECOND)
        sheet.rule(y + height, x0=left, x1=right, weight_pt=FINE_PT, grey=PALE)

    return Block(height, draw)


def _run_row(plan: BatchPlan, run: SharedRun, *, left: float, right: float) -> Block:
    time = duration_text(run.time_s)
    saved = f"{duration_text(run.saved_s)} less than one after another"
    indent = 4.6
    taken = max(width_mm(time, SANS_BOLD, size_pt=_RUN_PT), _RUN_TIME_MM) + 3.0
    runs = (Run(run.file, SANS_BOLD, _RUN_PT), Run(_run_marks(plan, run), SANS, _RUN_PT))
    lines = wrap_runs(runs, width=right - left - indent - taken)
    under = wrap(saved, SANS, size_pt=8.1, width=right - left - indent)
    text_high = len(lines) * _RUN_LEADING
    height = 2.0 + text_high + len(under) * _SMALL_LEADING

    def draw(sheet: Sheet, y: float) -> None:
        line = y + 4.0
        sheet.tick(left + 0.2, line)
        draw_runs(sheet, left + indent, line, lines, leading=_RUN_LEADING)
        sheet.text(right, line, time, face=SANS_BOLD, size_pt=_RUN_PT, align="right")
        sheet.lines(left + indent, line + text_high - 0.3, under, leading=_SMALL_LEADING, size_pt=8.1, grey=SECOND)
        sheet.rule(y + height, x0=left, x1=right, weight_pt=FINE_PT, grey=PALE)

    return Block(height, draw)


def _run_marks(plan: BatchPlan, run: SharedRun) -> str:
    """Return the pieces of a run by number and name, with the letters of its marks where a piece has several."""
    told = []
    for piece in plan.pieces:
        ids = [mark.mark.id for mark in piece.marks]
        at = [ids.index(mark) for owner, mark in run.marks if owner == piece.piece.id and mark in ids]
        if not at:
            continue
        letters = ", ".join(fig.letter(index) for index in sorted(at))
        own = f", {'mark' if len(at) == 1 else 'marks'}{NB}{letters}" if len(ids) > 1 else ""
        told.append(f"{piece.start_order}{NB}{piece.piece.name}{own}")
    return "; ".join(told)


def _lenses(plan: BatchPlan) -> str:
    """Return spot and depth of focus of every lens of the machine in one sentence; nothing where none is known."""
    told = [
        f"{facts.name.replace(' ', NB)}{', in use' if facts.in_use and len(plan.lens_facts) > 1 else ''}, "
        f"spot {fig.mm(facts.spot_diameter_mm, 2)}, {fig.fixed(100.0 * facts.growth, 0)}{NB}% wider "
        f"±{fig.mm(facts.depth_mm)} off its focus"
        for facts in plan.lens_facts
    ]
    return f"{'Lens' if len(told) == 1 else 'Lenses'}: {'; '.join(told)}." if told else ""


def _origins(plan: BatchPlan) -> str:
    """Return where the numbers of the sheets come from, those apart that each sheet names at its foot."""
    source = plan.machine.provenance.detail or "the machine file"
    return (
        "Where the numbers come from: settings and look from the curve of each wood, named at the foot of its sheet; "
        f"times, run-up and lenses from {source}; blanks and places are yours; "
        "air and after-care are common practice, no source, unless you wrote your own. plan.json says it of each number. "
        "What follows ± at a tone is one standard deviation: two times of three it lies within."
    )


def order_end(plan: BatchPlan, *, left: float, right: float) -> Block:
    """Return how long the batch takes with its change-overs, where their time is from, and what is burnt already."""
    change_over = fig.exact_minutes(plan.day.change_over_s)
    origin = (
        "those of your settings when this was planned"
        if plan.day.of_settings
        else "a starting value; write down what it really takes"
    )
    words = (
        f"From start to end {fig.minutes_text(batch_time_s(plan))}: {duration_text(plan.total_time_s())} of burning and "
        f"{fig.count(batch_change_overs(plan), 'time', 'times')} {change_over} to bring a blank in, focus and trace. "
        f"These {change_over} are {origin}."
    )
    if plan.burnt:
        words += " What is burnt already is ticked, takes no time and no focusing, and has no sheet below."
    lines = wrap(words, SANS, size_pt=8.3, width=right - left)
    lenses = _lenses(plan)
    lines += wrap(lenses, SANS, size_pt=8.3, width=right - left) if lenses else ()
    lines += wrap(_origins(plan), SANS, size_pt=8.3, width=right - left)
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
