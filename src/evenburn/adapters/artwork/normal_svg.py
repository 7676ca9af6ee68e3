"""A drawing after the normaliser: its page, what is drawn on it and where, for the renderer and for the outlines."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from lxml import etree
from numpy.typing import NDArray

from evenburn.adapters.artwork.svg_checks import local_name
from evenburn.adapters.artwork.svg_engine import normalise
from evenburn.core.errors import UnreadableFile

FloatArray = NDArray[np.float64]

MATRIX = re.compile(r"matrix\(([^)]*)\)")
UNSEEN = ("defs", "clipPath", "mask", "pattern", "filter", "linearGradient", "radialGradient", "")
_NO_PLACE = re.compile(rb' d="[MLCZ0-9\s.,eE+-]*+[^"]')  # what the normaliser writes where reckoning overflowed
NUMBERS = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
UNBANDED = (b"<filter", b"<image")  # a blur would see the band's edge; pictures are drawn by one thread at a time
MOST_DASHES = 500_000
FINEST_TILE, WIDEST_TILE = 10_000.0, 20.0  # a pattern's tile beside the page
PAPER = ("none", "#ffffff")  # paint that leaves no ink


@dataclass(frozen=True, slots=True, kw_only=True)
class NormalSvg:
    """A normalised drawing.

    `body` is what stands inside its root; `page` its width and height in any unit; `to_page` (3, 3) leads from the body's
    coordinates to the page, y down from the upper left. `seamless` says that it can be drawn in bands.
    """

    body: bytes
    page: tuple[float, float]
    to_page: FloatArray
    seamless: bool

    def page_in_box(self, width: float, height: float) -> tuple[float, float, float, float]:
        """Return left, top, width and height of the page in a box: as large as fits, in its middle."""
        scale = min(width / self.page[0], height / self.page[1])
        w, h = scale * self.page[0], scale * self.page[1]
        return 0.5 * (width - w), 0.5 * (height - h), w, h

    def to_box(self, width: float, height: float) -> FloatArray:
        """Return the (3, 3) matrix from the body's coordinates to a box, y down from its upper left."""
        left, top, w, _ = self.page_in_box(width, height)
        scale = w / self.page[0]
        return np.array([[scale, 0.0, left], [0.0, scale, top], [0.0, 0.0, 1.0]]) @ self.to_page

    def band(self, *, width_px: int, height_px: int, first_row: int, rows: int, body: bytes | None = None) -> bytes:
        """Return some rows of the drawing, filling a picture of that size, as a drawing for the renderer.

        Parameters
        ----------
        body : what is drawn, where it is not all that the drawing holds.
        """
        a, c, e, b, d, f = (float(v) for v in self.to_box(float(width_px), float(height_px))[:2].ravel())
        head = (
            '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
            f'width="{width_px}" height="{rows}"><g transform="matrix({a!r} {b!r} {c!r} {d!r} {e!r} {f - first_row!r})">'
        )
        return head.encode("ascii") + (self.body if body is None else body) + b"</g></svg>"

    def root(self) -> etree._Element:
        """Return the body as a tree, in a bare root."""
        parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False, huge_tree=True)
        head = b'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink">'
        return etree.fromstring(head + self.body + b"</svg>", parser)


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """One element that is drawn: a path or an image, what stands above it, and where it lies.

    `to_box` (3, 3) leads from its own coordinates to the box; `ids` are its own and its groups'; `clips` name what clips
    it, each with the matrix from the clip's coordinates. `refused` says in words why it cannot be followed; nothing if it
    can. `inked` is False for what shows no ink: hidden, unpainted or white.
    """

    element: etree._Element
    to_box: FloatArray
    ids: tuple[str, ...]
    clips: tuple[tuple[str, FloatArray], ...]
    refused: str
    inked: bool


def normal_svg(data: bytes, *, name: str) -> NormalSvg:
    """Return a drawing normalised. Raises UnreadableFile as `normalise`, or if its page has no size."""
    text = normalise(data, name=name)
    start, end = text.index(b"<svg"), text.rindex(b"<")
    head_end = text.index(b">", start) + 1
    head = etree.fromstring(text[start : head_end - 1].rstrip(b"/") + b"/>")
    body = text[head_end:end] if end > head_end else b""
    view = [float(v) for v in (head.get("viewBox") or "").split()]
    page = float(head.get("width") or "nan"), float(head.get("height") or "nan")
    if len(view) != 4 or not all(map(math.isfinite, (*view, *page))) or min(view[2], view[3], *page) <= 0.0:
        raise UnreadableFile(name, "has no usable size")
    if _NO_PLACE.search(body):
        raise UnreadableFile(
            name,
            "has an outline through a place that is no number",
            hint="Something in it is scaled or turned beyond all measure.",
        )
    drawing = NormalSvg(
        body=body,
        page=page,
        to_page=_view_on_page(view, page, fitting=head.get("preserveAspectRatio") or ""),
        seamless=not any(mark in body for mark in UNBANDED),
    )
    if b"stroke-dasharray=" in body or b"<pattern" in body:
        _refuse_fine(drawing, name=name)
    return drawing


