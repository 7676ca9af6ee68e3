"""Opened fonts: read once, kept while their file stays the same, with the glyphs already drawn from them."""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path
from typing import TypeAlias

import numpy as np
import uharfbuzz as hb
from numpy.typing import NDArray

from evenburn.core.errors import NotFound, StorageError, UnreadableFile

FloatArray: TypeAlias = NDArray[np.float64]

FLATNESS_EM = 1.0 / 2000.0  # farthest a chord lies from its curve
MOST_FONT_BYTES = 64 * 1024 * 1024
MOST_FONTS_KEPT = 24
MOST_GLYPHS_KEPT = 4000
MOST_GLYPH_POINTS = 50_000
MOST_GLYPH_EM = 100.0
MOST_CROSSING_WORK = 2.0e8  # places where outlines cross, times edges: some seconds of work
SAMPLED_EDGES = 256
CAPITALS = "HIEXOאבا1"  # whose height is that of the capitals, best first; other scripts have letters of that height
_SFNT = (b"\x00\x01\x00\x00", b"OTTO", b"true", b"ttcf")
CAP_HEIGHT_AGREES = 0.2  # a stated height of capitals farther than this from the drawn one is not believed


class OpenedFont:
    """A font ready to shape and draw with; `name` is what people call it. Lengths are in em."""

    def __init__(self, data: bytes, *, name: str) -> None:
        if _is_cut_short(data):
            raise UnreadableFile(name, "the font file is cut short", hint="copy it again from where it came")
        face = hb.Face(data)
        outlines = any(len(face.reference_table(tag)) for tag in ("glyf", "CFF ", "CFF2"))
        if face.glyph_count == 0 or not face.unicodes or not outlines:
            raise UnreadableFile(name, "no TrueType or OpenType font with outlines")
        self.name = name
        self.shaper = hb.Font(face)
        self.upem = float(face.upem)
        self._contours: dict[tuple[int, float], tuple[FloatArray, ...]] = {}
        self._boxes: dict[int, tuple[float, float, float, float] | None] = {}

    def has(self, letter: str) -> bool:
        """Return whether the font has a glyph for a character."""
        return bool(self.shaper.get_nominal_glyph(ord(letter)))

    def draws(self, letter: str) -> bool:
        """Return whether the glyph the font has for a character leaves ink."""
        glyph = self.shaper.get_nominal_glyph(ord(letter))
        return bool(glyph) and self.glyph_box(glyph) is not None

    def advance_em(self, letter: str) -> float:
        """Return how far a character alone moves the pen; 0 where the font lacks it."""
        glyph = self.shaper.get_nominal_glyph(ord(letter))
        return float(self.shaper.get_glyph_h_advance(glyph)) / self.upem if glyph else 0.0

    def contours(self, glyph: int, *, flatness_em: float = FLATNESS_EM) -> tuple[FloatArray, ...]:
        """Return a glyph's closed contours, (N, 2) each, without a repeated last point."""
        key = (glyph, flatness_em)
        if key not in self._contours:
            pen = _FlatPen(self.upem, flatness_em)
            self.shaper.draw_glyph_with_pen(glyph, pen)
            shapes = tuple(pen.closed())
            if sum(len(shape) for shape in shapes) > MOST_GLYPH_POINTS or any(
                np.abs(shape).max() > MOST_GLYPH_EM for shape in shapes
            ):
                raise UnreadableFile(self.name, "it draws a letter beyond all measure; the file is damaged")
            if _crossing_work(shapes) > MOST_CROSSING_WORK:
                raise UnreadableFile(self.name, "the outlines of a letter cross each other beyond all measure")
            if len(self._contours) >= MOST_GLYPHS_KEPT:
                self._contours.clear()
            self._contours[key] = shapes
        return self._contours[key]

    def glyph_box(self, glyph: int) -> tuple[float, float, float, float] | None:
        """Return the box of a glyph's ink, x0, y0, x1, y1; None where it has none."""
        if glyph not in self._boxes:
            shapes = self.contours(glyph)
            low = [float(min(shape[:, axis].min() for shape in shapes)) for axis in (0, 1)] if shapes else []
            high = [float(max(shape[:, axis].max() for shape in shapes)) for axis in (0, 1)] if shapes else []
            self._boxes[glyph] = (low[0], low[1], high[0], high[1]) if shapes else None
        return self._boxes[glyph]

    @property
    def cap_height_em(self) -> float:
        """The height of the capitals: as the font states it, if its own H bears that out; else as H is drawn.

        Raises
        ------
        UnreadableFile
            If the font has no letter to tell it by.
        """
        drawn = next(filter(None, map(self._top_em, CAPITALS)), None)
        stated = self.shaper.get_metric_position(hb.OTMetricsTag.CAP_HEIGHT)
        stated_em = float(stated) / self.upem if stated else 0.0
        if drawn is None and not 0.1 < stated_em < 2.0:
            raise UnreadableFile(self.name, "has no letter to measure the height of its capitals by")
        if drawn is None or abs(stated_em / drawn - 1.0) <= CAP_HEIGHT_AGREES:
            return stated_em
        return drawn

    def _top_em(self, letter: str) -> float | None:
        glyph = self.shaper.get_nominal_glyph(ord(letter))
        box = self.glyph_box(glyph) if glyph else None
        return box[3] if box is not None and box[3] > 0.01 else None


