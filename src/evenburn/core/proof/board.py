"""The whole board as it is predicted to look, and enlargements down to single scan lines."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon, affinity, box

from evenburn.core.art.picture import Grid
from evenburn.core.layout.place import allowed_mask
from evenburn.core.nouns.events import Event, Trace
from evenburn.core.nouns.machine import Machine
from evenburn.core.nouns.wood import Wood
from evenburn.core.optics.beam import Beam, beam_radius_mm
from evenburn.core.optics.lines import dwell_ms, effective_passes
from evenburn.core.proof.dose import DoseGrid, LineEnergy, collect, dose_map_J_per_mm2, traced_map_J, traced_pieces
from evenburn.core.proof.grain import Grain, grain_L, grain_of
from evenburn.core.proof.look import reflectance_map, wood_colours
from evenburn.core.proof.turning import middle_of, turned_back, turned_size_px
from evenburn.core.response.curve import exposure_shift
from evenburn.core.tone.colour import lightness_L, luminance

Picture = NDArray[np.float32]
Colours = NDArray[np.uint8]
EDGE_OVERSAMPLING = 4
EDGE_COVERAGE = 0.25  # what a row or column has to have somewhere to belong to the board
FOLLOWED_FINENESS = 0.5  # of the beam's radius: pixels in which a followed line is drawn before its light is averaged
FOLLOWED_ROWS = 1024  # so many fine rows at a time
ENOUGH_ACROSS = 32  # pixels in the beam's radius: straight between them errs by h² / 8 of the curvature, 1 in 2000
LOOK_WIDTH = 2.0  # the part of an enlargement that has to tell most is at most so much wider than high


@dataclass(frozen=True, slots=True, kw_only=True)
class Burn:
    """One mark's events with what the proof has to know of its recipe.

    `line_spacing_mm` is the width of the burnt line where outlines are followed; `machine` is needed there, since its
    corners slow the head.
    """

    grid: Grid
    events: tuple[Event, ...]
    beam: Beam
    focus_offset_mm: float
    speed_mm_per_s: float
    line_spacing_mm: float
    passes: int
    rise_time_s: float
    reversal_offset_mm: float = 0.0
    machine: Machine | None = None

    def counted_passes(self, *, radius_mm: float) -> float:
        """Return how often a place is burnt over by a beam of a radius. Source: `effective_passes`."""
        spacing_mm = math.inf if self.is_followed() else self.line_spacing_mm
        return float(effective_passes(passes=self.passes, beam_radius_mm=radius_mm, line_spacing_mm=spacing_mm))

    def is_followed(self) -> bool:
        """Return whether outlines are followed; every line of such a mark is seen itself."""
        return any(isinstance(event, Trace) for event in self.events)


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
    if burn.is_followed():
        return _followed_reflectance(burn, wood)
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
        reversal_offset_mm=burn.reversal_offset_mm,
    )
    return _seen(burn, wood, lines, focus_offset_mm=burn.focus_offset_mm, coarse=True)


def _followed_reflectance(burn: Burn, wood: Wood) -> Picture:
    """Return luminance 0–1 of followed lines on the mark's grid: drawn finer than the beam, then averaged as light.

    A line narrower than a pixel darkens it by its share of the area, as [murray1936] has it, not by its mean dose.
    """
    grid = burn.grid
    radius = float(beam_radius_mm(burn.beam, offset_mm=burn.focus_offset_mm))
    times = max(1, math.ceil(grid.pixel_mm / (FOLLOWED_FINENESS * radius)))
    pixel = grid.pixel_mm / times
    margin = math.ceil(2.0 * radius / pixel) + 1  # the beam's kernel ends at 4 σ = 2 w
    pieces = traced_pieces(burn.events, machine=burn.machine)
    assert pieces is not None  # noqa: S101  # asked only for what is followed
    seen = np.full((grid.rows, grid.columns), luminance(wood.curve.bare_L), np.float32)
    step = max(1, FOLLOWED_ROWS // times)
    for low in range(0, grid.rows, step):
        rows = min(step, grid.rows - low)
        window = DoseGrid(
            x0_mm=grid.x0_mm - margin * pixel,
            y0_mm=grid.y0_mm + low * grid.pixel_mm - margin * pixel,
            pixel_x_mm=pixel,
            pixel_y_mm=pixel,
            rows=rows * times + 2 * margin,
            columns=grid.columns * times + 2 * margin,
        )
        traced = traced_map_J(pieces, window)
        if not traced.any():
            continue
        none = np.zeros_like(traced)
        lines = LineEnergy(
            grid=window,
            axis="x",
            speed_mm_per_s=burn.speed_mm_per_s,
            forward_J=none,
            backward_J=none,
            traced_J=traced,
        )
        fine = _seen(burn, wood, lines, focus_offset_mm=burn.focus_offset_mm, coarse=False)
        seen[low : low + rows] = cv2.resize(
            np.ascontiguousarray(fine[margin:-margin, margin:-margin]),
            (grid.columns, rows),
            interpolation=cv2.INTER_AREA,
        )
    return seen


def _seen(burn: Burn, wood: Wood, lines: LineEnergy, *, focus_offset_mm: float, coarse: bool) -> Picture:
    radius = float(beam_radius_mm(burn.beam, offset_mm=focus_offset_mm))
    dose = dose_map_J_per_mm2(lines, beam_radius_mm=radius, rise_time_s=burn.rise_time_s)
    shift = float(
        exposure_shift(
            wood.curve,
            dwell_ms=dwell_ms(beam_radius_mm=radius, speed_mm_per_s=burn.speed_mm_per_s),
            passes=burn.counted_passes(radius_mm=radius),
        )
    )
    return reflectance_map(
        wood.curve, dose, exposure_shift=shift, radius_and_spacing_mm=(radius, burn.line_spacing_mm) if coarse else None
    )


def draw_board(
    outline: Polygon | MultiPolygon,
    wood: Wood,
    *,
    burns: Sequence[Burn],
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
    `mark_reflectance` of each mark; averages are taken in reflectance, as [murray1936] has it.
    """
    x0, y0, x1, y1 = outline.bounds
    pixel = max(x1 - x0, y1 - y0) / longest_px
    columns, rows = max(1, math.ceil((x1 - x0) / pixel)), max(1, math.ceil((y1 - y0) / pixel))
    seen = np.full((rows, columns), luminance(wood.curve.bare_L), np.float32)
    bare = np.float32(luminance(wood.curve.bare_L))
    for burn in burns:
        patch = mark_reflectance(burn, wood) / bare
        _paste(seen, patch, burn.grid, x0_mm=x0, y0_mm=y0, pixel_mm=pixel)
    fine = EDGE_OVERSAMPLING
    mask = allowed_mask(outline, x0_mm=x0, y0_mm=y0, pixel_mm=pixel / fine, shape=(rows * fine, columns * fine)).astype(
        np.float32
    )
    coverage = np.asarray(cv2.resize(mask, (columns, rows), interpolation=cv2.INTER_AREA), np.float32)
    coverage = turned_back(coverage[::-1], turn_deg=turn_deg)
    seen = bare + turned_back(seen[::-1] - bare, turn_deg=turn_deg)
    used_rows, used_columns = (np.flatnonzero((coverage > EDGE_COVERAGE).any(axis=axis)) for axis in (1, 0))
    window = (slice(used_rows[0], used_rows[-1] + 1), slice(used_columns[0], used_columns[-1] + 1))
    size_mm, place = _upright(outline, (x0 + 0.5 * columns * pixel, y0 + 0.5 * rows * pixel), turn_deg=turn_deg)
    corner = (place[0] - 0.5 * seen.shape[1] * pixel, place[1] - 0.5 * seen.shape[0] * pixel)
    return Board(
        colours=_wooden(
            seen[window],
            wood,
            grain=grain_of(wood, size_mm=size_mm, generator=generator),
            corner_mm=(corner[0] + float(used_columns[0]) * pixel, corner[1] + float(used_rows[0]) * pixel),
            pixel_mm=pixel,
        ),
        coverage=np.ascontiguousarray(coverage[window]),
        pixel_mm=pixel,
    )


