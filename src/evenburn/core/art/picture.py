"""Artwork as pixels, and how it comes to lie on the bed's own grid."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import cv2
import numpy as np
from numpy.typing import NDArray

from evenburn.core.nouns.path import Polyline
from evenburn.core.units import quarter_turns

Picture = NDArray[np.float32]
Box = tuple[float, float, float, float]

TURNED_OVERSAMPLING = 3  # a freely turned picture is drawn this much finer before it is averaged down


class Artwork(Protocol):
    """Anything that can be drawn at a size in pixels.

    `ink` gives coverage 0–1 (1 burns), `light` linear luminance 0–1 over white; both (height, width), top row first.
    """

    def ink(self, *, width_px: int, height_px: int) -> Picture:
        """Return ink coverage, 0–1."""
        ...

    def light(self, *, width_px: int, height_px: int) -> Picture:
        """Return linear luminance, 0–1."""
        ...

    def outlines(self, *, width_mm: float, height_mm: float) -> tuple[Polyline, ...]:
        """Return the outlines in a box, origin lower left, y up; raises where there are none. [mm]"""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """Artwork drawn once, finely, and scaled from there: (height, width) coverage 0–1, top row first."""

    picture: Picture

    def ink(self, *, width_px: int, height_px: int) -> Picture:
        """Return ink coverage 0–1, averaged down."""
        shrink = width_px < self.picture.shape[1]
        scaled = cv2.resize(
            self.picture, (width_px, height_px), interpolation=cv2.INTER_AREA if shrink else cv2.INTER_LINEAR
        )
        return np.asarray(scaled, np.float32)

    def light(self, *, width_px: int, height_px: int) -> Picture:
        """Return linear luminance 0–1: ink is black."""
        return np.asarray(1.0 - self.ink(width_px=width_px, height_px=height_px), np.float32)

    def outlines(self, *, width_mm: float, height_mm: float) -> tuple[Polyline, ...]:
        """Return nothing: pixels have no outlines. [mm]"""
        del width_mm, height_mm
        return ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """Square pixels on the bed: lower left corner, pixel size, count; row 0 lowest. [mm]"""

    x0_mm: float
    y0_mm: float
    pixel_mm: float
    rows: int
    columns: int


def grid_in_box(box_bed_mm: Box, *, pixel_mm: float) -> Grid:
    """Return the largest grid of whole pixels in a box, in its middle. Definition."""
    width, height = box_bed_mm[2] - box_bed_mm[0], box_bed_mm[3] - box_bed_mm[1]
    columns = max(1, math.floor(width / pixel_mm + 1e-6))
    rows = max(1, math.floor(height / pixel_mm + 1e-6))
    return Grid(
        x0_mm=box_bed_mm[0] + 0.5 * (width - columns * pixel_mm),
        y0_mm=box_bed_mm[1] + 0.5 * (height - rows * pixel_mm),
        pixel_mm=pixel_mm,
        rows=rows,
        columns=columns,
    )


def draw_on_bed(
    artwork: Artwork, *, grid: Grid, size_mm: tuple[float, float], turn_deg: float, as_light: bool
) -> Picture:
    """Return artwork drawn on a bed grid, turned counter-clockwise about its middle; row 0 lowest.

    Quarter turns are exact; other angles are drawn finer, turned and averaged. Outside a turned picture lies no ink
    (0) or white (1).

    Parameters
    ----------
    size_mm : of the upright artwork; the grid covers the box of the turned one. [mm]
    """
    draw = artwork.light if as_light else artwork.ink
    turns = quarter_turns(turn_deg)
    if turns is not None:
        width, height = (grid.columns, grid.rows) if turns % 2 == 0 else (grid.rows, grid.columns)
        upright = draw(width_px=width, height_px=height)
        return np.ascontiguousarray(np.rot90(upright, turns)[::-1])
    fine = TURNED_OVERSAMPLING
    step_mm = grid.pixel_mm / fine
    width, height = (max(1, round(side / step_mm)) for side in size_mm)
    upright = draw(width_px=width, height_px=height)
    angle = math.radians(turn_deg)
    cos, sin = math.cos(angle), math.sin(angle)
    # from an output pixel (x right, y down from the top) back to the upright picture, both about their middles
    out_w, out_h = grid.columns * fine, grid.rows * fine
    centre_out = np.array([out_w / 2.0 - 0.5, out_h / 2.0 - 0.5])
    centre_in = np.array([width / 2.0 - 0.5, height / 2.0 - 0.5])
    back = np.array([[cos, -sin], [sin, cos]])
    matrix = np.hstack([back, (centre_in - back @ centre_out)[:, None]])
    turned = cv2.warpAffine(
        upright,
        matrix,
        (out_w, out_h),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=(1.0 if as_light else 0.0,),
    )
    small = cv2.resize(turned, (grid.columns, grid.rows), interpolation=cv2.INTER_AREA)
    return np.ascontiguousarray(np.asarray(small, np.float32)[::-1])
