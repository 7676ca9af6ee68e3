"""From a blank's own frame to the bed, and how far that leaves from edges and holes."""

from __future__ import annotations

from typing import cast

import numpy as np
from numpy.typing import NDArray
from shapely import MultiPolygon, Point, Polygon, affinity, box
from shapely.geometry.base import BaseGeometry

from evenburn.core.nouns.blank import Blank
from evenburn.core.nouns.mark import Axis, Piece

Box = tuple[float, float, float, float]
CURVE_SEGMENTS = 64  # a quarter circle of 100 mm radius is off by 0.008 mm at most


def rectangle_outline(size_mm: tuple[float, float]) -> Polygon:
    """Return a rectangle with its lower left corner at the origin. Definition."""
    return box(0.0, 0.0, *size_mm)


def rounded_outline(size_mm: tuple[float, float], *, radius_mm: float) -> Polygon:
    """Return a rectangle with round corners. Definition."""
    inner = box(radius_mm, radius_mm, size_mm[0] - radius_mm, size_mm[1] - radius_mm)
    return inner.buffer(radius_mm, quad_segs=CURVE_SEGMENTS)


def ellipse_outline(size_mm: tuple[float, float]) -> Polygon:
    """Return an ellipse whose box has its lower left corner at the origin. Definition."""
    circle = Point(0.0, 0.0).buffer(1.0, quad_segs=CURVE_SEGMENTS)
    return affinity.translate(
        affinity.scale(circle, size_mm[0] / 2.0, size_mm[1] / 2.0, origin=(0.0, 0.0)),
        size_mm[0] / 2.0,
        size_mm[1] / 2.0,
    )


def _turned_offset(piece: Piece) -> tuple[float, float]:
    """Return the shift that puts the box of the turned blank at its place on the bed."""
    turned = affinity.rotate(piece.blank.outline, piece.turn_deg, origin=(0.0, 0.0))
    x0, y0, _, _ = turned.bounds
    return piece.place_bed_mm[0] - x0, piece.place_bed_mm[1] - y0


def on_bed(piece: Piece, shape: BaseGeometry) -> BaseGeometry:
    """Return a shape of the blank's frame as it lies on the bed: turned, then shifted. Definition."""
    dx, dy = _turned_offset(piece)
    return affinity.translate(affinity.rotate(shape, piece.turn_deg, origin=(0.0, 0.0)), dx, dy)


def outline_on_bed(piece: Piece) -> Polygon | MultiPolygon:
    """Return the blank's outline on the bed. [mm] Definition."""
    return cast("Polygon | MultiPolygon", on_bed(piece, piece.blank.outline))


def mark_on_bed(piece: Piece, *, place_mm: tuple[float, float], size_mm: tuple[float, float]) -> Polygon:
    """Return the mark's (turned) rectangle on the bed. [mm] Definition."""
    rectangle = box(place_mm[0], place_mm[1], place_mm[0] + size_mm[0], place_mm[1] + size_mm[1])
    return cast("Polygon", on_bed(piece, rectangle))


def room_mm(ink: Box, *, axis: Axis, bed_x_mm: float, bed_y_mm: float) -> tuple[float, float]:
    """Return the free distance before and after a box along an axis, inside the bed. [mm] Definition."""
    return (ink[0], bed_x_mm - ink[2]) if axis == "x" else (ink[1], bed_y_mm - ink[3])


def allowed_mask(
    outline: Polygon | MultiPolygon, *, x0_mm: float, y0_mm: float, pixel_mm: float, shape: tuple[int, int]
) -> NDArray[np.bool_]:
    """Return which pixels lie on the blank: middle inside its outline and outside its holes; row 0 lowest.

    Source
    ------
    Own derivation: along a row of pixel middles, each crossing of an edge turns inside into outside and back.
    """
    rows, columns = shape
    crossings = np.zeros((rows, columns + 1), dtype=np.uint8)
    polygons = outline.geoms if isinstance(outline, MultiPolygon) else (outline,)
    for ring in (ring for polygon in polygons for ring in (polygon.exterior, *polygon.interiors)):
        corners = (np.asarray(ring.coords)[:, :2] - (x0_mm, y0_mm)) / pixel_mm - 0.5  # middles lie at whole numbers
        here, there = corners[:-1], corners[1:]
        low = np.clip(np.ceil(np.minimum(here[:, 1], there[:, 1])), 0, rows).astype(np.intp)
        high = np.clip(np.ceil(np.maximum(here[:, 1], there[:, 1])), 0, rows).astype(np.intp)
        count = high - low  # of rows that an edge crosses; none where it lies level
        edge = np.repeat(np.arange(count.size), count)
        row = np.arange(edge.size) - np.repeat(np.cumsum(count) - count - low, count)
        slope = (there[edge, 0] - here[edge, 0]) / (there[edge, 1] - here[edge, 1])
        column = np.clip(np.ceil(here[edge, 0] + (row - here[edge, 1]) * slope), 0, columns).astype(np.intp)
        np.add.at(crossings, (row, column), 1)
    inside = np.cumsum(crossings[:, :columns], axis=1, dtype=np.uint8) & 1  # odd or even survives eight bits
    return inside.astype(np.bool_)


def inset(blank_outline: Polygon | MultiPolygon, *, margin_mm: float) -> BaseGeometry:
    """Return the outline less a margin to every edge, holes included. [mm] Definition."""
    return blank_outline.buffer(-margin_mm, quad_segs=16)


def blank_size_text(blank: Blank) -> str:
    """Return the blank's size as people say it, `200 × 150 × 12.1 mm`. Definition."""
    x, y = blank.size_mm
    return f"{x:g} × {y:g} × {blank.thickness_mm:g}\u00a0mm"
