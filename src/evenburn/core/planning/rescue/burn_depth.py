"""How deep a burn goes: what the energy took away, and how far below that the heat has browned.

Energy balance  H / q           q the energy that takes away a volume, J/mm³; all of H at most, H less the char dose at least
Heat            √(4 a τ)        a the thermal diffusivity, τ the dwell of one pass
Derivations stand in docs/how-it-works/rescue.md.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from evenburn.core.errors import InvalidInput
from evenburn.core.nouns.recipe import Recipe
from evenburn.core.nouns.wood import CharacteristicCurve, Wood
from evenburn.core.optics.beam import Beam, beam_radius_mm
from evenburn.core.optics.lines import (
    dwell_ms,
    effective_passes,
    line_peak_dose_J_per_mm2,
    mean_dose_J_per_mm2,
    ripple_factor,
)
from evenburn.core.response.curve import effective_exposure, exposure_shift

S_PER_MS = 1e-3
# Across the grain at 8 to 15 % moisture. The two ends are a starting value; what the equations of [wood-handbook2010]
# give for woods from basswood to oak lies between them (tests/published/test_wood_handbook2010.py).
WOOD_DIFFUSIVITY_mm2_per_s = (0.10, 0.20)
STONE_DIFFUSIVITY_mm2_per_s = (0.7, 1.5)  # starting value about the 1 mm²/s common for rock [chemeurope]
HEATED_LENGTHS = (0.5, 2.0)  # diffusion lengths that are browned, least and most: own choice, see the page


@dataclass(frozen=True, slots=True, kw_only=True)
class Happened:
    """What the person says was set, where it was not what was planned; None is as planned.

    Attributes
    ----------
    dose_J_per_mm2 : mean dose over the area; it replaces what power, speed, spacing and passes would give.
    depth_mm : measured with a depth gauge, from the surface to the floor of the burn.
    """

    power_W: float | None = None
    speed_mm_per_s: float | None = None
    line_spacing_mm: float | None = None
    focus_offset_mm: float | None = None
    passes: int | None = None
    dose_J_per_mm2: float | None = None
    depth_mm: float | None = None

    def __post_init__(self) -> None:
        """Refuse numbers that are none, and lengths, powers and speeds that cannot be."""
        wrong: dict[str, str] = {}
        for name in ("power_W", "speed_mm_per_s", "line_spacing_mm", "dose_J_per_mm2", "depth_mm", "passes"):
            value = getattr(self, name)
            if value is not None and not (math.isfinite(value) and value > 0.0):
                wrong[name] = f"is {value:g}; it has to be above 0"
        if self.focus_offset_mm is not None and not math.isfinite(self.focus_offset_mm):
            wrong["focus_offset_mm"] = f"is {self.focus_offset_mm:g}; it has to be a number of mm"
        if wrong:
            raise InvalidInput(wrong)


@dataclass(frozen=True, slots=True, kw_only=True)
class Burnt:
    """What was burnt: recipe as it was really set, mean dose and the dose under a line's crest, and the dwell.

    `dose_J_per_mm2` is of all passes; of a followed line or cut it is the dose on its axis, as is the peak.
    """

    recipe: Recipe
    beam_radius_mm: float
    dose_J_per_mm2: float
    peak_dose_J_per_mm2: float
    dwell_ms: float

    def counted_passes(self) -> float:
        """Return how often a place was burnt over. Source: `effective_passes`."""
        spacing_mm = self.recipe.line_spacing_mm if self.recipe.way == "scan" else math.inf
        return float(
            effective_passes(passes=self.recipe.passes, beam_radius_mm=self.beam_radius_mm, line_spacing_mm=spacing_mm)
        )

    def exposure(self, curve: CharacteristicCurve) -> float:
        """Return the effective exposure it has had. [log10 J/mm²] Source: `effective_exposure`."""
        return float(
            effective_exposure(
                curve, dose_J_per_mm2=self.dose_J_per_mm2, dwell_ms=self.dwell_ms, passes=self.counted_passes()
            )
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class BurnDepth:
    """How deep a burn is: least and most of what is gone, of what is browned below it, and of both. [mm]

    `gone_high_mm` is None where the energy that takes away a volume is not known; both then count the brown alone.
    `gauge_mm` is the measured depth that replaced the balance.
    """

    gone_low_mm: float
    gone_high_mm: float | None
    browned_low_mm: float
    browned_high_mm: float
    low_mm: float
    high_mm: float
    char_dose_J_per_mm2: float
    chars: bool
    gauge_mm: float | None


def diffusion_length_mm(diffusivity_mm2_per_s: float, *, time_s: float) -> float:
    """Return how far heat has come in a time, √(4 a t). [mm]

    Source
    ------
    [carslaw1959], 2.4: the length in which the temperature of a half-space, its surface held hot, falls as erfc(z/√(4at)).
    """
    return math.sqrt(4.0 * diffusivity_mm2_per_s * time_s)


def taken_depth_mm(dose_J_per_mm2: float, *, cut_J_per_mm3: float) -> float:
    """Return the depth an energy per area takes away when all of it goes into that. [mm]

    Source
    ------
    Energy balance, found true within about 5 % for grooves in acrylic [yuan2007].
    """
    return dose_J_per_mm2 / cut_J_per_mm3


def burnt_with(recipe: Recipe, *, beam: Beam, happened: Happened) -> Burnt:
    """Return what was burnt, from the recipe as planned and what was really set. Sources: the functions it calls."""
    set_power, set_speed = happened.power_W or recipe.power_W, happened.speed_mm_per_s or recipe.speed_mm_per_s
    passes = happened.passes or recipe.passes
    spacing = happened.line_spacing_mm or recipe.line_spacing_mm
    offset = recipe.focus_offset_mm if happened.focus_offset_mm is None else happened.focus_offset_mm
    radius = float(beam_radius_mm(beam, offset_mm=offset))
    if recipe.way == "scan":
        mean = float(
            mean_dose_J_per_mm2(power_W=set_power, speed_mm_per_s=set_speed, line_spacing_mm=spacing, passes=passes)
        )
        crest = float(ripple_factor(beam_radius_mm=radius, line_spacing_mm=spacing, phase=0.0))
    else:
        mean = passes * line_peak_dose_J_per_mm2(power_W=set_power, speed_mm_per_s=set_speed, beam_radius_mm=radius)
        crest = 1.0
    if happened.dose_J_per_mm2 is not None:
        set_power *= happened.dose_J_per_mm2 / mean
        mean = happened.dose_J_per_mm2
    as_set = replace(
        recipe,
        power_W=set_power,
        speed_mm_per_s=set_speed,
        line_spacing_mm=spacing,
        focus_offset_mm=offset,
        stand_off_mm=recipe.stand_off_mm + offset - recipe.focus_offset_mm,
        passes=passes,
    )
    return Burnt(
        recipe=as_set,
        beam_radius_mm=radius,
        dose_J_per_mm2=mean,
        peak_dose_J_per_mm2=mean * crest,
        dwell_ms=float(dwell_ms(beam_radius_mm=radius, speed_mm_per_s=set_speed)),
    )


def is_stone(wood: Wood) -> bool:
    """Return whether a material turns lighter under the beam, as slate does. Definition."""
    return wood.curve.full_L > wood.curve.bare_L


def burn_depth(burnt: Burnt, *, wood: Wood, happened: Happened) -> BurnDepth:
    """Return how deep a burn is, as a range.

    At least: only what exceeds the char dose takes anything away, and each volume wants one standard deviation more
    energy than believed. At most: all of the dose under a line's crest takes wood away, one standard deviation easier.

    Source
    ------
    Own derivation, docs/how-it-works/rescue.md, from `taken_depth_mm` and `diffusion_length_mm`.
    """
    curve = wood.curve
    shift = float(exposure_shift(curve, dwell_ms=burnt.dwell_ms, passes=burnt.counted_passes()))
    char_dose = 10.0 ** (curve.x_char - shift)
    low, high = 0.0, None
    if happened.depth_mm is not None:
        low = high = happened.depth_mm
    elif wood.cut_J_per_mm3 is not None:
        hard = wood.cut_J_per_mm3 * (1.0 + wood.cut_sd_share)
        easy = wood.cut_J_per_mm3 * max(1.0 - wood.cut_sd_share, 0.1)  # a spread of 90 % is no knowledge at all
        low = taken_depth_mm(max(burnt.dose_J_per_mm2 - char_dose, 0.0), cut_J_per_mm3=hard)
        high = taken_depth_mm(burnt.peak_dose_J_per_mm2, cut_J_per_mm3=easy)
    slow, quick = STONE_DIFFUSIVITY_mm2_per_s if is_stone(wood) else WOOD_DIFFUSIVITY_mm2_per_s
    time_s = burnt.dwell_ms * S_PER_MS
    browned_low = HEATED_LENGTHS[0] * diffusion_length_mm(slow, time_s=time_s)
    browned_high = HEATED_LENGTHS[1] * diffusion_length_mm(quick, time_s=time_s)
    return BurnDepth(
        gone_low_mm=low,
        gone_high_mm=high,
        browned_low_mm=browned_low,
        browned_high_mm=browned_high,
        low_mm=low + browned_low,
        high_mm=(high or 0.0) + browned_high,
        char_dose_J_per_mm2=char_dose,
        chars=burnt.dose_J_per_mm2 > char_dose,
        gauge_mm=happened.depth_mm,
    )
