"""The mark's place on the bed as an SVG in bed coordinates: millimetres, with the burn image where it will be burnt."""

from __future__ import annotations

import base64
import io
from pathlib import Path
from xml.sax.saxutils import escape

from PIL import Image
from shapely import MultiPolygon, Polygon

SVG = "http://www.w3.org/2000/svg"
Box = tuple[float, float, float, float]


def write_bed_drawing(
    target: Path,
    *,
    title: str,
    bed_mm: tuple[float, float],
    outline: Polygon | MultiPolygon,
    box_bed_mm: Box,
    image: Image.Image,
    image_box_mm: Box,
) -> None:
    """Write a drawing whose units are millimetres on the bed; its y axis is turned over by one transform.

    `image_box_mm` is where the burn image lies, `box_bed_mm` the mark's own box. [mm]
    """
    holder = io.BytesIO()
    image.save(holder, format="PNG", compress_level=1)
    data = base64.b64encode(holder.getvalue()).decode("ascii")
    width, height = bed_mm
    x0, y0, x1, y1 = image_box_mm
    bx0, by0, bx1, by1 = box_bed_mm
    size = f'width="{width:g}" height="{height:g}"'
    mark = f'x="{bx0:.3f}" y="{by0:.3f}" width="{bx1 - bx0:.3f}" height="{by1 - by0:.3f}"'
    burn = f'x="{x0:.4f}" y="{-y1:.4f}" width="{x1 - x0:.4f}" height="{y1 - y0:.4f}"'
    turned = f'transform="translate(0 {height:g}) scale(1 -1)"'
    lines = [
        f'<svg xmlns="{SVG}" width="{width:g}mm" height="{height:g}mm" viewBox="0 0 {width:g} {height:g}">',
        f"<title>{escape(title)}</title>",
        f'<g {turned} fill="none" stroke="#17221E" stroke-width="0.4">',
        f'<rect id="bed" x="0" y="0" {size}/>',
        f'<path id="blank" fill-rule="evenodd" d="{_path(outline)}"/>',
        f'<rect id="mark" {mark} stroke-dasharray="2 1"/>',
        f'<image id="burn" {burn} transform="scale(1 -1)" preserveAspectRatio="none"',
        f'href="data:image/png;base64,{data}"/>',
        "</g>",
        "</svg>",
        "",
    ]
    target.write_text("\n".join(lines), encoding="utf-8")


def _path(outline: Polygon | MultiPolygon) -> str:
    parts = outline.geoms if isinstance(outline, MultiPolygon) else (outline,)
    rings = [ring for part in parts for ring in (part.exterior, *part.interiors)]
    return " ".join("M" + " L".join(f"{x:.3f} {y:.3f}" for x, y, *_ in ring.coords[:-1]) + " Z" for ring in rings)
