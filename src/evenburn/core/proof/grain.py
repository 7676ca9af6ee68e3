"""A wood's own unevenness as a texture: growth rings, fibres and pores along x, or the mottle of slate.

A drawing aid: it shows how uneven the wood is, no two boards look like it. It hangs on the board's own seed and on the
place alone, so any part of it may be drawn at any scale, and parts that are neighbours meet.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenburn.core.nouns.wood import Wood

Picture = NDArray[np.float32]
Pair = tuple[float, float]

BSPLINE_SIGMA = math.sqrt(1.0 / 3.0)  # standard deviation of the cubic B-spline, in steps of its lattice
TOO_FINE = 8.0  # lattices so much finer than a pixel have averaged out

# along and across the grain [mm], then the weight
STREAKS = (((4.0, 0.10), 0.60), ((1.3, 0.04), 0.30), ((30.0, 0.8), 0.50), ((12.0, 5.0), 0.30))
PORES = (((0.7, 0.045), 0.5, 0.30), ((1.8, 0.09), 0.012, 0.30))  # …, how many in a mm², weight
RINGS = 0.55  # weight of the growth rings
RING_SPACING_mm = 2.8
RING_DEVIATION = 0.22  # of a whole ring's profile
WANDER = (((45.0, 9.0), 1.0), ((9.0, 2.0), 0.2))  # by how much rings stray, the weight in mm
MOTTLE = (((0.10, 0.10), 0.35), ((0.35, 0.30), 0.45), ((1.8, 1.2), 0.55), ((5.0, 3.5), 0.35))
PROFILE_STEP_mm = 0.02
STANDARD_PIXEL_mm = 0.1  # the scale at which the standard deviation is the wood's evenness, as a photograph shows it
SAMPLES, SAMPLE_px = 5, 48  # patches along each side from which mean and deviation of a board are taken


@dataclass(frozen=True, slots=True, kw_only=True)
class Cloud:
    """Soft random blotches: lengths along and across the grain, how strong, and how many where they are sparse dashes, else 0."""

    lengths_mm: Pair
    contrast: float
    coverage: float
    seed: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rings:
    """Growth rings: where the pith lies, how tilted and how deep below the face, and the integral of their profile."""

    pith_mm: Pair
    tilt: float
    depth_mm: float
    summed_mm: NDArray[np.float64]
    wander: tuple[Cloud, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Grain:
    """The texture of one board. `mean` and `contrast` make its mean 0 and its standard deviation the wood's evenness."""

    clouds: tuple[Cloud, ...]
    rings: Rings | None
    mean: float = 0.0
    contrast: float = 1.0


def grain_of(wood: Wood, *, size_mm: Pair, generator: np.random.Generator) -> Grain:
    """Return the texture of a board of this wood, of a size, grain along x.

    Parameters
    ----------
    generator : makes this board unlike any other; a fresh one of the same seed makes the same board.

    Source
    ------
    Own choice of texture; rings are those a plane cuts from a tilted cylinder. Lengths are those of a flat-sawn board.
    """
    seeds = (int(seed) for seed in generator.integers(2**62, size=16))
    clouds = [
        Cloud(lengths_mm=lengths, contrast=weight, coverage=0.0, seed=next(seeds))
        for lengths, weight in (STREAKS if wood.grain else MOTTLE)
    ]
    rings = None
    if wood.grain:
        for lengths, density, weight in PORES:
            cell_mm2 = lengths[0] * lengths[1] / BSPLINE_SIGMA**2
            clouds.append(
                Cloud(lengths_mm=lengths, contrast=-weight, coverage=min(density * cell_mm2, 0.25), seed=next(seeds))
            )
        rings = _rings_of(wood, size_mm=size_mm, seeds=(next(seeds), next(seeds)), generator=generator)
    plain = Grain(clouds=tuple(clouds), rings=rings)
    patches = _samples(plain, size_mm=size_mm)
    deviation = float(patches.std())
    return Grain(
        clouds=plain.clouds,
        rings=rings,
        mean=float(patches.mean()),
        contrast=wood.curve.evenness_L / max(deviation, 1e-9),
    )


