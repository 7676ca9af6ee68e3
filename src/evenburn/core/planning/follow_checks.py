"""Findings about lines that are followed and cuts: what cannot be burnt, what will differ from the drawing, cautions."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from evenburn.core.motion.follow import trace_events
from evenburn.core.motion.timing import program_time_s
from evenburn.core.nouns.cautions import FLAMES
from evenburn.core.nouns.check import Check
from evenburn.core.nouns.events import Trace
from evenburn.core.nouns.mark import Piece
from evenburn.core.nouns.recipe import Binding
from evenburn.core.nouns.wood import Wood
from evenburn.core.planning.candidates import TOLD_L, TONE_HOLDS_L
from evenburn.core.planning.follow_recipe import (
    CUT_PASSES,
    CUT_LEAST_mm_per_s,
    FollowFound,
    cut_energy_J_per_mm,
    cut_recipe,
    line_recipe,
    thickest_cut_mm,
)
from evenburn.core.planning.mark_plan import MarkWork
from evenburn.core.planning.power import power_window_W
from evenburn.core.planning.tone_reach import out_of_reach
from evenburn.core.response.curve import exposures_for_tones, tone_L
from evenburn.core.units import duration_text

NB = "\u00a0"
WIDTH_HOLDS = 0.2  # a line whose width misses the wish by a fifth is told
WORTH = 0.02  # as in `binding`


def follow_checks(work: MarkWork, piece: Piece, *, wood: Wood) -> list[Check]:
    """Return the findings on one followed mark, cautions last."""
    if work.followed is None:
        return []
    if work.mark.treatment == "cut":
        return [*_cut_limits(work, piece, wood), *_cut_drawing(work), *_power(work), *_cut_cautions(work, wood)]
    reach = out_of_reach(work.mark, wood=wood)
    return [
        *([] if reach is None else [reach]),
        *_power(work),
        *_line_look(work, piece),
        *_corners(work, wood),
        *_doubles(work),
    ]


def _found(work: MarkWork) -> FollowFound:
    assert work.followed is not None  # noqa: S101  # asked only for what is followed
    return work.followed.found


def _power(work: MarkWork) -> list[Check]:
    found, machine = _found(work), work.wish.machine
    if "power" not in found.faults:
        return []
    least_W, most_W = power_window_W(machine)
    below = found.power_W < least_W
    held = [
        words
        for words, value in (
            ("speed", work.mark.hold.speed_mm_per_s),
            ("power", work.mark.hold.power_W),
            ("passes", work.mark.hold.passes),
            ("focus offset", work.mark.hold.focus_offset_mm),
        )
        if value is not None
    ]
    factor = least_W / found.power_W if below else most_W / found.power_W
    return [
        Check(
            level="stop",
            code="power-below-least" if below else "power-above-cap",
            mark_id=work.mark.id,
            text=f"The recipe asks for {found.power_W:.3g}{NB}W; "
            + (
                f"below {least_W:.1f}{NB}W this laser does not fire."
                if below
                else f"you allow {most_W:.1f}{NB}W and the tube gives {machine.power_max_W:.0f}{NB}W at most."
            ),
            remedy=f"Let go of the held {' and '.join(held)}."
            if held
            else f"Go at {factor:.2f} times the speed: give a speed by hand, or use another lens.",
        )
    ]


def _line_look(work: MarkWork, piece: Piece) -> list[Check]:
    found, mark, swing = _found(work), work.mark, _found(work).swing_L
    checks: list[Check] = []
    if mark.line_mm is not None and abs(found.width_mm / mark.line_mm - 1.0) > WIDTH_HOLDS:
        narrower = found.width_mm < mark.line_mm
        checks.append(
            Check(
                level="warn",
                code="line-width-missed",
                mark_id=mark.id,
                text=f"The line comes out {found.width_mm:.2f}{NB}mm wide, not the wished {mark.line_mm:.2f}{NB}mm.",
                remedy="Draw it as an outlined area and burn it solid, or let the line be finer."
                if narrower
                else "Take a lens of shorter focal length, or a fainter tone.",
            )
        )
    unevenness = piece.blank.unevenness_mm
    if unevenness > 0.0 and swing >= TOLD_L:
        shows = swing > TONE_HOLDS_L
        checks.append(
            Check(
                level="warn" if shows else "note",
                code="warp-shows" if shows else "warp-holds",
                mark_id=mark.id,
                text=f"A warp of ±{NB}{unevenness:g}{NB}mm changes the tone of the line by {swing:.1f}{NB}L*.",
                remedy="Pin the blank flat, focus at its middle height, or allow a wider line with line_mm."
                if shows
                else "The recipe holds; nothing to do.",
            )
        )
    return checks


def _corners(work: MarkWork, wood: Wood) -> list[Check]:
    """Tell where the laser cannot go as low as slow corners ask for, and what that does to their tone."""
    found = _found(work)
    least_W, _ = power_window_W(work.wish.machine)
    ratio = [float((t.power_W[t.power_W > 0.0] <= least_W * 1.001).mean()) for t in work.events if isinstance(t, Trace)]
    if found.power_W <= least_W * 1.05 or not any(share > 0.0 for share in ratio):
        return []
    slow = found.speed_mm_per_s * least_W / found.power_W
    darker = float(exposures_for_tones(wood.curve, work.mark.tone_L)) + np.log10(2.0)
    swing = abs(float(tone_L(wood.curve, darker)) - work.predicted.tone_L)
    if swing < TONE_HOLDS_L:
        return []
    return [
        Check(
            level="note",
            code="corners-heavier",
            mark_id=work.mark.id,
            text=(
                f"Below {slow:.0f}{NB}mm/s the laser cannot follow the speed down ({least_W:.1f}{NB}W is the least that "
                f"fires): sharp corners take more, at half that speed {swing:.1f}{NB}L* of tone."
            ),
            remedy="Round the corners by 0.3 mm or more, or leave it: it is a dot at each corner.",
        )
    ]


def _doubles(work: MarkWork) -> list[Check]:
    assert work.followed is not None  # noqa: S101
    if not work.followed.doubles:
        return []
    count = work.followed.doubles
    return [
        Check(
            level="note",
            code="doubles-left-out",
            mark_id=work.mark.id,
            text=f"{count} line{'s' if count > 1 else ''} of the drawing lay exactly on another and "
            f"{'are' if count > 1 else 'is'} followed once.",
            remedy="Nothing to do; the wood is not burnt twice.",
        )
    ]


def _cut_limits(work: MarkWork, piece: Piece, wood: Wood) -> list[Check]:
    found, wish, thickness = _found(work), work.wish, piece.blank.thickness_mm
    why: str | None = None
    remedy = "Cut it with a saw, or take a thinner blank."
    if "material" in found.faults:
        why = f"{wood.name.capitalize()} cannot be cut by a beam of this kind: it melts or cracks, and does not burn away."
        remedy = "Engrave it only, or have it cut with water or a saw."
    elif "thickness" in found.faults:
        most = thickest_cut_mm(wish.beam)
        why = (
            f"{thickness:g}{NB}mm is too thick: behind this lens the beam stays narrow enough for {most:.1f}{NB}mm, "
            f"then it spreads to more than four times its waist."
        )
        remedy = f"Take a blank of {most:.1f}{NB}mm or less, or a lens of longer focal length."
    elif "speed" in found.faults:
        _, most_W = power_window_W(wish.machine)
        energy, _ = cut_energy_J_per_mm(
            wood.curve,
            beam=wish.beam,
            cut_J_per_mm3=(wood.cut_J_per_mm3 or 1.0) * (1.0 + wood.cut_sd_share),
            thickness_mm=thickness,
            offset_mm=found.focus_offset_mm,
        )
        why = (
            f"{thickness:g}{NB}mm of {wood.name} take about {energy:.0f}{NB}J/mm; {most_W:.0f}{NB}W give "
            f"{CUT_PASSES[-1] * most_W / CUT_LEAST_mm_per_s:.0f} in {CUT_PASSES[-1]} passes at "
            f"{CUT_LEAST_mm_per_s:g}{NB}mm/s, and slower than that wood flames instead of cutting."
        )
    if why is None:
        return []
    return [Check(level="stop", code="cannot-cut", mark_id=work.mark.id, text=why, remedy=remedy)]


def _cut_drawing(work: MarkWork) -> list[Check]:
    followed, mark = work.followed, work.mark
    assert followed is not None  # noqa: S101
    checks = _doubles(work)
    if followed.lost_openings:
        checks.append(
            Check(
                level="warn",
                code="opening-lost",
                mark_id=mark.id,
                text=f"{followed.lost_openings} outline(s) are narrower than the kerf of {followed.found.width_mm:.2f}{NB}mm "
                "and are left out.",
                remedy="Draw them wider than the kerf, or burn them as a line.",
            )
        )
    if followed.unmoved and mark.keeps != "line":
        checks.append(
            Check(
                level="note",
                code="no-kerf-allowed",
                mark_id=mark.id,
                text=f"{followed.unmoved} line(s) enclose nothing and are cut where they are drawn, half a kerf of "
                f"{followed.found.width_mm:.2f}{NB}mm lost on either side.",
                remedy="Close the outline in the drawing if it is to be a part.",
            )
        )
    if followed.bridges_missed:
        checks.append(
            Check(
                level="warn",
                code="bridges-missed",
                mark_id=mark.id,
                text=f"{followed.bridges_missed} bridge(s) found no straight place long enough.",
                remedy="Ask for fewer or narrower bridges.",
            )
        )
    if mark.bridges is None and followed.closed:
        count = followed.closed
        checks.append(
            Check(
                level="note",
                code="parts-drop",
                mark_id=mark.id,
                text=f"{count} part{'s' if count > 1 else ''} will come loose and may tilt into the beam's way.",
                remedy="Support the blank right under them, or ask for bridges.",
            )
        )
    return checks


def _cut_cautions(work: MarkWork, wood: Wood) -> list[Check]:
    found, mark = _found(work), work.mark
    if wood.cut_J_per_mm3 is None:
        return []
    return [
        Check(
            level="warn",
            code="cut-energy-unsure",
            mark_id=mark.id,
            text=(
                f"Cutting {wood.name} is reckoned at {wood.cut_J_per_mm3:.1f}{NB}J/mm³ ±{NB}{100 * wood.cut_sd_share:.0f}{NB}%; "
                f"the recipe gives {100 * wood.cut_sd_share:.0f}{NB}% more, for a kerf of {found.width_mm:.2f}{NB}mm."
            ),
            remedy="Cut a 20 mm square from an offcut first; then tell the wood what its cut takes: on its page, or as cut_J_per_mm3 in its file.",
        ),
        Check(
            level="warn",
            code="cut-may-flame",
            mark_id=mark.id,
            text="Cutting can set wood alight, underneath too where nobody sees it.",
            remedy=FLAMES,
        ),
    ]


def follow_bindings(work: MarkWork, piece: Piece, *, wood: Wood) -> tuple[Binding, ...]:
    """Return what holds the speed of a followed mark back, and what loosening it would buy."""
    found, machine, mark = _found(work), work.wish.machine, work.mark
    if found.faults:
        return ()
    free = replace(mark, hold=type(mark.hold)())
    unheld = _time_s(work, piece, wood, replace(work, mark=free))
    whole = replace(work, wish=replace(work.wish, machine=replace(machine, power_cap_fraction=1.0)))
    uncapped = _time_s(work, piece, wood, whole)
    now = work.predicted.time_s
    told: list[tuple[float, Binding]] = []
    if mark.hold != free.hold and now - unheld > WORTH * now:
        told.append(
            (
                now - unheld,
                Binding(
                    constraint="held by hand",
                    text=f"You hold settings; left free, {duration_text(now - unheld)} would be saved.",
                ),
            )
        )
    if now - uncapped > WORTH * now:
        _, most_W = power_window_W(machine)
        told.append(
            (
                now - uncapped,
                Binding(
                    constraint="power cap",
                    text=f"Speed is held to {found.speed_mm_per_s:g}{NB}mm/s by the {most_W:.1f}{NB}W that you allow this "
                    f"tube; all of its {machine.power_max_W:.0f}{NB}W would save {duration_text(now - uncapped)}.",
                ),
            )
        )
    if not told:
        return (
            Binding(
                constraint="none",
                text=f"Nothing holds this recipe back; more of any one thing would save under 2{NB}%.",
            ),
        )
    return tuple(binding for _, binding in sorted(told, key=lambda item: -item[0]))


def _time_s(work: MarkWork, piece: Piece, wood: Wood, changed: MarkWork) -> float:
    """Return the time of the same paths at the recipe of a changed mark or machine. [s]"""
    machine, mark = changed.wish.machine, changed.mark
    if mark.treatment == "cut":
        found = cut_recipe(
            machine,
            lens=work.wish.lens,
            beam=work.wish.beam,
            wood=wood,
            mark=mark,
            thickness_mm=piece.blank.thickness_mm,
        )
    else:
        found = line_recipe(
            machine, beam=work.wish.beam, curve=wood.curve, mark=mark, unevenness_mm=piece.blank.unevenness_mm
        )
    assert work.followed is not None  # noqa: S101
    least_W, _ = power_window_W(machine)
    events = trace_events(
        machine,
        work.followed.paths,
        speed_mm_per_s=found.speed_mm_per_s,
        line_energy_J_per_mm=found.power_W / found.speed_mm_per_s,
        passes=found.passes,
        least_W=min(least_W, found.power_W),
        most_W=found.power_W,
    )
    return program_time_s(machine, events)
