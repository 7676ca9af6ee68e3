"""Artwork made wider: the same drawing with its ink grown all round."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import distance_transform_edt

from evenburn.core.art.picture import Artwork, Picture
from evenburn.core.nouns.mark import Mark
from evenburn.core.nouns.path import Polyline


@dataclass(frozen=True, slots=True, kw_only=True)
class Grown:
    """A drawing whose ink reaches further by a length in every direction; its box is larger by it on each side.

    `size_mm` is the box of the drawing as it was. [mm]
    """

    artwork: Artwork
    size_mm: tuple[float, float]
    by_mm: float

    def ink(self, *, width_px: int, height_px: int) -> Picture:
        """Return ink coverage 0–1 of the larger box, top row first. Source: own derivation, distance to the old ink."""
        width, height = (side + 2.0 * self.by_mm for side in self.size_mm)
        step_x, step_y = width / width_px, height / height_px
        left, top = round(self.by_mm / step_x), round(self.by_mm / step_y)
        inner_w, inner_h = max(width_px - 2 * left, 1), max(height_px - 2 * top, 1)
        drawn = np.zeros((height_px, width_px), np.float32)
        inner = self.artwork.ink(width_px=inner_w, height_px=inner_h)
        drawn[top : top + inner_h, left : left + inner_w] = inner[: height_px - top, : width_px - left]
        inked = drawn >= 0.5
        if not inked.any():
            return drawn
        far = distance_transform_edt(~inked, sampling=(step_y, step_x))
        edge = np.clip(0.5 + (self.by_mm - far) / min(step_x, step_y) + 0.5, 0.0, 1.0)
        return np.asarray(np.maximum(drawn, edge), np.float32)

    def light(self, *, width_px: int, height_px: int) -> Picture:
        """Return linear luminance 0–1: ink is black."""
        return np.asarray(1.0 - self.ink(width_px=width_px, height_px=height_px), np.float32)

    def outlines(self, *, width_mm: float, height_mm: float) -> tuple[Polyline, ...]:
        """Return nothing: grown ink is burnt in scan lines. [mm]"""
        del width_mm, height_mm
        return ()


def grown_mark(mark: Mark, *, by_mm: float) -> Mark:
    """Return a mark whose box has grown by a length on each side, its middle kept. [mm] Definition."""
    return replace(
        mark,
        place_mm=(mark.place_mm[0] - by_mm, mark.place_mm[1] - by_mm),
        size_mm=(mark.size_mm[0] + 2.0 * by_mm, mark.size_mm[1] + 2.0 * by_mm),
    )
