"""A wood's own unevenness as a texture: growth rings, fibres and pores along x, or the mottle of slate.

A drawing aid: it shows how uneven the wood is, no two boards look like it. Lengths are those of a flat-sawn board.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from evenburn.core.nouns.wood import Wood

Picture = NDArray[np.float32]
Shape = tuple[int, int]
Pair = tuple[float, float]

LATTICE_PER_SIGMA = 2.0  # points of random lattice per standard deviation of the blur that follows
LATTICE_PAD = 8  # more than the blur reaches, so that the lattice's border does not show
LEAST_SIGMA_px = 0.45

# along and across the grain [mm], then the weight
STREAKS = (((4.0, 0.10), 0.60), ((1.3, 0.04), 0.30), ((30.0, 0.8), 0.50), ((12.0, 5.0), 0.30))
PORES = (((0.7, 0.045), 0.5, 0.30), ((1.8, 0.09), 0.012, 0.30))  # …, how many in a mm², weight
RINGS = 0.55  # weight of the growth rings
RING_SPACING_mm = 2.8
MOTTLE = (((0.10, 0.10), 0.35), ((0.35, 0.30), 0.45), ((1.8, 1.2), 0.55), ((5.0, 3.5), 0.35))


def grain_L(wood: Wood, *, rows: int, columns: int, pixel_mm: float, generator: np.random.Generator) -> Picture:
    """Return a field of this wood's own blotches, mean 0, standard deviation its evenness, grain along x. [L*]

    Source
    ------
    Own choice of texture; rings are those a plane cuts from a tilted cylinder.
    """
    shape = (rows, columns)
    field = np.zeros(shape, np.float32)
    for lengths, weight in STREAKS if wood.grain else MOTTLE:
        field += np.float32(weight) * _cloud(shape, _pixels(lengths, pixel_mm), generator)
    if wood.grain:
        for lengths, density, weight in PORES:
            field -= np.float32(weight) * _dashes(
                shape, _pixels(lengths, pixel_mm), density * pixel_mm * pixel_mm, generator
            )
        field -= np.float32(RINGS) * _rings(shape, pixel_mm, generator, straight=wood.burns_unevenly)
    field -= field.mean()
    deviation = float(field.std())
    return (field * np.float32(wood.curve.evenness_L / max(deviation, 1e-9))).astype(np.float32)


def _pixels(lengths_mm: Pair, pixel_mm: float) -> Pair:
    return max(lengths_mm[0] / pixel_mm, LEAST_SIGMA_px), max(lengths_mm[1] / pixel_mm, LEAST_SIGMA_px)


def _lattice(shape: Shape, sigma_px: Pair) -> tuple[Shape, Pair, tuple[int, int]]:
    """Return the lattice's shape, the blur on it, and how many pixels one step of it is, in x and in y."""
    steps = (max(1, int(sigma_px[0] / LATTICE_PER_SIGMA)), max(1, int(sigma_px[1] / LATTICE_PER_SIGMA)))
    rows = math.ceil(shape[0] / steps[1]) + 2 * LATTICE_PAD
    columns = math.ceil(shape[1] / steps[0]) + 2 * LATTICE_PAD
    return (rows, columns), (sigma_px[0] / steps[0], sigma_px[1] / steps[1]), steps


def _spread(lattice: Picture, sigma: Pair, steps: tuple[int, int], shape: Shape) -> Picture:
    """Blur a lattice, draw it out to pixels and cut the picture from its middle."""
    soft = cv2.GaussianBlur(lattice, (0, 0), sigmaX=sigma[0], sigmaY=sigma[1], borderType=cv2.BORDER_REFLECT)
    wide = _drawn_out(np.asarray(soft, np.float32).T, step=steps[0], count=shape[1]).T
    return _drawn_out(wide, step=steps[1], count=shape[0])


