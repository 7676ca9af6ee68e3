"""A mark burnt in lines, for any window of the bed at any scale.

Fine windows are computed from the lines that reach into them; coarse ones are averaged from a pyramid, made once.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import erf

from evenburn.core.proof.layer import BAND, BASE_PIXELS, SIGMAS, Box, Exposed, Picture, meets
from evenburn.core.proof.line_table import LineTable
from evenburn.core.proof.look_table import LookTable, look_table
from evenburn.core.proof.pyramid import Pyramid, pyramid_of

LINES_SEEN = 0.4  # of a line spacing: pixels finer than that show the lines themselves
SMALLEST = 0.22  # of a line spacing: pixels in which lines are computed
ONE = np.ones(1, np.float32)
TOP_SLACK = 1.05  # doses between lines may lie a little above those on them
LAG_MARGIN = 5.0  # lengths of the late laser by which a mark may reach past its lines


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ScannedLayer:
    """A mark burnt in lines. `lag_mm` is v τ; `close` is for windows that show the lines, `far` for others."""

    table: LineTable
    spacing_mm: float
    radius_mm: float
    lag_mm: float
    close: LookTable
    far: LookTable
    box_mm: Box
    coarse: list[Pyramid] = field(default_factory=list)

    def patch(self, x0_mm: float, y0_mm: float, *, pixel_mm: float, rows: int, columns: int) -> Picture | None:
        """Return relative luminance of a window; as `Layer`. Source: `_window`."""
        if not meets(self.box_mm, (x0_mm, y0_mm), pixel_mm=pixel_mm, rows=rows, columns=columns):
            return None
        if pixel_mm >= LINES_SEEN * self.spacing_mm:
            return self._averaged(x0_mm, y0_mm, pixel_mm=pixel_mm, rows=rows, columns=columns)
        fine = max(1, math.ceil(pixel_mm / min(SMALLEST * self.spacing_mm, 0.5 * self.radius_mm) - 1e-9))
        along_x = self.table.axis == "x"
        along, cross = (x0_mm, y0_mm) if along_x else (y0_mm, x0_mm)
        shape = (rows, columns) if along_x else (columns, rows)
        seen = self._window(along, cross, pixel_mm=pixel_mm, shape=shape, fine=fine, look=self.close)
        return seen if seen is None or along_x else np.ascontiguousarray(seen.T)

    def size_bytes(self) -> int:
        """Return how much memory it takes. Definition."""
        return self.table.size_bytes() + sum(p.size_bytes() for p in self.coarse)

    def _lattice(self) -> tuple[float, float, int, int]:
        """Return where a lattice of one pixel a line begins, along and across, and its size across and along."""
        low, near, high, far = self.box_mm if self.table.axis == "x" else _swapped(self.box_mm)
        p = self.spacing_mm
        cross0 = float(self.table.cross_mm[0]) - 0.5 * p  # rows lie about the lines
        before = math.ceil((cross0 - near) / p)
        rows = before + math.ceil((far - cross0) / p)
        return low, cross0 - before * p, rows, math.ceil((high - low) / p)

    def _averaged(self, x0_mm: float, y0_mm: float, *, pixel_mm: float, rows: int, columns: int) -> Picture:
        """Return a window in which lines are too near together to be seen."""
        along0, cross0, count_cross, count_along = self._lattice()
        along_x = self.table.axis == "x"
        corner = (along0, cross0) if along_x else (cross0, along0)
        halvings = max(0, math.ceil(math.log2(math.sqrt(count_cross * count_along / BASE_PIXELS))))
        p = self.spacing_mm
        if pixel_mm < p * 2.0**halvings and halvings:  # a mark so large that its pyramid begins coarser than the window
            i, j = (max(0, math.floor((v - c) / p) - 2) for v, c in zip((x0_mm, y0_mm), corner, strict=True))
            wide, high = (count_along, count_cross) if along_x else (count_cross, count_along)
            i1 = min(wide, math.ceil((x0_mm + columns * pixel_mm - corner[0]) / p) + 2)
            j1 = min(high, math.ceil((y0_mm + rows * pixel_mm - corner[1]) / p) + 2)
            part = self._lattice_part((i, j, i1, j1), along0=along0, cross0=cross0)
            one = pyramid_of([part], x0_mm=corner[0] + i * p, y0_mm=corner[1] + j * p, pixel_mm=p, levels=1)
            return one.window(x0_mm, y0_mm, pixel_mm=pixel_mm, rows=rows, columns=columns)
        if not self.coarse:
            wide, high = (count_along, count_cross) if along_x else (count_cross, count_along)
            band = BAND << halvings
            bands = [
                _halved(
                    self._lattice_part((0, low, wide, min(low + band, high)), along0=along0, cross0=cross0),
                    times=halvings,
                )
                for low in range(0, high, band)
            ]
            self.coarse.append(
                pyramid_of(bands, x0_mm=corner[0], y0_mm=corner[1], pixel_mm=p * 2.0**halvings, levels=16)
            )
        return self.coarse[0].window(x0_mm, y0_mm, pixel_mm=pixel_mm, rows=rows, columns=columns)

    def _lattice_part(self, cells: tuple[int, int, int, int], *, along0: float, cross0: float) -> Picture:
        """Return columns and rows (first column, first row, ends) of the lattice of one pixel a line, upright on the bed."""
        i, j, i1, j1 = cells
        p = self.spacing_mm
        along_x = self.table.axis == "x"
        begin = (along0 + i * p, cross0 + j * p) if along_x else (along0 + j * p, cross0 + i * p)
        shape = (j1 - j, i1 - i) if along_x else (i1 - i, j1 - j)
        seen = self._window(*begin, pixel_mm=p, shape=shape, fine=1, look=self.far)
        if seen is None:
            return np.ones((j1 - j, i1 - i), np.float32)
        return seen if along_x else np.ascontiguousarray(seen.T)

    def _window(
        self, along_mm: float, cross_mm: float, *, pixel_mm: float, shape: tuple[int, int], fine: int, look: LookTable
    ) -> Picture | None:
        """Return a window, (across, along), computed from the lines that reach into it.

        Source
        ------
        Own derivation, as `dose_map_J_per_mm2`: the late laser and the beam along each line, the beam across them, then the curve.
        """
        from evenburn.core.proof.window_loops import compiled  # late: numba takes half a second

        loops, sigma, small = compiled(), 0.5 * self.radius_mm, pixel_mm / fine
        reach = SIGMAS * sigma
        low, high = self.table.near(cross_mm - reach, cross_mm + shape[0] * pixel_mm + reach)
        if low == high:
            return None
        kernel = _kernel(sigma / small)
        skip = kernel.size // 2
        lines = np.empty((high - low, shape[1] * fine + 2 * skip), np.float32)
        table = self.table
        loops["energy"](
            table.first,
            table.edges_mm,
            table.power_W,
            table.forward,
            low,
            along_mm - skip * small,
            small,
            self.lag_mm,
            lines,
        )
        if not lines.any():
            return None
        lines = np.asarray(cv2.sepFilter2D(lines, -1, kernel, ONE, borderType=cv2.BORDER_CONSTANT), np.float32)
        out = np.empty(shape, np.float32)
        loops["seen"](
            lines,
            skip,
            table.cross_mm[low:high],
            sigma,
            cross_mm,
            small,
            fine,
            1.0 / (table.speed_mm_per_s * small),
            look.relative,
            look.top_J_per_mm2,
            out,
        )
        return out


def scanned_layer(
    table: LineTable, light: Exposed, *, spacing_mm: float, ripple_spacing_mm: float, lag_mm: float
) -> ScannedLayer | None:
    """Return a mark of lines, None where they burn nothing.

    Parameters
    ----------
    spacing_mm : from line to line as they lie; ripple_spacing_mm : as the recipe has it, coarser where a mark is only
        looked at.
    lag_mm : v τ.

    Source
    ------
    `look_table`; the greatest dose is that of a wide area of full power, on a line.
    """
    box = table.box_mm()
    most_W = float(table.power_W.max(initial=0.0))
    if box is None or most_W <= 0.0:
        return None
    sigma = 0.5 * light.radius_mm
    top = TOP_SLACK * most_W / table.speed_mm_per_s * _crowding_per_mm(table.cross_mm, sigma_mm=sigma)
    cross_margin = SIGMAS * sigma + spacing_mm
    along_margin = cross_margin + LAG_MARGIN * lag_mm
    grow_x, grow_y = (along_margin, cross_margin) if table.axis == "x" else (cross_margin, along_margin)
    return ScannedLayer(
        table=table,
        spacing_mm=spacing_mm,
        radius_mm=light.radius_mm,
        lag_mm=lag_mm,
        close=look_table(light.curve, top_J_per_mm2=top, exposure_shift=light.exposure_shift),
        far=look_table(
            light.curve,
            top_J_per_mm2=top,
            exposure_shift=light.exposure_shift,
            radius_and_spacing_mm=(light.radius_mm, ripple_spacing_mm),
        ),
        box_mm=(box[0] - grow_x, box[1] - grow_y, box[2] + grow_x, box[3] + grow_y),
    )


def _crowding_per_mm(cross_mm: NDArray[np.float64], *, sigma_mm: float) -> float:
    """Return the greatest sum of Gaussians about the lines, on any of them. [1/mm]"""
    total = np.zeros(cross_mm.size)
    for step in range(cross_mm.size):  # neighbours further and further away, until none is near
        apart = cross_mm[step:] - cross_mm[: cross_mm.size - step]
        near = np.exp(-0.5 * np.square(apart / sigma_mm))
        total[: near.size] += near
        if step:
            total[step:] += near
        if step and float(near.max()) < 1e-6:
            break
    return float(total.max()) / (math.sqrt(2.0 * math.pi) * sigma_mm)


def _kernel(sigma_px: float) -> NDArray[np.float32]:
    """Return a Gaussian's share in each pixel, from the pixel in its middle outward both ways."""
    half = math.ceil(SIGMAS * sigma_px + 0.5)
    edges = (np.arange(2 * half + 2) - half - 0.5) / (math.sqrt(2.0) * sigma_px)
    share = np.diff(erf(edges))
    return np.asarray(share / share.sum(), np.float32)


def _halved(picture: Picture, *, times: int) -> Picture:
    for _ in range(times):
        rows, columns = picture.shape
        grown = cv2.copyMakeBorder(picture, 0, rows % 2, 0, columns % 2, cv2.BORDER_CONSTANT, value=(1.0,))
        picture = np.asarray(
            cv2.resize(grown, (grown.shape[1] // 2, grown.shape[0] // 2), interpolation=cv2.INTER_AREA), np.float32
        )
    return picture


def _swapped(box: Box) -> Box:
    return box[1], box[0], box[3], box[2]
