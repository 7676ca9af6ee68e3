"""Draw the figures of `docs/how-it-works/` from the model itself, as plain SVG.

Every curve is computed by `evenburn.core` for the demo's bench; nothing is drawn by eye. Lettering is set in the sheet
faces that ship and drawn as outlines, so a figure looks the same wherever it is opened. Run it after a change of the
model: `.venv/bin/python tools/draw_figures.py`; `tests/house/test_reference_fresh.py` says when.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from importlib.resources import files
from io import BytesIO
from pathlib import Path

import numpy as np
import uharfbuzz as hb
from fontTools.pens.svgPathPen import SVGPathPen
from fontTools.ttLib import TTFont
from numpy.typing import NDArray
from scipy.special import erf

from evenburn.core.art.detail import narrowest_kept_mm
from evenburn.core.motion.profile import run_up_mm, time_to_speed_s
from evenburn.core.motion.raster import raster_events
from evenburn.core.nouns.machine import Machine
from evenburn.core.optics.beam import beam_of_lens, beam_radius_mm
from evenburn.core.optics.lines import ripple_factor, ripple_modulation
from evenburn.core.planning.mark_plan import wish_for
from evenburn.core.planning.recipe import CONSTRAINTS, SPACINGS_mm, banding_L, offsets_mm, search
from evenburn.core.planning.survey import survey_mark
from evenburn.core.planning.wish import Wish
from evenburn.core.proof.dose import DoseGrid, collect, dose_map_J_per_mm2
from evenburn.core.response.curve import exposure_for_tone, tone_L, tone_sd_L, usable_range
from evenburn.core.tone.colour import lightness_L, luminance
from evenburn.core.tone.vision import (
    PEAK_CONTRAST_SENSITIVITY,
    contrast_sensitivity,
    cycles_per_degree,
    unseen_banding_L,
)
from evenburn.services.load_batch import Batch, load_batch

FloatArray = NDArray[np.float64]
Points = Iterable[tuple[float, float]]

HERE = Path(__file__).resolve().parents[1] / "docs" / "how-it-works"
NB = "\u00a0"

# the page and its inks; warm colours stand for exposure only
LEAF, RULE, RULE2 = "#F5F8F1", "#C3CEC2", "#75857C"
INK, INK2, DEED, STOP = "#17221E", "#43524B", "#0E5266", "#A50E36"
BURNT = (
    (86, "#EAD3A9"),
    (76, "#D8B585"),
    (63, "#BD8F5C"),
    (48, "#98693D"),
    (34, "#704827"),
    (22, "#4A2D18"),
    (11, "#2A190F"),
)
LABEL, TICK = 14.0, 13.0


# ---- paper: lettering and shapes ---------------------------------------------------------------------------------


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
            paper.text(self.left - 8, at + 4.5, f"{value:g}", size=TICK, anchor=1.0, ink=INK2)
        for value in x_ticks:
            at, _ = self.place(value, self.y[0])
            paper.path([(at, low), (at, low + 5)], ink=RULE2, width=1.0)
            paper.text(at, low + 20, f"{value:g}", size=TICK, anchor=0.5, ink=INK2)
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


# ---- the bench they are drawn for --------------------------------------------------------------------------------


@cache
def bench() -> Batch:
    """Return the demo batch."""
    return load_batch(Path(str(files("evenburn") / "assets" / "demo")))


@cache
def demo_wish(piece_id: str, mark_id: str) -> Wish:
    """Return what the recipe search is asked for one mark of the demo."""
    batch = bench()
    piece = next(p for p in batch.pieces if p.id == piece_id)
    mark = next(m for m in piece.marks if m.id == mark_id)
    wood = batch.woods[piece.wood_id]
    survey = survey_mark(batch.machine, piece=piece, mark=mark, wood=wood, artwork=batch.artworks[piece_id, mark_id])
    beam = beam_of_lens(batch.lens)
    return wish_for(batch.machine, lens=batch.lens, beam=beam, curve=wood.curve, piece=piece, mark=mark, survey=survey)


def radius(offset_mm: float) -> float:
    """Return the beam radius of the demo's lens. [mm]"""
    return float(beam_radius_mm(beam_of_lens(bench().lens), offset_mm=offset_mm))


# ---- the figures -------------------------------------------------------------------------------------------------


