"""Photographs and bitmaps: PNG and JPEG, upright, over white, in linear light."""

from __future__ import annotations

import warnings
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageOps, UnidentifiedImageError

from evenburn.core.errors import UnreadableFile
from evenburn.core.tone.colour import LUMINANCE, srgb_decode

Picture = NDArray[np.float32]

LARGEST_px = 100_000_000
FORMATS = ("PNG", "JPEG")
WEIGHTS = LUMINANCE.astype(np.float32)


class PhotoArt:
    """A bitmap that can be drawn at any size; it keeps its own proportions inside the size asked for."""

    def __init__(self, light: Picture) -> None:
        self._light = light

    def light(self, *, width_px: int, height_px: int) -> Picture:
        """Return linear luminance 0–1 over white, averaged down or interpolated up in linear light."""
        rows, columns = self._light.shape
        scale = min(width_px / columns, height_px / rows)
        inner_w, inner_h = max(1, round(columns * scale)), max(1, round(rows * scale))
        inner_w, inner_h = min(inner_w, width_px), min(inner_h, height_px)
        shrink = inner_w < columns
        drawn = cv2.resize(self._light, (inner_w, inner_h), interpolation=cv2.INTER_AREA if shrink else cv2.INTER_CUBIC)
        page = np.ones((height_px, width_px), np.float32)
        top, left = (height_px - inner_h) // 2, (width_px - inner_w) // 2
        page[top : top + inner_h, left : left + inner_w] = np.clip(drawn, 0.0, 1.0)
        return page

    def ink(self, *, width_px: int, height_px: int) -> Picture:
        """Return ink coverage 0–1; black is 1. Grey counts by its share of light."""
        return np.asarray(1.0 - self.light(width_px=width_px, height_px=height_px), np.float32)


def open_photo(path: Path, *, name: str) -> PhotoArt:
    """Return a bitmap read from a PNG or JPEG file.

    Raises
    ------
    UnreadableFile
        If it is neither, is damaged, or is absurdly large.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)  # our own limit stands below
            with Image.open(path, formats=FORMATS) as picture:
                width, height = picture.size
                if width * height > LARGEST_px:
                    raise UnreadableFile(
                        name,
                        f"has {width} × {height} pixels; allowed are {LARGEST_px // 1_000_000} million in all",
                        hint="Scale it down; no wood holds that much.",
                    )
                picture.load()
                upright = ImageOps.exif_transpose(picture)
                return PhotoArt(_linear(upright))
    except UnidentifiedImageError as error:
        raise UnreadableFile(name, "is neither a PNG nor a JPEG picture") from error
    except Image.DecompressionBombError as error:
        raise UnreadableFile(
            name, f"is absurdly large; allowed are {LARGEST_px // 1_000_000} million pixels in all"
        ) from error
    except (OSError, SyntaxError, ValueError) as error:
        raise UnreadableFile(name, f"is damaged: {error}") from error


def _linear(picture: Image.Image) -> Picture:
    """Return linear luminance over white of any mode that PNG and JPEG know."""
    if picture.mode.startswith("I"):
        deep = np.asarray(picture, dtype=np.float32) / np.float32(65535.0)
        return srgb_decode(np.clip(deep, 0.0, 1.0)).astype(np.float32)
    table = srgb_decode(np.arange(256) / 255.0).astype(np.float32)
    if picture.mode in ("1", "L") and "transparency" not in picture.info:
        return np.asarray(table[np.asarray(picture.convert("L"), dtype=np.uint8)], np.float32)
    if picture.mode == "CMYK":
        return np.asarray(table[np.asarray(picture.convert("RGB"), dtype=np.uint8)] @ WEIGHTS, np.float32)
    rgba = np.asarray(picture.convert("RGBA"), dtype=np.uint8)
    light = np.asarray(table[rgba[..., :3]] @ WEIGHTS, np.float32)
    alpha = rgba[..., 3].astype(np.float32) / np.float32(255.0)
    return np.asarray(light * alpha + (1.0 - alpha), np.float32)
