"""How sharp a photograph is, from the straight outer edges of the markers."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from evenburn.core.card.mat_geometry import MODULES, marker_box_mm
from evenburn.core.card.page_view import Flat
from evenburn.core.nouns.card import Box, Mat

FloatArray = NDArray[np.float64]

ALONG_SHARE = 0.7  # of an edge is looked at: its middle


def blur_mm(flat: Flat, mat: Mat) -> float:
    """Return the standard deviation of the blur across edges, the greater of both directions of the page. [mm]

    Source
    ------
    Definition: second moment of the slope of an edge, over the middle half of the markers, so that one odd edge is left out.
    """
    both: list[list[float]] = [[], []]
    for marker in mat.markers:
        x0, y0, x1, y1 = marker_box_mm(marker)
        reach = 0.85 * (x1 - x0) / MODULES  # stays inside the black border
        trim = 0.5 * (1.0 - ALONG_SHARE) * (x1 - x0)
        edges: tuple[tuple[Box, int], ...] = (
            ((x0 - reach, y0 + trim, x0 + reach, y1 - trim), 0),
            ((x1 - reach, y0 + trim, x1 + reach, y1 - trim), 0),
            ((x0 + trim, y0 - reach, x1 - trim, y0 + reach), 1),
            ((x0 + trim, y1 - reach, x1 - trim, y1 + reach), 1),
        )
        for box, axis in edges:
            part = flat.part(box)
            if min(part.shape[:2]) < 3:
                continue
            grey = cv2.cvtColor(part, cv2.COLOR_RGB2GRAY).astype(np.float64)
            both[axis].append(_edge_sd_px(grey.mean(axis=axis)) / flat.px_per_mm)
    return max((float(np.median(sds)) for sds in both if sds), default=0.0)


def _edge_sd_px(profile: FloatArray) -> float:
    """Return the standard deviation of an edge's slope over its profile. [px]"""
    slope = np.abs(np.diff(profile))
    slope = np.maximum(slope - 0.03 * slope.max(), 0.0)  # what noise and a sloping light leave beside the edge
    total = float(slope.sum())
    if total <= 0.0:
        return float(profile.size)
    place = np.arange(slope.size)
    middle = float((slope * place).sum()) / total
    return float(np.sqrt((slope * np.square(place - middle)).sum() / total))
