"""The checks of a piece: the word in its shape, the sentence, and what to do."""

from __future__ import annotations

from evenburn.adapters.print import figures as fig
from evenburn.adapters.print.faces import SANS, SERIF, wrap
from evenburn.adapters.print.page import Block, Sheet
from evenburn.core.nouns.check import LEVELS, Check, Fix
from evenburn.core.nouns.plan import PiecePlan

_INDENT = 12.2
_TEXT_PT, _TEXT_LEADING = 9.0, 4.0
_DO_PT, _DO_LEADING = 8.8, 3.9
_TICK_INDENT = 4.6


def finding_blocks(piece: PiecePlan, *, x: float, width: float) -> list[Block]:
    """Return one block for each check, stops first, in the order they were found."""
    ranked = sorted(piece.checks, key=lambda check: LEVELS.index(check.level))
    return [_finding(check, _about(piece, check), x=x, width=width) for check in ranked]


def _about(piece: PiecePlan, check: Check) -> str:
    """Name the mark a check speaks of where the piece has several."""
    ids = [mark.mark.id for mark in piece.marks]
    if len(ids) < 2 or check.mark_id not in ids:
        return ""
    return f"Mark {fig.letter(ids.index(check.mark_id))}: "


def _fix_words(fix: Fix) -> str:
    return f"{fix.text} ({fix.price})" if fix.price else fix.text


def _finding(check: Check, about: str, *, x: float, width: float) -> Block:
    room = width - _INDENT
    text = wrap(f"{about}{check.text}", SERIF, size_pt=_TEXT_PT, width=room)
    # What answers a stop has a box to tick, its remedy first; a remark to heed has none.
    boxed = _TICK_INDENT if check.level == "stop" else 0.0
    remedy = wrap(check.remedy, SANS, size_pt=_DO_PT, width=room - boxed) if check.remedy else ()
    told = [fix for fix in check.fixes if fix.text not in check.remedy]
    fixes = [wrap(_fix_words(fix), SANS, size_pt=_DO_PT, width=room - _TICK_INDENT) for fix in told]
    do_lines = len(remedy) + sum(len(lines) for lines in fixes)
    height = 1.7 + len(text) * _TEXT_LEADING + do_lines * _DO_LEADING + 0.9

    def draw(sheet: Sheet, y: float) -> None:
        line = y + 4.8
        sheet.badge(x, line, check.level)
        sheet.lines(x + _INDENT, line, text, leading=_TEXT_LEADING, face=SERIF, size_pt=_TEXT_PT)
        line += len(text) * _TEXT_LEADING
        if boxed and remedy:
            sheet.tick(x + _INDENT, line)
        sheet.lines(x + _INDENT + boxed, line, remedy, leading=_DO_LEADING, size_pt=_DO_PT)
        line += len(remedy) * _DO_LEADING
        for lines in fixes:
            sheet.tick(x + _INDENT, line)
            sheet.lines(x + _INDENT + _TICK_INDENT, line, lines, leading=_DO_LEADING, size_pt=_DO_PT)
            line += len(lines) * _DO_LEADING

    return Block(height, draw)