def exposure() -> Paper:
    """Dose across the lines at three focus offsets, and its modulation against spacing over radius."""
    paper = Paper(
        760,
        330,
        "Dose across scan lines",
        "Left: dose over mean dose across lines 0.1 mm apart, at focus offsets of 0, 1 and 2 mm, for the demo's 2 inch lens. "
        "Right: modulation of the dose against line spacing over beam radius.",
    )
    left = Plot(paper, 54, 48, 250, 222, (0.0, 0.3), (0.8, 1.2))
    left.axes(
        "across the lines, mm",
        "dose over mean dose; lines 0.1 mm apart",
        x_ticks=(0, 0.1, 0.2, 0.3),
        y_ticks=(0.8, 0.9, 1, 1.1, 1.2),
    )
    across = np.linspace(0.0, 0.3, 241)
    for offset, width in ((0.0, 1.5), (1.0, 2.0), (2.0, 2.5)):
        dose = ripple_factor(beam_radius_mm=radius(offset), line_spacing_mm=0.1, phase=across / 0.1)
        left.draw(across, dose, width=width)
        spread = 100.0 * ripple_modulation(beam_radius_mm=radius(offset), line_spacing_mm=0.1)
        left.say(
            0.3, float(dose[-1]), f"{offset:.0f}{NB}mm, ±{NB}{spread:.2g}{NB}%", dy=4.5 + (5 if offset == 2.0 else -3)
        )
    right = Plot(paper, 470, 48, 270, 222, (0.5, 4.0), (1e-3, 1.0), log_y=True)
    right.axes(
        "line spacing over beam radius, p/w",
        "modulation (max − min)/(max + min)",
        x_ticks=(0.5, 1, 2, 3, 4),
        y_ticks=(0.001, 0.01, 0.1, 1),
    )
    ratio = np.linspace(0.5, 4.0, 211)
    exact = np.array([ripple_modulation(beam_radius_mm=1.0, line_spacing_mm=float(r)) for r in ratio])
    right.draw(ratio, 2.0 * np.exp(-0.5 * (math.pi / ratio) ** 2), ink=INK2, width=1.0, dash="4 3")
    right.draw(ratio, exact, width=2.0)
    right.say(2.05, 0.62, "leading term", dx=-6, anchor=1.0, ink=INK2)
    for offset in (0.0, 1.0):
        at = 0.1 / radius(offset)
        value = ripple_modulation(beam_radius_mm=radius(offset), line_spacing_mm=0.1)
        right.dot(at, value)
        right.say(at, value, f"0.1{NB}mm apart, {offset:.0f}{NB}mm off", dx=10, dy=9)
    return paper


def curve() -> Paper:
    """The starting value of hard maple, with what is not known of it."""
    wood = next(w for w in bench().woods.values() if w.id == "hard-maple")
    paper = Paper(
        760,
        390,
        "Characteristic curve of hard maple, a starting value",
        "Tone in L* against dose at a dwell of 1 ms, with one standard deviation of what a person will meet, the char limit and "
        "the dose that gives L* 38.",
    )
    plot = Plot(paper, 84, 48, 600, 282, (0.06, 3.0), (10, 95), log_x=True)
    plot.axes("dose at a dwell of 1 ms, J/mm²", "", x_ticks=(0.1, 0.2, 0.5, 1, 2), y_ticks=(20, 40, 60, 80))
    paper.text(50, 34, "tone, L*", ink=INK2)
    for level in range(10, 95):  # the axis carries the tones themselves
        low, high = plot.place(0.06, level), plot.place(0.06, level + 1)
        paper.box(low[0] - 46, high[1], 14, low[1] - high[1] + 0.4, fill=burnt(level + 0.5))
    x = np.log10(np.geomspace(0.06, 3.0, 201))
    tone = tone_L(wood.curve, x)
    low_x, high_x = usable_range(wood.curve)
    within = (x >= low_x) & (x <= high_x)
    spread = np.array([tone_sd_L(wood.curve, log10_dose=float(v), dwell_ms=1.0) for v in x[within]])
    upper = [plot.place(10.0**a, b) for a, b in zip(x[within], np.minimum(tone[within] + spread, 95.0), strict=True)]
    lower = [plot.place(10.0**a, b) for a, b in zip(x[within], tone[within] - spread, strict=True)]
    paper.path([*upper, *lower[::-1]], fill=INK)
    plot.draw(10.0 ** x[within], tone[within], width=2.5)
    plot.draw(10.0 ** x[~within & (x < low_x)], tone[~within & (x < low_x)], ink=INK2, dash="4 3")
    plot.draw(10.0 ** x[~within & (x > high_x)], tone[~within & (x > high_x)], ink=INK2, dash="4 3")
    char = 10.0**wood.curve.x_char
    plot.draw(np.array([char, char]), np.array([10.0, 95.0]), ink=STOP, width=1.0)
    plot.say(char, 91, "char limit", ink=STOP)
    dose = 10.0 ** exposure_for_tone(wood.curve, 38.0)
    plot.draw(np.array([0.06, dose, dose]), np.array([38.0, 38.0, 10.0]), ink=DEED, width=1.0, dash="2 3")
    plot.say(0.065, 38, f"L*{NB}38 wished", dx=0, dy=-6, ink=DEED)
    plot.say(dose, 12, f"{dose:.2f}{NB}J/mm²", ink=DEED)
    plot.say(0.105, 73, "band: ± one standard deviation of what you meet", dx=0, dy=20, ink=INK2)
    return paper


