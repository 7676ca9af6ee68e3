"""Halftones: dots of one power that, seen from afar, make a tone; and the choice between them and following the tone.

What a coverage comes out at is reckoned with the exposure model: a patch is screened, burnt under the beam with the
laser's late answer, put through the curve and averaged as reflectance.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenburn.core.nouns.mark import Axis, Halftone
from evenburn.core.nouns.wood import CharacteristicCurve
from evenburn.core.response.curve import tone_L, tone_slope_L_per_decade, usable_range
from evenburn.core.tone.diffusion import KERNELS, diffuse
from evenburn.core.tone.dot_gain import tone_of_coverage_L
from evenburn.core.tone.ripple import averaged_tone_L, ripple_of
from evenburn.core.tone.screens import Mask, apply_mask, bayer_mask, blue_noise_mask, clustered_mask

Picture = NDArray[np.float32]
Dots = NDArray[np.bool_]
FloatArray = NDArray[np.float64]

HALFTONES: tuple[Halftone, ...] = ("floyd-steinberg", "jarvis", "stucki", "ordered", "blue-noise", "clustered")
PATCH_px = 128  # of an error diffusion's test patch; a mask needs no more than its own period
EDGE_px = 16  # of an error diffusion's patch that is left out: it has yet to settle there
COVERAGES = 33  # points of a dot-gain curve, closest where the first dots make the most of it
UNSTEADY_POINTS = 12  # are enough to see how far a tone moves
EXPOSURES = 400
POWERS = 200
ANSWERED_LENGTHS = 2.0  # after so many, 1 − e⁻² of an order is carried out: 86 %
CONTOUR_L = 5.0  # from here on two tones are two colours to anybody [mokrzycki2011]
NOTICED_L = 2.3  # a change below it is not noticed [mahy1994]
LEAST_CELL_px, MOST_CELL_px = 2, 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Burning:
    """What a halftone has to know of its recipe.

    Attributes
    ----------
    full_exposure : effective exposure of a fully covered area. [log10 J/mm²]
    beam_radius_mm : 1/e² radius on the surface; smear_mm : speed times the laser's rise time; pixel_mm : the line
        spacing. [mm]
    scan_axis : pictures have their rows along x; with "y" the lines run along their columns.
    """

    curve: CharacteristicCurve
    full_exposure: float
    beam_radius_mm: float
    smear_mm: float
    pixel_mm: float
    scan_axis: Axis = "x"


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """How a photograph's tones are made, and why so in words with numbers."""

    name: str
    why: str


def clustered_cell_px(burning: Burning) -> int:
    """Return the cell of the clustered screen: its dots as far apart as the blurred beam is wide, four times over.

    Source
    ------
    Own choice: neighbouring dots then lie four radii apart, so each keeps an edge of its own.
    """
    radius = math.hypot(burning.beam_radius_mm, 2.0 * burning.smear_mm)
    cell = math.ceil(4.0 * radius / (math.sqrt(2.0) * burning.pixel_mm) - 1e-9)
    return min(max(cell, LEAST_CELL_px), MOST_CELL_px)


def _mask(name: Halftone, *, cell_px: int) -> Mask:
    if name == "ordered":
        return bayer_mask()
    return blue_noise_mask() if name == "blue-noise" else clustered_mask(cell_px)


def screened(coverage: Picture, *, name: Halftone, cell_px: int) -> Dots:
    """Return dots of a coverage 0–1, True where one is set. Sources: the kernels and masks it takes."""
    kernel = next((k for k in KERNELS if k == name), None)
    if kernel is not None:
        return diffuse(coverage, kernel=kernel)
    return apply_mask(coverage, _mask(name, cell_px=cell_px))