def _samples(grain: Grain, *, size_mm: Pair) -> Picture:
    """Return patches of a texture from all over a board."""
    patch_mm = SAMPLE_px * STANDARD_PIXEL_mm
    corners = [np.linspace(0.0, max(side - patch_mm, 0.0), SAMPLES) for side in size_mm]
    return np.stack(
        [
            grain_L(grain, left_mm=x, top_mm=y, pixel_mm=STANDARD_PIXEL_mm, rows=SAMPLE_px, columns=SAMPLE_px)
            for x in corners[0].tolist()
            for y in corners[1].tolist()
        ]
    )


def _rings_of(wood: Wood, *, size_mm: Pair, seeds: tuple[int, int], generator: np.random.Generator) -> Rings:
    """Return rings of random widths, early wood light, then slowly darker; the next spring begins at once."""
    straight = wood.burns_unevenly
    width_mm, height_mm = size_mm
    pith = (0.5 * width_mm, height_mm * float(generator.uniform(0.2, 0.8)))
    tilt = 0.004 if straight else float(generator.choice((-1.0, 1.0)) * generator.uniform(0.05, 0.11))
    depth_mm = float(generator.uniform(22.0, 40.0))
    far_mm = 6.0 + abs(tilt) * width_mm  # 4 σ of wander and more
    reach_mm = math.hypot(height_mm, depth_mm + far_mm)
    low_mm, high_mm = (-reach_mm, reach_mm) if straight else (0.0, reach_mm)
    spacing_mm = RING_SPACING_mm * (0.6 if straight else 1.0)
    count = math.ceil((high_mm - low_mm) / (0.5 * spacing_mm)) + 4
    widths = spacing_mm * np.exp(0.35 * generator.standard_normal(count))
    starts = low_mm - spacing_mm * generator.uniform(0.0, 1.0) + np.concatenate(([0.0], np.cumsum(widths)[:-1]))
    dark = generator.uniform(0.35, 1.0, count)
    places = np.arange(low_mm, high_mm + PROFILE_STEP_mm, PROFILE_STEP_mm)
    index = np.clip(np.searchsorted(starts, places, side="right") - 1, 0, count - 1)
    share = np.clip((places - starts[index]) / widths[index], 0.0, 1.0)
    profile = dark[index] * share**3 * np.clip((1.0 - share) / 0.08, 0.0, 1.0) / RING_DEVIATION
    summed = np.concatenate(([low_mm, PROFILE_STEP_mm], np.cumsum(profile) * PROFILE_STEP_mm))
    strays = WANDER[:1] if straight else WANDER
    return Rings(
        pith_mm=pith,
        tilt=tilt,
        depth_mm=-1.0 if straight else depth_mm,
        summed_mm=summed,
        wander=tuple(
            Cloud(lengths_mm=lengths, contrast=weight * (0.15 if straight else 1.0), coverage=0.0, seed=seed)
            for (lengths, weight), seed in zip(strays, seeds, strict=False)
        ),
    )


def grain_L(grain: Grain, *, left_mm: float, top_mm: float, pixel_mm: float, rows: int, columns: int) -> Picture:
    """Return the texture of a window of the upright board, (rows, columns), each pixel its own mean. [L*]

    Parameters
    ----------
    left_mm, top_mm : of the window's corner, from the board's left and from its upper edge. [mm]

    Source
    ------
    `grain_of`.
    """
    from evenburn.core.proof.grain_loops import compiled  # late: numba takes half a second

    cloud, rings = compiled()
    field = np.zeros((rows, columns), np.float32)
    wander = np.zeros((rows, columns), np.float32)
    ring = grain.rings
    for target, clouds in ((field, grain.clouds), (wander, () if ring is None else ring.wander)):
        for one in clouds:
            steps = (one.lengths_mm[0] / BSPLINE_SIGMA, one.lengths_mm[1] / BSPLINE_SIGMA)
            if max(steps) * TOO_FINE < pixel_mm:
                continue
            cloud(target, left_mm, top_mm, pixel_mm, *steps, one.seed, one.coverage, one.contrast)
    if ring is not None:
        rings(field, wander, left_mm, top_mm, pixel_mm, ring.pith_mm, ring.tilt, ring.depth_mm, ring.summed_mm, RINGS)
    field -= np.float32(grain.mean)
    field *= np.float32(grain.contrast)
    return field
