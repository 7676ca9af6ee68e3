"""Wishes that had to give way: which, by how much, and how near any recipe comes to them, in words with numbers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from evenburn.core.motion.raster import room_needed_mm
from evenburn.core.nouns.recipe import Concession, Recipe
from evenburn.core.optics.beam import beam_radius_mm
from evenburn.core.optics.lines import dwell_ms
from evenburn.core.planning.candidates import TOLD_L, TONE_HOLDS_L, Amount, Found
from evenburn.core.planning.power import power_window_W
from evenburn.core.planning.tone_reach import nearest_L
from evenburn.core.planning.wish import Wish
from evenburn.core.response.curve import tone_range_L
from evenburn.core.tone.vision import unseen_banding_L

NB = "\u00a0"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Gave:
    """A wish, the recipe found for it, and one constraint that gave way there."""

    wish: Wish
    found: Found
    amount: Amount


def concessions(wish: Wish, found: Found, *, recipe: Recipe | None = None) -> tuple[Concession, ...]:
    """Return the wishes that the recipe found does not meet, what matters most first, each with what it asked and got.

    A tone out of the wood's reach is one of them, though the search then burns for the nearest there is. Empty where
    everything is met.

    Parameters
    ----------
    recipe : the recipe as it is set, for its power; without it that of the search stands.

    Source
    ------
    Definition: the amounts that `search` found, beside what the wish asked.
    """
    told = []
    for amount in reversed(found.amounts):
        same_as_sharpness = amount.constraint == "detail" and wish.finest_mm() >= wish.sharpness_mm
        if same_as_sharpness and "sharpness" in found.gave_way:
            continue
        if amount.constraint == "power" and recipe is not None:
            amount = replace(amount, got=recipe.power_W)  # noqa: PLW2901
        told.append(TELL[amount.constraint](_Gave(wish=wish, found=found, amount=amount)))
    if not any(one.constraint == "tone" for one in told):
        told = [*_out_of_reach(wish), *told]
    return tuple(told)


def _nearest(amount: Amount, words: str) -> str:
    """Return how much nearer another recipe comes, where it does so by more than a twentieth."""
    if amount.got <= amount.nearest * 1.05:
        return "."
    return f"; {words}."


def _detail(gave: _Gave) -> Concession:
    wish, amount = gave.wish, gave.amount
    asked = wish.finest_mm()
    return Concession(
        constraint="detail",
        asked=asked,
        got=amount.got,
        unit="mm",
        text=(
            f"The artwork's finest {asked:.2f}{NB}mm gives way: strokes and gaps are kept from {amount.got:.2f}{NB}mm"
            + _nearest(amount, f"no recipe here keeps finer than {amount.nearest:.2f}{NB}mm")
        ),
    )


def _sharpness(gave: _Gave) -> Concession:
    wish, amount = gave.wish, gave.amount
    return Concession(
        constraint="sharpness",
        asked=wish.sharpness_mm,
        got=amount.got,
        unit="mm",
        text=(
            f"The wished sharpness of {wish.sharpness_mm:.2f}{NB}mm gives way: {amount.got:.2f}{NB}mm is kept, "
            f"{amount.got - wish.sharpness_mm:.2f}{NB}mm coarser."
        ),
    )


def _banding(gave: _Gave) -> Concession:
    wish, found, amount = gave.wish, gave.found, gave.amount
    unseen = unseen_banding_L(tone=wish.tone_L, period_mm=found.line_spacing_mm, distance_mm=wish.reading_distance_mm)
    asked = float(unseen) * wish.banding_factor
    return Concession(
        constraint="banding",
        asked=asked,
        got=amount.got,
        unit="L*",
        text=(
            f"Scan lines may show: up to {amount.got:.1f}{NB}L* from crest to trough, where {asked:.1f}{NB}L* goes unseen "
            f"from {wish.reading_distance_mm:.0f}{NB}mm."
        ),
    )


def _warp(gave: _Gave) -> Concession:
    wish, amount = gave.wish, gave.amount
    return Concession(
        constraint="warp",
        asked=TONE_HOLDS_L,
        got=amount.got,
        unit="L*",
        text=(
            f"The blank's ±{wish.unevenness_mm:.1f}{NB}mm change the tone by {amount.got:.1f}{NB}L*; "
            f"{TONE_HOLDS_L:.1f}{NB}L* goes unnoticed."
        ),
    )


def _known_range(gave: _Gave) -> Concession:
    wish, found, amount = gave.wish, gave.found, gave.amount
    radius = beam_radius_mm(wish.beam, offset_mm=found.focus_offset_mm)
    dwell = float(dwell_ms(beam_radius_mm=radius, speed_mm_per_s=found.speed_mm_per_s))
    passes = "" if found.passes == 1 else f" in {found.passes} passes"
    return Concession(
        constraint="known range",
        asked=TONE_HOLDS_L,
        got=amount.got,
        unit="L*",
        text=(
            f"A dwell of {dwell:.1f}{NB}ms{passes} lies off what the curve is known for: the tone is uncertain by "
            f"{amount.got:.1f}{NB}L* more than it need be; {TONE_HOLDS_L:.1f}{NB}L* would go unnoticed."
        ),
    )


def _photo_range(gave: _Gave) -> Concession:
    wish, amount = gave.wish, gave.amount
    least_W, _ = power_window_W(wish.machine)
    return Concession(
        constraint="photo range",
        asked=least_W,
        got=amount.got,
        unit="W",
        text=(
            f"The faintest tones would take {amount.got:.1f}{NB}W, and this laser fires from {least_W:.1f}{NB}W: they come "
            "out darker or stay bare."
            if wish.curve.full_L < wish.curve.bare_L
            else f"The faintest tones would take {amount.got:.1f}{NB}W, and this laser fires from {least_W:.1f}{NB}W: they "
            "come out lighter or stay bare."
        ),
    )


def _char(gave: _Gave) -> Concession:
    wish, amount = gave.wish, gave.amount
    asked, got = 10.0**wish.curve.x_char, 10.0**amount.got
    return Concession(
        constraint="char",
        asked=asked,
        got=got,
        unit="J/mm²",
        text=(
            f"The lines may char: their crests get an effective exposure of {got:.2f}{NB}J/mm², and past {asked:.2f}{NB}J/mm² "
            f"this wood chars, {100.0 * (got / asked - 1.0):.0f}{NB}% too much."
        ),
    )


def _tone(gave: _Gave) -> Concession:
    wish, amount = gave.wish, gave.amount
    return Concession(
        constraint="tone",
        asked=wish.tone_L,
        got=amount.got,
        unit="L*",
        text=(
            f"The held settings give L*{NB}{amount.got:.1f} instead of the wished L*{NB}{wish.tone_L:g}, "
            f"{abs(amount.got - wish.tone_L):.1f} off."
        ),
    )


def _out_of_reach(wish: Wish) -> list[Concession]:
    """Return the concession of a tone that the wood cannot take."""
    low, high = sorted(tone_range_L(wish.curve))
    near = min(max(wish.tone_L, low), high)
    if abs(near - wish.tone_L) <= TOLD_L:
        return []
    offered = nearest_L(wish.tone_L, low_L=low, high_L=high)  # as the way out of `out_of_reach` has it
    return [
        Concession(
            constraint="tone",
            asked=wish.tone_L,
            got=near,
            unit="L*",
            text=(
                f"L*{NB}{wish.tone_L:g} is out of reach: this wood takes L*{NB}{low:.1f} to L*{NB}{high:.1f}; the nearest is "
                f"L*{NB}{offered:.1f}, {abs(offered - wish.tone_L):.1f} off."
            ),
        )
    ]


def _run_up(gave: _Gave) -> Concession:
    wish, found = gave.wish, gave.found
    room = max(min(wish.room_mm[found.axis]), 0.0)
    need = room_needed_mm(wish.machine, axis=found.axis, speed_mm_per_s=found.speed_mm_per_s)
    return Concession(
        constraint="run-up",
        asked=room,
        got=need,
        unit="mm",
        text=(
            f"The run-up at {found.speed_mm_per_s:.0f}{NB}mm/s takes {need:.1f}{NB}mm along {found.axis}, and there are "
            f"{room:.1f}{NB}mm of room: {need - room:.1f}{NB}mm are missing."
        ),
    )


def _power(gave: _Gave) -> Concession:
    wish, amount = gave.wish, gave.amount
    least_W, most_W = power_window_W(wish.machine)
    below = amount.got < least_W
    asked = least_W if below else most_W
    why = f"this laser fires from {asked:.1f}{NB}W" if below else f"you allow {asked:.1f}{NB}W"
    return Concession(
        constraint="power",
        asked=asked,
        got=amount.got,
        unit="W",
        text=f"The recipe takes {amount.got:.1f}{NB}W, and {why}: {abs(amount.got - asked):.1f}{NB}W too "
        f"{'little' if below else 'much'}.",
    )


TELL: dict[str, Callable[[_Gave], Concession]] = {
    "detail": _detail,
    "sharpness": _sharpness,
    "banding": _banding,
    "warp": _warp,
    "known range": _known_range,
    "photo range": _photo_range,
    "char": _char,
    "tone": _tone,
    "run-up": _run_up,
    "power": _power,
}
