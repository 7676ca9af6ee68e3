"""One burn on top of another: what both come to in exposure and tone, and which tone hides the old one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenburn.core.nouns.wood import CharacteristicCurve
from evenburn.core.response.curve import tone_L, usable_range

FloatArray = NDArray[np.float64]

SEEN_L = 2.3  # the just noticeable difference [mahy1994]
STEPS = 400  # exposures tried between the new tone and the darkest: finer than 0.2 L* on every shipped wood
LEAST_EXPONENT = 1e-3  # below it passes do not add at all: the stronger one counts


def both_exposures(curve: CharacteristicCurve, *, old_exposure: ArrayLike, new_exposure: ArrayLike) -> FloatArray:
    """Return the effective exposure of two burns on one place. [log10 J/mm²]

    Each effective dose counts as h = 10^x; together they are (h₁^(1/β) + h₂^(1/β))^β with the pass exponent β, which is
    what makes two like passes come to n^β of one, and is the plain sum for β = 1.

    Source
    ------
    Own derivation: the pass term of `effective_exposure` for unlike passes; dwells by reciprocity, [schwarzschild1900].
    """
    first, second = np.asarray(old_exposure, dtype=np.float64), np.asarray(new_exposure, dtype=np.float64)
    beta = curve.pass_exponent
    if beta < LEAST_EXPONENT:
        return np.asarray(np.maximum(first, second), dtype=np.float64)
    scale = np.log(10.0) / beta
    with np.errstate(invalid="ignore"):  # two untouched places: −∞ and −∞
        summed = np.logaddexp(first * scale, second * scale) / scale
    return np.asarray(np.where(np.isneginf(first) & np.isneginf(second), -np.inf, summed), dtype=np.float64)


@dataclass(frozen=True, slots=True, kw_only=True)
class Again:
    """What becomes of an evenly burnt place when an even tone is burnt over it.

    Attributes
    ----------
    old_L, new_L, both_L : tones: as it is, of the new burn beside it, and of the new burn over it.
    difference_L : between the two last, which is what the eye sees of the old burn.
    over_char : dose of both over that of the char limit; above 1 it chars.
    hides_L : the faintest new tone from the one wished on that hides the old burn without char; None if there is none.
    """

    old_L: float
    new_L: float
    both_L: float
    difference_L: float
    over_char: float
    hides_L: float | None

    def is_seen(self) -> bool:
        """Return whether the old burn shows inside the new one. Source: [mahy1994]."""
        return abs(self.difference_L) > SEEN_L


def burnt_again(curve: CharacteristicCurve, *, old_exposure: float, new_exposure: float) -> Again:
    """Return what an even burn over an even burn comes to. Sources: `both_exposures`, `tone_L`."""
    both = float(both_exposures(curve, old_exposure=old_exposure, new_exposure=new_exposure))
    old_tone, new_tone, both_tone = (float(v) for v in tone_L(curve, np.array([old_exposure, new_exposure, both])))
    low, high = usable_range(curve)
    tried = np.linspace(max(new_exposure, low), max(high, new_exposure), STEPS)
    over = both_exposures(curve, old_exposure=old_exposure, new_exposure=tried)
    good = (np.abs(tone_L(curve, over) - tone_L(curve, tried)) <= SEEN_L) & (over <= curve.x_char)
    return Again(
        old_L=old_tone,
        new_L=new_tone,
        both_L=both_tone,
        difference_L=both_tone - new_tone,
        over_char=float(10.0 ** (both - curve.x_char)),
        hides_L=float(tone_L(curve, tried[int(good.argmax())])) if good.any() else None,
    )
