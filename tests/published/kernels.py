"""Error diffusion written out as published, dot by dot in real numbers, to hold the compiled one against."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def diffused(coverage: NDArray[np.float32], weights: NDArray[np.int64], *, serpentine: bool) -> NDArray[np.bool_]:
    """Return dots by a kernel, (1 + rows below, odd columns) with the dot itself in the middle of its first row."""
    left = coverage.astype(np.float64)
    rows, columns = left.shape
    middle = weights.shape[1] // 2
    dots = np.zeros(left.shape, np.bool_)
    for r in range(rows):
        way = -1 if serpentine and r % 2 else 1
        for c in range(columns)[::way]:
            dots[r, c] = left[r, c] >= 0.5
            error = left[r, c] - float(dots[r, c])
            for (down, at), weight in np.ndenumerate(weights):
                to_row, to_column = r + down, c + way * (at - middle)
                if to_row < rows and 0 <= to_column < columns:
                    left[to_row, to_column] += weight / weights.sum() * error
    return dots


def pictures(count: int) -> NDArray[np.float32]:
    """Return small pictures of noise, each with its own mean."""
    rng = np.random.default_rng(1976)
    noise = rng.random((count, 12, 17)) * 0.5 + 0.5 * rng.random((count, 1, 1))
    return noise.astype(np.float32)
