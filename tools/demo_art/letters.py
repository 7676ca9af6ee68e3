"""Capitals as outlines, straight or round a circle; the face is a font file, its kerning kept."""

from __future__ import annotations

import io
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely
import uharfbuzz as hb
from fontTools.pens.basePen import BasePen
from fontTools.ttLib import TTFont
from fontTools.varLib.instancer import instantiateVariableFont
from numpy.typing import NDArray
from shapely import affinity
from shapely.geometry import LineString, MultiPolygon
from shapely.geometry.base import BaseGeometry

from demo_art.ink import areas


class _Loops(BasePen):  # type: ignore[misc]
    """Gathers the outline of a glyph as polygons."""

    def __init__(self, glyph_set: object) -> None:
        super().__init__(glyph_set)
        self.loops: list[list[tuple[float, float]]] = []

    def _moveTo(self, pt: tuple[float, float]) -> None:
        self.loops.append([pt])

    def _lineTo(self, pt: tuple[float, float]) -> None:
        self.loops[-1].append(pt)

    def _curveToOne(self, a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> None:
        p = self.loops[-1][-1]
        for k in range(1, 11):
            t = k / 10
            u = 1 - t
            f = (u**3, 3 * u * u * t, 3 * u * t * t, t**3)
            q = (p, a, b, c)
            self.loops[-1].append((sum(f[i] * q[i][0] for i in range(4)), sum(f[i] * q[i][1] for i in range(4))))


@dataclass(frozen=True)
class Face:
    """A font opened for setting capitals."""

    glyphs: TTFont
    shaper: hb.Font

    @classmethod
    def open(cls, file: Path, *, weight: float | None = None) -> Face:
        """Open a font file; a variable one is set to `weight`."""
        font = TTFont(file)
        if weight is not None:
            font = instantiateVariableFont(font, {"wght": weight})
        font.flavor = None
        buffer = io.BytesIO()
        font.save(buffer)
        return cls(glyphs=font, shaper=hb.Font(hb.Face(buffer.getvalue())))

    def letters(self, text: str, *, cap_mm: float, spread_mm: float = 0.0) -> list[tuple[float, BaseGeometry, float]]:
        """Return for each glyph its x, its shape (baseline at y = 0, y down) and its advance, all in mm."""
        buffer = hb.Buffer()
        buffer.add_str(text)
        buffer.guess_segment_properties()
        hb.shape(self.shaper, buffer, {"kern": True, "liga": spread_mm == 0.0})
        scale = cap_mm / float(self.glyphs["OS/2"].sCapHeight)
        glyph_set, order = self.glyphs.getGlyphSet(), self.glyphs.getGlyphOrder()
        x, out = 0.0, []
        for info, position in zip(buffer.glyph_infos, buffer.glyph_positions, strict=True):
            pen = _Loops(glyph_set)
            glyph_set[order[info.codepoint]].draw(pen)
            shape = MultiPolygon() if not pen.loops else _nonzero(pen.loops)
            shape = affinity.scale(shape, xfact=scale, yfact=-scale, origin=(0, 0))
            advance = position.x_advance * scale
            out.append((x + position.x_offset * scale, shape, advance))
            x += advance + spread_mm
        return out

    def line(self, text: str, *, cap_mm: float, spread_mm: float = 0.0, fatten_mm: float = 0.0) -> BaseGeometry:
        """Return one line of text, its middle at x = 0, its baseline at y = 0."""
        set_ = self.letters(text, cap_mm=cap_mm, spread_mm=spread_mm)
        joined = shapely.union_all([affinity.translate(shape, x) for x, shape, _ in set_]).buffer(fatten_mm / 2)
        x0, _, x1, _ = joined.bounds
        return affinity.translate(joined, -(x0 + x1) / 2).simplify(0.008)

    def round_(
        self,
        text: str,
        *,
        cap_mm: float,
        radius_mm: float,
        spread_mm: float = 0.0,
        fatten_mm: float = 0.0,
        below: bool = False,
    ) -> BaseGeometry:
        """Return text round the origin, middle at the top, or at the bottom and read from the inside (`below`)."""
        set_ = self.letters(text, cap_mm=cap_mm, spread_mm=spread_mm)
        whole = set_[-1][0] + set_[-1][2]
        base = radius_mm + (cap_mm if below else 0.0)
        parts = []
        for x, shape, advance in set_:
            turn = (x + advance / 2 - whole / 2) / (radius_mm + cap_mm / 2)
            upright = affinity.translate(shape, -advance / 2, base if below else -base)
            parts.append(affinity.rotate(upright, math.degrees(-turn if below else turn), origin=(0, 0)))
        return shapely.union_all(parts).buffer(fatten_mm / 2).simplify(0.008)


def _nonzero(loops: list[list[tuple[float, float]]]) -> BaseGeometry:
    """Return the area of outlines by the non-zero rule, however they overlap."""
    rings = [np.asarray([*loop, loop[0]]) for loop in loops if len(loop) >= 3]
    faces = shapely.polygonize([shapely.union_all([LineString(r) for r in rings])])
    kept = []
    for face in faces.geoms:
        inside = face.representative_point()
        if sum(_winding(r, x=inside.x, y=inside.y) for r in rings):
            kept.append(face)
    return areas(shapely.union_all(kept))


def _winding(ring: NDArray[np.float64], *, x: float, y: float) -> int:
    """Return how many times a closed line goes round a point."""
    turn = np.diff(np.unwrap(np.arctan2(ring[:, 1] - y, ring[:, 0] - x))).sum()
    return int(np.rint(turn / (2 * math.pi)))
