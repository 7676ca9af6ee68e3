"""Drift: whether pieces of several woods came out lighter or darker together, so that it is the bench and not the wood.

Each finished mark is off its prediction by some exposure. A part is that piece's reading, a part its lot's and its board's
own. What all lots share is the beam: a tube that ages, a lens that is dirty. One lot alone cannot tell the two apart.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenburn.core.errors import InvalidInput

FloatArray = NDArray[np.float64]

BELIEVED_DRIFT_DECADES = 0.08  # a fifth of the power, either way: starting value
STRONG = 3.0  # of log evidence, 20 to 1: "strong" [kass1995]
STEADY_SDS = 2.0
LEAST_LOTS = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Shift:
    """By how much one lot came out off its prediction, as exposure, and what of that is surely its own.

    Attributes
    ----------
    decades, decades_sd : got less predicted over the curve's slope; the sd holds reading, curve and board.
    """

    lot: str
    decades: float
    decades_sd: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """What the lots have in common.

    Attributes
    ----------
    decades, decades_sd : of exposure that all lots got more than they should.
    between_decades : spread from lot to lot beyond what was believed of each.
    log_evidence : for a drift against none, natural logarithm.
    lots : how many.
    named : whether it may be called a drift: strong evidence, two lots at least, and no single lot that makes it.
    """

    decades: float
    decades_sd: float
    between_decades: float
    log_evidence: float
    lots: int
    named: bool

    @property
    def power_share(self) -> float:
        """By what share more power than believed arrives on the wood; below 0 less."""
        return math.pow(10.0, self.decades) - 1.0

    @property
    def power_share_sd(self) -> float:
        """Standard deviation of `power_share`."""
        return math.log(10.0) * (1.0 + self.power_share) * self.decades_sd


def random_effects(values: FloatArray, sds: FloatArray) -> tuple[float, float, float]:
    """Return the mean of values that differ among themselves, its standard deviation, and the spread between them.

    Parameters
    ----------
    values, sds : (N,) each with its own standard deviation.

    Source
    ------
    [dersimonian1986]: moments of Cochran's Q.
    """
    weights = 1.0 / np.square(sds)
    fixed = float((weights * values).sum() / weights.sum())
    q = float((weights * np.square(values - fixed)).sum())
    scale = float(weights.sum() - np.square(weights).sum() / weights.sum())
    between2 = max(0.0, (q - (values.size - 1)) / scale) if values.size > 1 else 0.0
    both = 1.0 / (np.square(sds) + between2)
    return float((both * values).sum() / both.sum()), math.sqrt(1.0 / float(both.sum())), math.sqrt(between2)


def common_drift(shifts: list[Shift]) -> Drift:
    """Return what shifts of several lots have in common, and whether it may be called a drift.

    Raises
    ------
    InvalidInput
        If there is none, or a number is none.

    Source
    ------
    `random_effects` over lots, marks of a lot averaged first; Bayes factor of a normal mean against none [kass1995].
    """
    if not shifts:
        raise InvalidInput({"outcomes": "there is none to compare"})
    if not all(math.isfinite(s.decades) and math.isfinite(s.decades_sd) and s.decades_sd > 0.0 for s in shifts):
        raise InvalidInput({"outcomes": "a shift is no number, or its standard deviation is not above 0"})
    lots = sorted({s.lot for s in shifts})
    values, sds = (np.array(v) for v in zip(*(_of_lot([s for s in shifts if s.lot == k]) for k in lots), strict=True))
    mean, sd, between = random_effects(values, sds)
    evidence = _log_evidence(mean, sd)
    named = len(lots) >= LEAST_LOTS and evidence > STRONG and _steady(values, sds)
    return Drift(
        decades=mean,
        decades_sd=sd,
        between_decades=between,
        log_evidence=evidence,
        lots=len(lots),
        named=named,
    )


def _of_lot(shifts: list[Shift]) -> tuple[float, float]:
    """Return the mean shift of one lot. Its marks share curve and board, so more of them make it no surer."""
    weights = np.array([1.0 / s.decades_sd**2 for s in shifts])
    values = np.array([s.decades for s in shifts])
    return float((weights * values).sum() / weights.sum()), min(s.decades_sd for s in shifts)


def _log_evidence(mean: float, sd: float) -> float:
    """Return the log Bayes factor of a drift as believed possible against none, from a mean with its sd."""
    wide2 = sd**2 + BELIEVED_DRIFT_DECADES**2
    return 0.5 * (math.log(sd**2 / wide2) + mean**2 * (1.0 / sd**2 - 1.0 / wide2))


def _steady(values: FloatArray, sds: FloatArray) -> bool:
    """Return whether every lot left out in turn, the others still say the same."""
    sign = math.copysign(1.0, random_effects(values, sds)[0])
    for left in range(values.size):
        rest = np.arange(values.size) != left
        mean, sd, _ = random_effects(values[rest], sds[rest])
        if sign * mean < STEADY_SDS * sd * (1.0 if values.size > LEAST_LOTS else 0.5):
            return False
    return True
