"""The sheet a customer signs: the piece as it is predicted to look, its size and wood, and a line. No figures of the bench."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass

from reportlab.lib.utils import ImageReader

from evenburn.adapters.print.faces import PT_PER_MM, SANS, SANS_BOLD, SERIF, SERIF_BOLD, width_mm, wrap
from evenburn.adapters.print.figures import day
from evenburn.adapters.print.page import FINE_PT, SECOND, SECTION_PT, PageSize, Sheet

_TOP, _FOOT = 24.0, 12.0
_TITLE_PT, _TITLE_LEADING = 26.0, 10.4
_SAYS_PT = 12.5
_FACT_PT, _LABEL_PT = 11.5, 9.0
_SENTENCE_PT, _SENTENCE_LEADING = 11.2, 5.4
_SIGN_MM = 16.0  # a line to write on with room above it
_MOST_HIGH = 145.0  # of the picture
_LESS = 0.995  # a picture smaller than so much of the piece is said to be smaller


@dataclass(frozen=True, slots=True, kw_only=True)
class CustomerSheet:
    """What stands on the sheet.

    Attributes
    ----------
    picture : JPEG of the board on white; board_mm : its width and height.
    facts : pairs of what it is and its value, say ("size", "200 × 150 × 12 mm").
    sentences : what a customer should know, friendly, each a paragraph.
    """

    title: str
    says: str
    picture: bytes
    board_mm: tuple[float, float]
    facts: tuple[tuple[str, str], ...]
    sentences: tuple[str, ...]
    date: str


class _Leaf(Sheet):
    """A sheet that prints a picture in its colours."""

    def coloured(self, x: float, y: float, data: bytes, *, width: float, height: float) -> None:
        """Print a JPEG with its top left corner at x, y. [mm]"""
        self._pen.drawImage(
            ImageReader(io.BytesIO(data)), self._x(x), self._y(y + height), width * PT_PER_MM, height * PT_PER_MM
        )


def customer_pdf(sheet: CustomerSheet, *, page_size: PageSize = "A4") -> bytes:
    """Return the sheet as PDF, one page; same input, same bytes.

    Raises
    ------
    InvalidInput
        If its date is no ISO date.
    """
    dated = day(sheet.date, weekday=False)
    leaf = _Leaf(page_size, title=sheet.title, subject="A picture to agree on")
    y = _head(leaf, sheet, dated)
    y = _picture(leaf, sheet, y)
    y = _facts(leaf, sheet.facts, y)
    for sentence in sheet.sentences:
        lines = wrap(sentence, SERIF, size_pt=_SENTENCE_PT, width=leaf.right - leaf.left)
        leaf.lines(leaf.left, y, lines, leading=_SENTENCE_LEADING, face=SERIF, size_pt=_SENTENCE_PT)
        y += len(lines) * _SENTENCE_LEADING + 1.6
    _sign(leaf, y)
    return leaf.finished()


def _head(leaf: _Leaf, sheet: CustomerSheet, dated: str) -> float:
    """Draw title, whom it is for and the date; return where the next thing may begin. [mm]"""
    room = leaf.right - leaf.left
    titles = wrap(sheet.title, SERIF_BOLD, size_pt=_TITLE_PT, width=room)
    leaf.lines(leaf.left, _TOP, titles, leading=_TITLE_LEADING, face=SERIF_BOLD, size_pt=_TITLE_PT)
    y = _TOP + (len(titles) - 1) * _TITLE_LEADING + 8.0
    wide = width_mm(dated, SANS, size_pt=_SAYS_PT)
    says = wrap(sheet.says, SERIF, size_pt=_SAYS_PT, width=room - wide - 8.0) if sheet.says else ()
    leaf.lines(leaf.left, y, says, leading=5.6, face=SERIF, size_pt=_SAYS_PT, grey=SECOND)
    leaf.text(leaf.right, y, dated, size_pt=_SAYS_PT, align="right", grey=SECOND)
    y += max(len(says) - 1, 0) * 5.6 + 4.6
    leaf.rule(y, x0=leaf.left, x1=leaf.right, weight_pt=SECTION_PT)
    return y + 7.0


def _picture(leaf: _Leaf, sheet: CustomerSheet, y: float) -> float:
    room = leaf.right - leaf.left
    wide, high = sheet.board_mm
    share = min(1.0, room / wide, _MOST_HIGH / high)
    left = leaf.left + 0.5 * (room - share * wide)
    leaf.coloured(left, y, sheet.picture, width=share * wide, height=share * high)
    y += share * high + 5.4
    told = "shown as large as it is" if share > _LESS else f"shown at {100.0 * share:.0f}\u00a0% of its size"
    leaf.text(leaf.left + 0.5 * room, y, told, size_pt=_LABEL_PT, align="middle", grey=SECOND)
    return y + 8.0


def _facts(leaf: _Leaf, facts: Sequence[tuple[str, str]], y: float) -> float:
    """Write facts beside one another, in as many rows as they need."""
    x, gap = leaf.left, 11.0
    for what, value in facts:
        wide = max(width_mm(what, SANS, size_pt=_LABEL_PT), width_mm(value, SANS_BOLD, size_pt=_FACT_PT))
        if x > leaf.left and x + wide > leaf.right:
            x, y = leaf.left, y + 12.0
        leaf.text(x, y, what, size_pt=_LABEL_PT, grey=SECOND)
        leaf.text(x, y + 5.2, value, face=SANS_BOLD, size_pt=_FACT_PT)
        x += wide + gap
    return y + 14.6


def _sign(leaf: _Leaf, y: float) -> None:
    """Draw where to sign, at the foot of the page or below what stands above it."""
    foot = leaf.height - _FOOT - 10.0
    if foot - y > 3 * _SIGN_MM:  # room to write what should be otherwise
        leaf.text(leaf.left, y + 6.0, "What should be different", size_pt=_LABEL_PT, grey=SECOND)
        for number in (1, 2):
            leaf.rule(y + 6.0 + number * 11.0, x0=leaf.left, x1=leaf.right, weight_pt=FINE_PT)
    y = max(y + 14.0, foot)
    middle = leaf.left + 0.62 * (leaf.right - leaf.left)
    for x0, x1, what in (
        (leaf.left, middle - 5.0, "Agreed as shown: name and signature"),
        (middle + 5.0, leaf.right, "date"),
    ):
        leaf.rule(y, x0=x0, x1=x1, weight_pt=2 * FINE_PT)
        leaf.text(x0, y + 4.4, what, size_pt=_LABEL_PT, grey=SECOND)
