"""One page of a PDF as artwork: drawn as pixels, at any size."""

from __future__ import annotations

import ctypes
import math
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pypdfium2 as pdfium
import pypdfium2.raw as pdfium_c
from numpy.typing import NDArray

from evenburn.adapters.artwork.pixels import grey_of
from evenburn.core.errors import UnreadableFile
from evenburn.core.nouns.path import Polyline
from evenburn.core.tone.colour import srgb_decode
from evenburn.core.units import MM_PER_INCH

Picture = NDArray[np.float32]

LARGEST_FILE_bytes = 64 * 1024 * 1024
LARGEST_RENDER_px = 20000
LARGEST_SIDE_mm = 1e5
POINTS_PER_INCH = 72.0  # ISO 32000-1, 8.3.2.3
DEEPEST = 15
# the standard fourteen, which a reader has to bring along: ISO 32000-1, 9.6.2.2
STANDARD_FACES = ("Courier", "Helvetica", "Times", "Symbol", "ZapfDingbats")

_lock = threading.Lock()  # the library is one thread's at a time


class PdfPage:
    """A page that can be drawn at any size; it keeps its own proportions inside the size asked for."""

    def __init__(self, data: bytes, *, name: str, page: int, size_mm: tuple[float, float]) -> None:
        self._data = data
        self._name = name
        self._page = page
        self.size_mm = size_mm

    def _grey(self, *, width_px: int, height_px: int) -> Picture:
        """Return encoded grey 0–1 over white, (height, width), top row first."""
        if max(width_px, height_px) > LARGEST_RENDER_px:
            raise UnreadableFile(
                self._name,
                f"would need a picture of {width_px} × {height_px} pixels; allowed are {LARGEST_RENDER_px} on a side",
                hint="Make the mark smaller, or take a coarser line spacing.",
            )
        scale = min(width_px / self.size_mm[0], height_px / self.size_mm[1])
        inner = [max(1, round(scale * side)) for side in self.size_mm]
        left, top = (width_px - inner[0]) // 2, (height_px - inner[1]) // 2
        grey = np.empty((height_px, width_px), np.float32)
        with _opened(self._data, name=self._name) as document:
            page = document[self._page - 1]
            bitmap = pdfium.PdfBitmap.new_native(width_px, height_px, pdfium_c.FPDFBitmap_BGR)
            bitmap.fill_rect((255, 255, 255, 255), 0, 0, width_px, height_px)
            flags = pdfium_c.FPDF_ANNOT
            pdfium_c.FPDF_RenderPageBitmap(bitmap, page, left, top, inner[0], inner[1], 0, flags)
            grey_of(np.asarray(bitmap.to_numpy(), np.uint8), out=grey)
            bitmap.close()
        return grey

    def ink(self, *, width_px: int, height_px: int) -> Picture:
        """Return ink coverage 0–1: black is 1, white or nothing 0."""
        grey = self._grey(width_px=width_px, height_px=height_px)
        return np.asarray(np.subtract(np.float32(1.0), grey, out=grey), np.float32)

    def light(self, *, width_px: int, height_px: int) -> Picture:
        """Return linear luminance 0–1 over white."""
        return srgb_decode(self._grey(width_px=width_px, height_px=height_px)).astype(np.float32)

    def outlines(self, *, width_mm: float, height_mm: float) -> tuple[Polyline, ...]:
        """Raise UnreadableFile: a page is drawn as pixels."""
        raise UnreadableFile(
            self._name,
            f"is a PDF page, drawn as pixels, and has no outlines to follow at {width_mm:g} × {height_mm:g} mm",
            hint='Save it as SVG, or use treatment "solid" or "photo".',
        )


def open_pdf(path: Path, *, name: str, page: int = 1) -> PdfPage:
    """Return a page of a PDF file, the first one unless told otherwise.

    Raises
    ------
    UnreadableFile
        If it is no PDF, damaged, too large, locked by a password, has no such page, or has text in a face that it does
        not bring along.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        raise UnreadableFile(name, f"cannot be read: {error.strerror}") from error
    if len(data) > LARGEST_FILE_bytes:
        raise UnreadableFile(name, f"has {len(data)} bytes; allowed are {LARGEST_FILE_bytes}")
    with _opened(data, name=name) as document:
        if not 1 <= page <= len(document):
            raise UnreadableFile(name, f"has {len(document)} pages; page {page} is not among them")
        opened = document[page - 1]
        width, height = (side / POINTS_PER_INCH * MM_PER_INCH for side in opened.get_size())
        if not all(math.isfinite(side) and 0.0 < side < LARGEST_SIDE_mm for side in (width, height)):
            raise UnreadableFile(name, f"has a page of {width:g} × {height:g} mm; allowed is more than 0, up to 100 m")
        _refuse_faces(opened, name=name)
    return PdfPage(data, name=name, page=page, size_mm=(width, height))


@contextmanager
def _opened(data: bytes, *, name: str) -> Iterator[Any]:
    """Open a document for one thread at a time; what the library refuses becomes an UnreadableFile."""
    with _lock:
        try:
            document = pdfium.PdfDocument(data)
            try:
                yield document
            finally:
                document.close()
        except pdfium.PdfiumError as error:
            if "password" in str(error).lower():
                raise UnreadableFile(
                    name, "is locked by a password", hint="Save it without one, or save the page as SVG."
                ) from error
            raise UnreadableFile(name, "is no PDF, or is damaged", hint="Save it anew.") from error


def _refuse_faces(page: Any, *, name: str) -> None:
    """Refuse text in a face that the file does not bring along: another face would be another drawing."""
    for item in page.get_objects(filter=[pdfium_c.FPDF_PAGEOBJ_TEXT], max_depth=DEEPEST):
        font = pdfium_c.FPDFTextObj_GetFont(item)
        if not font or pdfium_c.FPDFFont_GetIsEmbedded(font) == 1:
            continue
        face = _face_name(font)
        if face and not face.startswith(STANDARD_FACES):
            raise UnreadableFile(
                name,
                f"has text in {face}, which the file does not hold",
                hint="Embed the faces, or turn text to paths.",
            )


def _face_name(font: Any) -> str:
    size = int(pdfium_c.FPDFFont_GetBaseFontName(font, None, 0))
    buffer = ctypes.create_string_buffer(max(size, 1))
    pdfium_c.FPDFFont_GetBaseFontName(font, buffer, size)
    return buffer.value.decode("utf-8", "replace")
