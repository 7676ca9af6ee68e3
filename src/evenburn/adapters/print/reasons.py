"""Why a recipe is as it is, what had to give way, and what else may be chosen: below a piece, as wide as the page."""

from __future__ import annotations

from dataclasses import dataclass

from evenburn.adapters.print import figures as fig
from evenburn.adapters.print.faces import SANS, SANS_BOLD, SERIF, SERIF_BOLD, width_mm, wrap
from evenburn.adapters.print.findings import QUIET_INDENT
from evenburn.adapters.print.labels import about_marks
from evenburn.adapters.print.page import FINE_PT, PALE, SECOND, Block, Sheet
from evenburn.adapters.print.paragraph import Run, draw_runs, wrap_runs
from evenburn.core.nouns.plan import MarkPlan, PiecePlan
from evenburn.core.nouns.recipe import Alternative, Recipe
from evenburn.core.planning.telling import is_over_least, lenses_worth_it, over_least_text, reasons_of
from evenburn.core.units import duration_text

_MOST_REASONS = 3  # plan.json has them all
_TEXT_PT, _LEADING = 9.0, 3.8
_SMALL_PT, _SMALL_LEADING = 8.3, 3.4
_LABEL_PT = 8.2
_ROW_PT, _ROW, _ROW_LEADING = 8.6, 4.7, 3.4
_COLUMN_GAP, _NAME_GAP = 3.2, 3.0
_HEAD_MM = 4.8
_NAME_SHARE = 0.35  # of what the figures leave, at most; the rest is for words
_CHOOSE = "You may also choose, holding its figures:"
_HEADS = ("time", "power", "speed", "lines", "offset")


@dataclass(frozen=True, slots=True)
class _Row:
    """One recipe to choose: its name, how it differs, and its figures."""

    name: str
    words: tuple[str, ...]
    figures: tuple[str, ...]
    recommended: bool

    def height(self) -> float:
        return _ROW + (max(len(self.words), 1) - 1) * _ROW_LEADING


def reason_blocks(piece: PiecePlan, *, left: float, right: float) -> list[Block]:
    """Return reasons and choice of each mark to burn; marks of which all of it is the same are told together."""
    blocks: list[Block] = []
    for marks in _alike(piece):
        about = about_marks(piece, [piece.marks.index(mark) for mark in marks])
        blocks.append(_why(marks, about, left=left, right=right))
        if len(marks[0].choice) > 1:
            blocks.append(_choice(marks[0], left=left + QUIET_INDENT, right=right))
    return blocks


def _alike(piece: PiecePlan) -> list[list[MarkPlan]]:
    """Return the marks to burn that have anything to tell, those of which all is the same together."""
    alike: dict[tuple[object, ...], list[MarkPlan]] = {}
    for mark in piece.marks:
        if mark.program_file is None:
            continue
        told = (reasons_of(mark, most=_MOST_REASONS), mark.gave_way, mark.choice if len(mark.choice) > 1 else ())
        if any(told):
            alike.setdefault(told, []).append(mark)
    return list(alike.values())


def _why(marks: list[MarkPlan], about: str, *, left: float, right: float) -> Block:
    """Return what gave way, the reasons as one paragraph, and in small how near the time is to the least."""
    mark, x, width = marks[0], left + QUIET_INDENT, right - left - QUIET_INDENT
    runs = [Run(about.strip(), SERIF, _TEXT_PT)] if about else []
    runs += [Run(one.text, SERIF_BOLD, _TEXT_PT) for one in mark.gave_way]
    runs += [Run(text, SERIF, _TEXT_PT) for text in reasons_of(mark, most=_MOST_REASONS)]
    said = wrap_runs(runs, width=width)
    small = " ".join(part for part in (_least(marks), *(lens.text for lens in lenses_worth_it(mark))) if part)
    under = wrap(small, SANS, size_pt=_SMALL_PT, width=width) if small else ()
    text_high = len(said) * _LEADING
    height = 2.0 + text_high + len(under) * _SMALL_LEADING + 0.7

    def draw(sheet: Sheet, y: float) -> None:
        line = y + 4.5
        sheet.text(left, line, "why", face=SANS_BOLD, size_pt=_LABEL_PT)
        draw_runs(sheet, x, line, said, leading=_LEADING)
        sheet.lines(x, line + text_high, under, leading=_SMALL_LEADING, size_pt=_SMALL_PT, grey=SECOND)

    return Block(height, draw)


