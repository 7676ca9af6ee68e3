"""The whole board as it is predicted to look, and enlargements down to single scan lines."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from evenburn.core.art.picture import Grid
from evenburn.core.layout.place import allowed_mask
from evenburn.core.nouns.events import Event
from evenburn.core.nouns.wood import Wood
from evenburn.core.optics.beam import Beam, beam_radius_mm
from evenburn.core.optics.lines import dwell_ms
from evenburn.core.proof.dose import DoseGrid, LineEnergy, collect, dose_map_J_per_mm2
from evenburn.core.proof.look import grain_L, reflectance_map, wood_colours
from evenburn.core.response.curve import exposure_shift
from evenburn.core.tone.colour import lightness_L, luminance

Picture = NDArray[np.float32]
Colours = NDArray[np.uint8]
EDGE_OVERSAMPLING = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Burn:
    """One mark's events with what the proof has to know of its recipe."""

    grid: Grid
    events: tuple[Event, ...]
    beam: Beam
    focus_offset_mm: float
    speed_mm_per_s: float
    line_spacing_mm: float
    passes: int
    rise_time_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """The board from above, upright as its blank is drawn, (rows, columns, 3) and coverage 0–1, top row first."""

    colours: Colours
    coverage: Picture
    pixel_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Enlargement:
    """A small part at the scale of single scan lines, top row first."""

    colours: Colours
    pixel_mm: float
    focus_offset_mm: float


def mark_reflectance(burn: Burn, wood: Wood) -> Picture:
    """Return luminance 0–1 of a mark on its own grid, lines averaged, row 0 lowest. Source: `reflectance_map`."""
    grid = burn.grid
    lines = collect(
        burn.events,
        DoseGrid(
            x0_mm=grid.x0_mm,
            y0_mm=grid.y0_mm,
            pixel_x_mm=grid.pixel_mm,
            pixel_y_mm=grid.pixel_mm,
            rows=grid.rows,
            columns=grid.columns,
        ),
    )
    return _seen(burn, wood, lines, focus_offset_mm=burn.focus_offset_mm, coarse=True)


def _seen(burn: Burn, wood: Wood, lines: LineEnergy, *, focus_offset_mm: float, coarse: bool) -> Picture:
    radius = float(beam_radius_mm(burn.beam, offset_mm=focus_offset_mm))
    dose = dose_map_J_per_mm2(lines, beam_radius_mm=radius, rise_time_s=burn.rise_time_s)
    shift = float(
        exposure_shift(
            wood.curve,
            dwell_ms=dwell_ms(beam_radius_mm=radius, speed_mm_per_s=burn.speed_mm_per_s),
            passes=burn.passes,
        )
    )
    return reflectance_map(
        wood.curve, dose, exposure_shift=shift, ripple=(radius, burn.line_spacing_mm) if coarse else None
    )


def draw_board(
    outline: Polygon | MultiPolygon,
    wood: Wood,
    burns: Sequence[Burn],
    *,
    turn_deg: float,
    longest_px: int,
    generator: np.random.Generator,
) -> Board:
    """Return the predicted look of the whole board.

    Parameters
    ----------
    outline : on the bed. [mm]
    turn_deg : the picture is turned back by it, so that artwork stands upright.

    Source
    ------
    The functions of this layer; averages are taken in reflectance.
    """
    x0, y0, x1, y1 = outline.bounds
    pixel = max(x1 - x0, y1 - y0) / longest_px
    columns, rows = max(1, math.ceil((x1 - x0) / pixel)), max(1, math.ceil((y1 - y0) / pixel))
    seen = np.full((rows, columns), luminance(wood.curve.bare_L), np.float32)
    bare = np.float32(luminance(wood.curve.bare_L))
    for burn in burns:
        patch = mark_reflectance(burn, wood) / bare
        _paste(seen, patch, burn.grid, x0_mm=x0, y0_mm=y0, pixel_mm=pixel)
    light = lightness_L(seen).astype(np.float32)
    light += grain_L(wood, rows=rows, columns=columns, pixel_mm=pixel, generator=generator)
    colours = wood_colours(wood, light)
    fine = EDGE_OVERSAMPLING
    mask = allowed_mask(outline, x0_mm=x0, y0_mm=y0, pixel_mm=pixel / fine, shape=(rows * fine, columns * fine)).astype(
        np.float32
    )
    coverage = np.asarray(cv2.resize(mask, (columns, rows), interpolation=cv2.INTER_AREA), np.float32)
    colours, coverage = colours[::-1], coverage[::-1]
    return _upright(colours, coverage, pixel_mm=pixel, turn_deg=turn_deg)


