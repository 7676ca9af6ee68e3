"""Which closed outline holds which path: the base of kerf sides and of what is burnt first."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon, STRtree

from evenburn.core.nouns.path import Polyline

LEAST_CLOSED = 3  # points that enclose an area
TWIN = 1e-6  # outlines whose areas differ by a smaller share are one drawn twice; neither holds the other
MOST = 0.5  # a path lies inside where more than so much of its area, or of its length if it is open, does


def enclosed_area(path: Polyline) -> MultiPolygon:
    """Return the area that a closed path encloses by the even-odd rule; empty where it encloses none, or is open.

    Source
    ------
    Definition; self-crossings resolved by GEOS.
    """
    if not path.closed or len(path.points_mm) < LEAST_CLOSED:
        return MultiPolygon()
    parts = shapely.get_parts(shapely.make_valid(Polygon(path.points_mm)))
    flat = shapely.get_parts(parts)  # a collection may hold several areas beside lines that enclose nothing
    return MultiPolygon([part for part in flat if isinstance(part, Polygon) and part.area > 0.0])


def holders(paths: Sequence[Polyline], *, areas: Sequence[MultiPolygon] | None = None) -> tuple[tuple[int, ...], ...]:
    """Return for each path the numbers of the closed paths in which most of it lies, from small to large.

    A path that only touches its holder from inside is held; one that crosses it is, where more than half lies inside.

    Parameters
    ----------
    areas : of `enclosed_area`, where they are known already.

    Source
    ------
    Definition; even-odd areas compared by GEOS.
    """
    found = [enclosed_area(path) for path in paths] if areas is None else areas
    shapes: Any = np.array(
        [
            shapely.LineString(path.points_mm) if area.is_empty else area
            for path, area in zip(paths, found, strict=True)
        ],
        dtype=object,
    )
    size = np.array([area.area for area in found], dtype=np.float64)
    holding = np.flatnonzero(size > 0.0)
    held: list[list[int]] = [[] for _ in paths]
    if holding.size:
        tree = STRtree(shapes[holding])
        inner, place = tree.query(shapely.box(*shapely.bounds(shapes).T))
        outer = holding[place]
        smaller = (inner != outer) & (size[inner] < size[outer] * (1.0 - TWIN))
        inner, outer = inner[smaller], outer[smaller]
        inside = _inside(shapes, size, inner, outer)
        inner, outer = inner[inside], outer[inside]
        by_size = np.lexsort((outer, size[outer], inner))
        for number, holder in zip(inner[by_size].tolist(), outer[by_size].tolist(), strict=True):
            held[number].append(holder)
    return tuple(tuple(one) for one in held)


def _inside(
    shapes: Any, size: NDArray[np.float64], inner: NDArray[np.intp], outer: NDArray[np.intp]
) -> NDArray[np.bool_]:
    """Return which pairs have most of the inner shape inside the outer one."""
    shapely.prepare(shapes[np.unique(outer)])
    inside = np.asarray(shapely.covers(shapes[outer], shapes[inner]))
    open_question = np.flatnonzero(~inside)
    open_question = open_question[shapely.intersects(shapes[outer[open_question]], shapes[inner[open_question]])]
    both = shapely.intersection(shapes[outer[open_question]], shapes[inner[open_question]])
    flat = size[inner[open_question]] <= 0.0
    share = np.where(flat, shapely.length(both), shapely.area(both))
    whole = np.where(flat, shapely.length(shapes[inner[open_question]]), size[inner[open_question]])
    inside[open_question] = share > MOST * whole
    return inside
