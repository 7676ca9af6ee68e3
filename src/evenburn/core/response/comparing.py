"""Promised against got: what a finished mark says of the exposure, and in words how it came out."""

from __future__ import annotations

import math

import numpy as np

from evenburn.core.nouns.outcome import ExposureShift, Got, Outcome, Promised
from evenburn.core.nouns.wood import CharacteristicCurve
from evenburn.core.response.curve import effective_exposure, fit_sd_L, tone_L, tone_slope_L_per_decade
from evenburn.core.response.fitting import Observed

KEPT_SDS = 2.0  # 95 of 100 results lie within, were all as promised
FLAT_L_per_decade = 8.0  # where the tone changes less, it tells nothing of the exposure


def curve_tone_L(curve: CharacteristicCurve, promised: Promised) -> float:
    """Return the tone a curve gives for what a mark was burnt with. [L*] Source: `tone_L`."""
    return float(tone_L(curve, _exposure(curve, promised)))


def shift_of(curve: CharacteristicCurve, *, promised: Promised, got: Got) -> ExposureShift | None:
    """Return by how much more exposure than planned a mark looks; None where the curve is too flat to tell.

    Source
    ------
    First order, [gum2008], 5.1.2: tone over the curve's slope; reading, curve and board-to-board scatter are independent.
    """
    slope = float(tone_slope_L_per_decade(curve, _exposure(curve, promised)))
    rises = math.copysign(1.0, curve.full_L - curve.bare_L)
    if slope * rises < FLAT_L_per_decade:
        return None
    fit = fit_sd_L(
        curve, log10_dose=math.log10(promised.dose_J_per_mm2), dwell_ms=promised.dwell_ms, passes=promised.passes
    )
    total = math.sqrt(got.own_L_sd**2 + got.shared_L_sd**2 + fit**2 + curve.board_L**2)
    return ExposureShift(
        decades=(got.tone_L - promised.tone_L) / slope, decades_sd=total / abs(slope), slope_L_per_decade=slope
    )


def observed_mark(promised: Promised, got: Got) -> Observed:
    """Return a finished mark as one patch of its lot. Definition."""
    return Observed(
        log10_dose=np.array([math.log10(promised.dose_J_per_mm2)]),
        dwell_ms=np.array([promised.dwell_ms]),
        passes=np.array([promised.passes]),
        tone_L=np.array([got.tone_L]),
        tone_L_sd=np.array([got.own_L_sd]),
        shared_L=np.array([[got.shared_L_sd]]),
    )


def verdict_text(outcome: Outcome) -> str:
    """Return in one sentence how a mark came out. Definition: kept is what lies within KEPT_SDS."""
    off = outcome.off_L
    way = f"{abs(off):.1f} L* {'darker' if off < 0.0 else 'lighter'} than promised"
    if abs(outcome.sds) <= KEPT_SDS:
        return f"within what was promised: {way}, {abs(outcome.sds):.1f} of its standard deviations"
    return f"{way}: {abs(outcome.sds):.1f} standard deviations of ± {outcome.off_L_sd:.1f} L*, which is more than chance gives"


def _exposure(curve: CharacteristicCurve, promised: Promised) -> float:
    return float(
        effective_exposure(
            curve, dose_J_per_mm2=promised.dose_J_per_mm2, dwell_ms=promised.dwell_ms, passes=promised.passes
        )
    )