def _upright(
    outline: Polygon | MultiPolygon, place_mm: tuple[float, float], *, turn_deg: float
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return the size of the upright board, and where a place of the bed lies on it, from its left and its upper edge."""
    upright = affinity.rotate(outline, -turn_deg, origin=(0.0, 0.0))
    x0, y0, x1, y1 = upright.bounds
    angle = math.radians(-turn_deg)
    cos, sin = math.cos(angle), math.sin(angle)
    x, y = place_mm[0] * cos - place_mm[1] * sin, place_mm[0] * sin + place_mm[1] * cos
    return (x1 - x0, y1 - y0), (x - x0, y1 - y)


def _wooden(seen: Picture, wood: Wood, *, grain: Grain, corner_mm: tuple[float, float], pixel_mm: float) -> Colours:
    """Return the colours of an upright picture of reflectances, with the wood's own grain where it lies on the board."""
    rows, columns = seen.shape
    field = grain_L(grain, left_mm=corner_mm[0], top_mm=corner_mm[1], pixel_mm=pixel_mm, rows=rows, columns=columns)
    return wood_colours(wood, lightness_L(seen).astype(np.float32), grain=field)


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


def enlarge(
    burn: Burn,
    wood: Wood,
    *,
    middle_mm: tuple[float, float],
    size_px: tuple[int, int],
    pixel_mm: float,
    focus_offset_mm: float,
    generator: np.random.Generator,
    turn_deg: float = 0.0,
    others: Sequence[Burn] = (),
    outline: Polygon | MultiPolygon | None = None,
) -> Enlargement:
    """Return a part of a mark at the scale of its scan lines, burnt at some focus offset with everything else kept.

    Parameters
    ----------
    middle_mm : on the bed; size_px : width and height of the upright picture.
    turn_deg : the picture is turned back by it.
    others : marks that may reach into the picture; they are burnt as planned.
    outline : the blank's on the bed, so that the grain is that of its board; without it some wood of that kind is shown.

    Source
    ------
    `dose_map_J_per_mm2` and `reflectance_map` on a grid that holds the lines.
    """
    window_px = turned_size_px(size_px, turn_deg=turn_deg)
    bare = np.float32(luminance(wood.curve.bare_L))
    seen = _close(burn, wood, middle_mm, size_px=window_px, pixel_mm=pixel_mm, focus_offset_mm=focus_offset_mm)
    half_mm = (0.5 * window_px[0] * pixel_mm, 0.5 * window_px[1] * pixel_mm)
    for other in others:
        if _meets(other.grid, middle_mm, half_mm):
            offset = other.focus_offset_mm
            near = _close(other, wood, middle_mm, size_px=window_px, pixel_mm=pixel_mm, focus_offset_mm=offset)
            seen = seen * (near / bare)
    upright = middle_of(bare + turned_back(seen[::-1] - bare, turn_deg=turn_deg), size_px=size_px)
    board = outline if outline is not None else box(*(v + s * 100.0 for s in (-1.0, 1.0) for v in middle_mm))
    size_mm, place = _upright(board, middle_mm, turn_deg=turn_deg)
    return Enlargement(
        colours=_wooden(
            upright,
            wood,
            grain=grain_of(wood, size_mm=size_mm, generator=generator),
            corner_mm=(place[0] - 0.5 * size_px[0] * pixel_mm, place[1] - 0.5 * size_px[1] * pixel_mm),
            pixel_mm=pixel_mm,
        ),
        pixel_mm=pixel_mm,
        focus_offset_mm=focus_offset_mm,
    )


def _meets(grid: Grid, middle_mm: tuple[float, float], half_mm: tuple[float, float]) -> bool:
    """Return whether a mark's grid reaches into a window, a millimetre of blur allowed."""
    return all(
        low - 1.0 < middle + half and middle - half < low + count * grid.pixel_mm + 1.0
        for low, count, middle, half in zip(
            (grid.x0_mm, grid.y0_mm), (grid.columns, grid.rows), middle_mm, half_mm, strict=True
        )
    )


def _close(
    burn: Burn,
    wood: Wood,
    middle_mm: tuple[float, float],
    *,
    size_px: tuple[int, int],
    pixel_mm: float,
    focus_offset_mm: float,
) -> Picture:
    """Return luminance 0–1 of a window on the bed in which single lines show, row 0 lowest.

    A beam very much wider than the pixels leaves nothing that fine: the window is then reckoned on coarser ones.
    """
    radius = float(beam_radius_mm(burn.beam, offset_mm=focus_offset_mm))
    times = max(1, math.floor(radius / (ENOUGH_ACROSS * pixel_mm)))
    pixel = times * pixel_mm
    margin = math.ceil((2.0 * radius + 8.0 * burn.speed_mm_per_s * burn.rise_time_s) / pixel) + 2
    columns, rows = (math.ceil(count / times) for count in size_px)
    lines = collect(
        burn.events,
        DoseGrid(
            x0_mm=middle_mm[0] - 0.5 * size_px[0] * pixel_mm - margin * pixel,
            y0_mm=middle_mm[1] - 0.5 * size_px[1] * pixel_mm - margin * pixel,
            pixel_x_mm=pixel,
            pixel_y_mm=pixel,
            rows=rows + 2 * margin,
            columns=columns + 2 * margin,
        ),
        reversal_offset_mm=burn.reversal_offset_mm,
        machine=burn.machine,
    )
    seen = _seen(burn, wood, lines, focus_offset_mm=focus_offset_mm, coarse=False)[margin:-margin, margin:-margin]
    if times > 1:
        fine = cv2.resize(seen, (columns * times, rows * times), interpolation=cv2.INTER_LINEAR)
        seen = np.asarray(fine[: size_px[1], : size_px[0]], np.float32)
    return seen


def telling_place_mm(picture_W: Picture, grid: Grid, *, width_mm: float, height_mm: float) -> tuple[float, float]:
    """Return the middle of the window that shows most: edges in more than one direction, about half of it burnt. [mm]

    What lies near the middle counts more, and the window keeps inside the mark where the mark is large enough.

    Source
    ------
    Own choice: the smaller eigenvalue of the structure tensor times the balance of ink.
    """
    peak = float(picture_W.max(initial=0.0))
    ink = picture_W / np.float32(peak if peak > 0.0 else 1.0)
    ink = np.asarray(cv2.GaussianBlur(ink, (0, 0), 1.0, borderType=cv2.BORDER_CONSTANT), np.float32)
    high_px = height_mm / grid.pixel_mm
    reach = (min(width_mm / grid.pixel_mm, LOOK_WIDTH * high_px) / 5.0, high_px / 5.0)

    def near(values: Picture) -> Picture:
        sigma = (max(reach[0], 0.5), max(reach[1], 0.5))
        return np.asarray(
            cv2.GaussianBlur(values, (0, 0), sigma[0], sigmaY=sigma[1], borderType=cv2.BORDER_CONSTANT), np.float32
        )

    dy, dx = np.gradient(ink) if min(ink.shape) > 1 else (np.zeros_like(ink), np.zeros_like(ink))
    xx, yy, xy, share = near(dx * dx), near(dy * dy), near(dx * dy), near(ink)
    least = 0.5 * (xx + yy - np.hypot(xx - yy, 2.0 * xy))
    score = np.maximum(least, 0.0) * 4.0 * share * (1.0 - share) + np.float32(1e-6) * share
    half = (round(0.5 * width_mm / grid.pixel_mm), round(0.5 * high_px))
    for axis, border in ((0, min(half[1], (grid.rows - 1) // 2)), (1, min(half[0], (grid.columns - 1) // 2))):
        if border:
            edge = np.moveaxis(score, axis, 0)
            edge[:border] = edge[-border:] = 0.0
    row, column = np.unravel_index(int(score.argmax()), score.shape)
    return grid.x0_mm + (float(column) + 0.5) * grid.pixel_mm, grid.y0_mm + (float(row) + 0.5) * grid.pixel_mm
