"""A DXF drawing as artwork: its model space, in black lines and fills, at its true size."""

from __future__ import annotations

import logging
import math
from collections.abc import Iterable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

from ezdxf import recover
from ezdxf.addons import acadctb
from ezdxf.addons.drawing import config, layout
from ezdxf.addons.drawing.frontend import Frontend
from ezdxf.addons.drawing.properties import RenderContext
from ezdxf.addons.drawing.svg import SVGBackend
from ezdxf.bbox import extents
from ezdxf.enums import InsertUnits
from ezdxf.math import BoundingBox2d, Vec2
from ezdxf.path import bbox as precise_box
from ezdxf.units import conversion_factor

from evenburn.adapters.artwork.svg import SvgDrawing, parse_svg
from evenburn.core.errors import UnreadableFile

LARGEST_FILE_bytes = 16 * 1024 * 1024
MOST_ENTITIES = 20_000
MOST_DEEP = 50
LARGEST_SIDE_mm = 1e5
LINE_mm = 0.25  # a line with no width of its own, and the least side of a page
FLAT_mm = 0.005
MOST_HATCH_LINES = 5000
DRAWN = frozenset(
    [
        "LINE",
        "CIRCLE",
        "ARC",
        "ELLIPSE",
        "LWPOLYLINE",
        "POLYLINE",
        "SPLINE",
        "HATCH",
        "MPOLYGON",
        "SOLID",
        "TRACE",
        "3DFACE",
        "POINT",
        "INSERT",
        "HELIX",
    ]
)
PASSED_OVER = frozenset({"VIEWPORT", "ATTDEF", "LIGHT", "SUN"})  # nothing of these is seen in model space
WORDS = {"TEXT": "text", "MTEXT": "text", "ATTRIB": "text", "ACAD_TABLE": "a table", "DIMENSION": "a dimension"}

logging.getLogger("ezdxf").addHandler(logging.NullHandler())  # it tells its findings to nobody unless asked


def open_dxf(path: Path, *, name: str) -> SvgDrawing:
    """Return the model space of a DXF file as a drawing; lengths without a unit are millimetres.

    Every colour is black. A line is as wide as the file says, 0.25 mm where it says nothing; the page is the box of all
    that is drawn, by the lines' middles.

    Raises
    ------
    UnreadableFile
        If it is no DXF, damaged beyond repair, too large, empty, or holds what is not drawn right: text, solids, pictures.
    """
    document = _document(path, name=name)
    _refuse_entities(document, name=name)
    try:
        svg = _svg_of(document, name=name)
    except UnreadableFile:
        raise
    except Exception as error:  # as above: one odd entity may raise anything
        raise UnreadableFile(
            name, f"holds something that cannot be drawn: {error}", hint="Save it as SVG, or simplify it."
        ) from error
    return parse_svg(svg.encode("utf-8"), name=name)


def _document(path: Path, *, name: str) -> Any:
    """Return a DXF file read, repaired where it can be."""
    try:
        data = path.read_bytes()
    except OSError as error:
        raise UnreadableFile(name, f"cannot be read: {error.strerror}") from error
    if len(data) > LARGEST_FILE_bytes:
        raise UnreadableFile(name, f"has {len(data)} bytes; allowed are {LARGEST_FILE_bytes}")
    if b"SECTION" not in data:
        raise UnreadableFile(name, "is no DXF drawing", hint="Save it as DXF.")
    try:
        document, audit = recover.readfile(path)
    except Exception as error:  # what is damaged makes the library fail in every way there is
        raise UnreadableFile(name, "is damaged beyond repair", hint="Save it anew.") from error
    if audit.has_errors:
        raise UnreadableFile(name, "is damaged beyond repair", hint="Save it anew.")
    return document


