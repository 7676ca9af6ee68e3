"""A path to follow: straight pieces from point to point, open or closed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

FLATNESS_mm = 0.01  # farthest a chord of a flattened curve lies from the curve; well under a beam's radius


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Polyline:
    """Points joined by straight pieces; a closed one goes back to its first point, which is not repeated.

    `points_mm` is (N, 2), N ≥ 2 (≥ 3 where closed), no two neighbours alike; origin lower left, y up. [mm]
    """

    points_mm: FloatArray
    closed: bool
