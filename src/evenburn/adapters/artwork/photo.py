"""Photographs and bitmaps: upright, in linear light, with what their profile and their transparency say."""

from __future__ import annotations

import struct
import warnings
import zlib
from collections.abc import Callable, Iterator
from io import BytesIO
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import ExifTags, Image, ImageCms, UnidentifiedImageError

from evenburn.core.errors import InvalidInput, UnreadableFile
from evenburn.core.nouns.path import Polyline
from evenburn.core.tone.colour import LUMINANCE, srgb_decode

Picture = NDArray[np.float32]
Crop = tuple[float, float, float, float]
Mask = Callable[[int, int], Picture]

FORMATS = ("PNG", "JPEG", "TIFF", "WEBP", "GIF", "BMP")
IN_WORDS = "PNG, JPEG, TIFF, WebP, GIF and BMP"
LARGEST_px = 100_000_000
LONGEST_px = 100_000  # of a side
KEPT_px = 40_000_000  # a larger picture is averaged down by whole steps; a burn image never holds that much detail
STRIP_px = 1_000_000  # a picture is converted in strips, so that what that needs beside it stays small
SHALLOW = ("1", "L", "LA", "La", "P", "PA", "RGB", "RGBA", "RGBa", "RGBX", "CMYK", "YCbCr", "HSV")
WITH_ALPHA = ("LA", "La", "PA", "RGBA", "RGBa")
DEEP = ("I;16", "I;16L", "I;16B", "I;16N")
WHITE_IS_ZERO = 262, 0  # TIFF's PhotometricInterpretation
DECODED = srgb_decode(np.arange(256) / 255.0)
RED, GREEN, BLUE = (np.asarray(weight * DECODED, np.float32) for weight in LUMINANCE / LUMINANCE.sum())
# what decoders raise on damaged files, beside their own errors, which are OSErrors
DAMAGE = (OSError, SyntaxError, ValueError, TypeError, LookupError, AttributeError, ArithmeticError, EOFError,
          RuntimeError, MemoryError, struct.error, zlib.error)  # fmt: skip


class PhotoArt:
    """A bitmap that can be drawn at any size; it keeps its own proportions inside the size asked for."""

    def __init__(self, light: Picture, *, name: str, opacity: Picture | None = None, mask: Mask | None = None) -> None:
        self._light = light
        self._opacity = opacity
        self._name = name
        self._mask = mask

    def light(self, *, width_px: int, height_px: int) -> Picture:
        """Return linear luminance 0–1 over white, averaged down or interpolated up in linear light."""
        page = self._page(self._light, paper=1.0, width_px=width_px, height_px=height_px)
        if self._mask is not None:
            page -= np.float32(1.0)
            page *= self._mask(width_px, height_px)
            page += np.float32(1.0)
        return page

    def coverage(self, *, width_px: int, height_px: int) -> Picture:
        """Return where there is a picture, 0–1: its own area inside the box, where it is opaque and the mask keeps it."""
        there = np.ones((1, 1), np.float32) if self._opacity is None else self._opacity
        page = self._page(there, paper=0.0, width_px=width_px, height_px=height_px)
        if self._mask is not None:
            page *= self._mask(width_px, height_px)
        return page

    def ink(self, *, width_px: int, height_px: int) -> Picture:
        """Return ink coverage 0–1; black is 1. Grey counts by its share of light."""
        return np.asarray(1.0 - self.light(width_px=width_px, height_px=height_px), np.float32)

    def outlines(self, *, width_mm: float, height_mm: float) -> tuple[Polyline, ...]:
        """Raise UnreadableFile: a photograph has no outlines."""
        raise UnreadableFile(
            self._name,
            f"is a picture of pixels and has no outlines to follow at {width_mm:g} × {height_mm:g} mm",
            hint='Use treatment "solid" or "photo", or a drawing.',
        )

    def _page(self, picture: Picture, *, paper: float, width_px: int, height_px: int) -> Picture:
        """Return a picture of the photograph's proportions in the middle of a page."""
        rows, columns = self._light.shape
        scale = min(width_px / columns, height_px / rows)
        inner_w, inner_h = (min(max(1, round(s * scale)), m) for s, m in ((columns, width_px), (rows, height_px)))
        shrink = inner_w < picture.shape[1] or inner_h < picture.shape[0]
        drawn = cv2.resize(picture, (inner_w, inner_h), interpolation=cv2.INTER_AREA if shrink else cv2.INTER_CUBIC)
        page = np.full((height_px, width_px), paper, np.float32)
        top, left = (height_px - inner_h) // 2, (width_px - inner_w) // 2
        page[top : top + inner_h, left : left + inner_w] = np.clip(drawn, 0.0, 1.0)
        return page