def burnt(level: float) -> str:
    """Return the colour of a tone on the exposure scale."""
    levels = np.array([v for v, _ in BURNT[::-1]], dtype=np.float64)
    channels = np.array([[int(c[i : i + 2], 16) for i in (1, 3, 5)] for _, c in BURNT[::-1]], dtype=np.float64)
    return "#" + "".join(f"{round(float(np.interp(level, levels, channels[:, k]))):02X}" for k in range(3))


def banding() -> Paper:
    """What goes unseen, and what a recipe leaves."""
    wish = demo_wish("mixed-eights", "front")
    paper = Paper(
        760,
        330,
        "Banding: what is seen and what there is",
        "Left: least visible peak to valley against line spacing at 300 mm and 1000 mm, with and without the ceiling of 1 L*. "
        "Right: predicted banding of hard maple at L* 38 against focus offset for four line spacings.",
    )
    left = Plot(paper, 54, 48, 270, 222, (0.04, 1.0), (0.1, 10.0), log_x=True, log_y=True)
    left.axes(
        "line spacing, mm",
        "least banding that is seen, L*",
        x_ticks=(0.05, 0.1, 0.2, 0.5, 1),
        y_ticks=(0.1, 0.3, 1, 3, 10),
    )
    period = np.geomspace(0.04, 1.0, 161)
    for distance, at in ((300.0, 0.128), (1000.0, 0.42)):
        seen = contrast_sensitivity(cycles_per_degree(period_mm=period, distance_mm=distance))
        contrast = np.minimum(0.5, 1.0 / (PEAK_CONTRAST_SENSITIVITY * np.maximum(seen, 1e-6)))
        mean = luminance(38.0)
        eye = lightness_L(mean * (1.0 + contrast)) - lightness_L(mean * (1.0 - contrast))
        left.draw(period, eye, ink=INK2, width=1.0, dash="4 3")
        left.draw(period, unseen_banding_L(tone=38.0, period_mm=period, distance_mm=distance), width=2.0)
        left.say(at, 5.0, f"{distance:.0f}{NB}mm away", dx=0, ink=INK2)
    left.say(0.042, 1.0, f"ceiling, 1{NB}L*", dx=0, dy=18)
    right = Plot(paper, 440, 48, 210, 222, (0.0, 3.0), (0.1, 30.0), log_y=True)
    right.axes(
        "focus offset, mm",
        f"banding of hard maple at L*{NB}38, L*",
        x_ticks=(0, 1, 2, 3),
        y_ticks=(0.1, 0.3, 1, 3, 10, 30),
    )
    offsets = np.linspace(0.0, 3.0, 121)
    for spacing in (0.08, 0.10, 0.12, 0.16):
        left_over = np.array([banding_L(wish, focus_offset_mm=float(z), line_spacing_mm=spacing) for z in offsets])
        right.draw(offsets, left_over, width=2.0)
        last = int(np.flatnonzero(left_over >= 0.1)[-1])
        words = f"{spacing:.2f}{NB}mm apart" if spacing == 0.16 else f"{spacing:.2f}"
        right.say(float(offsets[last]), float(left_over[last]), words, dx=5, dy=-4 if last < 120 else 4.5)
    right.draw(np.array([0.0, 3.0]), np.array([1.0, 1.0]), ink=DEED, width=1.0, dash="2 3")
    right.say(3.0, 1.0, "unseen below", ink=DEED)
    return paper


