"""A mark whose outlines are followed, for any window at any scale: dots along its paths, under the beam."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from evenburn.core.proof.dose import DOTS_PER_PIXEL, SPLIT_VARIANCE, TracedPieces
from evenburn.core.proof.layer import BAND, BASE_PIXELS, SIGMAS, Box, Exposed, Picture, meets
from evenburn.core.proof.look_table import LookTable, look_table
from evenburn.core.proof.pyramid import Pyramid, pyramid_of

FINENESS = 0.5  # of the beam's radius: pixels in which a line is drawn before its light is averaged
SMOOTH = 4.0  # from so many pixels of the beam's σ on, the dose is computed on a coarser lattice and drawn out
LATTICE = 4.0  # steps of that lattice in a σ; the cubic between them is right to 0.1 %
OVERLAPS = 3.0  # paths crossing at one place, at most, beside the passes
LEAST_PIECE_mm = 1e-3  # shorter pieces say nothing of energy per length


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FollowedLayer:
    """A mark of followed paths; `look` is its table of doses."""

    pieces: TracedPieces
    radius_mm: float
    look: LookTable
    box_mm: Box
    coarse: list[Pyramid] = field(default_factory=list)

    def size_bytes(self) -> int:
        """Return how much memory it takes. Definition."""
        arrays = (self.pieces.start_mm, self.pieces.step_mm, self.pieces.energy_J)
        return sum(a.nbytes for a in arrays) + sum(p.size_bytes() for p in self.coarse)

    def patch(self, x0_mm: float, y0_mm: float, *, pixel_mm: float, rows: int, columns: int) -> Picture | None:
        """Return relative luminance of a window; as `Layer`. Source: `traced_map_J` under the beam's Gaussian."""
        if not meets(self.box_mm, (x0_mm, y0_mm), pixel_mm=pixel_mm, rows=rows, columns=columns):
            return None
        base_mm = self._base_mm()
        if pixel_mm < base_mm:
            return self._close(x0_mm, y0_mm, pixel_mm=pixel_mm, rows=rows, columns=columns)
        if not self.coarse:
            x0, y0, x1, y1 = self.box_mm
            wide, high = math.ceil((x1 - x0) / base_mm), math.ceil((y1 - y0) / base_mm)
            bands = []
            for low in range(0, high, BAND):
                count = min(BAND, high - low)
                seen = self._close(x0, y0 + low * base_mm, pixel_mm=base_mm, rows=count, columns=wide)
                bands.append(np.ones((count, wide), np.float32) if seen is None else seen)
            self.coarse.append(pyramid_of(bands, x0_mm=x0, y0_mm=y0, pixel_mm=base_mm, levels=16))
        return self.coarse[0].window(x0_mm, y0_mm, pixel_mm=pixel_mm, rows=rows, columns=columns)

    def _base_mm(self) -> float:
        x0, y0, x1, y1 = self.box_mm
        return max(self.radius_mm, math.sqrt((x1 - x0) * (y1 - y0) / BASE_PIXELS))

    def _close(self, x0_mm: float, y0_mm: float, *, pixel_mm: float, rows: int, columns: int) -> Picture | None:
        from evenburn.core.proof.window_loops import compiled  # late: numba takes half a second

        sigma = 0.5 * self.radius_mm
        fine = max(1, math.ceil(pixel_mm / (FINENESS * self.radius_mm) - 1e-9))
        small = pixel_mm / fine
        if sigma / small <= SMOOTH:
            dose = self._dose(x0_mm, y0_mm, pixel_mm=small, rows=rows * fine, columns=columns * fine)
        else:
            dose = self._drawn_out(x0_mm, y0_mm, pixel_mm=small, rows=rows, columns=columns)
        if dose is None:
            return None
        out = np.empty((rows, columns), np.float32)
        compiled()["looked_up"](dose, self.look.relative, self.look.top_J_per_mm2, fine, out)
        return out

    def _dose(self, x0_mm: float, y0_mm: float, *, pixel_mm: float, rows: int, columns: int) -> Picture | None:
        """Return the dose of a window. [J/mm²]"""
        from evenburn.core.proof.window_loops import compiled

        # splitting a dot between two pixels has spread it already, by 1/6 pixel² in the mean
        sigma_px = math.sqrt(max((0.5 * self.radius_mm / pixel_mm) ** 2 - SPLIT_VARIANCE, 1e-6))
        margin = math.ceil(SIGMAS * sigma_px) + 1
        energy = np.zeros((rows + 2 * margin, columns + 2 * margin), np.float32)
        compiled()["dots"](
            self.pieces.start_mm,
            self.pieces.step_mm,
            self.pieces.energy_J,
            x0_mm - margin * pixel_mm,
            y0_mm - margin * pixel_mm,
            pixel_mm,
            1.0 / DOTS_PER_PIXEL,
            energy,
        )
        if not energy.any():
            return None
        size = 2 * math.ceil(SIGMAS * sigma_px) + 1
        spread = cv2.GaussianBlur(energy, (size, size), sigmaX=sigma_px, borderType=cv2.BORDER_CONSTANT)
        inside = np.ascontiguousarray(spread[margin:-margin, margin:-margin], np.float32)
        inside *= np.float32(1.0 / (pixel_mm * pixel_mm))
        return inside

    def _drawn_out(self, x0_mm: float, y0_mm: float, *, pixel_mm: float, rows: int, columns: int) -> Picture | None:
        """Return the dose of a window far finer than the beam, drawn out from a lattice that lies fast on the bed. [J/mm²]"""
        step = 0.5 * self.radius_mm / LATTICE
        first, weights = zip(
            *(
                _cubic((corner + (np.arange(count) + 0.5) * pixel_mm) / step - 0.5)
                for corner, count in ((x0_mm, columns), (y0_mm, rows))
            ),
            strict=True,
        )
        coarse = self._dose(
            first[0] * step, first[1] * step, pixel_mm=step, rows=weights[1].shape[1], columns=weights[0].shape[1]
        )
        if coarse is None:
            return None
        return np.ascontiguousarray(np.maximum(weights[1] @ coarse @ weights[0].T, np.float32(0.0)))


