"""Text as artwork at a true size: set in the box of its mark, broken into lines, or along a circle or a path."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
import shapely
from numpy.typing import NDArray

from evenburn.adapters.artwork.along import Along, Circle
from evenburn.adapters.artwork.faces import face_file, list_faces
from evenburn.adapters.artwork.fonts import FLATNESS_EM, OpenedFont, open_font
from evenburn.adapters.artwork.ink import ink_polygon, render_ink, rings_of
from evenburn.adapters.artwork.laying import Fit, TextSetting, lay, refuse_box
from evenburn.adapters.artwork.lettering import Lettering, layout_faults, outlines_of, text_faults
from evenburn.adapters.artwork.wrapping import wrap_lines
from evenburn.core.errors import InvalidInput
from evenburn.core.nouns.path import FLATNESS_mm, Polyline

__all__ = ["Along", "Circle", "Fit", "PlacedText", "TextSetting", "artwork_from_setting", "fit_of", "wrap_text"]

Picture = NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlacedText:
    """A text set at its size in the box of its mark: artwork.

    A point of the lettering stands `em_mm` times itself plus `shift_mm` from the box's lower left corner. [mm]
    """

    lettering: Lettering
    em_mm: float
    shift_mm: tuple[float, float]
    size_mm: tuple[float, float]
    letter_mm: float

    def ink(self, *, width_px: int, height_px: int) -> Picture:
        """Return ink coverage 0–1 of the box's pixels, top row first.

        A grid of whole pixels in the middle of the box leaves out less than a pixel of it; the size is kept.
        """
        across, up = width_px / self.size_mm[0], height_px / self.size_mm[1]
        one_px = 1.0 / width_px + 1.0 / height_px
        per_mm = max(across, up) if abs(across / up - 1.0) <= one_px else min(across, up)
        shift = [
            side_px / 2.0 + per_mm * (at_mm - side_mm / 2.0)
            for side_px, side_mm, at_mm in zip((width_px, height_px), self.size_mm, self.shift_mm, strict=True)
        ]
        return render_ink(
            _ink_of(self.lettering),
            scale_px=per_mm * self.em_mm,
            shift_px=(shift[0], shift[1]),
            width_px=width_px,
            height_px=height_px,
        )

    def light(self, *, width_px: int, height_px: int) -> Picture:
        """Return linear luminance 0–1: black ink on white."""
        return np.asarray(1.0 - self.ink(width_px=width_px, height_px=height_px), np.float32)

    def outlines(self, *, width_mm: float, height_mm: float) -> tuple[Polyline, ...]:
        """Return the closed outlines of the ink in the box, or in another to whose middle and size it is scaled.

        Outer ones run counter-clockwise, holes clockwise, none cross; no chord is farther than 0.01 mm from its curve
        in the mark's own box. [mm]
        """
        refuse_box((width_mm, height_mm))
        scale = min(width_mm / self.size_mm[0], height_mm / self.size_mm[1])
        middle = np.array([width_mm, height_mm]) / 2.0
        shift = middle + scale * (np.array(self.shift_mm) - np.array(self.size_mm) / 2.0)
        rings = rings_of(_ink_of(self.lettering))
        return tuple(Polyline(points_mm=ring * (scale * self.em_mm) + shift, closed=True) for ring in rings)


@lru_cache(maxsize=32)
def _ink_of(lettering: Lettering) -> shapely.MultiPolygon:
    return ink_polygon(lettering)


def artwork_from_setting(
    setting: TextSetting, *, size_mm: tuple[float, float], face_path: Path | None = None
) -> PlacedText:
    """Return a text set in the box of its mark.

    Parameters
    ----------
    size_mm : of the mark's box. [mm]
    face_path : the font file where the face is the person's own; None takes the shipped face of that id.

    Raises
    ------
    InvalidInput
        If the face lacks a character, or the text does not fit at its size; the message says by how much, and at what
        size it fits.
    NotFound, UnreadableFile, StorageError
        If the face is not known, or broken.
    """
    font = _font(setting, face_path)
    laid = lay(setting, box_mm=size_mm, font=font)
    if laid.trouble:
        raise InvalidInput({"text" if setting.letter_mm is None else "letter_mm": laid.trouble}, hint=_hint(setting))
    flatness = FLATNESS_EM / 2.0 ** max(0, math.ceil(math.log2(FLATNESS_EM * laid.em_mm / FLATNESS_mm)))
    return PlacedText(
        lettering=outlines_of(laid.placed, font, flatness_em=flatness),
        em_mm=laid.em_mm,
        shift_mm=laid.shift_mm,
        size_mm=size_mm,
        letter_mm=laid.fit.letter_mm,
    )


def fit_of(setting: TextSetting, box_mm: tuple[float, float], *, face_path: Path | None = None) -> Fit:
    """Return how a text fits a box, without drawing it. Raises as `artwork_from_setting`, but not where it is too large."""
    return lay(setting, box_mm=box_mm, font=_font(setting, face_path)).fit


def wrap_text(text: str, font: Path, *, face_name: str, width_em: float, tracking_em: float = 0.0) -> str:
    """Return a text with line feeds where it is best broken to a width; a word too wide stands on a line by itself.

    Raises
    ------
    InvalidInput, NotFound, UnreadableFile, StorageError
        As `set_text`.
    """
    fields = text_faults(text) | layout_faults(align="left", tracking_em=tracking_em, leading_em=1.0)
    if not width_em > 0.0:
        fields["width_em"] = f"{width_em:g} em; allowed is more than 0"
    if fields:
        raise InvalidInput(fields)
    opened = open_font(font, face_name=face_name)
    return wrap_lines(text, opened, width_em=width_em, tracking_em=tracking_em)


def _font(setting: TextSetting, face_path: Path | None) -> OpenedFont:
    if face_path is not None:
        return open_font(face_path, face_name=setting.face)
    called = next((face.name for face in list_faces() if face.id == setting.face), setting.face)
    return open_font(face_file(setting.face), face_name=called)


def _hint(setting: TextSetting) -> str:
    if setting.along is not None:
        return "make the letters smaller, the box or the path larger, or give the circle another middle"
    breaks = "" if setting.wrap or " " not in setting.text else ", let it break into lines"
    return f"make the letters smaller or the box larger{breaks}, or choose a narrower face"
