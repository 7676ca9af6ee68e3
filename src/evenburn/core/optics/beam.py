"""A focused Gaussian beam: waist, Rayleigh length, radius off focus, and the power inside a circle."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenburn.core.nouns.machine import Lens, LensShape
from evenburn.core.units import MM_PER_UM

FloatArray = NDArray[np.float64]

# k of the aberrated spot k D³/f² for ZnSe lenses at 10.6 µm [iiviinfrared]; from memory, one worked example seen.
ABERRATION_K: dict[LensShape, float] = {"meniscus": 0.0187, "plano-convex": 0.0286}


@dataclass(frozen=True, slots=True, kw_only=True)
class Beam:
    """A focused beam: 1/e² waist radius and Rayleigh length. [mm]"""

    waist_radius_mm: float
    rayleigh_length_mm: float


def diffraction_diameter_mm(
    *, wavelength_um: float, focal_length_mm: float, beam_diameter_mm: float, beam_quality_m2: float
) -> float:
    """Return the focused 1/e² diameter of a collimated beam behind a thin lens, 4 M² λ f / (π D). [mm]

    Source
    ------
    [iiviinfrared], spot size; [siegman1986], ch. 17.
    """
    return 4.0 * beam_quality_m2 * wavelength_um * MM_PER_UM * focal_length_mm / (math.pi * beam_diameter_mm)


def aberration_diameter_mm(*, focal_length_mm: float, beam_diameter_mm: float, shape: LensShape) -> float:
    """Return what spherical aberration adds to the focused diameter, k D³/f². [mm]

    Source
    ------
    [iiviinfrared], spherical aberration; k from memory.
    """
    return ABERRATION_K[shape] * beam_diameter_mm**3 / focal_length_mm**2


def beam_of_lens(lens: Lens) -> Beam:
    """Return the focused beam of a lens, from measured values where it has them.

    The aberrated spot keeps the cone of the lens, so its Rayleigh length is waist radius over half-angle.

    Source
    ------
    [iiviinfrared] for the diameter; zR = w0 / θ with θ = D / 2f, which is π w0² / (M² λ) without aberration.
    """
    if lens.waist_radius_mm is not None:
        waist_radius_mm = lens.waist_radius_mm
    else:
        waist_radius_mm = 0.5 * (
            diffraction_diameter_mm(
                wavelength_um=lens.wavelength_um,
                focal_length_mm=lens.focal_length_mm,
                beam_diameter_mm=lens.beam_diameter_mm,
                beam_quality_m2=lens.beam_quality_m2,
            )
            + aberration_diameter_mm(
                focal_length_mm=lens.focal_length_mm, beam_diameter_mm=lens.beam_diameter_mm, shape=lens.shape
            )
        )
    if lens.rayleigh_length_mm is not None:
        rayleigh_length_mm = lens.rayleigh_length_mm
    else:
        rayleigh_length_mm = waist_radius_mm * 2.0 * lens.focal_length_mm / lens.beam_diameter_mm
    return Beam(waist_radius_mm=waist_radius_mm, rayleigh_length_mm=rayleigh_length_mm)


def beam_radius_mm(beam: Beam, *, offset_mm: ArrayLike) -> FloatArray:
    """Return the 1/e² radius at signed distances from the waist, w0 √(1 + (z/zR)²). [mm]

    Source
    ------
    [siegman1986], ch. 17.
    """
    ratio = np.asarray(offset_mm, dtype=np.float64) / beam.rayleigh_length_mm
    return np.asarray(beam.waist_radius_mm * np.sqrt(1.0 + ratio * ratio), dtype=np.float64)


def waist_after_lens(
    *, waist_in_mm: float, distance_mm: float, focal_length_mm: float, wavelength_um: float, beam_quality_m2: float
) -> tuple[float, float]:
    """Return waist radius and its distance behind a thin lens, for a beam with its own waist before the lens. [mm]

    Source
    ------
    [self1983], with M² widening the beam as in [siegman1986].
    """
    rayleigh_in_mm = math.pi * waist_in_mm**2 / (beam_quality_m2 * wavelength_um * MM_PER_UM)
    s = distance_mm / focal_length_mm
    q = rayleigh_in_mm / focal_length_mm
    behind_mm = focal_length_mm * (1.0 + (s - 1.0) / ((s - 1.0) ** 2 + q * q))
    magnification = 1.0 / math.sqrt((1.0 - s) ** 2 + q * q)
    return waist_in_mm * magnification, behind_mm


def power_fraction_inside(radius_mm: float, *, beam_radius_mm: float) -> float:
    """Return the fraction of the power inside a centred circle, 1 − exp(−2 r²/w²).

    Source
    ------
    [siegman1986], ch. 17; integral of the Gaussian.
    """
    return 1.0 - math.exp(-2.0 * (radius_mm / beam_radius_mm) ** 2)


def depth_of_focus_mm(beam: Beam, *, growth: float) -> float:
    """Return the distance from the waist, either way, at which the radius has grown by `growth` (0.05 is 5 %). [mm]

    Source
    ------
    Own derivation: the propagation law solved for z.
    """
    return beam.rayleigh_length_mm * math.sqrt((1.0 + growth) ** 2 - 1.0)
