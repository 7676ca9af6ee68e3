"""Dot area as a densitometer tells it, so that the dots of a wood can be spoken of in the printer's words.

Densities are −log10 of reflectance, that of the bare ground taken off. The planner needs none of this: it reckons each place
under the beam. `dot_gain` puts what it finds into the printer's figure.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenburn.core.tone.colour import luminance

FloatArray = NDArray[np.float64]


def dot_area(*, tint_density: ArrayLike, solid_density: ArrayLike, spreading: ArrayLike = 1.0) -> FloatArray:
    """Return the share of an area that dots cover, 0–1, from its density and that of a solid, both above the ground.

    Parameters
    ----------
    spreading : Yule and Nielsen's n; 1 where light leaves where it enters, towards 2 where it spreads far between dots.

    Source
    ------
    [murray1936] for spreading 1, else [yule1951]: (1 − 10^(−Dt/n)) / (1 − 10^(−Ds/n)).
    """
    n = np.asarray(spreading, dtype=np.float64)
    tint, solid = (np.asarray(d, dtype=np.float64) for d in (tint_density, solid_density))
    return np.asarray((1.0 - 10.0 ** (-tint / n)) / (1.0 - 10.0 ** (-solid / n)), dtype=np.float64)


def tint_density(*, coverage: ArrayLike, solid_density: ArrayLike, spreading: ArrayLike = 1.0) -> FloatArray:
    """Return the density above the ground of an area of which dots cover a share, 0–1. Source: `dot_area` solved for it."""
    n = np.asarray(spreading, dtype=np.float64)
    left = 1.0 - np.asarray(coverage, dtype=np.float64) * (
        1.0 - 10.0 ** (-np.asarray(solid_density, dtype=np.float64) / n)
    )
    return np.asarray(-n * np.log10(left), dtype=np.float64)


def dot_gain(*, coverages: FloatArray, tones: FloatArray) -> FloatArray:
    """Return by how much of the area dots come out larger than they were set, from their tones; below 0 smaller.

    Parameters
    ----------
    coverages, tones : of a dot-gain curve, the first of them bare and the last a solid. [L* for tones]

    Source
    ------
    [murray1936]: area from reflectance, less what was set.
    """
    light = luminance(tones)
    return np.asarray((light[0] - light) / (light[0] - light[-1]) - coverages, dtype=np.float64)
