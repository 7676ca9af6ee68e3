"""Drawings: a static SVG, checked for what must not be followed, drawn by a real renderer at any size in pixels."""

from __future__ import annotations

import io
import math
import re
from pathlib import Path

import numpy as np
import resvg_py
from lxml import etree
from numpy.typing import NDArray
from PIL import Image

from evenburn.core.errors import UnreadableFile
from evenburn.core.tone.colour import LUMINANCE, srgb_decode
from evenburn.core.units import MM_PER_INCH

Picture = NDArray[np.float32]

SVG_NAMESPACE = "http://www.w3.org/2000/svg"
LARGEST_FILE_bytes = 32 * 1024 * 1024
DEEPEST = 200
LARGEST_RENDER_px = 20000
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
REFERENCE = re.compile(r"url\(\s*['\"]?\s*([^'\")]*)", re.IGNORECASE)


class SvgDrawing:
    """A drawing that can be rendered at any size; it keeps its own proportions inside the size asked for."""

    def __init__(self, root: etree._Element, *, name: str, size_mm: tuple[float, float]) -> None:
        self._root = root
        self._name = name
        self.size_mm = size_mm

    def _grey(self, *, width_px: int, height_px: int) -> Picture:
        """Return encoded grey 0–1 over white, (height, width), top row first."""
        if max(width_px, height_px) > LARGEST_RENDER_px:
            raise UnreadableFile(
                self._name,
                f"would need a picture of {width_px} × {height_px} pixels; allowed are {LARGEST_RENDER_px} on a side",
                hint="Make the mark smaller, or take a coarser line spacing.",
            )
        self._root.set("width", str(width_px))
        self._root.set("height", str(height_px))
        try:
            png = resvg_py.svg_to_bytes(
                svg_string=etree.tostring(self._root, encoding="unicode"),
                skip_system_fonts=True,
                font_files=_font_files(),
                serif_family="EB Garamond",
                sans_serif_family="Montserrat",
                cursive_family="Great Vibes",
            )
        except ValueError as error:
            raise UnreadableFile(self._name, f"cannot be drawn: {error}") from error
        with Image.open(io.BytesIO(png)) as picture:
            rgba = np.asarray(picture.convert("RGBA"), dtype=np.uint8)
        # luminance weights; on antialiased black the encoded value is one minus the coverage
        grey = rgba[..., :3].astype(np.float32) @ LUMINANCE.astype(np.float32)
        alpha = rgba[..., 3].astype(np.float32) / 255.0
        drawn = np.asarray(1.0 - alpha * (1.0 - grey / 255.0), np.float32)
        if drawn.shape != (height_px, width_px):
            raise UnreadableFile(self._name, f"was drawn at {drawn.shape[1]} × {drawn.shape[0]} pixels, not as asked")
        return drawn

    def ink(self, *, width_px: int, height_px: int) -> Picture:
        """Return ink coverage 0–1: black is 1, white or nothing 0."""
        return np.asarray(1.0 - self._grey(width_px=width_px, height_px=height_px), np.float32)

    def light(self, *, width_px: int, height_px: int) -> Picture:
        """Return linear luminance 0–1 over white."""
        return srgb_decode(self._grey(width_px=width_px, height_px=height_px)).astype(np.float32)


def _font_files() -> list[str]:
    from evenburn.adapters.artwork.faces import face_file, list_faces  # only drawings with text need it

    return [str(face_file(face.id)) for face in list_faces()]


def open_svg(path: Path, *, name: str) -> SvgDrawing:
    """Return a drawing read from a file.

    Raises
    ------
    UnreadableFile
        If it is no SVG, too large or too deep, refers to anything outside itself, or has no usable size.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        raise UnreadableFile(name, f"cannot be read: {error.strerror}") from error
    return parse_svg(data, name=name)


def parse_svg(data: bytes, *, name: str) -> SvgDrawing:
    """Return a drawing from the bytes of an SVG; raises as `open_svg`."""
    if len(data) > LARGEST_FILE_bytes:
        raise UnreadableFile(name, f"has {len(data)} bytes; allowed are {LARGEST_FILE_bytes}")
    if b"<!ENTITY" in data:
        raise UnreadableFile(name, "declares entities, which are not followed", hint="Save it as plain SVG.")
    parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False, huge_tree=False)
    try:
        root = etree.fromstring(data, parser)
    except etree.XMLSyntaxError as error:
        raise UnreadableFile(name, f"is not well-formed XML: {error.msg}", line=error.lineno) from error
    if root.tag != f"{{{SVG_NAMESPACE}}}svg":
        raise UnreadableFile(
            name, f"begins with <{etree.QName(root).localname}>, not with an <svg> in the SVG namespace"
        )
    _refuse_outside(root, name=name)
    return SvgDrawing(root, name=name, size_mm=_physical_size(root, name=name))


def _refuse_outside(root: etree._Element, *, name: str) -> None:
    """Refuse scripts, references to anything but the drawing itself, and absurd nesting."""
    if any(getattr(node, "target", "") == "xml-stylesheet" for node in root.itersiblings(preceding=True)):
        raise UnreadableFile(name, "refers to a style sheet outside itself", hint="Put the styles into the drawing.")
    stack: list[tuple[etree._Element, int]] = [(root, 1)]
    while stack:
        element, depth = stack.pop()
        if depth > DEEPEST:
            raise UnreadableFile(name, f"nests deeper than {DEEPEST} levels", line=_line(element))
        if isinstance(element.tag, str):
            if etree.QName(element).localname == "script":
                raise UnreadableFile(name, "holds a script, which is not run", line=_line(element))
            texts = [element.text or ""] if etree.QName(element).localname == "style" else []
            for key, value in element.attrib.items():
                if etree.QName(key).localname == "href":
                    _refuse_target(str(value), name=name, line=_line(element))
                texts.append(str(value))
            for text in texts:
                if "@import" in text:
                    raise UnreadableFile(name, "imports a style sheet from outside", line=_line(element))
                for target in REFERENCE.findall(text):
                    _refuse_target(target, name=name, line=_line(element))
        stack.extend((child, depth + 1) for child in element)


def _line(element: etree._Element) -> int | None:
    line: object = getattr(element, "sourceline", None)
    return line if isinstance(line, int) else None


def _refuse_target(target: str, *, name: str, line: int | None) -> None:
    clean = target.strip()
    if clean == "" or clean.startswith(("#", "data:image/")):
        return
    raise UnreadableFile(
        name,
        f"refers to something outside itself: {clean[:60]!r}",
        line=line,
        hint="Embed the picture in the drawing; evenburn fetches nothing.",
    )


def _physical_size(root: etree._Element, *, name: str) -> tuple[float, float]:
    """Return width and height in mm, and give the root a viewBox if it has none."""
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
    if not all(math.isfinite(side) and 0.0 < side < 1e5 for side in sides):
        raise UnreadableFile(name, f"is {sides[0]:g} × {sides[1]:g} mm; allowed is more than 0 and less than 100 m")
    if box is None:
        px = MM_PER_UNIT["px"]
        root.set("viewBox", f"0 0 {sides[0] / px:.9g} {sides[1] / px:.9g}")
    return sides[0], sides[1]
