"""Recipes of lines that are followed and of cuts: from the tone or the depth wished for to line energy, width, speed.

A followed line leaves a Gaussian of dose across itself. Its middle is given the wished tone; its width is where half of
that tone is left. A cut takes away what lies inside the char limit; its energy is volume times the wood's cutting
energy, with the kerf as wide at each depth as the beam makes it there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenburn.core.nouns.machine import Lens, Machine
from evenburn.core.nouns.mark import Mark
from evenburn.core.nouns.wood import CharacteristicCurve, Wood
from evenburn.core.optics.beam import Beam, beam_radius_mm
from evenburn.core.optics.lines import dwell_ms, effective_passes
from evenburn.core.planning.candidates import (
    OFFSET_RAYLEIGHS,
    OFFSET_STEP_mm,
    SPEED_LEAST_mm_per_s,
    SPEED_STEP_mm_per_s,
    offsets_mm,
)
from evenburn.core.planning.power import power_window_W
from evenburn.core.response.curve import exposure_shift, exposures_for_tones, tone_L

FloatArray = NDArray[np.float64]

LINE_PASSES = (1, 2)
CUT_PASSES = (1, 2, 3, 4)
CUT_LEAST_mm_per_s = 2.0  # slower than this wood flames rather than cuts: common practice, no source
CUT_STEP_mm_per_s = 0.5
NEVER_CUT_J_per_mm3 = 10.0  # to show numbers for what is refused anyway
NOZZLE_CLEAR_mm = 3.0  # the nozzle stays at least so far off the surface: common practice, no source
DEPTHS = 25  # slices of the thickness over which the kerf is summed
KERF_ROUNDS = 40  # the kerf widens with the energy that it asks for; settled to 1e-6 well before


@dataclass(frozen=True, slots=True, kw_only=True)
class FollowFound:
    """Settings for a path that is followed.

    Attributes
    ----------
    width_mm : of the burnt line at half its tone, or of the kerf in the middle of its depth. [mm]
    line_energy_J_per_mm : of one pass.
    swing_L : how much a line's tone changes over the blank's unevenness. [L*]
    faults : what cannot be met: "power", "tone", "thickness", "material", "speed".
    """

    speed_mm_per_s: float
    power_W: float
    passes: int
    focus_offset_mm: float
    width_mm: float
    line_energy_J_per_mm: float
    swing_L: float
    faults: tuple[str, ...]


def peak_dose_J_per_mm2(*, line_energy_J_per_mm: float, beam_radius_mm: float) -> float:
    """Return the dose on the axis of a followed line, √(2/π) E / w. [J/mm²] Source: own derivation, as
    `line_peak_dose_J_per_mm2`.
    """
    return math.sqrt(2.0 / math.pi) * line_energy_J_per_mm / beam_radius_mm


def width_above_mm(*, peak_over_threshold: float, beam_radius_mm: float) -> float:
    """Return the width within which a Gaussian line exceeds a threshold, w √(2 ln(F/F_th)); 0 where it never does. [mm]

    Source
    ------
    [liu1982]: b² = 2 w² ln(F/F_th), for the dose on the axis of a line.
    """
    if peak_over_threshold <= 1.0:
        return 0.0
    return beam_radius_mm * math.sqrt(2.0 * math.log(peak_over_threshold))


def line_recipe(
    machine: Machine, *, beam: Beam, curve: CharacteristicCurve, mark: Mark, unevenness_mm: float
) -> FollowFound:
    """Return the recipe of a followed line: its middle at the wished tone, as fast as the power allows.

    The focus offset is the one whose tone suffers least from the blank's unevenness, among those whose line is no wider
    than wished (the sharpness, where no width was); with a wished width, the one that comes nearest to it.

    Source
    ------
    [liu1982] for the width; own derivation for the rest, docs/how-it-works/lines-and-cuts.md.
    """
    hold = mark.hold
    offsets = offsets_mm(beam) if hold.focus_offset_mm is None else np.array([hold.focus_offset_mm])
    exposure = float(exposures_for_tones(curve, mark.tone_L))
    reached = float(tone_L(curve, exposure))
    half = float(exposures_for_tones(curve, 0.5 * (curve.bare_L + reached)))
    spread = math.sqrt(2.0 * math.log(10.0) * max(exposure - half, 1e-9))  # width over beam radius
    widths = np.array([spread * float(beam_radius_mm(beam, offset_mm=z)) for z in offsets])
    swings = np.array([_swing_L(curve, beam, exposure=exposure, offset_mm=z, by_mm=unevenness_mm) for z in offsets])
    if mark.line_mm is not None:
        pick = int(np.abs(widths - mark.line_mm).argmin())
    else:
        narrow = widths <= max(mark.sharpness_mm, float(widths.min())) + 1e-9
        pick = int(np.where(narrow, np.round(swings, 2), np.inf).argmin())
    offset, radius = float(offsets[pick]), float(beam_radius_mm(beam, offset_mm=offsets[pick]))
    speed, passes, power = _fastest(machine, curve, mark=mark, radius_mm=radius, exposure=exposure)
    if hold.power_W is not None:
        power = hold.power_W
    least_W, most_W = power_window_W(machine)
    faults = [name for name, wrong in (("power", not least_W * (1 - 1e-9) <= power <= most_W * (1 + 1e-9)),) if wrong]
    if abs(reached - mark.tone_L) > 0.05:
        faults.append("tone")
    return FollowFound(
        speed_mm_per_s=speed,
        power_W=power,
        passes=passes,
        focus_offset_mm=offset,
        width_mm=float(widths[pick]),
        line_energy_J_per_mm=power / speed,
        swing_L=float(swings[pick]),
        faults=tuple(faults),
    )


def _swing_L(curve: CharacteristicCurve, beam: Beam, *, exposure: float, offset_mm: float, by_mm: float) -> float:
    """Return how much the tone of a line's middle changes where the surface lies higher or lower. [L*]"""
    here = float(beam_radius_mm(beam, offset_mm=offset_mm))
    there = beam_radius_mm(
        beam, offset_mm=np.array([offset_mm - by_mm, offset_mm + by_mm, 0.0 if offset_mm < by_mm else offset_mm])
    )
    # the peak falls as 1/w, and the dwell grows as w
    tones = tone_L(curve, exposure + (curve.kappa - 1.0) * np.log10(there / here))
    return float(np.abs(tones - tone_L(curve, exposure)).max())


