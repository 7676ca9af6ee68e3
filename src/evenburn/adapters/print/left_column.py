"""What stands at the left of a piece: the bed drawing, its captions, and the look to expect."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from PIL import Image

from evenburn.adapters.print.bed_drawing import captions, draw_bed, drawing_size_mm
from evenburn.adapters.print.faces import SANS, wrap
from evenburn.adapters.print.page import FINE_PT, SECOND, Block, Sheet, stack
from evenburn.adapters.print.set_up import common_expectation
from evenburn.core.errors import UnreadableFile
from evenburn.core.nouns.machine import Machine
from evenburn.core.nouns.plan import PiecePlan

_MOST_WIDE_MM = 38.0
_CAPTION_PT, _CAPTION_LEADING = 8.3, 3.6


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture and how large it is printed. [mm]"""

    file: Path
    width: float
    height: float


def fitted_picture(file: Path, *, most_high: float) -> Picture:
    """Return a picture as large as its column and so many mm allow.

    Raises
    ------
    UnreadableFile
        If it is no picture.
    """
    try:
        with Image.open(file) as opened:
            share = min(_MOST_WIDE_MM / opened.width, most_high / opened.height)
            return Picture(file, opened.width * share, opened.height * share)
    except OSError as problem:
        raise UnreadableFile(file.name, "the predicted look is not a picture that can be read") from problem


def left_column(piece: PiecePlan, machine: Machine, picture: Picture | None, *, left: float, width: float) -> Block:
    """Return the column; the bed drawing's frame is as wide as the column or narrower."""
    _, bed_high = drawing_size_mm(machine)
    words = [
        line for caption in captions(piece, machine) for line in wrap(caption, SANS, size_pt=_CAPTION_PT, width=width)
    ]
    caption_high = 1.2 + len(words) * _CAPTION_LEADING

    def draw(sheet: Sheet, y: float) -> None:
        draw_bed(sheet, x=left, y=y + 0.6, piece=piece, machine=machine)
        line = y + 0.6 + bed_high + 4.0
        sheet.lines(left, line, words, leading=_CAPTION_LEADING, size_pt=_CAPTION_PT, grey=SECOND)

    bed = Block(0.6 + bed_high + caption_high, draw)
    return stack([bed, _look(piece, picture, left=left, width=width)])


def _look(piece: PiecePlan, picture: Picture | None, *, left: float, width: float) -> Block:
    """Return the predicted picture with what is expected in figures beside it, or the figures alone."""
    figures = common_expectation(piece)
    if picture is None:
        return _figures_alone(figures, left=left, width=width) if figures else Block(0.0, lambda _sheet, _y: None)
    shift = picture.width + 2.4

    def draw(sheet: Sheet, y: float) -> None:
        sheet.picture(left, y + 2.4, picture.file, width=picture.width, height=picture.height)
        sheet.box(left, y + 2.4, width=picture.width, height=picture.height, weight_pt=FINE_PT, grey=0.3)
        sheet.text(left + shift, y + 4.6, "expected look", size_pt=_CAPTION_PT, grey=SECOND)
        sheet.lines(left + shift, y + 8.4, figures, leading=3.8, size_pt=8.8)

    return Block(max(picture.height + 3.4, 5.8 + len(figures) * 3.8), draw)


def _figures_alone(figures: tuple[str, ...], *, left: float, width: float) -> Block:
    lines = wrap(f"Expected {'; '.join(figures)}.", SANS, size_pt=_CAPTION_PT, width=width)

    def draw(sheet: Sheet, y: float) -> None:
        sheet.lines(left, y + 2.8, lines, leading=_CAPTION_LEADING, size_pt=_CAPTION_PT)

    return Block(1.6 + len(lines) * _CAPTION_LEADING, draw)
