"""What a mark looks like with its surface nearer to the nozzle, or further from it, than its recipe asks."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenburn.core.art.detail import narrowest_kept_mm
from evenburn.core.nouns.machine import Lens, Machine
from evenburn.core.nouns.mark import Mark, Piece
from evenburn.core.nouns.recipe import Recipe
from evenburn.core.nouns.wood import Wood
from evenburn.core.optics.beam import beam_of_lens, beam_radius_mm
from evenburn.core.optics.lines import dwell_ms, effective_passes, mean_dose_J_per_mm2, ripple_factor
from evenburn.core.planning.follow_recipe import cut_energy_J_per_mm, peak_dose_J_per_mm2, width_above_mm
from evenburn.core.response.curve import effective_exposure, exposures_for_tones, tone_L
from evenburn.core.tone.colour import lightness_L, luminance
from evenburn.core.tone.ripple import PHASES
from evenburn.core.tone.vision import unseen_banding_L

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class SetMark:
    """A mark that may be burnt, with all that decides what it looks like at another stand-off.

    `finest_mm` is the detail that is asked for: the wished sharpness, or finer where the artwork is finer.
    """

    machine: Machine
    lens: Lens
    piece: Piece
    wood: Wood
    mark: Mark
    recipe: Recipe
    finest_mm: float

    def setting(self) -> tuple[float, float]:
        """Return thickness and stand-off, rounded to what is set apart. [mm] Definition."""
        return round(self.piece.blank.thickness_mm, 2), round(self.recipe.stand_off_mm, 2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What comes of a recipe at some places along the beam; every field has the shape of the offsets asked for.

    `ripple_L` is the banding and `detail_mm` the narrowest stroke and gap of a scan; of a line the width at half its
    tone; of a cut 0 where it goes through and infinite where it does not. `exposure` is the highest
    there: on the crest of the ripple, or on the axis of a line.
    """

    radius_mm: FloatArray
    tone_L: FloatArray
    ripple_L: FloatArray
    ripple_limit_L: FloatArray
    detail_mm: FloatArray
    exposure: FloatArray


def seen_at(at: SetMark, *, offset_mm: ArrayLike) -> Seen:
    """Return what a mark's recipe gives where its surface lies at other focus offsets. Sources: the functions it calls."""
    z = np.atleast_1d(np.asarray(offset_mm, dtype=np.float64))
    return _scanned(at, z) if at.recipe.way == "scan" else _followed(at, z)


def _scanned(at: SetMark, z: FloatArray) -> Seen:
    """Return what lines beside each other give: as `mark_plan.predict`, for many offsets at once."""
    recipe, curve = at.recipe, at.wood.curve
    radius = beam_radius_mm(beam_of_lens(at.lens), offset_mm=z)
    dose = mean_dose_J_per_mm2(
        power_W=recipe.power_W,
        speed_mm_per_s=recipe.speed_mm_per_s,
        line_spacing_mm=recipe.line_spacing_mm,
        passes=recipe.passes,
    )
    exposure = effective_exposure(
        curve,
        dose_J_per_mm2=dose,
        dwell_ms=dwell_ms(beam_radius_mm=radius, speed_mm_per_s=recipe.speed_mm_per_s),
        passes=effective_passes(passes=recipe.passes, beam_radius_mm=radius, line_spacing_mm=recipe.line_spacing_mm),
    )
    phases = np.concatenate([[0.0, 0.5], (np.arange(PHASES) + 0.5) / PHASES])
    factors = ripple_factor(
        beam_radius_mm=radius[:, None], line_spacing_mm=recipe.line_spacing_mm, phase=phases[None, :]
    )
    with np.errstate(divide="ignore"):
        exposures = exposure[:, None] + np.log10(factors)
    tones = tone_L(curve, exposures)
    tone = np.asarray(lightness_L(luminance(tones[:, 2:]).mean(axis=1)))
    half = exposures_for_tones(curve, 0.5 * (curve.bare_L + tone))
    shares = 10.0 ** np.minimum(half - exposure, -1e-3)
    detail = [
        float(
            narrowest_kept_mm(
                beam_radius_mm=w,
                smear_mm=recipe.speed_mm_per_s * at.machine.rise_time_s,
                line_spacing_mm=recipe.line_spacing_mm,
                half_tone_dose_fraction=float(share),
            )
        )
        for w, share in zip(radius, shares, strict=True)
    ]
    limit = [
        float(
            unseen_banding_L(tone=float(t), period_mm=recipe.line_spacing_mm, distance_mm=at.mark.reading_distance_mm)
        )
        for t in tone
    ]
    return Seen(
        radius_mm=radius,
        tone_L=tone,
        ripple_L=np.abs(tones[:, 0] - tones[:, 1]),
        ripple_limit_L=np.array(limit),
        detail_mm=np.array(detail),
        exposure=exposures[:, 0],
    )


def _followed(at: SetMark, z: FloatArray) -> Seen:
    """Return what a line leaves on its axis and how wide it is, or whether a cut goes through."""
    recipe, curve = at.recipe, at.wood.curve
    beam = beam_of_lens(at.lens)
    radius = beam_radius_mm(beam, offset_mm=z)
    energy = recipe.power_W / recipe.speed_mm_per_s
    peak = np.array(
        [recipe.passes * peak_dose_J_per_mm2(line_energy_J_per_mm=energy, beam_radius_mm=w) for w in radius]
    )
    dwell = dwell_ms(beam_radius_mm=radius, speed_mm_per_s=recipe.speed_mm_per_s)
    over = effective_passes(passes=recipe.passes, beam_radius_mm=radius, line_spacing_mm=math.inf)
    crest = effective_exposure(curve, dose_J_per_mm2=peak, dwell_ms=dwell, passes=over)
    none = np.zeros(z.shape)
    if recipe.way == "cut":
        needed = [
            cut_energy_J_per_mm(
                curve,
                beam=beam,
                cut_J_per_mm3=at.wood.cut_J_per_mm3,
                thickness_mm=at.piece.blank.thickness_mm,
                offset_mm=float(offset),
            )[0]
            if at.wood.cut_J_per_mm3 is not None
            else np.inf
            for offset in z
        ]
        through = np.array(needed) <= recipe.passes * energy * (1.0 + 1e-9)
        edge = tone_L(curve, np.minimum(crest, curve.x_char))  # what is past it is gone; the edge of the cut shows
        return Seen(
            radius_mm=radius,
            tone_L=edge,
            ripple_L=none,
            ripple_limit_L=none,
            detail_mm=np.where(through, 0.0, np.inf),
            exposure=crest,
        )
    tone = tone_L(curve, crest)
    half = exposures_for_tones(curve, 0.5 * (curve.bare_L + tone))
    widths = [
        width_above_mm(peak_over_threshold=float(10.0 ** (x - h)), beam_radius_mm=float(w))
        for x, h, w in zip(crest, half, radius, strict=True)
    ]
    return Seen(
        radius_mm=radius, tone_L=tone, ripple_L=none, ripple_limit_L=none, detail_mm=np.array(widths), exposure=crest
    )
