"""What a cover and a re-run come to, in words."""

from __future__ import annotations

from collections.abc import Mapping

from evenburn.core.nouns.cautions import OVER_CHAR, OVER_SLATE
from evenburn.core.nouns.mark import Piece
from evenburn.core.planning.rescue.advice import NB, Advice
from evenburn.core.planning.rescue.again import SEEN_L, Again
from evenburn.core.planning.rescue.cover import Cover
from evenburn.core.planning.rescue.register import Registration

TURN_STRANGE_deg = 45.0  # a blank put back lies nearly as it did; more is rather two points swapped
SAME_WAY_deg = 0.5  # lines that cross more than this lie across one another within 100 lines: own choice


def cover_advice(cover: Cover, *, error_mm: float | None, turns_lighter: bool) -> tuple[Advice, ...]:
    """Return what is to be said of a new design over a burn.

    Parameters
    ----------
    error_mm : by how much the new burn may miss its place, one standard deviation; None where the blank was not moved.
    """
    again, said = cover.again, []
    more = "lighter" if turns_lighter else "darker"
    if not cover.seen:
        said.append(
            Advice(level="note", text="By its dose the burn is hardly seen as it is: look whether it needs covering.")
        )
    elif cover.beside_mm is not None:
        x, y = cover.beside_mm
        said.append(
            Advice(
                level="stop",
                text=f"{100.0 * cover.beside_share:.0f}{NB}% of the burn stays in sight beside the new ink, furthest at "
                f"{x:.1f}, {y:.1f}{NB}mm of the blank. The new ink would have to reach {cover.grow_mm:.2f}{NB}mm further.",
            )
        )
    else:
        said.append(Advice(level="note", text="Every burnt place lies under the new ink."))
    if error_mm is not None:
        said.append(
            Advice(
                level="note",
                text=f"Placed from points it may miss by {error_mm:.2f}{NB}mm (one standard deviation): let the new ink "
                f"reach {2.0 * error_mm:.2f}{NB}mm further still.",
            )
        )
    if cover.through_mm is not None:
        x, y = cover.through_mm
        said.append(
            Advice(
                level="stop",
                text=f"The burn shows through the new ink by up to {cover.through_L:.1f}{NB}L*, most at {x:.1f}, "
                f"{y:.1f}{NB}mm of the blank; {SEEN_L:g} is seen. An even tone of L*{NB}{again.new_L:.0f} becomes "
                f"{again.both_L:.0f} over it.",
            )
        )
        if again.hides_L is not None:
            said.append(
                Advice(level="note", text=f"From L*{NB}{again.hides_L:.0f} on, {more} still, it is no longer seen.")
            )
        else:
            said.append(
                Advice(
                    level="note",
                    text=f"No {more} tone hides it without {'glazing' if turns_lighter else 'charring'}. Sand it out, or "
                    "burn only what the old mark does not cover.",
                )
            )
    elif cover.seen:
        said.append(
            Advice(level="note", text=f"Inside the new ink it is not seen: {cover.through_L:.1f}{NB}L* at most.")
        )
    if cover.char_share > 0.0:
        name = "melts to glass" if turns_lighter else "chars"
        said.append(
            Advice(
                level="warn",
                text=f"{100.0 * cover.char_share:.0f}{NB}% of the burn {name} when it is burnt over: both doses come to "
                f"{again.over_char:.1f} times the char limit at their fullest.",
            )
        )
    said.append(Advice(level="warn", text=OVER_SLATE if turns_lighter else OVER_CHAR))
    return tuple(said)


def rerun_advice(
    registration: Registration,
    *,
    piece: Piece,
    errors_mm: Mapping[str, float],
    again: Mapping[str, Again],
    turns_lighter: bool,
) -> tuple[Advice, ...]:
    """Return what is to be said of a re-run on a piece that lies as registered.

    Parameters
    ----------
    piece : as it was planned first; errors_mm : mark id → the miss at its far corner, one standard deviation.
    again : mark id → the mark burnt over itself.
    """
    said: list[Advice] = []
    turned = (registration.turn_deg - piece.turn_deg + 180.0) % 360.0 - 180.0
    if abs(turned) > TURN_STRANGE_deg:
        said.append(
            Advice(
                level="warn",
                text=f"The blank lies turned by {turned:+.0f}° from the plan. If you did not turn it, two points are "
                "swapped, or x and y are: two points alone cannot tell.",
            )
        )
    elif abs(turned) > SAME_WAY_deg:
        said.append(
            Advice(
                level="note",
                text=f"The new lines run at {abs(turned):.1f}° to those already burnt, for the head can only scan along x "
                "or y. Turn the blank by that and measure again if the lines shall lie alike.",
            )
        )
    said += [
        Advice(
            level="warn",
            text=f"{mark.id}: the new burn may miss the old one by {errors_mm[mark.id]:.2f}{NB}mm at its far corner, "
            f"more than the {mark.sharpness_mm:g}{NB}mm its detail needs: edges will show double. Take points "
            "further apart, more of them, or measure more closely.",
        )
        for mark in piece.marks
        if errors_mm.get(mark.id, 0.0) > mark.sharpness_mm
    ]
    for mark_id, over in again.items():
        chars = f", {over.over_char:.1f} times the char limit" if over.over_char > 1.0 else ""
        said.append(
            Advice(
                level="warn" if over.is_seen() or over.over_char > 1.0 else "note",
                text=f"{mark_id}: where it falls on what is burnt already, L*{NB}{over.new_L:.0f} becomes "
                f"{over.both_L:.0f}{chars}. Leave out what is done: --mark burns one mark alone.",
            )
        )
    said.append(
        Advice(
            level="note",
            text="Focus again, then run the dry trace, laser off, and look whether the pointer follows the old edge.",
        )
    )
    said.append(Advice(level="warn", text=OVER_SLATE if turns_lighter else OVER_CHAR))
    return tuple(said)
