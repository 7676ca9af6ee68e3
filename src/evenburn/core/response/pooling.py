"""What the lots of one species have in common: their mean, and how far a new lot may lie from it.

Curves of several lots share strength: each is drawn towards the mean as far as it is uncertain, and the spread between
lots is what a strip on a new board has to overcome.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenburn.core.errors import InvalidInput
from evenburn.core.nouns.wood import CharacteristicCurve

FloatArray = NDArray[np.float64]

ROUNDS = 200
SETTLED = 1e-9
BELIEVED_LOTS = 6.0  # the spread believed beforehand counts as much as so many lots


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Species:
    """What the lots of a species have in common, in the order of CURVE_PARAMETERS.

    Attributes
    ----------
    mean : (9,) of the lots.
    between_covariance : (9, 9) from lot to lot.
    mean_covariance : (9, 9) how uncertain the mean is.
    lots : (n, 9) each lot, drawn towards the mean as far as it is uncertain.
    """

    mean: FloatArray
    between_covariance: FloatArray
    mean_covariance: FloatArray
    lots: FloatArray

    def new_lot_covariance(self) -> FloatArray:
        """Return how far a lot not seen yet may lie from the mean, (9, 9). Definition."""
        return self.between_covariance + self.mean_covariance


def pool_lots(curves: Sequence[CharacteristicCurve], *, believed_covariance: FloatArray) -> Species:
    """Return mean and spread of lots of one species from their fitted curves.

    Parameters
    ----------
    believed_covariance : (9, 9) spread from lot to lot believed before any was seen; it weighs as six lots do.

    Raises
    ------
    InvalidInput
        If there is no curve, or one of them lightens where another darkens.

    Source
    ------
    Normal hierarchical model, means and spread by expectation and maximisation [gelman2013], ch. 5 and 15.
    """
    if not curves:
        raise InvalidInput({"curves": "there is none to pool"})
    if len({c.full_L > c.bare_L for c in curves}) > 1:
        raise InvalidInput({"curves": "some darken and some lighten: they are not of one species"})
    free = np.flatnonzero(np.diag(believed_covariance) > 0.0)
    inside = np.ix_(free, free)
    seen = np.array([c.parameters() for c in curves])
    found = seen[:, free]
    ridge = 1e-12 * np.diag(np.diag(believed_covariance[inside]))
    precise = [np.linalg.inv(c.covariance[inside] + ridge) for c in curves]
    between, mean = believed_covariance[inside].copy(), found.mean(axis=0)
    lots = found
    covariance = between / len(curves)
    for _ in range(ROUNDS):
        apart = np.linalg.inv(between)
        spreads = [np.linalg.inv(p + apart) for p in precise]
        lots = np.array([v @ (p @ f + apart @ mean) for v, p, f in zip(spreads, precise, found, strict=True)])
        weights = [np.linalg.inv(np.linalg.inv(p) + between) for p in precise]
        covariance = np.linalg.inv(np.sum(weights, axis=0))
        new_mean = covariance @ np.sum([w @ f for w, f in zip(weights, found, strict=True)], axis=0)
        away = lots - new_mean
        scatter = np.sum(spreads, axis=0) + away.T @ away
        new_between = (BELIEVED_LOTS * believed_covariance[inside] + scatter) / (BELIEVED_LOTS + len(curves))
        settled = float(np.abs(new_mean - mean).max()) < SETTLED and np.allclose(new_between, between, rtol=1e-9)
        mean, between = new_mean, new_between
        if settled:
            break
    whole_mean = seen.mean(axis=0)
    whole_mean[free] = mean
    all_lots = seen.copy()
    all_lots[:, free] = lots
    full_between, full_mean = np.zeros_like(believed_covariance), np.zeros_like(believed_covariance)
    full_between[inside], full_mean[inside] = between, covariance
    return Species(mean=whole_mean, between_covariance=full_between, mean_covariance=full_mean, lots=all_lots)
