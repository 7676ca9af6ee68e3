"""What the curve's own uncertainty leaves open at one tone: how steep it is there, and its tone at another dwell."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenburn.core.nouns.wood import CURVE_PARAMETERS, CharacteristicCurve
from evenburn.core.response.curve import DWELL_REFERENCE_ms, exposures_for_tones, tone_L

FloatArray = NDArray[np.float64]

SHAPE = CURVE_PARAMETERS[:7]  # the tone at an effective exposure; the other two decide what that exposure is
STEP = 1e-4  # of a parameter, or of 1 where that is more: for central differences


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CurveDoubt:
    """What is not known of a curve at one tone, to first order.

    Attributes
    ----------
    slope_L_per_decade, slope_L_per_decade_sd : dL/dx at the tone, without its sign, and its standard deviation.
    covariance : (3, 3) of the tone at 1 ms and one pass, and of what a decade of dwell and of passes add to it. [L*²]
    """

    slope_L_per_decade: float
    slope_L_per_decade_sd: float
    covariance: FloatArray

    def tone_L_sd(self, *, dwell_ms: ArrayLike, passes: ArrayLike) -> FloatArray:
        """Return the standard deviation of the tone that the curve's covariance leaves. They broadcast. [L*]

        Source
        ------
        First-order propagation √(J C Jᵀ), [gum2008], 5.2.2, the tone's exposure being linear in κ and the pass exponent.
        """
        c = self.covariance
        dwell = np.log10(np.asarray(dwell_ms, dtype=np.float64) / DWELL_REFERENCE_ms)
        again = np.log10(np.asarray(passes, dtype=np.float64))
        variance = c[0, 0] + dwell * (2.0 * c[0, 1] + dwell * c[1, 1])
        variance = variance + again * (2.0 * c[0, 2] + again * c[2, 2] + 2.0 * dwell * c[1, 2])
        return np.asarray(np.sqrt(np.maximum(variance, 0.0)), dtype=np.float64)

    def ripple_doubt_L(self, *, ripple_L: ArrayLike, decades: ArrayLike) -> FloatArray:
        """Return by how much banding grows where the curve is steeper by its standard deviation. They broadcast. [L*]

        Parameters
        ----------
        ripple_L : crest to trough on the curve as it stands; decades : the same on the exposure axis.

        Source
        ------
        [gum2008], 5.1.2: the slope's uncertainty times the step in exposure; never more than in proportion to the
        ripple, for a wide step runs into the ends of the curve, however steep it is between.
        """
        if self.slope_L_per_decade_sd == 0.0:
            return np.zeros_like(np.asarray(ripple_L, dtype=np.float64) + np.zeros_like(decades, dtype=np.float64))
        share = self.slope_L_per_decade_sd / max(self.slope_L_per_decade, 1e-9)
        grown = np.minimum(self.slope_L_per_decade_sd * np.asarray(decades), share * np.asarray(ripple_L))
        return np.asarray(grown, dtype=np.float64)


def curve_doubt(curve: CharacteristicCurve, *, tone: float) -> CurveDoubt:
    """Return what is not known of a curve at a tone; a tone the wood cannot take stands for the nearest it can.

    Source
    ------
    [gum2008], 5.2.2; docs/how-it-works/recipe.md.
    """
    exposure = float(exposures_for_tones(curve, tone))
    return doubt_at(curve, exposure=exposure)


def doubt_at(curve: CharacteristicCurve, *, exposure: float) -> CurveDoubt:
    """Return what is not known of a curve at an effective exposure. [log10 J/mm²] Source: as `curve_doubt`."""
    base = curve.parameters()
    steps = STEP * np.maximum(1.0, np.abs(base[: len(SHAPE)]))
    around = np.array([exposure - STEP, exposure, exposure + STEP])
    below, here, above = (float(v) for v in tone_L(curve, around))
    slope = (above - below) / (2.0 * STEP)
    # the turn past the darkest point moves little while the tone stays: it is taken where the exposure is
    turn_at = exposure if curve.reversal_L != 0.0 else None

    tone_by, steep_by = np.zeros(len(base)), np.zeros(len(base))
    for i, (name, step) in enumerate(zip(SHAPE, steps, strict=True)):
        up, down = (_changed(curve, name, float(base[i] + s)) for s in (step, -step))
        tone_by[i] = float(tone_L(up, exposure) - tone_L(down, exposure)) / (2.0 * step)
        steep = [_slope_at_tone(c, tone=here, turn_at=turn_at) for c in (up, down)]
        steep_by[i] = (steep[0] - steep[1]) / (2.0 * step)
    rows = np.zeros((3, len(base)))
    rows[0] = tone_by
    rows[1, CURVE_PARAMETERS.index("kappa")] = slope
    rows[2, CURVE_PARAMETERS.index("pass_exponent")] = slope
    return CurveDoubt(
        slope_L_per_decade=abs(slope),
        slope_L_per_decade_sd=math.sqrt(max(0.0, float(steep_by @ curve.covariance @ steep_by))),
        covariance=rows @ curve.covariance @ rows.T,
    )


def _changed(curve: CharacteristicCurve, name: str, value: float) -> CharacteristicCurve:
    change: dict[str, Any] = {name: value}
    return replace(curve, **change)


def _slope_at_tone(curve: CharacteristicCurve, *, tone: float, turn_at: float | None) -> float:
    """Return dL/dx where the curve has a tone, wherever that is. [L* per decade]

    Source
    ------
    Own derivation: the logistic G of `tone_L` obeys dG/dx = k/ν · G (1 − G^ν), so the slope follows from the tone alone
    and x_mid does not enter.
    """
    k, nu = curve.steepness_per_decade, curve.asymmetry
    turned_L, turning = 0.0, 0.0
    if turn_at is not None:
        share = 1.0 / (1.0 + math.exp(-k * (turn_at - curve.x_reversal)))
        turned_L, turning = curve.reversal_L * share, curve.reversal_L * k * share * (1.0 - share)
    rise = (tone - turned_L - curve.bare_L) / (curve.full_L - curve.bare_L)
    rise = min(max(rise, 1e-12), 2.0)
    return (curve.full_L - curve.bare_L) * k / nu * rise * (1.0 - math.pow(rise, nu)) + turning