def _drawn_out(values: Picture, *, step: int, count: int) -> Picture:
    """Return rows drawn out by a whole factor with the cubic B-spline, the padding left out; only what is needed."""
    if step == 1:
        return values[LATTICE_PAD : LATTICE_PAD + count]
    place = np.arange(count) / step
    first = place.astype(np.intp)
    t = (place - first).astype(np.float32)[:, None]
    weights = ((1 - t) ** 3, 3 * t**3 - 6 * t**2 + 4, -3 * t**3 + 3 * t**2 + 3 * t + 1, t**3)
    drawn = np.zeros((count, values.shape[1]), np.float32)
    for k, weight in enumerate(weights):
        drawn += values[first + (LATTICE_PAD - 1 + k)] * (weight * np.float32(1.0 / 6.0))
    return drawn


def _cloud(shape: Shape, sigma_px: Pair, generator: np.random.Generator) -> Picture:
    """Return Gaussian noise with a Gaussian correlation, standard deviation about 1 over a large picture."""
    size, sigma, steps = _lattice(shape, sigma_px)
    noise = generator.standard_normal(size, dtype=np.float32)
    return _spread(noise, sigma, steps, shape) * np.float32(math.sqrt(4.0 * math.pi * sigma[0] * sigma[1]))


def _dashes(shape: Shape, sigma_px: Pair, density_per_px: float, generator: np.random.Generator) -> Picture:
    """Return sparse soft dashes, positive, standard deviation about 1 over a large picture."""
    size, sigma, steps = _lattice(shape, sigma_px)
    chance = min(density_per_px * steps[0] * steps[1], 0.25)
    hits = (generator.random(size, dtype=np.float32) < chance).astype(np.float32)
    scale = math.sqrt(4.0 * math.pi * sigma[0] * sigma[1] / max(chance, 1e-9))
    return _spread(hits, sigma, steps, shape) * np.float32(scale)


def _rings(shape: Shape, pixel_mm: float, generator: np.random.Generator, *, straight: bool) -> Picture:
    """Return growth rings as a board's face cuts them: long arches, or straight bands where the board is split so."""
    rows, columns = shape
    across = (np.arange(rows, dtype=np.float32) - np.float32(rows * generator.uniform(0.2, 0.8))) * np.float32(pixel_mm)
    along = (np.arange(columns, dtype=np.float32) - np.float32(columns / 2.0)) * np.float32(pixel_mm)
    tilt = 0.004 if straight else float(generator.choice((-1.0, 1.0)) * generator.uniform(0.05, 0.11))
    depth_mm = float(generator.uniform(22.0, 40.0))
    wander = _cloud(shape, _pixels((45.0, 9.0), pixel_mm), generator)
    if straight:
        radius = np.abs(across + np.float32(1e4))[:, None] + np.float32(tilt) * along[None, :] + 0.15 * wander
    else:
        wander = wander + 0.2 * _cloud(shape, _pixels((9.0, 2.0), pixel_mm), generator)
        radius = np.hypot(across[:, None], depth_mm + np.float32(tilt) * along[None, :] + wander)
    low, high = float(radius.min()), float(radius.max())
    spacing_mm = RING_SPACING_mm * (0.6 if straight else 1.0)
    count = math.ceil((high - low) / (0.5 * spacing_mm)) + 4
    widths = spacing_mm * np.exp(0.35 * generator.standard_normal(count))
    starts = low - spacing_mm * generator.uniform(0.0, 1.0) + np.concatenate(([0.0], np.cumsum(widths)[:-1]))
    depth = generator.uniform(0.35, 1.0, count)
    places = np.linspace(low, high, max(16, math.ceil((high - low) / 0.04)))
    index = np.clip(np.searchsorted(starts, places, side="right") - 1, 0, count - 1)
    share = np.clip((places - starts[index]) / widths[index], 0.0, 1.0)
    # early wood light, then slowly darker; the next spring begins at once
    profile = depth[index] * share**3 * np.clip((1.0 - share) / 0.08, 0.0, 1.0)
    ringed = np.interp(radius, places, profile).astype(np.float32)
    return np.asarray(ringed * np.float32(1.0 / 0.22), np.float32)  # a whole ring's standard deviation is about 0.22
