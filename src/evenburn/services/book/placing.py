"""Where a new mark goes on a blank, and a new blank on the bed: in the middle, as large as the blank's margin allows."""

from __future__ import annotations

from dataclasses import dataclass

from shapely import MultiPolygon, Polygon, box, make_valid
from shapely.geometry.base import BaseGeometry
from shapely.ops import polylabel

from evenburn.core.errors import InvalidInput
from evenburn.core.layout.place import inset
from evenburn.core.nouns.blank import Blank
from evenburn.core.nouns.machine import Machine

LEAST_MARK_mm = 2.0
STEPS = 40  # of halving: far below what is told
LETTER_WIDE, LINE_HIGH = 0.55, 1.25  # of a letter's height, about what faces have
FLATTEST = 12.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """A mark's box on its blank. [mm]"""

    place_mm: tuple[float, float]
    size_mm: tuple[float, float]


def fitted(blank: Blank, *, proportion: float | None, margin_mm: float, field: str = "margin") -> Fitted:
    """Return the largest box of a proportion in the middle of a blank that keeps a margin to its edge and holes.

    Parameters
    ----------
    proportion : width over height; None for that of the blank.

    Raises
    ------
    InvalidInput
        At `field`, if nothing is left of the blank inside the margin.
    """
    inner = inset(blank.outline, margin_mm=margin_mm) if margin_mm > 0.0 else blank.outline
    ratio = blank.size_mm[0] / blank.size_mm[1] if proportion is None else proportion
    middles = [(0.5 * blank.size_mm[0], 0.5 * blank.size_mm[1])]
    widest = _widest(inner)
    if widest is not None:
        middles.append(widest)
    best: tuple[float, tuple[float, float]] | None = None
    for middle in middles:
        height = _greatest(inner, middle, ratio=ratio, most=max(blank.size_mm[1], blank.size_mm[0] / ratio))
        if best is None or height > 1.05 * best[0]:  # off the middle only where that is worth it, as beside a hole
            best = (height, middle)
    assert best is not None  # noqa: S101  # there is one middle at least
    height, (x, y) = best
    width = height * ratio
    if min(width, height) < LEAST_MARK_mm:
        raise InvalidInput(
            {
                field: f"is {margin_mm:g} mm, which leaves less than {LEAST_MARK_mm:g} mm of this blank of "
                f"{blank.size_mm[0]:g} × {blank.size_mm[1]:g} mm to burn on"
            },
            hint="Take a smaller margin or a larger blank.",
        )
    size = (_down(width), _down(height))
    return Fitted(place_mm=(round(x - 0.5 * size[0], 2), round(y - 0.5 * size[1], 2)), size_mm=size)


def _greatest(inner: BaseGeometry, middle: tuple[float, float], *, ratio: float, most: float) -> float:
    """Return the greatest height of a box about a middle that lies inside a shape."""
    low, high = 0.0, most
    for _ in range(STEPS):
        height = 0.5 * (low + high)
        half = 0.5 * height * ratio
        inside = inner.covers(
            box(middle[0] - half, middle[1] - 0.5 * height, middle[0] + half, middle[1] + 0.5 * height)
        )
        low, high = (height, high) if inside else (low, height)
    return low


def _widest(inner: BaseGeometry) -> tuple[float, float] | None:
    """Return the point that is farthest from every edge."""
    parts = inner.geoms if isinstance(inner, MultiPolygon) else (inner,)
    polygons = [p for p in parts if isinstance(p, Polygon) and not p.is_empty]
    if not polygons:
        return None
    largest = max(polygons, key=lambda p: p.area)
    sound = largest if largest.is_valid else make_valid(largest)
    if not isinstance(sound, Polygon):
        return None
    point = polylabel(sound, tolerance=0.5)
    return point.x, point.y


def _down(length_mm: float) -> float:
    """Return a length to 0.1 mm, never longer."""
    return max(int(length_mm * 10.0 + 1e-6) / 10.0, 0.1)


def text_proportion(text: str) -> float:
    """Return about how wide over high a text comes out, for a first box; the letters then fill it as they can."""
    lines = text.splitlines() or [""]
    wide = max(len(line) for line in lines) * LETTER_WIDE
    return min(max(wide / (len(lines) * LINE_HIGH), 1.0 / FLATTEST), FLATTEST)


def on_the_bed(blank: Blank, mark: Fitted, *, machine: Machine, turn_deg: float = 0.0) -> tuple[float, float]:
    """Return where the lower left corner of the blank's box goes so that its mark lies in the middle of the bed. [mm]

    There the run-up has most room on both sides; the blank itself may stand out over the edge of the travel.

    Parameters
    ----------
    turn_deg : none, or a quarter.
    """
    x, y = (place + 0.5 * size for place, size in zip(mark.place_mm, mark.size_mm, strict=True))
    middle = (blank.size_mm[1] - y, x) if turn_deg else (x, y)
    return round(0.5 * machine.bed_x_mm - middle[0], 1), round(0.5 * machine.bed_y_mm - middle[1], 1)


def turned_for_reach(mark: Fitted, *, machine: Machine) -> float:
    """Return the turn at which a mark fits the travel: as drawn, or by a quarter where only that fits. [°]"""
    (wide, high), travel = mark.size_mm, (machine.bed_x_mm, machine.bed_y_mm)
    fits = wide <= travel[0] and high <= travel[1]
    fits_turned = high <= travel[0] and wide <= travel[1]
    return 90.0 if not fits and fits_turned else 0.0
