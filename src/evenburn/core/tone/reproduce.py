"""From a photograph's light to tones the wood can hold, and on to powers or dots."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

from evenburn.core.nouns.wood import CharacteristicCurve
from evenburn.core.response.curve import tone_L
from evenburn.core.tone.colour import lightness_L, luminance

Picture = NDArray[np.float32]
FloatArray = NDArray[np.float64]
Diffuse = Callable[[Picture], NDArray[np.bool_]]

TILE_px = 64  # of a halftone's test patch
SUBPIXELS = 4  # the beam is followed at a quarter of a dot
COVERAGES = 17  # points of the dot-gain curve


def wished_tones_L(light: Picture, *, bare_L: float, full_L: float) -> Picture:
    """Return the tone wished at each pixel: the photograph's L* range laid onto the wood's. [L*]

    On a wood that darkens, white is bare wood and black the full tone; on slate, black is bare and white is full.

    Source
    ------
    Linear compression in L*, so that equal steps of lightness stay equal; own choice.
    """
    level = (lightness_L(light) / 100.0).astype(np.float32)
    share = 1.0 - level if full_L < bare_L else level
    return (bare_L + (full_L - bare_L) * share).astype(np.float32)


def tone_of_coverage_L(
    curve: CharacteristicCurve,
    diffuse: Diffuse,
    *,
    beam_radius_mm: float,
    line_spacing_mm: float,
    full_exposure: float,
) -> tuple[FloatArray, FloatArray]:
    """Return dot coverages 0–1 and the tone each comes out at: dot gain from the exposure model. [L*]

    A patch of each coverage is screened, exposed under the beam and looked at from afar, where tones average as
    reflectance.

    Parameters
    ----------
    full_exposure : effective exposure of a fully covered area. [log10 J/mm²]

    Source
    ------
    Own derivation; it replaces the constant of [murray1936] and [yule1951] by the dose itself.
    """
    coverages = np.linspace(0.0, 1.0, COVERAGES)
    tones = np.empty(COVERAGES)
    sigma_px = 0.5 * beam_radius_mm / line_spacing_mm * SUBPIXELS
    lines = np.zeros((SUBPIXELS, 1), np.float32)
    lines[SUBPIXELS // 2 - 1 : SUBPIXELS // 2 + 1] = SUBPIXELS / 2.0  # a line's energy lies in the middle of its row
    for i, share in enumerate(coverages):
        dots = diffuse(np.full((TILE_px, TILE_px), share, np.float32)).astype(np.float32)
        energy = np.kron(dots, np.ones((SUBPIXELS, SUBPIXELS), np.float32)) * np.tile(lines, (TILE_px, 1))
        dose = cv2.GaussianBlur(energy, (0, 0), sigmaX=max(sigma_px, 1e-3), borderType=cv2.BORDER_REFLECT)
        inner = np.asarray(dose, np.float64)[TILE_px:-TILE_px, TILE_px:-TILE_px]
        with np.errstate(divide="ignore"):
            seen = luminance(tone_L(curve, full_exposure + np.log10(inner)))
        tones[i] = lightness_L(float(seen.mean()))
    return coverages, tones


def coverage_for_tones(tones: Picture, *, coverages: FloatArray, tone_of_coverage: FloatArray) -> Picture:
    """Return the dot coverage, 0–1, that comes out at each wished tone. Source: `tone_of_coverage_L` inverted."""
    rising = tone_of_coverage[-1] > tone_of_coverage[0]
    monotone = (np.maximum if rising else np.minimum).accumulate(tone_of_coverage)
    if rising:
        return np.interp(tones, monotone, coverages).astype(np.float32)
    return np.interp(tones, monotone[::-1], coverages[::-1]).astype(np.float32)
