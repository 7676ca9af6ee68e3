"""A wide even area at one setting: its tone over the ripple of its lines, its banding, the power for a tone."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from evenburn.core.optics.beam import beam_radius_mm
from evenburn.core.optics.lines import dwell_ms, effective_passes, ripple_factor
from evenburn.core.planning.over_lines import FAR_decades, FLAT_L_per_decade, SECANT_decades
from evenburn.core.planning.wish import Wish
from evenburn.core.response.curve import exposure_shift, exposures_for_tones, tone_L, tone_range_L
from evenburn.core.tone.ripple import averaged_tone_L, ripple_of

FloatArray = NDArray[np.float64]


def solve_power_W(
    wish: Wish, *, speed_mm_per_s: float, line_spacing_mm: float, focus_offset_mm: float, passes: int, guess_W: float
) -> float:
    """Return the power at which the tone, averaged over the ripple, is the wished one. [W]

    Source
    ------
    Own derivation: secant steps in log power from the power for an even dose, inside the usable range.
    """
    low, high = sorted(tone_range_L(wish.curve))
    target = min(max(wish.tone_L, low), high)
    log_power = np.log10(guess_W)
    for _ in range(12):
        here, there = (
            predicted_tone_L(
                wish,
                power_W=float(10.0**lp),
                speed_mm_per_s=speed_mm_per_s,
                line_spacing_mm=line_spacing_mm,
                focus_offset_mm=focus_offset_mm,
                passes=passes,
            )
            for lp in (log_power, log_power + SECANT_decades)
        )
        slope = (there - here) / SECANT_decades
        if abs(here - target) < 1e-4 or abs(slope) < FLAT_L_per_decade:
            break
        log_power += float(np.clip((target - here) / slope, -FAR_decades, FAR_decades))
    return float(10.0**log_power)


def predicted_tone_L(
    wish: Wish,
    *,
    power_W: float,
    speed_mm_per_s: float,
    line_spacing_mm: float,
    focus_offset_mm: float,
    passes: int,
) -> float:
    """Return the tone of a wide even area, averaged over its ripple as reflectance. [L*] Source: `averaged_tone_L`."""
    radius = float(beam_radius_mm(wish.beam, offset_mm=focus_offset_mm))
    dose = passes * power_W / (speed_mm_per_s * line_spacing_mm)
    exposure = np.log10(dose) + exposure_shift(
        wish.curve,
        dwell_ms=dwell_ms(beam_radius_mm=radius, speed_mm_per_s=speed_mm_per_s),
        passes=effective_passes(passes=passes, beam_radius_mm=radius, line_spacing_mm=line_spacing_mm),
    )
    ripple = ripple_of(beam_radius_mm=radius, line_spacing_mm=line_spacing_mm)
    return float(averaged_tone_L(wish.curve, exposure, ripple=ripple))


def banding_L(wish: Wish, *, focus_offset_mm: float, line_spacing_mm: float) -> float:
    """Return the banding at the wished tone for an offset and a spacing, peak to valley. [L*] Source: `search`."""
    radius = float(beam_radius_mm(wish.beam, offset_mm=focus_offset_mm))
    exposure = float(exposures_for_tones(wish.curve, wish.tone_L))
    factors = ripple_factor(beam_radius_mm=radius, line_spacing_mm=line_spacing_mm, phase=np.array([0.0, 0.5]))
    with np.errstate(divide="ignore"):
        crest, trough = tone_L(wish.curve, exposure + np.log10(factors))
    return float(abs(crest - trough))
