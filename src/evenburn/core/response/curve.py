"""The characteristic curve: tone (L*) against effective exposure.

Effective exposure  x = log10 H + (β − 1) log10 N + κ log10(τ / 1 ms)       N: `effective_passes`
Curve               L(x) = L_bare + (L_full − L_bare) G(x) + L_rev S(x)
    G(x) = (1 + (2^ν − 1) exp(−k (x − x_mid)))^(−1/ν)      generalised logistic, G(x_mid) = ½ for every ν
    S(x) = 1 / (1 + exp(−k (x − x_rev)))                    the turn back past the darkest point
Derivations stand in docs/how-it-works/curve.md.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenburn.core.errors import OutOfRange
from evenburn.core.nouns.wood import CURVE_PARAMETERS, CharacteristicCurve

FloatArray = NDArray[np.float64]

DWELL_REFERENCE_ms = 1.0
GRID_POINTS = 2001  # for inversion: under 0.003 decades a step, refined by interpolation


def effective_exposure(
    curve: CharacteristicCurve, *, dose_J_per_mm2: ArrayLike, dwell_ms: ArrayLike, passes: ArrayLike = 1
) -> FloatArray:
    """Return the effective exposure of a total dose given at a dwell in a number of passes. [log10 J/mm²]

    Parameters
    ----------
    passes : as `effective_passes` counts them, of lines as close as a card's.

    Source
    ------
    Schwarzschild's exponent as a power of the dwell, [schwarzschild1900]; dose 0 gives −∞.
    """
    with np.errstate(divide="ignore"):
        dose = np.log10(np.asarray(dose_J_per_mm2, dtype=np.float64))
    return np.asarray(dose + exposure_shift(curve, dwell_ms=dwell_ms, passes=passes), dtype=np.float64)


def exposure_shift(curve: CharacteristicCurve, *, dwell_ms: ArrayLike, passes: ArrayLike = 1) -> FloatArray:
    """Return what dwell and passes add to log10 dose. [log10 J/mm²] Source: as `effective_exposure`."""
    return np.asarray(
        curve.kappa * np.log10(np.asarray(dwell_ms) / DWELL_REFERENCE_ms)
        + (curve.pass_exponent - 1.0) * np.log10(np.asarray(passes)),
        dtype=np.float64,
    )


def _logistic(argument: FloatArray, *, asymmetry: float) -> FloatArray:
    """Generalised logistic with value ½ at 0, safe for large arguments either way."""
    scale = np.expm1(asymmetry * np.log(2.0))
    log_term = np.log(scale) - argument
    return np.asarray(np.exp(-np.logaddexp(0.0, log_term) / asymmetry), dtype=np.float64)


def tone_L(curve: CharacteristicCurve, exposure: ArrayLike) -> FloatArray:
    """Return the tone at effective exposures, anywhere; −∞ is the bare surface. [L*]

    Source
    ------
    Generalised logistic of [nist-strd] Rat43 in another parametrisation, plus a logistic turn back.
    """
    x = np.asarray(exposure, dtype=np.float64)
    k = curve.steepness_per_decade
    rise = _logistic(k * (x - curve.x_mid), asymmetry=curve.asymmetry)
    tone = curve.bare_L + (curve.full_L - curve.bare_L) * rise
    if curve.reversal_L != 0.0:
        tone = tone + curve.reversal_L * _logistic(k * (x - curve.x_reversal), asymmetry=1.0)
    return np.asarray(tone, dtype=np.float64)


def tone_slope_L_per_decade(curve: CharacteristicCurve, exposure: ArrayLike) -> FloatArray:
    """Return dL/dx at effective exposures. [L* per decade] Source: central difference of `tone_L`."""
    x = np.asarray(exposure, dtype=np.float64)
    h = 1e-4
    return np.asarray((tone_L(curve, x + h) - tone_L(curve, x - h)) / (2.0 * h), dtype=np.float64)


def usable_range(curve: CharacteristicCurve) -> tuple[float, float]:
    """Return the exposures between which the tone runs one way and the surface neither chars nor turns back.

    From the low end of what was measured to its high end, the char limit or the extreme tone, whichever comes first.
    [log10 J/mm²] Definition.
    """
    high = min(curve.x_high, curve.x_char)
    grid = np.linspace(curve.x_low, high, GRID_POINTS)
    tones = tone_L(curve, grid)
    turn = int(np.argmin(tones) if curve.full_L < curve.bare_L else np.argmax(tones))
    return curve.x_low, float(grid[turn])


def tone_range_L(curve: CharacteristicCurve) -> tuple[float, float]:
    """Return the tones at the two ends of the usable range, faint end first. [L*] Definition."""
    low, high = usable_range(curve)
    faint, full = tone_L(curve, np.array([low, high]))
    return float(faint), float(full)


def exposure_for_tone(curve: CharacteristicCurve, tone: float) -> float:
    """Return the effective exposure that gives a tone, inside the usable range. [log10 J/mm²]

    Raises
    ------
    OutOfRange
        If the wood cannot take that tone there; the error names the tones it can.

    Source
    ------
    Own derivation: `tone_L` inverted on its monotone branch.
    """
    faint, full = tone_range_L(curve)
    if not min(faint, full) <= tone <= max(faint, full):
        raise OutOfRange("tone", tone, low=min(faint, full), high=max(faint, full), unit="L*")
    return float(exposures_for_tones(curve, np.array([tone]))[0])


def exposures_for_tones(curve: CharacteristicCurve, tones: ArrayLike) -> FloatArray:
    """Return exposures for an array of tones; those outside what the wood takes get the nearest end.

    The caller has to say so where that matters; `tone_range_L` tells. [log10 J/mm²] Source: as `exposure_for_tone`.
    """
    low, high = usable_range(curve)
    grid = np.linspace(low, high, GRID_POINTS)
    values = tone_L(curve, grid)
    if curve.full_L < curve.bare_L:
        grid, values = grid[::-1], values[::-1]
    return np.asarray(np.interp(np.asarray(tones, dtype=np.float64), values, grid), dtype=np.float64)


def fit_sd_L(curve: CharacteristicCurve, *, log10_dose: float, dwell_ms: float, passes: float = 1) -> float:
    """Return the standard deviation of the predicted tone that the fit's covariance leaves. [L*]

    Parameters
    ----------
    log10_dose : of the total dose in J/mm²; dwell_ms : 2 w / v. [ms]

    Source
    ------
    First-order propagation √(J C Jᵀ), [gum2008], 5.2.2.
    """
    base = curve.parameters()

    def predicted(vector: FloatArray) -> float:
        changed: dict[str, Any] = {name: float(v) for name, v in zip(CURVE_PARAMETERS, vector, strict=True)}
        moved = replace(curve, **changed)
        x = log10_dose + exposure_shift(moved, dwell_ms=dwell_ms, passes=passes)
        return float(tone_L(moved, x))

    jacobian = np.zeros(base.size)
    for i, value in enumerate(base):
        step = 1e-4 * max(1.0, abs(value))
        up, down = base.copy(), base.copy()
        up[i] += step
        down[i] -= step
        jacobian[i] = (predicted(up) - predicted(down)) / (2.0 * step)
    return math.sqrt(max(0.0, float(jacobian @ curve.covariance @ jacobian)))


def tone_sd_L(curve: CharacteristicCurve, *, log10_dose: float, dwell_ms: float, passes: float = 1) -> float:
    """Return what the person will meet: fit, reading, board to board and evenness together. [L*]

    Source
    ------
    Independent parts added in quadrature, [gum2008], 5.1.2.
    """
    fit = fit_sd_L(curve, log10_dose=log10_dose, dwell_ms=dwell_ms, passes=passes)
    return float(np.sqrt(fit**2 + curve.reading_L**2 + curve.board_L**2 + curve.evenness_L**2))
