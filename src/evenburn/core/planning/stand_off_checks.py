"""Findings on the nozzle and the room under it: whether it clears the blank at the stand-off that a recipe asks for."""

from __future__ import annotations

from evenburn.core.nouns.check import Check, Fix
from evenburn.core.nouns.mark import Piece
from evenburn.core.planning.mark_plan import MarkWork

NB = "\u00a0"
THICK_mm = 100.0  # own choice: about what small benches let the bed down


def stand_off_checks(work: MarkWork, piece: Piece) -> list[Check]:
    """Return a stop where the highest place of the uneven blank reaches the nozzle at the recipe's stand-off.

    Source
    ------
    Definition: what is left is the stand-off less the unevenness.
    """
    stand_off, unevenness = work.recipe.stand_off_mm, piece.blank.unevenness_mm
    left = stand_off - unevenness
    if left > 0.0:
        return []
    least_offset = unevenness - work.wish.lens.focus_stand_off_mm
    where = (
        f"{-left:.1f}{NB}mm inside the blank"
        if unevenness == 0.0
        else f"{-left:.1f}{NB}mm below the highest places of a blank uneven by ±{NB}{unevenness:g}{NB}mm"
    )
    if left == 0.0:
        where = (
            "on the blank"
            if unevenness == 0.0
            else f"on the highest places of a blank uneven by ±{NB}{unevenness:g}{NB}mm"
        )
    offset = work.recipe.focus_offset_mm
    clear = round(least_offset + 0.5, 1)  # half a millimetre is the step of the offsets that are searched
    ways = [f"Take a focus offset above {least_offset:+.1f}{NB}mm"]
    if unevenness > 0.0:
        ways.append("pin the blank flat")
    ways.append("use a lens whose focus lies farther from the nozzle")
    return [
        Check(
            level="stop",
            code="nozzle-touches",
            mark_id=work.mark.id,
            text=(
                f"The nozzle touches: a focus offset of {offset:+.1f}{NB}mm sets the stand-off to {stand_off:.1f}{NB}mm, "
                f"and its tip would be {where}."
            ),
            remedy=f"{', '.join(ways[:-1])}, or {ways[-1]}.",
            fixes=(
                Fix(
                    text=f"focus offset of {clear:+.1f}{NB}mm",
                    price="",
                    target=work.mark.id,
                    change=(("hold.focus_offset_mm", clear),),
                ),
            ),
        )
    ]


def thickness_checks(piece: Piece) -> list[Check]:
    """Return a warning where a blank is so thick that many a bench has no room for it under its head.

    A machine's file tells nothing of how far down its bed goes, and what stands beside the bed or on the floor can be thicker
    than any bed allows: so it is no stop. Nothing in a plan goes by the thickness but the height of the bed and what a cut
    takes, and a slip in typing (50 for 5.0) shows in neither before somebody turns the bed down.

    Source
    ------
    Own choice: from `THICK_mm`.
    """
    thick = piece.blank.thickness_mm
    if thick <= THICK_mm:
        return []
    return [
        Check(
            level="warn",
            code="thick-blank",
            text=(
                f"The blank is {thick:g}{NB}mm thick: its surface comes under the head only where the bed goes down so far, "
                "or the blank stands beneath it."
            ),
            remedy="Measure the room under the head first, and look again whether the thickness is right.",
        )
    ]
