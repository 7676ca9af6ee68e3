"""Where on the board a mark loses detail: the drawing against what its events are predicted to burn."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon, affinity

from evenburn.core.art.lost import Lost, lost_detail
from evenburn.core.art.picture import Grid, grid_in_box
from evenburn.core.nouns.wood import Wood
from evenburn.core.optics.beam import beam_radius_mm
from evenburn.core.optics.lines import dwell_ms, ripple_modulation
from evenburn.core.proof.board import Burn
from evenburn.core.proof.dose import DoseGrid, collect, dose_map_J_per_mm2
from evenburn.core.response.curve import exposure_shift, exposures_for_tones

Box = tuple[float, float, float, float]
Kind = Literal["vanish", "fill"]
Picture = NDArray[np.float32]

DETAIL_PIXELS = 2.0e6  # of the grid on which drawing and burn are compared
DETAIL_LEAST_mm = 0.02
LINES_APART = 0.3  # from this modulation on, the troughs between scan lines are taken as burnt with them
NEAR_SHARE = 0.025  # of the board's longer side: places nearer than that are shown as one, so that frames stand apart


@dataclass(frozen=True, slots=True, kw_only=True)
class LostPlace:
    """A place where strokes vanish or gaps fill.

    Attributes
    ----------
    box_on_board : (x0, y0, x1, y1) shares 0–1 of the upright board, from its left and from its lower edge.
    on_mark_mm : its middle from the lower left corner of the upright mark. [mm]
    narrowest_mm : drawn width of the narrowest that is lost there. [mm]
    count : how many strokes or gaps are lost there.
    """

    kind: Kind
    box_on_board: Box
    on_mark_mm: tuple[float, float]
    narrowest_mm: float
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class LostDetail:
    """What one mark loses, and where; places largest first."""

    lost: Lost
    places: tuple[LostPlace, ...]

    def count(self, kind: Kind) -> int:
        """Return how many strokes vanish, or gaps fill."""
        return sum(place.count for place in self.places if place.kind == kind)


def detail_grid(box_bed_mm: Box, *, line_spacing_mm: float) -> Grid:
    """Return the grid on which a mark's drawing is compared with its burn: a quarter line, or coarser for a large mark.

    Source
    ------
    Own choice: a quarter of a line spacing shows each line's own edges; two million pixels take a second.
    """
    width, height = box_bed_mm[2] - box_bed_mm[0], box_bed_mm[3] - box_bed_mm[1]
    fine = max(0.25 * line_spacing_mm, DETAIL_LEAST_mm, math.sqrt(width * height / DETAIL_PIXELS))
    return grid_in_box(box_bed_mm, pixel_mm=min(fine, width, height))


def burnt_mask(burn: Burn, wood: Wood, *, grid: Grid, tone_L: float, unevenness_mm: float = 0.0) -> NDArray[np.bool_]:
    """Return where a burn is past half way from the bare surface to a tone, row 0 lowest.

    Parameters
    ----------
    tone_L : of the wide area.
    unevenness_mm : the board's; the beam is taken at the far end of it. [mm]

    Source
    ------
    `dose_map_J_per_mm2`, with the dose of half tone by `exposures_for_tones`.
    """
    radius = float(beam_radius_mm(burn.beam, offset_mm=abs(burn.focus_offset_mm) + unevenness_mm))
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
        machine=burn.machine,
    )
    dose = dose_map_J_per_mm2(lines, beam_radius_mm=radius, rise_time_s=burn.rise_time_s)
    dwell = dwell_ms(beam_radius_mm=radius, speed_mm_per_s=burn.speed_mm_per_s)
    half = float(exposures_for_tones(wood.curve, 0.5 * (wood.curve.bare_L + tone_L)))
    half -= float(exposure_shift(wood.curve, dwell_ms=dwell, passes=burn.counted_passes(radius_mm=radius)))
    burnt = (dose >= np.float32(10.0**half)).astype(np.uint8)
    if ripple_modulation(beam_radius_mm=radius, line_spacing_mm=burn.line_spacing_mm) > LINES_APART:
        across = 2 * max(1, round(0.5 * burn.line_spacing_mm / grid.pixel_mm)) + 1
        shape = (across, 1) if lines.axis == "x" else (1, across)
        burnt = np.asarray(cv2.morphologyEx(burnt, cv2.MORPH_CLOSE, np.ones(shape, np.uint8)), np.uint8)
    return np.asarray(burnt > 0, dtype=np.bool_)


def lost_places(
    burn: Burn,
    wood: Wood,
    *,
    coverage: Picture,
    grid: Grid,
    tone_L: float,
    size_mm: tuple[float, float],
    outline: Polygon | MultiPolygon,
    turn_deg: float,
    unevenness_mm: float = 0.0,
) -> LostDetail:
    """Return which strokes of a solid mark vanish and which gaps fill, and where.

    Parameters
    ----------
    coverage : the artwork drawn on `grid` (see `detail_grid`), ink 0–1, row 0 lowest.
    tone_L : predicted for a wide area; size_mm : of the upright mark.
    outline : the blank's on the bed; turn_deg : its turn, counter-clockwise.

    Source
    ------
    `lost_detail` of drawing and `burnt_mask`.
    """
    burnt = burnt_mask(burn, wood, grid=grid, tone_L=tone_L, unevenness_mm=unevenness_mm)
    lost = lost_detail(coverage >= 0.5, burnt, pixel_mm=grid.pixel_mm)
    # everything is told in the frame of the upright board: turned back about the bed's origin
    upright = affinity.rotate(outline, -turn_deg, origin=(0.0, 0.0)).bounds
    board_low, board_mm = np.array(upright[:2]), np.array(upright[2:]) - upright[:2]
    near_mm = max(NEAR_SHARE * float(board_mm.max()), grid.pixel_mm)
    angle = math.radians(-turn_deg)
    turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    corner = np.array([grid.x0_mm, grid.y0_mm])
    middle = turn @ (corner + 0.5 * grid.pixel_mm * np.array([grid.columns, grid.rows])) - board_low
    mark_low = middle - 0.5 * np.array(size_mm)

    def on_board(box: Box) -> Box:
        corners = (corner + [(box[i], box[j]) for i in (0, 2) for j in (1, 3)]) @ turn.T - board_low
        low, high = corners.min(axis=0), corners.max(axis=0)
        return float(low[0]), float(low[1]), float(high[0]), float(high[1])

    kinds: tuple[tuple[Kind, tuple[Box, ...], tuple[float, ...]], ...] = (
        ("vanish", lost.vanished_regions_mm, lost.vanished_widths_mm),
        ("fill", lost.filled_regions_mm, lost.filled_widths_mm),
    )
    places: list[tuple[float, LostPlace]] = []
    for kind, boxes, widths in kinds:
        for box, members in _joined([on_board(box) for box in boxes], near_mm=near_mm):
            low, high = np.array(box[:2]), np.array(box[2:])
            shares = np.clip(np.concatenate([low / board_mm, high / board_mm]), 0.0, 1.0).tolist()
            on_mark = 0.5 * (low + high) - mark_low
            place = LostPlace(
                kind=kind,
                box_on_board=(shares[0], shares[1], shares[2], shares[3]),
                on_mark_mm=(float(on_mark[0]), float(on_mark[1])),
                narrowest_mm=min(widths[k] for k in members),
                count=len(members),
            )
            places.append((float(np.prod(high - low)), place))
    places.sort(key=lambda item: -item[0])
    return LostDetail(lost=lost, places=tuple(place for _, place in places))


def _joined(boxes: Sequence[Box], *, near_mm: float) -> list[tuple[Box, list[int]]]:
    """Return boxes of what lies near together, and which of the given ones each holds."""
    if not boxes:
        return []
    cell = 0.5 * near_mm
    all_boxes = np.array(boxes)
    origin = all_boxes.min(axis=0)[:2]
    low = np.floor((all_boxes[:, :2] - origin) / cell).astype(int)
    high = np.floor((all_boxes[:, 2:] - origin) / cell).astype(int) + 1
    mask = np.zeros(tuple(high.max(axis=0)[::-1] + 1), np.uint8)
    for (left, bottom), (right, top) in zip(low, high, strict=True):
        mask[bottom:top, left:right] = 1
    _, labels = cv2.connectedComponents(cv2.dilate(mask, np.ones((3, 3), np.uint8)), connectivity=8)
    groups: dict[int, list[int]] = {}
    for number, (left, bottom) in enumerate(low):
        groups.setdefault(int(labels[bottom, left]), []).append(number)
    joined = []
    for members in groups.values():
        part = all_boxes[members]
        box = (*part[:, :2].min(axis=0).tolist(), *part[:, 2:].max(axis=0).tolist())
        joined.append((box, members))
    return joined
