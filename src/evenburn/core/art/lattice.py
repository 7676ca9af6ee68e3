"""Artwork on a common lattice of lines: a grid begun on the lattice, and the drawing left where it lay."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from evenburn.core.art.picture import Artwork, Grid, Picture
from evenburn.core.nouns.mark import Axis
from evenburn.core.nouns.path import Polyline
from evenburn.core.units import quarter_turns, radians

Drawer = Callable[..., Picture]

ON_LATTICE_mm = 1e-6  # lines nearer than this are one line
FINER = 2  # a shifted mark is drawn so many times finer, so that laying it between two pixels softens half a pixel only
SAME_PLACE_px = 1e-3  # nearer than this to a whole pixel is on it


def on_lattice(grid: Grid, *, axis: Axis, origin_mm: float) -> Grid:
    """Return a grid that covers another and whose lines along an axis lie whole line spacings from an origin.

    It is the same grid where its lines lie so already, else one line larger. Definition.
    """
    own = grid.y0_mm if axis == "x" else grid.x0_mm
    whole = math.floor((own - origin_mm + ON_LATTICE_mm) / grid.pixel_mm)
    start = origin_mm + whole * grid.pixel_mm
    more = 0 if own - start <= ON_LATTICE_mm else 1
    if axis == "x":
        return replace(grid, y0_mm=start, rows=grid.rows + more)
    return replace(grid, x0_mm=start, columns=grid.columns + more)


def placed(
    artwork: Artwork, *, own: Grid, grid: Grid, size_mm: tuple[float, float], turn_deg: float
) -> tuple[Artwork, tuple[float, float]]:
    """Return artwork in a larger page, and the page's upright size, so that drawn on a grid it lies where it lay. [mm]

    Parameters
    ----------
    own : the grid it fills alone; grid : the one it is to be drawn on.

    Source
    ------
    Definition: the page has its middle in the grid's middle; a quarter turn fills its grid, a free turn keeps its size.
    """
    turns = quarter_turns(turn_deg)
    d = np.array(_middle(grid)) - np.array(_middle(own))
    angle = radians(turn_deg)
    upright = np.array(
        [d[0] * math.cos(angle) + d[1] * math.sin(angle), d[1] * math.cos(angle) - d[0] * math.sin(angle)]
    )
    if turns is None:
        inner = np.array(size_mm)
        page = inner + 2.0 * np.abs(upright)
    else:
        order = (0, 1) if turns % 2 == 0 else (1, 0)
        inner, page = (np.array([g.columns, g.rows])[list(order)] * g.pixel_mm for g in (own, grid))
    left, below = 0.5 * (page - inner) - upright
    width, height = float(page[0]), float(page[1])
    shown = Placed(
        artwork=artwork,
        left_fraction=float(left) / width,
        above_fraction=1.0 - float(below + inner[1]) / height,
        wide_fraction=float(inner[0]) / width,
        high_fraction=float(inner[1]) / height,
        finer=1 if turns is None else FINER,
    )
    return shown, (width, height)


def _middle(grid: Grid) -> tuple[float, float]:
    return grid.x0_mm + 0.5 * grid.columns * grid.pixel_mm, grid.y0_mm + 0.5 * grid.rows * grid.pixel_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """Artwork that fills a part of its page only; all of it in parts of the page's width and height, from top left."""

    artwork: Artwork
    left_fraction: float
    above_fraction: float
    wide_fraction: float
    high_fraction: float
    finer: int

    def ink(self, *, width_px: int, height_px: int) -> Picture:
        """Return ink coverage 0–1; none round about."""
        return self._on_page(self.artwork.ink, width_px=width_px, height_px=height_px, bare=0.0)

    def light(self, *, width_px: int, height_px: int) -> Picture:
        """Return linear luminance 0–1; white round about."""
        return self._on_page(self.artwork.light, width_px=width_px, height_px=height_px, bare=1.0)

    def coverage(self, *, width_px: int, height_px: int) -> Picture:
        """Return where there is a picture, 0–1; none round about."""
        drawer: Drawer = getattr(self.artwork, "coverage", _everywhere)
        return self._on_page(drawer, width_px=width_px, height_px=height_px, bare=0.0)

    def outlines(self, *, width_mm: float, height_mm: float) -> tuple[Polyline, ...]:
        """Return nothing: it is not followed."""
        del width_mm, height_mm
        return ()

    def _on_page(self, draw: Drawer, *, width_px: int, height_px: int, bare: float) -> Picture:
        fine = self.finer
        across = _span(self.left_fraction, self.wide_fraction, size_px=width_px * fine)
        down = _span(self.above_fraction, self.high_fraction, size_px=height_px * fine)
        shown = draw(width_px=across.pixels, height_px=down.pixels)
        page = np.full((height_px * fine, width_px * fine), bare, np.float32)
        for y, part_y in down.shifts():
            for x, part_x in across.shifts():
                part = page[y : y + down.pixels, x : x + across.pixels]
                part += np.float32(part_y * part_x) * (shown[: part.shape[0], : part.shape[1]] - np.float32(bare))
        if fine == 1:
            return page
        parts = page.reshape(height_px, fine, width_px, fine)
        return np.asarray(parts.mean(axis=(1, 3), dtype=np.float32), np.float32)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Span:
    """Where artwork lies along one side of a page: whole pixels before it, part of a pixel beyond them, its pixels."""

    before: int
    beyond: float
    pixels: int

    def shifts(self) -> list[tuple[int, float]]:
        """Return where to lay it and how much of it: a part of a pixel is laid half here, half there. Definition."""
        both = [(self.before, 1.0 - self.beyond), (self.before + 1, self.beyond)]
        return [(at, part) for at, part in both if part > 0.0]


def _span(start: float, length: float, *, size_px: int) -> _Span:
    at = start * size_px
    before = math.floor(at + SAME_PLACE_px)
    beyond = at - before if at - before > SAME_PLACE_px else 0.0
    return _Span(before=before, beyond=beyond, pixels=min(max(1, round(length * size_px)), size_px - before))


def _everywhere(*, width_px: int, height_px: int) -> Picture:
    return np.ones((height_px, width_px), np.float32)
