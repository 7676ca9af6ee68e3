"""Findings on the nozzle: whether it clears the blank at the stand-off that a recipe asks for."""

from __future__ import annotations

from evenburn.core.nouns.check import Check, Fix
from evenburn.core.nouns.mark import Piece
from evenburn.core.planning.mark_plan import MarkWork

NB = "\u00a0"


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
