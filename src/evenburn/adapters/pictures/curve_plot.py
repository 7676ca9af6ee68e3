"""A fitted curve on paper: patches with their doubt, the curve with its band of belief, what was left out, residuals."""

from __future__ import annotations

import math
import os
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from evenburn.adapters.pictures.sheet_type import Type
from evenburn.core.card.learning import Learnt
from evenburn.core.errors import StorageError
from evenburn.core.nouns.wood import CURVE_PARAMETERS
from evenburn.core.response.curve import exposure_shift, fit_sd_L, tone_L, usable_range
from evenburn.core.tone.colour import srgb_from_lab

FloatArray = NDArray[np.float64]

WIDE_px, HIGH_px, DPI = 2000, 1560, 200
SMOOTH = 2  # shapes are drawn so much larger and averaged down
WHITE, INK, QUIET, GRID, BAND, DEED = "#FFFFFF", "#17221E", "#56635D", "#D5DCD6", "#D3DDD6", "#0E5266"
TITLE = Type(face="sheet-serif-bold", size_px=52, colour=INK)
DETAIL = Type(face="sheet-serif", size_px=27, colour=QUIET)
FIGURE = Type(face="sheet-sans-bold", size_px=36, colour=INK)
HEAD = Type(face="sheet-serif-bold", size_px=30, colour=INK)
TEXT = Type(face="sheet-sans", size_px=25, colour=INK)
SMALL = Type(face="sheet-sans", size_px=23, colour=QUIET)
BOLD = Type(face="sheet-sans-bold", size_px=25, colour=INK)
LEFT, RIGHT = 170, 1930
TOP, BOTTOM = 300, 960
LOW, LOWEST = 1120, 1290
SPAN_px = 26  # of the strip of tones beside the axis
TICKS_J_per_mm2 = tuple(
    float(f"{m}e{e}") for e in range(-4, 3) for m in (1, 2, 5)
)  # said in words; each decade is divided alike
OUTLIER = 0.5  # a weight below it is drawn hollow
WARM_ab = (6.0, 17.0)
NB = "\u00a0"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Frame:
    """From numbers to the page: a panel of the plot."""

    x: tuple[float, float]
    y: tuple[float, float]
    box: tuple[int, int, int, int]

    def at(self, x: float, y: float) -> tuple[float, float]:
        left, top, right, bottom = self.box
        u = (x - self.x[0]) / (self.x[1] - self.x[0])
        v = (y - self.y[0]) / (self.y[1] - self.y[0])
        return left + u * (right - left), bottom - v * (bottom - top)


def write_curve_plot(learnt: Learnt, target: Path, *, title: str, detail: str) -> None:
    """Write the plot as PNG, 200 dots to the inch.

    Raises
    ------
    StorageError
        If the file cannot be written.
    """
    data = BytesIO()
    curve_plot(learnt, title=title, detail=detail).save(data, format="PNG", dpi=(DPI, DPI))
    part = target.with_name(f"{target.name}.part")
    try:
        with part.open("wb") as file:
            file.write(data.getvalue())
            file.flush()
            os.fsync(file.fileno())
        part.replace(target)
    except OSError as problem:
        part.unlink(missing_ok=True)
        raise StorageError(
            f"{target.name} could not be written: {problem.strerror or problem}",
            hint="Is the folder there and yours, and the disk not full?",
        ) from problem


def curve_plot(learnt: Learnt, *, title: str, detail: str) -> Image.Image:
    """Return the plot: curve and patches above, residuals below, and in words what is what."""
    curve = learnt.curve
    shown = np.concatenate((learnt.exposures(), learnt.out_exposures()))
    across = (float(min(shown.min(), curve.x_low)) - 0.06, float(max(shown.max(), curve.x_char)) + 0.1)
    tones = np.concatenate(
        (learnt.gathered.observed.tone_L, [curve.bare_L], [p.tone_L for _, p, _ in learnt.gathered.left_out])
    )
    up = (10.0 * math.floor((tones.min() - 3.0) / 10.0), 10.0 * math.ceil((tones.max() + 3.0) / 10.0))
    main = _Frame(x=across, y=up, box=(LEFT, TOP, RIGHT, BOTTOM))
    most = _reach(learnt.fitted.residual_L)
    rest = _Frame(x=across, y=(-most, most), box=(LEFT, LOW, RIGHT, LOWEST))

    large = Image.new("RGB", (WIDE_px * SMOOTH, HIGH_px * SMOOTH), WHITE)
    pen = _Pen(ImageDraw.Draw(large))
    _draw_grid(pen, main, rest)
    _draw_char(pen, learnt, main, rest)
    _draw_curve(pen, learnt, main)
    _draw_patches(pen, learnt, main)
    _draw_residuals(pen, learnt, rest)
    _draw_keys(pen, _keys(learnt))
    image = large.resize((WIDE_px, HIGH_px), Image.Resampling.BOX)
    canvas = ImageDraw.Draw(image)
    _write_head(canvas, learnt, title=title, detail=detail)
    _write_axes(canvas, main, rest)
    _write_notes(canvas, learnt, main)
    _write_outside(canvas, learnt, rest)
    _write_keys(canvas, _keys(learnt))
    _write_left_out(canvas, learnt)
    return image


