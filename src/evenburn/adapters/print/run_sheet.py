"""The run sheet: the printed pages that go to the machine."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from evenburn.adapters.print import figures as fig
from evenburn.adapters.print.cautions import caution_box
from evenburn.adapters.print.faces import SANS, SANS_BOLD, SERIF_BOLD, shorten, width_mm, wrap
from evenburn.adapters.print.first_page import draw_notes, order_end, run_blocks, title
from evenburn.adapters.print.order import FocusRow, PieceRow, Row, order_rows
from evenburn.adapters.print.order_table import row_block, table_head
from evenburn.adapters.print.page import LEFT_MM, PAGE_MM, RIGHT_MM, SECTION_PT, Block, PageSize, Sheet
from evenburn.adapters.print.piece_sheet import SEEN_MM, SEEN_RULE_MM, PieceSheet, piece_head, piece_sheet, tone_words
from evenburn.core.errors import StorageError
from evenburn.core.nouns.plan import BatchPlan, PiecePlan

_TOP = 20.5
_FOOT_PT, _FOOT_LEADING = 7.9, 3.5
_BOTTOM = 8.2  # last footer baseline above the lower edge
_GAP = 4.6
_GAP_AFTER_ORDER = 4.5
_TWO, _MOST_PIECES = 2, 3  # two to a page; a third only where all three are short
_WRITING_PITCH, _MOST_WRITING_LINES = 8.2, 3


@dataclass(slots=True)
class _Leaf:
    """One page being filled: what stands on it and at which y, and whose tone the footer explains."""

    y: float = _TOP
    placed: list[tuple[float, Block]] = field(default_factory=list)
    pieces: list[PiecePlan] = field(default_factory=list)
    spans: list[tuple[float, float, bool]] = field(
        default_factory=list
    )  # top, end, and whether it ends in a line to write on
    most_pieces: int = _MOST_PIECES
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
        sheets = [
            piece_sheet(piece, plan, picture=pictures.get(piece.piece.id), left=self.left, right=self.right)
            for piece in plan.pieces
        ]
        self._place_order(sheets[0] if sheets else None)
        self._place_pieces(sheets)

    # placing

    def _foot_lines(self, pieces: list[PiecePlan]) -> list[str]:
        room = self.right - self.left - width_mm(f"planned {self.planned}", SANS, size_pt=_FOOT_PT) - 4.0
        told = [tone_words(piece) for piece in pieces if not piece.forbidden()]
        return [line for words in told for line in wrap(words, SANS, size_pt=_FOOT_PT, width=room)]

    def _foot_top(self, pieces: list[PiecePlan]) -> float:
        lines = max(2, len(self._foot_lines(pieces)))
        return self.height - _BOTTOM - (lines - 1) * _FOOT_LEADING - 4.2

    def _room(self, *more: PiecePlan) -> float:
        leaf = self.leaves[-1]
        return self._foot_top([*leaf.pieces, *more]) - 2.0 - leaf.y

    def _place_order(self, first: PieceSheet | None) -> None:
        rows = order_rows(self.plan)
        leaf = self.leaves[0]
        leaf.put(title(self.plan, rows, left=self.left, right=self.right))
        leaf.put(caution_box(self.plan.lens, left=self.left, right=self.right))
        leaf.y += 2.6
        leaf.put(table_head())
        end = order_end(self.plan, left=self.left, right=self.right)
        runs = run_blocks(self.plan, left=self.left, right=self.right)
        blocks = self._order_blocks(rows, sum(block.height for block in (*runs, end)), first)
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
        for index, block in enumerate((*runs, end)):
            leads = bool(runs) and index == 0  # the heading is never the last of a page
            need = block.height + (runs[1].height if leads else 0.0)
            if self._room() < need:
                self.leaves.append(_Leaf())
            self.leaves[-1].put(block)
        self.leaves[-1].notes = True
        self.leaves[-1].most_pieces = 1

    def _order_blocks(self, rows: tuple[Row, ...], end_mm: float, first: PieceSheet | None) -> list[Block]:
        """Return the rows of the order, with so much room about them as the first page spares."""
        width = self.right - self.left
        tight = [row_block(row, self.plan.machine, text_width=width) for row in rows]
        easy = [row_block(row, self.plan.machine, text_width=width, ease=1.0) for row in rows]
        taken = sum(block.height for block in tight)
        growth = sum(block.height for block in easy) - taken
        spare = self._room() - taken - end_mm
        if first is not None:
            with_piece = self._room(first.piece) - taken - end_mm - _GAP_AFTER_ORDER - first.height()
            spare = with_piece if with_piece >= 0 else spare
        ease = min(1.0, max(0.0, spare - 0.01) / growth) if growth > 0 else 0.0
        return [row_block(row, self.plan.machine, text_width=width, ease=ease) for row in rows]

    def _place_pieces(self, sheets: list[PieceSheet]) -> None:
        """Place pieces in their order, on each page as many as stand on it whole."""
        at = 0
        while at < len(sheets):
            group = self._group(sheets[at:])
            if group:
                self._put_group(group)
                at += len(group)
            elif self.leaves[-1].y == _TOP:
                self._place_broken(self._first(sheets[at]))
                at += 1
            else:
                self.leaves.append(_Leaf())

    def _first(self, sheet: PieceSheet) -> PieceSheet:
        """Return a piece with the head of one that is first on its page."""
        return replace(sheet, head=piece_head(sheet.piece, left=self.left, right=self.right, first=True))

    def _group(self, sheets: list[PieceSheet]) -> list[PieceSheet]:
        """Return as many pieces as stand whole on what is left of the page."""
        leaf = self.leaves[-1]
        pieces, y, group = list(leaf.pieces), leaf.y, list[PieceSheet]()
        for sheet in sheets[: leaf.most_pieces - len(pieces)]:
            placed = self._first(sheet) if y == _TOP else sheet
            y += self._gap(y, pieces) + placed.height()
            pieces.append(sheet.piece)
            if y > self._foot_top(pieces) - 2.0:
                break
            group.append(placed)
        return group

    @staticmethod
    def _gap(y: float, pieces: list[PiecePlan]) -> float:
        return 0.0 if y == _TOP else _GAP if pieces else _GAP_AFTER_ORDER

    def _put_group(self, group: list[PieceSheet]) -> None:
        """Place pieces on the page: the second of two from its middle on, more of them evenly."""
        leaf = self.leaves[-1]
        fresh = leaf.y == _TOP
        foot = self._foot_top([*leaf.pieces, *(sheet.piece for sheet in group)])
        latest = foot - 2.0
        taken = sum(sheet.height() for sheet in group) + _GAP * (len(group) - 1)
        spread = (latest - _TOP - taken) / len(group) if fresh and len(group) > _TWO else 0.0
        for number, sheet in enumerate(group):
            leaf.y += self._gap(leaf.y, leaf.pieces) + (spread if number else 0.0)
            if fresh and number and len(group) == _TWO:
                leaf.y = max(leaf.y, min((_TOP + foot) / 2, latest - sheet.height()))
            top = leaf.y
            leaf.notes = False
            self._put_whole(sheet)
            leaf.spans.append((top, leaf.y, sheet.writes))

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
            self._writing_lines(sheet, leaf)
            self._foot(sheet, leaf, number)
            sheet.turn_page()
        return sheet.finished()

    def _writing_lines(self, sheet: Sheet, leaf: _Leaf) -> None:
        """Rule more lines for what was seen at the machine where a piece leaves room below it."""
        nexts = [top for top, _, _ in leaf.spans[1:]] + [self._foot_top(leaf.pieces)]
        for (_, end, writes), below in zip(leaf.spans, nexts, strict=False):
            first = end - SEEN_MM + SEEN_RULE_MM + _WRITING_PITCH
            for number in range(_MOST_WRITING_LINES if writes else 0):
                y = first + number * _WRITING_PITCH
                if y + 4.5 <= below:
                    sheet.rule(y, x0=self.left, x1=self.right, weight_pt=0.55, grey=0.3)

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
