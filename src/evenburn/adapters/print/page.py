"""A sheet of paper to draw on: type, rules, boxes, badges. Lengths in mm from the top left, y down; type in points."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np
from PIL import Image
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas

from evenburn.adapters.print.faces import (
    DIAMETER,
    DIAMETER_WIDTH_EM,
    PT_PER_MM,
    SANS,
    SANS_BOLD,
    Face,
    font,
    printable,
    shaped,
    width_mm,
)
from evenburn.core.nouns.check import Level

PageSize = Literal["A4", "Letter"]
PAGE_MM: dict[PageSize, tuple[float, float]] = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # ISO 216; 8.5 by 11 in
LEFT_MM = 17.5  # room for the holes of a binder
RIGHT_MM = 12.0
TICK_MM = 2.9
FINE_PT = 0.4
THIN_PT = 0.7
SECTION_PT = 1.1
PALE = 0.70  # grey of row lines
FOCUS_GREY = 0.91  # 9 % grey
SECOND = 0.22  # grey of second-rank text, still black enough for a worn printer
_PICTURE_PX_PER_MM = 300.0 / 25.4
# How a picture's greys are spread out, 0 to 255; chosen by eye on prints of the demo's darkest and lightest woods.
_PAPER_FROM = 252
_GREY_ENDS = (1.0, 97.0)  # percent of the board's greys
_DARKEST, _LIGHTEST, _MOST_GAIN = 25.0, 238.0, 2.2

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Block:
    """Something of known height that can be drawn with its top at a given y. [mm]"""

    height: float
    draw: Callable[[Sheet, float], None]


class Sheet:
    """The pages of one document, the current one under the pen."""

    def __init__(self, page_size: PageSize, *, title: str, subject: str) -> None:
        self.width, self.height = PAGE_MM[page_size]
        self.left = LEFT_MM
        self.right = self.width - RIGHT_MM
        self._bytes = io.BytesIO()
        size_pt = (self.width * PT_PER_MM, self.height * PT_PER_MM)
        font(SANS)  # registered before the canvas names it; a reader's own face is never asked for
        self._pen: Any = Canvas(
            self._bytes, pagesize=size_pt, invariant=1, pageCompression=1, lang="en", initialFontName=SANS
        )
        self._pen.setTitle(title)
        self._pen.setAuthor("evenburn")
        self._pen.setCreator("evenburn")
        self._pen.setSubject(subject)
        self._pen.setLineCap(0)

    def turn_page(self) -> None:
        """End this page and begin the next."""
        self._pen.showPage()

    def finished(self) -> bytes:
        """Return the document; nothing can be drawn after it."""
        self._pen.save()
        return self._bytes.getvalue()

    def bookmark(self, title: str, *, key: str, y: float) -> None:
        """Let a reader on a screen jump here by a title in the outline."""
        self._pen.bookmarkHorizontal(key, 0, self._y(y))
        self._pen.addOutlineEntry(title, key, 0)

    def _x(self, x: float) -> float:
        return x * PT_PER_MM

    def _y(self, y: float) -> float:
        return (self.height - y) * PT_PER_MM

    def _stroke(self, weight_pt: float, grey: float = 0.0) -> None:
        self._pen.setLineWidth(weight_pt)
        self._pen.setStrokeGray(grey)

    def text(
        self,
        x: float,
        y: float,
        words: str,
        *,
        face: Face = SANS,
        size_pt: float = 9.3,
        align: Literal["left", "right", "middle"] = "left",
        grey: float = 0.0,
    ) -> float:
        """Write one line with its baseline at y and return its width. [mm]"""
        width = width_mm(words, face, size_pt=size_pt)
        x -= {"left": 0.0, "right": width, "middle": width / 2}[align]
        self._pen.setFillGray(grey)
        self._pen.setFont(face, size_pt)
        for position, part in enumerate(printable(words, face).split(DIAMETER)):
            if position:
                self._diameter_sign(x, y, size_pt, grey)
                x += DIAMETER_WIDTH_EM * size_pt / PT_PER_MM
            if part:
                self._pen.drawString(self._x(x), self._y(y), shaped(part, face, size_pt=size_pt))
                x += width_mm(part, face, size_pt=size_pt)
        return width

    def _diameter_sign(self, x: float, y: float, size_pt: float, grey: float) -> None:
        em = size_pt / PT_PER_MM
        middle = (x + DIAMETER_WIDTH_EM * em / 2, y - 0.33 * em)
        self.circle(middle, 0.24 * em, weight_pt=0.065 * size_pt, grey=grey)
        reach = 0.31 * em
        self.line(
            (middle[0] - reach, middle[1] + reach),
            (middle[0] + reach, middle[1] - reach),
            weight_pt=0.055 * size_pt,
            grey=grey,
        )

    def lines(
        self,
        x: float,
        y: float,
        words: Sequence[str],
        *,
        leading: float,
        face: Face = SANS,
        size_pt: float = 9.3,
        grey: float = 0.0,
    ) -> None:
        """Write lines below one another, the first baseline at y."""
        for number, line in enumerate(words):
            self.text(x, y + number * leading, line, face=face, size_pt=size_pt, grey=grey)

    def line(self, start: Point, end: Point, *, weight_pt: float = THIN_PT, grey: float = 0.0) -> None:
        """Draw a straight line."""
        self._stroke(weight_pt, grey)
        self._pen.line(self._x(start[0]), self._y(start[1]), self._x(end[0]), self._y(end[1]))

    def rule(self, y: float, *, x0: float, x1: float, weight_pt: float = FINE_PT, grey: float = 0.0) -> None:
        """Draw a level line."""
        self.line((x0, y), (x1, y), weight_pt=weight_pt, grey=grey)

    def box(
        self,
        x: float,
        y: float,
        *,
        width: float,
        height: float,
        weight_pt: float = 0.0,
        fill: float | None = None,
        grey: float = 0.0,
    ) -> None:
        """Draw a rectangle with its top left corner at x, y; filled with a grey (0 is black), outlined, or both."""
        if fill is not None:
            self._pen.setFillGray(fill)
        self._stroke(weight_pt, grey)
        low = self._y(y + height)
        self._pen.rect(
            self._x(x),
            low,
            width * PT_PER_MM,
            height * PT_PER_MM,
            stroke=int(weight_pt > 0),
            fill=int(fill is not None),
        )

    def circle(self, middle: Point, radius: float, *, weight_pt: float, grey: float = 0.0) -> None:
        """Draw a ring."""
        self._stroke(weight_pt, grey)
        self._pen.circle(self._x(middle[0]), self._y(middle[1]), radius * PT_PER_MM, stroke=1, fill=0)

    def rings(self, rings: Sequence[Sequence[Point]], *, weight_pt: float) -> None:
        """Draw closed outlines."""
        self._stroke(weight_pt)
        self._pen.setLineJoin(1)
        path = self._pen.beginPath()
        for ring in rings:
            path.moveTo(self._x(ring[0][0]), self._y(ring[0][1]))
            for x, y in ring[1:]:
                path.lineTo(self._x(x), self._y(y))
            path.close()
        self._pen.drawPath(path, stroke=1, fill=0)
        self._pen.setLineJoin(0)

    @contextmanager
    def clipped(self, x: float, y: float, *, width: float, height: float) -> Iterator[None]:
        """Keep what is drawn inside the `with` within a rectangle."""
        self._pen.saveState()
        path = self._pen.beginPath()
        path.rect(self._x(x), self._y(y + height), width * PT_PER_MM, height * PT_PER_MM)
        self._pen.clipPath(path, stroke=0, fill=0)
        yield
        self._pen.restoreState()

    def hatch(self, x: float, y: float, *, width: float, height: float, pitch: float = 1.3) -> None:
        """Fill a rectangle with lines at 45 degrees, `pitch` mm apart along its edge."""
        if width <= 0 or height <= 0:
            return
        with self.clipped(x, y, width=width, height=height):
            for number in range(int((width + height) / pitch) + 1):
                along = number * pitch
                self.line((x, y + along), (x + along, y), weight_pt=0.55)

    def dotted_rule(self, y: float, *, x0: float, x1: float) -> None:
        """Draw a level line of dots."""
        self._pen.saveState()
        self._pen.setDash([0.9, 1.3])
        self.rule(y, x0=x0, x1=x1, weight_pt=0.9)
        self._pen.restoreState()

    def tick(self, x: float, y: float) -> None:
        """Draw an empty box to tick, standing on the baseline y."""
        self.box(x, y - TICK_MM + 0.35, width=TICK_MM, height=TICK_MM, weight_pt=0.95)

    def ticked(self, x: float, y: float) -> None:
        """Draw a box that is ticked already, standing on the baseline y."""
        self.tick(x, y)
        top, low = y - TICK_MM + 0.35, y + 0.35
        middle = (x + 0.38 * TICK_MM, low - 0.22 * TICK_MM)
        self.line((x + 0.18 * TICK_MM, low - 0.5 * TICK_MM), middle, weight_pt=1.1)
        self.line(middle, (x + 0.82 * TICK_MM, top + 0.2 * TICK_MM), weight_pt=1.1)

    def badge(self, x: float, y: float, level: Level, *, size_pt: float = 8.2) -> float:
        """Draw the word of a check in its shape on the baseline y and return the width it takes. [mm]"""
        wide = width_mm(level, SANS_BOLD, size_pt=size_pt)
        if level == "note":
            self.text(x, y, level, size_pt=size_pt, face=SANS_BOLD)
            self.dotted_rule(y + 0.95, x0=x, x1=x + wide)
            return wide
        edge = 1.2 if level == "warn" else 0.0
        width = wide + 3.0 + edge
        self.box(x, y - 3.0, width=width, height=4.1, weight_pt=0.9, fill=0.0 if level == "stop" else None)
        if level == "warn":
            self.box(x, y - 3.0, width=edge, height=4.1, fill=0.0)
        self.text(x + edge + 1.5, y, level, face=SANS_BOLD, size_pt=size_pt, grey=1.0 if level == "stop" else 0.0)
        return width

    def picture(self, x: float, y: float, file: Path, *, width: float, height: float) -> None:
        """Print a picture in greys, spread out so that it can be told on paper, at 300 dots to the inch or fewer."""
        with Image.open(file) as opened:
            flat = opened.convert("RGBA")
        paper = Image.new("RGBA", flat.size, "white")
        grey = spread_greys(Image.alpha_composite(paper, flat).convert("L"))
        most = (max(1, round(width * _PICTURE_PX_PER_MM)), max(1, round(height * _PICTURE_PX_PER_MM)))
        if grey.width > most[0]:
            grey = grey.resize(most, Image.Resampling.LANCZOS)
        self._pen.drawImage(ImageReader(grey), self._x(x), self._y(y + height), width * PT_PER_MM, height * PT_PER_MM)


def spread_greys(image: Image.Image) -> Image.Image:
    """Return a grey picture with its contrast raised and its board made light; white paper round it stays white.

    A dark board's mark is lost in a printer's black otherwise. The order of the greys is kept.
    """
    greys = np.asarray(image)
    board = greys[greys < _PAPER_FROM]
    if board.size == 0:
        return image
    low, high = np.percentile(board, _GREY_ENDS)
    gain = float(np.clip((_LIGHTEST - _DARKEST) / max(high - low, 1.0), 1.0, _MOST_GAIN))
    spread = np.clip(_LIGHTEST - gain * (high - greys.astype(np.float64)), 0.0, _PAPER_FROM - 1.0)
    return Image.fromarray(np.where(greys < _PAPER_FROM, np.rint(spread), greys).astype(np.uint8))


def stack(blocks: Sequence[Block]) -> Block:
    """Return blocks one below the other as one block."""

    def draw(sheet: Sheet, y: float) -> None:
        for block in blocks:
            block.draw(sheet, y)
            y += block.height

    return Block(sum(block.height for block in blocks), draw)
