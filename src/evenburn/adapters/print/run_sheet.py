"""The run sheet: the printed pages that go to the machine."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from evenburn.adapters.print import figures as fig
from evenburn.adapters.print.cautions import caution_box
from evenburn.adapters.print.faces import SANS, SANS_BOLD, SERIF, SERIF_BOLD, shorten, width_mm, wrap
from evenburn.adapters.print.order import SET_UP_S, FocusRow, PieceRow, Row, focusings, order_rows
from evenburn.adapters.print.order_table import row_block, table_head
from evenburn.adapters.print.page import LEFT_MM, PAGE_MM, RIGHT_MM, SECOND, SECTION_PT, Block, PageSize, Sheet
from evenburn.adapters.print.piece_sheet import PieceSheet, piece_head, piece_sheet, tone_words
from evenburn.core.errors import StorageError
from evenburn.core.nouns.plan import BatchPlan, PiecePlan
from evenburn.core.units import duration_text

_TOP = 20.5
_FOOT_PT, _FOOT_LEADING = 7.9, 3.5
_BOTTOM = 8.2  # last footer baseline above the lower edge
_GAP = 6.0
_TWO = 2


@dataclass(slots=True)
class _Leaf:
    """One page being filled: what stands on it and at which y, and whose tone the footer explains."""

    y: float = _TOP
    placed: list[tuple[float, Block]] = field(default_factory=list)
    pieces: list[PiecePlan] = field(default_factory=list)
    notes: bool = False

    def put(self, block: Block) -> None:
        self.placed.append((self.y, block))
        self.y += block.height


def write_run_sheet(plan: BatchPlan, target: Path, *, pictures: Mapping[str, Path], page_size: PageSize = "A4") -> int:
    """Write the run sheet of a batch as PDF and return its number of pages; same input, same bytes.

    Parameters
    ----------
    plan : BatchPlan
        Its `date` (ISO) is the only date on the sheet.
    target : Path
        Written beside it as `.part` first, and renamed when whole.
    pictures : piece id → PNG of the predicted look; a piece without one does without.
    page_size : "A4" or "Letter". Print at 100 %: the bed drawing is to scale.

    Raises
    ------
    InvalidInput
        If `plan.date` is no ISO date.
    StorageError
        If the file cannot be written.
    """
    printer = _Printer(plan, pictures, page_size)
    data = printer.document()
    part = target.with_name(target.name + ".part")
    try:
        with part.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        part.replace(target)
    except OSError as problem:
        part.unlink(missing_ok=True)
        raise StorageError(f"{target.name} could not be written: {problem.strerror or problem}") from problem
    return len(printer.leaves)


class _Printer:
    """Places everything first, so that every page knows how many there are; then draws."""

    def __init__(self, plan: BatchPlan, pictures: Mapping[str, Path], page_size: PageSize) -> None:
        self.plan = plan
        self.page_size = page_size
        self.width, self.height = PAGE_MM[page_size]
        self.left, self.right = LEFT_MM, self.width - RIGHT_MM
        self.planned = fig.day(plan.date, weekday=False)
        self.leaves: list[_Leaf] = [_Leaf()]
        self._place_order()
        for piece in plan.pieces:
            picture = pictures.get(piece.piece.id)
            self._place(piece_sheet(piece, plan, picture=picture, left=self.left, right=self.right))

    # placing

    def _foot_lines(self, pieces: list[PiecePlan]) -> list[str]:
        room = self.right - self.left - 48.0
        return [line for piece in pieces for line in wrap(tone_words(piece), SANS, size_pt=_FOOT_PT, width=room)]

    def _foot_top(self, pieces: list[PiecePlan]) -> float:
        lines = max(2, len(self._foot_lines(pieces)))
        return self.height - _BOTTOM - (lines - 1) * _FOOT_LEADING - 4.2

    def _room(self, *more: PiecePlan) -> float:
        leaf = self.leaves[-1]
        return self._foot_top([*leaf.pieces, *more]) - 2.0 - leaf.y

    def _place_order(self) -> None:
        rows = order_rows(self.plan)
        leaf = self.leaves[0]
        leaf.put(self._title(rows))
        leaf.put(caution_box(self.plan.lens, left=self.left, right=self.right))
        leaf.y += 2.6
        leaf.put(table_head())
        blocks = [row_block(row, self.plan.machine, text_width=self.right - self.left) for row in rows]
        for index, block in enumerate(blocks):
            need = block.height
            ahead = index
            # A focusing row or a name is never the last of a page.
            while isinstance(rows[ahead], FocusRow | PieceRow) and ahead + 1 < len(rows):
                ahead += 1
                need += blocks[ahead].height
            if self._room() < need:
                self.leaves.append(_Leaf())
                self.leaves[-1].put(table_head())
            self.leaves[-1].put(block)
        end = self._order_end(rows)
        if self._room() < end.height:
            self.leaves.append(_Leaf())
        self.leaves[-1].put(end)
        self.leaves[-1].notes = True

    def _place(self, sheet: PieceSheet) -> None:
        leaf = self.leaves[-1]
        fresh = leaf.y == _TOP
        gap = 0.0 if fresh else _GAP if leaf.pieces else 4.5
        full = len(leaf.pieces) >= (1 if leaf.notes else _TWO)
        if not fresh and (full or self._room(sheet.piece) < gap + sheet.height()):
            self.leaves.append(_Leaf())
            leaf, gap, fresh = self.leaves[-1], 0.0, True
        if fresh:
            first = piece_head(sheet.piece, left=self.left, right=self.right, first=True)
            sheet = replace(sheet, head=first)
        if self._room(sheet.piece) < gap + sheet.height():
            self._place_broken(sheet)
            return
        leaf.y += gap
        if leaf.pieces:
            leaf.y = max(leaf.y, min((_TOP + self._foot_top([*leaf.pieces, sheet.piece])) / 2, self._latest(sheet)))
        leaf.notes = False
        self._put_whole(sheet)

    def _latest(self, sheet: PieceSheet) -> float:
        """Return the lowest y at which a piece still ends above the footer."""
        return self._foot_top([*self.leaves[-1].pieces, sheet.piece]) - 2.0 - sheet.height()

    def _put_whole(self, sheet: PieceSheet) -> None:
        leaf = self.leaves[-1]
        leaf.pieces.append(sheet.piece)
        leaf.put(sheet.head)
        top = leaf.y
        leaf.placed.append((top, sheet.left))
        for row in sheet.right:
            leaf.put(row)
        leaf.y = max(leaf.y, top + sheet.left.height)
        for block in sheet.tail:
            leaf.put(block)

    def _place_broken(self, sheet: PieceSheet) -> None:
        """Place a piece taller than a page: on pages of its own, its name again on each."""
        leaf = self.leaves[-1]
        leaf.pieces.append(sheet.piece)
        leaf.put(sheet.head)
        leaf.placed.append((leaf.y, sheet.left))
        beside = leaf.y + sheet.left.height
        for block in (*sheet.right, *sheet.tail):
            if block in sheet.tail:
                self.leaves[-1].y = max(self.leaves[-1].y, beside)
            if self._room() < block.height:
                self.leaves.append(_Leaf(pieces=[sheet.piece]))
                self.leaves[-1].put(
                    piece_head(sheet.piece, left=self.left, right=self.right, first=True, continued=True)
                )
                beside = 0.0
            self.leaves[-1].put(block)

    # first page

    def _title(self, rows: tuple[Row, ...]) -> Block:
        plan = self.plan
        marks = [mark for piece in plan.pieces for mark in piece.marks]
        stopped = sum(mark.program_file is None for mark in marks)
        held = f", {stopped}\u00a0stopped" if stopped else ""
        figures = (
            (duration_text(plan.total_time_s()), "burning"),
            (fig.count(focusings(rows), "time", "times"), "focus to set"),
            (fig.count(len(plan.pieces), "piece", "pieces"), f"{fig.count(len(marks), 'mark', 'marks')}{held}"),
        )
        widths = [
            max(width_mm(big, SANS_BOLD, size_pt=11.5), width_mm(small, SANS, size_pt=8.6)) for big, small in figures
        ]
        start = self.right - sum(widths) - 6.0 * (len(widths) - 1)
        room = start - self.left - 6.0
        names = wrap(plan.name, SERIF, size_pt=20.0, width=room)
        under = wrap(plan.subtitle, SERIF, size_pt=10.4, width=room) if plan.subtitle else ()
        height = len(names) * 7.6 + len(under) * 4.4 + 4.4

        def draw(sheet: Sheet, y: float) -> None:
            sheet.bookmark("Order of the batch", key="order", y=0.0)
            line = y + 5.4
            sheet.lines(self.left, line, names, leading=7.6, face=SERIF, size_pt=20.0)
            line += len(names) * 7.6 - 1.5
            sheet.lines(self.left, line, under, leading=4.4, face=SERIF, size_pt=10.4, grey=SECOND)
            x, base = start, y + 7.0
            for (big, small), wide in zip(figures, widths, strict=True):
                sheet.text(x, base, big, face=SANS_BOLD, size_pt=11.5)
                sheet.text(x, base + 4.6, small, size_pt=8.6)
                x += wide + 6.0

        return Block(max(height, 15.5), draw)

    def _order_end(self, rows: tuple[Row, ...]) -> Block:
        """Return how long the batch takes with its set-up, and that the set-up time is a starting value."""
        burning, sets = self.plan.total_time_s(), focusings(rows)
        total = fig.minutes_text(burning + sets * SET_UP_S)
        words = (
            f"From start to end {total}: {duration_text(burning)} of burning and {fig.count(sets, 'time', 'times')} "
            f"{fig.minutes_text(SET_UP_S)} to bring in, focus and trace. These {fig.minutes_text(SET_UP_S)} are a "
            "starting value; write down what it really takes."
        )
        lines = wrap(words, SANS, size_pt=8.3, width=self.right - self.left)
        height = 2.2 + len(lines) * 3.7

        def draw(sheet: Sheet, y: float) -> None:
            sheet.lines(self.left, y + 4.0, lines, leading=3.7, size_pt=8.3, grey=SECOND)

        return Block(height, draw)

    # drawing

    def document(self) -> bytes:
        """Draw all pages and return the file."""
        plan = self.plan
        sheet = Sheet(self.page_size, title=f"{plan.name}, run sheet", subject=f"evenburn run sheet, {self.planned}")
        for number, leaf in enumerate(self.leaves, start=1):
            self._head(sheet, number)
            for y, block in leaf.placed:
                block.draw(sheet, y)
            if leaf.notes:
                self._notes(sheet, leaf)
            self._foot(sheet, leaf, number)
            sheet.turn_page()
        return sheet.finished()

    def _head(self, sheet: Sheet, number: int) -> None:
        line = 13.4
        sheet.text(self.left, line, "evenburn, run sheet", face=SERIF_BOLD, size_pt=11.0)
        middle = fig.day(self.plan.date, weekday=True) if number == 1 else self.plan.name
        third = (self.right - self.left) / 3
        middle = shorten(middle, SANS, size_pt=9.3, width=third)
        bench = shorten(self.plan.machine.name, SANS, size_pt=9.3, width=third)
        sheet.text((self.left + self.right) / 2, line, middle, size_pt=9.3, align="middle")
        sheet.text(self.right, line, bench, size_pt=9.3, align="right")
        sheet.rule(16.6, x0=self.left, x1=self.right, weight_pt=SECTION_PT)

    def _foot(self, sheet: Sheet, leaf: _Leaf, number: int) -> None:
        top = self._foot_top(leaf.pieces)
        sheet.rule(top, x0=self.left, x1=self.right, weight_pt=0.7)
        line = top + 4.2
        sheet.lines(self.left, line, self._foot_lines(leaf.pieces), leading=_FOOT_LEADING, size_pt=_FOOT_PT)
        sheet.text(self.right, line, f"planned {self.planned}", size_pt=_FOOT_PT, align="right")
        page = f"page\u00a0{number} of\u00a0{len(self.leaves)}"
        sheet.text(self.right, line + _FOOT_LEADING, page, face=SANS_BOLD, size_pt=_FOOT_PT, align="right")

    def _notes(self, sheet: Sheet, leaf: _Leaf) -> None:
        """Rule what the order leaves of its last page for writing, where it is worth it."""
        pitch = 8.4
        last = self._foot_top(leaf.pieces) - 4.0
        first = leaf.y + 15.0
        if last - first < pitch:
            return
        sheet.text(self.left, leaf.y + 9.0, "Notes of the day", face=SERIF_BOLD, size_pt=10.3)
        for index in range(int((last - first) / pitch) + 1):
            sheet.rule(first + index * pitch, x0=self.left, x1=self.right, weight_pt=0.55, grey=0.3)
