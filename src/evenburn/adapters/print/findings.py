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
    """Return one block for each check, stops first, in the order they were found.

    What is found alike for several marks is told once.
    """
    ranked = sorted(piece.checks, key=lambda check: LEVELS.index(check.level))
    alike: dict[tuple[str, str, str, str], list[Check]] = {}
    for check in ranked:
        alike.setdefault((check.level, check.code, check.text, check.remedy), []).append(check)
    return [_finding(checks[0], _about(piece, checks), x=x, width=width) for checks in alike.values()]


def _about(piece: PiecePlan, checks: list[Check]) -> str:
    """Name the marks that checks speak of where the piece has several."""
    ids = [mark.mark.id for mark in piece.marks]
    letters = [fig.letter(ids.index(check.mark_id)) for check in checks if check.mark_id in ids]
    if len(ids) < 2 or not letters:
        return ""
    return f"Mark {letters[0]}: " if len(letters) == 1 else f"Marks {', '.join(letters)}: "


def _fix_words(fix: Fix) -> str:
    words = fix.text[:1].upper() + fix.text[1:]
    return f"{words} ({fix.price})" if fix.price else words


def _finding(check: Check, about: str, *, x: float, width: float) -> Block:
    room = width - _INDENT
    stops = check.level == "stop"
    said = f"{about}{check.text}" if stops or not check.remedy else f"{about}{check.text} {check.remedy}"
    text = wrap(said, SERIF, size_pt=_TEXT_PT, width=room)
    # What answers a stop has a box to tick, its remedy first; a remark to heed has none.
    # Ways out that were computed are told one by one, each with its price; else the remedy as it is written.
    boxed = _TICK_INDENT if stops else 0.0
    each_told = bool(check.fixes) and all(fix.text in check.remedy for fix in check.fixes)
    remedy = wrap(check.remedy, SANS, size_pt=_DO_PT, width=room - boxed) if stops and not each_told else ()
    told = check.fixes if each_told else [fix for fix in check.fixes if fix.text not in check.remedy]
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
