"""Findings about one mark and one piece: what was found with its numbers, and what to do with its price."""

from __future__ import annotations

import math

import numpy as np

from evenburn.core.nouns.cautions import MASKED
from evenburn.core.nouns.check import Check
from evenburn.core.nouns.confirmation import Confirmation
from evenburn.core.nouns.mark import Hold, Piece
from evenburn.core.nouns.wood import Wood
from evenburn.core.optics.beam import beam_radius_mm
from evenburn.core.optics.lines import effective_passes
from evenburn.core.planning.candidates import TOLD_L, TONE_HOLDS_L, offsets_mm
from evenburn.core.planning.concede import concessions
from evenburn.core.planning.mark_plan import AIR_COMMON_kPa, MarkWork
from evenburn.core.planning.materials import Material, is_forbidden
from evenburn.core.planning.power import power_fraction, power_window_W
from evenburn.core.planning.tone_reach import out_of_reach
from evenburn.core.planning.wide_area import banding_L
from evenburn.core.response.curve import effective_exposure, tone_L, tone_slope_L_per_decade, usable_range
from evenburn.core.units import psi

NB = "\u00a0"
AIR_STRONG_FACTOR = 1.5  # above one and a half times the common value smoke is driven into the wood: common practice


def wood_checks(
    wood: Wood, *, material: Material | None, confirmed: bool, confirmation: Confirmation | None = None
) -> list[Check]:
    """Return what is to be said about the material itself; `confirmation` tells who made sure, where that is known."""
    found: list[Check] = []
    if material is not None:
        found.append(material_check(wood.name, material, confirmed=confirmed, confirmation=confirmation))
    if is_forbidden(material):
        return found  # whatever else could be said would sound as if it might be burnt after all
    if wood.curve.provenance.kind == "starting value":
        found.append(
            Check(
                level="warn",
                code="starting-value-curve",
                text=f"The curve of {wood.name} is a starting value from memory, not of your board.",
                remedy="Try it on the back of the blank or on an offcut of the same lot first.",
            )
        )
    if wood.burns_unevenly:
        found.append(
            Check(
                level="warn",
                code="burns-unevenly",
                text=(
                    f"{wood.name.capitalize()} burns unevenly: expect blotches of ±{NB}{wood.curve.evenness_L:.1f}{NB}L* "
                    "inside one even area, more across the joints."
                ),
                remedy="Prefer lines and lettering to large even areas, or let the unevenness be part of the look.",
            )
        )
    cautions = (*wood.cautions, MASKED) if wood.surface == "masked" else wood.cautions
    found += [
        Check(level="note", code="material-caution", text=caution, remedy="Follow the maker's sheet.")
        for caution in cautions
    ]
    return found


def material_check(
    name: str, material: Material, *, confirmed: bool, confirmation: Confirmation | None = None
) -> Check:
    """Return the finding on a wood that its words name as a material to refuse or to doubt. Definition."""
    if is_forbidden(material):
        return Check(
            level="stop",
            code="forbidden-material",
            text=f"{name}: {material.name} must not be burnt. {material.why}",
            remedy="Take another material. No setting makes this one safe.",
        )
    return Check(
        level="warn" if confirmed else "stop",
        code="doubtful-material",
        text=f"{name}: {material.name} is doubtful. {material.why}",
        remedy=(
            f"{_sentence(confirmation)} Keep the extraction running and follow the maker's sheet."
            if confirmed
            else "Ask the maker what it gives off. If it may be burnt, say so in the wood's file with "
            'confirmed_by = "your name" and confirmed_on = the day.'
        ),
    )


def _sentence(confirmation: Confirmation | None) -> str:
    words = "confirmed in the wood's file" if confirmation is None else confirmation.words()
    return f"{words[0].upper()}{words[1:]}."


