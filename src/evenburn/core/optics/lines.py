"""The dose that parallel scan lines leave: mean, ripple across the lines, and single lines."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

WIDE_SPACING_RADII = 2.0  # from here on the lines themselves are summed, below it their harmonics
CLOSE_RADII = (
    0.75  # of the 1/e² radius from line to line: lines that leave an even card, and one pass of them counts as one
)
HARMONICS = 6  # at that spacing the 7th harmonic is 1e-26 of the mean
NEIGHBOURS = 2  # at that spacing the 3rd line away adds below 1e-21 of the mean


def mean_dose_J_per_mm2(
    *, power_W: ArrayLike, speed_mm_per_s: ArrayLike, line_spacing_mm: ArrayLike, passes: ArrayLike = 1
) -> FloatArray:
    """Return the mean dose of a raster, n P / (v p). [J/mm²]

    Source
    ------
    Conservation of energy; the eight rows of [kudela2019] agree.
    """
    power = np.asarray(power_W, dtype=np.float64)
    return np.asarray(
        np.asarray(passes) * power / (np.asarray(speed_mm_per_s) * np.asarray(line_spacing_mm)), dtype=np.float64
    )


def power_for_dose_W(
    *, dose_J_per_mm2: ArrayLike, speed_mm_per_s: ArrayLike, line_spacing_mm: ArrayLike, passes: ArrayLike = 1
) -> FloatArray:
    """Return the power that gives a mean dose. [W]

    Source
    ------
    Own derivation: `mean_dose_J_per_mm2` solved for power.
    """
    dose = np.asarray(dose_J_per_mm2, dtype=np.float64)
    return np.asarray(
        dose * np.asarray(speed_mm_per_s) * np.asarray(line_spacing_mm) / np.asarray(passes), dtype=np.float64
    )


def line_peak_dose_J_per_mm2(*, power_W: float, speed_mm_per_s: float, beam_radius_mm: float) -> float:
    """Return the dose on the axis of one line, √(2/π) P / (v w). [J/mm²]

    Source
    ------
    Own derivation: the line integral of a Gaussian beam, docs/how-it-works/exposure.md.
    """
    return math.sqrt(2.0 / math.pi) * power_W / (speed_mm_per_s * beam_radius_mm)


def dwell_ms(*, beam_radius_mm: ArrayLike, speed_mm_per_s: ArrayLike) -> FloatArray:
    """Return the time the spot takes to pass a point, 2 w / v. [ms] Definition."""
    return np.asarray(2e3 * np.asarray(beam_radius_mm) / np.asarray(speed_mm_per_s), dtype=np.float64)


def radius_of_dwell_mm(*, dwell_ms: float, speed_mm_per_s: float) -> float:
    """Return the radius of a spot that takes a time to pass a point. [mm] Definition: the reverse of `dwell_ms`."""
    return 0.5e-3 * dwell_ms * speed_mm_per_s


def effective_passes(*, passes: ArrayLike, beam_radius_mm: ArrayLike, line_spacing_mm: ArrayLike) -> FloatArray:
    """Return how often a place is burnt over, counted in passes of lines that lie as close as CLOSE_RADII says.

    Lines at half the spacing burn a place as often as two passes do. They broadcast; a line alone has an endless spacing.

    Source
    ------
    Own derivation, docs/how-it-works/curve.md: lines whose doses at a place are Hᵢ count as (Σ Hᵢ)² / Σ Hᵢ² like ones,
    for Gaussian lines in the mean √π w / p, and never less than one.
    """
    over = np.asarray(beam_radius_mm, dtype=np.float64) / np.asarray(line_spacing_mm, dtype=np.float64)
    lines = np.maximum(math.sqrt(math.pi) * over, 1.0)
    return np.asarray(np.asarray(passes) * lines / (math.sqrt(math.pi) / CLOSE_RADII), dtype=np.float64)


def ripple_factor(*, beam_radius_mm: ArrayLike, line_spacing_mm: ArrayLike, phase: ArrayLike) -> FloatArray:
    """Return dose over mean dose at a place between lines; phase 0 lies on a line, 0.5 midway.

    The arguments broadcast. The result is exact to rounding at every spacing: a wide one leaves bare ground between.

    Source
    ------
    [dlmf], 20.2.3 and 20.7(viii): the sum of Gaussians as a theta function, by Poisson summation.
    """
    beam, spacing = np.asarray(beam_radius_mm, dtype=np.float64), np.asarray(line_spacing_mm, dtype=np.float64)
    u = np.asarray(phase, dtype=np.float64)
    exponent = 0.5 * (math.pi * beam / spacing) ** 2
    close = np.ones(np.broadcast_shapes(exponent.shape, u.shape))
    for n in range(1, HARMONICS + 1):
        close = close + 2.0 * np.exp(-exponent * n * n) * np.cos(2.0 * math.pi * n * u)
    ratio = spacing / beam
    offset = u - np.round(u)
    lines = [np.exp(-2.0 * ((offset - k) * ratio) ** 2) for k in range(-NEIGHBOURS, NEIGHBOURS + 1)]
    wide = math.sqrt(2.0 / math.pi) * ratio * sum(lines)
    return np.asarray(np.where(ratio < WIDE_SPACING_RADII, close, wide), dtype=np.float64)


def ripple_modulation(*, beam_radius_mm: float, line_spacing_mm: float) -> float:
    """Return the modulation (max − min)/(max + min) of the dose across the lines.

    Source
    ------
    [dlmf], as `ripple_factor`; its leading term is 2 exp(−π² w² / (2 p²)).
    """
    top, bottom = ripple_factor(
        beam_radius_mm=beam_radius_mm, line_spacing_mm=line_spacing_mm, phase=np.array([0.0, 0.5])
    )
    return float((top - bottom) / (top + bottom))
