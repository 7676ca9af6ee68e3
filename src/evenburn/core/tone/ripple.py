"""The tone of lines seen from afar: the ripple that they leave, averaged as reflectance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenburn.core.nouns.wood import CharacteristicCurve
from evenburn.core.optics.lines import ripple_factor
from evenburn.core.response.curve import tone_L
from evenburn.core.tone.colour import lightness_L, luminance

FloatArray = NDArray[np.float64]

PHASES = 32  # places from a line to midway between two, over which the ripple is averaged: to 0.1 L* on steep curves
LINE_REACH_RADII = 3.0  # so far from a line nothing is left of it but e⁻¹⁸: bare ground, one place serves for all of it


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ripple:
    """Places from a line to midway between two: what each adds to the mean exposure, and its share of the area, (..., places)."""

    shifts: FloatArray
    shares: FloatArray

    def picked(self, some: NDArray[np.bool_]) -> Ripple:
        """Return that of some of many candidates, (N, places); it broadcasts with them. Definition."""
        whole = (*some.shape, self.shifts.shape[-1])
        return Ripple(
            shifts=np.broadcast_to(self.shifts, whole)[some], shares=np.broadcast_to(self.shares, whole)[some]
        )


def ripple_of(*, beam_radius_mm: ArrayLike, line_spacing_mm: ArrayLike) -> Ripple:
    """Return the ripple that lines leave, at places that stand for all of it. They broadcast. Source: `ripple_factor`."""
    beam, spacing = (np.asarray(a, dtype=np.float64)[..., None] for a in (beam_radius_mm, line_spacing_mm))
    reach = np.minimum(0.5, LINE_REACH_RADII * beam / spacing)
    phases = np.concatenate([reach * (np.arange(PHASES) + 0.5) / PHASES, 0.5 * (reach + 0.5)], axis=-1)
    shares = np.concatenate([np.repeat(2.0 * reach / PHASES, PHASES, axis=-1), 1.0 - 2.0 * reach], axis=-1)
    with np.errstate(divide="ignore"):
        shifts = np.log10(ripple_factor(beam_radius_mm=beam, line_spacing_mm=spacing, phase=phases))
    return Ripple(shifts=shifts, shares=shares)


def averaged_tone_L(curve: CharacteristicCurve, exposure: ArrayLike, *, ripple: Ripple) -> FloatArray:
    """Return the tone seen from afar where lines leave a ripple: the mean over it as reflectance. [L*]

    Parameters
    ----------
    exposure : mean over the ripple; it broadcasts with the ripple's places left out. [log10 J/mm²]

    Source
    ------
    Tones average as reflectance (Murray and Davies's idea, [murray1936]); ripple from [dlmf].
    """
    tones = tone_L(curve, np.asarray(exposure, dtype=np.float64)[..., None] + ripple.shifts)
    return np.asarray(lightness_L((luminance(tones) * ripple.shares).sum(axis=-1)), dtype=np.float64)