def open_font(font: Path, *, face_name: str) -> OpenedFont:
    """Return an opened font; one already open is handed out again while its file is the same.

    Raises
    ------
    UnreadableFile
        If the font is no TrueType or OpenType font with outlines.
    NotFound, StorageError
        If the font is not there, or cannot be read.
    """
    try:
        found = font.stat()
    except FileNotFoundError:
        raise NotFound(f"no font file for the face {face_name!r}") from None
    except OSError as fault:
        raise StorageError(f"the font file of {face_name!r} cannot be read: {fault.strerror}") from fault
    if found.st_size > MOST_FONT_BYTES:
        raise UnreadableFile(face_name, f"{found.st_size} bytes; a font may have at most {MOST_FONT_BYTES}")
    return _opened(font, face_name, found.st_size, found.st_mtime_ns)


@lru_cache(maxsize=MOST_FONTS_KEPT)
def _opened(font: Path, face_name: str, _size: int, _changed_ns: int) -> OpenedFont:
    try:
        data = font.read_bytes()
    except FileNotFoundError:
        raise NotFound(f"no font file for the face {face_name!r}") from None
    except OSError as fault:
        raise StorageError(f"the font file of {face_name!r} cannot be read: {fault.strerror}") from fault
    if not data:
        raise UnreadableFile(face_name, "the font file is empty")
    if data[:4] in (b"wOFF", b"wOF2"):
        raise UnreadableFile(face_name, "a packed web font", hint="unpack it to .ttf or .otf first")
    return OpenedFont(data, name=face_name)


def _is_cut_short(data: bytes) -> bool:
    """Return whether a font's directory names tables past the file's end (OpenType, "Table directory")."""
    if data[:4] not in _SFNT:
        return False
    start = int.from_bytes(data[12:16], "big") if data[:4] == b"ttcf" else 0
    count = int.from_bytes(data[start + 4 : start + 6], "big")
    for at in range(start + 12, min(start + 12 + 16 * count, len(data) - 15), 16):
        offset, length = (int.from_bytes(data[at + part : at + part + 4], "big") for part in (8, 12))
        if offset + length > len(data):
            return True
    return False


def _crossing_work(shapes: tuple[FloatArray, ...]) -> float:
    """Return about how much work it is to part outlines where they cross: crossings times edges."""
    if sum(len(shape) for shape in shapes) <= SAMPLED_EDGES:
        return 0.0
    starts = np.vstack(shapes)
    ends = np.vstack([np.roll(shape, -1, axis=0) for shape in shapes])
    low, high = np.minimum(starts, ends), np.maximum(starts, ends)
    sample = np.linspace(0, len(starts) - 1, SAMPLED_EDGES).astype(np.int64)
    met = [int(np.count_nonzero(np.all((low <= high[i]) & (high >= low[i]), axis=1))) for i in sample]
    crossings = max(0.0, float(np.mean(met)) - 3.0) / 2.0 * len(starts)  # an edge meets itself and its two neighbours
    return crossings * len(starts)


class _FlatPen:
    """Collects a glyph's contours, curves cut into chords that lie within a flatness of them."""

    def __init__(self, upem: float, flatness_em: float) -> None:
        self._upem = upem
        self._flatness = flatness_em
        self._contours: list[list[complex]] = []

    def moveTo(self, point: tuple[float, float]) -> None:
        self._contours.append([complex(*point) / self._upem])

    def lineTo(self, point: tuple[float, float]) -> None:
        self._contours[-1].append(complex(*point) / self._upem)

    def qCurveTo(self, *points: tuple[float, float]) -> None:
        a = self._contours[-1][-1]
        b, c = (complex(*point) / self._upem for point in points)
        # a chord over a share h of a curve B leaves it by at most h² max|B''| / 8
        pieces = math.ceil(math.sqrt(abs(2.0 * (a - 2.0 * b + c)) / (8.0 * self._flatness)))
        for t in _steps(pieces):
            self._contours[-1].append((1 - t) ** 2 * a + 2 * t * (1 - t) * b + t**2 * c)

    def curveTo(self, *points: tuple[float, float]) -> None:
        a = self._contours[-1][-1]
        b, c, d = (complex(*point) / self._upem for point in points)
        bend = 6.0 * max(abs(a - 2.0 * b + c), abs(b - 2.0 * c + d))
        pieces = math.ceil(math.sqrt(bend / (8.0 * self._flatness)))
        for t in _steps(pieces):
            u = 1 - t
            self._contours[-1].append(u**3 * a + 3 * u**2 * t * b + 3 * u * t**2 * c + t**3 * d)

    def closePath(self) -> None:
        """Do nothing: every contour is closed."""

    def endPath(self) -> None:
        """Do nothing: every contour is closed."""

    def closed(self) -> Iterator[FloatArray]:
        """Yield the contours that enclose something, (N, 2), repeated points left out."""
        for contour in self._contours:
            points = np.array(contour, dtype=np.complex128)
            points = points[points != np.roll(points, -1)]
            if points.size >= 3:
                yield np.column_stack([points.real, points.imag])


def _steps(pieces: int) -> list[float]:
    count = max(1, pieces)
    return [i / count for i in range(1, count + 1)]
