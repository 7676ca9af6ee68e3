"""The bands a drawing is rendered in, each with only what reaches into it.

A renderer lays every group that is clipped, masked or translucent on a layer as large as the picture. Drawn in many low bands,
with each group only in the bands it reaches into, hundreds of them cost what a few would.
"""

from __future__ import annotations

import copy
import math
import re
from collections.abc import Iterator

import numpy as np
from lxml import etree
from numpy.typing import NDArray

from evenburn.adapters.artwork.normal_svg import UNSEEN, NormalSvg, matrix_of
from evenburn.adapters.artwork.svg_checks import local_name

FloatArray = NDArray[np.float64]
Interval = tuple[float, float]

LARGEST_BAND_px = 12_000_000
LEAST_BAND_px = 1_000_000  # smaller ones are not worth a thread
FEW_LAYERS = 8
LAYERED_BANDS = 32
LEAST_ROWS = 32
HEAVY_bytes = 1_000_000  # a drawing so long is read sooner in parts, though none of it lies on a layer
LAYER = re.compile(rb' (?:clip-path|mask|opacity)="')
MITRE = 4.0  # SVG 2, 13.5.5: the miter limit where none is given
NO_LETTERS = dict.fromkeys(map(ord, "MLCZ"))  # a normalised outline has no others, and all its numbers stand apart
NOTHING: Interval = (math.inf, -math.inf)


def bands_of(drawing: NormalSvg, *, width_px: int, height_px: int, threads: int) -> Iterator[tuple[int, int, bytes]]:
    """Yield first row, number of rows and a drawing for the renderer, for each band of a picture."""
    pixels = width_px * height_px
    if not drawing.seamless:
        yield 0, height_px, drawing.band(width_px=width_px, height_px=height_px, first_row=0, rows=height_px)
        return
    layered = len(LAYER.findall(drawing.body)) > FEW_LAYERS
    count = max(min(threads, pixels // LEAST_BAND_px), math.ceil(pixels / LARGEST_BAND_px), 1)
    if layered:
        count = max(count, min(LAYERED_BANDS, height_px // LEAST_ROWS))
    rows = math.ceil(height_px / count)
    root = drawing.root() if count > 1 and (layered or len(drawing.body) > HEAVY_bytes) else None
    reaches = {} if root is None else _reaches(root, drawing.to_box(float(width_px), float(height_px)))
    for first in range(0, height_px, rows):
        band = first, min(rows, height_px - first)
        body = None if root is None else _body_within(root, reaches, (first - 1.0, first + band[1] + 1.0))
        yield (
            *band,
            drawing.band(width_px=width_px, height_px=height_px, first_row=band[0], rows=band[1], body=body),
        )


def _reaches(root: etree._Element, to_px: FloatArray) -> dict[etree._Element, Interval]:
    """Return for each element that is drawn the rows it reaches from and to. [px]"""
    found: dict[etree._Element, Interval] = {}
    stack: list[tuple[etree._Element, FloatArray, bool]] = [(root, to_px, False)]
    while stack:
        element, outer, ready = stack.pop()
        if ready:
            inside = [found.get(child, NOTHING) for child in element]
            found[element] = (
                min((i[0] for i in inside), default=math.inf),
                max((i[1] for i in inside), default=-math.inf),
            )
            continue
        kind = local_name(element)
        if kind in UNSEEN:
            continue
        matrix = outer @ matrix_of(element)
        if kind == "path":
            found[element] = _rows_of_path(element, matrix)
        else:
            stack.append((element, matrix, True))
            stack.extend((child, matrix, False) for child in element)
    return found


def _rows_of_path(element: etree._Element, matrix: FloatArray) -> Interval:
    numbers = (element.get("d") or "").translate(NO_LETTERS)
    if not numbers or numbers.isspace():
        return NOTHING
    points = np.fromstring(numbers, sep=" ").reshape(-1, 2)
    rows = points @ matrix[1, :2] + matrix[1, 2]
    wide = 0.0
    if element.get("stroke", "none") != "none":
        mitre = max(float(element.get("stroke-miterlimit", MITRE)), math.sqrt(2.0))
        wide = 0.5 * float(element.get("stroke-width", "1")) * mitre * float(np.hypot(*matrix[1, :2]))
    low, high = float(rows.min()) - wide, float(rows.max()) + wide
    return (low, high) if math.isfinite(low) and math.isfinite(high) else (-math.inf, math.inf)


def _body_within(root: etree._Element, reaches: dict[etree._Element, Interval], rows: Interval) -> bytes:
    """Return the body of a drawing without what does not reach into some rows."""
    pruned = copy.deepcopy(root)
    for original, element in zip(list(root.iter()), list(pruned.iter()), strict=True):
        reach = reaches.get(original)
        parent = element.getparent()
        if reach is not None and parent is not None and (reach[1] < rows[0] or reach[0] > rows[1]):
            parent.remove(element)
    text = etree.tostring(pruned)
    return text[text.index(b">") + 1 : text.rindex(b"</")] if len(pruned) else b""