def _paste(seen: Picture, patch: Picture, grid: Grid, *, x0_mm: float, y0_mm: float, pixel_mm: float) -> None:
    """Multiply a mark's relative reflectance into the board, averaged down to the board's pixels."""
    left, low = round((grid.x0_mm - x0_mm) / pixel_mm), round((grid.y0_mm - y0_mm) / pixel_mm)
    width = max(1, round(grid.columns * grid.pixel_mm / pixel_mm))
    height = max(1, round(grid.rows * grid.pixel_mm / pixel_mm))
    shrink = width < grid.columns
    small = cv2.resize(patch, (width, height), interpolation=cv2.INTER_AREA if shrink else cv2.INTER_LINEAR)
    rows, columns = seen.shape
    c0, c1, r0, r1 = max(left, 0), min(left + width, columns), max(low, 0), min(low + height, rows)
    if c0 < c1 and r0 < r1:
        seen[r0:r1, c0:c1] *= np.asarray(small, np.float32)[r0 - low : r1 - low, c0 - left : c1 - left]


def _upright(colours: Colours, coverage: Picture, *, pixel_mm: float, turn_deg: float) -> Board:
    """Turn a picture (top row first) back by the blank's turn."""
    quarters = turn_deg / 90.0
    if math.isclose(quarters, round(quarters), abs_tol=1e-9):
        turns = -round(quarters)
        return Board(
            colours=np.ascontiguousarray(np.rot90(colours, turns)),
            coverage=np.ascontiguousarray(np.rot90(coverage, turns)),
            pixel_mm=pixel_mm,
        )
    rows, columns = coverage.shape
    angle = math.radians(turn_deg)
    width = math.ceil(abs(columns * math.cos(angle)) + abs(rows * math.sin(angle)))
    height = math.ceil(abs(columns * math.sin(angle)) + abs(rows * math.cos(angle)))
    matrix = cv2.getRotationMatrix2D((columns / 2.0, rows / 2.0), -turn_deg, 1.0)
    matrix[:, 2] += (width / 2.0 - columns / 2.0, height / 2.0 - rows / 2.0)
    turned = cv2.warpAffine(colours, matrix, (width, height), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    cover = np.asarray(cv2.warpAffine(coverage, matrix, (width, height), flags=cv2.INTER_LINEAR), np.float32)
    used_rows, used_columns = np.flatnonzero((cover > 0.0).any(axis=1)), np.flatnonzero((cover > 0.0).any(axis=0))
    window = (slice(used_rows[0], used_rows[-1] + 1), slice(used_columns[0], used_columns[-1] + 1))
    return Board(colours=np.asarray(turned, np.uint8)[window], coverage=cover[window], pixel_mm=pixel_mm)


def enlarge(
    burn: Burn,
    wood: Wood,
    *,
    middle_mm: tuple[float, float],
    size_px: tuple[int, int],
    pixel_mm: float,
    focus_offset_mm: float,
    generator: np.random.Generator,
) -> Enlargement:
    """Return a part of a mark at the scale of its scan lines, burnt at some focus offset with everything else kept.

    Parameters
    ----------
    size_px : width and height.

    Source
    ------
    The functions of this layer.
    """
    radius = float(beam_radius_mm(burn.beam, offset_mm=focus_offset_mm))
    margin = math.ceil((2.0 * radius + 8.0 * burn.speed_mm_per_s * burn.rise_time_s) / pixel_mm) + 2
    width, height = size_px[0] + 2 * margin, size_px[1] + 2 * margin
    lines = collect(
        burn.events,
        DoseGrid(
            x0_mm=middle_mm[0] - 0.5 * width * pixel_mm,
            y0_mm=middle_mm[1] - 0.5 * height * pixel_mm,
            pixel_x_mm=pixel_mm,
            pixel_y_mm=pixel_mm,
            rows=height,
            columns=width,
        ),
    )
    seen = _seen(burn, wood, lines, focus_offset_mm=focus_offset_mm, coarse=False)[margin:-margin, margin:-margin]
    light = lightness_L(seen).astype(np.float32)
    light += grain_L(wood, rows=size_px[1], columns=size_px[0], pixel_mm=pixel_mm, generator=generator)
    return Enlargement(
        colours=np.ascontiguousarray(wood_colours(wood, light)[::-1]),
        pixel_mm=pixel_mm,
        focus_offset_mm=focus_offset_mm,
    )


def telling_place_mm(picture_W: Picture, grid: Grid, *, width_mm: float, height_mm: float) -> tuple[float, float]:
    """Return the middle of the window that shows most: many edges, about as much burnt as bare. [mm]

    Source
    ------
    Own choice: edge density times the balance of ink.
    """
    ink = (picture_W > 0.0).astype(np.float32)
    w, h = max(1, round(width_mm / grid.pixel_mm)), max(1, round(height_mm / grid.pixel_mm))
    edges = np.zeros_like(ink)
    edges[:-1] += np.abs(np.diff(ink, axis=0))
    edges[:, :-1] += np.abs(np.diff(ink, axis=1))
    share = cv2.blur(ink, (w, h), borderType=cv2.BORDER_CONSTANT)
    density = cv2.blur(edges, (w, h), borderType=cv2.BORDER_CONSTANT)
    score = np.asarray(density * share * (1.0 - share) ** 0.5)
    row, column = np.unravel_index(int(score.argmax()), score.shape)
    return grid.x0_mm + (float(column) + 0.5) * grid.pixel_mm, grid.y0_mm + (float(row) + 0.5) * grid.pixel_mm
