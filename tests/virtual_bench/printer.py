"""The printed mat: what an ordinary office printer makes of a page that asks for exact greys."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from virtual_bench.colour import BANDS_nm, eye_y, luminance_of, srgb_linear

FloatArray = NDArray[np.float64]
Float32 = NDArray[np.float32]
Box = tuple[float, float, float, float]
SCREEN_mm = 25.4 / 106.0  # lines per inch of a usual office printer's halftone


@dataclass(frozen=True, slots=True, kw_only=True)
class Printer:
    """A printer and its paper. `tint` above 0 is bluish, below creamy; `gain` is how much darker the middle greys come out."""

    paper_L: float = 94.0
    tint: float = 0.1
    toner_L: float = 15.0
    gain: float = 0.08
    skewed: float = 0.0  # the gain is larger in light (above 0) or in dark greys
    scale: tuple[float, float] = (1.0, 1.0)
    streaks: float = 0.006
    screen: bool = True

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> Printer:
        """A printer at random, of an ordinary kind."""
        drift = rng.normal(0.0, 0.0015)
        return cls(
            paper_L=rng.uniform(91.0, 96.0),
            tint=rng.uniform(-1.0, 1.0),
            toner_L=rng.uniform(10.0, 22.0),
            gain=rng.uniform(-0.02, 0.14),
            skewed=rng.uniform(-0.5, 0.5),
            scale=(1.0 + drift + rng.normal(0.0, 0.0008), 1.0 + drift + rng.normal(0.0, 0.0015)),
            streaks=rng.uniform(0.0, 0.01),
        )

    @property
    def paper_bands(self) -> FloatArray:
        """(6,) reflectance of the paper."""
        slope = (BANDS_nm - 560.0) / 130.0
        return _of_luminance(1.0 - 0.035 * self.tint * slope, self.paper_L)

    @property
    def toner_bands(self) -> FloatArray:
        """(6,) reflectance of solid toner."""
        return _of_luminance(1.0 + 0.04 * (BANDS_nm - 560.0) / 130.0, self.toner_L)

    def ink_of(self, nominal_L: float | FloatArray) -> FloatArray:
        """Share of the way from paper to toner, in linear light, that a nominal grey comes out at."""
        aim = 1.0 - np.clip(luminance_of(nominal_L), 0.0, 1.0)
        grown = aim + 4.0 * self.gain * aim * (1.0 - aim) * (1.0 + self.skewed * (1.0 - 2.0 * aim))
        return np.asarray(np.clip(grown, 0.0, 1.0))

    def printed_luminance(self, nominal_L: float) -> float:
        """True luminance of a printed grey."""
        paper, toner = float(self.paper_bands @ eye_y()), float(self.toner_bands @ eye_y())
        return paper + float(self.ink_of(nominal_L)) * (toner - paper)


def _of_luminance(shape: FloatArray, tone_L: float) -> FloatArray:
    return np.asarray(shape / float(shape @ eye_y()) * float(luminance_of(tone_L)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A rectangle of the plane with pixels, row 0 the highest y. Physical mm."""

    x0_mm: float
    y0_mm: float
    x1_mm: float
    y1_mm: float
    px_per_mm: float

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return (
            max(1, round((self.y1_mm - self.y0_mm) * self.px_per_mm)),
            max(1, round((self.x1_mm - self.x0_mm) * self.px_per_mm)),
        )

    def shares(self, box: Box) -> tuple[slice, slice, Float32, Float32]:
        """Rows and columns that a box touches, and how much of each it covers."""
        rows, columns = self.shape
        u = self.px_per_mm
        c, across = _covered((box[0] - self.x0_mm) * u, (box[2] - self.x0_mm) * u, columns)
        r, down = _covered((self.y1_mm - box[3]) * u, (self.y1_mm - box[1]) * u, rows)
        return r, c, down, across

    def fill(self, target: Float32, box: Box, value: float) -> None:
        """Paint a box, its edges exact to a fraction of a pixel."""
        r, c, down, across = self.shares(box)
        part = target[r, c]
        part += (value - part) * (down[:, None] * across[None, :])


def _covered(low: float, high: float, count: int) -> tuple[slice, Float32]:
    first, last = max(0, int(np.floor(low))), min(count, int(np.ceil(high)))
    if last <= first:
        return slice(0, 0), np.zeros(0, np.float32)
    n = np.arange(first, last)
    share = np.minimum(n + 1.0, high) - np.maximum(n, low)
    return slice(first, last), np.clip(share, 0.0, 1.0).astype(np.float32)


