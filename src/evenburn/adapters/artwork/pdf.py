"""One page of a PDF as artwork: drawn as pixels, at any size, in a process of its own (see `pdf_child`)."""

from __future__ import annotations

import json
import math
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from evenburn.adapters.artwork.pixels import grey_of
from evenburn.core.errors import StorageError, UnreadableFile
from evenburn.core.nouns.path import Polyline
from evenburn.core.tone.colour import srgb_decode
from evenburn.core.units import MM_PER_INCH

Picture = NDArray[np.float32]

LARGEST_FILE_bytes = 64 * 1024 * 1024
LARGEST_RENDER_px = 20000
LARGEST_SIDE_mm = 1e5
POINTS_PER_INCH = 72.0  # ISO 32000-1, 8.3.2.3
CHILD = Path(__file__).with_name("pdf_child.py")
LOOK_cpu_s = 3  # of a computer’s own time; an everyday page takes a tenth of a second
DRAW_cpu_s_per_Mpx = 0.3
MEMORY_bytes = 2 * 1024**3
PATIENCE = 12.0  # by so much may a busy computer take longer than its own time
STRIP_px = 4_000_000  # turned to grey at once


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
        cpu_s = math.ceil(LOOK_cpu_s + DRAW_cpu_s_per_Mpx * width_px * height_px / 1e6)
        with tempfile.TemporaryDirectory() as folder:
            pixels = Path(folder) / "pixels"
            job = {
                "page": self._page,
                "size_px": [width_px, height_px],
                "box_px": [left, top, *inner],
                "pixels": str(pixels),
            }
            _ask("draw", self._data, job, cpu_s=cpu_s, name=self._name)
            drawn = np.memmap(pixels, np.uint8, "r", shape=(height_px, width_px, 3))
            rows = max(1, STRIP_px // width_px)
            for first in range(0, height_px, rows):
                grey_of(np.ascontiguousarray(drawn[first : first + rows]), out=grey[first : first + rows])
            del drawn
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
    seen = _ask("look", data, {"page": page}, cpu_s=LOOK_cpu_s, name=name)
    if not 1 <= page <= seen["pages"]:
        raise UnreadableFile(name, f"has {seen['pages']} pages; page {page} is not among them")
    width, height = (float(side) / POINTS_PER_INCH * MM_PER_INCH for side in seen["size_pt"])
    if not all(math.isfinite(side) and 0.0 < side < LARGEST_SIDE_mm for side in (width, height)):
        raise UnreadableFile(name, f"has a page of {width:g} × {height:g} mm; allowed is more than 0, up to 100 m")
    if seen["stray_face"]:  # another face would be another drawing
        raise UnreadableFile(
            name,
            f"has text in {seen['stray_face']}, which the file does not hold",
            hint="Embed the faces, or turn text to paths.",
        )
    return PdfPage(data, name=name, page=page, size_mm=(width, height))


def _ask(what: str, data: bytes, job: dict[str, Any], *, cpu_s: int, name: str) -> dict[str, Any]:
    """Have a job done on a document in a process of its own, and return what it answers. Raises UnreadableFile."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "in.pdf"
        file.write_bytes(data)
        words = json.dumps({**job, "what": what, "file": str(file), "cpu_s": cpu_s, "memory_bytes": MEMORY_bytes})
        try:
            done = subprocess.run(  # noqa: S603  # our own program, on a file that lies in a folder of ours
                [sys.executable, "-I", str(CHILD), words],
                capture_output=True,
                timeout=PATIENCE * cpu_s,
                check=False,
            )
        except subprocess.TimeoutExpired as error:
            raise _too_much(name) from error
        except OSError as error:
            raise StorageError(f"no process could be started to read {name}: {error.strerror}") from error
    if done.returncode in (-9, -24):  # what a system does to a process that reaches its ceiling of work
        raise _too_much(name)
    try:
        answer: dict[str, Any] = json.loads(done.stdout) if done.returncode == 0 else {"fault": "damaged"}
    except ValueError:
        answer = {"fault": "damaged"}
    match answer.get("fault"):
        case None:
            return answer
        case "locked":
            raise UnreadableFile(name, "is locked by a password", hint="Save it without one, or save the page as SVG.")
        case "memory":
            raise _too_much(name)
        case _:
            raise UnreadableFile(name, "is no PDF, or is damaged", hint="Save it anew.")


def _too_much(name: str) -> UnreadableFile:
    return UnreadableFile(
        name,
        "is too complex: drawing it would take too long or too much memory",
        hint="Save it as SVG, or simplify it.",
    )
