"""Profiles across single lines of a ladder: light averaged along each, over that of the bare wood on both sides."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenburn.core.card.beam_card import axis_of
from evenburn.core.card.page_view import Flat
from evenburn.core.nouns.card import CardLine
from evenburn.core.tone.colour import LUMINANCE

FloatArray = NDArray[np.float64]

ENDS_mm = 1.3  # of a line left out at either end: run-in of the laser, blur
FLANK_SHARE = 0.40  # from so much of the distance between lines on, it is bare wood
STEP_mm = 0.05
ASIDE_mm = 0.35  # a line may lie so far from where the card's corner marks let expect it


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Profiles:
    """Darkening across N lines, folded about their middles.

    Attributes
    ----------
    aside_mm : (J,) distances from the middle.
    darkening : (N, J) 1 less light over that of the bare wood on both sides.
    noise : (N,) standard deviation of that, from what lies beside the line.
    lopsided : (N,) greatest difference of both sides, over the depth.
    flanks : (J,) which distances are the bare wood.
    clipped : (N,) share of pixels at the upper end.
    bare : (N,) linear light of the bare wood beside each line, as decoded.
    """

    aside_mm: FloatArray
    darkening: FloatArray
    noise: FloatArray
    lopsided: FloatArray
    flanks: NDArray[np.bool_]
    clipped: FloatArray
    bare: FloatArray


def line_pitch_mm(lines: Sequence[CardLine]) -> float:
    """Return the least distance between neighbouring lines of a card. [mm] Definition."""
    least = np.inf
    for axis in ("x", "y"):
        a, c = (0, 1) if axis == "x" else (1, 0)
        mine = [k for k in lines if axis_of(k) == axis]
        place = np.array([k.from_mm[c] for k in mine])
        low = np.array([min(k.from_mm[a], k.to_mm[a]) for k in mine])
        high = np.array([max(k.from_mm[a], k.to_mm[a]) for k in mine])
        together = (low[:, None] < high[None]) & (low[None] < high[:, None])
        apart = np.abs(place[:, None] - place[None])
        near = apart[together & (apart > 1e-6)]
        least = min(least, float(near.min()) if near.size else np.inf)
    return least if np.isfinite(least) else 2.0


def profiles_of(flat: Flat, lines: Sequence[CardLine], *, decoded: FloatArray) -> Profiles:
    """Return the profiles of lines.

    Parameters
    ----------
    flat : the card rectified, in its own mm.
    decoded : (256,) linear light of each encoded value.

    Source
    ------
    Definition; the middle of a line is its darkening's centre of gravity, found in two rounds.
    """
    pitch = line_pitch_mm(lines)
    weight = (LUMINANCE / LUMINANCE.sum()).astype(np.float32)
    table = decoded.astype(np.float32)
    aside = np.arange(0.0, 0.5 * pitch + 1e-9, STEP_mm)
    flanks = aside >= FLANK_SHARE * pitch - 1e-9
    kept, noise, lopsided, clipped, bares = [], [], [], [], []
    for line in lines:
        axis = axis_of(line)
        a, c = (0, 1) if axis == "x" else (1, 0)
        low, high = sorted((line.from_mm[a], line.to_mm[a]))
        trim = min(ENDS_mm, 0.3 * (high - low))
        reach = 0.5 * pitch + ASIDE_mm + 2.0 / flat.px_per_mm
        box = [0.0, 0.0, 0.0, 0.0]
        box[a], box[a + 2] = low + trim, high - trim
        box[c], box[c + 2] = line.from_mm[c] - reach, line.from_mm[c] + reach
        part = flat.part((box[0], box[1], box[2], box[3]))
        light = (table[part] @ weight).astype(np.float64)
        across = light.mean(axis=1)[::-1] if axis == "x" else light.mean(axis=0)
        u = flat.px_per_mm
        # the first pixel that `part` keeps begins at the next whole pixel inside the box
        edge = flat.box_mm[c] + np.ceil((box[c] - flat.box_mm[c]) * u - 1e-6) / u
        place = edge + (np.arange(across.size) + 0.5) / u - line.from_mm[c]
        middle = _middle(place, across, pitch=pitch)
        right, left = (np.interp(middle + s * aside, place, across) for s in (1.0, -1.0))
        bare_r, bare_l = float(np.median(right[flanks])), float(np.median(left[flanks]))
        bare = max(0.5 * (bare_r + bare_l), 1e-6)
        slope = (bare_r - bare_l) / (2.0 * float(aside[flanks].mean()))
        r, s = 1.0 - (right - slope * aside) / bare, 1.0 - (left + slope * aside) / bare
        folded = 0.5 * (r + s)
        folded = folded - float(folded[flanks].mean())
        kept.append(folded)
        bares.append(bare)
        noise.append(float(np.hypot(r[flanks].std(), s[flanks].std())) / 2.0 + 0.5 * float(np.abs(r - s).mean()) / 2.0)
        lopsided.append(float(np.abs(r - s).max() / max(float(np.abs(folded).max()), 0.05)))
        clipped.append(float((part.max(axis=2) >= 254).mean()) if part.size else 1.0)
    return Profiles(
        aside_mm=aside,
        darkening=np.array(kept),
        noise=np.array(noise),
        lopsided=np.array(lopsided),
        flanks=np.asarray(flanks),
        clipped=np.array(clipped),
        bare=np.array(bares),
    )


def _middle(place: FloatArray, across: FloatArray, *, pitch: float) -> float:
    """Return where a line's middle is, near 0. [mm]"""
    near = np.abs(place) <= 0.5 * pitch
    bare = float(np.quantile(across[near], 0.8))
    off = np.abs(across - bare)
    middle = 0.0
    for reach in (ASIDE_mm, 0.25 * pitch, 0.25 * pitch):
        here = np.abs(place - middle) <= reach
        if not here.any():
            return 0.0
        depth = np.maximum(off - 0.3 * float(off[here].max()), 0.0) * here
        total = float(depth.sum())
        if total <= 0.0:
            return 0.0
        middle = float(np.clip((depth * place).sum() / total, -ASIDE_mm, ASIDE_mm))
    return middle
