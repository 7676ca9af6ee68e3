"""The beam from a focus ladder: single lines burnt at several stand-offs and powers, their widths measured.

Across a line the dose is Gaussian, so what lies above a threshold is b wide with b² = 2 w² ln(F / F_threshold), F the dose on
the axis. Widths at several powers give w and the threshold, at several offsets waist, its place and Rayleigh length.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from evenburn.core.errors import InvalidInput
from evenburn.core.optics.beam import Beam

FloatArray = NDArray[np.float64]

LEAST_WIDTHS = 6
LEAST_OFFSETS = 3
SETTLED = 1e-10


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LineWidths:
    """Widths of single lines as measured, (N,) each.

    Attributes
    ----------
    offset_mm : stand-off less the focus stand-off that the machine file states.
    power_W, speed_mm_per_s : as burnt.
    width_mm, width_sd_mm : as measured; 0 where no line was seen.
    """

    offset_mm: FloatArray
    power_W: FloatArray
    speed_mm_per_s: FloatArray
    width_mm: FloatArray
    width_sd_mm: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LadderFit:
    """The beam as a ladder shows it.

    Attributes
    ----------
    beam : waist and Rayleigh length.
    waist_offset_mm : where the waist lies: add it to the focus stand-off of the machine file.
    threshold_J_per_mm2 : dose from which on a line is seen on this wood.
    waist_radius_sd_mm, rayleigh_length_sd_mm, waist_offset_sd_mm : standard deviations.
    residual_mm : (N,) measured less fitted width.
    """

    beam: Beam
    waist_offset_mm: float
    threshold_J_per_mm2: float
    waist_radius_sd_mm: float
    rayleigh_length_sd_mm: float
    waist_offset_sd_mm: float
    residual_mm: FloatArray


def line_width_mm(widths: LineWidths, *, beam: Beam, waist_offset_mm: float, threshold_J_per_mm2: float) -> FloatArray:
    """Return the widths that lines come out at, 0 where the dose stays below the threshold. [mm]

    Source
    ------
    [liu1982] for a line instead of a spot: F = √(2/π) P / (v w) on its axis.
    """
    radius2 = beam.waist_radius_mm**2 * (
        1.0 + np.square((widths.offset_mm - waist_offset_mm) / beam.rayleigh_length_mm)
    )
    peak = math.sqrt(2.0 / math.pi) * widths.power_W / (widths.speed_mm_per_s * np.sqrt(radius2))
    return np.asarray(np.sqrt(2.0 * radius2 * np.maximum(np.log(peak / threshold_J_per_mm2), 0.0)))


def fit_ladder(widths: LineWidths, *, start: Beam) -> LadderFit:
    """Return waist, its place, Rayleigh length and threshold from the widths of a ladder.

    Parameters
    ----------
    start : the beam that the lens should have; only where the search begins.

    Raises
    ------
    InvalidInput
        If there are too few widths or offsets, or a value is no number.

    Source
    ------
    [liu1982] with w² = w0² (1 + ((z − z0)/zR)²), by robust least squares in b²; lines too faint to be seen only bound the
    threshold from below.
    """
    _demand(widths)
    seen = widths.width_mm > 0.0

    def values(at: FloatArray) -> tuple[Beam, float, float]:
        beam = Beam(waist_radius_mm=math.exp(at[0]), rayleigh_length_mm=math.exp(at[1]))
        return beam, float(at[2]), math.exp(at[3])

    def squares(at: FloatArray) -> FloatArray:
        beam, place, threshold = values(at)
        radius2 = beam.waist_radius_mm**2 * (1.0 + np.square((widths.offset_mm - place) / beam.rayleigh_length_mm))
        peak = math.sqrt(2.0 / math.pi) * widths.power_W / (widths.speed_mm_per_s * np.sqrt(radius2))
        return np.asarray(2.0 * radius2 * np.log(peak / threshold))

    def off(at: FloatArray) -> FloatArray:
        found = squares(at)
        # the square root straightens what is a width; below the threshold it goes on falling, so the fit finds back
        width = np.sign(found) * np.sqrt(np.abs(found))
        sd = np.maximum(widths.width_sd_mm, 1e-6)
        return np.where(seen, (width - widths.width_mm) / sd, np.maximum(width, 0.0) / sd)

    hits = np.flatnonzero(seen)
    nearest = widths.offset_mm[hits[np.argmin(widths.width_mm[hits])]]
    peaks = math.sqrt(2.0 / math.pi) * widths.power_W / (widths.speed_mm_per_s * start.waist_radius_mm)
    guesses = [
        np.array([math.log(start.waist_radius_mm), math.log(start.rayleigh_length_mm), place, math.log(threshold)])
        for place in (0.0, float(nearest))
        for threshold in (0.05 * float(peaks.min()), 0.3 * float(peaks.min()))
    ]
    solutions = [least_squares(off, g, loss="soft_l1", xtol=SETTLED, ftol=SETTLED, max_nfev=400) for g in guesses]
    best = min(solutions, key=lambda s: float(s.cost))
    beam, place, threshold = values(best.x)
    residual = np.where(
        seen,
        widths.width_mm - line_width_mm(widths, beam=beam, waist_offset_mm=place, threshold_J_per_mm2=threshold),
        0.0,
    )
    freedom = max(int(seen.sum()) - 4, 1)
    scale = max(1.0, float(np.square(residual / np.maximum(widths.width_sd_mm, 1e-6)).sum()) / freedom)
    jacobian = np.asarray(best.jac, dtype=np.float64)
    covariance = np.linalg.pinv(jacobian.T @ jacobian) * scale
    sd = np.sqrt(np.diag(covariance))
    return LadderFit(
        beam=beam,
        waist_offset_mm=place,
        threshold_J_per_mm2=threshold,
        waist_radius_sd_mm=float(sd[0]) * beam.waist_radius_mm,
        rayleigh_length_sd_mm=float(sd[1]) * beam.rayleigh_length_mm,
        waist_offset_sd_mm=float(sd[2]),
        residual_mm=residual,
    )


def _demand(widths: LineWidths) -> None:
    for name in LineWidths.__dataclass_fields__:
        if not np.isfinite(getattr(widths, name)).all():
            raise InvalidInput({name: "holds a value that is no number"})
    seen = int((widths.width_mm > 0.0).sum())
    if seen < LEAST_WIDTHS:
        raise InvalidInput(
            {"lines": f"{seen} were seen; at least {LEAST_WIDTHS} are needed"},
            hint="Burn the ladder with more power, or slower.",
        )
    offsets = np.unique(widths.offset_mm[widths.width_mm > 0.0])
    if offsets.size < LEAST_OFFSETS:
        raise InvalidInput(
            {"lines": f"they stand at {offsets.size} focus offsets; at least {LEAST_OFFSETS} are needed"},
            hint="Burn the programs of the ladder at their own stand-offs.",
        )