def _refuse_fine(drawing: NormalSvg, *, name: str) -> None:
    """Refuse dashes and pattern tiles so fine or so wide that the renderer would leave them out without a word."""
    for element in drawing.root().iter():
        dashes = element.get("stroke-dasharray", "none") if local_name(element) == "path" else "none"
        if dashes != "none":
            numbers = [abs(float(v)) for v in NUMBERS.findall(element.get("d") or "")]
            period = sum(float(v) for v in NUMBERS.findall(dashes)) / len(NUMBERS.findall(dashes))
            if 2.0 * sum(numbers) > MOST_DASHES * period:  # no path is longer than twice its coordinates' sum
                raise UnreadableFile(
                    name, f"has a line with dashes of {period:g}, too many to draw", hint="Take coarser dashes."
                )
        if local_name(element) == "pattern" and element.get("patternUnits") == "userSpaceOnUse":
            unit = math.sqrt(abs(np.linalg.det((drawing.to_page @ matrix_of(element, "patternTransform"))[:2, :2])))
            for key, page in zip(("width", "height"), drawing.page, strict=True):
                side = unit * float(element.get(key, "0"))
                if not page / FINEST_TILE < side < page * WIDEST_TILE:
                    raise UnreadableFile(
                        name,
                        f"has a pattern whose {key} is {side / page:.3g} times the page's; allowed is "
                        f"{1.0 / FINEST_TILE:g} to {WIDEST_TILE:g}",
                    )


def _view_on_page(view: list[float], page: tuple[float, float], *, fitting: str) -> FloatArray:
    """Return the matrix from a view box to its page (SVG 2, 8.2, the equivalent transform of a viewport)."""
    x, y, w, h = view
    sx, sy = page[0] / w, page[1] / h
    words = fitting.split()
    align = next((word for word in words if word.startswith("x")), "xMidYMid")
    if "none" not in words:
        sx = sy = max(sx, sy) if "slice" in words else min(sx, sy)
    share = {"Min": 0.0, "Mid": 0.5, "Max": 1.0}
    left = share.get(align[1:4], 0.5) * (page[0] - sx * w)
    top = share.get(align[5:8], 0.5) * (page[1] - sy * h)
    return np.array([[sx, 0.0, left - sx * x], [0.0, sy, top - sy * y], [0.0, 0.0, 1.0]])


def walk(root: etree._Element, to_box: FloatArray) -> Iterator[Drawn]:
    """Yield what is drawn, in the order of drawing."""
    start = Drawn(element=root, to_box=to_box, ids=(), clips=(), refused="", inked=True)
    stack = [start]
    while stack:
        here = stack.pop()
        element = here.element
        if local_name(element) in UNSEEN:
            continue
        matrix = here.to_box @ matrix_of(element) if element.get("transform") else here.to_box
        clip = element.get("clip-path", "none")
        ids = here.ids if element.get("id") is None else (*here.ids, element.get("id") or "")
        refused = here.refused
        for key, words in (("mask", "a mask"), ("filter", "a filter")):
            if element.get(key, "none") != "none":
                refused = words
        this = Drawn(
            element=element,
            to_box=matrix,
            ids=ids,
            clips=here.clips if clip == "none" else (*here.clips, (clip[5:-1], matrix)),
            refused=refused,
            inked=here.inked and _inked(element),
        )
        if local_name(element) in ("path", "image"):
            yield this
        else:
            stack.extend(
                Drawn(
                    element=child,
                    to_box=matrix,
                    ids=ids,
                    clips=this.clips,
                    refused=refused,
                    inked=this.inked,
                )
                for child in reversed(element)
            )


def matrix_of(element: etree._Element, key: str = "transform") -> FloatArray:
    """Return the (3, 3) matrix of an element's own transform."""
    found = MATRIX.search(element.get(key) or "")
    if found is None:
        return np.eye(3)
    a, b, c, d, e, f = (float(v) for v in re.split(r"[\s,]+", found.group(1).strip()))
    return np.array([[a, c, e], [b, d, f], [0.0, 0.0, 1.0]])


def _inked(element: etree._Element) -> bool:
    if element.get("visibility") == "hidden" or float(element.get("opacity", "1")) == 0.0:
        return False
    if local_name(element) != "path":
        return True
    return any(
        element.get(paint, "none").lower() not in PAPER and float(element.get(f"{paint}-opacity", "1")) > 0.0
        for paint in ("fill", "stroke")
    )
