"""The loops behind `diffuse`, compiled; imported late.

What a line hands down is gathered for the whole line before the next one is begun: those sums go many at a time, and only
what is handed on within a line has to be done dot by dot. So wide kernels cost little more than the narrow one. Without
fast mathematics, so that every machine sets the same dots.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numba
import numpy as np

MARGIN = 2  # columns on either side, so that no kernel reaches out of a line


@numba.njit(cache=True, nogil=True)
def _gather(  # noqa: PLR0917  # numba calls by position
    base: Any, picture: Any, above: Any, higher: Any, below: Any, last: Any
) -> None:
    """Put into `base` a line of the picture and what the two lines above hand down to it."""
    a, b, c, d, e = below
    f, g, h, i, j = last
    narrow = last.max() == 0.0
    for n in range(base.size):
        base[n] = picture[n] + b * above[n + 3] + c * above[n + 2] + d * above[n + 1]
    if not narrow:
        for n in range(base.size):
            base[n] += (
                a * above[n + 4]
                + e * above[n]
                + (f * higher[n + 4] + g * higher[n + 3] + h * higher[n + 2] + i * higher[n + 1] + j * higher[n])
            )


@numba.njit(cache=True, nogil=True)
def _spread(picture: Any, out: Any, weights: Any, serpentine: Any) -> None:
    """Set dots; `weights` is (3, 5) in the direction of travel, the dot itself at [0, 2]."""
    rows, columns = picture.shape
    errors = np.zeros((3, columns + 2 * MARGIN), np.float32)
    base = np.empty(columns, np.float32)
    half, one = np.float32(0.5), np.float32(1.0)
    near, far = weights[0, 3], weights[0, 4]
    mirrored = weights[:, ::-1].copy()
    for r in range(rows):
        here, above, higher = errors[r % 3], errors[(r + 2) % 3], errors[(r + 1) % 3]
        turned = serpentine and r % 2 == 1
        above_turned = serpentine and r % 2 == 0  # before the first line it hands down nothing
        below = mirrored[1] if above_turned else weights[1]
        last = mirrored[2] if turned else weights[2]
        _gather(base, picture[r], above, higher, below, last)
        before = np.float32(0.0)
        long_before = np.float32(0.0)
        if turned:
            for n in range(columns):
                k = columns - 1 - n
                value = base[k] + far * long_before + near * before
                dot = value >= half
                out[r, k] = dot
                long_before = before
                before = value - one if dot else value
                here[k + MARGIN] = before
        else:
            for k in range(columns):
                value = base[k] + far * long_before + near * before
                dot = value >= half
                out[r, k] = dot
                long_before = before
                before = value - one if dot else value
                here[k + MARGIN] = before


@numba.njit(cache=True, nogil=True)
def _whole(grey: Any, out: Any) -> None:
    """Set what becomes white, in whole numbers: shares are cut off towards zero, as C divides, and greys kept in 0–255."""
    rows, columns = grey.shape
    errors = np.zeros(columns + 1, np.int32)
    for r in range(rows):
        ahead = np.int32(0)
        below = np.int32(0)
        corner = np.int32(0)
        for k in range(columns):
            handed = ahead + errors[k + 1]
            shared = (handed + 15) >> 4 if handed < 0 else handed >> 4
            value = min(max(np.int32(grey[r, k]) + shared, 0), 255)
            white = value > 128
            out[r, k] = white
            error = value - 255 if white else value
            errors[k] = 3 * error + below
            below = 5 * error + corner
            corner = error
            ahead = 7 * error
        errors[columns] = below


def spread() -> Callable[..., None]:
    """Return the compiled spreader: picture, dots to set, weights, whether lines run to and fro. Source: `diffuse`."""
    compiled: Callable[..., None] = _spread
    return compiled


def whole() -> Callable[..., None]:
    """Return the compiled spreader in whole numbers: greys, whites to set. Source: `diffuse_like_pillow`."""
    compiled: Callable[..., None] = _whole
    return compiled
