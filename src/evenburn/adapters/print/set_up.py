"""What is set at the machine for one piece: rows to tick with the value in bold at the right edge."""

from __future__ import annotations

from functools import partial

from evenburn.adapters.print import figures as fig
from evenburn.adapters.print.faces import SANS, SANS_BOLD, SERIF, SERIF_BOLD, width_mm, wrap
from evenburn.adapters.print.labels import fitted_label, mark_label
from evenburn.adapters.print.page import FINE_PT, PALE, SECOND, Block, Sheet
from evenburn.core.nouns.machine import Lens, Machine
from evenburn.core.nouns.plan import MarkPlan, PiecePlan, SetUp
from evenburn.core.units import duration_text

_TEXT_PT, _VALUE_PT, _SMALL_PT = 9.1, 10.4, 8.3
_ROW, _LEADING, _SMALL_LEADING = 5.3, 3.8, 3.5
_UNDER_PT, _UNDER_LEADING = 8.1, 3.3
_INDENT = 5.0
_LETTER = 4.0


def set_up_blocks(piece: PiecePlan, machine: Machine, lens: Lens, *, x: float, width: float) -> list[Block]:
    """Return the rows for one piece; where nothing may burn, what had been planned, with nothing to tick."""
    live = [mark for mark in piece.marks if mark.program_file is not None]
    if not live:
        planned = [_stopped(piece, mark, machine, x=x, width=width) for mark in piece.marks]
        return [_not_to_be_burnt(x=x, width=width), *planned]
    row = partial(_tick_row, x=x, width=width)
    blocks = _common_rows(piece, live, lens, x=x, width=width)
    shared = all(mark.recipe == live[0].recipe for mark in live)
    if shared:
        recipe = live[0].recipe
        by_tone = ", faintest to strongest tone" if recipe.power_low_W is not None else ""
        blocks += [
            row(f"Power {fig.power_W(recipe)}{by_tone}", fig.power_percent(recipe, machine)),
            row(f"Speed, {fig.passes_along(recipe)}", fig.speed_mm_per_s(recipe)),
            row(
                f"{fig.lines_words(recipe)}, offset {fig.offset_mm(recipe.focus_offset_mm)}",
                fig.lines_value(recipe),
            ),
        ]
    if len(piece.marks) == 1:
        mark = live[0]
        blocks += [
            row("Pointer on the mark’s lower left corner", fig.bed_point(*mark.box_bed_mm[:2]), small=_walk(live)),
            row(f"Then run {mark.program_file}", duration_text(mark.predicted.time_s)),
        ]
        return blocks
    if _one_line_each(piece, live, width=width) and _walk(live):
        blocks.append(row(_walk(live), ""))
    for mark in piece.marks:
        if mark.program_file is None:
            blocks.append(_stopped(piece, mark, machine, x=x, width=width))
        else:
            again = _set_up_of(piece, mark)
            if again is not None and mark is not live[0]:
                blocks.append(_stand_off_row(piece, again, x=x, width=width))
            blocks.append(_mark_row(piece, mark, machine, shared=shared, x=x, width=width))
    return blocks


def _walk(marks: list[MarkPlan]) -> str:
    """Return that the marks are walked round first with the laser off, and by which programs."""
    files = [mark.trace_file for mark in marks if mark.trace_file is not None]
    it = "it" if len(marks) == 1 else "each"
    return f"Walk {it} first, laser off: {', '.join(files)}." if files else ""


