"""The burn image: black burns, one pixel per line spacing, with its physical resolution."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from evenburn.core.units import MM_PER_INCH


def burn_image(picture_W: NDArray[np.float32], *, power_full_W: float) -> Image.Image:
    """Return the burn image of a picture of powers (row 0 lowest): one bit where there is one power, else grey.

    In grey, 0 is full power and 255 is off.
    """
    top_first = picture_W[::-1]
    burnt = top_first > 0.0
    if np.all(top_first[burnt] == np.float32(power_full_W)):
        return Image.fromarray(np.where(burnt, np.uint8(0), np.uint8(255))).convert("1", dither=Image.Dither.NONE)
    share = np.clip(top_first / np.float32(power_full_W), 0.0, 1.0)
    grey = 255 - np.round(255.0 * share).astype(np.int32)
    return Image.fromarray(np.where(burnt, np.minimum(grey, 254), 255).astype(np.uint8))


def write_burn_image(
    target: Path, picture_W: NDArray[np.float32], *, power_full_W: float, pixel_mm: float
) -> Image.Image:
    """Write the burn image as PNG with its resolution in pHYs, and return it."""
    image = burn_image(picture_W, power_full_W=power_full_W)
    dpi = MM_PER_INCH / pixel_mm
    image.save(target, format="PNG", dpi=(dpi, dpi), compress_level=3)
    return image
