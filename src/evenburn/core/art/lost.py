"""What a burn loses of a drawing: strokes that vanish and gaps that fill, found along their middle lines.

An edge that only moves is no loss: what counts is whether the middle of a stroke reaches half tone, and the middle of a gap
stays below it.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from evenburn.core.art.detail import TAPER_px

Mask = NDArray[np.bool_]
Box = tuple[float, float, float, float]

AROUND = np.ones((3, 3), np.uint8)
CROTCH_WIDTHS = 2.5  # where edges meet under more than 23°, a gap may fill from its foot without being lost
LEAST_RIDGE_mm = 0.15  # of a stroke or gap that goes on; shorter is less than anybody sees at reading distance


@dataclass(frozen=True, slots=True, kw_only=True)
class Lost:
    """What is lost of a drawing, on its own grid (rows, columns), row 0 lowest.

    Attributes
    ----------
    vanished, filled : drawn strokes without half tone, and gaps with it.
    vanished_mm2, filled_mm2 : how much area that is.
    vanished_regions_mm, filled_regions_mm : boxes (x0, y0, x1, y1) from the grid's lower left corner, largest first.
    vanished_widths_mm, filled_widths_mm : drawn width of each region, the mean along its middle line, in the same order.
    """

    vanished: Mask
    filled: Mask
    vanished_mm2: float
    filled_mm2: float
    vanished_regions_mm: tuple[Box, ...]
    filled_regions_mm: tuple[Box, ...]
    vanished_widths_mm: tuple[float, ...]
    filled_widths_mm: tuple[float, ...]

    def nothing(self) -> bool:
        """Return whether all that is drawn survives."""
        return not self.vanished_regions_mm and not self.filled_regions_mm


def _ridge(shape: NDArray[np.uint8], *, open_outside: bool) -> tuple[NDArray[np.float32], Mask]:
    """Return distance to the edge, and where it is greatest across the shape."""
    padded = cv2.copyMakeBorder(shape, 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=(int(open_outside),))
    distance = np.asarray(cv2.distanceTransform(padded, cv2.DIST_L2, cv2.DIST_MASK_PRECISE), np.float32)
    ridge = (distance > 0.0) & (distance >= cv2.dilate(distance, AROUND) - np.float32(TAPER_px))
    return distance[1:-1, 1:-1], ridge[1:-1, 1:-1]


def _lost_of(
    shape: Mask, kept: Mask, *, pixel_mm: float, open_outside: bool
) -> tuple[Mask, float, tuple[Box, ...], tuple[float, ...]]:
    """Return where a shape's middle lines are not kept, the area, the regions' boxes and mean widths."""
    nothing = np.zeros(shape.shape, np.bool_)
    distance, ridge = _ridge(shape.astype(np.uint8), open_outside=open_outside)
    near_kept = cv2.dilate(kept.astype(np.uint8), AROUND) > 0
    gone = ridge & ~near_kept
    if not gone.any():
        return nothing, 0.0, (), ()
    # what is gone of the shape: discs about the middle lines, and whatever of the shape is nowhere kept
    pieces, piece_of = cv2.connectedComponents(shape.astype(np.uint8), connectivity=8)
    holds = np.zeros(pieces, np.bool_)
    holds[piece_of[kept & shape]] = True
    whole = shape & ~holds[piece_of]
    away, nearest = cv2.distanceTransformWithLabels(
        (~gone).astype(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    reach = np.zeros(int(nearest.max()) + 1, np.float32)
    reach[nearest[gone]] = distance[gone]
    area = (shape & (away <= reach[nearest])) | (whole & shape)
    count, regions, about, _ = cv2.connectedComponentsWithStats(area.astype(np.uint8), connectivity=8)
    length = np.bincount(regions[gone], minlength=count) * pixel_mm
    steps = np.maximum(np.bincount(regions[gone], minlength=count), 1)
    width = 2.0 * np.bincount(regions[gone], weights=distance[gone], minlength=count) / steps
    width = np.maximum(width - 0.5, 1.0) * pixel_mm
    widest = np.zeros(count)
    np.maximum.at(widest, regions[gone], 2.0 * distance[gone] * pixel_mm)
    entire = np.zeros(count, np.bool_)
    entire[regions[whole]] = True
    counts = entire | (length >= np.maximum(CROTCH_WIDTHS * widest, LEAST_RIDGE_mm))
    counts[0] = False
    order = sorted(np.flatnonzero(counts), key=lambda k: (-int(about[k, cv2.CC_STAT_AREA]), int(k)))
    boxes = tuple(
        (
            float(about[k, cv2.CC_STAT_LEFT]) * pixel_mm,
            float(about[k, cv2.CC_STAT_TOP]) * pixel_mm,
            float(about[k, cv2.CC_STAT_LEFT] + about[k, cv2.CC_STAT_WIDTH]) * pixel_mm,
            float(about[k, cv2.CC_STAT_TOP] + about[k, cv2.CC_STAT_HEIGHT]) * pixel_mm,
        )
        for k in order
    )
    lost = counts[regions]
    return lost, float(lost.sum()) * pixel_mm**2, boxes, tuple(float(width[k]) for k in order)


def lost_detail(drawn: Mask, burnt: Mask, *, pixel_mm: float) -> Lost:
    """Return which drawn strokes do not burn to half tone, and which gaps do.

    Counted is a stroke or gap that is lost in one piece, or along more than two and a half of its own widths. The picture's
    border is the edge of a stroke and never the edge of a gap.

    Parameters
    ----------
    drawn : (rows, columns) ink, on a grid clearly finer than the beam, row 0 lowest.
    burnt : the same grid; whether the predicted tone is past half way from the bare surface to the full tone.

    Source
    ------
    Own derivation: middle lines as in `measure_widths`.
    """
    vanished, vanished_mm2, strokes, stroke_widths = _lost_of(drawn, burnt, pixel_mm=pixel_mm, open_outside=False)
    filled, filled_mm2, gaps, gap_widths = _lost_of(~drawn, ~burnt, pixel_mm=pixel_mm, open_outside=True)
    return Lost(
        vanished=vanished,
        filled=filled,
        vanished_mm2=vanished_mm2,
        filled_mm2=filled_mm2,
        vanished_regions_mm=strokes,
        filled_regions_mm=gaps,
        vanished_widths_mm=stroke_widths,
        filled_widths_mm=gap_widths,
    )
