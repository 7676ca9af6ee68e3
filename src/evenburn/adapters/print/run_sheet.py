"""The run sheet: the printed pages that go to the machine."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from evenburn.adapters.print import figures as fig
from evenburn.adapters.print.cautions import caution_box
from evenburn.adapters.print.faces import SANS, SANS_BOLD, SERIF_BOLD, shorten, wrap
from evenburn.adapters.print.first_page import draw_notes, order_end, title
from evenburn.adapters.print.left_column import fitted_picture
from evenburn.adapters.print.order import FocusRow, PieceRow, order_rows
from evenburn.adapters.print.order_table import row_block, table_head
from evenburn.adapters.print.page import LEFT_MM, PAGE_MM, RIGHT_MM, SECTION_PT, Block, PageSize, Sheet
from evenburn.adapters.print.piece_sheet import PieceSheet, piece_head, piece_sheet, tone_words
from evenburn.core.errors import StorageError
from evenburn.core.nouns.plan import BatchPlan, PiecePlan

_TOP = 20.5
_FOOT_PT, _FOOT_LEADING = 7.9, 3.5
_BOTTOM = 8.2  # last footer baseline above the lower edge
_GAP = 5.0
_TWO = 2
_PICTURE_HIGH_MM: dict[PageSize, float] = {"A4": 23.0, "Letter": 19.0}  # so that two pieces stand on a page


@dataclass(slots=True)
class _Leaf:
    """One page being filled: what stands on it and at which y, and whose tone the footer explains."""

    y: float = _TOP
    placed: list[tuple[float, Block]] = field(default_factory=list)
    pieces: list[PiecePlan] = field(default_factory=list)
    most_pieces: int = _TWO
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
    UnreadableFile
        If a picture cannot be read.
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
            file = pictures.get(piece.piece.id)
            picture = None if file is None else fitted_picture(file, most_high=_PICTURE_HIGH_MM[page_size])
            self._place(piece_sheet(piece, plan, picture=picture, left=self.left, right=self.right))

    # placing

    def _foot_lines(self, pieces: list[PiecePlan]) -> list[str]:
        room = self.right - self.left - 34.0
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
        leaf.put(title(self.plan, rows, left=self.left, right=self.right))
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
        end = order_end(self.plan, rows, left=self.left, right=self.right)
        if self._room() < end.height:
            self.leaves.append(_Leaf())
        self.leaves[-1].put(end)
        self.leaves[-1].notes = True
        self.leaves[-1].most_pieces = 1

    def _place(self, sheet: PieceSheet) -> None:
        leaf = self.leaves[-1]
        fresh = leaf.y == _TOP
        gap = 0.0 if fresh else _GAP if leaf.pieces else 4.5
        full = len(leaf.pieces) >= leaf.most_pieces
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
                draw_notes(sheet, top=leaf.y, bottom=self._foot_top(leaf.pieces))
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
