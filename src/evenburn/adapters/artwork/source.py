"""Artwork from whatever a mark names: a drawing, a bitmap, or a text in a face."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from evenburn.adapters.artwork.faces import face_file
from evenburn.adapters.artwork.ink import outlines_in_box, render_lettering
from evenburn.adapters.artwork.lettering import Lettering, set_text
from evenburn.adapters.artwork.photo import open_photo
from evenburn.adapters.artwork.svg import open_svg
from evenburn.core.art.picture import Artwork
from evenburn.core.errors import UnreadableFile
from evenburn.core.nouns.path import Polyline

Picture = NDArray[np.float32]
PICTURE_ENDINGS = (".png", ".jpg", ".jpeg", ".tif", ".tiff", ".webp", ".gif", ".bmp")


@dataclass(frozen=True, slots=True, kw_only=True)
class TextArt:
    """A text as artwork."""

    lettering: Lettering

    def ink(self, *, width_px: int, height_px: int) -> Picture:
        """Return ink coverage 0–1."""
        return render_lettering(self.lettering, width_px=width_px, height_px=height_px)

    def light(self, *, width_px: int, height_px: int) -> Picture:
        """Return linear luminance 0–1: black ink on white."""
        return np.asarray(1.0 - self.ink(width_px=width_px, height_px=height_px), np.float32)

    def outlines(self, *, width_mm: float, height_mm: float) -> tuple[Polyline, ...]:
        """Return the closed outlines of the ink in a box. [mm]"""
        rings = outlines_in_box(self.lettering, width_mm=width_mm, height_mm=height_mm)
        return tuple(Polyline(points_mm=ring, closed=True) for ring in rings)


def artwork_from_file(path: Path, *, name: str) -> Artwork:
    """Return the artwork in a file, by its ending.

    Raises
    ------
    UnreadableFile
        If the ending is not known or the file cannot be read.
    """
    ending = path.suffix.lower()
    if ending == ".svg":
        return open_svg(path, name=name)
    if ending in PICTURE_ENDINGS:
        return open_photo(path, name=name)
    if ending == ".dxf":
        from evenburn.adapters.artwork.dxf import open_dxf  # half a second to import; few batches have one

        return open_dxf(path, name=name)
    if ending == ".pdf":
        from evenburn.adapters.artwork.pdf import open_pdf

        return open_pdf(path, name=name)
    raise UnreadableFile(
        name, f"ends in {ending or 'nothing'!r}; allowed are .svg, .dxf, .pdf and {', '.join(PICTURE_ENDINGS)}"
    )


def artwork_from_text(
    text: str, *, face: str, align: Literal["left", "centre", "right"], face_path: Path | None = None
) -> Artwork:
    """Return a text set in a face, shipped by name or the person's own by path.

    Raises
    ------
    NotFound, InvalidInput, UnreadableFile
        If the face is not known, lacks a character, or is broken.
    """
    font = face_path if face_path is not None else face_file(face)
    return TextArt(lettering=set_text(text, font, face_name=face, align=align))
