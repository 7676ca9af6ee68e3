"""The unengraved object."""

from __future__ import annotations

from dataclasses import dataclass

from shapely import MultiPolygon, Polygon


@dataclass(frozen=True, slots=True, kw_only=True)
class Blank:
    """A blank with its outline in its own frame: lower left corner of its box at (0, 0), mm, y up.

    `unevenness_mm` is how far the surface rises or falls from where it was focused (±). `size_mm` is the box.
    """

    shape: str
    size_mm: tuple[float, float]
    thickness_mm: float
    unevenness_mm: float
    outline: Polygon | MultiPolygon
    margin_mm: float