def tone_checks(work: MarkWork, wood: Wood) -> list[Check]:
    """Return findings on tone, char limit, power and air."""
    found: list[Check] = []
    mark, recipe, curve = work.mark, work.recipe, wood.curve
    reach = out_of_reach(mark, wood=wood)
    if reach is not None:
        found.append(reach)
    least_W, most_W = power_window_W(work.wish.machine)
    if recipe.power_W < least_W * (1.0 - 1e-9):
        found.append(_power_check(work, least_W=least_W, most_W=most_W, below=True))
    elif recipe.power_W > most_W * (1.0 + 1e-9):
        found.append(_power_check(work, least_W=least_W, most_W=most_W, below=False))
    exposure = float(
        effective_exposure(
            curve,
            dose_J_per_mm2=work.predicted.dose_J_per_mm2,
            dwell_ms=work.predicted.dwell_ms,
            passes=effective_passes(
                passes=recipe.passes,
                beam_radius_mm=work.predicted.beam_radius_mm,
                line_spacing_mm=recipe.line_spacing_mm,
            ),
        )
    )
    low_x, high_x = usable_range(curve)
    steepest = float(np.abs(tone_slope_L_per_decade(curve, np.linspace(low_x, high_x, 200))).max())
    scatter_L = math.hypot(curve.evenness_L, curve.board_L)
    charring = [c for c in concessions(work.wish, work.found, recipe=recipe) if c.constraint == "char"]
    if charring and reach is None:
        held = held_words(mark.hold)
        found.append(
            Check(
                level="warn",
                code="crests-past-char",
                mark_id=mark.id,
                text=charring[0].text,
                remedy="Burn it on the back of the blank first, or "
                + (f"let go of the held {held}." if held else "ask for a tone nearer to the bare wood."),
            )
        )
    elif reach is None and exposure + scatter_L / steepest > curve.x_char:
        room = 100.0 * (10.0 ** (curve.x_char - exposure) - 1.0)
        where = f"only {room:.0f}{NB}% below" if room >= 0.0 else f"{-room:.0f}{NB}% past"
        found.append(
            Check(
                level="warn",
                code="near-char-limit",
                mark_id=mark.id,
                text=(
                    f"The exposure lies {where} the char limit, and this wood scatters by ±{NB}{scatter_L:.1f}{NB}L*, "
                    f"which is {100.0 * (10.0 ** (scatter_L / steepest) - 1.0):.0f}{NB}% of exposure: parts of it may char."
                ),
                remedy=f"Ask for a {'lighter' if curve.full_L < curve.bare_L else 'fainter'} tone, or try the recipe on "
                "the back of the blank first.",
            )
        )
    held = held_words(mark.hold)
    if abs(work.predicted.tone_L - mark.tone_L) > TONE_HOLDS_L and reach is None:
        found.append(
            Check(
                level="warn",
                code="tone-missed",
                mark_id=mark.id,
                text=f"{'The held settings give' if held else 'This recipe gives'} L*{NB}{work.predicted.tone_L:.1f}, "
                f"not the wished L*{NB}{mark.tone_L:g}.",
                remedy=f"Let go of the held {held}."
                if held
                else "Ask for a coarser sharpness or more room, so that lines can lie closer or a wider spot may cover between "
                "them.",
            )
        )
    settable = work.wish.machine.air_kPa
    if mark.air_kPa is not None and settable and not min(settable) <= mark.air_kPa <= max(settable):
        found.append(
            Check(
                level="warn",
                code="air-not-settable",
                mark_id=mark.id,
                text=(
                    f"Air of {mark.air_kPa:g}{NB}kPa is asked for; this machine sets {min(settable):g} to "
                    f"{max(settable):g}{NB}kPa."
                ),
                remedy=f"Ask for {min(max(mark.air_kPa, min(settable)), max(settable)):g}{NB}kPa, or correct air_kPa in the "
                "machine file.",
            )
        )
    if recipe.air_kPa is not None and recipe.air_kPa > AIR_COMMON_kPa * AIR_STRONG_FACTOR:
        found.append(
            Check(
                level="warn",
                code="air-too-strong",
                mark_id=mark.id,
                text=(
                    f"Air of {recipe.air_kPa:.0f}{NB}kPa ({psi(recipe.air_kPa):.0f}{NB}psi) is strong for engraving: it "
                    "drives the smoke into the wood beside the mark."
                ),
                remedy=f"Set it as low as the machine allows and the lens stays clean, about {AIR_COMMON_kPa:.0f}{NB}kPa (5{NB}psi).",
            )
        )
    return found


