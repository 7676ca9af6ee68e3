"""What the eye sees of fine stripes: contrast sensitivity, and the banding it lets pass."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenburn.core.tone.colour import lightness_L, luminance

FloatArray = NDArray[np.float64]

PEAK_CONTRAST_SENSITIVITY = 200.0  # 1 / least Michelson contrast at the best frequency [campbell1968], from memory
UNSEEN_L = 1.0  # differences below 1 are not seen even side by side [mokrzycki2011]


def cycles_per_degree(*, period_mm: ArrayLike, distance_mm: float) -> FloatArray:
    """Return spatial frequency at the eye of stripes of a period at a distance. Definition: 1° = 2 d tan ½°."""
    return np.asarray(2.0 * distance_mm * math.tan(math.radians(0.5)) / np.asarray(period_mm), dtype=np.float64)


def contrast_sensitivity(frequency_cpd: ArrayLike) -> FloatArray:
    """Return the eye's relative contrast sensitivity, about 1 at its best near 8 cycles per degree.

    Source
    ------
    [mannos1974]: 2.6 (0.0192 + 0.114 f) exp(−(0.114 f)^1.1).
    """
    f = 0.114 * np.asarray(frequency_cpd, dtype=np.float64)
    return np.asarray(2.6 * (0.0192 + f) * np.exp(-(f**1.1)), dtype=np.float64)


def unseen_banding_L(*, tone: float, period_mm: ArrayLike, distance_mm: float) -> FloatArray:
    """Return the largest peak-to-valley banding, in L*, that is not seen at a reading distance.

    The eye's threshold at the stripes' frequency, but never more than 1 L*: stripes too fine to be resolved at that
    distance are seen when somebody looks closer.

    Source
    ------
    [mannos1974] for the shape, [campbell1968] for the height, [mokrzycki2011] for the ceiling.
    """
    sensitivity = contrast_sensitivity(cycles_per_degree(period_mm=period_mm, distance_mm=distance_mm))
    contrast = np.minimum(0.5, 1.0 / (PEAK_CONTRAST_SENSITIVITY * np.maximum(sensitivity, 1e-6)))
    mean = luminance(tone)
    swing = lightness_L(mean * (1.0 + contrast)) - lightness_L(mean * (1.0 - contrast))
    return np.asarray(np.minimum(swing, UNSEEN_L), dtype=np.float64)