def motion() -> Paper:
    """One scan line with its run-up, and how far the run-up is."""
    machine = bench().machine
    paper = Paper(
        760,
        330,
        "A scan line and its run-up",
        "Left: speed over place along one line of 60 mm at 300 mm/s, with and without limited jerk. Right: run-up against speed "
        "for the axes of the demo's bench.",
    )
    speed, jerk = 300.0, machine.jerk_mm_per_s3
    ways = (("x", machine.accel_x_mm_per_s2), ("y", machine.accel_y_mm_per_s2))
    left = Plot(paper, 54, 48, 290, 222, (-20.0, 80.0), (0.0, 400.0))
    left.axes("along the line, mm", "speed, mm/s", x_ticks=(0, 20, 40, 60), y_ticks=(0, 100, 200, 300, 400))
    burn = (left.place(0.0, 0.0), left.place(60.0, 345.0))
    paper.box(burn[0][0], burn[1][1], burn[1][0] - burn[0][0], burn[0][1] - burn[1][1], fill="#EAD3A9")
    left.say(30.0, 320, "burns", dx=0, anchor=0.5)
    for limit, dash, width in ((None, "4 3", 1.0), (jerk, "", 2.0)):
        place, reached = ramp(speed, accel_mm_per_s2=ways[0][1], jerk_mm_per_s3=limit)
        line = np.concatenate([place - place[-1], 60.0 + place[-1] - place[::-1]])
        left.draw(line, np.concatenate([reached, reached[::-1]]), dash=dash, width=width)
        need = float(run_up_mm(speed, accel_mm_per_s2=ways[0][1], jerk_mm_per_s3=limit))
        left.say(
            -19.0,
            372 if limit is None else 400,
            f"{'without' if limit is None else 'with'} jerk limit: {need:.1f}{NB}mm of run-up",
            dx=0,
            dy=10,
        )
    right = Plot(paper, 430, 48, 230, 222, (0.0, 600.0), (0.0, 100.0))
    right.axes("speed, mm/s", "run-up, mm", x_ticks=(0, 200, 400, 600), y_ticks=(0, 25, 50, 75, 100))
    speeds = np.linspace(0.0, 600.0, 121)
    for name, accel in ways:
        for limit, dash, width in ((None, "4 3", 1.0), (jerk, "", 2.0)):
            need = run_up_mm(speeds, accel_mm_per_s2=accel, jerk_mm_per_s3=limit)
            right.draw(speeds, need, dash=dash, width=width)
            right.say(
                600.0,
                float(need[-1]),
                f"{name}, {'v²/2a' if limit is None else 'limited jerk'}",
                dy=4.5 + (6 if name == "x" and limit is None else 0) - (2 if name == "y" and limit is None else 0),
            )
    return paper


def ramp(
    speed_mm_per_s: float, *, accel_mm_per_s2: float, jerk_mm_per_s3: float | None
) -> tuple[FloatArray, FloatArray]:
    """Return place [mm] and speed [mm/s] on the way from rest to a speed, by stepping through the acceleration."""
    whole_s = float(time_to_speed_s(speed_mm_per_s, accel_mm_per_s2=accel_mm_per_s2, jerk_mm_per_s3=jerk_mm_per_s3))
    time = np.linspace(0.0, whole_s, 241)
    if jerk_mm_per_s3 is None:
        accel = np.full(time.shape, accel_mm_per_s2)
    else:
        accel = np.minimum(accel_mm_per_s2, jerk_mm_per_s3 * np.minimum(time, whole_s - time))
    step = whole_s / 240.0
    reached = np.concatenate([[0.0], np.cumsum(0.5 * (accel[1:] + accel[:-1]) * step)])
    place = np.concatenate([[0.0], np.cumsum(0.5 * (reached[1:] + reached[:-1]) * step)])
    return place, reached


