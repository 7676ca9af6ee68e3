"""Grain of a virtual board: rings, fibres, pores and blotches, as two fields over the board."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from virtual_bench.woods import Wood

Float32 = NDArray[np.float32]
CELL_mm = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Grain:
    """Over the board at 0.1 mm, row 0 the lowest y: what it absorbs of the beam, and its bare absorption of light over its mean."""

    absorbed: Float32
    bare: Float32

    def window(self, box_mm: tuple[float, float, float, float], shape: tuple[int, int]) -> tuple[Float32, Float32]:
        """Both fields over a box of the board, resampled to rows and columns."""
        x0, y0, x1, y1 = box_mm
        rows, columns = shape
        xs = ((np.arange(columns) + 0.5) / columns * (x1 - x0) + x0) / CELL_mm - 0.5
        ys = ((np.arange(rows) + 0.5) / rows * (y1 - y0) + y0) / CELL_mm - 0.5
        low_x, low_y = max(0, int(xs[0]) - 1), max(0, int(ys[0]) - 1)
        high_x, high_y = int(xs[-1]) + 3, int(ys[-1]) + 3
        map_x, map_y = np.meshgrid((xs - low_x).astype(np.float32), (ys - low_y).astype(np.float32))
        parts = (field[low_y:high_y, low_x:high_x] for field in (self.absorbed, self.bare))
        a, b = (cv2.remap(p, map_x, map_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE) for p in parts)
        return np.asarray(a, np.float32), np.asarray(b, np.float32)


def grain_of(wood: Wood, size_mm: tuple[float, float], *, absorbed: float, rng: np.random.Generator) -> Grain:
    """A board's grain. It runs along x, a few degrees off, so rings lie across y; slate has clouds only."""
    columns, rows = (max(8, round(side / CELL_mm)) for side in size_mm)
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float32) * np.float32(CELL_mm)
    slope, phase = rng.normal(0.0, 0.04), rng.uniform(0.0, 100.0)
    wave = 1.2 * _cloud((rows, columns), (40.0, 12.0), rng) + 0.25 * _cloud((rows, columns), (8.0, 3.0), rng)
    ring = (y + slope * x + wave + phase) / wood.ring_mm
    late = (ring - np.floor(ring)) ** 3  # slowly darker, then a sharp end
    late = np.asarray(cv2.GaussianBlur(late, (0, 0), 0.8), np.float32) - np.float32(0.25)
    fibre = _cloud((rows, columns), (4.0, 0.12), rng)
    bare = (
        1.0
        + wood.ring_bare * 2.0 * late
        + 0.5 * wood.fibre_bare * fibre
        + 0.06 * _cloud((rows, columns), (18.0, 9.0), rng)
    )
    if wood.pores > 0.0:
        seeds = (rng.random((rows, columns), dtype=np.float32) < 0.004 * wood.pores * (late < -0.1)).astype(np.float32)
        dashes = cv2.GaussianBlur(seeds, (0, 0), sigmaX=8.0, sigmaY=0.7)
        bare += 1.6 * np.minimum(1.0, dashes * 25.0)
    blotch = _cloud((rows, columns), (1.8 * wood.blotch_mm, wood.blotch_mm), rng)
    beam = absorbed * (1.0 + wood.ring_beam * 2.0 * late + wood.blotch_beam * blotch + 0.02 * fibre)
    return Grain(
        absorbed=np.clip(beam, 0.3, 1.0).astype(np.float32), bare=np.maximum(bare / bare.mean(), 0.2).astype(np.float32)
    )


def _cloud(shape: tuple[int, int], size_mm: tuple[float, float], rng: np.random.Generator) -> Float32:
    """Noise of variance 1 with features of a size along x and y."""
    rows, columns = shape
    sigma = [max(0.3, side / CELL_mm / 2.0) for side in (size_mm[1], size_mm[0])]
    coarse = [max(1, int(s / 1.5)) for s in sigma]
    small = [n // c + 8 for n, c in zip(shape, coarse, strict=True)]
    noise = rng.standard_normal(small, dtype=np.float32)
    soft = cv2.GaussianBlur(noise, (0, 0), sigmaX=sigma[1] / coarse[1], sigmaY=sigma[0] / coarse[0])
    noise = np.asarray(soft, np.float32)
    # a Gaussian filter leaves 1 / (4 pi sx sy) of the variance of white noise
    noise *= np.float32(np.sqrt(4.0 * np.pi * max(0.09, sigma[0] / coarse[0]) * max(0.09, sigma[1] / coarse[1])))
    if coarse == [1, 1]:
        return noise[4 : 4 + rows, 4 : 4 + columns]
    big = cv2.resize(noise, (small[1] * coarse[1], small[0] * coarse[0]), interpolation=cv2.INTER_CUBIC)
    return np.asarray(big[4 : 4 + rows, 4 : 4 + columns], np.float32)
