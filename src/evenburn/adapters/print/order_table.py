"""The order table of the first page: one row for each focusing and each mark."""

from __future__ import annotations

from functools import partial

from evenburn.adapters.print import figures as fig
from evenburn.adapters.print.faces import SANS, SANS_BOLD, SERIF, SERIF_BOLD, shorten, shorten_middle, width_mm, wrap
from evenburn.adapters.print.labels import fitted_label
from evenburn.adapters.print.order import BurntRow, FocusRow, MarkRow, PieceRow, Row, StopRow
from evenburn.adapters.print.page import FOCUS_GREY, PALE, SECOND, SECTION_PT, Block, Sheet
from evenburn.core.nouns.machine import Machine
from evenburn.core.nouns.plan import PiecePlan
from evenburn.core.units import duration_text

_FIGURE_PT = 9.3
_SMALL_PT = 8.1
_NAME_PT = 11.0
# Row heights, tight and at ease: tight where the whole order nearly fits its page, at ease where it has room to spare.
_FOCUS_MM = (5.1, 7.0)
_PIECE_MM = (8.5, 11.5)
_MARK_MM = (5.2, 6.0)
_LEAST_NAME_PT = 9.4
_STOP_LEADING = 3.9
_STOP_BADGE = 11.2
HEAD_MM = 6.0
# Left edges at the width of A4; what Letter has more of goes to the name.
_AFTER, _NUMBER, _NAME = 4.6, 21.4, 25.6
_COLUMNS = {"power": 70.0, "speed": 93.2, "spacing": 110.0, "offset": 135.0, "time": 149.6, "burnt": 170.8}
_TEXT_WIDTH_A4_MM = 180.5


def _column(sheet: Sheet, name: str) -> float:
    return sheet.left + _COLUMNS[name] + (sheet.right - sheet.left - _TEXT_WIDTH_A4_MM)


def table_head() -> Block:
    """Return the names of the columns over a section line."""

    def draw(sheet: Sheet, y: float) -> None:
        line = y + 4.2
        for x, words in (
            (sheet.left + _AFTER, "after"),
            (sheet.left + _NAME, "piece, blank"),
            (_column(sheet, "power"), "power"),
            (_column(sheet, "speed"), "speed"),
            (_column(sheet, "spacing"), "line spacing"),
            (_column(sheet, "offset"), "offset"),
            (_column(sheet, "time"), "time"),
        ):
            sheet.text(x, line, words, size_pt=8.3, grey=SECOND)
        sheet.text(sheet.right, line, "burnt at", size_pt=8.3, grey=SECOND, align="right")
        sheet.rule(y + HEAD_MM, x0=sheet.left, x1=sheet.right, weight_pt=SECTION_PT)

    return Block(HEAD_MM, draw)


def row_block(row: Row, machine: Machine, *, text_width: float, ease: float = 0.0) -> Block:
    """Return one row of the table, ready to draw; `ease` from 0, tight, to 1, with room about it."""
    match row:
        case FocusRow():
            height = _eased(_FOCUS_MM, ease)
            return Block(height, partial(_draw_focus, row, height))
        case PieceRow():
            height = _eased(_MARK_MM, ease) + 0.8
            return Block(height, partial(_draw_piece_name, row, height))
        case MarkRow():
            height = _eased(_row_mm(row), ease)
            return Block(height, partial(_draw_mark, row, machine, height))
        case BurntRow():
            height = _eased(_MARK_MM, ease)
            return Block(height, partial(_draw_burnt, row, height))
        case StopRow():
            room = text_width - _COLUMNS["power"] - (text_width - _TEXT_WIDTH_A4_MM)
            reason = wrap(row.reason, SERIF, size_pt=8.6, width=room - _STOP_BADGE)
            height = max(_eased(_row_mm(row), ease), len(reason) * _STOP_LEADING + 2.0)
            return Block(height, partial(_draw_stop, row, reason, height))


def _eased(heights: tuple[float, float], ease: float) -> float:
    return heights[0] + ease * (heights[1] - heights[0])


def _row_mm(row: MarkRow | StopRow) -> tuple[float, float]:
    """A piece's only mark has its blank below its name; a photo has its percent below its power."""
    burnt = isinstance(row, MarkRow) and row.mark.recipe.power_low_W is not None
    return _PIECE_MM if len(row.piece.marks) <= 1 or burnt else _MARK_MM


