"""What a figure is drawn on: lettering as outlines, lines, boxes, and a pair of axes; plain SVG."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from io import BytesIO

import numpy as np
import uharfbuzz as hb
from fontTools.pens.svgPathPen import SVGPathPen
from fontTools.ttLib import TTFont
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Points = Iterable[tuple[float, float]]

NB = "\u00a0"

# the page and its inks; warm colours stand for exposure only
LEAF, RULE, RULE2 = "#F5F8F1", "#C3CEC2", "#75857C"
INK, INK2, DEED, STOP = "#17221E", "#43524B", "#0E5266", "#A50E36"
LABEL, TICK = 14.0, 13.0


@cache
def face(name: str) -> tuple[TTFont, hb.Font]:
    """Return a shipped face for outlines and for shaping."""
    data = (files("evenburn") / "assets" / "faces" / f"{name}.ttf").read_bytes()
    return TTFont(BytesIO(data)), hb.Font(hb.Face(data))


@dataclass
class Paper:
    """A figure in the making. Places are in px from the top left."""

    width: float
    height: float
    title: str
    told: str
    parts: list[str] = field(default_factory=list)
    glyphs: dict[str, str] = field(default_factory=dict)

    def text(
        self,
        x: float,
        y: float,
        words: str,
        *,
        size: float = LABEL,
        anchor: float = 0.0,
        bold: bool = False,
        ink: str = INK,
    ) -> None:
        """Set a line with its baseline at y; `anchor` is the share of its width left of x."""
        name = "sheet-sans-bold" if bold else "sheet-sans"
        font, shaper = face(name)
        run = hb.Buffer()
        run.add_str(words)
        run.guess_segment_properties()
        hb.shape(shaper, run, {"kern": True, "tnum": True, "lnum": True})
        scale, pen_x, uses = size / font["head"].unitsPerEm, 0.0, []
        for info, place in zip(run.glyph_infos, run.glyph_positions, strict=True):
            if info.codepoint == 0:
                raise SystemExit(f"the sheet face lacks a letter of {words!r}")
            key = f"{'b' if bold else 's'}{info.codepoint}"
            if key not in self.glyphs:
                pen = SVGPathPen(font.getGlyphSet(), ntos=lambda v: f"{v:.0f}")
                font.getGlyphSet()[font.getGlyphName(info.codepoint)].draw(pen)
                self.glyphs[key] = pen.getCommands()
            if self.glyphs[key]:
                uses.append(f'<use href="#{key}" x="{pen_x + place.x_offset:.0f}"/>')
            pen_x += place.x_advance
        left = x - anchor * pen_x * scale
        self.parts.append(
            f'<g transform="translate({left:.1f} {y:.1f}) scale({scale:.4f} {-scale:.4f})" fill="{ink}">{"".join(uses)}</g>'
        )

    def path(self, points: Points, *, ink: str = INK, width: float = 1.5, dash: str = "", fill: str = "none") -> None:
        """Draw straight from point to point; a filled path is closed."""
        way = "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
        style = f'fill="{fill}"' if fill != "none" else f'fill="none" stroke="{ink}" stroke-width="{width:g}"'
        style += f' stroke-dasharray="{dash}"' if dash else ""
        style += ' fill-opacity="0.13"' if fill == INK else ""
        self.parts.append(f'<path d="{way}{"Z" if fill != "none" else ""}" {style}/>')

    def box(self, x: float, y: float, width: float, height: float, *, fill: str, edge: str = "none") -> None:
        """Draw a rectangle."""
        self.parts.append(
            f'<rect x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:.1f}" fill="{fill}" stroke="{edge}"/>'
        )

    def svg(self) -> str:
        """Return the whole file."""
        shapes = "".join(f'<path id="{key}" d="{way}"/>' for key, way in sorted(self.glyphs.items()) if way)
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {self.width:g} {self.height:g}" width="{self.width:g}" '
            f'height="{self.height:g}" role="img">\n<title>{self.title}</title>\n<desc>{self.told}</desc>\n'
            f'<defs>{shapes}</defs>\n<rect width="100%" height="100%" fill="{LEAF}"/>\n'
            + "\n".join(self.parts)
            + "\n</svg>\n"
        )


@dataclass(frozen=True)
class Plot:
    """A pair of axes on the paper: its frame in px, and the values at its edges."""

    paper: Paper
    left: float
    top: float
    wide: float
    high: float
    x: tuple[float, float]
    y: tuple[float, float]
    log_x: bool = False
    log_y: bool = False

    def place(self, x: float, y: float) -> tuple[float, float]:
        """Return where a pair of values lies, in px."""

        def share(value: float, ends: tuple[float, float], *, log: bool) -> float:
            low, high, at = (math.log10(v) for v in (*ends, value)) if log else (*ends, value)
            return (at - low) / (high - low)

        return (
            self.left + share(x, self.x, log=self.log_x) * self.wide,
            self.top + self.high - share(y, self.y, log=self.log_y) * self.high,
        )

    def axes(self, x_label: str, y_label: str, *, x_ticks: Sequence[float], y_ticks: Sequence[float]) -> None:
        """Draw both axes with ticks; the y label stands over its axis."""
        paper, low = self.paper, self.top + self.high
        for value in y_ticks:
            _, at = self.place(self.x[0], value)
            paper.path([(self.left, at), (self.left + self.wide, at)], ink=RULE, width=1.0)
            paper.text(self.left - 8, at + 4.5, f"{value:g}".replace("-", "−"), size=TICK, anchor=1.0, ink=INK2)
        for value in x_ticks:
            at, _ = self.place(value, self.y[0])
            paper.path([(at, low), (at, low + 5)], ink=RULE2, width=1.0)
            paper.text(at, low + 20, f"{value:g}".replace("-", "−"), size=TICK, anchor=0.5, ink=INK2)
        paper.path([(self.left, self.top), (self.left, low), (self.left + self.wide, low)], ink=RULE2, width=1.0)
        paper.text(self.left + self.wide, low + 40, x_label, anchor=1.0, ink=INK2)
        if y_label:
            paper.text(self.left - 34, self.top - 14, y_label, ink=INK2)

    def draw(self, x: FloatArray, y: FloatArray, *, ink: str = INK, width: float = 1.5, dash: str = "") -> None:
        """Draw y against x, as far as it lies inside the frame."""
        inside = np.isfinite(y) & (y >= self.y[0] - 1e-12) & (y <= self.y[1] + 1e-12)
        pairs = zip(x[inside].tolist(), y[inside].tolist(), strict=True)
        self.paper.path([self.place(a, b) for a, b in pairs], ink=ink, width=width, dash=dash)

    def say(
        self, x: float, y: float, words: str, *, dx: float = 6.0, dy: float = 4.5, anchor: float = 0.0, ink: str = INK
    ) -> None:
        """Write beside a point."""
        at = self.place(x, y)
        self.paper.text(at[0] + dx, at[1] + dy, words, size=TICK, anchor=anchor, ink=ink)

    def dot(self, x: float, y: float) -> None:
        """Mark a point."""
        at = self.place(x, y)
        self.paper.parts.append(f'<circle cx="{at[0]:.1f}" cy="{at[1]:.1f}" r="4" fill="{DEED}"/>')