def detail() -> Paper:
    """Dose in the middle of strokes and gaps, and the narrowest that is kept."""
    paper = Paper(
        760,
        330,
        "The narrowest stroke and gap",
        "Left: dose in the middle of a stroke and of a gap against its width over the beam radius. Right: narrowest stroke and gap "
        "kept against focus offset for three line spacings on the demo's bench.",
    )
    share = 0.6
    left = Plot(paper, 54, 48, 280, 222, (0.0, 2.5), (0.0, 1.0))
    left.axes(
        "width over beam radius",
        "dose in the middle over that of a wide area",
        x_ticks=(0, 0.5, 1, 1.5, 2, 2.5),
        y_ticks=(0, 0.25, 0.5, 0.75, 1),
    )
    width = np.linspace(0.0, 2.5, 121)
    left.draw(width, erf(width / math.sqrt(2.0)), width=2.0)
    left.draw(width, 1.0 - erf(width / math.sqrt(2.0)), width=2.0, dash="7 4")
    left.say(1.75, 0.95, "stroke", dx=0, dy=22)
    left.say(1.45, 0.12, "gap", dx=4, dy=-6)
    left.draw(np.array([0.0, 2.5]), np.array([share, share]), ink=DEED, width=1.0, dash="2 3")
    left.say(2.5, share, "half of the tone, f = 0.6", dx=0, dy=-6, anchor=1.0, ink=DEED)
    kept = float(
        narrowest_kept_mm(beam_radius_mm=1.0, smear_mm=0.0, line_spacing_mm=0.0, half_tone_dose_fraction=share)
    )
    left.dot(kept, share)
    left.say(kept, share, f"{kept:.2f}{NB}w", dx=8, dy=16)
    right = Plot(paper, 440, 48, 210, 222, (0.0, 3.0), (0.0, 0.4))
    right.axes("focus offset, mm", "narrowest kept, mm", x_ticks=(0, 1, 2, 3), y_ticks=(0, 0.1, 0.2, 0.3, 0.4))
    offsets = np.linspace(0.0, 3.0, 61)
    radii = beam_radius_mm(beam_of_lens(bench().lens), offset_mm=offsets)
    for spacing in (0.06, 0.10, 0.16):
        narrowest = narrowest_kept_mm(
            beam_radius_mm=radii,
            smear_mm=300.0 * bench().machine.rise_time_s,
            line_spacing_mm=spacing,
            half_tone_dose_fraction=share,
        )
        right.draw(offsets, narrowest, width=2.0)
        inside = int(np.flatnonzero(narrowest <= 0.4)[-1])
        at, value = float(offsets[inside]), float(narrowest[inside])
        right.say(at, value, f"{spacing:.2f}{NB}mm apart" if spacing == 0.10 else f"{spacing:.2f}", dx=5)
    right.draw(np.array([0.0, 3.0]), np.array([0.25, 0.25]), ink=DEED, width=1.0, dash="2 3")
    right.say(3.0, 0.25, "wished, 0.25", ink=DEED)
    return paper


SHORT = {
    "detail": "D",
    "sharpness": "S",
    "banding": "B",
    "warp": "W",
    "char": "C",
    "tone": "T",
    "run-up": "R",
    "power": "P",
}


def recipe() -> Paper:
    """Least time for each line spacing and focus offset, or what gives way there."""
    wish = demo_wish("mixed-eights", "front")
    offsets = [float(z) for z in offsets_mm(wish.beam) if z <= 4.0]
    best = search(wish)
    cell, high, left, top = 43.0, 25.0, 84.0, 74.0
    paper = Paper(
        left + cell * len(SPACINGS_mm) + 22,
        top + high * len(offsets) + 62,
        "What the recipe search finds",
        "Least time in minutes for each line spacing and focus offset of the demo's mixed eights plaque, or the constraint that "
        "gives way there; the recipe taken is framed.",
    )
    paper.text(
        14,
        26,
        "least time, min, of the mark on the mixed eights plaque; speed, passes, scan axis and power are free",
        ink=INK2,
    )
    paper.text(14, top - 12, "offset, mm", size=TICK, ink=INK2)
    for i, spacing in enumerate(SPACINGS_mm):
        paper.text(left + cell * (i + 0.5), top - 12, f"{spacing:.2f}", size=TICK, anchor=0.5, ink=INK2)
    paper.text(left, top - 30, "line spacing, mm", size=TICK, ink=INK2)
    met: set[str] = set()
    for j, offset in enumerate(offsets):
        middle = top + high * j + 17
        paper.text(left - 12, middle, f"+{offset:.1f}", size=TICK, anchor=1.0, ink=INK2)
        paper.path([(14, top + high * j), (left + cell * len(SPACINGS_mm), top + high * j)], ink=RULE, width=1.0)
        for i, spacing in enumerate(SPACINGS_mm):
            held = replace(wish.hold, line_spacing_mm=float(spacing), focus_offset_mm=offset)
            found = search(replace(wish, hold=held))
            at = left + cell * (i + 0.5)
            if found.gave_way:
                worst = max(found.gave_way, key=CONSTRAINTS.index)
                met.add(worst)
                paper.text(at, middle, SHORT[worst], size=TICK, anchor=0.5, ink=RULE2)
            else:
                paper.text(at, middle, f"{found.time_s / 60.0:.1f}", size=TICK, anchor=0.5, bold=True)
            if (float(spacing), offset) == (best.line_spacing_mm, best.focus_offset_mm):
                paper.box(left + cell * i + 2, top + high * j + 1.5, cell - 4, high - 3, fill="none", edge=DEED)
    told = ", ".join(f"{SHORT[name]} {name}" for name in CONSTRAINTS if name in met)
    foot = top + high * len(offsets)
    paper.path([(14, foot), (left + cell * len(SPACINGS_mm), foot)], ink=RULE2, width=1.0)
    paper.text(14, foot + 24, f"a letter names the worst that gives way there: {told}", ink=INK2)
    paper.text(
        14,
        foot + 46,
        f"taken: {best.speed_mm_per_s:.0f}{NB}mm/s, {best.power_W:.1f}{NB}W, along {best.axis}, {best.passes} pass"
        f"{'es' if best.passes > 1 else ''}, {best.time_s / 60.0:.1f}{NB}min before its events are timed",
        ink=DEED,
    )
    return paper