def held_words(hold: Hold) -> str:
    """Return in words which settings that decide tone and power are held by hand; empty where none is. Definition."""
    held = {
        "power": hold.power_W,
        "speed": hold.speed_mm_per_s,
        "line spacing": hold.line_spacing_mm,
        "passes": hold.passes,
        "focus offset": hold.focus_offset_mm,
    }
    names = [name for name, value in held.items() if value is not None]
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def _power_check(work: MarkWork, *, least_W: float, most_W: float, below: bool) -> Check:
    recipe, machine = work.recipe, work.wish.machine
    held = held_words(work.mark.hold)
    by_hand = work.mark.hold.power_W is not None
    asked_W = min(work.found.power_W, recipe.power_W) if below else recipe.power_W  # a step of S may lie above it
    asks = f"{'You hold' if by_hand else 'The recipe asks for'} {asked_W:.3g}{NB}W"
    let_go = f", or let go of the held {held}" if held else ""
    if below:
        slowest = least_W / asked_W
        return Check(
            level="stop",
            code="power-below-least",
            mark_id=work.mark.id,
            text=(
                f"{asks}; below {least_W:.1f}{NB}W ({100 * machine.power_least_fraction:.3g}{NB}%) this laser does not fire."
            ),
            remedy=(
                f"Hold {least_W:.1f}{NB}W or more{let_go}."
                if by_hand
                else f"Go {slowest:.2f} times as fast or as coarse{let_go}."
            ),
        )
    share = float(power_fraction(machine, power_W=most_W))
    return Check(
        level="stop",
        code="power-above-cap",
        mark_id=work.mark.id,
        text=(
            f"{asks}; you allow {most_W:.1f}{NB}W ({100 * share:.0f}{NB}%)"
            + (
                f" and the tube gives {machine.power_max_W:.0f}{NB}W at most."
                if recipe.power_W > machine.power_max_W
                else "."
            )
        ),
        remedy=(
            f"Hold {most_W:.1f}{NB}W or less{let_go}."
            if by_hand
            else f"Go at {most_W / recipe.power_W:.0%} of the speed{let_go}."
        ),
    )


def look_checks(work: MarkWork, piece: Piece) -> list[Check]:
    """Return findings on banding and warp."""
    found: list[Check] = []
    mark, recipe, predicted, wish = work.mark, work.recipe, work.predicted, work.wish
    if predicted.ripple_L > predicted.ripple_limit_L:
        found.append(
            Check(
                level="warn",
                code="banding-visible",
                mark_id=mark.id,
                text=(
                    f"Scan lines will show: {predicted.ripple_L:.1f}{NB}L* from crest to trough, and "
                    f"{predicted.ripple_limit_L:.1f}{NB}L* is what {mark.reading_distance_mm:.0f}{NB}mm away goes unseen."
                ),
                remedy=_banding_remedy(work),
            )
        )
    unevenness = piece.blank.unevenness_mm
    if unevenness > 0.0:
        curve = wish.curve
        here = float(beam_radius_mm(wish.beam, offset_mm=recipe.focus_offset_mm))
        tones = []
        for offset in (abs(recipe.focus_offset_mm) - unevenness, abs(recipe.focus_offset_mm) + unevenness):
            radius = float(beam_radius_mm(wish.beam, offset_mm=max(offset, 0.0)))
            shift = curve.kappa * float(np.log10(radius / here))
            dose = float(np.log10(predicted.dose_J_per_mm2))
            dwell = curve.kappa * float(np.log10(predicted.dwell_ms))
            tones.append(float(tone_L(curve, dose + dwell + shift)))
        swing = max(abs(t - predicted.tone_L) for t in tones)
        if swing >= TOLD_L:
            found.append(
                Check(
                    level="warn" if swing > TONE_HOLDS_L else "note",
                    code="warp-shows" if swing > TONE_HOLDS_L else "warp-holds",
                    mark_id=mark.id,
                    text=f"A warp of ±{NB}{unevenness:g}{NB}mm changes the tone by {swing:.1f}{NB}L*.",
                    remedy="Pin the blank flat, or focus at its middle height."
                    if swing > TONE_HOLDS_L
                    else "The recipe holds; nothing to do.",
                )
            )
    return found


def _banding_remedy(work: MarkWork) -> str:
    """Return the focus offset or line spacing at which the ripple falls below sight, keeping the rest."""
    recipe, wish = work.recipe, work.wish

    offsets = offsets_mm(wish.beam)
    for offset in offsets[offsets > abs(recipe.focus_offset_mm)]:
        if banding_L(wish, focus_offset_mm=float(offset), line_spacing_mm=recipe.line_spacing_mm) <= (
            work.predicted.ripple_limit_L
        ):
            return (
                f"Raise the focus offset to {offset:+.1f}{NB}mm, or let go of the held line spacing "
                f"of {recipe.line_spacing_mm:.2f}{NB}mm."
            )
    return f"Take a closer line spacing than {recipe.line_spacing_mm:.2f}{NB}mm."
