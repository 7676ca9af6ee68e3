"""Room for the kerf: outlines moved by half its width, so that what is kept comes out at its drawn size."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from shapely import Geometry, MultiPolygon, Polygon, get_parts, orient_polygons

from evenburn.core.art.holding import LEAST_CLOSED, enclosed_area, holders
from evenburn.core.errors import OutOfRange
from evenburn.core.nouns.mark import Keeps
from evenburn.core.nouns.path import FLATNESS_mm, Polyline

MITRE_LIMIT = 3.0  # a corner may stand out by three times the offset before it is cut off
ARC_SEGMENTS = 16  # of a quarter circle; at a kerf of 0.5 mm that is within 0.3 µm


@dataclass(frozen=True, slots=True, kw_only=True)
class Kerfed:
    """Outlines with the kerf allowed for; the numbers of those that vanished, and of those that stay where they were."""

    paths: tuple[Polyline, ...]
    lost: tuple[int, ...]
    unmoved: tuple[int, ...] = ()


def offset_for_kerf(paths: Sequence[Polyline], *, kerf_mm: float, keeps: Keeps) -> Kerfed:
    """Return outlines moved by half a kerf.

    Closed outlines held by an even number of others are outer edges, the rest openings. "part" moves outer edges out
    and openings in, so that the part comes out at its drawn size; "opening" does the reverse; "line" moves nothing. Open
    paths, and closed ones that enclose nothing, stay where they are and are told. An outline that crosses itself counts
    with the area it encloses by the even-odd rule.

    Raises
    ------
    OutOfRange
        If the kerf is negative or no number.

    Source
    ------
    Definition; offsets by GEOS with mitred corners up to three times the offset.
    """
    if not 0.0 <= kerf_mm < math.inf:
        raise OutOfRange("kerf_mm", kerf_mm, low=0.0, high=math.inf, unit="mm")
    if keeps == "line" or kerf_mm == 0.0:
        return Kerfed(paths=tuple(paths), lost=(), unmoved=tuple(range(len(paths))))
    areas = [enclosed_area(path) for path in paths]
    held = holders(paths, areas=areas)
    moved: list[Polyline] = []
    lost: list[int] = []
    unmoved: list[int] = []
    for number, (path, area) in enumerate(zip(paths, areas, strict=True)):
        if area.is_empty:
            moved.append(path)
            unmoved.append(number)
            continue
        outward = (len(held[number]) % 2 == 0) == (keeps == "part")
        by_mm = 0.5 * kerf_mm if outward else -0.5 * kerf_mm
        grown = area.buffer(by_mm, join_style="mitre", mitre_limit=MITRE_LIMIT, quad_segs=ARC_SEGMENTS)
        rings = _rings(grown)
        if not rings:
            lost.append(number)
        moved += rings
    return Kerfed(paths=tuple(moved), lost=tuple(lost), unmoved=tuple(unmoved))


def _rings(shape: Geometry) -> list[Polyline]:
    """Return all edges of a shape as closed paths, thinned to well below the flatness of the drawing."""
    if shape.is_empty:
        return []
    thin = shape.simplify(0.1 * FLATNESS_mm)
    parts = get_parts(orient_polygons(MultiPolygon([thin]) if isinstance(thin, Polygon) else thin))
    rings = [ring for part in parts if isinstance(part, Polygon) for ring in (part.exterior, *part.interiors)]
    return [
        Polyline(points_mm=np.asarray(ring.coords, dtype=np.float64)[:-1], closed=True)
        for ring in rings
        if len(ring.coords) > LEAST_CLOSED
    ]
