"""A whole piece prepared for looking at: any window of the upright board, at any scale, drawn from its events.

Windows are placed from the board's left and from its upper edge, as pictures are. What lies outside the blank is grey.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon, affinity, box
from shapely.geometry.polygon import orient

from evenburn.core.nouns.wood import Wood
from evenburn.core.proof.board import Burn
from evenburn.core.proof.dose import traced_pieces
from evenburn.core.proof.followed_layer import followed_layer
from evenburn.core.proof.grain import Grain, grain_L, grain_of
from evenburn.core.proof.layer import Box, Layer, Picture, exposed
from evenburn.core.proof.line_table import line_table
from evenburn.core.proof.look import GRAIN_HUE, colour_table
from evenburn.core.proof.look_table import lightness_table
from evenburn.core.proof.scanned_layer import scanned_layer
from evenburn.core.tone.colour import luminance
from evenburn.core.units import quarter_turns

Colours = NDArray[np.uint8]
SURROUND = np.array((0x6C, 0x70, 0x6C), np.uint8)
EDGE_OVERSAMPLING = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """A part of the upright board: its corner from the left and from the upper edge, and its pixels. [mm]"""

    left_mm: float
    top_mm: float
    pixel_mm: float
    columns: int
    rows: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scene:
    """A piece, prepared.

    Attributes
    ----------
    outline : of the upright board, its box's lower left corner at the origin; `edges_mm` are both ends of its edges. [mm]
    low_mm : where that corner lies in the bed's frame turned back by `turn_deg` about the bed's origin.
    layers : mark id → mark, those left out that burn nothing.
    """

    wood: Wood
    outline: Polygon | MultiPolygon
    edges_mm: NDArray[np.float64]
    size_mm: tuple[float, float]
    low_mm: tuple[float, float]
    turn_deg: float
    layers: Mapping[str, Layer]
    grain: Grain
    colours: Colours
    lightness: NDArray[np.float32]

    def size_bytes(self) -> int:
        """Return how much memory it takes. Definition."""
        return self.colours.nbytes + sum(layer.size_bytes() for layer in self.layers.values())


def layer_of(burn: Burn, wood: Wood) -> Layer | None:
    """Return a mark prepared, None where it burns nothing. Source: `scanned_layer`, `followed_layer`."""
    pieces = traced_pieces(burn.events, machine=burn.machine)
    light = exposed(
        wood,
        beam=burn.beam,
        focus_offset_mm=burn.focus_offset_mm,
        speed_mm_per_s=burn.speed_mm_per_s,
        line_spacing_mm=burn.line_spacing_mm if pieces is None else math.inf,
        passes=burn.passes,
    )
    if pieces is not None:
        return followed_layer(pieces, light, passes=burn.passes) if pieces.energy_J.size else None
    table = line_table(burn.events, reversal_offset_mm=burn.reversal_offset_mm)
    if table is None:
        return None
    return scanned_layer(
        table,
        light,
        spacing_mm=burn.grid.pixel_mm,
        ripple_spacing_mm=burn.line_spacing_mm,
        lag_mm=burn.speed_mm_per_s * burn.rise_time_s,
    )


def scene_of(
    outline: Polygon | MultiPolygon,
    wood: Wood,
    *,
    turn_deg: float,
    burns: Mapping[str, Burn],
    generator: np.random.Generator,
) -> Scene:
    """Return a piece prepared.

    Parameters
    ----------
    outline : on the bed. [mm]
    generator : of the board's own grain; the same seed as for its proof makes the same board.

    Source
    ------
    `layer_of`, `grain_of`.
    """
    upright = affinity.rotate(outline, -turn_deg, origin=(0.0, 0.0))
    x0, y0, x1, y1 = upright.bounds
    layers = {mark_id: layer for mark_id, burn in burns.items() if (layer := layer_of(burn, wood)) is not None}
    placed = affinity.translate(upright, -x0, -y0)
    return Scene(
        wood=wood,
        outline=placed,
        edges_mm=_edges_mm(placed),
        size_mm=(x1 - x0, y1 - y0),
        low_mm=(x0, y0),
        turn_deg=turn_deg,
        layers=layers,
        grain=grain_of(wood, size_mm=(x1 - x0, y1 - y0), generator=generator),
        colours=colour_table(wood),
        lightness=lightness_table(),
    )


def draw_window(
    scene: Scene, window: Window, *, layers: Mapping[str, Layer] | None = None, around: Colours = SURROUND
) -> Colours:
    """Return a window of the board as it is predicted to look, (rows, columns, 3), top row first, sRGB.

    Parameters
    ----------
    layers : marks as they would be otherwise, in place of those of the scene.
    around : colour of what is no board, (3,).

    Source
    ------
    The layers' patches multiplied, as `draw_board` does; `wood_colours`.
    """
    out = np.empty((window.rows, window.columns, 3), np.uint8)
    out[:] = around
    top, bottom, left, right = _on_board(scene.size_mm, window)
    if top < bottom and left < right:
        part = Window(
            left_mm=window.left_mm + left * window.pixel_mm,
            top_mm=window.top_mm + top * window.pixel_mm,
            pixel_mm=window.pixel_mm,
            columns=right - left,
            rows=bottom - top,
        )
        out[top:bottom, left:right] = _drawn(
            scene, part, layers=scene.layers if layers is None else layers, around=around
        )
    return out


def _on_board(size_mm: tuple[float, float], window: Window) -> tuple[int, int, int, int]:
    """Return the rows and columns of a window that the board's box reaches into: first, and one after the last."""
    pixel = window.pixel_mm
    return (
        min(max(math.floor(-window.top_mm / pixel), 0), window.rows),
        min(max(math.ceil((size_mm[1] - window.top_mm) / pixel), 0), window.rows),
        min(max(math.floor(-window.left_mm / pixel), 0), window.columns),
        min(max(math.ceil((size_mm[0] - window.left_mm) / pixel), 0), window.columns),
    )