def _common_rows(piece: PiecePlan, live: list[MarkPlan], lens: Lens, *, x: float, width: float) -> list[Block]:
    row = partial(_tick_row, x=x, width=width)
    blank = piece.piece.blank
    turned = f", turned {fig.trimmed(piece.piece.turn_deg)}°" if piece.piece.turn_deg else ""
    flat = f", flat to ±{fig.mm(blank.unevenness_mm)}" if blank.unevenness_mm > 0 else ", flat"
    boxed = blank.shape not in ("rectangle", "rounded") or bool(piece.piece.turn_deg % 90.0)
    corner = "Blank’s box, lower left" if boxed else "Blank’s lower left"
    first = _set_up_of(piece, live[0])
    stand_offs = sorted({mark.recipe.stand_off_mm for mark in live})
    airs = {mark.recipe.air_kPa for mark in live}
    if first is not None:
        gauge = _stand_off_row(piece, first, x=x, width=width)
    elif len(stand_offs) == 1 or piece.set_ups:
        words = "Stand-off as it stands: try the gauge block"
        gauge = row(words, f"stand-off {fig.mm(live[0].recipe.stand_off_mm)}")
    else:
        span = f"{fig.fixed(stand_offs[0], 1)} to {fig.mm(stand_offs[-1])}"
        gauge = row("Gauge block: the stand-off changes between marks", span)
    air = fig.air_words(airs.pop()) if len(airs) == 1 else "by mark"
    return [
        row(f"{corner}{turned}{flat}", fig.bed_point(*piece.piece.place_bed_mm)),
        row("Thickness as measured", f"{fig.mm(blank.thickness_mm)} thick", writes=True),
        gauge,
        row(f"Lens {fig.lens_words(lens)}, seated and clean; air", air),
    ]


def _set_up_of(piece: PiecePlan, mark: MarkPlan) -> SetUp | None:
    """Return the setting that is made just before a mark, if any."""
    return next((one for one in piece.set_ups if one.mark_id == mark.mark.id), None)


def _stand_off_row(piece: PiecePlan, one: SetUp, *, x: float, width: float) -> Block:
    """Return the row that has the stand-off set and ticked: how far the bed moves, and how exact it has to be."""
    move = ""
    if one.bed_down_mm is not None and round(abs(one.bed_down_mm), 1) > 0:
        move = f", bed {fig.mm(abs(one.bed_down_mm))} {'down' if one.bed_down_mm > 0 else 'up'}"
    what = "this thickness" if one.mark_id == _first_live(piece) else "the next mark"
    small = []
    if one.tolerance is not None:
        uneven = piece.piece.blank.unevenness_mm
        own = f"; ±{fig.mm(uneven)} of warp is part of it" if uneven > 0 else ""
        small.append(f"Holds for {one.tolerance.text}{own}.")
    if one.forgotten is not None and not (one.forgotten.touches or one.forgotten.chars):
        small.append(f"Forgotten, it lies {one.forgotten.text}.")  # what is worse stands among the checks
    words = f"Gauge block set for {what}{move}"
    return _tick_row(words, f"stand-off {fig.mm(one.stand_off_mm)}", x=x, width=width, small=" ".join(small))


def _first_live(piece: PiecePlan) -> str:
    return next(mark.mark.id for mark in piece.marks if mark.program_file is not None)


def _tick_row(words: str, value: str, *, x: float, width: float, small: str = "", writes: bool = False) -> Block:
    """Return a row to tick; one that `writes` has a line after its words to write a value on."""
    taken = width_mm(value, SANS_BOLD, size_pt=_VALUE_PT) + 2.0
    lines = wrap(words, SANS, size_pt=_TEXT_PT, width=width - _INDENT - taken)
    under = wrap(small, SANS, size_pt=_UNDER_PT, width=width - _INDENT) if small else ()
    first = _ROW + (len(lines) - 1) * _LEADING
    height = first + len(under) * _UNDER_LEADING + (0.2 if under else 0.0)

    def draw(sheet: Sheet, y: float) -> None:
        line = y + 3.8
        sheet.tick(x, line)
        sheet.lines(x + _INDENT, line, lines, leading=_LEADING, size_pt=_TEXT_PT)
        if writes:
            told = width_mm(lines[-1], SANS, size_pt=_TEXT_PT)
            sheet.rule(line + 0.6, x0=x + _INDENT + told + 2.0, x1=x + width - taken - 3.0, weight_pt=0.55, grey=0.3)
        at = y + first + _UNDER_LEADING - 1.3
        sheet.lines(x + _INDENT, at, under, leading=_UNDER_LEADING, size_pt=_UNDER_PT, grey=SECOND)
        sheet.text(x + width, line, value, face=SANS_BOLD, size_pt=_VALUE_PT, align="right")
        sheet.rule(y + height, x0=x, x1=x + width, weight_pt=FINE_PT, grey=PALE)

    return Block(height, draw)


