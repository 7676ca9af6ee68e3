"""Drawings: a static SVG, checked for what must not be followed, drawn by a real renderer at any size in pixels."""

from __future__ import annotations

import math
import os
import re
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
from lxml import etree
from numpy.typing import NDArray

from evenburn.adapters.artwork.normal_svg import NormalSvg, normal_svg
from evenburn.adapters.artwork.outlines import outlines_of, path_of
from evenburn.adapters.artwork.pixels import grey_of
from evenburn.adapters.artwork.svg_bands import bands_of
from evenburn.adapters.artwork.svg_checks import read_svg
from evenburn.adapters.artwork.svg_engine import render
from evenburn.core.errors import UnreadableFile
from evenburn.core.nouns.path import Polyline
from evenburn.core.tone.colour import srgb_decode
from evenburn.core.units import MM_PER_INCH

Picture = NDArray[np.float32]

LARGEST_RENDER_px = 20000
MOST_THREADS = 4
LARGEST_SIDE_mm = 1e5
PX_PER_INCH = 96.0  # CSS Values 3, 5.2
MM_PER_UNIT = {
    "": MM_PER_INCH / PX_PER_INCH,
    "px": MM_PER_INCH / PX_PER_INCH,
    "mm": 1.0,
    "cm": 10.0,
    "in": MM_PER_INCH,
    "pt": MM_PER_INCH / 72.0,
    "pc": MM_PER_INCH / 6.0,
}
LENGTH = re.compile(r"^\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(px|mm|cm|in|pt|pc)?\s*$")


class SvgDrawing:
    """A drawing that can be rendered at any size; it keeps its own proportions inside the size asked for."""

    def __init__(self, root: etree._Element, *, name: str, size_mm: tuple[float, float]) -> None:
        self._data = etree.tostring(root)
        self._name = name
        self._normal: NormalSvg | None = None
        self._lock = threading.Lock()
        self.size_mm = size_mm

    def _drawing(self) -> NormalSvg:
        """Return the drawing normalised, once for all sizes."""
        with self._lock:
            if self._normal is None:
                self._normal = normal_svg(self._data, name=self._name)
            return self._normal

    def _grey(self, *, width_px: int, height_px: int) -> Picture:
        """Return encoded grey 0–1 over white, (height, width), top row first; outside the page is white."""
        if max(width_px, height_px) > LARGEST_RENDER_px:
            raise UnreadableFile(
                self._name,
                f"would need a picture of {width_px} × {height_px} pixels; allowed are {LARGEST_RENDER_px} on a side",
                hint="Make the mark smaller, or take a coarser line spacing.",
            )
        drawing = self._drawing()
        grey = np.empty((height_px, width_px), np.float32)
        threads = min(MOST_THREADS, os.cpu_count() or 1)
        bands = tuple(bands_of(drawing, width_px=width_px, height_px=height_px, threads=threads))
        at_once = min(len(bands), threads)

        def draw(band: tuple[int, int, bytes]) -> None:
            first, rows, data = band
            size = {"width_px": width_px, "height_px": rows}
            drawn = render(data, name=self._name, **size, bands=len(bands), at_once=at_once)
            grey_of(drawn, out=grey[first : first + rows])

        if at_once == 1:
            for band in bands:
                draw(band)
        else:
            with ThreadPoolExecutor(at_once) as pool:
                list(pool.map(draw, bands))
        left, top, width, height = drawing.page_in_box(float(width_px), float(height_px))
        grey[: max(math.floor(top + 1e-6), 0)] = 1.0
        grey[math.ceil(top + height - 1e-6) :] = 1.0
        grey[:, : max(math.floor(left + 1e-6), 0)] = 1.0
        grey[:, math.ceil(left + width - 1e-6) :] = 1.0
        return grey

    def ink(self, *, width_px: int, height_px: int) -> Picture:
        """Return ink coverage 0–1: black is 1, white or nothing 0."""
        grey = self._grey(width_px=width_px, height_px=height_px)
        return np.asarray(np.subtract(np.float32(1.0), grey, out=grey), np.float32)

    def light(self, *, width_px: int, height_px: int) -> Picture:
        """Return linear luminance 0–1 over white."""
        return srgb_decode(self._grey(width_px=width_px, height_px=height_px)).astype(np.float32)

    def outlines(self, *, width_mm: float, height_mm: float) -> tuple[Polyline, ...]:
        """Return the outlines in a box, centred, proportions kept, y up. [mm] Raises as `svg_outlines`."""
        return outlines_of(self._drawing(), self._name, (width_mm, height_mm))

    def path(self, path_id: str, *, width_mm: float, height_mm: float) -> Polyline:
        """Return the outline with an id, as `outlines`. Raises as `svg_path`."""
        return path_of(self._drawing(), self._name, path_id=path_id, size_mm=(width_mm, height_mm))


def open_svg(path: Path, *, name: str) -> SvgDrawing:
    """Return a drawing read from a file.

    Raises
    ------
    UnreadableFile
        As `read_svg`, or if the file cannot be read or has no usable size.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        raise UnreadableFile(name, f"cannot be read: {error.strerror}") from error
    return parse_svg(data, name=name)


def parse_svg(data: bytes, *, name: str) -> SvgDrawing:
    """Return a drawing from the bytes of an SVG; raises as `open_svg`."""
    root = read_svg(data, name=name)
    return SvgDrawing(root, name=name, size_mm=_physical_size(root, name=name))


def _physical_size(root: etree._Element, *, name: str) -> tuple[float, float]:
    """Return width and height in mm, and write them and a viewBox to the root."""
    view = root.get("viewBox")
    box: tuple[float, ...] | None = None
    if view is not None:
        try:
            box = tuple(float(v) for v in re.split(r"[\s,]+", view.strip()))
        except ValueError:
            box = None
        if box is None or len(box) != 4 or not all(map(math.isfinite, box)) or box[2] <= 0.0 or box[3] <= 0.0:
            raise UnreadableFile(name, f"has a viewBox of {view!r}; allowed are four numbers, the last two above 0")
    sides: list[float] = []
    for index, key in enumerate(("width", "height")):
        text = root.get(key)
        match = LENGTH.match(text) if text is not None else None
        if match is None:
            if box is None:
                raise UnreadableFile(
                    name, f"has no viewBox and its {key} is {text!r}", hint="Give the drawing a width and height in mm."
                )
            sides.append(box[2 + index] * MM_PER_UNIT["px"])
        else:
            sides.append(float(match.group(1)) * MM_PER_UNIT[match.group(2) or ""])
    if not all(math.isfinite(side) and 0.0 < side < LARGEST_SIDE_mm for side in sides):
        raise UnreadableFile(name, f"is {sides[0]:g} × {sides[1]:g} mm; allowed is more than 0 and less than 100 m")
    if box is None:
        px = MM_PER_UNIT["px"]
        root.set("viewBox", f"0 0 {sides[0] / px:.9g} {sides[1] / px:.9g}")
    for key, side in zip(("width", "height"), sides, strict=True):
        root.set(key, f"{side:.12g}mm")
    return sides[0], sides[1]
