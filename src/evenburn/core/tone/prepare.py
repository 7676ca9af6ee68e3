"""A photograph made ready for wood: tones spread out, what is small lifted, what will blur sharpened, the ground bare.

All of it works on lightness, on the grid the picture is burnt on, with lengths from the detail that this recipe keeps.

Laying the tones onto the wood's own range is not done here: `wished_tones_L` does it, linearly in L*. A knee at the ends
would keep more difference in the middle tones, but no knee can leave an even grey ramp even, and on wood, whose range is
some 55 L* at best, a ramp that bends is seen before a highlight that closes up. What a knee would be wanted for is done
before: here the tones fill the scale, and what is small is lifted against what is large.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import cv2
import numpy as np
from numpy.typing import NDArray

from evenburn.core.nouns.mark import Preparation
from evenburn.core.tone.colour import lightness_L, luminance

Picture = NDArray[np.float32]
Bools = NDArray[np.bool_]

STRIP_px = 40_000  # pictures are worked through in strips, so that what a step needs beside them is small and near
SAMPLED_px = 400_000  # tones that the black and white points are read from
FEWEST_TONES = 16  # a picture with fewer pixels tells nothing of its tones
CLIPPED = 0.005  # share of the picture whose tones do not count at either end
LEAST_SPAN_L = 10.0  # a picture flatter than this is left as it is
STRETCH_MOST = 2.5  # more would show the grain of the photograph
BASE_DETAILS = 40.0  # what is larger than so many resolvable details belongs to the base and is not lifted
BASE_COARSE = 8  # the base is found on pixels this many times finer than its radius
EDGE_L = 8.0  # an edge above it belongs to the base and gets no halo
LIFT_L = 8.0  # the most that local contrast adds or takes
OVERSHOOT_L = 10.0  # the most that sharpening adds or takes
NOISE_L = 1.0  # differences below it are grain, not detail
SOFT_L = 8.0  # over so many tones the background runs out
SEEN_LEAST = 0.05  # of coverage; below it the light is nearly all the page's, and the picture is guessed from beside
FADE_SIGMAS = 2.0  # a fade is as wide as so many standard deviations of the blur that makes it
FADE_FULL = 0.5 * math.erf(FADE_SIGMAS / math.sqrt(2.0))  # what the blur rises by over the width of a fade


def prepare_light(
    light: Picture,
    *,
    coverage: Picture | None,
    pixel_mm: float,
    preparation: Preparation,
    resolvable_mm: float,
    darkens: bool,
) -> Picture:
    """Return a photograph's linear light, made ready to be burnt; bare wood where there is no picture.

    Bare is white on a surface that darkens and black on one that lightens. The tones of `background_L` are those of the
    picture after its tones were spread out, as the proof shows them. A fade is no wider than half the picture.

    Parameters
    ----------
    light : linear luminance over white, 0–1, (rows, columns).
    coverage : how much of each pixel is picture and not page, 0–1; None is everywhere.
    resolvable_mm : the narrowest detail that the recipe keeps; lengths of contrast and sharpening follow from it. [mm]
    darkens : whether the surface turns darker under the beam.

    Source
    ------
    Own choice of steps. Edge-keeping base: the guided filter [he2013]; sharpening: unsharp masking, as in the darkroom.
    """
    bare = np.float32(100.0 if darkens else 0.0)
    whole = coverage is None or float(coverage.min(initial=1.0)) >= 1.0
    kept = None if whole else coverage
    level = _lightness(light, kept)
    radius = max(1, round(0.5 * BASE_DETAILS * resolvable_mm / pixel_mm))
    radius = min(radius, max(1, min(level.shape, default=0) // 4))
    if kept is not None and not _fill_outside(level, kept > SEEN_LEAST, radius_px=radius):
        return np.full_like(light, luminance(bare))
    _spread(level, kept)
    if preparation.local_contrast > 0.0 or preparation.sharpen > 0.0:
        sigma = max(0.5 * resolvable_mm / pixel_mm, 0.3)
        _lift(level, sigma_px=sigma, radius_px=radius, preparation=preparation)
    if preparation.fade_mm > 0.0:
        kept = _faded(kept, shape=level.shape, fade_px=preparation.fade_mm / pixel_mm)
    out = np.empty(level.shape, np.float32)
    for rows in _strips(level.shape):
        strip = level[rows]
        if preparation.background_L is not None:
            past = strip - np.float32(preparation.background_L)
            strip += _step((past if darkens else -past) / np.float32(SOFT_L) + np.float32(1.0)) * (bare - strip)
        if kept is not None:
            strip = bare + kept[rows] * (strip - bare)
        out[rows] = luminance(strip)
    return np.clip(out, 0.0, 1.0, out=out)


def _strips(shape: tuple[int, ...]) -> Iterator[slice]:
    rows, columns = shape
    high = max(1, STRIP_px // max(columns, 1))
    for top in range(0, rows, high):
        yield slice(top, top + high)


def _step(values: Picture) -> Picture:
    """Return the smooth step from 0 at 0 to 1 at 1."""
    t = np.clip(values, 0.0, 1.0)
    return np.asarray(t * t * (3.0 - 2.0 * t), np.float32)


def _lightness(light: Picture, kept: Picture | None) -> Picture:
    """Return L* of the picture itself: what of the white page shines through is taken off."""
    level = np.empty(light.shape, np.float32)
    for rows in _strips(light.shape):
        seen = light[rows]
        if kept is not None:
            ink = (np.float32(1.0) - seen) / np.maximum(kept[rows], np.float32(SEEN_LEAST))
            seen = np.asarray(1.0 - ink, np.float32)
        level[rows] = lightness_L(np.clip(seen, 0.0, 1.0))
    return level


def _box_mean(values: Picture, radius_px: int) -> Picture:
    size = (2 * radius_px + 1, 2 * radius_px + 1)
    return np.asarray(cv2.boxFilter(values, -1, size, borderType=cv2.BORDER_REFLECT), np.float32)


def _coarser(picture: Picture, coarse: int) -> Picture:
    """Return a picture averaged down so many times."""
    if coarse <= 1:
        return picture
    rows, columns = picture.shape
    size = (math.ceil(columns / coarse), math.ceil(rows / coarse))
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.float32)


def _as_large(picture: Picture, shape: tuple[int, ...]) -> Picture:
    """Return a picture drawn up to a size again."""
    if picture.shape == shape:
        return picture
    return np.asarray(cv2.resize(picture, (shape[1], shape[0]), interpolation=cv2.INTER_LINEAR), np.float32)


def _fill_outside(level: Picture, inside: Bools, *, radius_px: int) -> bool:
    """Put the mean of the picture near by where there is none, so that its border is no edge; False if there is none."""
    count = int(np.count_nonzero(inside))
    if count == 0:
        return False
    if count < inside.size:
        outside = ~inside
        np.copyto(level, np.float32(0.0), where=outside)
        coarse = max(1, radius_px // BASE_COARSE)
        radius = max(1, round(radius_px / coarse))
        share = _box_mean(_coarser(inside.astype(np.float32), coarse), radius)
        near = _box_mean(_coarser(level, coarse), radius)
        everywhere = np.float32(level.sum(dtype=np.float64) / count)
        beside = np.where(share > 1e-3, near / np.maximum(share, np.float32(1e-3)), everywhere).astype(np.float32)
        np.copyto(level, _as_large(beside, level.shape), where=outside)
    return True


def _spread(level: Picture, kept: Picture | None) -> None:
    """Spread the picture's own tones over the whole scale, in place, unless it is flat or fills it already.

    Black and white point are read a little inside the ends and carried on to them as an even ramp would go on, but not
    past the darkest and lightest tone there is: a ramp or a wedge that fills the scale stays as it is.
    """
    stride = max(1, math.isqrt(level.size // SAMPLED_px))
    tones = level[::stride, ::stride].ravel()
    if kept is not None:
        tones = tones[kept[::stride, ::stride].ravel() > 0.5]
    if tones.size < FEWEST_TONES:
        return
    low, high = (float(v) for v in np.quantile(tones, (CLIPPED, 1.0 - CLIPPED)))
    beyond = (high - low) * CLIPPED / (1.0 - 2.0 * CLIPPED)
    low, high = max(low - beyond, float(tones.min())), min(high + beyond, float(tones.max()))
    if high - low < LEAST_SPAN_L:
        return
    gain = min(100.0 / (high - low), STRETCH_MOST)
    half = 0.5 * gain * (high - low)
    middle = 0.5 * (low + high)
    level -= np.float32(middle)
    level *= np.float32(gain)
    level += np.float32(min(max(middle, half), 100.0 - half))
    np.clip(level, 0.0, 100.0, out=level)


def _base(level: Picture, *, radius_px: int) -> Picture:
    """Return the picture without what is small, its strong edges kept: the guided filter by box means."""
    coarse = max(1, radius_px // BASE_COARSE)
    radius = max(1, round(radius_px / coarse))
    small = _coarser(level, coarse)
    about = _box_mean(small, radius)
    variance = np.maximum(_box_mean(small * small, radius) - about * about, 0.0)
    slope = np.asarray(variance / (variance + np.float32(EDGE_L * EDGE_L)), np.float32)
    rest = _box_mean(np.asarray(about * (1.0 - slope), np.float32), radius)
    base = _as_large(_box_mean(slope, radius), level.shape)
    base *= level
    base += _as_large(rest, level.shape)
    return base


def _told(difference: Picture, *, most_L: float) -> Picture:
    """Return a difference of tones, freed of what is grain and kept within bounds."""
    squared = difference * difference
    difference = difference * (squared / (squared + np.float32(NOISE_L * NOISE_L)))
    return np.asarray(np.float32(most_L) * np.tanh(difference / np.float32(most_L)), np.float32)


def _lift(level: Picture, *, sigma_px: float, radius_px: int, preparation: Preparation) -> None:
    """Add, in place, of what lies between detail and base and of what the burn will blur, as the ends leave room."""
    blurred = np.asarray(cv2.GaussianBlur(level, (0, 0), sigma_px, borderType=cv2.BORDER_REFLECT), np.float32)
    base = _base(blurred, radius_px=radius_px) if preparation.local_contrast > 0.0 else blurred
    for rows in _strips(level.shape):
        strip, soft = level[rows], blurred[rows]
        added = np.float32(preparation.sharpen) * _told(strip - soft, most_L=OVERSHOOT_L)
        if preparation.local_contrast > 0.0:
            added += np.float32(preparation.local_contrast) * _told(soft - base[rows], most_L=LIFT_L)
        room = np.where(added > 0.0, np.float32(100.0) - strip, strip)
        strip += added * (room / (room + np.abs(added) + np.float32(1e-6)))


def _faded(kept: Picture | None, *, shape: tuple[int, ...], fade_px: float) -> Picture:
    """Return the coverage, running out towards its border over a width; corners come out round.

    A blurred coverage is a half at the border of a straight edge and less in a corner; what is above a half is kept. It is
    found on coarse pixels.
    """
    coarse = max(1, min(int(0.1 * fade_px), max(shape) // 256))
    there = np.ones(shape, np.float32) if kept is None else kept
    small = _coarser(there, coarse)
    framed = cv2.copyMakeBorder((small > 0.5).astype(np.uint8), 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0)
    deepest = float(np.asarray(cv2.distanceTransform(framed, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)).max())
    sigma = max(min(fade_px / coarse, deepest) / FADE_SIGMAS, 0.3)
    soft = np.asarray(cv2.GaussianBlur(small, (0, 0), sigma, borderType=cv2.BORDER_CONSTANT), np.float32)
    soft = _as_large(_step((soft - np.float32(0.5)) / np.float32(FADE_FULL)), shape)
    return np.asarray(soft * there, np.float32)