def _draw_focus(row: FocusRow, height: float, sheet: Sheet, y: float) -> None:
    line = y + height / 2 + 1.1
    stand_off = fig.mm(row.mark.recipe.stand_off_mm)
    blank = row.piece.piece.blank
    sheet.box(sheet.left, y, width=sheet.right - sheet.left, height=height, fill=FOCUS_GREY)
    _row_line(sheet, y)
    sheet.tick(sheet.left + 0.2, line)
    sheet.text(sheet.left + _AFTER, line, fig.minutes_text(row.after_s), size_pt=_FIGURE_PT)
    x = sheet.left + _NUMBER
    x += sheet.text(x, line, f"Focus: stand-off {stand_off}", face=SANS_BOLD, size_pt=_FIGURE_PT) + 2.2
    move = ""
    if row.bed_down_mm is not None and round(abs(row.bed_down_mm), 1) > 0:
        move = f"bed {fig.mm(abs(row.bed_down_mm))} {'down' if row.bed_down_mm > 0 else 'up'}, "
    words = f"{fig.mm(blank.thickness_mm)} {row.piece.wood.name}, {move}gauge block {stand_off}"
    room = sheet.right - 16.0 - x
    sheet.text(x, line, shorten(words, SANS, size_pt=_FIGURE_PT, width=room), size_pt=_FIGURE_PT)
    sheet.text(sheet.right - 0.8, line, fig.exact_minutes(row.takes_s), size_pt=_FIGURE_PT, align="right")
    _row_line(sheet, y + height)


def _draw_piece_name(row: PieceRow, height: float, sheet: Sheet, y: float) -> None:
    line = y + height - 1.5
    piece = row.piece
    _number(sheet, line, piece)
    room = sheet.right - sheet.left - _NAME
    blank = _wood_and_blank(piece, room / 2)
    most = room - width_mm(blank, SANS, size_pt=_SMALL_PT) - 3.0
    name = shorten(piece.piece.name, SERIF_BOLD, size_pt=_NAME_PT, width=most)
    x = sheet.left + _NAME
    x += sheet.text(x, line, name, face=SERIF_BOLD, size_pt=_NAME_PT) + 2.5
    sheet.text(x, line, blank, size_pt=_SMALL_PT, grey=SECOND)


def _draw_mark(row: MarkRow, machine: Machine, height: float, sheet: Sheet, y: float) -> None:
    recipe = row.mark.recipe
    alone = len(row.piece.marks) == 1
    ranged = recipe.power_low_W is not None
    middle = y + height / 2
    line = middle + 1.1
    sheet.tick(sheet.left + 0.2, line)
    sheet.text(sheet.left + _AFTER, line, fig.minutes_text(row.after_s), size_pt=_FIGURE_PT)
    _name(sheet, middle, row)
    for column, words, second in (
        ("power", fig.power_W(recipe), fig.power_percent(recipe, machine)),
        ("speed", fig.speed_mm_per_s(recipe), ""),
        ("spacing", fig.spacing_mm(recipe), fig.lines_short(recipe)),
        ("offset", fig.offset_mm(recipe.focus_offset_mm), ""),
        ("time", duration_text(row.mark.predicted.time_s), ""),
    ):
        x = _column(sheet, column)
        if ranged and column == "power":
            sheet.text(x, middle - 0.35, words, size_pt=_FIGURE_PT)
            sheet.text(x, middle + 3.15, second, size_pt=_SMALL_PT)
            continue
        x += sheet.text(x, line, words, size_pt=_FIGURE_PT) + 0.9
        if second:
            sheet.text(x, line, second, size_pt=_SMALL_PT)
    sheet.rule(line + (1.6 if alone else 0.6), x0=_column(sheet, "burnt"), x1=sheet.right, weight_pt=0.7)
    _row_line(sheet, y + height)


