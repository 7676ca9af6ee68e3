"""Read artwork that somebody sends before it is kept: by the reader that planning uses, so that nothing broken enters the book."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from evenburn.adapters.artwork.endings import PICTURE_ENDINGS
from evenburn.core.errors import EvenburnError, InvalidInput
from evenburn.services.book.names import artwork_ending

LARGEST_bytes = 120 * 1024 * 1024
LOOK_px = 480
FAINTEST = 0.02  # of full ink: less is paper, not artwork
ORIENTATION, LYING = 0x0112, (5, 6, 7, 8)  # Exif 2.3, 4.6.4: these are stored turned by a quarter
PHOTO_TONES = 0.08  # share of the picture in tones between: from here on it is a photograph rather than a drawing


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadArtwork:
    """Artwork as read.

    Attributes
    ----------
    ending : of its kind.
    size_mm : that its file states; None of a picture, which has no size but proportions. [mm]
    proportion : width over height.
    is_picture : whether it is made of pixels.
    looks_like_photo : whether much of it lies between bare and full.
    """

    ending: str
    size_mm: tuple[float, float] | None
    proportion: float
    is_picture: bool
    looks_like_photo: bool


def read_artwork(data: bytes, *, name: str, field: str = "artwork") -> ReadArtwork:
    """Return what is known of artwork after it was read and drawn once.

    Raises
    ------
    InvalidInput
        At `field`: of no kind that can be burnt, broken, with nothing in it, or too large.
    """
    from evenburn.adapters.artwork.source import artwork_from_file

    try:
        ending = artwork_ending(name)
    except InvalidInput as error:
        raise InvalidInput({field: f"“{name}” {next(iter(error.fields.values()))}"}, hint=error.hint) from error
    if not data:
        raise InvalidInput({field: f"“{name}” is empty"}, hint="Choose the file again.")
    if len(data) > LARGEST_bytes:
        raise InvalidInput({field: f"“{name}” is larger than the {LARGEST_bytes // 1024 // 1024} MB that are allowed"})
    with tempfile.TemporaryDirectory(prefix="evenburn-artwork-") as folder:
        path = Path(folder) / f"artwork{ending}"
        path.write_bytes(data)
        try:
            art = artwork_from_file(path, name=name)
            size = getattr(art, "size_mm", None)
            proportion = _proportion(path, size, ending=ending)
            width = LOOK_px if proportion >= 1.0 else max(1, round(LOOK_px * proportion))
            height = LOOK_px if proportion < 1.0 else max(1, round(LOOK_px / proportion))
            ink = np.asarray(art.ink(width_px=width, height_px=height))
        except EvenburnError as error:
            raise InvalidInput({field: _named(error.message, name)}, hint=error.hint) from error
    if not ink.size or float(ink.max()) < FAINTEST:
        raise InvalidInput(
            {field: f"“{name}” has nothing in it that would be burnt: all of it is white or empty"},
            hint="Draw it black on white.",
        )
    between = float(np.mean((ink > 0.15) & (ink < 0.85)))
    is_picture = ending in PICTURE_ENDINGS
    return ReadArtwork(
        ending=ending,
        size_mm=size,
        proportion=proportion,
        is_picture=is_picture,
        looks_like_photo=is_picture and between > PHOTO_TONES,
    )


def _named(message: str, name: str) -> str:
    """Return a message that begins with a file's name with that in quotes, so that a sentence may begin with it."""
    return f"“{name}”{message.removeprefix(name)}" if message.startswith(name) else message


def _proportion(path: Path, size: tuple[float, float] | None, *, ending: str) -> float:
    """Return width over height; of a picture from its pixels as they are to be looked at."""
    if size is not None:
        return size[0] / size[1]
    if ending in PICTURE_ENDINGS:
        from PIL import Image

        with Image.open(path) as picture:
            lying = picture.getexif().get(ORIENTATION, 1) in LYING
            wide, high = picture.size
        return high / wide if lying else wide / high
    return 1.0