def _svg_of(document: Any, *, name: str) -> str:
    """Return the model space as SVG, its page the exact box of what is drawn."""
    unit = document.units
    mm_per_unit = float(conversion_factor(unit, InsertUnits.Millimeters)) if unit else 1.0
    backend = SVGBackend()
    drawn = config.Configuration(
        color_policy=config.ColorPolicy.BLACK,
        background_policy=config.BackgroundPolicy.OFF,
        lineweight_policy=config.LineweightPolicy.ABSOLUTE,
        max_flattening_distance=FLAT_mm / mm_per_unit,
        hatching_timeout=math.inf,  # its lines were counted before
    )
    pens = acadctb.new_ctb()  # our own, or the library would open whatever file the drawing names for its pens
    Frontend(RenderContext(document, ctb=pens), backend, config=drawn).draw_layout(document.modelspace())
    box = _true_box(backend)
    if not box.has_data:
        raise UnreadableFile(name, "draws nothing in its model space", hint="Draw in model space, not on a sheet.")
    sides_mm = [float(side) * mm_per_unit for side in (box.size.x, box.size.y)]
    if not all(math.isfinite(side) and side < LARGEST_SIDE_mm for side in sides_mm) or max(sides_mm) <= 0.0:
        shown = " × ".join(f"{side:g}" for side in sides_mm)
        raise UnreadableFile(name, f"is {shown} mm; allowed is more than 0 and less than 100 m")
    width_mm, height_mm = (max(side, LINE_mm) for side in sides_mm)
    # the library rounds a page to 0.1 mm, so it gets a larger one of whole millimetres, and what is drawn is its middle
    page = layout.Page(math.ceil(width_mm) + 2.0, math.ceil(height_mm) + 2.0, layout.Units.mm, layout.Margins.all(0))
    settings = layout.Settings(fit_page=False, scale=mm_per_unit)
    root = backend.get_xml_root_element(page, settings=settings, render_box=box)
    per_mm = settings.page_output_scale_factor(page)
    left, top = 0.5 * per_mm * (page.width - width_mm), 0.5 * per_mm * (page.height - height_mm)
    root.set("viewBox", f"{left:.9g} {top:.9g} {per_mm * width_mm:.9g} {per_mm * height_mm:.9g}")
    root.set("width", f"{width_mm:.9g}mm")
    root.set("height", f"{height_mm:.9g}mm")
    return ET.tostring(root, encoding="unicode")


def _true_box(backend: SVGBackend) -> BoundingBox2d:
    """Return the box of all that is drawn, by lines' middles, curves by where they run and not by their controls."""
    box = BoundingBox2d()
    for record, _ in backend.player().recordings():
        paths = [record.path] if hasattr(record, "path") else getattr(record, "paths", ())
        if paths:
            box.extend(corner for path in paths if len(path) for corner in precise_box([path.to_path()]))
        else:
            box.extend(record.bbox())
    return box


def _refuse_entities(document: Any, *, name: str) -> None:
    """Refuse what is not drawn right, and blocks that hold themselves or grow past all bounds."""
    hidden = {layer.dxf.name.lower() for layer in document.layers if layer.is_off() or layer.is_frozen()}
    counted: dict[str, int] = {}
    open_now: list[str] = []

    def count(entities: Iterable[Any]) -> int:
        total = 0
        for entity in entities:
            kind, layer = entity.dxftype(), str(entity.dxf.get("layer", "0"))
            if layer.lower() in hidden or kind in PASSED_OVER or entity.dxf.get("invisible", 0):
                continue
            if kind not in DRAWN:
                raise UnreadableFile(
                    name,
                    f'has {WORDS.get(kind, kind)} on layer "{layer}", which is not drawn',
                    hint="Turn it into lines and curves, or take it out or hide its layer.",
                )
            if kind == "HATCH" and _hatch_lines(entity) > MOST_HATCH_LINES:
                raise UnreadableFile(
                    name, f'has a hatch too fine on layer "{layer}"', hint="Take a wider one, or a solid fill."
                )
            total += 1 if kind != "INSERT" else _repeats(entity) * inside(str(entity.dxf.name))
            if kind == "INSERT" and len(entity.attribs) > 0:
                raise UnreadableFile(
                    name,
                    f'has text on a block on layer "{layer}", which is not drawn',
                    hint="Turn it into lines and curves, or take it out.",
                )
            if total > MOST_ENTITIES:
                raise UnreadableFile(
                    name,
                    f"draws more than {MOST_ENTITIES} things, each use of a block counted",
                    hint="Simplify the drawing.",
                )
        return total

    def inside(block_name: str) -> int:
        key = block_name.lower()
        if key in open_now:
            raise UnreadableFile(name, f'has a block "{block_name}" that holds itself')
        if key not in counted:
            if len(open_now) > MOST_DEEP:
                raise UnreadableFile(name, f"nests blocks deeper than {MOST_DEEP} levels")
            block = document.blocks.get(block_name)
            open_now.append(key)
            counted[key] = 0 if block is None else count(block)
            open_now.pop()
        return counted[key]

    count(document.modelspace())


def _hatch_lines(hatch: Any) -> float:
    """Return about how many strokes a hatch has: its pattern's lines over the box round it, by their dashes."""
    pattern = hatch.pattern
    if hatch.dxf.solid_fill or pattern is None:
        return 0.0
    box = extents([hatch], fast=True)
    across = float(box.size.magnitude) if box.has_data else 0.0
    strokes = 0.0
    for line in pattern.lines:
        direction = Vec2.from_deg_angle(line.angle)
        apart = abs(direction.det(Vec2(line.offset)))
        period = sum(abs(float(item)) for item in line.dash_length_items)
        if not apart > 0.0:
            return math.inf
        strokes += across / apart * (max(across / period, 1.0) if period > 0.0 else 1.0)
    return strokes


def _repeats(insert: Any) -> int:
    return max(1, int(insert.dxf.get("row_count", 1))) * max(1, int(insert.dxf.get("column_count", 1)))
