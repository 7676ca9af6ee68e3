"""What stands at the left of a piece: the bed drawing, its captions, and the look to expect."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from PIL import Image

from evenburn.adapters.print.bed_drawing import captions, draw_bed, drawing_size_mm
from evenburn.adapters.print.faces import SANS, width_mm, wrap
from evenburn.adapters.print.page import SECOND, Block, Sheet, stack
from evenburn.adapters.print.set_up import common_expectation
from evenburn.core.errors import UnreadableFile
from evenburn.core.nouns.machine import Machine
from evenburn.core.nouns.plan import PiecePlan

_MOST_WIDE_MM, _MOST_HIGH_MM = 45.0, 30.0
_LEAST_ROOM_MM = 25.0  # for the look: its five figures beside the picture
_ABOVE, _BELOW = 2.0, 0.5
_CAPTION_PT, _CAPTION_LEADING = 8.3, 3.3
_FIGURE_PT, _FIGURE_LEADING = 8.5, 3.4
_GUTTER = 2.4
_TITLE = ("expected look,", "greys spread out")


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture and how large it is printed. [mm]"""

    file: Path
    width: float
    height: float


def fitted_picture(file: Path, *, most_wide: float, most_high: float) -> Picture:
    """Return a picture as large as so many mm allow, its proportions kept.

    Raises
    ------
    UnreadableFile
        If it is no picture.
    """
    try:
        with Image.open(file) as opened:
            share = min(most_wide / opened.width, most_high / opened.height)
            return Picture(file, opened.width * share, opened.height * share)
    except OSError as problem:
        raise UnreadableFile(file.name, "the predicted look is not a picture that can be read") from problem


def left_column(
    piece: PiecePlan, machine: Machine, picture: Path | None, *, left: float, width: float, tall: float
) -> Block:
    """Return the column; the bed drawing's frame is as wide as the column or narrower.

    The picture takes what room there is beside a right column `tall` mm high, so that it makes no piece taller.
    """
    _, bed_high = drawing_size_mm(machine)
    told = () if piece.forbidden() else captions(piece, machine)  # they speak of speed
    words = [line for caption in told for line in wrap(caption, SANS, size_pt=_CAPTION_PT, width=width)]
    caption_high = 1.4 + len(words) * _CAPTION_LEADING

    def draw(sheet: Sheet, y: float) -> None:
        draw_bed(sheet, x=left, y=y + 0.6, piece=piece, machine=machine)
        line = y + 0.6 + bed_high + 4.0
        sheet.lines(left, line, words, leading=_CAPTION_LEADING, size_pt=_CAPTION_PT, grey=SECOND)

    bed = Block(0.6 + bed_high + caption_high, draw)
    room = max(_LEAST_ROOM_MM, tall - bed.height)
    return stack([bed, _look(piece, picture, left=left, width=width, room=room)])


def _look(piece: PiecePlan, file: Path | None, *, left: float, width: float, room: float) -> Block:
    """Return the predicted picture with what is expected in figures beside or below it, or the figures alone."""
    if piece.forbidden():
        return Block(0.0, lambda _sheet, _y: None)
    figures = common_expectation(piece)
    if file is None:
        return _figures_alone(figures, left=left, width=width) if figures else Block(0.0, lambda _sheet, _y: None)
    beside = _look_beside(figures, file, left=left, width=width, room=room)
    below = _look_above(figures, file, left=left, width=width, room=room)
    return max(beside, below, key=lambda look: look[0])[1]


def _look_beside(
    figures: tuple[str, ...], file: Path, *, left: float, width: float, room: float
) -> tuple[float, Block]:
    """Return the area of the picture and the picture with its figures at its right. [mm²]"""
    taken = max(
        *(width_mm(words, SANS, size_pt=_CAPTION_PT) for words in _TITLE),
        *(width_mm(words, SANS, size_pt=_FIGURE_PT) for words in figures),
    )
    high = min(_MOST_HIGH_MM, room - _ABOVE - _BELOW)
    picture = fitted_picture(file, most_wide=min(_MOST_WIDE_MM, width - _GUTTER - taken), most_high=high)
    shift = picture.width + _GUTTER

    def draw(sheet: Sheet, y: float) -> None:
        sheet.picture(left, y + _ABOVE, picture.file, width=picture.width, height=picture.height)
        line = y + _ABOVE + 2.2
        sheet.lines(left + shift, line, _TITLE, leading=_CAPTION_LEADING, size_pt=_CAPTION_PT, grey=SECOND)
        line += _CAPTION_LEADING + _FIGURE_LEADING
        sheet.lines(left + shift, line, figures, leading=_FIGURE_LEADING, size_pt=_FIGURE_PT)

    text_high = 2.2 + _CAPTION_LEADING + len(figures) * _FIGURE_LEADING
    return picture.width * picture.height, Block(_ABOVE + max(picture.height, text_high) + _BELOW, draw)


def _look_above(figures: tuple[str, ...], file: Path, *, left: float, width: float, room: float) -> tuple[float, Block]:
    """Return the area of the picture and the picture with its figures as lines below it. [mm²]"""
    told = f"{' '.join(_TITLE)}{': ' if figures else ''}{'; '.join(figures)}."
    lines = wrap(told[:1].upper() + told[1:], SANS, size_pt=_CAPTION_PT, width=width)
    text_high = 1.2 + len(lines) * _CAPTION_LEADING
    high = min(_MOST_HIGH_MM, room - _ABOVE - text_high - _BELOW)
    picture = fitted_picture(file, most_wide=_MOST_WIDE_MM, most_high=high)

    def draw(sheet: Sheet, y: float) -> None:
        sheet.picture(left, y + _ABOVE, picture.file, width=picture.width, height=picture.height)
        line = y + _ABOVE + picture.height + 3.6
        sheet.lines(left, line, lines, leading=_CAPTION_LEADING, size_pt=_CAPTION_PT)

    return picture.width * picture.height, Block(_ABOVE + picture.height + text_high + _BELOW, draw)


def _figures_alone(figures: tuple[str, ...], *, left: float, width: float) -> Block:
    lines = wrap(f"Expected {'; '.join(figures)}.", SANS, size_pt=_CAPTION_PT, width=width)

    def draw(sheet: Sheet, y: float) -> None:
        sheet.lines(left, y + 2.8, lines, leading=_CAPTION_LEADING, size_pt=_CAPTION_PT)

    return Block(1.6 + len(lines) * _CAPTION_LEADING, draw)
