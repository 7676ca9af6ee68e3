# ruff: noqa: PLR0917  # compiled code takes its arguments by position
"""Compiled loops of the wood's texture: clouds on a lattice of hashed numbers, each pixel the exact mean over itself.

A cloud is Σ n(i, j) B(x/a − i) B(y/b − j) with the cubic B-spline B and numbers n that hang on seed, i and j alone. So any
part of it, at any scale, is computed where it lies. Imported late: numba takes half a second.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numba
import numpy as np

SUPPORT = 2.0  # a cubic B-spline reaches two steps either way
TAPS = 3  # weights taken at a time


@numba.njit(cache=True, nogil=True, inline="always")
def _rising(t: Any) -> Any:
    """Return the integral of the cubic B-spline from −∞ to t, exact; 0 below −2, 1 above 2."""
    u = min(max(abs(t), 0.0), SUPPORT)
    if u < 1.0:
        part = u * (2.0 / 3.0) - u * u * u / 3.0 + u * u * u * u / 8.0
    else:
        rest = SUPPORT - u
        part = 0.5 - rest * rest * rest * rest / 24.0
    return 0.5 + part if t >= 0.0 else 0.5 - part


@numba.njit(cache=True, nogil=True, inline="always")
def _mixed(seed: Any, i: Any, j: Any) -> Any:
    """Return 64 bits that hang on seed and place alone: the finaliser of a splitmix generator, from memory."""
    z = np.uint64(seed) + np.uint64(i) * np.uint64(0x9E3779B97F4A7C15) + np.uint64(j) * np.uint64(0xC2B2AE3D27D4EB4F)
    z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return z ^ (z >> np.uint64(31))


@numba.njit(cache=True, nogil=True, inline="always")
def _number(bits: Any, chance: Any) -> Any:
    """Return a number of mean 0 and variance 1: nearly Gaussian, or, with a chance given, rarely high."""
    if chance > 0.0:
        share = float(bits >> np.uint64(11)) * (1.0 / 9007199254740992.0)
        return (1.0 - chance if share < chance else -chance) / np.sqrt(chance * (1.0 - chance))
    low = np.uint64(0xFFFF)
    total = (
        float(bits & low)
        + float((bits >> np.uint64(16)) & low)
        + float((bits >> np.uint64(32)) & low)
        + float(bits >> np.uint64(48))
    )
    return (total / 65535.0 - 2.0) * np.sqrt(3.0)  # the sum of four even numbers 0–1 has variance 1/3


@numba.njit(cache=True, nogil=True)
def _weights(origin: Any, pixel: Any, count: Any, step: Any) -> Any:
    """Return for each pixel its first lattice point and the weight of that and the next ones, its own mean taken."""
    most = TAPS * int(np.ceil((np.ceil(pixel / step) + 4.0) / TAPS))
    first = np.empty(count, np.int64)
    weights = np.zeros((count, most), np.float64)
    for p in range(count):
        low = (origin + p * pixel) / step
        high = (origin + (p + 1) * pixel) / step
        begin = int(np.floor(low)) - 1
        first[p] = begin
        for k in range(most):
            weights[p, k] = (_rising(high - (begin + k)) - _rising(low - (begin + k))) / (high - low)
    return first, weights


@numba.njit(cache=True, nogil=True)
def _cloud(
    out: Any, x0: Any, y0: Any, pixel: Any, step_x: Any, step_y: Any, seed: Any, chance: Any, weight: Any
) -> None:
    """Add a cloud to a picture.

    Parameters
    ----------
    out : (rows, columns) float32; x0, y0 : edges of its first pixel. [mm]
    step_x, step_y : of the lattice. [mm]
    chance : of a number to be high; 0 for numbers that are nearly Gaussian.

    Source
    ------
    Own choice of texture; a B-spline of white noise keeps 0.479 of its variance in each direction.
    """
    rows, columns = out.shape
    first_x, weights_x = _weights(x0, pixel, columns, step_x)
    first_y, weights_y = _weights(y0, pixel, rows, step_y)
    begin_x, count_x = first_x[0], first_x[-1] - first_x[0] + weights_x.shape[1]
    begin_y, count_y = first_y[0], first_y[-1] - first_y[0] + weights_y.shape[1]
    lattice = np.empty((count_y, count_x), np.float32)
    for j in range(count_y):
        for i in range(count_x):
            lattice[j, i] = _number(_mixed(seed, begin_x + i, begin_y + j), chance)
    scale = weight / 0.479
    across = np.ascontiguousarray(weights_x.T).astype(np.float32)
    place = (first_x - begin_x).astype(np.int32)
    line = np.empty(count_x, np.float32)
    for r in range(rows):
        line[:] = 0.0
        for k in range(weights_y.shape[1]):
            w = np.float32(weights_y[r, k] * scale)
            if w != 0.0:
                row = lattice[first_y[r] - begin_y + k]
                for i in range(count_x):
                    line[i] += w * row[i]
        here = out[r]
        for k in range(0, weights_x.shape[1], TAPS):
            a, b, c = across[k], across[k + 1], across[k + 2]
            for p in range(columns):
                i = place[p] + k
                here[p] += a[p] * line[i] + b[p] * line[i + 1] + c[p] * line[i + 2]


@numba.njit(cache=True, nogil=True)
def _rings(
    out: Any, wander: Any, x0: Any, y0: Any, pixel: Any, pith: Any, tilt: Any, depth: Any, summed: Any, weight: Any
) -> Any:
    """Take growth rings from a picture: the mean of their profile over each pixel's share of the radius.

    Parameters
    ----------
    wander : (rows, columns), by how much the radius is off. [mm]
    pith : (x, y) of the middle; `depth` is how deep it lies below the face, below 0 for straight bands. [mm]
    summed : (first radius, step, integral of the profile at each step…). [mm]

    Source
    ------
    Own choice: rings that a plane cuts from a tilted cylinder.
    """
    rows, columns = out.shape
    first, step = summed[0], summed[1]
    last = summed.size - 3
    half = max(0.5 * pixel, step)
    for r in range(rows):
        across = y0 + (r + 0.5) * pixel - pith[1]
        for c in range(columns):
            along = x0 + (c + 0.5) * pixel - pith[0]
            if depth < 0.0:
                radius = across + tilt * along + wander[r, c]
            else:
                deep = depth + tilt * along + wander[r, c]
                radius = np.sqrt(across * across + deep * deep)
            total = 0.0
            for sign in (-1.0, 1.0):
                place = min(max((radius + sign * half - first) / step, 0.0), last - 1e-6)
                k = int(place)
                part = place - k
                total += sign * ((1.0 - part) * summed[k + 2] + part * summed[k + 3])
            out[r, c] -= np.float32(weight * total / (2.0 * half))


def compiled() -> tuple[Callable[..., Any], Callable[..., Any]]:
    """Return the compiled loops for clouds and for rings; arguments by position, as described there. Source: `grain_L`."""
    return _cloud, _rings
