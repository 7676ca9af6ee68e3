"""The focus offset and line spacing of a card: lines so close, a spot so wide, that its patches are even."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from evenburn.core.errors import InvalidInput
from evenburn.core.nouns.wood import CharacteristicCurve
from evenburn.core.optics.beam import Beam, beam_radius_mm
from evenburn.core.response.curve import tone_slope_L_per_decade

BANDING_L = 0.5  # half of what is seen side by side [mokrzycki2011]: the patch is read as one tone
STEEPER = 1.5  # the wood's curve may be so much steeper than believed
FOCUS_DOUBT_mm = (
    0.5  # the surface may lie so much nearer to the waist than set: gauge block, warp, a lens never measured
)
OFFSET_STEP_mm = 0.5  # stand-offs are set with gauge blocks
OFFSET_RAYLEIGHS = 4.0  # further off focus no recipe goes
SPACINGS_mm = (0.10, 0.08, 0.06, 0.05, 0.04)  # in the order they are tried: a spot of ordinary size first
WIDE_SPACINGS_mm = (0.30, 0.25, 0.20, 0.18, 0.16, 0.14, 0.12)  # for a beam that is wide even in focus


@dataclass(frozen=True, slots=True, kw_only=True)
class CardFocus:
    """What a card is burnt at: focus offset, line spacing, and the beam's radius there. [mm]"""

    offset_mm: float
    line_spacing_mm: float
    beam_radius_mm: float


def even_radius_mm(curve: CharacteristicCurve, *, line_spacing_mm: float) -> float:
    """Return the least beam radius whose banding stays below BANDING_L on a curve this steep. [mm]

    Source
    ------
    Own derivation from 2 exp(−π² w² / 2 p²) [dlmf] and the slope of the curve; docs/how-it-works/banding.md.
    """
    plain = replace(curve, reversal_L=0.0)
    x = np.linspace(curve.x_mid - 1.5, curve.x_mid + 1.5, 601)
    slope = STEEPER * float(np.abs(tone_slope_L_per_decade(plain, x)).max())
    swing = 10.0 ** (BANDING_L / slope)  # greatest over least dose that is still even
    modulation = (swing - 1.0) / (swing + 1.0)
    return line_spacing_mm * math.sqrt(2.0 * math.log(2.0 / modulation)) / math.pi


def card_focus(curve: CharacteristicCurve, beam: Beam, *, offset_mm: float | None = None) -> CardFocus:
    """Return the focus offset and line spacing for a card, the offset as told where it was.

    Parameters
    ----------
    offset_mm : the person's own; None for the least at which an ordinary spacing is even.

    Raises
    ------
    InvalidInput
        If the offset that was told is further than any recipe goes, or its spot too fine for any spacing.

    Source
    ------
    Own choice: `even_radius_mm`, with the surface FOCUS_DOUBT_mm nearer to the waist than set.
    """
    ratio = even_radius_mm(curve, line_spacing_mm=1.0)
    far = OFFSET_RAYLEIGHS * beam.rayleigh_length_mm
    if offset_mm is not None:
        if not abs(offset_mm) <= far:
            raise InvalidInput(
                {"--focus-offset-mm": f"is {offset_mm:g}; allowed is {-far:.1f} to {far:.1f} mm with this lens"},
                hint="Leave it out for one that burns evenly.",
            )
        nearest = float(beam_radius_mm(beam, offset_mm=max(0.0, abs(offset_mm) - FOCUS_DOUBT_mm)))
        spacings = [p for p in (*WIDE_SPACINGS_mm, *SPACINGS_mm) if p * ratio <= nearest]
        if not spacings:
            raise InvalidInput(
                {
                    "--focus-offset-mm": f"is {offset_mm:g}, where the spot's radius may be {nearest:.3f} mm: too fine "
                    f"for even patches at line spacings down to {SPACINGS_mm[-1]:g} mm"
                },
                hint="Leave it out for one that burns evenly.",
            )
        return _at(beam, offset_mm=offset_mm, line_spacing_mm=spacings[0])
    for spacing in WIDE_SPACINGS_mm:
        if beam.waist_radius_mm >= spacing * ratio:
            return _at(beam, offset_mm=0.0, line_spacing_mm=spacing)
    for spacing in SPACINGS_mm:
        needed = spacing * ratio
        if needed <= beam.waist_radius_mm:
            return _at(beam, offset_mm=0.0, line_spacing_mm=spacing)
        away = beam.rayleigh_length_mm * math.sqrt((needed / beam.waist_radius_mm) ** 2 - 1.0) + FOCUS_DOUBT_mm
        offset = math.ceil(away / OFFSET_STEP_mm - 1e-9) * OFFSET_STEP_mm
        if offset <= far:
            return _at(beam, offset_mm=offset, line_spacing_mm=spacing)
    raise InvalidInput(
        {
            "lens": f"its spot, {beam.waist_radius_mm:.3f} mm in radius, is too fine for an even patch within {far:.1f} mm"
        },
        hint="Take a lens of longer focal length, or give --focus-offset-mm.",
    )


def _at(beam: Beam, *, offset_mm: float, line_spacing_mm: float) -> CardFocus:
    radius = float(beam_radius_mm(beam, offset_mm=offset_mm))
    return CardFocus(offset_mm=offset_mm, line_spacing_mm=line_spacing_mm, beam_radius_mm=radius)
