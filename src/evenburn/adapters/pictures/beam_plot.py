"""A fitted beam on paper: radius squared against stand-off, the parabola with its band of belief, each set-up by itself."""

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
from evenburn.core.errors import StorageError
from evenburn.core.optics.beam_fit import BeamFit

FloatArray = NDArray[np.float64]

WIDE_px, HIGH_px, DPI = 2000, 1420, 200
SMOOTH = 2
WHITE, INK, QUIET, GRID, BAND, DEED = "#FFFFFF", "#17221E", "#56635D", "#D5DCD6", "#D3DDD6", "#0E5266"
TITLE = Type(face="sheet-serif-bold", size_px=52, colour=INK)
DETAIL = Type(face="sheet-serif", size_px=27, colour=QUIET)
FIGURE = Type(face="sheet-sans-bold", size_px=36, colour=INK)
TEXT = Type(face="sheet-sans", size_px=25, colour=INK)
SMALL = Type(face="sheet-sans", size_px=23, colour=QUIET)
BOX = (190, 300, 1930, 1130)
NB = "\u00a0"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Frame:
    """From offset and radius squared to the page."""

    x: tuple[float, float]
    y: tuple[float, float]

    def at(self, x: float, y: float) -> tuple[float, float]:
        left, top, right, bottom = BOX
        u = (x - self.x[0]) / (self.x[1] - self.x[0])
        v = (y - self.y[0]) / (self.y[1] - self.y[0])
        return left + u * (right - left), bottom - v * (bottom - top)


def write_beam_plot(fit: BeamFit, target: Path, *, title: str, detail: str) -> None:
    """Write the plot as PNG, 200 dots to the inch.

    Raises
    ------
    StorageError
        If the file cannot be written.
    """
    data = BytesIO()
    beam_plot(fit, title=title, detail=detail).save(data, format="PNG", dpi=(DPI, DPI))
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


def beam_plot(fit: BeamFit, *, title: str, detail: str) -> Image.Image:
    """Return the plot: squares of radii, the parabola of both axes together, its band of belief, the waist in words."""
    low, high = float(fit.offset_mm.min()), float(fit.offset_mm.max())
    room = 0.06 * (high - low)
    grid = np.linspace(low - room, high + room, 161)
    middle, band = _band(fit, grid)
    squares = np.square(fit.radius_mm)
    top = 1.12 * float(max(np.quantile(squares, 0.98), middle.max()))
    step = _step(top)
    frame = _Frame(x=(low - room, high + room), y=(0.0, step * math.ceil(top / step)))
    large = Image.new("RGB", (WIDE_px * SMOOTH, HIGH_px * SMOOTH), WHITE)
    canvas = ImageDraw.Draw(large)
    for level in np.arange(0.0, frame.y[1] + 0.5 * step, step):
        _line(canvas, [frame.at(frame.x[0], level), frame.at(frame.x[1], level)], colour=GRID)
    edge = [frame.at(float(x), float(np.clip(y, *frame.y))) for x, y in zip(grid, band[1], strict=True)]
    edge += [frame.at(float(x), float(np.clip(y, *frame.y))) for x, y in zip(grid[::-1], band[0][::-1], strict=True)]
    canvas.polygon([(x * SMOOTH, y * SMOOTH) for x, y in edge], fill=BAND)
    _line(canvas, [frame.at(float(x), float(y)) for x, y in zip(grid, middle, strict=True)], colour=INK, width=4.0)
    waist = fit.waist_offset_mm
    _line(canvas, [frame.at(waist, frame.y[0]), frame.at(waist, frame.y[1])], colour=DEED, width=2.5)
    for z, x, r, s in zip(fit.offset_mm, fit.along_x, fit.radius_mm, fit.radius_sd_mm, strict=True):
        ends = [frame.at(float(z), float(np.clip((max(r + k * 2.0 * s, 0.0)) ** 2, *frame.y))) for k in (-1.0, 1.0)]
        _line(canvas, ends, colour=INK)
        _dot(canvas, frame.at(float(z), float(np.clip(r * r, *frame.y))), filled=bool(x))
    _line(canvas, [frame.at(frame.x[0], 0.0), frame.at(frame.x[1], 0.0)], colour=INK, width=2.5)
    image = large.resize((WIDE_px, HIGH_px), Image.Resampling.BOX)
    _write(ImageDraw.Draw(image), fit, frame, step=step, title=title, detail=detail)
    return image