class Mat:
    """A mat as it is printed: `physical` turns its page coordinates into real mm (middle of the page stays where it is)."""

    def __init__(
        self,
        mat: Mapping[str, Any],
        printer: Printer,
        *,
        pdf: Path | None = None,
        move_mm: tuple[float, float] = (0.0, 0.0),
    ) -> None:
        self.mat, self.printer, self.pdf, self.move_mm = mat, printer, pdf, move_mm
        self.page_mm = (float(mat["page_mm"][0]), float(mat["page_mm"][1]))

    def physical(self, points_mm: FloatArray) -> FloatArray:
        """(N, 2) page coordinates to real mm."""
        middle = 0.5 * np.array(self.page_mm)
        return np.asarray(
            (np.asarray(points_mm) - middle) * np.array(self.printer.scale) + middle + np.array(self.move_mm)
        )

    def box(self, box_mm: Any) -> Box:
        """A box of the page in real mm."""
        (x0, y0), (x1, y1) = self.physical(np.array([[box_mm[0], box_mm[1]], [box_mm[2], box_mm[3]]]))
        return (float(x0), float(y0), float(x1), float(y1))

    @property
    def frame_mm(self) -> Box:
        """Box of all the markers and some white, real mm."""
        corners = self.physical(np.array([c for m in self.mat["markers"] for c in m["corners_mm"]]))
        (x0, y0), (x1, y1) = corners.min(axis=0), corners.max(axis=0)
        return (float(x0) - 4.0, float(y0) - 4.0, float(x1) + 4.0, float(y1) + 4.0)

    def ink(self, sheet: Sheet, rng: np.random.Generator) -> Float32:
        """(rows, columns) how far each place is from paper to toner; 0 off the page too."""
        out = np.zeros(sheet.shape, np.float32)
        if self.pdf is not None:
            self._from_pdf(out, sheet)
        else:
            self._from_numbers(out, sheet)
        for step in self.mat["grey_steps"]:
            self._screened(out, sheet, step)
        if self.printer.streaks > 0.0:
            bands = cv2.GaussianBlur(
                rng.standard_normal((sheet.shape[0], 1)).astype(np.float32),
                (0, 0),
                sigmaX=0.1,
                sigmaY=2.5 * sheet.px_per_mm,
            )
            bands = np.asarray(bands, np.float32) * np.float32(self.printer.streaks / max(1e-9, float(bands.std())))
            out *= np.asarray(1.0 - np.abs(bands), np.float32)
        return out

    def _from_numbers(self, out: Float32, sheet: Sheet) -> None:
        for marker in self.mat["markers"]:
            self._marker(out, sheet, marker)
        bar = self.mat.get("scale_bar_mm")
        if bar is not None:
            (x0, y0), (x1, _) = bar
            sheet.fill(out, self.box((x0, y0 - 0.15, x1, y0 + 0.15)), 1.0)
            for x in (x0, x1):
                sheet.fill(out, self.box((x - 0.15, y0 - 1.5, x + 0.15, y0 + 1.5)), 1.0)
        x0, y0, x1, y1 = self.mat["window_mm"]
        for low, high, level in ((x0, x1, y0), (x0, x1, y1)):  # the line to cut along
            sheet.fill(out, self.box((low, level - 0.05, high, level + 0.05)), 0.6)
        for low, high, level in ((y0, y1, x0), (y0, y1, x1)):
            sheet.fill(out, self.box((level - 0.05, low, level + 0.05, high)), 0.6)

    def _marker(self, out: Float32, sheet: Sheet, marker: Mapping[str, Any]) -> None:
        """Draw a marker whose corners go clockwise from its own upper left."""
        dictionary = cv2.aruco.getPredefinedDictionary(int(getattr(cv2.aruco, marker["dictionary"])))
        cells = dictionary.markerSize + 2
        dark = (cv2.aruco.generateImageMarker(dictionary, int(marker["id"]), cells) < 128).astype(np.float32)
        corners = np.asarray(marker["corners_mm"], dtype=np.float64)
        along = corners[1] - corners[0]
        turn = round(np.degrees(np.arctan2(along[1], along[0])) / 90.0) % 4
        dark = np.rot90(dark, turn)
        low, high = corners.min(axis=0), corners.max(axis=0)
        x0, y0, x1, y1 = self.box((low[0], low[1], high[0], high[1]))
        xs, ys = np.linspace(x0, x1, cells + 1), np.linspace(y1, y0, cells + 1)
        r, c, _, _ = sheet.shares((x0, y0, x1, y1))
        if r.stop <= r.start or c.stop <= c.start:
            return
        rows = np.zeros((r.stop - r.start, cells), np.float32)
        columns = np.zeros((c.stop - c.start, cells), np.float32)
        for k in range(cells):
            rr, cc, down, across = sheet.shares((xs[k], ys[k + 1], xs[k + 1], ys[k]))
            rows[rr.start - r.start : rr.stop - r.start, k] = down
            columns[cc.start - c.start : cc.stop - c.start, k] = across
        part = out[r, c]
        np.maximum(part, rows @ dark @ columns.T, out=part)

    def _screened(self, out: Float32, sheet: Sheet, step: Mapping[str, Any]) -> None:
        """A grey step, made of toner dots where the printer screens it."""
        level = float(self.printer.ink_of(float(step["nominal_L"])))
        box = self.box(step["box_mm"])
        if self.pdf is not None:  # what the page truly shows there
            x0, y0, x1, y1 = box
            rr, cc, _, _ = sheet.shares((x0 + 1.0, y0 + 1.0, x1 - 1.0, y1 - 1.0))
            if rr.stop <= rr.start or cc.stop <= cc.start:
                return
            level = float(np.median(out[rr, cc]))
        if not self.printer.screen or level < 0.02 or level > 0.98:
            sheet.fill(out, box, level)
            return
        r, c, down, across = sheet.shares(box)
        if r.stop <= r.start or c.stop <= c.start:
            return
        fine = 3
        u = sheet.px_per_mm * fine
        ys = (np.arange(r.start * fine, r.stop * fine, dtype=np.float32) + 0.5) / u
        xs = (np.arange(c.start * fine, c.stop * fine, dtype=np.float32) + 0.5) / u
        k = np.float32(2.0 * np.pi / (SCREEN_mm * np.sqrt(2.0)))
        # cos a + cos b with a, b at 45 degrees is 2 cos kx cos ky
        spot = 2.0 * np.cos(k * xs)[None, :] * np.cos(k * ys)[:, None]
        dots = np.clip((spot - _threshold(level)) / 0.5 + 0.5, 0.0, 1.0)
        small = dots.reshape(r.stop - r.start, fine, c.stop - c.start, fine).mean(axis=(1, 3))
        part = out[r, c]
        part += (small.astype(np.float32) - part) * (down[:, None] * across[None, :])

    def _from_pdf(self, out: Float32, sheet: Sheet) -> None:
        """The page as the PDF has it, every grey through the printer."""
        ink = self.printer.ink_of(_tone_of_code())[_page_of(str(self.pdf), sheet.px_per_mm)].astype(np.float32)
        (x0, _), (_, y1) = self.physical(np.array([[0.0, 0.0], list(self.page_mm)]))
        u = sheet.px_per_mm
        sx, sy = (
            s * u * side / n for s, side, n in zip(self.printer.scale, self.page_mm, ink.shape[::-1], strict=True)
        )
        # OpenCV counts from the middle of the first pixel
        matrix = np.array(
            [
                [sx, 0.0, (x0 - sheet.x0_mm) * u + 0.5 * sx - 0.5],
                [0.0, sy, (sheet.y1_mm - y1) * u + 0.5 * sy - 0.5],
            ]
        )
        rows, columns = sheet.shape
        cv2.warpAffine(ink, matrix, (columns, rows), dst=out, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_TRANSPARENT)