def recipe_words(mark: MarkPlan, machine: Machine) -> str:
    """Return a recipe in one line."""
    recipe = mark.recipe
    lines = f"{fig.spacing_mm(recipe)}, {fig.spacing_lpi(recipe)}" if recipe.way == "scan" else fig.lines_value(recipe)
    return (
        f"{fig.power_W(recipe)}, {fig.power_percent(recipe, machine)}; {fig.speed_mm_per_s(recipe)}; "
        f"{lines}; offset {fig.offset_mm(recipe.focus_offset_mm)}; "
        f"{fig.passes_along(recipe)}"
    )


def expected_words(mark: MarkPlan) -> str:
    """Return what a mark is expected to look like, in one line."""
    return f"expected {'; '.join(expected_lines(mark))}"


def expected_lines(mark: MarkPlan) -> tuple[str, ...]:
    """Return tone, banding, detail, dose and dwell expected of a mark."""
    seen = mark.predicted
    return (
        f"L* {fig.fixed(seen.tone_L, 1)} ± {fig.fixed(seen.tone_L_sd, 1)}",
        *(
            (f"banding {fig.fixed(seen.ripple_L, 1)}{fig.NB}L*", f"detail {fig.mm(seen.detail_mm, 2)}")
            if mark.recipe.way == "scan"
            else ()
        ),
        f"dose {fig.fixed(seen.dose_J_per_mm2, 2)}{fig.NB}J/mm²",
        f"dwell {fig.fixed(seen.dwell_ms, 2)}{fig.NB}ms",
    )


def common_expectation(piece: PiecePlan) -> tuple[str, ...]:
    """Return what is expected of the marks to burn where it is the same for all; else nothing, each row says it."""
    live = {expected_lines(mark) for mark in piece.marks if mark.program_file is not None}
    return live.pop() if len(live) == 1 else ()


def binding_words(mark: MarkPlan) -> str:
    """Return what holds a mark's recipe back most, or nothing where nothing does."""
    return mark.binding[0].text if mark.binding and mark.binding[0].constraint != "none" else ""


def _mark_room(mark: MarkPlan, *, width: float) -> tuple[float, float]:
    """Return the room of a mark's title, and how far from the right edge its pointer ends. [mm]"""
    time = width_mm(duration_text(mark.predicted.time_s), SANS_BOLD, size_pt=_VALUE_PT)
    taken = max(22.0, time + 3.5)
    place = width_mm(_pointer(mark), SANS_BOLD, size_pt=_TEXT_PT)
    return width - _INDENT - _LETTER - taken - place - 3.0, taken


def _pointer(mark: MarkPlan) -> str:
    return f"pointer {fig.bed_point(*mark.box_bed_mm[:2])}"


def _one_line_each(piece: PiecePlan, live: list[MarkPlan], *, width: float) -> bool:
    """Return whether marks that share recipe and expectation can each be said by program, pointer and time alone."""
    alike = all(mark.recipe == live[0].recipe for mark in live) and bool(common_expectation(piece))
    return alike and all(
        width_mm(mark.program_file or "", SANS, size_pt=_SMALL_PT) <= _mark_room(mark, width=width)[0] for mark in live
    )


def _own_set_up(piece: PiecePlan, mark: MarkPlan, live: list[MarkPlan]) -> tuple[str, ...]:
    """Return stand-off and air of a mark where the marks differ in it; what all share stands in the rows above."""
    recipe = mark.recipe
    own = []
    if not piece.set_ups and any(one.recipe.stand_off_mm != recipe.stand_off_mm for one in live):
        own.append(f"stand-off {fig.mm(recipe.stand_off_mm)}")
    if any(one.recipe.air_kPa != recipe.air_kPa for one in live):
        own.append(f"air {fig.air_words(recipe.air_kPa)}")
    return tuple(own)


