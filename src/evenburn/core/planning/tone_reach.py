"""Whether a wood can take a wished tone at all, and the nearest it can where it cannot."""

from __future__ import annotations

import math

from evenburn.core.nouns.check import Check, Fix
from evenburn.core.nouns.mark import Mark
from evenburn.core.nouns.wood import Wood
from evenburn.core.response.curve import tone_range_L

NB = "\u00a0"


def out_of_reach(mark: Mark, *, wood: Wood) -> Check | None:
    """Return the stop of a tone that a wood cannot take, with the nearest it can as a way out; None where it can.

    Source
    ------
    Definition: `tone_range_L`; the nearest is told, and offered, to a tenth within it.
    """
    faint, full = tone_range_L(wood.curve)
    low, high = min(faint, full), max(faint, full)
    if low <= mark.tone_L <= high:
        return None
    near = nearest_L(mark.tone_L, low_L=low, high_L=high)
    return Check(
        level="stop",
        code="tone-out-of-range",
        mark_id=mark.id,
        text=(
            f"L*{NB}{mark.tone_L:g} is out of reach: {wood.name} runs from L*{NB}{high:.1f} to L*{NB}{low:.1f} "
            f"{'before it chars' if full < faint else 'under the beam'}."
        ),
        remedy=f"Ask for a tone between L*{NB}{math.ceil(low)} and L*{NB}{math.floor(high)}; nearest is {near:.1f}.",
        fixes=(
            Fix(text=f"ask for L*{NB}{near:.1f}, the nearest", price="", target=mark.id, change=(("tone_L", near),)),
        ),
    )


def nearest_L(tone: float, *, low_L: float, high_L: float) -> float:
    """Return the nearest tone within a range, to a tenth that still lies within it; a tone that does, as it is. [L*] Definition."""
    if tone < low_L:
        return math.ceil(low_L * 10.0 - 1e-9) / 10.0
    return math.floor(high_L * 10.0 + 1e-9) / 10.0 if tone > high_L else tone