def proof() -> Paper:
    """The edge of a stroke burnt forward and backward, as the dose map has it."""
    paper = Paper(
        760,
        330,
        "An edge burnt both ways",
        "Dose along the line near the left edge of a stroke, lines burnt to the right and to the left, without and with the lead.",
    )
    frames = (
        ("edges commanded where they are drawn", 54.0, False),
        ("edges commanded early by v times rise time", 440.0, True),
    )
    for words, left, lead in frames:
        plot = Plot(paper, left, 70, 280, 200, (-0.3, 0.5), (0.0, 1.0))
        plot.axes(
            "from the drawn edge, mm", "dose over that of a wide area", x_ticks=(-0.2, 0, 0.2, 0.4), y_ticks=(0, 0.5, 1)
        )
        paper.text(left - 34, 30, words, bold=True)
        plot.draw(np.array([0.0, 0.0]), np.array([0.0, 1.0]), ink=DEED, width=1.0, dash="2 3")
        for forward, dash in ((True, ""), (False, "7 4")):
            place, dose = edge(bench().machine, lead=lead, forward=forward)
            plot.draw(place, dose, width=2.0, dash=dash)
        plot.say(0.26, 0.30, "burnt to the right", dx=0)
        plot.say(0.26, 0.17, "burnt to the left", dx=0)
        for y, dash in ((0.30, ""), (0.17, "7 4")):
            plot.draw(np.array([0.17, 0.245]), np.array([y, y]), width=2.0, dash=dash)
    return paper


def edge(machine: Machine, *, lead: bool, forward: bool) -> tuple[FloatArray, FloatArray]:
    """Return places along the line [mm] and dose over that of a wide area near the left edge of a stroke."""
    pixel, speed, spacing, begin = 0.01, 400.0, 0.1, 100.0
    picture = np.full((80, 40), 30.0, np.float32)  # 80 lines, 4 mm long
    led = machine if lead else replace(machine, rise_time_s=0.0)
    events = raster_events(
        led,
        picture,
        axis="x",
        along_origin_mm=begin,
        cross_origin_mm=0.0,
        line_spacing_mm=spacing,
        speed_mm_per_s=speed,
        passes=1,
    )
    grid = DoseGrid(x0_mm=begin - 1.0, y0_mm=0.0, pixel_x_mm=pixel, pixel_y_mm=0.05, rows=160, columns=300)
    lines = collect(events, grid)
    none = np.zeros_like(lines.forward_J)
    one_way = replace(lines, backward_J=none) if forward else replace(lines, forward_J=none)
    dose = dose_map_J_per_mm2(one_way, beam_radius_mm=radius(0.5), rise_time_s=machine.rise_time_s)[60:100].mean(axis=0)
    place = (np.arange(300) + 0.5) * pixel - 1.0
    wide = dose[180:200].mean()
    kept = (place >= -0.3) & (place <= 0.5)
    return place[kept], np.asarray(dose[kept] / wide, np.float64)


FIGURES: dict[str, Callable[[], Paper]] = {
    "exposure": exposure,
    "curve": curve,
    "banding": banding,
    "motion": motion,
    "detail": detail,
    "recipe": recipe,
    "proof": proof,
}


def main() -> None:
    """Draw all of them."""
    for name, draw in FIGURES.items():
        (HERE / f"{name}.svg").write_text(draw().svg(), encoding="utf-8", newline="\n")
        print(f"drew docs/how-it-works/{name}.svg")


if __name__ == "__main__":
    main()