def _drawn(scene: Scene, window: Window, *, layers: Mapping[str, Layer], around: Colours) -> Colours:
    from evenburn.core.proof.window_loops import compiled  # late: numba takes half a second

    shape = (window.rows, window.columns)
    cover = coverage(scene, window)
    bare = np.float32(luminance(scene.wood.curve.bare_L))
    seen = np.full(shape, bare, np.float32)
    for layer in layers.values():
        patch = upright_patch(layer, scene, window=window)
        if patch is not None:
            seen *= patch
    grain = grain_L(
        scene.grain,
        left_mm=window.left_mm,
        top_mm=window.top_mm,
        pixel_mm=window.pixel_mm,
        rows=window.rows,
        columns=window.columns,
    )
    curve = scene.wood.curve
    out = np.empty((*shape, 3), np.uint8)
    compiled()["painted"](
        seen,
        grain,
        np.zeros((0, 0), np.float32) if cover is None else cover,
        scene.lightness,
        scene.colours,
        np.float32(curve.bare_L),
        np.float32(curve.full_L - curve.bare_L),
        np.float32(GRAIN_HUE),
        around,
        out,
    )
    return out


def coverage(scene: Scene, window: Window) -> Picture | None:
    """Return how much of each pixel is board, 0–1, top row first; None where all of it is.

    Source
    ------
    Own derivation: exact along rows, four rows to a pixel; outlines turn so that what is inside lies at their left.
    """
    from evenburn.core.proof.window_loops import compiled

    pixel = window.pixel_mm
    x0, y1 = window.left_mm, scene.size_mm[1] - window.top_mm
    x1, y0 = x0 + window.columns * pixel, y1 - window.rows * pixel
    if scene.outline.contains(box(x0, y0, x1, y1)):
        return None
    share = np.zeros((window.rows, window.columns + 1), np.float32)
    compiled()["covered"](scene.edges_mm, x0, y0, pixel, EDGE_OVERSAMPLING, share)
    return np.ascontiguousarray(np.clip(share[::-1, :-1], 0.0, 1.0))


def _edges_mm(outline: Polygon | MultiPolygon) -> NDArray[np.float64]:
    """Return both ends of every edge, (N, 4), what is inside at its left."""
    polygons = outline.geoms if isinstance(outline, MultiPolygon) else (outline,)
    rings = [
        np.asarray(ring.coords)[:, :2]
        for polygon in (orient(p) for p in polygons)
        for ring in (polygon.exterior, *polygon.interiors)
    ]
    return np.concatenate([np.hstack([ring[:-1], ring[1:]]) for ring in rings])


def bed_box_mm(scene: Scene, window: Window) -> Box:
    """Return the box on the bed round what of the turned blank a window shows, (x0, y0, x1, y1). Definition."""
    pixel = window.pixel_mm
    x0 = scene.low_mm[0] + window.left_mm
    y0 = scene.low_mm[1] + scene.size_mm[1] - window.top_mm - window.rows * pixel
    frame = box(x0, y0, x0 + window.columns * pixel, y0 + window.rows * pixel)
    turns = quarter_turns(scene.turn_deg)
    bounds = affinity.rotate(frame, scene.turn_deg if turns is None else 90.0 * turns, origin=(0.0, 0.0)).bounds
    return bounds[0], bounds[1], bounds[2], bounds[3]


def upright_patch(layer: Layer, scene: Scene, *, window: Window) -> Picture | None:
    """Return a mark's relative luminance in an upright window, top row first, None where none of it shows there.

    Quarter turns are exact; for other turns it is computed along the bed at the same scale and read between pixels.

    Source
    ------
    Definition.
    """
    pixel, angle = window.pixel_mm, math.radians(scene.turn_deg)
    x0 = scene.low_mm[0] + window.left_mm
    y0 = scene.low_mm[1] + scene.size_mm[1] - window.top_mm - window.rows * pixel
    turns = quarter_turns(scene.turn_deg)
    if turns is not None:
        corners = bed_box_mm(scene, window)
        rows, columns = (window.rows, window.columns) if turns % 2 == 0 else (window.columns, window.rows)
        patch = layer.patch(corners[0], corners[1], pixel_mm=pixel, rows=rows, columns=columns)
        return None if patch is None else np.ascontiguousarray(np.rot90(patch[::-1], -turns))
    from evenburn.core.proof.window_loops import compiled

    cos, sin = math.cos(angle), math.sin(angle)
    bx0, by0, bx1, by1 = bed_box_mm(scene, window)
    i, j = math.floor(bx0 / pixel) - 2, math.floor(by0 / pixel) - 2  # a lattice that lies fast on the bed
    columns, rows = math.ceil(bx1 / pixel) + 2 - i, math.ceil(by1 / pixel) + 2 - j
    patch = layer.patch(i * pixel, j * pixel, pixel_mm=pixel, rows=rows, columns=columns)
    if patch is None:
        return None
    x, y = x0 + 0.5 * pixel, y0 + (window.rows - 0.5) * pixel  # the middle of the first pixel
    first = ((x * cos - y * sin) / pixel - 0.5 - i, (x * sin + y * cos) / pixel - 0.5 - j)
    out = np.empty((window.rows, window.columns), np.float32)
    compiled()["turned"](patch, first[0], first[1], np.array([cos, sin]), np.array([sin, -cos]), out)
    return out
