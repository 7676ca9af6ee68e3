"""Figures of a wood that both its page and a curve beside the present one tell."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from evenburn.adapters.pictures.wood_swatches import tone_colours
from evenburn.core.nouns.card import SET_ASIDE
from evenburn.core.nouns.wood import CURVE_PARAMETERS, CharacteristicCurve, Wood
from evenburn.core.response.curve import exposure_shift, exposures_for_tones, tone_range_L
from evenburn.core.response.fitting import Observed, tone_jacobian
from evenburn.core.response.shades import shades_L
from evenburn.services.book.wood_cards import WoodCard

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Shade:
    """A tone that is told apart, its colour, and the exposure that gives it at 1 ms of dwell in one pass."""

    tone_L: float
    exposure_J_per_mm2: float
    colour: str


def shades_of(one: Wood) -> tuple[Shade, ...]:
    """Return the shades of a wood with their exposures and colours."""
    tones = shades_L(one.curve)
    if not tones:
        return ()
    doses = 10.0 ** exposures_for_tones(one.curve, np.array(tones))
    return tuple(
        Shade(tone_L=tone, exposure_J_per_mm2=float(dose), colour=colour)
        for tone, dose, colour in zip(tones, doses, tone_colours(one, tones), strict=True)
    )


def tone_sd_L(one: Wood, *, dwell: float) -> float:
    """Return how far off tones may be by the curve alone, root mean square over the shades. [L*]"""
    tones = shades_L(one.curve) or tone_range_L(one.curve)
    return float(np.sqrt(np.mean(np.square(sds_L(one.curve, exposures_for_tones(one.curve, tones), dwell=dwell)))))


def sds_L(curve: CharacteristicCurve, exposures: FloatArray, *, dwell: float) -> FloatArray:
    """Return how far off tones may be by the curve alone, at effective exposures reached at one dwell in one pass. [L*]

    Source
    ------
    As `fit_sd_L`, for many at once: √(J C Jᵀ), [gum2008], 5.2.2.
    """
    many = np.ones_like(exposures)
    seen = Observed(
        log10_dose=exposures - float(exposure_shift(curve, dwell_ms=dwell)),
        dwell_ms=dwell * many,
        passes=many,
        tone_L=many,
        tone_L_sd=many,
    )
    jacobian = tone_jacobian(curve, seen)
    variance = np.einsum("ij,jk,ik->i", jacobian, curve.covariance, jacobian)
    return np.asarray(np.sqrt(np.maximum(variance, 0.0)), np.float64)


def sd_of(one: Wood, name: str) -> float:
    """Return the standard deviation of a parameter of a wood's curve."""
    at = CURVE_PARAMETERS.index(name)
    return math.sqrt(max(0.0, float(one.curve.covariance[at, at])))


def readings_under(cards: Sequence[WoodCard], source: Sequence[int]) -> list[tuple[int, dict[str, Any]]]:
    """Return the readings that a curve was fitted to, each with the number of its card, in their order."""
    found = {r.reading_id: (c.card_id, r.document) for c in cards for r in c.readings}
    return [found[id_] for id_ in source if id_ in found]


def inside_L(readings: Sequence[tuple[int, dict[str, Any]]]) -> float | None:
    """Return how much the tone differs inside one patch, the median of those that count; None where none was read. [L*]"""
    spreads = [p["spread_L"] for _, r in readings for p in r["patches"] if not SET_ASIDE & set(p["flags"])]
    return float(np.median(spreads)) if spreads else None
