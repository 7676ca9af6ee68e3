"""Arcs in the XY plane: centre, radius, length and box."""

from __future__ import annotations

import math
from dataclasses import dataclass

from evenburn.adapters.formats.ngc_reader.findings import Box, shown

_RADIUS_TOLERANCE_MM = 0.002  # [kramer2000], sec. 3.5.3.2 (from memory): start and end radius may differ by so much
Point = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Arc:
    """One arc as it is travelled."""

    radius_mm: float
    length_mm: float
    box_mm: Box


@dataclass(frozen=True, slots=True, kw_only=True)
class ArcFault:
    """Why the words describe no arc."""

    text: str


def arc_of(start: Point, end: Point, *, words: dict[str, float], is_clockwise: bool) -> Arc | ArcFault:
    """Return the arc that I and J (centre from the start) or R (radius) describe, or what is wrong with them.

    Parameters
    ----------
    start, end : (x, y)
        Bed positions; NaN where unknown. [mm]
    words : dict
        Values of I, J and R as far as written. [mm]

    Source
    ------
    [kramer2000], sec. 3.5.3 (G2, G3); the half circle's side for R from its sign.
    """
    if not all(math.isfinite(value) for value in (*start, *end)):
        return ArcFault(text="an arc from or to a position not yet known")
    if "R" in words:
        if "I" in words or "J" in words:
            return ArcFault(text="an arc with R as well as I or J; allowed is one form")
        centre = _centre_from_radius(start, end, words["R"], is_clockwise)
        if isinstance(centre, ArcFault):
            return centre
    elif "I" in words or "J" in words:
        centre = (start[0] + words.get("I", 0.0), start[1] + words.get("J", 0.0))
    else:
        return ArcFault(text="an arc with neither I, J nor R")
    radius = math.dist(centre, start)
    miss = abs(radius - math.dist(centre, end))
    if miss > _RADIUS_TOLERANCE_MM or radius == 0:
        text = f"the arc's radius is {shown(radius)} mm at its start and {shown(math.dist(centre, end))} mm at its end"
        return ArcFault(text=f"{text}; allowed is a difference of {_RADIUS_TOLERANCE_MM} mm")
    return _arc(start, end, centre, is_clockwise)


def _centre_from_radius(start: Point, end: Point, radius: float, is_clockwise: bool) -> Point | ArcFault:  # noqa: FBT001
    chord = math.dist(start, end)
    if chord == 0:
        return ArcFault(text="an arc with R whose ends are the same point")
    if chord > 2 * abs(radius) + 2 * _RADIUS_TOLERANCE_MM:
        return ArcFault(
            text=f"R {shown(radius)} mm does not reach over {shown(chord)} mm; allowed is half of that or more"
        )
    height = math.sqrt(max(radius * radius - chord * chord / 4, 0.0))
    side = -1.0 if is_clockwise == (radius > 0) else 1.0  # left of the chord: positive
    across = (-(end[1] - start[1]) / chord, (end[0] - start[0]) / chord)
    middle = ((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)
    return (middle[0] + side * height * across[0], middle[1] + side * height * across[1])


def _arc(start: Point, end: Point, centre: Point, is_clockwise: bool) -> Arc:  # noqa: FBT001
    radius = math.dist(centre, start)
    begin = math.atan2(start[1] - centre[1], start[0] - centre[0])
    finish = math.atan2(end[1] - centre[1], end[0] - centre[0])
    if is_clockwise:
        begin, finish = finish, begin
    sweep = (finish - begin) % math.tau
    if start == end or sweep == 0:
        sweep = math.tau
    xs, ys = [start[0], end[0]], [start[1], end[1]]
    for quarter in range(4):
        angle = quarter * math.pi / 2
        if (angle - begin) % math.tau <= sweep:
            xs.append(centre[0] + (0.0, radius, 0.0, -radius)[(quarter + 1) % 4])
            ys.append(centre[1] + (0.0, radius, 0.0, -radius)[quarter])
    return Arc(radius_mm=radius, length_mm=radius * sweep, box_mm=(min(xs), min(ys), max(xs), max(ys)))