def tones_of_coverages_L(
    burning: Burning, *, name: Halftone, exposure_off: float = 0.0, points: int = COVERAGES
) -> tuple[FloatArray, FloatArray]:
    """Return coverages 0–1 and the tone each comes out at: dot gain from the exposure model. [L*]

    Parameters
    ----------
    exposure_off : by how much every exposure is off what was planned. [log10 J/mm²]
    points : how many coverages are tried.

    Source
    ------
    `tone_of_coverage_L`, on one period of a mask; on a patch that gets darker by a step from side to side for error
    diffusion, which on an even patch falls into patterns that a photograph does not have.
    """
    coverages = np.linspace(0.0, 1.0, points) ** 1.5
    cell = clustered_cell_px(burning)
    diffused = name in KERNELS
    side = PATCH_px
    if not diffused:
        mask = _mask(name, cell_px=cell)
        side = mask.shape[0]
        coverages = np.unique(np.rint(coverages * mask.size)) / mask.size  # those it can make
    ramp = np.linspace(-0.5, 0.5, side) / points

    def dots_of(share: float) -> Dots:
        room = min(share, 1.0 - share) if diffused else 0.0
        row = share + np.clip(ramp, -room, room)
        dots = screened(np.tile(row.astype(np.float32), (side, 1)), name=name, cell_px=cell)
        return dots if burning.scan_axis == "x" else np.ascontiguousarray(dots.T)

    tones = tone_of_coverage_L(
        burning.curve,
        dots_of,
        coverages=coverages,
        beam_radius_mm=burning.beam_radius_mm,
        line_spacing_mm=burning.pixel_mm,
        full_exposure=burning.full_exposure + exposure_off,
        smear_mm=burning.smear_mm,
        settle_px=EDGE_px if diffused else 0,
    )
    return coverages, tones


def coverages_for_tones(tones: Picture, *, coverages: FloatArray, tone_of_coverage: FloatArray) -> Picture:
    """Return the dot coverage, 0–1, that comes out at each wished tone. Source: `tones_of_coverages_L` inverted."""
    rising = tone_of_coverage[-1] > tone_of_coverage[0]
    last = int(tone_of_coverage.argmax() if rising else tone_of_coverage.argmin()) + 1  # past the extreme it turns back
    values, shares = tone_of_coverage[:last], coverages[:last]
    monotone = (np.maximum if rising else np.minimum).accumulate(values)
    if rising:
        return np.interp(tones, monotone, shares).astype(np.float32)
    return np.interp(tones, monotone[::-1], shares[::-1]).astype(np.float32)


def averaged_exposures_for_tones(
    curve: CharacteristicCurve, tones: FloatArray, *, beam_radius_mm: float, line_spacing_mm: float
) -> FloatArray:
    """Return the mean exposure at which lines, seen from afar, come out at each tone. [log10 J/mm²]

    Tones outside what the wood takes get the nearest end.

    Source
    ------
    `averaged_tone_L`, inverted.
    """
    low, high = usable_range(curve)
    grid = np.linspace(low - 0.3, high, EXPOSURES)
    ripple = ripple_of(beam_radius_mm=beam_radius_mm, line_spacing_mm=line_spacing_mm)
    values = averaged_tone_L(curve, grid, ripple=ripple)
    falling = curve.full_L < curve.bare_L
    values = (np.minimum if falling else np.maximum).accumulate(values)
    if falling:
        grid, values = grid[::-1], values[::-1]
    return np.asarray(np.interp(tones, values, grid), dtype=np.float64)


