"""The smallest size at which a face survives: strokes and gaps measured once in em, and scaled.

Thinnest strokes and gaps grow with the letters, so what beam and wood keep fixes the size.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from evenburn.adapters.artwork.faces import face_file, list_faces
from evenburn.adapters.artwork.fonts import OpenedFont, open_font
from evenburn.adapters.artwork.ink import ink_polygon, render_ink
from evenburn.adapters.artwork.lettering import PlacedGlyph, outlines_of, shape_lines, text_faults, upright
from evenburn.adapters.artwork.wrapping import plain
from evenburn.core.art.detail import measure_widths
from evenburn.core.errors import InvalidInput, OutOfRange

SPECIMEN = "HAMBURGEFONSTIV\nhamburgefonstiv\n0123456789"  # the letters a face is judged by
PX_PER_EM = (200, 1000)
PIXELS = 2.5e6
LONG_TEXT = 120  # characters; of a longer text each letter is measured once
LETTERS_A_LINE = 16
MEASURES_KEPT = 1024


@dataclass(frozen=True, slots=True, kw_only=True)
class Finest:
    """The narrowest stroke and gap of a text in a face, infinite where it has none, and its capitals. [em]"""

    stroke_em: float
    gap_em: float
    cap_height_em: float


def finest(face: str | Path, *, text: str | None = None) -> Finest:
    """Return the narrowest stroke and gap of a text in a face, as `core.art.detail.measure_widths` finds them.

    Without a text those of a specimen. Of a text of more than 120 characters every letter is measured once, not
    each of its neighbours. The raster is 1000 pixels an em where the text is short, and bounded in all; a width is
    true to a pixel and a half.

    Parameters
    ----------
    face : the id of a shipped face, or the path of the person's own.

    Raises
    ------
    InvalidInput
        If the text cannot be set, or the face lacks a character.
    NotFound, UnreadableFile, StorageError
        If the face is not known, or broken.
    """
    shown = SPECIMEN if text is None else text
    if fields := text_faults(shown):
        raise InvalidInput(fields)
    return _measured(_opened(face), plain(shown))


def smallest_letter_mm(
    face: str | Path, *, text: str | None = None, stroke_kept_mm: float, gap_kept_mm: float
) -> float:
    """Return the least height of capitals at which every stroke and gap is at least what beam and wood keep. [mm]

    Parameters
    ----------
    face, text : as `finest`.
    stroke_kept_mm, gap_kept_mm : the narrowest that are kept. [mm]

    Raises
    ------
    OutOfRange
        If what is kept is no positive number.
    InvalidInput, NotFound, UnreadableFile, StorageError
        As `finest`.
    """
    for name, kept_mm in (("stroke_kept_mm", stroke_kept_mm), ("gap_kept_mm", gap_kept_mm)):
        if not (math.isfinite(kept_mm) and kept_mm > 0.0):
            raise OutOfRange(name, kept_mm, low=0.0, high=math.inf, unit="mm")
    found = finest(face, text=text)
    return found.cap_height_em * max(stroke_kept_mm / found.stroke_em, gap_kept_mm / found.gap_em)


def wider_faces(text: str, *, face: str | Path, letter_mm: float) -> tuple[tuple[str, float], ...]:
    """Return the shipped faces in which the same words have wider strokes and gaps at a letter height, widest first.

    Each comes with its narrowest stroke or gap, in mm; faces that lack a character are left out. Raises as `finest`, but
    not for what another face lacks.
    """
    if not (math.isfinite(letter_mm) and letter_mm > 0.0):
        raise OutOfRange("letter_mm", letter_mm, low=0.0, high=math.inf, unit="mm")
    own_mm = _narrowest_mm(text, face, letter_mm=letter_mm)
    wider = []
    for one in list_faces():
        try:
            width_mm = _narrowest_mm(text, one.id, letter_mm=letter_mm)
        except InvalidInput:  # it lacks a character
            continue
        if width_mm > own_mm:
            wider.append((one.id, width_mm))
    return tuple(sorted(wider, key=lambda item: -item[1]))


def _narrowest_mm(text: str, face: str | Path, *, letter_mm: float) -> float:
    found = finest(face, text=text)
    return min(found.stroke_em, found.gap_em) * letter_mm / found.cap_height_em


def _opened(face: str | Path) -> OpenedFont:
    return open_font(face_file(face), face_name=face if isinstance(face, str) else face.name)


@lru_cache(maxsize=MEASURES_KEPT)
def _measured(font: OpenedFont, text: str) -> Finest:
    lettering = outlines_of(_placed(font, text), font)
    x0, y0, x1, y1 = lettering.bounds_em
    px_per_em = max(PX_PER_EM[0], min(PX_PER_EM[1], math.sqrt(PIXELS / ((x1 - x0) * (y1 - y0)))))
    width_px, height_px = math.ceil((x1 - x0) * px_per_em), math.ceil((y1 - y0) * px_per_em)
    drawn = render_ink(
        ink_polygon(lettering),
        scale_px=px_per_em,
        shift_px=(-x0 * px_per_em, -y0 * px_per_em),
        width_px=width_px,
        height_px=height_px,
    )
    widths = measure_widths(drawn, pixel_mm=1.0 / px_per_em)
    return Finest(
        stroke_em=math.inf if widths.stroke_mm is None else max(widths.stroke_mm, 1e-6),
        gap_em=math.inf if widths.gap_mm is None else max(widths.gap_mm, 1e-6),
        cap_height_em=font.cap_height_em,
    )


def _placed(font: OpenedFont, text: str) -> list[PlacedGlyph]:
    if len(text) > LONG_TEXT:
        letters = "".join(dict.fromkeys(letter for letter in text if not letter.isspace()))
        rows = [letters[at : at + LETTERS_A_LINE] for at in range(0, len(letters), LETTERS_A_LINE)]
        text = "\n".join(rows)
    return upright(shape_lines(text, font, tracking_em=0.0), font, align="left", leading_em=1.6)