def open_photo(path: Path, *, name: str, crop: Crop | None = None, mask: Mask | None = None) -> PhotoArt:
    """Return a bitmap read from a picture file.

    Of several pictures in one file, as of an animation, the first is taken. A colour profile in the file is followed; one
    that is broken counts as sRGB, and so does one of a 16-bit grey. Three channels of 16 bits are read as 8.

    Parameters
    ----------
    crop : the part that is used: left, low, right, high as fractions of the upright picture, from its lower left.
    mask : gives for a size in pixels, width and height, the share of each that is kept, 0–1; the rest is white.

    Raises
    ------
    UnreadableFile
        If it is no picture of a known format, is damaged, or is absurdly large.
    InvalidInput
        If the crop is no part of the picture.
    """
    if crop is not None:
        _check_crop(crop, name=name)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of oddities in the file, and of sizes, for which our own limit stands
            with Image.open(path, formats=FORMATS) as picture:
                _check_size(picture.size, name=name)
                _check_mode(picture.mode, name=name)
                picture.load()
                light, opacity = _decoded(picture)
                turn = _orientation(picture)
    except UnreadableFile:
        raise
    except UnidentifiedImageError as error:
        raise UnreadableFile(name, f"is no picture that can be read; {IN_WORDS} can") from error
    except Image.DecompressionBombError as error:
        raise UnreadableFile(name, f"is absurdly large; allowed are {_millions(LARGEST_px)} pixels in all") from error
    except DAMAGE as error:
        what = error.strerror if isinstance(error, OSError) and error.strerror else error
        raise UnreadableFile(name, f"is damaged or cannot be read: {what or type(error).__name__}") from error
    light = _cropped(_upright(light, turn), crop)
    if opacity is not None:
        opacity = _cropped(_upright(opacity, turn), crop)
    return PhotoArt(light, name=name, opacity=opacity, mask=mask)


def _millions(pixels: int) -> str:
    return f"{pixels // 1_000_000} million"


def _check_crop(crop: Crop, *, name: str) -> None:
    x0, y0, x1, y1 = crop
    if not (0.0 <= x0 < x1 <= 1.0 and 0.0 <= y0 < y1 <= 1.0):
        seen = ", ".join(f"{v:g}" for v in crop)
        raise InvalidInput(
            {
                "crop": f"is [{seen}]; left, low, right, high are fractions from 0 to 1, left before right, low before high"
            },
            source=name,
        )


def _check_size(size: tuple[int, int], *, name: str) -> None:
    width, height = size
    if width * height > LARGEST_px or max(size) > LONGEST_px:
        raise UnreadableFile(
            name,
            f"has {width} × {height} pixels; allowed are {_millions(LARGEST_px)} in all and {LONGEST_px} on a side",
            hint="Scale it down; no wood holds that much.",
        )


def _check_mode(mode: str, *, name: str) -> None:
    if mode not in SHALLOW and mode not in DEEP:
        numbers = "numbers whose white is not told" if mode in ("I", "F") else f"pixels of the kind {mode}"
        raise UnreadableFile(name, f"holds {numbers}", hint="Save it as grey or RGB with 8 or 16 bits.")


def _cropped(picture: Picture, crop: Crop | None) -> Picture:
    if crop is None:
        return picture
    rows, columns = picture.shape
    x0, y0, x1, y1 = crop
    left, right = round(x0 * columns), round(x1 * columns)
    top, bottom = round((1.0 - y1) * rows), round((1.0 - y0) * rows)
    left, top = min(left, columns - 1), min(top, rows - 1)
    return np.ascontiguousarray(picture[top : max(bottom, top + 1), left : max(right, left + 1)])


def _orientation(picture: Image.Image) -> int:
    """Return how the camera was held, 1–8 as Exif counts; 1 if that is not told or makes no sense."""
    try:
        told = picture.getexif().get(ExifTags.Base.Orientation, 1)
    except DAMAGE:
        return 1
    return told if isinstance(told, int) and 1 <= told <= 8 else 1


