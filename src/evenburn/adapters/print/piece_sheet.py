"""The part of the sheet that belongs to one piece: where it lies, what is set, what to watch, what comes after."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from evenburn.adapters.print import figures as fig
from evenburn.adapters.print.bed_drawing import drawing_size_mm
from evenburn.adapters.print.faces import SANS, SANS_BOLD, SERIF, SERIF_BOLD, shorten, width_mm, wrap
from evenburn.adapters.print.findings import finding_blocks, quiet_blocks
from evenburn.adapters.print.left_column import left_column
from evenburn.adapters.print.page import PALE, SECOND, SECTION_PT, Block, Sheet, stack
from evenburn.adapters.print.reasons import reason_blocks
from evenburn.adapters.print.set_up import set_up_blocks
from evenburn.core.nouns.plan import BatchPlan, MarkPlan, PiecePlan
from evenburn.core.nouns.wood import FinishingStep

_GUTTER = 5.5
_CAPTION_PT, _CAPTION_LEADING = 8.3, 3.3
_STEP_LEADING = 3.6
_STEPS_A_ROW = 5
SEEN_MM, SEEN_RULE_MM = 9.4, 7.6  # height of that line, and where in it the rule lies


@dataclass(frozen=True, slots=True)
class PieceSheet:
    """A piece ready to be placed: its head, a left column, rows of a right column, and what stands below both."""

    piece: PiecePlan
    head: Block
    left: Block
    right: tuple[Block, ...]
    tail: tuple[Block, ...]
    writes: bool  # whether it ends in a line to write on

    def height(self) -> float:
        """Return the height of the whole piece when it is not broken. [mm]"""
        body = max(self.left.height, sum(row.height for row in self.right))
        return self.head.height + body + sum(block.height for block in self.tail)


def piece_sheet(piece: PiecePlan, plan: BatchPlan, *, picture: Path | None, left: float, right: float) -> PieceSheet:
    """Lay out one piece between two margins. [mm]"""
    bed_wide, _ = drawing_size_mm(plan.machine)
    bed_wide = max(bed_wide, 65.0)
    x = left + bed_wide + _GUTTER
    width = right - x
    found = finding_blocks(piece, x=x, width=width)
    nothing_burns = all(mark.program_file is None for mark in piece.marks)
    body, tail = found, []  # of what must not be burnt nothing else is said
    if not piece.forbidden():
        rows = set_up_blocks(piece, plan.machine, plan.lens, x=x, width=width)
        said = [_sentence(words, ring=ring, x=x, width=width) for words, ring in _sentences(piece)]
        # what was found is read before the boxes are ticked
        body = [rows[0], *found, *rows[1:], *said] if nothing_burns else [*found, *rows, *said]
        tail = [*quiet_blocks(piece, left=left, right=right), *reason_blocks(piece, left=left, right=right)]
    if not nothing_burns:
        tail += [_finishing(piece.wood.finishing, left=left, right=right), _seen(left, right)]
    return PieceSheet(
        piece=piece,
        head=piece_head(piece, left=left, right=right),
        left=left_column(piece, plan.machine, picture, left=left, width=bed_wide, tall=sum(b.height for b in body)),
        right=tuple(body),
        tail=tuple(tail),
        writes=not nothing_burns,
    )


def piece_head(piece: PiecePlan, *, left: float, right: float, first: bool = False, continued: bool = False) -> Block:
    """Return number and name, and at the right wood, surface and blank; under a section line unless first on a page."""
    number = f"{piece.start_order}"
    about = f"{piece.wood.label}, {piece.wood.surface}. Blank {fig.blank_size(piece.piece.blank)}"
    name = f"{piece.piece.name}, continued" if continued else piece.piece.name
    size = 14.8
    indent = width_mm(number, SERIF_BOLD, size_pt=size) + 2.4
    room = right - left - indent
    about = shorten(about, SANS, size_pt=9.1, width=room)
    names = wrap(name, SERIF_BOLD, size_pt=size, width=room)
    beside = width_mm(names[-1], SERIF_BOLD, size_pt=size) + width_mm(about, SANS, size_pt=9.1) + 5.0 <= room
    lead = 3.8 if first else 7.6
    height = lead - 4.6 + len(names) * 6.2 + (0.0 if beside else 4.4) + 1.6

    def draw(sheet: Sheet, y: float) -> None:
        if not first:
            sheet.rule(y, x0=left, x1=right, weight_pt=1.6)
        if not continued:
            sheet.bookmark(f"{number} {piece.piece.name}", key=f"piece-{number}", y=y)
        line = y + lead
        sheet.text(left, line, number, face=SERIF_BOLD, size_pt=size)
        sheet.lines(left + indent, line, names, leading=6.2, face=SERIF_BOLD, size_pt=size)
        sheet.text(right, y + height - 3.2, about, size_pt=9.1, align="right")

    return Block(height, draw)


def _sentences(piece: PiecePlan) -> list[tuple[str, bool]]:
    """Return what is to be said of the wood; True where the ring of a starting value stands before it."""
    said: list[tuple[str, bool]] = []
    told = any("starting value" in check.text for check in piece.checks)
    if piece.wood.curve.provenance.kind == "starting value" and not told:
        words = f"The curve of {piece.wood.name} is a starting value, not a measurement. Burn a card of this lot first."
        said.append((words, True))
    checked = " ".join(f"{check.text} {check.remedy}" for check in piece.checks).casefold()
    said += [(words, False) for words in piece.wood.cautions if words.strip().casefold() not in checked]
    return said


def _sentence(words: str, *, ring: bool, x: float, width: float) -> Block:
    indent = 12.2
    lines = wrap(words, SERIF, size_pt=9.0, width=width - indent)
    height = 1.5 + len(lines) * 3.8 + 0.7

    def draw(sheet: Sheet, y: float) -> None:
        line = y + 4.5
        if ring:
            sheet.circle((x + indent - 3.4, line - 1.05), 1.0, weight_pt=0.8)
        sheet.lines(x + indent, line, lines, leading=3.8, face=SERIF, size_pt=9.0)

    return Block(height, draw)


def _finishing(steps: tuple[FinishingStep, ...], *, left: float, right: float) -> Block:
    """Return the steps after burning as columns to tick, five beside one another at most."""
    rows = [steps[start : start + _STEPS_A_ROW] for start in range(0, len(steps), _STEPS_A_ROW)]
    return stack([_step_row(row, left=left, right=right) for row in rows])


def _step_row(steps: tuple[FinishingStep, ...], *, left: float, right: float) -> Block:
    gap, indent = 3.5, 4.6
    wide = (right - left + gap) / max(len(steps), 3) - gap
    heads = [wrap(_step_head(step), SANS_BOLD, size_pt=9.1, width=wide - indent) for step in steps]
    hows = [wrap(step.how, SANS, size_pt=_CAPTION_PT, width=wide - indent) if step.how else () for step in steps]
    taller = max(len(head) * _STEP_LEADING + len(how) * _CAPTION_LEADING for head, how in zip(heads, hows, strict=True))
    height = 2.8 + taller + 0.9

    def draw(sheet: Sheet, y: float) -> None:
        sheet.rule(y + 0.8, x0=left, x1=right, weight_pt=SECTION_PT)
        for number, (head, how) in enumerate(zip(heads, hows, strict=True)):
            x = left + number * (wide + gap)
            line = y + 5.2
            sheet.tick(x, line)
            sheet.lines(x + indent, line, head, leading=_STEP_LEADING, face=SANS_BOLD, size_pt=9.1)
            line += len(head) * _STEP_LEADING
            sheet.lines(x + indent, line, how, leading=_CAPTION_LEADING, size_pt=_CAPTION_PT, grey=SECOND)

    return Block(height, draw)


def _step_head(step: FinishingStep) -> str:
    return f"{step.name}, {step.time_text}" if step.time_text else step.name


def _seen(left: float, right: float) -> Block:
    """Return the heading and a line to write on."""
    words, size = "Seen at the machine", 10.3

    def draw(sheet: Sheet, y: float) -> None:
        sheet.rule(y + 0.4, x0=left, x1=right, grey=PALE)
        wide = sheet.text(left, y + 6.6, words, face=SERIF_BOLD, size_pt=size)
        sheet.rule(y + SEEN_RULE_MM, x0=left + wide + 3.0, x1=right, weight_pt=0.55, grey=0.3)

    return Block(SEEN_MM, draw)


def tone_words(piece: PiecePlan) -> str:
    """Return what the tone of a piece rests on: wished, expected and where the curve comes from."""
    rests = piece.wood.curve.provenance
    joint = " " if rests.kind == "fitted" and rests.detail.startswith("from ") else ", "
    ground = f"{rests.kind}{joint}{rests.detail}" if rests.detail else rests.kind
    toned = [mark for mark in piece.marks if mark.mark.treatment != "cut"]  # a cut is asked for no tone
    wished = _span([fig.fixed(mark.mark.tone_L, 1) for mark in toned])
    expected = _span([_expected(mark) for mark in toned])
    if not toned:
        return f"{piece.start_order}  Tone: {ground}"
    return f"{piece.start_order}  Tone wished L* {wished}, expected {expected}; {ground}"


def _expected(mark: MarkPlan) -> str:
    return f"{fig.fixed(mark.predicted.tone_L, 1)} ± {fig.fixed(mark.predicted.tone_L_sd, 1)}"


def _span(values: list[str]) -> str:
    distinct = list(dict.fromkeys(values))
    if len(distinct) <= 2:
        return " and ".join(distinct)
    ordered = sorted(distinct, key=lambda text: float(text.split(" ")[0].replace(fig.MINUS, "-")))
    return f"{ordered[0]} to {ordered[-1]}"
