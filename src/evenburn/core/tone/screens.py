"""Screens: masks of thresholds, laid side by side over a picture; a dot is set where the coverage exceeds its threshold.

Every mask of N thresholds holds each of (k + ½)/N once, so every coverage comes out as it was asked for.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Mask = NDArray[np.float32]
Picture = NDArray[np.float32]
Dots = NDArray[np.bool_]

BAYER_2 = np.array([[0, 2], [3, 1]])
BAYER_SIDE_px = 16  # 256 thresholds, so that no tone is further from the one asked for than half a step of 8 bits
FEWEST_THRESHOLDS = 256  # of a clustered mask, for the same reason
ASIDE_px = 1e-3  # far enough to tell sides, near enough to pass no other pixel
BLUE_SIDE_px = 64
BLUE_SIGMA_px = 1.5  # of the filter that finds voids and clusters [ulichney1993]
START_STEP = 0.6180339887498949  # multiplied by squares and freed of wholes, an irrational number jumps about
START_SHARE = 0.1  # of the dots the pattern begins with


def _thresholds(ranks: NDArray[np.int64]) -> Mask:
    mask = ((ranks + 0.5) / ranks.size).astype(np.float32)
    mask.setflags(write=False)
    return mask


def bayer_ranks(side: int) -> NDArray[np.int64]:
    """Return the order in which dots of a square are set, farthest apart first; its side is a power of two.

    Source
    ------
    [bayer1973]: M(2n) = [[4 M, 4 M + 2], [4 M + 3, 4 M + 1]].
    """
    ranks = BAYER_2.astype(np.int64)
    while ranks.shape[0] < side:
        ranks = np.block([[4 * ranks, 4 * ranks + 2], [4 * ranks + 3, 4 * ranks + 1]])
    return ranks


@cache
def bayer_mask() -> Mask:
    """Return the 16 × 16 mask of ordered dither. Source: `bayer_ranks`."""
    return _thresholds(bayer_ranks(BAYER_SIDE_px))


def _spot(x: FloatArray, y: FloatArray, *, cell_px: int) -> FloatArray:
    return np.asarray(np.cos(np.pi * (x + y) / cell_px) + np.cos(np.pi * (x - y) / cell_px), np.float64)


@cache
def clustered_mask(cell_px: int) -> Mask:
    """Return the mask of a screen of round dots that grow from their middles, at 45°; past a half, holes that shrink.

    Dots of one mask grow by a pixel each in turn, farthest apart first, so that there are steps enough of small cells.

    Parameters
    ----------
    cell_px : half the period along the lines and across them; neighbouring dots lie cell_px · √2 apart.

    Source
    ------
    Own choice: the common cosine spot function, cos + cos, turned by 45°; [bayer1973] for the turns.
    """
    lattice = 2  # dots and holes along a side of the mask
    while (cell_px * lattice) ** 2 < FEWEST_THRESHOLDS:
        lattice *= 2
    at = np.arange(cell_px * lattice) + 0.5
    x, y = np.meshgrid(at, at)
    spot = np.round(_spot(x, y, cell_px=cell_px), 9)
    dark = _spot(x + ASIDE_px, y + ASIDE_px, cell_px=cell_px) >= 0.0  # a pixel between a dot and a hole goes to either
    # dots lie where the lattice's indices add up to an even number, holes where to an odd one; a pixel is the nearest's
    turns = bayer_ranks(lattice)
    nearest, turn, angle = np.full(x.shape, np.inf), np.zeros(x.shape, np.int64), np.zeros(x.shape)
    for row in range(lattice):
        for column in range(lattice):
            dx = (x - column * cell_px + 0.5 * at.size) % at.size - 0.5 * at.size
            dy = (y - row * cell_px + 0.5 * at.size) % at.size - 0.5 * at.size
            distance = np.round(np.hypot(dx, dy), 6)
            closer = (((row + column) % 2 == 0) == dark) & (distance < nearest)
            nearest = np.where(closer, distance, nearest)
            turn = np.where(closer, turns[row, column], turn)
            angle = np.where(closer, np.round(np.arctan2(dy, dx), 6), angle)
    # from the middle out: the how manieth pixel of its own dot or hole
    step = np.empty(spot.size, np.int64)
    for each in turns.ravel():
        own = np.flatnonzero(turn.ravel() == each)
        outward = np.lexsort((angle.ravel()[own], nearest.ravel()[own], -np.abs(spot.ravel()[own])))
        step[own[outward]] = np.arange(own.size)
    hole = ~dark.ravel()
    ranks = np.empty(spot.size, np.int64)
    ranks[np.lexsort((turn.ravel(), np.where(hole, -step, step), hole))] = np.arange(spot.size)
    return _thresholds(ranks.reshape(spot.shape))


@cache
def blue_noise_mask() -> Mask:
    """Return the 64 × 64 mask of dots spread as evenly as they can be without a pattern.

    Source
    ------
    [ulichney1993]: void and cluster, with a Gaussian of 1.5 pixels that wraps round; the same every time.
    """
    side = BLUE_SIDE_px
    distance = np.minimum(np.arange(side), side - np.arange(side)).astype(np.float64)
    bell = np.exp(-(distance[:, None] ** 2 + distance[None, :] ** 2) / (2.0 * BLUE_SIGMA_px**2))
    doubled = np.tile(bell, (2, 2))

    def around(at: int) -> FloatArray:
        row, column = divmod(at, side)
        return doubled[side - row : 2 * side - row, side - column : 2 * side - column]

    total = side * side
    pattern = np.zeros(total, np.bool_)
    # any irregular pattern will do, for dots move to their places; one in rows would leave them in rows
    places = np.argsort(np.arange(total, dtype=np.float64) ** 2 * START_STEP % 1.0, kind="stable")
    pattern[places[: int(START_SHARE * total)]] = True
    energy = np.zeros((side, side))
    for at in np.flatnonzero(pattern):
        energy += around(int(at))

    def tightest(dots: NDArray[np.bool_], field: FloatArray) -> int:
        return int(np.where(dots, field.ravel(), -np.inf).argmax())

    def emptiest(dots: NDArray[np.bool_], field: FloatArray) -> int:
        return int(np.where(dots, np.inf, field.ravel()).argmin())

    while True:  # move dots from clusters to voids until that changes nothing
        cluster = tightest(pattern, energy)
        pattern[cluster] = False
        energy -= around(cluster)
        void = emptiest(pattern, energy)
        pattern[void] = True
        energy += around(void)
        if void == cluster:
            break
    ranks = np.empty(total, np.int64)
    ones = int(pattern.sum())
    left, field = pattern.copy(), energy.copy()
    for rank in range(ones - 1, -1, -1):
        cluster = tightest(left, field)
        left[cluster] = False
        field -= around(cluster)
        ranks[cluster] = rank
    left, field = pattern.copy(), energy.copy()
    for rank in range(ones, total):
        void = emptiest(left, field)
        left[void] = True
        field += around(void)
        ranks[void] = rank
    return _thresholds(ranks.reshape(side, side))


def apply_mask(coverage: Picture, mask: Mask) -> Dots:
    """Return dots of a coverage 0–1, True where it exceeds the mask's threshold. Definition.

    Strip by strip, so that no other array of the picture's size is made.
    """
    rows, columns = coverage.shape
    high, wide = mask.shape
    band = np.tile(mask, (1, -(-columns // wide)))[:, :columns]
    out = np.empty((rows, columns), np.bool_)
    for top in range(0, rows, high):
        strip = coverage[top : top + high]
        np.greater(strip, band[: strip.shape[0]], out=out[top : top + high])
    return out
