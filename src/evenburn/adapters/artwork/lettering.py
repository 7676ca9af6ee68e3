"""Text set in a face: outlines in em units.

Shaping (kerning, ligatures, joins, marks) stands in `shaping`, the fonts in `fonts`; what ink the outlines leave stands
in `ink`.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, TypeAlias, get_args

import numpy as np

from evenburn.adapters.artwork.fonts import FLATNESS_EM, FloatArray, OpenedFont, open_font
from evenburn.adapters.artwork.shaping import Line, shape_line
from evenburn.core.errors import InvalidInput, UnreadableFile

__all__ = ["FLATNESS_EM", "Align", "FloatArray", "Lettering", "set_text"]

Align: TypeAlias = Literal["left", "centre", "right"]

MOST_CHARACTERS = 2000
MOST_MARKS = 6  # on one letter: more than any writing system piles up
MOST_NAMED = 8  # characters listed in one message
MOST_POINTS = 1_000_000
TRACKING_EM = (-0.5, 5.0)
LEADING_EM = (0.1, 10.0)
SHARE = {"left": 0.0, "centre": 0.5, "right": 1.0}
_BLANKS = "\u115f\u1160\u3164\uffa0\u2800"  # letters and signs that are meant to be blank
_EMBEDDINGS = ("LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lettering:
    """Set text: closed outlines in em units, y up, baseline of the first line at y = 0.

    `contours` are (N, 2), without a repeated last point, to be filled by nonzero winding glyph by glyph; glyph i owns
    `contours[glyph_starts[i]:glyph_starts[i + 1]]`. `bounds_em` is the box of the ink: x0, y0, x1, y1.
    """

    contours: tuple[FloatArray, ...]
    glyph_starts: tuple[int, ...]
    bounds_em: tuple[float, float, float, float]


def set_text(
    text: str,
    font: Path,
    *,
    face_name: str,
    align: Align = "centre",
    tracking_em: float = 0.0,
    leading_em: float = 1.2,
) -> Lettering:
    """Set one or more lines of text (parted by line feeds) in a font and return their outlines.

    Tracking widens every gap between letters; with any, ligatures are left out, as is usual. Lines are aligned by
    their advance widths, spaces at their ends left out. Curves are flattened to within 1/2000 em.

    Raises
    ------
    InvalidInput
        If the text is blank, too long, holds control characters, a letter with more than six marks or a character
        the face has no glyph for, or if align, tracking_em or leading_em are outside what is allowed; all at once.
    UnreadableFile
        If the font is no TrueType or OpenType font with outlines, or draws beyond all measure.
    NotFound, StorageError
        If the font is not there, or cannot be read.
    """
    fields = text_faults(text) | layout_faults(align=align, tracking_em=tracking_em, leading_em=leading_em)
    if fields:
        raise InvalidInput(fields)
    opened = open_font(font, face_name=face_name)
    lines = shape_lines(text, opened, tracking_em=tracking_em)
    return outlines_of(upright(lines, opened, align=align, leading_em=leading_em), opened)


# --- what people may ask for ------------------------------------------------------------------------------------------


def text_faults(text: str) -> dict[str, str]:
    """Return what is wrong with a text, by field; empty where nothing is."""
    if len(text) > MOST_CHARACTERS:
        return {"text": f"{len(text)} characters; allowed are at most {MOST_CHARACTERS}"}
    if not text.strip():
        return {"text": "nothing to engrave: the text is blank"}
    banned = dict.fromkeys(letter for letter in text if letter != "\n" and _is_control(letter))
    if banned:
        return {"text": f"{_listed(banned)}: control characters are not allowed"}
    base, marks = "", 0
    for letter in text:
        kind = unicodedata.category(letter)
        if kind in ("Mn", "Me"):
            marks += 1
        elif kind != "Cf":  # joiners and the like do not end a letter
            base, marks = letter, 0
        if marks > MOST_MARKS:
            return {"text": f"more than {MOST_MARKS} marks on one letter{f', {called(base)}' if base else ''}"}
    return {}


def _is_control(letter: str) -> bool:
    """Return whether a character is a control, a lone surrogate, a line separator or an embedding of directions."""
    kind = unicodedata.bidirectional(letter)
    return unicodedata.category(letter) in ("Cc", "Cs", "Zl", "Zp") or kind in _EMBEDDINGS


def layout_faults(*, align: str, tracking_em: float, leading_em: float) -> dict[str, str]:
    """Return what is wrong with how a text is to be laid out, by field; empty where nothing is."""
    fields = {}
    if align not in get_args(Align):
        fields["align"] = f"{align!r} is not known; allowed are {', '.join(get_args(Align))}"
    for name, value, (low, high) in (
        ("tracking_em", tracking_em, TRACKING_EM),
        ("leading_em", leading_em, LEADING_EM),
    ):
        if not low <= value <= high:  # so written, not-a-number is refused too
            fields[name] = f"{value:g} em; allowed is {low:g} to {high:g} em"
    return fields


def called(letter: str) -> str:
    """Return a character as a message shows it: 漢 (U+6F22, CJK UNIFIED IDEOGRAPH-6F22)."""
    name = unicodedata.name(letter, "")
    code = f"U+{ord(letter):04X}, {name}" if name else f"U+{ord(letter):04X}"
    return f"{letter} ({code})" if letter.isprintable() and unicodedata.category(letter)[0] != "M" else code


def _listed(letters: Iterable[str]) -> str:
    every = list(letters)
    more = f" and {len(every) - MOST_NAMED} more" if len(every) > MOST_NAMED else ""
    return ", ".join(called(letter) for letter in every[:MOST_NAMED]) + more


# --- lines, and where their glyphs stand ------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedGlyph:
    """A glyph whose origin stands at x, y, turned about it by cos and sin. [em]"""

    glyph: int
    x_em: float
    y_em: float
    cos: float = 1.0
    sin: float = 0.0


def shape_lines(text: str, font: OpenedFont, *, tracking_em: float) -> list[Line]:
    """Shape the lines of a text, spaces at their ends left out. Raises InvalidInput naming what the face lacks or draws not."""
    lines = [shape_line(line.rstrip(), font, tracking_em=tracking_em) for line in text.split("\n")]
    missing = dict.fromkeys(letter for line in lines for letter in line.lacking)
    if missing:
        raise InvalidInput(
            {"text": f"{font.name} has no glyph for {_listed(missing)}"},
            hint="choose another face, or write it with other characters",
        )
    inkless = [
        letter
        for letter in dict.fromkeys(text)
        if unicodedata.category(letter)[0] in "LNPS" and letter not in _BLANKS and not font.draws(letter)
    ]
    if inkless:
        raise InvalidInput(
            {"text": f"{font.name} draws no ink for {_listed(inkless)}; the face is damaged, or leaves it blank"},
            hint="choose another face, or write it with other characters",
        )
    return lines


def upright(lines: Iterable[Line], font: OpenedFont, *, align: Align, leading_em: float) -> list[PlacedGlyph]:
    """Return the glyphs of lines set one below the other, aligned about x = 0 by their advance widths."""
    share = SHARE[align]
    return [
        PlacedGlyph(
            glyph=glyph.glyph,
            x_em=(glyph.x_units - share * line.width_units) / font.upem,
            y_em=glyph.y_units / font.upem - row * leading_em,
        )
        for row, line in enumerate(lines)
        for cluster in line.clusters
        for glyph in cluster.glyphs
    ]


def box_of(placed: Iterable[PlacedGlyph], font: OpenedFont) -> tuple[float, float, float, float]:
    """Return the box of the ink of upright glyphs, x0, y0, x1, y1. Raises as `outlines_of`. [em]"""
    boxes = [
        (box[0] + one.x_em, box[1] + one.y_em, box[2] + one.x_em, box[3] + one.y_em)
        for one in placed
        if (box := font.glyph_box(one.glyph)) is not None
    ]
    if not boxes:
        raise _no_ink(font)
    x0, y0, x1, y1 = zip(*boxes, strict=True)
    low, high = (min(x0), min(y0)), (max(x1), max(y1))
    if not (high[0] > low[0] and high[1] > low[1]):
        raise UnreadableFile(font.name, "its outlines enclose no area")
    return (*low, *high)


def outlines_of(placed: Iterable[PlacedGlyph], font: OpenedFont, *, flatness_em: float = FLATNESS_EM) -> Lettering:
    """Return the outlines of placed glyphs.

    Raises
    ------
    InvalidInput
        If nothing is inked.
    UnreadableFile
        If the outlines enclose no area, or are beyond all measure.
    """
    contours: list[FloatArray] = []
    starts: list[int] = []
    points = 0
    for one in placed:
        shapes = font.contours(one.glyph, flatness_em=flatness_em)
        points += sum(len(shape) for shape in shapes)
        if points > MOST_POINTS:
            raise UnreadableFile(font.name, f"this text would have more than {MOST_POINTS} points on its outlines")
        if shapes:
            starts.append(len(contours))
            shift = np.array([one.x_em, one.y_em])
            if one.sin or one.cos != 1.0:
                turn = np.array([[one.cos, one.sin], [-one.sin, one.cos]])
                shapes = tuple(shape @ turn for shape in shapes)
            contours += [shape + shift for shape in shapes]
    if not contours:
        raise _no_ink(font)
    for contour in contours:
        contour.setflags(write=False)
    low = np.min([contour.min(axis=0) for contour in contours], axis=0)
    high = np.max([contour.max(axis=0) for contour in contours], axis=0)
    if not np.all(high > low):
        raise UnreadableFile(font.name, "its outlines enclose no area")
    return Lettering(
        contours=tuple(contours),
        glyph_starts=tuple(starts),
        bounds_em=(float(low[0]), float(low[1]), float(high[0]), float(high[1])),
    )


def _no_ink(font: OpenedFont) -> InvalidInput:
    return InvalidInput({"text": f"nothing to engrave: {font.name} draws no ink for these characters"})