def _mark_row(piece: PiecePlan, mark: MarkPlan, machine: Machine, *, shared: bool, x: float, width: float) -> Block:
    """Return the row of one mark among several: its own recipe unless all share one, pointer, program, time."""
    live = [one for one in piece.marks if one.program_file is not None]
    room, taken = _mark_room(mark, width=width)
    indent = _INDENT + _LETTER
    brief = _one_line_each(piece, live, width=width)
    size = _SMALL_PT if brief else _TEXT_PT
    index = piece.marks.index(mark)
    title = mark.program_file or "" if brief else fitted_label(piece, index, size_pt=size, width=room)
    told = [] if brief else [f"Run {mark.program_file}"]
    walk = "" if brief else _walk([mark])
    if not shared:
        told.insert(0, "; ".join((recipe_words(mark, machine), *_own_set_up(piece, mark, live))))
    if not common_expectation(piece):
        told[-1] += f"; {expected_words(mark)}"
    parts = [*told[:-1], *([walk] if walk else []), *told[-1:]]
    lines = [line for part in parts for line in wrap(part, SANS, size_pt=_SMALL_PT, width=width - indent)]
    height = _ROW + len(lines) * _SMALL_LEADING + (0.3 if lines else 0.0)
    name = fig.letter(index)
    time, pointer = duration_text(mark.predicted.time_s), _pointer(mark)

    def draw(sheet: Sheet, y: float) -> None:
        line = y + 3.8
        sheet.tick(x, line)
        sheet.text(x + _INDENT, line, name, face=SANS_BOLD, size_pt=_TEXT_PT)
        sheet.text(x + indent, line, title, size_pt=size)
        sheet.text(x + width - taken, line, pointer, face=SANS_BOLD, size_pt=_TEXT_PT, align="right")
        sheet.text(x + width, line, time, face=SANS_BOLD, size_pt=_VALUE_PT, align="right")
        sheet.lines(x + indent, line + _SMALL_LEADING + 0.1, lines, leading=_SMALL_LEADING, size_pt=_SMALL_PT)
        sheet.rule(y + height, x0=x, x1=x + width, weight_pt=FINE_PT, grey=PALE)

    return Block(height, draw)


def _stopped(piece: PiecePlan, mark: MarkPlan, machine: Machine, *, x: float, width: float) -> Block:
    """Return what had been planned for a mark that must not burn; nothing in it is to be ticked."""
    several = len(piece.marks) > 1
    indent = 12.2 if several else 0.0
    index = piece.marks.index(mark)
    lead = f"{fig.letter(index)} {mark_label(piece, index)}, no program. " if several else ""
    held = f" {binding_words(mark)}" if binding_words(mark) else ""
    words = (
        f"{lead}Planned: {recipe_words(mark, machine)}; stand-off {fig.mm(mark.recipe.stand_off_mm)}; "
        f"air {fig.air_words(mark.recipe.air_kPa)}; mark at {fig.bed_point(*mark.box_bed_mm[:2])}; "
        f"{duration_text(mark.predicted.time_s)}; {expected_words(mark)}.{held}"
    )
    lines = wrap(words, SANS, size_pt=_SMALL_PT, width=width - indent)
    height = 2.2 + len(lines) * _SMALL_LEADING + 0.6

    def draw(sheet: Sheet, y: float) -> None:
        line = y + 4.4
        if several:
            sheet.badge(x, line, "stop")
        sheet.lines(x + indent, line, lines, leading=_SMALL_LEADING, size_pt=_SMALL_PT, grey=SECOND)
        if several:
            sheet.rule(y + height, x0=x, x1=x + width, weight_pt=FINE_PT, grey=PALE)

    return Block(height, draw)


def _not_to_be_burnt(*, x: float, width: float) -> Block:
    height = 13.6

    def draw(sheet: Sheet, y: float) -> None:
        sheet.box(x, y + 0.6, width=width, height=height - 1.2, fill=0.0)
        words = "Not to be burnt as planned"
        sheet.text(x + 3.0, y + 6.0, words, face=SERIF_BOLD, size_pt=11.5, grey=1.0)
        words = "No program was written. Change it, plan again, print again."
        sheet.text(x + 3.0, y + 10.4, words, face=SERIF, size_pt=9.0, grey=1.0)

    return Block(height, draw)