class _Pen:
    """Draws on the enlarged page in the units of the small one."""

    def __init__(self, canvas: ImageDraw.ImageDraw) -> None:
        self._canvas = canvas

    def line(self, points: list[tuple[float, float]], *, colour: str, width: float = 2.0) -> None:
        self._canvas.line([(x * SMOOTH, y * SMOOTH) for x, y in points], fill=colour, width=round(width * SMOOTH))

    def dashed(
        self, a: tuple[float, float], b: tuple[float, float], *, colour: str, dash: float = 10.0, width: float = 2.0
    ) -> None:
        count = max(1, round(math.dist(a, b) / (1.8 * dash)))
        for n in range(count):
            s, e = n / count, (n + 0.55) / count
            self.line(
                [(a[0] + (b[0] - a[0]) * t, a[1] + (b[1] - a[1]) * t) for t in (s, e)], colour=colour, width=width
            )

    def area(self, points: list[tuple[float, float]], *, colour: str) -> None:
        self._canvas.polygon([(x * SMOOTH, y * SMOOTH) for x, y in points], fill=colour)

    def dot(self, place: tuple[float, float], *, radius: float, fill: str, square: bool = False) -> None:
        x, y = place[0] * SMOOTH, place[1] * SMOOTH
        r = radius * SMOOTH
        shape = self._canvas.rectangle if square else self._canvas.ellipse
        shape((x - r, y - r, x + r, y + r), fill=fill, outline=INK, width=round(2.0 * SMOOTH))

    def arrow(self, tip: tuple[float, float], *, up: bool) -> None:
        x, y = tip
        down = 16.0 if up else -16.0
        self.area([(x, y), (x - 9.0, y + down), (x + 9.0, y + down)], colour=INK)

    def cross(self, place: tuple[float, float], *, radius: float) -> None:
        x, y = place
        for s in (-1.0, 1.0):
            self.line(
                [(x - radius, y - s * radius), (x + radius, y + s * radius)],
                colour=DEED,
                width=3.0,
            )


def _reach(residual: FloatArray) -> float:
    """Return how far the panel of residuals reaches: to all but the wildest."""
    return float(max(2.0, math.ceil(1.25 * float(np.quantile(np.abs(residual), 0.96)))))


def _warm(tone: float) -> str:
    """Return a tone as a colour of wood under the beam."""
    lab = np.array([float(np.clip(tone, 0.0, 100.0)), *WARM_ab])
    red, green, blue = (round(255.0 * float(v)) for v in np.clip(srgb_from_lab(lab), 0.0, 1.0))
    return f"#{red:02X}{green:02X}{blue:02X}"


def _draw_grid(pen: _Pen, main: _Frame, rest: _Frame) -> None:
    for tone in range(round(main.y[0]), round(main.y[1]) + 1, 10):
        pen.line([main.at(main.x[0], tone), main.at(main.x[1], tone)], colour=GRID)
    step = (main.y[1] - main.y[0]) / 60.0
    for n in range(60):  # the strip of tones beside the axis
        low = main.y[0] + n * step
        (_, y0), (_, y1) = main.at(0.0, low), main.at(0.0, low + step)
        left = LEFT - SPAN_px - 8
        pen.area([(left, y0), (left + SPAN_px, y0), (left + SPAN_px, y1), (left, y1)], colour=_warm(low + 0.5 * step))
    for frame in (main, rest):
        for dose in _all_ticks(frame.x):
            said = dose in _said(frame.x)
            x, y = frame.at(math.log10(dose), frame.y[0])
            pen.line([(x, y), (x, y + (12 if said else 7))], colour=INK)
        pen.line([frame.at(frame.x[0], frame.y[0]), frame.at(frame.x[1], frame.y[0])], colour=INK, width=2.5)


