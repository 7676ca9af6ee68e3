"""What is looked at on the mat: cells of white paper, grey steps, patches; encoded values and where they lie."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from evenburn.core.card.mat_geometry import frame_box_mm, marker_box_mm
from evenburn.core.card.page_view import Flat, FloatArray
from evenburn.core.nouns.card import Box, Mat

CELL_mm = 3  # of white paper
CLEAR_mm = 0.7  # between a cell and anything printed
WINDOW_CLEAR_mm = 2.0  # the cut edge may curl and throws a shadow
STEP_EDGE_mm = 1.2  # of a step's edge is left out


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Samples:
    """Encoded values 0–255 of white paper (W) and grey steps (S), RGB, and their places on the page.

    Attributes
    ----------
    white_clipped, step_clipped : share of pixels whose brightest channel is at its end.
    """

    white_mm: FloatArray
    white_coded: FloatArray
    white_clipped: FloatArray
    step_mm: FloatArray
    step_coded: FloatArray
    step_clipped: FloatArray
    step_nominal_L: FloatArray


def sampled(flat: Flat, mat: Mat) -> Samples:
    """Return what the mat shows of paper and greys. Definition."""
    places, coded, clipped = _white(flat, mat)
    steps = [_inset(s.box_mm, STEP_EDGE_mm) for s in mat.grey_steps]
    parts = [flat.part(b).reshape(-1, 3) for b in steps]
    return Samples(
        white_mm=places,
        white_coded=coded,
        white_clipped=clipped,
        step_mm=np.array([_middle(s.box_mm) for s in mat.grey_steps]),
        step_coded=np.array([p.mean(axis=0) for p in parts]),
        step_clipped=np.array([float((p.max(axis=1) >= 254).mean()) for p in parts]),
        step_nominal_L=np.array([s.nominal_L for s in mat.grey_steps]),
    )


def _white(flat: Flat, mat: Mat) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the cells of the frame that nothing is printed on: middles, mean values, share at the end."""
    frame = frame_box_mm(mat)
    kept_away = [_inset(mat.window_mm, -WINDOW_CLEAR_mm)]
    kept_away += [_inset(marker_box_mm(m), -CLEAR_mm) for m in mat.markers]
    kept_away += [_inset(s.box_mm, -CLEAR_mm) for s in mat.grey_steps]
    columns, rows = (int((frame[n + 2] - frame[n]) // CELL_mm) for n in (0, 1))
    u = flat.px_per_mm
    part = flat.pixels[: rows * CELL_mm * u, : columns * CELL_mm * u]
    mean = cv2.resize(part.astype(np.float32), (columns, rows), interpolation=cv2.INTER_AREA)
    ends = (part.max(axis=2) >= 254).astype(np.float32)
    share = cv2.resize(ends, (columns, rows), interpolation=cv2.INTER_AREA)
    x = frame[0] + (np.arange(columns) + 0.5) * CELL_mm
    y = frame[3] - (np.arange(rows) + 0.5) * CELL_mm
    xx, yy = np.meshgrid(x, y)
    free = np.ones(xx.shape, np.bool_)
    half = 0.5 * CELL_mm
    for x0, y0, x1, y1 in kept_away:
        free &= (xx + half <= x0) | (xx - half >= x1) | (yy + half <= y0) | (yy - half >= y1)
    return (
        np.column_stack([xx[free], yy[free]]),
        np.asarray(mean[free], np.float64),
        np.asarray(share[free], np.float64),
    )


def _middle(box: Box) -> tuple[float, float]:
    return 0.5 * (box[0] + box[2]), 0.5 * (box[1] + box[3])


def _inset(box: Box, by_mm: float) -> Box:
    return box[0] + by_mm, box[1] + by_mm, box[2] - by_mm, box[3] - by_mm


def counts(values: NDArray[np.uint8]) -> NDArray[np.float64]:
    """Return the (3, 256) share of pixels at each encoded value, from (N, 3) pixels. Definition."""
    size = max(1, values.shape[0])
    return np.stack([np.bincount(values[:, c], minlength=256) / size for c in range(3)])
