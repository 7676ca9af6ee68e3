"""Dot gain from the exposure model: dots are burnt under the beam, and each place takes the tone of its dose.

A tile of dots is taken to repeat in both directions; a dot is a line spacing long and wide. Doses are over the mean of a
fully covered area. Inside, lengths are counted in dots.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, rfft
from scipy.special import log_ndtr, ndtr

from evenburn.core.nouns.wood import CharacteristicCurve
from evenburn.core.response.curve import tone_L
from evenburn.core.tone.colour import lightness_L, luminance

Dots = NDArray[np.bool_]
FloatArray = NDArray[np.float64]
Spectrum = NDArray[np.complex128]

SUBPIXELS = 5  # doses are looked at in fifths of a dot; odd, so that one place lies on the line itself
REACH_SIGMAS = 7.0  # a Gaussian has 1e-11 left beyond it
REACH_SMEARS = 25.0  # and the laser's answer as much
TABLE = 8193  # doses the curve is laid out at, straight in between; within 1e-5 L* of it on the shipped woods
LEAST_SMEAR = 1e-3  # of the beam; below it the answer is immediate to six digits


def _below(place: FloatArray, *, sigma: float, smear: float) -> FloatArray:
    """Return how much of a point's energy falls below places beside it: Gaussian beam, late answer, edges led by it.

    The late answer is exponential; led by its mean, it is centred. Sum of a Gaussian and an exponential variable.
    """
    if smear <= LEAST_SMEAR * sigma:
        return np.asarray(ndtr(place / sigma), np.float64)
    ahead, ratio = place + smear, sigma / smear
    tail = np.exp(0.5 * ratio * ratio - ahead / smear + log_ndtr(ahead / sigma - ratio))
    return np.asarray(ndtr(ahead / sigma) - tail, np.float64)


@lru_cache(maxsize=8)
def _transfers(shape: tuple[int, int], radius: float, smear: float) -> tuple[Spectrum, Spectrum, Spectrum]:
    """Return spectra, one for each fifth, of what a dot gives along its line, there and back, and a line across."""
    rows, columns = shape
    sigma = 0.5 * radius
    reach = REACH_SIGMAS * sigma + REACH_SMEARS * smear + 1.0
    place = (np.arange(columns * SUBPIXELS) + 0.5) / SUBPIXELS
    along = np.zeros((2, columns * SUBPIXELS))
    for turn in range(-math.ceil(reach / columns) - 1, math.ceil(reach / columns) + 2):
        edge = place + turn * columns
        along[0] += _below(edge, sigma=sigma, smear=smear) - _below(edge - 1.0, sigma=sigma, smear=smear)
        along[1] += _below(1.0 - edge, sigma=sigma, smear=smear) - _below(-edge, sigma=sigma, smear=smear)
    across = (np.arange(rows * SUBPIXELS) + 0.5) / SUBPIXELS - 0.5
    line = np.zeros(across.size)
    for turn in range(-math.ceil(reach / rows) - 1, math.ceil(reach / rows) + 2):
        line += np.exp(-0.5 * ((across + turn * rows) / sigma) ** 2)
    line /= sigma * math.sqrt(2.0 * math.pi)
    forward, backward, beside = (rfft(each.reshape(-1, SUBPIXELS).T, axis=1) for each in (along[0], along[1], line))
    return forward, backward, beside


def dose_of_dots(dots: Dots, *, beam_radius_mm: float, smear_mm: float, line_spacing_mm: float) -> FloatArray:
    """Return the dose that repeating dots leave, over the mean dose of a fully covered area.

    Parameters
    ----------
    dots : (lines, dots along them), an even number of lines, burnt to and fro.
    beam_radius_mm : 1/e² radius on the surface; smear_mm : speed times the laser's rise time. [mm]

    Returns
    -------
    (5 lines, 5 dots), at the middles of fifths of a dot.

    Source
    ------
    Own derivation: a Gaussian [siegman1986] and an exponential answer in closed form.
    """
    rows, columns = dots.shape
    forward, backward, beside = _transfers(
        (rows, columns), beam_radius_mm / line_spacing_mm, smear_mm / line_spacing_mm
    )
    spectrum = rfft(dots.astype(np.float64), axis=1)
    lines = np.empty((rows, columns * SUBPIXELS))
    for fifth in range(SUBPIXELS):
        lines[0::2, fifth::SUBPIXELS] = irfft(spectrum[0::2] * forward[fifth], n=columns, axis=1)
        lines[1::2, fifth::SUBPIXELS] = irfft(spectrum[1::2] * backward[fifth], n=columns, axis=1)
    spectrum = rfft(lines, axis=0)
    dose = np.empty((rows * SUBPIXELS, columns * SUBPIXELS))
    for fifth in range(SUBPIXELS):
        dose[fifth::SUBPIXELS] = irfft(spectrum * beside[fifth][:, None], n=rows, axis=0)
    return np.maximum(dose, 0.0, out=dose)  # transforms round a little below


def tone_of_coverage_L(
    curve: CharacteristicCurve,
    dots_of: Callable[[float], Dots],
    *,
    coverages: FloatArray,
    beam_radius_mm: float,
    line_spacing_mm: float,
    full_exposure: float,
    smear_mm: float = 0.0,
    settle_px: int = 0,
) -> FloatArray:
    """Return the tone each dot coverage comes out at: dot gain from the exposure model. [L*]

    Parameters
    ----------
    dots_of : gives a tile of dots of a coverage, with an even number of lines.
    full_exposure : mean effective exposure of a fully covered area. [log10 J/mm²]
    smear_mm : speed times the laser's rise time. [mm]
    settle_px : so many dots along each edge of the tile are burnt, but not looked at.

    Source
    ------
    Own derivation; it replaces the constant of [murray1936] and [yule1951] by the dose itself.
    """

    def dose_of(dots: Dots) -> FloatArray:
        return dose_of_dots(dots, beam_radius_mm=beam_radius_mm, smear_mm=smear_mm, line_spacing_mm=line_spacing_mm)

    # no place gets more than the middle of a line that has all its neighbours; up to there the curve is laid out once
    crest = float(dose_of(np.ones((2, 1), np.bool_)).max())
    doses = np.linspace(0.0, crest * (1.0 + 1e-9), TABLE)
    with np.errstate(divide="ignore"):
        seen = luminance(tone_L(curve, full_exposure + np.log10(doses)))
    rise = np.diff(seen)
    tones = np.empty(coverages.size)
    edge = settle_px * SUBPIXELS
    for i, share in enumerate(coverages):
        dose = dose_of(dots_of(float(share)))
        place = dose[edge : dose.shape[0] - edge, edge : dose.shape[1] - edge] / doses[1]
        step = np.minimum(place.astype(np.int32), TABLE - 2)
        tones[i] = lightness_L(float((seen[step] + (place - step) * rise[step]).mean()))  # luminances add up by area
    return tones
