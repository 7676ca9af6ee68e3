"""Pictures of a turned blank, turned back so that they stand as the blank is drawn."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon, affinity

from evenburn.core.units import quarter_turns

Picture = NDArray[np.float32]


def turned_back(picture: Picture, *, turn_deg: float) -> Picture:
    """Return a picture (top row first) turned clockwise by the blank's turn, all of it kept.

    Quarter turns are exact. What the turned picture does not cover is 0.

    Source
    ------
    Definition.
    """
    turns = quarter_turns(turn_deg)
    if turns is not None:
        return np.ascontiguousarray(np.rot90(picture, -turns))
    rows, columns = picture.shape
    width, height = turned_size_px((columns, rows), turn_deg=turn_deg)
    matrix = cv2.getRotationMatrix2D(((columns - 1) / 2.0, (rows - 1) / 2.0), -turn_deg, 1.0)
    matrix[:, 2] += ((width - columns) / 2.0, (height - rows) / 2.0)
    turned = cv2.warpAffine(
        picture,
        matrix,
        (width, height),
        flags=cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=(0.0,),
    )
    return np.asarray(turned, np.float32)


def turned_size_px(size_px: tuple[int, int], *, turn_deg: float) -> tuple[int, int]:
    """Return width and height of the box round a turned picture, whole pixels. Definition."""
    angle = math.radians(turn_deg)
    cos, sin = abs(math.cos(angle)), abs(math.sin(angle))
    width, height = size_px
    return math.ceil(width * cos + height * sin - 1e-6), math.ceil(width * sin + height * cos - 1e-6)


def middle_of(picture: Picture, *, size_px: tuple[int, int]) -> Picture:
    """Return the middle of a picture, width and height given. Definition."""
    top, left = (picture.shape[0] - size_px[1]) // 2, (picture.shape[1] - size_px[0]) // 2
    return np.ascontiguousarray(picture[top : top + size_px[1], left : left + size_px[0]])


def place_on_board(
    outline: Polygon | MultiPolygon, place_mm: tuple[float, float], *, turn_deg: float
) -> tuple[float, float]:
    """Return where a place on the bed lies on the upright board: shares 0–1 from its left and from its lower edge.

    Parameters
    ----------
    outline : on the bed; place_mm : on the bed. [mm]
    turn_deg : the blank's turn, counter-clockwise.

    Source
    ------
    Definition.
    """
    upright = affinity.rotate(outline, -turn_deg, origin=(0.0, 0.0))
    angle = math.radians(-turn_deg)
    x = place_mm[0] * math.cos(angle) - place_mm[1] * math.sin(angle)
    y = place_mm[0] * math.sin(angle) + place_mm[1] * math.cos(angle)
    x0, y0, x1, y1 = upright.bounds
    return (x - x0) / (x1 - x0), (y - y0) / (y1 - y0)
