"""What of a planned mark is worth telling beside its recipe: its reasons, its time against the least, another lens."""

from __future__ import annotations

from evenburn.core.nouns.plan import LensOffer, MarkPlan
from evenburn.core.nouns.recipe import Alternative
from evenburn.core.planning.binding import WORTH

NB = "\u00a0"
SHOWS = ", which shows"  # as `choice` says it


def reasons_of(mark: MarkPlan, *, most: int) -> tuple[str, ...]:
    """Return so many reasons for a recipe at most, the dearest first, as sentences.

    Source
    ------
    Definition: the mark's bindings; that nothing binds is a reason too.
    """
    return tuple(binding.text for binding in mark.binding[:most])


def is_held(mark: MarkPlan) -> bool:
    """Return whether anything holds the recipe back. Definition."""
    return bool(mark.binding) and mark.binding[0].constraint != "none"


def over_least_text(time_s: float, *, least_s: float) -> str:
    """Return how far a time lies above the least possible, `4 % above the least possible`; empty where none is known.

    Parameters
    ----------
    time_s, least_s : of the program, and a lower bound of any program for the same lines. [s]

    Source
    ------
    Definition.
    """
    if least_s <= 0.0:
        return ""
    percent = round(100.0 * (time_s / least_s - 1.0))
    return f"{percent}{NB}% above the least possible" if percent >= 1 else "as short as can be"


def is_over_least(time_s: float, *, least_s: float) -> bool:
    """Return whether a time lies so far above the least possible that it counts.

    Source
    ------
    Own choice: the share from which a constraint counts as binding.
    """
    return 0.0 < least_s * (1.0 + WORTH) < time_s


def banding_text(one: Alternative) -> str:
    """Return the banding of a recipe to choose in short, and whether it shows. Definition: as its own text says it."""
    return f"{max(one.ripple_L, 0.1):.1f}{NB}L*{', shows' if SHOWS in one.text else ''}"  # it is at most that


def lenses_worth_it(mark: MarkPlan) -> tuple[LensOffer, ...]:
    """Return the machine's other lenses that would save so much of a mark's time that it counts.

    Source
    ------
    Own choice: the share from which a constraint counts as binding.
    """
    return tuple(offer for offer in mark.other_lenses if offer.saves_s > WORTH * mark.predicted.time_s)
