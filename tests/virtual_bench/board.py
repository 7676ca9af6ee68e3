"""A virtual board: burnt, looked at, measured without error, and photographed."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from virtual_bench.camera import Photo, photograph
from virtual_bench.colour import BANDS_nm, L_of, eye_rgb, eye_y, luminance_of, srgb_coded

FloatArray = NDArray[np.float64]
Float32 = NDArray[np.float32]
Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """A board as it is. Arrays are pictures: row 0 is the highest y; `map_mm` is the side of their pixels.

    Attributes
    ----------
    bands : (rows, columns, 6) reflectance in the bands of `colour.BANDS_nm`.
    dose_J_per_mm2, dwell_s : what the beam left, and how long it stayed on average (0 where it was not).
    origin_bed_mm : the board's lower left corner on the bed. [mm]
    bare_L : its bare tone on average.
    """

    bands: Float32
    map_mm: float
    size_mm: tuple[float, float]
    origin_bed_mm: tuple[float, float] = (0.0, 0.0)
    bare_L: float = 80.0
    seed: int = 0
    dose_J_per_mm2: Float32 = field(default_factory=lambda: np.zeros((0, 0), np.float32))
    dwell_s: Float32 = field(default_factory=lambda: np.zeros((0, 0), np.float32))

    @property
    def rgb(self) -> Float32:
        """(rows, columns, 3) linear sRGB reflectance."""
        return np.asarray(self.bands @ eye_rgb().T.astype(np.float32), np.float32)

    @property
    def luminance(self) -> Float32:
        """(rows, columns) luminance under D65, white being 1."""
        return np.asarray(self.bands @ eye_y().astype(np.float32), np.float32)

    @property
    def L_map(self) -> FloatArray:
        """(rows, columns) CIE L* of each pixel."""
        return L_of(self.luminance)

    def picture(self) -> NDArray[np.uint8]:
        """The board as an 8-bit sRGB picture, no camera between."""
        return np.asarray(np.rint(255.0 * srgb_coded(self.rgb)), np.uint8)

    def _part(self, box_mm: Box, *, bed: bool) -> tuple[slice, slice]:
        x0, y0, x1, y1 = box_mm
        if bed:
            dx, dy = self.origin_bed_mm
            x0, y0, x1, y1 = x0 - dx, y0 - dy, x1 - dx, y1 - dy
        rows, columns = self.bands.shape[:2]
        r0, r1 = rows - round(y1 / self.map_mm), rows - round(y0 / self.map_mm)
        c0, c1 = round(x0 / self.map_mm), round(x1 / self.map_mm)
        if r0 < 0 or c0 < 0 or r1 > rows or c1 > columns or r1 <= r0 or c1 <= c0:
            raise ValueError(f"{box_mm} does not lie on the board of {self.size_mm} mm")
        return slice(r0, r1), slice(c0, c1)

    def tone_L(self, box_mm: Box, *, edge_mm: float = 0.0, bed: bool = False) -> float:
        """L* of the mean linear luminance over a box of the board (or of the bed), an edge left out."""
        x0, y0, x1, y1 = box_mm
        inner = (x0 + edge_mm, y0 + edge_mm, x1 - edge_mm, y1 - edge_mm)
        rows, columns = self._part(inner, bed=bed)
        return float(L_of(float((self.bands[rows, columns].reshape(-1, 6) @ eye_y()).mean())))

    def spread_L(self, box_mm: Box, *, edge_mm: float = 0.0, over_mm: float = 1.0, bed: bool = False) -> float:
        """Standard deviation of tone inside a box, averaged over squares of a size first: grain and blotches."""
        x0, y0, x1, y1 = box_mm
        rows, columns = self._part((x0 + edge_mm, y0 + edge_mm, x1 - edge_mm, y1 - edge_mm), bed=bed)
        y = (self.bands[rows, columns] @ eye_y()).astype(np.float32)
        n = max(1, round(over_mm / self.map_mm))
        small = cv2.resize(y, (max(1, y.shape[1] // n), max(1, y.shape[0] // n)), interpolation=cv2.INTER_AREA)
        return float(L_of(np.asarray(small, np.float32)).std())

    def ripple_L(self, box_mm: Box, *, axis: str = "x", period_mm: float, bed: bool = False) -> float:
        """Peak to valley across scan lines of a known spacing: tone averaged along the lines and folded over the period."""
        rows, columns = self._part(box_mm, bed=bed)
        y = (self.bands[rows, columns] @ eye_y()).mean(axis=1 if axis == "x" else 0)
        at = np.arange(y.size) * self.map_mm
        flat = (
            y
            / np.convolve(np.pad(y, y.size, mode="reflect"), _box(period_mm / self.map_mm), "same")[y.size : 2 * y.size]
        )
        design = np.column_stack([f(2.0 * np.pi * k * at / period_mm) for k in (1, 2) for f in (np.cos, np.sin)])
        fitted = np.linalg.lstsq(design, flat - flat.mean(), rcond=None)[0]
        phase = np.linspace(0.0, 2.0 * np.pi, 181)
        wave = 1.0 + np.column_stack([f(k * phase) for k in (1, 2) for f in (np.cos, np.sin)]) @ fitted
        L = L_of(y.mean() * wave)
        return float(L.max() - L.min())

    def photograph(self, mat: Any, *, card_middle_mm: tuple[float, float] | None = None, **options: Any) -> Photo:
        """Lay a mat round a card on this board and photograph it; see `virtual_bench.camera.photograph`."""
        middle = card_middle_mm or (0.5 * self.size_mm[0], 0.5 * self.size_mm[1])
        return photograph(
            self.bands, self.map_mm, mat, card_middle_mm=middle, seed=options.pop("seed", self.seed), **options
        )


def _box(width: float) -> FloatArray:
    n = max(1, round(width)) | 1
    return np.full(n, 1.0 / n)


def flat_target(
    patches: dict[Box, float],
    size_mm: tuple[float, float],
    *,
    ground_L: float = 80.0,
    warmth: float = 0.35,
    map_mm: float = 0.05,
    seed: int = 0,
) -> Board:
    """A board made of even patches of known L* on an even ground: to test reading alone.

    `warmth` 0 is grey; at 1 a band 120 nm longer reflects a good half more.
    """
    columns, rows = (round(s / map_mm) for s in size_mm)

    def bands_of(tone_L: float) -> FloatArray:
        y = float(luminance_of(tone_L))
        shape = np.exp(warmth * (BANDS_nm - 560.0) / 250.0)
        bands = shape / float(shape @ eye_y()) * y
        for _ in range(60):  # nothing reflects more than all of it
            bands = np.minimum(bands, 0.98)
            bands *= y / float(bands @ eye_y())
        return bands

    bands = np.empty((rows, columns, BANDS_nm.size), np.float32)
    bands[:] = bands_of(ground_L)
    for (x0, y0, x1, y1), tone in patches.items():
        r0, r1 = rows - round(y1 / map_mm), rows - round(y0 / map_mm)
        bands[r0:r1, round(x0 / map_mm) : round(x1 / map_mm)] = bands_of(tone)
    return Board(bands=bands, map_mm=map_mm, size_mm=size_mm, bare_L=ground_L, seed=seed)