def _fastest(
    machine: Machine, curve: CharacteristicCurve, *, mark: Mark, radius_mm: float, exposure: float
) -> tuple[float, int, float]:
    """Return speed, passes and power: the quickest whose power can be set; else the one that misses it least."""
    hold = mark.hold
    speeds = np.arange(SPEED_LEAST_mm_per_s, machine.speed_max_mm_per_s + 1e-9, SPEED_STEP_mm_per_s)
    if hold.speed_mm_per_s is not None:
        speeds = np.array([hold.speed_mm_per_s])
    passes = np.array(LINE_PASSES if hold.passes is None else (hold.passes,), dtype=np.float64)[:, None]
    dwell = dwell_ms(beam_radius_mm=radius_mm, speed_mm_per_s=speeds)
    over = effective_passes(passes=passes, beam_radius_mm=radius_mm, line_spacing_mm=math.inf)
    energy = 10.0 ** (exposure - exposure_shift(curve, dwell_ms=dwell, passes=over))  # dose on the axis, all passes
    power = energy * radius_mm * math.sqrt(math.pi / 2.0) * speeds / passes
    least_W, most_W = power_window_W(machine)
    miss = np.maximum(power / most_W, least_W / power)
    wished = speeds / passes
    good = miss <= 1.0
    score = np.where(good, wished, -miss) if good.any() else -miss
    if good.any():
        score = np.where(good, wished, -np.inf)
    n, v = np.unravel_index(int(score.argmax()), score.shape)
    return float(speeds[v]), int(passes[n, 0]), float(power[n, v])


def kerf_mm(
    curve: CharacteristicCurve, *, beam: Beam, line_energy_J_per_mm: float, offsets_mm: FloatArray
) -> FloatArray:
    """Return the width of a cut at places along the beam, of one pass's energy. [mm]

    What lies inside the char limit is taken away; the dwell is left at its reference, since a cut is slow everywhere.

    Source
    ------
    [liu1982], with the char limit as its threshold.
    """
    radii = beam_radius_mm(beam, offset_mm=offsets_mm)
    threshold = 10.0**curve.x_char
    return np.array(
        [
            width_above_mm(
                peak_over_threshold=peak_dose_J_per_mm2(
                    line_energy_J_per_mm=line_energy_J_per_mm, beam_radius_mm=float(w)
                )
                / threshold,
                beam_radius_mm=float(w),
            )
            for w in radii
        ]
    )


