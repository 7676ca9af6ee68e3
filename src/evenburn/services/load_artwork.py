"""The artwork of one mark, from whatever its table names: a file, or a text and how it is set."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from evenburn.adapters.artwork.endings import PICTURE_ENDINGS
from evenburn.adapters.artwork.photo import PhotoArt, open_photo
from evenburn.adapters.artwork.setting import Along, Circle, PlacedText, TextSetting, artwork_from_setting, fit_of
from evenburn.adapters.artwork.source import artwork_from_file
from evenburn.adapters.artwork.svg import open_svg
from evenburn.adapters.formats.batch_toml import AlongTable, MarkTable
from evenburn.core.art.picture import Artwork, Picture
from evenburn.core.errors import EvenburnError, InvalidInput
from evenburn.core.nouns.path import Polyline

OWN_FACES = (".ttf", ".otf")


@dataclass(frozen=True, slots=True, kw_only=True)
class NoArt:
    """Nothing to burn: stands where a name could not be set, so that the rest of its piece can be looked at."""

    def ink(self, *, width_px: int, height_px: int) -> Picture:
        """Return no ink anywhere."""
        return np.zeros((height_px, width_px), np.float32)

    def light(self, *, width_px: int, height_px: int) -> Picture:
        """Return white."""
        return np.ones((height_px, width_px), np.float32)

    def outlines(self, *, width_mm: float, height_mm: float) -> tuple[Polyline, ...]:
        """Return a point's worth of path in the middle of the box."""
        middle = np.array([0.5 * width_mm, 0.5 * height_mm])
        return (Polyline(points_mm=np.stack([middle, middle + np.array([0.01, 0.0])]), closed=False),)


def inside(folder: Path, relative: str, *, field: str) -> Path:
    """Return a path named in a batch, if it stays inside the batch folder.

    Raises
    ------
    InvalidInput
        If it leaves the folder or is not there.
    """
    path = folder / relative
    if Path(relative).is_absolute() or not path.resolve().is_relative_to(folder.resolve()):
        raise InvalidInput({field: f'is "{relative}", which lies outside the batch folder; copy it into the folder'})
    if not path.is_file():
        raise InvalidInput({field: f'is "{relative}", which is not in the batch folder'})
    return path


def setting_of(folder: Path, mark: MarkTable, text: str) -> TextSetting:
    """Return how a mark's text is set. Raises InvalidInput and UnreadableFile for what cannot be."""
    return TextSetting(
        text=text,
        face=mark.face or "",
        align=mark.align,
        tracking_em=mark.tracking_em,
        leading_em=mark.leading_em,
        letter_mm=mark.letter_mm,
        wrap=mark.wrap,
        along=None if mark.along is None else _along(folder, mark.along, size_mm=mark.size_mm),
    )


def _along(folder: Path, table: AlongTable, *, size_mm: tuple[float, float]) -> Circle | Along:
    if table.diameter_mm is not None:
        return Circle(diameter_mm=table.diameter_mm, middle_deg=table.middle_deg, side=table.side)
    drawing = table.drawing or ""
    svg = open_svg(inside(folder, drawing, field="along.drawing"), name=drawing)
    return Along(path=svg.path(table.path or "", width_mm=size_mm[0], height_mm=size_mm[1]))


def face_path(folder: Path, mark: MarkTable) -> Path | None:
    """Return the file of a person's own face, or None where it is a shipped one. Raises as `inside`."""
    face = mark.face or ""
    return inside(folder, face, field="face") if face.lower().endswith(OWN_FACES) else None


def text_artwork(folder: Path, mark: MarkTable, text: str) -> PlacedText:
    """Return a text set as its mark says. Raises as `artwork_from_setting`."""
    return artwork_from_setting(setting_of(folder, mark, text), size_mm=mark.size_mm, face_path=face_path(folder, mark))


def file_artwork(folder: Path, mark: MarkTable) -> Artwork:
    """Return the artwork of a file, a photograph cropped and masked as its mark says.

    Raises
    ------
    InvalidInput, UnreadableFile
        If it is not there or cannot be read, or has no outlines where they are to be followed.
    """
    name = mark.art or ""
    path = inside(folder, name, field="art")
    if mark.treatment == "photo" and path.suffix.lower() in PICTURE_ENDINGS:
        return _photo(folder, mark, path, name=name)
    artwork = artwork_from_file(path, name=name)
    if mark.treatment in ("line", "cut"):
        artwork.outlines(width_mm=mark.size_mm[0], height_mm=mark.size_mm[1])  # told now rather than while planning
    return artwork


def _photo(folder: Path, mark: MarkTable, path: Path, *, name: str) -> PhotoArt:
    mask = None
    if mark.photo.mask is not None:
        drawn = artwork_from_file(inside(folder, mark.photo.mask, field="photo.mask"), name=mark.photo.mask)

        def mask(width_px: int, height_px: int) -> Picture:
            return drawn.ink(width_px=width_px, height_px=height_px)

    return open_photo(path, name=name, crop=mark.photo.crop, mask=mask)


def common_letter_mm(folder: Path, mark: MarkTable, texts: list[str]) -> float | None:
    """Return the height of capitals at which nine of ten texts fit their box, for all of a list. [mm]

    Texts that cannot be set at all do not count; None if there are no others.
    """
    fits = []
    for text in texts:
        try:
            fit = fit_of(setting_of(folder, mark, text), mark.size_mm, face_path=face_path(folder, mark))
        except EvenburnError:
            continue
        fits.append(fit.letter_fits_mm)
    return float(np.quantile(fits, 0.1, method="lower")) if fits else None


def largest_that_fits(folder: Path, mark: MarkTable, text: str) -> Artwork:
    """Return a text as large as its box lets it be, to be looked at; nothing where it cannot be set."""
    try:
        setting = replace(setting_of(folder, mark, text), letter_mm=None)
        return artwork_from_setting(setting, size_mm=mark.size_mm, face_path=face_path(folder, mark))
    except EvenburnError:
        return NoArt()
