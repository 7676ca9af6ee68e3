"""What is seen of a dose, as a table by even steps of its square root, so that faint doses keep their steps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenburn.core.nouns.wood import CharacteristicCurve
from evenburn.core.response.curve import tone_L
from evenburn.core.tone.colour import lightness_L, luminance
from evenburn.core.tone.ripple import averaged_tone_L, ripple_of

Table = NDArray[np.float32]
STEPS = 2048  # read between; closer than 0.02 L* to the curve wherever its slope is below 200 L* a decade
LIGHTNESS_STEPS = 4096


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LookTable:
    """Luminance over that of the bare surface, (steps + 1,), for doses from 0 to `top_J_per_mm2`."""

    relative: Table
    top_J_per_mm2: float


def look_table(
    curve: CharacteristicCurve,
    *,
    top_J_per_mm2: float,
    exposure_shift: float,
    radius_and_spacing_mm: tuple[float, float] | None = None,
) -> LookTable:
    """Return the table of a curve.

    Parameters
    ----------
    exposure_shift : what dwell and passes add to log10 dose. [log10 J/mm²]
    radius_and_spacing_mm : of beam and lines where these are not seen themselves; their ripple is averaged then.

    Source
    ------
    `tone_L` or `averaged_tone_L`, as `reflectance_map`.
    """
    roots = np.linspace(0.0, 1.0, STEPS + 1)
    with np.errstate(divide="ignore"):
        exposure = np.log10(roots * roots * top_J_per_mm2) + exposure_shift
    if radius_and_spacing_mm is None:
        tones = tone_L(curve, exposure)
    else:
        radius, spacing = radius_and_spacing_mm
        ripple = ripple_of(beam_radius_mm=radius, line_spacing_mm=spacing)
        tones = averaged_tone_L(curve, exposure, ripple=ripple)
    relative = luminance(tones) / float(luminance(curve.bare_L))
    return LookTable(relative=relative.astype(np.float32), top_J_per_mm2=top_J_per_mm2)


def lightness_table() -> Table:
    """Return L* at even steps of the square root of luminance, 0–1. Source: `lightness_L`."""
    roots = np.linspace(0.0, 1.0, LIGHTNESS_STEPS + 1)
    return lightness_L(roots * roots).astype(np.float32)