def _band(fit: BeamFit, grid: FloatArray) -> tuple[FloatArray, tuple[FloatArray, FloatArray]]:
    """Return the parabola and its two-sided band of 95 %, from the covariance of its three numbers."""
    w, z, at = fit.beam.waist_radius_mm, fit.beam.rayleigh_length_mm, fit.waist_offset_mm
    ratio = (grid - at) / z
    middle = w * w * (1.0 + ratio * ratio)
    slopes = np.column_stack([2.0 * w * (1.0 + ratio**2), -2.0 * w * w * ratio**2 / z, -2.0 * w * w * ratio / z])
    sd = np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", slopes, fit.covariance, slopes), 0.0))
    return middle, (np.maximum(middle - 2.0 * sd, 0.0), middle + 2.0 * sd)


def _step(top: float) -> float:
    raw = top / 6.0
    power = 10.0 ** math.floor(math.log10(raw))
    return float(next(m * power for m in (1.0, 2.0, 2.5, 5.0, 10.0) if m * power >= raw))


def _line(canvas: ImageDraw.ImageDraw, points: list[tuple[float, float]], *, colour: str, width: float = 2.0) -> None:
    canvas.line([(x * SMOOTH, y * SMOOTH) for x, y in points], fill=colour, width=round(width * SMOOTH))


def _dot(canvas: ImageDraw.ImageDraw, place: tuple[float, float], *, filled: bool) -> None:
    x, y, r = place[0] * SMOOTH, place[1] * SMOOTH, 9 * SMOOTH
    canvas.ellipse((x - r, y - r, x + r, y + r), fill=INK if filled else WHITE, outline=INK, width=3 * SMOOTH)


def _write(canvas: ImageDraw.ImageDraw, fit: BeamFit, frame: _Frame, *, step: float, title: str, detail: str) -> None:
    left, _, right, bottom = BOX
    TITLE.draw(canvas, (left - 60, 90), TITLE.shortened(title, width_px=right - left))
    DETAIL.draw(canvas, (left - 60, 138), DETAIL.shortened(detail, width_px=right - left + 60))
    figures = (
        f"waist radius {fit.beam.waist_radius_mm:.3f} ± {fit.waist_radius_sd_mm:.3f}{NB}mm",
        f"Rayleigh length {fit.beam.rayleigh_length_mm:.2f} ± {fit.rayleigh_length_sd_mm:.2f}{NB}mm",
        f"waist at {_signed(fit.waist_offset_mm)} ± {fit.waist_offset_sd_mm:.2f}{NB}mm",
    )
    for n, text in enumerate(figures):
        FIGURE.draw(canvas, (left - 60 + 640 * n, 212), text)
    SMALL.draw(canvas, (left - 60, 268), "beam radius squared, mm²")
    decimals = max(0, -math.floor(math.log10(step) + 1e-9)) + (1 if abs(step / 10 ** math.floor(math.log10(step)) - 2.5) < 1e-6 else 0)  # fmt: skip
    for level in np.arange(0.0, frame.y[1] + 0.5 * step, step):
        TEXT.draw(canvas, (left - 16, frame.at(frame.x[0], level)[1]), f"{level:.{decimals}f}", anchor="rm")
    for z in np.unique(fit.offset_mm):
        TEXT.draw(canvas, (frame.at(float(z), 0.0)[0], bottom + 38), _signed(float(z), decimals=1), anchor="ms")
    SMALL.draw(canvas, (0.5 * (left + right), bottom + 80), "focus offset, mm", anchor="ms")
    x, y = frame.at(fit.waist_offset_mm, frame.y[1])
    side = "ls" if x < 0.6 * (left + right) else "rs"
    Type(face="sheet-sans-bold", size_px=25, colour=DEED).draw(
        canvas, (x + (14 if side == "ls" else -14), y + 26), "the waist", anchor=side
    )
    foot = bottom + 150
    canvas.ellipse((left - 60, foot - 20, left - 42, foot - 2), fill=INK, outline=INK, width=3)
    TEXT.draw(canvas, (left - 30, foot), "from lines along x, across y")
    canvas.ellipse((left + 360, foot - 20, left + 378, foot - 2), fill=WHITE, outline=INK, width=3)
    TEXT.draw(canvas, (left + 390, foot), "from lines along y, across x; each by its own lines alone, ± 2 sd")
    canvas.rectangle((left - 60, foot + 22, left - 22, foot + 44), fill=BAND)
    canvas.line((left - 60, foot + 33, left - 22, foot + 33), fill=INK, width=4)
    TEXT.draw(canvas, (left - 6, foot + 42), "the beam as all of them say, and where it lies with 95 % belief")


def _signed(value: float, *, decimals: int = 2) -> str:
    return f"{value:+.{decimals}f}".replace("-", "−") if round(value, decimals) else "0"