def _tone_of_code() -> FloatArray:
    y = srgb_linear(np.arange(256) / 255.0)
    return np.where(y > 216.0 / 24389.0, 116.0 * np.cbrt(y) - 16.0, y * 24389.0 / 27.0)


@lru_cache(maxsize=2)
def _page_of(path: str, px_per_mm: float) -> NDArray[np.uint8]:
    import pypdfium2

    document = pypdfium2.PdfDocument(path)
    try:
        page = document[0].render(scale=px_per_mm * 25.4 / 72.0, grayscale=True).to_numpy()
    finally:
        document.close()
    return np.ascontiguousarray(page[..., 0] if page.ndim == 3 else page, np.uint8)


@lru_cache(maxsize=256)
def _threshold(level: float) -> float:
    """Height of the dot hills above which toner lies, so that it covers a share of the paper."""
    a = (np.arange(128) + 0.5) / 128.0 * 2.0 * np.pi
    spot = 2.0 * np.cos(a)[None, :] * np.cos(a)[:, None]
    low, high = -2.6, 2.6
    for _ in range(40):
        middle = 0.5 * (low + high)
        share = np.clip((spot - middle) / 0.5 + 0.5, 0.0, 1.0).mean()
        low, high = (middle, high) if share > level else (low, middle)
    return low