def _upright(picture: Picture, orientation: int) -> Picture:
    if orientation in (5, 6, 7, 8):
        picture = picture.T
    if orientation in (3, 4, 7, 8):
        picture = picture[::-1]
    if orientation in (2, 3, 6, 7):
        picture = picture[:, ::-1]
    return np.ascontiguousarray(picture)


def _decoded(picture: Image.Image) -> tuple[Picture, Picture | None]:
    """Return linear luminance over white and, where the picture is not opaque, its opacity; both 0–1, as stored."""
    width, height = picture.size
    step = 1
    while width * height > KEPT_px * step * step:
        step += 1
    size = (-(-height // step), -(-width // step))
    light = np.empty(size, np.float32)
    see_through = picture.mode in WITH_ALPHA or "transparency" in picture.info
    opacity = np.empty(size, np.float32) if see_through else None
    to_srgb = _transform(picture)
    inverted = picture.mode in DEEP and getattr(picture, "tag_v2", {}).get(WHITE_IS_ZERO[0]) == WHITE_IS_ZERO[1]
    for top, bottom in _strips(width, height, step):
        strip = picture.crop((0, top, width, bottom))
        seen, there = _deep(strip, inverted=inverted) if picture.mode in DEEP else _shallow(strip, to_srgb)
        rows = slice(top // step, -(-bottom // step))
        light[rows] = _averaged(seen if there is None else seen * there + (np.float32(1.0) - there), step)
        if opacity is not None:
            opacity[rows] = 1.0 if there is None else _averaged(there, step)
    return light, None if opacity is None or float(opacity.min()) >= 1.0 else opacity


def _strips(width: int, height: int, step: int) -> Iterator[tuple[int, int]]:
    high = step * max(1, STRIP_px // (width * step))
    for top in range(0, height, high):
        yield top, min(top + high, height)


def _averaged(picture: Picture, step: int) -> Picture:
    if step == 1:
        return picture
    rows, columns = picture.shape
    size = (-(-columns // step), -(-rows // step))
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.float32)


def _transform(picture: Image.Image) -> ImageCms.ImageCmsTransform | None:
    """Return what turns the picture's own colours into sRGB, if it has a profile that makes sense."""
    profile = picture.info.get("icc_profile")
    if not profile or picture.mode in DEEP:
        return None
    try:
        return ImageCms.buildTransform(
            ImageCms.ImageCmsProfile(BytesIO(profile)),
            ImageCms.createProfile("sRGB"),
            _plain_mode(picture.mode),
            "RGB",
            renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
            flags=ImageCms.Flags.BLACKPOINTCOMPENSATION,
        )
    except (ImageCms.PyCMSError, *DAMAGE):
        return None


def _plain_mode(mode: str) -> str:
    """Return the mode without palette and transparency that holds the same colours."""
    if mode == "CMYK":
        return mode
    return "L" if mode in ("1", "L", "LA", "La") else "RGB"


def _deep(strip: Image.Image, *, inverted: bool) -> tuple[Picture, Picture | None]:
    """Return light and opacity of 16-bit grey."""
    values = np.asarray(strip)
    level = values.astype(np.float32) * np.float32(1.0 / 65535.0)
    if inverted:
        level = np.float32(1.0) - level
    clear = strip.info.get("transparency")
    there = None if not isinstance(clear, int) else np.asarray(values != clear, np.float32)
    return srgb_decode(level).astype(np.float32), there


def _shallow(strip: Image.Image, to_srgb: ImageCms.ImageCmsTransform | None) -> tuple[Picture, Picture | None]:
    """Return light and opacity of pixels of 8 bits a channel or fewer."""
    there = None
    if strip.mode in WITH_ALPHA or "transparency" in strip.info:
        straight = strip.convert("RGBA")
        there = np.asarray(straight.getchannel("A"), np.uint8).astype(np.float32) * np.float32(1.0 / 255.0)
        strip = straight.convert("RGB") if _plain_mode(strip.mode) != "L" else straight.getchannel("R")
    plain = _plain_mode(strip.mode)
    if to_srgb is not None:
        strip = ImageCms.applyTransform(strip if strip.mode == plain else strip.convert(plain), to_srgb) or strip
        plain = "RGB"
    elif plain == "CMYK":
        plain = "RGB"
    values = np.asarray(strip if strip.mode == plain else strip.convert(plain), np.uint8)
    if plain == "L":
        return DECODED.astype(np.float32)[values], there
    return np.asarray(RED[values[..., 0]] + GREEN[values[..., 1]] + BLUE[values[..., 2]], np.float32), there
