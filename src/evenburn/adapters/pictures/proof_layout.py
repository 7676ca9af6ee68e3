"""Where the parts of a proof stand, by the proportion of the board: beside it, below it, or right of a tall one."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

WIDTH_px = 1600
EDGE_px = 28  # neutral surround left and right of everything
GAP_px = 28
INSIDE_px = WIDTH_px - 2 * EDGE_px

# What the pictures are asked for; the layout takes what it needs from their middle.
BOARD_px = INSIDE_px
PLANNED_px = (INSIDE_px, 520)
OFFSET_px = (448, 240)

BOARD_AREA_px = 250_000  # of a board that stands beside its enlargement
BESIDE_px = (380, 520)  # least and most height of that row
BELOW_HIGH_px = 400  # of the enlargement below a long board
LONG = 2.1  # a board longer than this stands above, one narrower than NARROW has both rows to its right
NARROW = 0.8
SCALE_ROOM_px = 124  # under the three enlargements, for the scale of focus offset
OFFSET_GAP_px = 24
LEAST_OFFSET_WIDTH_px = 240
LABEL_ROOM_px = 130  # half of the widest label that may stand under the end of the scale


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A rectangle in pixels, y downwards."""

    left: int
    top: int
    width: int
    height: int

    @property
    def right(self) -> int:
        """Return the first column beyond it."""
        return self.left + self.width

    @property
    def bottom(self) -> int:
        """Return the first row below it."""
        return self.top + self.height


@dataclass(frozen=True, slots=True, kw_only=True)
class OffsetScale:
    """The scale of focus offset: where 0 stands, how long a millimetre is, and its two ends. [px, mm]"""

    zero_px: float
    px_per_mm: float
    low_mm: float
    high_mm: float

    def place_px(self, offset_mm: float) -> int:
        """Return the column of an offset."""
        return round(self.zero_px + self.px_per_mm * offset_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """Boxes of a proof; `planned_below` says which side of the board its enlargement stands on."""

    board: Box
    planned: Box
    planned_below: bool
    offsets: tuple[Box, ...]
    scale: OffsetScale
    scale_top: int
    bottom: int


def lay_out(*, aspect: float, top: int, offsets_mm: tuple[float, ...], planned_offset_mm: float) -> Layout:
    """Return the layout for a board of a proportion (width over height), from a row downwards."""
    offset_high = OFFSET_px[1]
    right_left = EDGE_px
    if aspect > LONG:
        board_high = max(1, min(BESIDE_px[1], round(INSIDE_px / aspect)))
        board = Box(left=EDGE_px, top=top, width=min(INSIDE_px, round(board_high * aspect)), height=board_high)
        planned = Box(left=EDGE_px, top=board.bottom + GAP_px, width=INSIDE_px, height=BELOW_HIGH_px)
    elif aspect < NARROW:
        board_high = BELOW_HIGH_px + GAP_px + offset_high
        board = Box(left=EDGE_px, top=top, width=max(1, round(board_high * aspect)), height=board_high)
        right_left = board.right + GAP_px
        planned = Box(left=right_left, top=top, width=WIDTH_px - EDGE_px - right_left, height=BELOW_HIGH_px)
    else:
        board_high = round(min(max(math.sqrt(BOARD_AREA_px / aspect), BESIDE_px[0]), BESIDE_px[1]))
        board = Box(left=EDGE_px, top=top, width=round(board_high * aspect), height=board_high)
        left = board.right + GAP_px
        planned = Box(left=left, top=top, width=WIDTH_px - EDGE_px - left, height=board_high)
    row = planned.bottom + GAP_px
    scale = _scale(right_left, offsets_mm=offsets_mm, planned_offset_mm=planned_offset_mm)
    wide = min(OFFSET_px[0], math.floor(_closest_mm(offsets_mm) * scale.px_per_mm) - OFFSET_GAP_px)
    offsets = tuple(
        Box(left=scale.place_px(mm) - wide // 2, top=row, width=wide, height=offset_high) for mm in offsets_mm
    )
    scale_top = row + offset_high
    return Layout(
        board=board,
        planned=planned,
        planned_below=aspect > LONG,
        offsets=offsets,
        scale=scale,
        scale_top=scale_top,
        bottom=scale_top + SCALE_ROOM_px,
    )


def _closest_mm(offsets_mm: tuple[float, ...]) -> float:
    return min(b - a for a, b in pairwise(offsets_mm))


def _scale(left: int, *, offsets_mm: tuple[float, ...], planned_offset_mm: float) -> OffsetScale:
    """Return the longest scale on which the enlargements stand over their ticks and the planned offset still shows.

    A planned offset too far away to be shown is left off; the drawing says on which side it lies.
    """
    right = WIDTH_px - EDGE_px
    first, last = min(offsets_mm), max(offsets_mm)
    apart = _closest_mm(offsets_mm)
    for reach in (planned_offset_mm, min(max(planned_offset_mm, first), last)):
        low, high = min(first, reach), max(last, reach)
        # half an enlargement is kept left of the first tick and right of the last, half a label at a planned end
        wide = float(OFFSET_px[0])
        for _ in range(40):  # settles by halves
            room_left = max(0.5 * wide, LABEL_ROOM_px if low < first else 0.0)
            room_right = max(0.5 * wide, LABEL_ROOM_px if high > last else 0.0)
            density = min(
                (right - left - wide) / (last - first),
                (right - left - room_left - 0.5 * wide) / max(last - low, 1e-9) if low < first else math.inf,
                (right - left - room_right - 0.5 * wide) / max(high - first, 1e-9) if high > last else math.inf,
            )
            wide = min(float(OFFSET_px[0]), density * apart - OFFSET_GAP_px)
        if wide >= LEAST_OFFSET_WIDTH_px or reach != planned_offset_mm:
            break
    start = left + 0.5 * wide if low >= first else right - 0.5 * wide - density * (last - low)
    return OffsetScale(
        zero_px=start - density * min(low, first),
        px_per_mm=density,
        low_mm=low,
        high_mm=high,
    )