def choose_reproduction(
    burning: Burning, *, detail_mm: float, least_share: float, step_share: float = 0.0, dots_only: bool = False
) -> Choice:
    """Return how a photograph's tones are best made with a recipe.

    Power follows the tone where the laser answers within the detail that the beam alone would keep, and where neither the
    least power that fires nor the steps of power leave a step of tone that would show as a contour. Else dots: clustered
    ones where single dots would make the tone hang on every small error of exposure, spread ones otherwise.

    Parameters
    ----------
    detail_mm : narrowest stroke the recipe keeps. [mm]
    least_share : least power that fires over the power of the full tone.
    step_share : smallest change of power that can be set, over the same.
    dots_only : the person wants dots; only their kind is chosen.

    Source
    ------
    Own derivation from the exposure model; visibility from [mokrzycki2011] and [mahy1994].
    """
    nb = "\u00a0"
    sharp_mm = _detail_of_beam_mm(burning, detail_mm=detail_mm)
    travel = f"{burning.smear_mm:.2f}{nb}mm of travel"
    first, next_to = _steps_L(burning, least_share=least_share, step_share=step_share)
    reason = ""
    if dots_only:
        reason = "you ask for them"
    elif burning.smear_mm > sharp_mm / ANSWERED_LENGTHS:
        reason = (
            f"the laser needs {travel} to answer, too much beside the {sharp_mm:.2f}{nb}mm that this beam could keep"
        )
    elif first > CONTOUR_L:
        reason = f"the least power that fires already makes {first:.0f}{nb}L*, a step that would show as a contour"
    elif next_to > NOTICED_L:
        reason = f"the machine's steps of power lie up to {next_to:.1f}{nb}L* apart and would show as contours"
    if not reason:
        return Choice(
            name="continuous",
            why=f"Power follows the tone: the laser answers within {travel}, well inside the {sharp_mm:.2f}{nb}mm that "
            f"this beam keeps, and its least power leaves a step of only {first:.1f}{nb}L* to the bare wood.",
        )
    curve = burning.curve
    off = _scatter(curve)
    spread, clustered = (_unsteadiness_L(burning, name=name, exposure_off=off) for name in ("blue-noise", "clustered"))
    if spread - clustered > NOTICED_L:
        return Choice(
            name="clustered",
            why=f"Dots, because {reason}. Clustered, because single dots would shift by {spread:.1f}{nb}L* where the wood "
            f"takes {100.0 * (10.0**off - 1.0):.0f}{nb}% more or less, and clusters only by {clustered:.1f}.",
        )
    return Choice(
        name="blue-noise",
        why=f"Dots, because {reason}. Spread evenly, which shows the most detail; clusters would be steadier by less than "
        f"the eye notices ({clustered:.1f} against {spread:.1f}{nb}L* where the wood takes more or less).",
    )


def _detail_of_beam_mm(burning: Burning, *, detail_mm: float) -> float:
    """Return the detail that the beam would keep if the laser answered at once: `narrowest_kept_mm` without smear."""
    half_line = 0.5 * burning.pixel_mm
    blurred = math.hypot(burning.beam_radius_mm, 2.0 * burning.smear_mm)
    return max(detail_mm - half_line, 0.0) * burning.beam_radius_mm / blurred + half_line


def _steps_L(burning: Burning, *, least_share: float, step_share: float) -> tuple[float, float]:
    """Return the step of tone from bare to the least power, and the largest from one power to the next. [L*]"""
    least = max(min(least_share, 1.0), 1e-6)
    shares = np.geomspace(least, 1.0, POWERS)
    tones = tone_L(burning.curve, burning.full_exposure + np.log10(shares))
    above = tone_L(burning.curve, burning.full_exposure + np.log10(shares + step_share))
    return abs(float(tones[0]) - burning.curve.bare_L), float(np.abs(above - tones).max())


def _scatter(curve: CharacteristicCurve) -> float:
    """Return by how many decades of exposure the wood scatters."""
    low, high = usable_range(curve)
    steepest = float(np.abs(tone_slope_L_per_decade(curve, np.linspace(low, high, 200))).max())
    return math.hypot(curve.evenness_L, curve.board_L) / steepest


def _unsteadiness_L(burning: Burning, *, name: Halftone, exposure_off: float) -> float:
    """Return how much a tone moves at most when every exposure is off by so much, either way. [L*]"""
    _, high = tones_of_coverages_L(burning, name=name, exposure_off=exposure_off, points=UNSTEADY_POINTS)
    _, low = tones_of_coverages_L(burning, name=name, exposure_off=-exposure_off, points=UNSTEADY_POINTS)
    return 0.5 * float(np.abs(high - low).max())
