"""The checks of a piece: the word in its shape, the sentence, and what to do."""

from __future__ import annotations

from dataclasses import dataclass

from evenburn.adapters.print.faces import SANS, SERIF, width_mm, wrap
from evenburn.adapters.print.labels import about_marks
from evenburn.adapters.print.page import FINE_PT, PALE, Block, Sheet
from evenburn.adapters.print.paragraph import Line, Run, draw_runs, wrap_runs
from evenburn.core.nouns.check import LEVELS, Check
from evenburn.core.nouns.plan import PiecePlan

_INDENT, QUIET_INDENT = 12.2, 8.4
_TEXT_PT, _LEADING = 9.0, 3.8
_NOTE_SIZES_PT = (9.0, 8.6, 8.2)  # a note steps down to these where it then stands in one line
_DO_LESS_PT = 0.3  # sans looks larger than serif of the same size
_DO_PT, _DO_ROW, _DO_LEADING = 8.8, 4.4, 3.8
_TICK_INDENT = 4.6


@dataclass(frozen=True, slots=True)
class _Way:
    """A way out, to be ticked, and its price."""

    lines: tuple[str, ...]
    price: str

    def height(self) -> float:
        return _DO_ROW + (len(self.lines) - 1) * _DO_LEADING


def finding_blocks(piece: PiecePlan, *, x: float, width: float) -> list[Block]:
    """Return one block for each check, stops first, in the order they were found; what needs nothing is left out.

    What is found alike for several marks is told once.
    """
    return [
        _finding(checks[0], _about(piece, checks), x=x, width=width)
        for checks in _alike(piece)
        if not _needs_nothing(checks[0])
    ]


def quiet_blocks(piece: PiecePlan, *, left: float, right: float) -> list[Block]:
    """Return the notes that ask for nothing, each in a line as wide as the page allows."""
    return [
        _finding(checks[0], _about(piece, checks), x=left, width=right - left, indent=QUIET_INDENT)
        for checks in _alike(piece)
        if _needs_nothing(checks[0])
    ]


def _needs_nothing(check: Check) -> bool:
    return check.level == "note" and not check.fixes and check.remedy.casefold().endswith("nothing to do.")


def _alike(piece: PiecePlan) -> list[list[Check]]:
    """Return the checks of a piece, stops first, those that differ only in their mark together."""
    ranked = sorted(piece.checks, key=lambda check: LEVELS.index(check.level))
    ranked = [check for check in ranked if (check.level, check.code) != ("note", "refocus")]  # its set-up row says it
    alike: dict[tuple[object, ...], list[Check]] = {}
    for check in ranked:
        ways = tuple((fix.text, fix.price) for fix in check.fixes)
        alike.setdefault((check.level, check.code, check.text, check.remedy, ways), []).append(check)
    return list(alike.values())


def _about(piece: PiecePlan, checks: list[Check]) -> str:
    """Name the marks that checks speak of where the piece has several."""
    ids = [mark.mark.id for mark in piece.marks]
    return about_marks(piece, {ids.index(check.mark_id) for check in checks if check.mark_id in ids})


def remedy_beside_fixes(check: Check) -> str:
    """Return the remedy where it says more than the fixes, which stand one by one; else nothing."""
    rest = check.remedy.casefold()
    for fix in check.fixes:
        rest = rest.replace(fix.text.casefold(), "")
        rest = rest.replace(fix.price.casefold(), "") if fix.price else rest
    return check.remedy if any(sign.isalnum() for sign in rest) else ""


def _ways(check: Check, remedy: str, *, room: float) -> tuple[_Way, ...]:
    """Return what is to be ticked: what answers a stop, and each fix with its price unless the remedy tells it."""
    told = [(remedy, "")] if remedy and check.level == "stop" else []
    told += [(fix.text, fix.price) for fix in check.fixes if fix.text.casefold() not in remedy.casefold()]
    ways = []
    for words, price in told:
        taken = width_mm(price, SANS, size_pt=_DO_PT) + 3.0 if price else 0.0
        sentence = words[:1].upper() + words[1:]
        ways.append(_Way(wrap(sentence, SANS, size_pt=_DO_PT, width=room - _TICK_INDENT - taken), price))
    return tuple(ways)


def _said(check: Check, about: str, remedy: str, *, room: float) -> tuple[Line, ...]:
    """Return what was found in serif, and in sans on the same lines what to do about it."""
    sizes = _NOTE_SIZES_PT if check.level == "note" else ()
    do = "" if check.level == "stop" else remedy
    for size in (*sizes, _TEXT_PT):
        runs = (Run(f"{about}{check.text}", SERIF, size), Run(do, SANS, size - _DO_LESS_PT))
        lines = wrap_runs(runs, width=room)
        if len(lines) == 1:
            break
    return lines


def _finding(check: Check, about: str, *, x: float, width: float, indent: float = _INDENT) -> Block:
    room = width - indent
    remedy = remedy_beside_fixes(check)
    said = _said(check, about, remedy, room=room)
    ways = _ways(check, remedy, room=room)
    height = 1.5 + len(said) * _LEADING + sum(way.height() for way in ways) + 0.7

    def draw(sheet: Sheet, y: float) -> None:
        line = y + 4.5
        sheet.badge(x, line, check.level)
        draw_runs(sheet, x + indent, line, said, leading=_LEADING)
        line += len(said) * _LEADING + 0.3
        for number, way in enumerate(ways):
            if number:
                sheet.rule(line - 3.2, x0=x + indent, x1=x + width, weight_pt=FINE_PT, grey=PALE)
            sheet.tick(x + indent, line)
            sheet.lines(x + indent + _TICK_INDENT, line, way.lines, leading=_DO_LEADING, size_pt=_DO_PT)
            sheet.text(x + width, line, way.price, size_pt=_DO_PT, align="right")
            line += way.height()

    return Block(height, draw)