def _said(x: tuple[float, float]) -> list[float]:
    """Return the ticks that bear numbers: 1, 2, 5 of each decade, all that have room where that leaves few."""
    every = _all_ticks(x)
    some = [t for t in every if t in TICKS_J_per_mm2]
    return some if len(some) >= 5 else [t for t in every if f"{t:e}"[0] not in "89"]


def _all_ticks(x: tuple[float, float]) -> list[float]:
    low, high = 10.0 ** x[0], 10.0 ** x[1]
    return [t for e in range(-4, 3) for m in range(1, 10) if low <= (t := float(f"{m}e{e}")) <= high]


def _draw_char(pen: _Pen, learnt: Learnt, main: _Frame, rest: _Frame) -> None:
    limit = learnt.curve.x_char
    left, top = main.at(limit, main.y[1])
    right, bottom = main.at(main.x[1], main.y[0])
    for at in np.arange(left - (bottom - top), right, 18.0):
        x0, y0, x1, y1 = float(at), bottom, float(at) + (bottom - top), top
        if x0 < left:
            x0, y0 = left, bottom - (left - x0)
        if x1 > right:
            x1, y1 = right, top + (x1 - right)
        if y0 > y1:
            pen.line([(x0, y0), (x1, y1)], colour=GRID, width=1.5)
    for frame in (main, rest):
        pen.line([frame.at(limit, frame.y[0]), frame.at(limit, frame.y[1])], colour=INK, width=2.5)


def _draw_curve(pen: _Pen, learnt: Learnt, main: _Frame) -> None:
    curve = learnt.curve
    dwell = float(np.median(learnt.gathered.observed.dwell_ms))
    shift = float(exposure_shift(curve, dwell_ms=dwell))
    grid = np.linspace(*main.x, 240)
    tones = tone_L(curve, grid)
    sd = np.array([fit_sd_L(curve, log10_dose=float(x) - shift, dwell_ms=dwell) for x in grid])
    low, high = (np.clip(tones + s * 2.0 * sd, *main.y) for s in (-1.0, 1.0))
    edge = [main.at(float(x), float(t)) for x, t in zip(grid, high, strict=True)]
    edge += [main.at(float(x), float(t)) for x, t in zip(grid[::-1], low[::-1], strict=True)]
    pen.area(edge, colour=BAND)
    pen.dashed(main.at(main.x[0], curve.bare_L), main.at(main.x[1], curve.bare_L), colour=QUIET)
    first, last = usable_range(curve)
    points = [main.at(float(x), float(t)) for x, t in zip(grid, tones, strict=True)]
    inside = (grid >= first) & (grid <= last)
    pen.line([p for p, ok in zip(points, inside, strict=True) if ok], colour=INK, width=4.0)
    for n in range(0, grid.size - 1, 2):
        if not inside[n]:
            pen.line(points[n : n + 2], colour=INK, width=2.5)


def _draw_patches(pen: _Pen, learnt: Learnt, main: _Frame) -> None:
    seen = learnt.gathered.observed
    for x, tone, sd, weight, passes in zip(
        learnt.exposures(), seen.tone_L, seen.tone_L_sd, learnt.fitted.weights, seen.passes, strict=True
    ):
        ends = [main.at(float(x), float(np.clip(tone + s * 2.0 * sd, *main.y))) for s in (-1.0, 1.0)]
        pen.line(ends, colour=INK)
        fill = WHITE if weight < OUTLIER else _warm(float(tone))
        pen.dot(main.at(float(x), float(tone)), radius=8.0, fill=fill, square=passes > 1.0)
    for x, (_, patch, _) in zip(learnt.out_exposures(), learnt.gathered.left_out, strict=True):
        pen.cross(main.at(float(x), patch.tone_L), radius=10.0)


def _draw_residuals(pen: _Pen, learnt: Learnt, rest: _Frame) -> None:
    seen, fitted = learnt.gathered.observed, learnt.fitted
    usual = 2.0 * math.hypot(fitted.scatter_L, learnt.gathered.own_sd_L())
    high = min(usual, rest.y[1])
    corners = [(rest.x[0], high), (rest.x[1], high), (rest.x[1], -high), (rest.x[0], -high)]
    pen.area([rest.at(x, y) for x, y in corners], colour="#EBF0EC")
    pen.line([rest.at(rest.x[0], 0.0), rest.at(rest.x[1], 0.0)], colour=INK)
    for x, residual, weight, passes in zip(
        learnt.exposures(), fitted.residual_L, fitted.weights, seen.passes, strict=True
    ):
        if abs(residual) > rest.y[1]:
            pen.arrow(rest.at(float(x), math.copysign(rest.y[1], residual)), up=residual > 0.0)
            continue
        place = rest.at(float(x), float(residual))
        pen.dot(place, radius=7.0, fill=WHITE if weight < OUTLIER else QUIET, square=passes > 1.0)


