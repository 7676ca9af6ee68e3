"""From dose to the predicted look: reflectance, lightness, and the colour of this wood at that lightness."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenburn.core.nouns.wood import CharacteristicCurve, Wood
from evenburn.core.optics.lines import ripple_factor
from evenburn.core.response.curve import tone_L
from evenburn.core.tone.colour import lightness_L, luminance, srgb_from_lab

Picture = NDArray[np.float32]
FloatArray = NDArray[np.float64]

TABLE_SIZE = 16384  # steps of dose in the look-up table, by square root so that faint doses keep their steps
SCORCH_AB = (5.0, 10.0)  # a*, b* that half-burnt wood has beyond a straight path from bare to full
GRAIN_HUE = 0.3  # share of the grain's L* that also moves along that path
SHARE_STEPS, LEVEL_STEPS = 101, 801
PHASES = 16  # places from a line to midway between two, over which the ripple is averaged
LINE_REACH_RADII = 3.0  # so far from a line nothing is left of it but e⁻¹⁸: bare ground, one place serves for all of it


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ripple:
    """Places from a line to midway between two: what each adds to the mean exposure, and its share of the area, (..., places)."""

    shifts: FloatArray
    shares: FloatArray


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


def reflectance_map(
    curve: CharacteristicCurve,
    dose_J_per_mm2: Picture,
    *,
    exposure_shift: float,
    radius_and_spacing_mm: tuple[float, float] | None,
) -> Picture:
    """Return luminance 0–1 of every pixel of a dose map.

    Parameters
    ----------
    exposure_shift : what dwell and passes add to log10 dose. [log10 J/mm²]
    radius_and_spacing_mm : of beam and lines, where the map is too coarse to hold the lines; None where it holds them.

    Source
    ------
    `tone_L`, by table; its step is under 0.1 L* wherever the curve's slope is below 200 L* a decade.
    """
    top = float(dose_J_per_mm2.max(initial=0.0))
    if top <= 0.0:
        return np.full(dose_J_per_mm2.shape, luminance(curve.bare_L), np.float32)
    roots = np.linspace(0.0, 1.0, TABLE_SIZE)
    with np.errstate(divide="ignore"):
        exposure = np.log10(roots * roots * top) + exposure_shift
    if radius_and_spacing_mm is None:
        tones = tone_L(curve, exposure)
    else:
        radius, spacing = radius_and_spacing_mm
        tones = averaged_tone_L(curve, exposure, ripple=ripple_of(beam_radius_mm=radius, line_spacing_mm=spacing))
    table = luminance(tones).astype(np.float32)
    index = np.sqrt(np.maximum(dose_J_per_mm2, 0.0) * np.float32(1.0 / top))
    index *= np.float32(TABLE_SIZE - 1)
    index += np.float32(0.5)
    return np.asarray(table[np.minimum(index, TABLE_SIZE - 1).astype(np.int32)], np.float32)


def colour_table(wood: Wood) -> NDArray[np.uint8]:
    """Return sRGB, (shares, levels, 3) uint8: L* in even steps from 0 to 100, a* b* in even steps from bare to full.

    Half-burnt wood is more colourful than either end; a surface that lightens goes straight from one to the other.

    Source
    ------
    [cie15] for the conversion; the path in a*, b* is an own choice, from memory of burnt wood.
    """
    shares = np.linspace(0.0, 1.0, SHARE_STEPS)[:, None]
    ab = np.asarray(wood.bare_ab) * (1.0 - shares) + np.asarray(wood.full_ab) * shares
    if wood.curve.full_L < wood.curve.bare_L:
        ab = ab + 4.0 * shares * (1.0 - shares) * np.asarray(SCORCH_AB)
    lab = np.empty((SHARE_STEPS, LEVEL_STEPS, 3))
    lab[..., 0] = np.linspace(0.0, 100.0, LEVEL_STEPS)
    lab[..., 1:] = ab[:, None, :]
    return np.round(255.0 * srgb_from_lab(lab)).astype(np.uint8)


def wood_colours(wood: Wood, lightness: Picture, *, grain: Picture) -> NDArray[np.uint8]:
    """Return sRGB, shape (..., 3) uint8, of this wood: true in L*, a* b* between bare and full.

    Grain changes the lightness, but the hue only a little.

    Parameters
    ----------
    lightness : predicted L*; grain : what the wood's own blotches add to it. [L*]

    Source
    ------
    `colour_table`.
    """
    table = colour_table(wood)
    span = wood.curve.full_L - wood.curve.bare_L
    share = (lightness + np.float32(GRAIN_HUE) * grain - np.float32(wood.curve.bare_L)) / np.float32(span)
    shade = np.clip(share * (SHARE_STEPS - 1) + 0.5, 0.0, SHARE_STEPS - 1).astype(np.int32)
    level = np.clip((lightness + grain) * ((LEVEL_STEPS - 1) / 100.0) + 0.5, 0.0, LEVEL_STEPS - 1).astype(np.int32)
    return np.asarray(table[shade, level], np.uint8)