def _draw_burnt(row: BurntRow, height: float, sheet: Sheet, y: float) -> None:
    """Draw a piece that is burnt already: ticked, with the time it was burnt at, and nothing left to do."""
    line = y + height / 2 + 1.1
    burnt = row.burnt
    sheet.ticked(sheet.left + 0.2, line)
    sheet.text(sheet.left + _AFTER, line, "spoiled" if burnt.spoiled else "burnt", size_pt=_SMALL_PT, grey=SECOND)
    right = sheet.left + _NAME - 1.5
    sheet.text(right, line, str(burnt.start_order), face=SANS_BOLD, size_pt=_FIGURE_PT, align="right", grey=SECOND)
    room = _column(sheet, "burnt") - sheet.left - _NAME - 3.0
    name = shorten(burnt.piece.name, SERIF_BOLD, size_pt=_LEAST_NAME_PT, width=room)
    x = sheet.left + _NAME
    x += sheet.text(x, line, name, face=SERIF_BOLD, size_pt=_LEAST_NAME_PT, grey=SECOND) + 2.5
    about = f"{burnt.wood.name}, {fig.blank_size(burnt.piece.blank)}"
    about = shorten(about, SANS, size_pt=_SMALL_PT, width=_column(sheet, "burnt") - x - 3.0)
    sheet.text(x, line, about, size_pt=_SMALL_PT, grey=SECOND)
    on, at = burnt.burnt_at.split("T")
    sheet.text(sheet.right - 0.8, line, at if row.same_day else fig.day_short(on), size_pt=_FIGURE_PT, align="right")
    _row_line(sheet, y + height)


def _draw_stop(row: StopRow, reason: tuple[str, ...], height: float, sheet: Sheet, y: float) -> None:
    middle = y + height / 2
    first = middle + 1.1 - (len(reason) - 1) * _STOP_LEADING / 2
    # One among several stands in line with its letter; a piece alone has its name and blank beside its reason.
    beside = middle if len(row.piece.marks) <= 1 else first - 1.1
    sheet.box(sheet.left, y, width=1.3, height=height, fill=0.0)
    sheet.text(sheet.left + _AFTER, beside + 1.1, "not burnt", size_pt=_SMALL_PT)
    _name(sheet, beside, row)
    x = _column(sheet, "power")
    sheet.badge(x, first, "stop")
    sheet.lines(x + _STOP_BADGE, first, reason, leading=_STOP_LEADING, face=SERIF, size_pt=8.6)
    _row_line(sheet, y + height)


def _name(sheet: Sheet, middle: float, row: MarkRow | StopRow) -> None:
    """Write number, name and blank of a piece's only mark, or letter and artwork of one among several."""
    room = _column(sheet, "power") - sheet.left - _NAME - 1.8
    x, line = sheet.left + _NAME, middle + 1.1
    piece = row.piece
    if len(piece.marks) > 1:
        sheet.text(x, line, fig.letter(row.index), face=SANS_BOLD, size_pt=_FIGURE_PT)
        words = fitted_label(piece, row.index, size_pt=_SMALL_PT, width=room - 3.4)
        sheet.text(x + 3.4, line, words, size_pt=_SMALL_PT)
        return
    _number(sheet, line, piece)
    wide = width_mm(piece.piece.name, SERIF_BOLD, size_pt=_NAME_PT)
    size = max(_LEAST_NAME_PT, _NAME_PT * min(1.0, 0.999 * room / wide))
    name = shorten(piece.piece.name, SERIF_BOLD, size_pt=size, width=room)
    sheet.text(x, middle - 0.15, name, face=SERIF_BOLD, size_pt=size)
    sheet.text(x, middle + 3.5, _wood_and_blank(piece, room), size_pt=_SMALL_PT, grey=SECOND)


def _wood_and_blank(piece: PiecePlan, room: float) -> str:
    """Return wood and lot, shortened where they must be, and the whole size."""
    size = f", {fig.blank_size(piece.piece.blank)}"
    left = room - width_mm(size, SANS, size_pt=_SMALL_PT)
    return shorten_middle(piece.wood.label, SANS, size_pt=_SMALL_PT, width=left) + size


def _number(sheet: Sheet, line: float, piece: PiecePlan) -> None:
    right = sheet.left + _NAME - 1.5
    sheet.text(right, line, str(piece.start_order), face=SANS_BOLD, size_pt=_FIGURE_PT, align="right")


def _row_line(sheet: Sheet, y: float) -> None:
    sheet.rule(y, x0=sheet.left, x1=sheet.right, grey=PALE - 0.15)
