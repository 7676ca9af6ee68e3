"""From dose to the predicted look: reflectance, lightness, and the colour of this wood at that lightness."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from evenburn.core.nouns.wood import CharacteristicCurve, Wood
from evenburn.core.response.curve import tone_L
from evenburn.core.tone.colour import luminance, srgb_from_lab
from evenburn.core.tone.ripple import averaged_tone_L, ripple_of

Picture = NDArray[np.float32]
FloatArray = NDArray[np.float64]

TABLE_SIZE = 16384  # steps of dose in the look-up table, by square root so that faint doses keep their steps
SCORCH_AB = (5.0, 10.0)  # a*, b* that half-burnt wood has beyond a straight path from bare to full
GRAIN_HUE = 0.3  # share of the grain's L* that also moves along that path
SHARE_STEPS, LEVEL_STEPS = 101, 801


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