def _cubic(places: NDArray[np.floating]) -> tuple[int, NDArray[np.float32]]:
    """Return the first lattice point that places read from, and the weights of it and those after it, (places, points).

    Source
    ------
    Own choice: the cubic through four neighbours with slopes by central difference, a textbook method.
    """
    cell = np.floor(places).astype(np.int64)
    t = places - cell
    first = int(cell.min()) - 1
    weights = np.zeros((places.size, int(cell.max()) + 3 - first), np.float32)
    four = (
        -0.5 * t + t**2 - 0.5 * t**3,
        1.0 - 2.5 * t**2 + 1.5 * t**3,
        0.5 * t + 2.0 * t**2 - 1.5 * t**3,
        -0.5 * t**2 + 0.5 * t**3,
    )
    for k, weight in enumerate(four):
        weights[np.arange(places.size), cell - 1 + k - first] = weight
    return first, weights


def followed_layer(pieces: TracedPieces, light: Exposed, *, passes: int) -> FollowedLayer:
    """Return a mark of followed paths. Source: `look_table`; the greatest dose is that on a line's axis, √(2/π) P / (v w)."""
    lengths = np.hypot(pieces.step_mm[:, 0], pieces.step_mm[:, 1])
    long = lengths > LEAST_PIECE_mm
    per_mm = float((pieces.energy_J[long] / lengths[long]).max(initial=1e-6))
    top = OVERLAPS * passes * math.sqrt(2.0 / math.pi) * per_mm / light.radius_mm
    ends = np.concatenate([pieces.start_mm, pieces.start_mm + pieces.step_mm])
    grow = SIGMAS * 0.5 * light.radius_mm + light.radius_mm
    (x0, y0), (x1, y1) = (ends.min(axis=0) - grow).tolist(), (ends.max(axis=0) + grow).tolist()
    return FollowedLayer(
        pieces=pieces,
        radius_mm=light.radius_mm,
        look=look_table(light.curve, top_J_per_mm2=top, exposure_shift=light.exposure_shift),
        box_mm=(x0, y0, x1, y1),
    )
