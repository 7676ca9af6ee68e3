"""Random artworks for the property tests, drawn without a file: shapes in a box 1 × 1, y up, and pictures of light."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from hypothesis import strategies as st
from numpy.typing import NDArray

from evenburn.adapters.artwork.setting import PlacedText, TextSetting, artwork_from_setting
from evenburn.core.errors import InvalidInput
from evenburn.core.nouns.path import Polyline
from strategies import between

Picture = NDArray[np.float32]
Points = tuple[tuple[float, float], ...]
SUBPIXEL = 256.0  # cv2 takes places in 256ths of a pixel: shift=8
FINER = 6  # drawn so much finer and averaged down: a filled shape comes out up to half a pixel too large


@dataclass(frozen=True, kw_only=True)
class Shape:
    """A stroke along points, or what they enclose; places and widths as shares of the box."""

    points: Points
    closed: bool
    filled: bool
    width: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Drawing:
    """Black shapes on white."""

    shapes: tuple[Shape, ...]

    def ink(self, *, width_px: int, height_px: int) -> Picture:
        fine = FINER if width_px * height_px < 1.0e6 else 2
        wide, high = fine * width_px, fine * height_px
        canvas = np.zeros((high, wide), np.uint8)
        scale = np.array([wide, high], np.float64)
        for shape in self.shapes:
            places = np.array(shape.points) * (1.0, -1.0) + (0.0, 1.0)
            at = np.round((places * scale - 0.5) * SUBPIXEL).astype(np.int32).reshape(-1, 1, 2)
            if shape.filled:
                cv2.fillPoly(canvas, [at], 255, cv2.LINE_8, 8)
            else:
                thick = max(1, round(shape.width * min(wide, high)))
                cv2.polylines(canvas, [at], shape.closed, 255, min(thick, 32000), cv2.LINE_8, 8)
        averaged = cv2.resize(canvas.astype(np.float32), (width_px, height_px), interpolation=cv2.INTER_AREA)
        return np.asarray(averaged, np.float32) / np.float32(255.0)

    def light(self, *, width_px: int, height_px: int) -> Picture:
        return np.float32(1.0) - self.ink(width_px=width_px, height_px=height_px)

    def outlines(self, *, width_mm: float, height_mm: float) -> tuple[Polyline, ...]:
        return tuple(
            Polyline(points_mm=np.array(shape.points) * (width_mm, height_mm), closed=shape.closed)
            for shape in self.shapes
        )


@dataclass(frozen=True, kw_only=True)
class Photograph:
    """Light that rises over the picture, with waves and a bright or dark round; `white` of it is burnt out to white."""

    slope: tuple[float, float]
    waves: tuple[float, float]
    contrast: float
    white: float

    def light(self, *, width_px: int, height_px: int) -> Picture:
        y, x = np.mgrid[0:height_px, 0:width_px].astype(np.float32)
        x, y = (x + 0.5) / width_px, (y + 0.5) / height_px
        level = 0.5 + self.slope[0] * (x - 0.5) + self.slope[1] * (y - 0.5)
        level += self.contrast * np.sin(2.0 * math.pi * (self.waves[0] * x + self.waves[1] * y))
        level += self.contrast * ((x - 0.5) ** 2 + (y - 0.5) ** 2 < 0.1)
        return np.asarray(np.clip(level + self.white, 0.0, 1.0), np.float32)

    def ink(self, *, width_px: int, height_px: int) -> Picture:
        return np.float32(1.0) - self.light(width_px=width_px, height_px=height_px)

    def outlines(self, *, width_mm: float, height_mm: float) -> tuple[Polyline, ...]:
        del width_mm, height_mm
        return ()


UNIT = between(0.0, 1.0)
PLACE = st.tuples(UNIT, UNIT)


def _round(middle: tuple[float, float], radius: float, corners: int) -> Points:
    turns = 2.0 * math.pi * np.arange(corners) / corners
    return tuple((middle[0] + radius * math.cos(t), middle[1] + radius * math.sin(t)) for t in turns.tolist())


@st.composite
def _bars(draw: st.DrawFn) -> Sequence[Shape]:
    """Draw filled rectangles, perhaps far apart."""
    shapes = []
    for _ in range(draw(st.integers(1, 4))):
        x, y = draw(between(0.0, 0.95)), draw(between(0.0, 0.95))
        w, h = draw(between(0.02, 1.0)) * (1.0 - x), draw(between(0.02, 1.0)) * (1.0 - y)
        shapes.append(Shape(points=((x, y), (x + w, y), (x + w, y + h), (x, y + h)), closed=True, filled=True))
    return shapes


@st.composite
def _rings(draw: st.DrawFn) -> Sequence[Shape]:
    return [
        Shape(
            points=_round((0.5, 0.5), draw(between(0.05, 0.48)), 48),
            closed=True,
            filled=False,
            width=draw(between(0.005, 0.2)),
        )
        for _ in range(draw(st.integers(1, 3)))
    ]


@st.composite
def _strokes(draw: st.DrawFn) -> Sequence[Shape]:
    """Draw bent strokes of one width, as letters are."""
    width = draw(between(0.005, 0.1))
    return [
        Shape(
            points=tuple(draw(st.lists(PLACE, min_size=2, max_size=5, unique=True))),
            closed=False,
            filled=False,
            width=width,
        )
        for _ in range(draw(st.integers(1, 6)))
    ]


@st.composite
def _dots(draw: st.DrawFn) -> Sequence[Shape]:
    radius = draw(between(0.004, 0.05))
    places = draw(st.lists(st.tuples(between(0.06, 0.94), between(0.06, 0.94)), min_size=1, max_size=12, unique=True))
    return [Shape(points=_round(place, radius, 12), closed=True, filled=True) for place in places]


@st.composite
def drawings(draw: st.DrawFn) -> Drawing:
    """Draw bars, rings, strokes like those of letters, or scattered dots."""
    return Drawing(shapes=tuple(draw(st.one_of(_bars(), _rings(), _strokes(), _dots()))))


@st.composite
def photographs(draw: st.DrawFn) -> Photograph:
    """Draw a picture of soft light."""
    return Photograph(
        slope=(draw(between(-1.0, 1.0)), draw(between(-1.0, 1.0))),
        waves=(draw(between(0.0, 20.0)), draw(between(0.0, 20.0))),
        contrast=draw(between(0.0, 0.5)),
        white=draw(between(-0.3, 0.6)),
    )


FACES = ("eb-garamond", "montserrat", "great-vibes", "saira-stencil-one", "roboto-slab")
LETTERS = st.text("AVWfilgjOQ&ßéÅ 0189.-", min_size=1, max_size=18).filter(str.strip)  # blank ones are refused


@st.composite
def texts_in(draw: st.DrawFn, size_mm: tuple[float, float]) -> PlacedText | None:
    """Draw a text in a shipped face, as large as its box lets it be; None where it cannot be set there."""
    setting = TextSetting(
        text=draw(LETTERS),
        face=draw(st.sampled_from(FACES)),
        align=draw(st.sampled_from(["left", "centre", "right"])),
        wrap=draw(st.booleans()),
    )
    try:
        return artwork_from_setting(setting, size_mm=size_mm)
    except InvalidInput:
        return None
