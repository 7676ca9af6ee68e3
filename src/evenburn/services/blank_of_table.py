"""A blank from its table, wherever the drawing of its outline lies: in a batch folder or in the book."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeAlias

from shapely import MultiPolygon, Polygon

from evenburn.adapters.formats.batch_toml import BlankTable
from evenburn.core.errors import InvalidInput
from evenburn.core.layout.place import ellipse_outline, rectangle_outline, rounded_outline
from evenburn.core.nouns.blank import Blank

Outline: TypeAlias = Polygon | MultiPolygon


def blank_of_table(table: BlankTable, *, drawn: Callable[[str], Outline]) -> Blank:
    """Return a blank.

    Parameters
    ----------
    drawn : reads the outline in a drawing of that name; what it raises goes on.

    Raises
    ------
    InvalidInput
        At `size_mm`, where the shape needs one and has none.
    """
    outline = _outline(table, drawn)
    x0, y0, x1, y1 = outline.bounds
    return Blank(
        shape=table.shape,
        size_mm=(x1 - x0, y1 - y0) if table.size_mm is None else table.size_mm,
        thickness_mm=table.thickness_mm,
        unevenness_mm=table.unevenness_mm,
        outline=outline,
        margin_mm=table.margin_mm,
    )


def _outline(table: BlankTable, drawn: Callable[[str], Outline]) -> Outline:
    if table.shape == "outline" and table.outline is not None:
        return drawn(table.outline)
    size = table.size_mm
    if table.shape == "circle" and table.diameter_mm is not None:
        size = (table.diameter_mm, table.diameter_mm)
    if size is None:
        raise InvalidInput({"size_mm": "is missing"})
    if table.shape == "rectangle":
        return rectangle_outline(size)
    if table.shape == "rounded":
        return rounded_outline(size, radius_mm=table.radius_mm or 0.0)
    return ellipse_outline(size)
