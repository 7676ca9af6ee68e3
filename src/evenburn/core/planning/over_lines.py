"""What lines of a spacing at a focus offset leave, whatever the speed: crest and trough, and the exposure that meets the tone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenburn.core.nouns.wood import CharacteristicCurve
from evenburn.core.optics.beam import beam_radius_mm
from evenburn.core.optics.lines import ripple_factor
from evenburn.core.planning.power import power_step_W, power_window_W, settable_power_W
from evenburn.core.planning.wish import Wish
from evenburn.core.response.curve import exposures_for_tones, tone_L, tone_range_L
from evenburn.core.tone.ripple import Ripple, averaged_tone_L, ripple_of

FloatArray = NDArray[np.float64]

SECANT_decades = 1e-3  # a first step, to see the slope by
FAR_decades = 0.1  # no step goes farther, for a ripple bends the tone
FLAT_L_per_decade = 1.0  # flatter than this nothing is to be gained by going on
SOLVING = 5  # secant steps for the whole grid, where the averaged tone bends little; the recipe's own power takes more
# of the S word, over what is left of the dose at half tone: above so many, half a step moves no edge by 1 µm (by trial, on
# random benches: tests/property/test_programs.py)
COARSE_STEPS = 50.0
LEAST_FAINTER = -1e-3  # decades of dose by which half a tone lies below the full one at least


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OverLines:
    """Of every line spacing and focus offset; all broadcast to the candidates of the search.

    Attributes
    ----------
    radius_mm, sharp_mm, soft_mm : 1/e² radius at the offset, and where the blank lies nearest to focus and farthest off. [mm]
    to_sharp, to_soft : what the dwell there adds to the exposure, in decades.
    on_line, between, soft_on_line : exposure over its mean on a line and midway where it is sharp, on a line where soft, in
        decades.
    """

    radius_mm: FloatArray
    sharp_mm: FloatArray
    soft_mm: FloatArray
    to_sharp: FloatArray
    to_soft: FloatArray
    on_line: FloatArray
    between: FloatArray
    soft_on_line: FloatArray

    def hottest(self) -> FloatArray:
        """Return what the hottest place of the board gets over the mean exposure, in decades. Definition."""
        return np.maximum(self.to_sharp + self.on_line, self.to_soft + self.soft_on_line)


def over_lines(wish: Wish, *, spacing_mm: FloatArray, offset_mm: FloatArray) -> OverLines:
    """Return what lines leave at spacings and offsets, which broadcast. Sources: `ripple_factor`, `beam_radius_mm`."""
    away, uneven_mm = np.abs(offset_mm), wish.unevenness_mm
    radius = beam_radius_mm(wish.beam, offset_mm=offset_mm)
    sharp = beam_radius_mm(wish.beam, offset_mm=np.maximum(away - uneven_mm, 0.0))
    soft = beam_radius_mm(wish.beam, offset_mm=away + uneven_mm)
    top, bottom = (ripple_factor(beam_radius_mm=sharp, line_spacing_mm=spacing_mm, phase=u) for u in (0.0, 0.5))
    soft_top = ripple_factor(beam_radius_mm=soft, line_spacing_mm=spacing_mm, phase=0.0)
    with np.errstate(divide="ignore"):
        on_line, between, soft_on_line = np.log10(top), np.log10(bottom), np.log10(soft_top)
    return OverLines(
        radius_mm=radius,
        sharp_mm=sharp,
        soft_mm=soft,
        to_sharp=wish.curve.kappa * np.log10(sharp / radius),
        to_soft=wish.curve.kappa * np.log10(soft / radius),
        on_line=on_line,
        between=between,
        soft_on_line=soft_on_line,
    )


def half_tone_share(curve: CharacteristicCurve, *, exposure: FloatArray, tone: FloatArray) -> FloatArray:
    """Return the dose at half the tone difference over the dose that gives the tone, below 1.

    Parameters
    ----------
    exposure : mean, of the tone; tone : seen from afar. They broadcast. [log10 J/mm², L*]

    Source
    ------
    `exposures_for_tones`.
    """
    half = exposures_for_tones(curve, 0.5 * (curve.bare_L + tone))
    return np.asarray(10.0 ** np.minimum(half - exposure, LEAST_FAINTER), dtype=np.float64)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Met:
    """Mean exposure of each line spacing and focus offset at which the wished tone is seen, as far as nothing chars.

    `exposure` is what an even area takes for it. [log10 J/mm²]
    """

    exposure: float
    ripple: Ripple
    mean_exposure: FloatArray
    tone_L: FloatArray
    half_tone_share: FloatArray


def met_tone(wish: Wish, *, exposure: float, lines: OverLines, spacing_mm: FloatArray) -> Met:
    """Return where power is solved so that lines, seen from afar, have the tone of an even exposure.

    As far as their crests do not char: there the power stays below.

    Source
    ------
    `averaged_tone_L`, solved as `solve_power_W` does.
    """
    room = np.maximum(wish.curve.x_char - exposure - lines.hottest(), 0.0)
    ripple = ripple_of(beam_radius_mm=lines.radius_mm, line_spacing_mm=spacing_mm)
    mean = exposure + np.minimum(_more_decades(wish.curve, exposure=exposure, ripple=ripple), room)
    tone = averaged_tone_L(wish.curve, mean, ripple=ripple)
    return Met(
        exposure=exposure,
        ripple=ripple,
        mean_exposure=mean,
        tone_L=tone,
        half_tone_share=half_tone_share(wish.curve, exposure=mean, tone=tone),
    )


def coarsely_set(wish: Wish, met: Met, *, power_W: FloatArray) -> tuple[NDArray[np.bool_], FloatArray]:
    """Return where the power that the S word can say differs enough to move an edge, and the half-tone share there, (N,).

    Parameters
    ----------
    power_W : for the wished exposure of an even area; it broadcasts with what was met.

    Source
    ------
    `settable_power_W`, `averaged_tone_L`.
    """
    machine, curve = wish.machine, wish.curve
    least_W, most_W = power_window_W(machine)
    solved_W = power_W * 10.0 ** (met.mean_exposure - met.exposure)
    steps = COARSE_STEPS / np.minimum(met.half_tone_share, 1.0 - met.half_tone_share)
    coarse = (solved_W >= least_W) & (solved_W <= np.minimum(most_W, steps * power_step_W(machine)))
    coarse |= (power_W <= most_W) & (solved_W > most_W)  # the ripple would take more than is allowed
    if not coarse.any():
        return coarse, np.empty(0)
    mean = np.broadcast_to(met.mean_exposure, coarse.shape)[coarse]
    wanted_W = solved_W[coarse]
    less = np.log10(settable_power_W(machine, power_W=np.minimum(wanted_W, most_W)) / wanted_W)
    there = mean + less
    tone = averaged_tone_L(curve, there, ripple=met.ripple.picked(coarse))
    return coarse, half_tone_share(curve, exposure=there, tone=tone)


def _more_decades(curve: CharacteristicCurve, *, exposure: float, ripple: Ripple) -> FloatArray:
    """Return how much more exposure, in the mean, lines take for the tone that an even area has at an exposure."""
    low, high = sorted(tone_range_L(curve))
    wished = min(max(float(tone_L(curve, exposure)), low), high)
    shape = ripple.shifts.shape[:-1]
    before, more = np.zeros(shape), np.full(shape, SECANT_decades)
    off = averaged_tone_L(curve, exposure + before, ripple=ripple) - wished
    for _ in range(SOLVING):
        now = averaged_tone_L(curve, exposure + more, ripple=ripple) - wished
        rise, run = now - off, more - before
        steep = (np.abs(rise) >= FLAT_L_per_decade * np.abs(run)) & (rise != 0.0)
        step = np.divide(-now * run, rise, out=np.zeros(shape), where=steep)
        before, off, more = more, now, more + np.clip(step, -FAR_decades, FAR_decades)
    return more