def _keys(learnt: Learnt) -> list[tuple[str, str]]:
    """Return what the legend names: the kind of mark and its words, only those that are there."""
    seen, weights = learnt.gathered.observed, learnt.fitted.weights
    keys = [("dot", "patch, with twice the doubt of its reading")]
    if float(seen.passes.max()) > 1.0:
        keys.append(("square", "burnt in two passes or more"))
    if float(weights.min()) < OUTLIER:
        keys.append(("hollow", "counts less: it lies off the others"))
    if learnt.gathered.left_out:
        keys.append(("cross", "left out, see below"))
    return [
        *keys,
        ("curve", "curve; broken where it is not to be used"),
        ("band", "95 % belief of the curve, at the card’s middle dwell"),
    ]


KEYS_y, KEY_STEP, KEY_COLUMNS = 1395, 40, 3


def _key_place(number: int) -> tuple[float, float]:
    wide = (RIGHT - LEFT) / KEY_COLUMNS
    return LEFT + wide * (number % KEY_COLUMNS), KEYS_y + KEY_STEP * (number // KEY_COLUMNS)


def _draw_keys(pen: _Pen, keys: list[tuple[str, str]]) -> None:
    for number, (kind, _) in enumerate(keys):
        x, y = _key_place(number)
        middle = (x + 18.0, y - 8.0)
        if kind in ("dot", "square", "hollow"):
            pen.line([(middle[0], middle[1] - 17.0), (middle[0], middle[1] + 17.0)], colour=INK)
            pen.dot(middle, radius=9.0, fill=WHITE if kind == "hollow" else "#9AA39E", square=kind == "square")
        elif kind == "cross":
            pen.cross(middle, radius=10.0)
        elif kind == "curve":
            pen.line([(x, middle[1]), (x + 36.0, middle[1])], colour=INK, width=4.0)
        else:
            pen.area([(x, y - 20.0), (x + 36.0, y - 20.0), (x + 36.0, y + 4.0), (x, y + 4.0)], colour=BAND)


def _write_keys(canvas: ImageDraw.ImageDraw, keys: list[tuple[str, str]]) -> None:
    for number, (_, words) in enumerate(keys):
        x, y = _key_place(number)
        TEXT.draw(canvas, (x + 50.0, y), words)


def _write_head(canvas: ImageDraw.ImageDraw, learnt: Learnt, *, title: str, detail: str) -> None:
    curve = learnt.curve
    figures = _figures(learnt)
    column = 268
    start = RIGHT - column * len(figures) + 40
    TITLE.draw(canvas, (60, 105), TITLE.shortened(title, width_px=start - 100))
    lines = DETAIL.lines(f"fitted {detail}", width_px=start - 110)
    for n, line in enumerate(lines[:2]):
        DETAIL.draw(canvas, (62, 152 + 34 * n), line)
    for n, (value, words) in enumerate(figures):
        FIGURE.draw(canvas, (start + column * n, 98), value)
        for k, line in enumerate(SMALL.lines(words, width_px=column - 44)[:2]):
            SMALL.draw(canvas, (start + column * n, 132 + 29 * k), line)
    canvas.line((60, 212, RIGHT, 212), fill=INK, width=2)
    HEAD.draw(canvas, (60, 258), "Characteristic curve")
    count = len(learnt.gathered.patches)
    aside = len(learnt.gathered.left_out)
    words = f"{count} patches" + (f", {aside} left out" if aside else "")
    words += f"; bare wood L*{NB}{curve.bare_L:.1f}"
    SMALL.draw(canvas, (60 + HEAD.width_px("Characteristic curve") + 28, 258), words)


def _figures(learnt: Learnt) -> list[tuple[str, str]]:
    curve = learnt.curve
    kappa_sd = math.sqrt(float(curve.covariance[CURVE_PARAMETERS.index("kappa"), CURVE_PARAMETERS.index("kappa")]))
    over = "across the board" if learnt.belief.one_board else "from board to board"
    measured = "boards read" if learnt.boards_measured > 1 else "believed"
    return [
        (f"{10.0**curve.x_char:.2f}{NB}J/mm²", f"char limit, at a dwell of 1{NB}ms"),
        (f"{curve.kappa:.3f} ± {kappa_sd:.3f}".replace("-", "−"), "κ, what a decade of dwell adds"),
        (f"{curve.evenness_L:.1f}{NB}L*", "from place to place"),
        (f"{curve.board_L:.1f}{NB}L*", f"{over}, {measured}"),
    ]


def _write_axes(canvas: ImageDraw.ImageDraw, main: _Frame, rest: _Frame) -> None:
    for tone in range(round(main.y[0]), round(main.y[1]) + 1, 10):
        _, y = main.at(main.x[0], tone)
        TEXT.draw(canvas, (LEFT - SPAN_px - 22, y), str(tone), anchor="rm")
    SMALL.draw(canvas, (LEFT - SPAN_px - 8, BOTTOM + 40), "tone, L*", anchor="rs")
    for dose in _said(main.x):
        x, y = main.at(math.log10(dose), main.y[0])
        TEXT.draw(canvas, (x, y + 40), f"{dose:g}", anchor="ms")
    words = "exposure in J/mm², log scale: energy per area, as much as acts like it at a dwell of 1 ms in one pass"
    SMALL.draw(canvas, (LEFT, BOTTOM + 82), words)
    HEAD.draw(canvas, (60, LOW - 28), "Residuals")
    SMALL.draw(
        canvas,
        (60 + HEAD.width_px("Residuals") + 28, LOW - 28),
        "read less fitted, L*; shaded: twice what reading and wood scatter; same scale of exposure",
    )
    most = rest.y[1]
    for value in (-most, 0.0, most):
        _, y = rest.at(rest.x[0], value)
        TEXT.draw(canvas, (LEFT - 16, y), f"{value:+.0f}".replace("-", "−") if value else "0", anchor="rm")


def _write_outside(canvas: ImageDraw.ImageDraw, learnt: Learnt, rest: _Frame) -> None:
    """Write beside the arrows how far the residuals beyond the panel lie off."""
    for x, residual, patch in zip(learnt.exposures(), learnt.fitted.residual_L, learnt.gathered.patches, strict=True):
        if abs(residual) > rest.y[1]:
            place, y = rest.at(float(x), math.copysign(rest.y[1], residual))
            text = f"{patch.patch.id} {residual:+.1f}".replace("-", "−")
            fits = place + 18 + SMALL.width_px(text) < RIGHT
            SMALL.draw(
                canvas,
                (place + (18 if fits else -18), y + (16 if residual > 0.0 else -2)),
                text,
                anchor="ls" if fits else "rs",
            )


def _write_notes(canvas: ImageDraw.ImageDraw, learnt: Learnt, main: _Frame) -> None:
    curve = learnt.curve
    darkens = curve.full_L < curve.bare_L
    x, y = main.at(main.x[0], curve.bare_L)
    SMALL.draw(canvas, (x + 14, y - 14 if darkens else y + 34), "bare surface")
    x, _ = main.at(curve.x_char, main.y[1])
    words = (("char limit", BOLD), (f"{10.0**curve.x_char:.2f}{NB}J/mm²", SMALL))
    wide = max(t.width_px(w) for w, t in words)
    room = RIGHT - x > wide + 24
    left = x + 14 if room else x - 14 - wide
    top = TOP + 8 if darkens else BOTTOM - 84
    if room:
        canvas.rectangle((left - 6, top, left + wide + 8, top + 70), fill=WHITE)
    for n, (text, kind) in enumerate(words):
        kind.draw(canvas, (left, top + 30 + 30 * n), text)


def _write_left_out(canvas: ImageDraw.ImageDraw, learnt: Learnt) -> None:
    left = learnt.gathered.left_out
    if not left:
        return
    reasons: dict[str, list[str]] = {}
    for _, patch, why in left:
        reasons.setdefault(" and ".join(why), []).append(patch.patch.id)
    text = "Left out: " + "; ".join(f"{', '.join(ids)} ({why})" for why, ids in reasons.items()) + "."
    below = KEYS_y + KEY_STEP * math.ceil(len(_keys(learnt)) / KEY_COLUMNS) + 12
    lines = TEXT.lines(text, width_px=RIGHT - LEFT)
    for n, line in enumerate(lines[:2]):
        last = n == 1 and len(lines) > 2
        TEXT.draw(canvas, (LEFT, below + 36 * n), f"{line} …" if last else line)
