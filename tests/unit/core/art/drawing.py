"""Drawn shapes of known size, as coverage 0–1."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.float32]
SUB = 8  # subpixels a side, so that coverage is known to 1/64


def bars(
    middles_mm: list[float], *, widths_mm: list[float], angle_deg: float, size_mm: tuple[float, float], pixel_mm: float
) -> Picture:
    """Return straight bars that cross the picture at an angle; middles are distances from its middle, across the bars."""
    rows, columns = round(size_mm[1] / pixel_mm), round(size_mm[0] / pixel_mm)
    fine = pixel_mm / SUB
    y, x = np.mgrid[0 : rows * SUB, 0 : columns * SUB]
    x = (x + 0.5) * fine - size_mm[0] / 2.0
    y = (y + 0.5) * fine - size_mm[1] / 2.0
    angle = math.radians(angle_deg)
    across = -x * math.sin(angle) + y * math.cos(angle)
    along = x * math.cos(angle) + y * math.sin(angle)
    ink = np.zeros(x.shape, bool)
    for middle, width in zip(middles_mm, widths_mm, strict=True):
        ink |= np.abs(across - middle) <= width / 2.0
    ink &= np.abs(along) <= 0.35 * min(size_mm)  # the bars end inside the picture, with square ends
    coverage = ink.reshape(rows, SUB, columns, SUB).mean(axis=(1, 3))
    return coverage.astype(np.float32)