def cut_energy_J_per_mm(
    curve: CharacteristicCurve, *, beam: Beam, cut_J_per_mm3: float, thickness_mm: float, offset_mm: float
) -> tuple[float, float]:
    """Return the line energy that goes through a thickness, and the mean width of the kerf. [J/mm], [mm]

    Source
    ------
    Energy balance: energy = cutting energy × kerf × thickness, as [yuan2007] found for grooves within about 5 %; the kerf
    is `kerf_mm`, averaged over the depth. Solved by repeated substitution.
    """
    depths = offset_mm + thickness_mm * (np.arange(DEPTHS) + 0.5) / DEPTHS
    width = 2.0 * float(np.mean(beam_radius_mm(beam, offset_mm=depths)))
    energy = 0.0
    for _ in range(KERF_ROUNDS):
        energy = cut_J_per_mm3 * thickness_mm * width
        new = float(kerf_mm(curve, beam=beam, line_energy_J_per_mm=energy, offsets_mm=depths).mean())
        new = max(new, 0.5 * beam.waist_radius_mm)  # below the char limit nothing goes; it takes at least some kerf
        if abs(new - width) < 1e-7:
            break
        width = new
    return energy, width


def thickest_cut_mm(beam: Beam) -> float:
    """Return the thickness through which the beam stays narrow enough to cut, waist in the middle. [mm]

    Source
    ------
    Own choice: the same reach along the beam that the recipe search allows itself, four Rayleigh lengths either way.
    """
    return 2.0 * OFFSET_RAYLEIGHS * beam.rayleigh_length_mm


def cut_recipe(machine: Machine, *, lens: Lens, beam: Beam, wood: Wood, mark: Mark, thickness_mm: float) -> FollowFound:
    """Return the recipe of a cut: waist as near to the middle of the thickness as the nozzle allows, fewest passes.

    The energy is taken one standard deviation above what the wood needs, since a cut that stops short is no cut.

    Source
    ------
    `cut_energy_J_per_mm`; own derivation, docs/how-it-works/lines-and-cuts.md.
    """
    hold, curve = mark.hold, wood.curve
    faults: list[str] = []
    needed = (wood.cut_J_per_mm3 or NEVER_CUT_J_per_mm3) * (1.0 + wood.cut_sd_share)
    if wood.cut_J_per_mm3 is None:
        faults.append("material")
    if thickness_mm > thickest_cut_mm(beam):
        faults.append("thickness")
    lowest = max(-0.5 * thickness_mm, NOZZLE_CLEAR_mm - lens.focus_stand_off_mm)
    offset = -math.floor(-min(lowest, 0.0) / OFFSET_STEP_mm + 1e-9) * OFFSET_STEP_mm + 0.0
    if hold.focus_offset_mm is not None:
        offset = hold.focus_offset_mm
    energy, width = cut_energy_J_per_mm(
        curve, beam=beam, cut_J_per_mm3=needed, thickness_mm=thickness_mm, offset_mm=offset
    )
    least_W, most_W = power_window_W(machine)
    power = most_W if hold.power_W is None else hold.power_W
    speed, passes = 0.0, 1
    for passes in CUT_PASSES if hold.passes is None else (hold.passes,):  # the last is kept
        speed = power * passes / energy
        if speed >= CUT_LEAST_mm_per_s:
            break
    speed = min(math.floor(speed / CUT_STEP_mm_per_s + 1e-9) * CUT_STEP_mm_per_s, machine.speed_max_mm_per_s)
    if hold.speed_mm_per_s is not None:
        speed = hold.speed_mm_per_s
    if speed < CUT_LEAST_mm_per_s and hold.speed_mm_per_s is None:
        faults.append("speed")
        speed = CUT_LEAST_mm_per_s
    if hold.power_W is None:
        power = min(most_W, energy * speed / passes)
    if not least_W * (1 - 1e-9) <= power <= most_W * (1 + 1e-9):
        faults.append("power")
    return FollowFound(
        speed_mm_per_s=speed,
        power_W=power,
        passes=passes,
        focus_offset_mm=offset,
        width_mm=width,
        line_energy_J_per_mm=power / speed,
        swing_L=0.0,
        faults=tuple(faults),
    )
