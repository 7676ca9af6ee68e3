"""A blank's outline from a drawing: what is painted is wood, what is left open inside is a hole."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon, affinity, make_valid, union_all

from evenburn.adapters.artwork.svg import SvgDrawing
from evenburn.core.errors import InvalidInput

OUTLINE_PIXELS = 4.0e6
LINE_DRAWING_SHARE = 0.25  # less paint than this inside its own contour is a line drawing of the edge
SMOOTHING_px = 0.6
LEAST_AREA_mm2 = 4.0
PROPORTION_TOLERANCE = 0.02


def outline_from_svg(drawing: SvgDrawing, *, size_mm: tuple[float, float] | None, name: str) -> Polygon | MultiPolygon:
    """Return the outline drawn in an SVG, its box's lower left corner at the origin. [mm]

    A filled drawing is taken as it is painted. A line drawing is taken by its outermost line, and lines inside it
    are the edges of holes.

    Parameters
    ----------
    size_mm : the blank's box; the drawing is scaled to it. None takes the drawing's own size.

    Raises
    ------
    InvalidInput
        If nothing is drawn, or the drawing's proportions differ from the size by more than 2 %.
    """
    width_mm, height_mm = drawing.size_mm
    per_mm = float(np.sqrt(OUTLINE_PIXELS / (width_mm * height_mm)))
    width, height = max(8, round(width_mm * per_mm)), max(8, round(height_mm * per_mm))
    ink = (drawing.ink(width_px=width, height_px=height) >= 0.5).astype(np.uint8)
    if not ink.any():
        raise InvalidInput({"outline": "nothing is drawn in it"}, source=name)
    polygons = _polygons(ink)
    shape = union_all([make_valid(p) for p in polygons])
    x0, y0, x1, y1 = shape.bounds
    shape = affinity.translate(affinity.scale(shape, 1.0, -1.0, origin=(0.0, 0.0)), -x0, y1)
    if size_mm is None:
        factor_x, factor_y = width_mm / width, height_mm / height
    else:
        factor_x, factor_y = size_mm[0] / (x1 - x0), size_mm[1] / (y1 - y0)
        if abs(factor_x / factor_y * (height_mm / height) / (width_mm / width) - 1.0) > PROPORTION_TOLERANCE:
            own = ((x1 - x0) * width_mm / width, (y1 - y0) * height_mm / height)
            raise InvalidInput(
                {
                    "size_mm": f"is {size_mm[0]:g} × {size_mm[1]:g}, but the outline in {name} is "
                    f"{own[0]:.1f} × {own[1]:.1f} mm; its proportions must agree within 2 %"
                }
            )
    scaled = affinity.scale(shape, factor_x, factor_y, origin=(0.0, 0.0))
    parts = [p for p in getattr(scaled, "geoms", [scaled]) if isinstance(p, Polygon) and p.area >= LEAST_AREA_mm2]
    if not parts:
        raise InvalidInput({"outline": f"holds no area of at least {LEAST_AREA_mm2:g} mm²"}, source=name)
    return parts[0] if len(parts) == 1 else MultiPolygon(parts)


def _ring(contour: NDArray[np.int32], *, outward: bool) -> Polygon:
    """Return a contour of pixel centres as the polygon round the pixels (outward) or round the gap inside them."""
    polygon = make_valid(Polygon(contour[:, 0, :]))
    grown = polygon.buffer(0.5 if outward else -0.5, join_style="mitre")
    return grown.simplify(SMOOTHING_px)


def _polygons(ink: NDArray[np.uint8]) -> list[Polygon | MultiPolygon]:
    padded = cv2.copyMakeBorder(ink, 2, 2, 2, 2, cv2.BORDER_CONSTANT, value=0)
    contours, hierarchy = cv2.findContours(padded, cv2.RETR_TREE, cv2.CHAIN_APPROX_NONE)
    links = hierarchy[0]
    depth = [0] * len(contours)
    for i in range(len(contours)):  # parents come before their children in OpenCV's order or are walked up to
        parent, level = int(links[i][3]), 0
        while parent >= 0:
            parent, level = int(links[parent][3]), level + 1
        depth[i] = level
    usable = [i for i in range(len(contours)) if len(contours[i]) >= 4]
    outer = [i for i in usable if depth[i] == 0]
    filled_area = sum(cv2.contourArea(contours[i]) for i in outer)
    line_drawing = filled_area > 0 and float(ink.sum()) < LINE_DRAWING_SHARE * filled_area
    result: list[Polygon | MultiPolygon] = []
    for i in outer:
        shape = _ring(np.asarray(contours[i], np.int32), outward=True)
        inside = [j for j in usable if _has_ancestor(links, j, i)]
        hole_depth = 2 if line_drawing else 1
        for j in inside:
            if depth[j] == hole_depth:
                # a gap's contour runs on the ink round it, so the gap itself is half a pixel smaller
                shape = shape.difference(_ring(np.asarray(contours[j], np.int32), outward=line_drawing))
            elif not line_drawing and depth[j] == 2:
                shape = shape.union(_ring(np.asarray(contours[j], np.int32), outward=True))
        result.append(shape)
    return result


def _has_ancestor(links: NDArray[np.int32], child: int, ancestor: int) -> bool:
    parent = int(links[child][3])
    while parent >= 0:
        if parent == ancestor:
            return True
        parent = int(links[parent][3])
    return False
