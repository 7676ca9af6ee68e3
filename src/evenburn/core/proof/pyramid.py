"""A picture at coarser and coarser scales, each pixel the mean of four, for windows in which much of a mark shows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.float32]
Packed = NDArray[np.uint16]
LEAST_px = 16


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pyramid:
    """Relative luminances in 16 bits, finest first, all from one lower left corner; `step_coded` is what a step of them means."""

    levels: tuple[Packed, ...]
    x0_mm: float
    y0_mm: float
    pixel_mm: float
    step_coded: float

    def size_bytes(self) -> int:
        """Return how much memory it takes. Definition."""
        return sum(level.nbytes for level in self.levels)

    def window(self, x0_mm: float, y0_mm: float, *, pixel_mm: float, rows: int, columns: int) -> Picture:
        """Return a window, averaged by area from the level next finer than it; 1 where nothing is burnt. Definition."""
        from evenburn.core.proof.window_loops import compiled  # late: numba takes half a second

        level = min(max(0, math.floor(math.log2(pixel_mm / self.pixel_mm) + 1e-9)), len(self.levels) - 1)
        out = np.empty((rows, columns), np.float32)
        compiled()["averaged"](
            self.levels[level],
            self.x0_mm,
            self.y0_mm,
            self.pixel_mm * 2.0**level,
            x0_mm,
            y0_mm,
            pixel_mm,
            np.float32(1.0 / self.step_coded),
            out,
        )
        out *= np.float32(self.step_coded)
        return out


def pyramid_of(bands: Sequence[Picture], *, x0_mm: float, y0_mm: float, pixel_mm: float, levels: int) -> Pyramid:
    """Return the pyramid over a picture given in bands of rows, the lowest first.

    Parameters
    ----------
    levels : at most; halving ends when a side is short.

    Source
    ------
    Definition: means of four. The picture is 1, bare, beyond its edges.
    """
    unit = max(1.0, *(float(band.max()) for band in bands)) / 65535.0
    base = np.concatenate([np.rint(band * np.float32(1.0 / unit)).astype(np.uint16) for band in bands])
    made = [base]
    bare = round(1.0 / unit)
    while len(made) < levels and min(made[-1].shape) > LEAST_px:
        rows, columns = made[-1].shape
        grown = cv2.copyMakeBorder(made[-1], 0, rows % 2, 0, columns % 2, cv2.BORDER_CONSTANT, value=(float(bare),))
        half = cv2.resize(grown, (grown.shape[1] // 2, grown.shape[0] // 2), interpolation=cv2.INTER_AREA)
        made.append(np.asarray(half, np.uint16))
    return Pyramid(levels=tuple(made), x0_mm=x0_mm, y0_mm=y0_mm, pixel_mm=pixel_mm, step_coded=unit)