def _least(marks: list[MarkPlan]) -> str:
    """Return how far the times of scanned marks lie above the least possible, where that counts."""
    told = {
        over_least_text(mark.predicted.time_s, least_s=mark.predicted.time_lower_bound_s)
        for mark in marks
        if mark.recipe.way == "scan"  # the least for a path knows nothing of its corners
        and is_over_least(mark.predicted.time_s, least_s=mark.predicted.time_lower_bound_s)
    }
    return f"The time is {' or '.join(sorted(told))}." if told else ""


def _choice(mark: MarkPlan, *, left: float, right: float) -> Block:
    """Return the recipes to choose from as a table: name, how it differs, and what it takes to set."""
    own = next((one.recipe for one in mark.choice if one.recommended), mark.recipe)
    figures = [_figures(one) for one in mark.choice]
    columns = [
        max(width_mm(text, SANS_BOLD, size_pt=_ROW_PT) for text in (head, *texts))
        for head, *texts in zip(_HEADS, *figures, strict=True)
    ]
    taken = sum(columns) + _COLUMN_GAP * len(columns)
    most = _NAME_SHARE * (right - left - taken)
    names = [wrap(one.name, SANS_BOLD, size_pt=_ROW_PT, width=most) for one in mark.choice]
    name_wide = max(width_mm(line, SANS_BOLD, size_pt=_ROW_PT) for name in names for line in name) + _NAME_GAP
    room = right - left - taken - name_wide
    rows = [
        _Row(
            name=one.name,
            words=wrap(_differs(one, own), SANS, size_pt=_ROW_PT, width=room),
            figures=texts,
            recommended=one.recommended,
        )
        for one, texts in zip(mark.choice, figures, strict=True)
    ]
    heights = [max(row.height(), _ROW + (len(name) - 1) * _ROW_LEADING) for row, name in zip(rows, names, strict=True)]
    ends = [right - sum(columns[n + 1 :]) - _COLUMN_GAP * (len(columns) - n - 1) for n in range(len(columns))]

    def draw(sheet: Sheet, y: float) -> None:
        line = y + 3.6
        sheet.text(left, line, _CHOOSE, size_pt=_SMALL_PT, grey=SECOND)
        for head, end in zip(_HEADS, ends, strict=True):
            sheet.text(end, line, head, size_pt=_SMALL_PT, align="right", grey=SECOND)
        at = y + _HEAD_MM
        for row, name, high in zip(rows, names, heights, strict=True):
            sheet.rule(at, x0=left, x1=right, weight_pt=FINE_PT, grey=PALE)
            face = SANS_BOLD if row.recommended else SANS
            sheet.lines(left, at + 3.4, name, leading=_ROW_LEADING, face=face, size_pt=_ROW_PT)
            sheet.lines(left + name_wide, at + 3.4, row.words, leading=_ROW_LEADING, size_pt=_ROW_PT)
            for text, end in zip(row.figures, ends, strict=True):
                sheet.text(end, at + 3.4, text, face=face, size_pt=_ROW_PT, align="right")
            at += high

    return Block(_HEAD_MM + sum(heights) + 0.6, draw)


def _figures(one: Alternative) -> tuple[str, ...]:
    recipe = one.recipe
    return (
        duration_text(one.time_s),
        fig.power_W(recipe),
        fig.speed_mm_per_s(recipe),
        fig.spacing_mm(recipe),
        fig.offset_mm(recipe.focus_offset_mm),
    )


def _differs(one: Alternative, own: Recipe) -> str:
    """Return how a recipe differs, with what of passes and axis its figures do not show."""
    more = []
    if one.recipe.passes != own.passes:
        more.append(fig.count(one.recipe.passes, "pass", "passes"))
    if one.recipe.scan_axis != own.scan_axis:
        more.append(f"scanned along {one.recipe.scan_axis}")
    if not more:
        return one.text
    said = ", ".join(more)
    return f"{one.text} {said[:1].upper()}{said[1:]}."
