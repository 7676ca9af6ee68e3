"""What holds a recipe back, in words with numbers, and what loosening it would buy."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from evenburn.core.motion.raster import room_needed_mm
from evenburn.core.nouns.recipe import Binding, Recipe
from evenburn.core.optics.beam import beam_radius_mm
from evenburn.core.optics.lines import dwell_ms
from evenburn.core.planning.candidates import Found
from evenburn.core.planning.doubt import curve_doubt
from evenburn.core.planning.mark_plan import MarkWork
from evenburn.core.planning.placing_checks import SIDES, WAYS
from evenburn.core.planning.power import power_window_W
from evenburn.core.planning.recipe import search, without_room_limit
from evenburn.core.planning.wish import Wish
from evenburn.core.response.curve import tone_range_L
from evenburn.core.tone.vision import unseen_banding_L
from evenburn.core.units import duration_text

NB = "\u00a0"
WORTH = 0.02  # a constraint binds when loosening it saves more than two percent of the time
LOOSER = 4.0 / 3.0
TONE_STEP_L = 5.0  # about twice what is noticed: a difference that somebody would choose on purpose
TONE_AMONG = 3  # a target is the person's own wish: told only where it is among the dearest three
KEEPS = {
    "detail": "keep the artwork's detail",
    "sharpness": "keep the wished sharpness",
    "banding": "keep the lines unseen",
    "warp": "keep the tone over the whole blank",
    "known range": "keep to where the curve is known",
    "photo range": "let the faint tones fire",
    "char": "keep below the char limit",
    "tone": "meet the tone",
}
NO_ANSWER = {"run-up", "power"}  # what gives these way is not burnt: its checks say what to change


@dataclass(frozen=True, slots=True, kw_only=True)
class _Priced:
    """A wish, what was found for it and the recipe made of it."""

    wish: Wish
    found: Found
    recipe: Recipe


def bindings(work: MarkWork) -> tuple[Binding, ...]:
    """Return what holds a scanned mark's recipe back. Source: `bindings_of`."""
    return bindings_of(work.wish, work.found, recipe=work.recipe)


def bindings_of(wish: Wish, found: Found, *, recipe: Recipe) -> tuple[Binding, ...]:
    """Return the constraints that cost time, dearest first; when none does, what the recipe rests on.

    Source
    ------
    Own derivation: `search` again with one limit loosened at a time, docs/how-it-works/recipe.md.
    """
    if NO_ANSWER & {*found.gave_way}:
        return ()
    work = _Priced(wish=wish, found=found, recipe=recipe)
    dear = [b for price in PRICES if (b := price(work)) is not None]
    dear = [b for b in dear if b.saves_s is None or b.saves_s > WORTH * found.time_s]
    dear.sort(key=lambda b: -math.inf if b.saves_s is None else -b.saves_s)
    told = tuple(b for place, b in enumerate(dear) if b.constraint != "tone" or place < TONE_AMONG)
    if told:
        return told
    return (
        Binding(
            constraint="none",
            text=f"Nothing holds this recipe back; more of any one thing would save under 2{NB}%.",
        ),
    )


def _told(work: _Priced, constraint: str, loosened: Found, text: str, *, keeps: bool = False) -> Binding | None:
    """Return a binding, `{gain}` in its text filled in; None where it saves nothing or something worse gives way.

    Parameters
    ----------
    keeps : also tell where it saves no time but keeps a wish that gives way now; its `saves_s` is then None.
    """
    saved_s = work.found.time_s - loosened.time_s
    if keeps and loosened.rank() < work.found.rank():
        kept = [name for name in work.found.gave_way if name not in loosened.gave_way]
        return Binding(constraint=constraint, text=text.format(gain=KEEPS[kept[-1]])) if kept else None
    if saved_s <= 0.0 or loosened.rank() > work.found.rank():
        return None
    return Binding(constraint=constraint, text=text.format(gain=f"save {duration_text(saved_s)}"), saves_s=saved_s)


def _room(work: _Priced) -> Binding | None:
    wish, recipe = work.wish, work.recipe
    free = search(without_room_limit(wish))
    if work.found.time_s - free.time_s <= WORTH * work.found.time_s:
        return None
    centred = replace(wish, room_mm={a: (0.5 * (r[0] + r[1]),) * 2 for a, r in wish.room_mm.items()})
    moved = search(centred)
    axis, rooms = free.axis, wish.room_mm[free.axis]
    side = 0 if rooms[0] <= rooms[1] else 1
    helps = moved.axis == axis and work.found.time_s - moved.time_s > WORTH * work.found.time_s
    best = moved if helps else free
    need = room_needed_mm(wish.machine, axis=axis, speed_mm_per_s=best.speed_mm_per_s)
    if axis != recipe.scan_axis:
        return _told(
            work,
            "room",
            best,
            f"Scanned along {recipe.scan_axis} because along {axis} there are only {max(min(rooms), 0.0):.1f}{NB}mm of "
            f"room; {need:.1f}{NB}mm would {{gain}}.",
        )
    where = {"left": "on the left", "right": "on the right"}.get(SIDES[axis][side], SIDES[axis][side])
    held = f"Speed is held to {recipe.speed_mm_per_s:.0f}{NB}mm/s by the {rooms[side]:.1f}{NB}mm of room "
    if helps:
        move = math.ceil(10.0 * (need - rooms[side]) - 1e-6) / 10.0
        return _told(work, "room", best, f"{held}{where}; {move:.1f}{NB}mm {WAYS[axis][side]} would {{gain}}.")
    return _told(
        work,
        "room",
        best,
        f"{held}{where}, and the other side has no more to give; {need:.1f}{NB}mm on both sides would {{gain}}.",
    )


def _cap(work: _Priced) -> Binding | None:
    machine = work.wish.machine
    _, most = power_window_W(machine)
    return _told(
        work,
        "power cap",
        search(work.wish, relaxed=frozenset({"power"})),
        f"Power is held to {work.recipe.power_W:.1f}{NB}W by the {most:.1f}{NB}W that you allow this tube; all of its "
        f"{machine.power_max_W:.0f}{NB}W would {{gain}}.",
        keeps=True,
    )


def _least_power(work: _Priced) -> Binding | None:
    least, _ = power_window_W(work.wish.machine)
    return _told(
        work,
        "least power",
        search(work.wish, relaxed=frozenset({"least power"})),
        f"This laser fires from {least:.1f}{NB}W only; firing from {0.5 * least:.1f}{NB}W would {{gain}}.",
        keeps=True,
    )


def _sharpness(work: _Priced) -> Binding | None:
    wish = work.wish
    looser = replace(
        wish,
        sharpness_mm=wish.sharpness_mm * LOOSER,
        widths=replace(
            wish.widths,
            stroke_mm=None if wish.widths.stroke_mm is None else wish.widths.stroke_mm * LOOSER,
            gap_mm=None if wish.widths.gap_mm is None else wish.widths.gap_mm * LOOSER,
        ),
    )
    own = wish.finest_mm() < wish.sharpness_mm and "detail" not in work.found.gave_way
    asked = wish.finest_mm() if own else wish.sharpness_mm
    what = f"the artwork's {asked:.2f}{NB}mm detail" if own else f"the wished sharpness of {asked:.2f}{NB}mm"
    return _told(
        work,
        "detail" if own else "sharpness",
        search(looser),
        f"Line spacing and focus offset are held by {what}; {asked * LOOSER:.2f}{NB}mm would {{gain}}.",
    )


def _banding(work: _Priced) -> Binding | None:
    wish, found = work.wish, work.found
    unseen = unseen_banding_L(tone=wish.tone_L, period_mm=found.line_spacing_mm, distance_mm=wish.reading_distance_mm)
    return _told(
        work,
        "banding",
        search(replace(wish, banding_factor=2.0 * wish.banding_factor)),
        f"Line spacing is held to {found.line_spacing_mm:.2f}{NB}mm so that banding stays unseen "
        f"({found.banding_L:.1f} of {float(unseen):.1f}{NB}L* at worst); twice as much would {{gain}}.",
    )


def _warp(work: _Priced) -> Binding | None:
    wish = work.wish
    flatter = replace(wish, unevenness_mm=0.5 * wish.unevenness_mm)
    return _told(
        work,
        "warp",
        search(flatter),
        f"Line spacing and focus offset allow for the blank's ±{wish.unevenness_mm:.2g}{NB}mm; pinned flat to "
        f"±{flatter.unevenness_mm:.2g}{NB}mm it would {{gain}}.",
        keeps=True,
    )


def _known(work: _Priced) -> Binding | None:
    """Return what knowing the curve better would save: at other dwells, or, where that is not it, its slope."""
    wish, found = work.wish, work.found
    free = search(wish, relaxed=frozenset({"known range"}))
    here, there = (_dwell_ms(wish, f) for f in (found, free))
    again = f" in {free.passes}{NB}passes" if free.passes > 1 else ""
    told = (
        None
        if "known range" in found.gave_way
        else _told(
            work,
            "known range",
            free,
            f"Speed and focus stay near a dwell of {here:.1f}{NB}ms, where the curve is known well enough; a test card burnt "
            f"at {there:.1f}{NB}ms{again} would {{gain}}.",
        )
    )
    if told is not None and (told.saves_s or 0.0) > WORTH * found.time_s:
        return told
    doubt = curve_doubt(wish.curve, tone=wish.tone_L)
    sure = replace(wish, curve=replace(wish.curve, covariance=np.zeros_like(wish.curve.covariance)))
    share = 100.0 * doubt.slope_L_per_decade_sd / max(doubt.slope_L_per_decade, 1e-9)
    return _told(
        work,
        "curve",
        search(sure),
        f"Lines have to stay unseen though the curve is known to ±{share:.0f}{NB}% of its slope only; a test card of your "
        "own lot could {gain}.",
        keeps=True,
    )


def _dwell_ms(wish: Wish, found: Found) -> float:
    radius = beam_radius_mm(wish.beam, offset_mm=found.focus_offset_mm)
    return float(dwell_ms(beam_radius_mm=radius, speed_mm_per_s=found.speed_mm_per_s))


def _photo_range(work: _Priced) -> Binding | None:
    if work.wish.faint_L is None:
        return None
    least, _ = power_window_W(work.wish.machine)
    return _told(
        work,
        "photo range",
        search(work.wish, relaxed=frozenset({"photo range"})),
        f"Power is held up so that the faint tones get the {least:.1f}{NB}W from which this laser fires; a halftone, dots "
        "of full power, would {gain}.",
    )


def _char(work: _Priced) -> Binding | None:
    return _told(
        work,
        "char limit",
        search(work.wish, relaxed=frozenset({"char"})),
        "Line spacing and focus offset keep the crests of the lines below the char limit of "
        f"{10.0**work.wish.curve.x_char:.2f}{NB}J/mm²; a wood that bears more would {{gain}}.",
    )


def _held(work: _Priced) -> Binding | None:
    hold = work.wish.hold
    held = {
        "speed": hold.speed_mm_per_s,
        "power": hold.power_W,
        "line spacing": hold.line_spacing_mm,
        "focus offset": hold.focus_offset_mm,
        "passes": hold.passes,
        "scan axis": hold.scan_axis,
        "direction": hold.direction,
    }
    names = [name for name, value in held.items() if value is not None]
    if not names:
        return None
    free = search(replace(work.wish, hold=type(hold)()))
    return _told(
        work, "held by hand", free, f"You hold {_and(names)}; left free, the recipe would {{gain}}.", keeps=True
    )


def _and(names: list[str]) -> str:
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def _common_focus(work: _Priced) -> Binding | None:
    wish = work.wish
    if wish.common_offset_mm is None or wish.hold.focus_offset_mm is not None:
        return None
    own = search(replace(wish, common_offset_mm=None))
    return _told(
        work,
        "common focus",
        own,
        f"Focus offset is {wish.common_offset_mm:+.1f}{NB}mm for all marks of this thickness; {own.focus_offset_mm:+.1f}{NB}mm "
        "for this one alone would {gain}, less than setting the focus again takes.",
    )


def _top_speed(work: _Priced) -> Binding | None:
    wish = work.wish
    top = wish.machine.speed_max_mm_per_s
    if work.recipe.speed_mm_per_s < top:
        return None
    faster = replace(wish, machine=replace(wish.machine, speed_max_mm_per_s=1.25 * top))
    return _told(
        work,
        "top speed",
        search(faster),
        f"The machine's top speed of {top:.0f}{NB}mm/s binds; a quarter more would {{gain}}.",
    )


def _reversal(work: _Priced) -> Binding | None:
    machine = work.wish.machine
    if machine.reversal_sd_mm <= 0.0:
        return None
    sure = search(replace(work.wish, machine=replace(machine, reversal_sd_mm=0.0)))
    known = f"the reversal offset is known to ±{machine.reversal_sd_mm:.2f}{NB}mm only"
    what = "All lines are burnt one way" if work.recipe.direction == "one way" else "Finer lines are asked for"
    return _told(work, "direction", sure, f"{what} because {known}; measured exactly, it would {{gain}}.", keeps=True)


def _tone(work: _Priced) -> Binding | None:
    """Return what a target nearer to the bare wood saves, and what one further away costs, where the wood takes it."""
    wish = work.wish
    darkens = wish.curve.full_L < wish.curve.bare_L
    nearer = wish.tone_L + (TONE_STEP_L if darkens else -TONE_STEP_L)
    further = wish.tone_L - (TONE_STEP_L if darkens else -TONE_STEP_L)
    low, high = sorted(tone_range_L(wish.curve))
    if not low <= nearer <= high:
        return None
    fainter, fuller = ("lighter", "darker") if darkens else ("darker", "lighter")
    cost = "."
    if low <= further <= high:
        other = search(_with_tone(wish, further))
        more_s = other.time_s - work.found.time_s
        if other.rank() > work.found.rank():
            cost = f"; {TONE_STEP_L:.0f}{NB}L* {fuller} is more than the rest of the wish allows."
        elif more_s > WORTH * work.found.time_s:
            cost = f"; {TONE_STEP_L:.0f}{NB}L* {fuller} would cost {duration_text(more_s)}."
    return _told(
        work,
        "tone",
        search(_with_tone(wish, nearer)),
        f"The wished L*{NB}{wish.tone_L:g} takes its dose; {TONE_STEP_L:.0f}{NB}L* {fainter} would {{gain}}{cost}",
    )


def _with_tone(wish: Wish, tone: float) -> Wish:
    """Return the wish for another target; a photograph's faint tones stay at their share of the way to it."""
    bare = wish.curve.bare_L
    faint = wish.faint_L
    if faint is not None:
        faint = bare + (faint - bare) * (tone - bare) / (wish.tone_L - bare)
    return replace(wish, tone_L=tone, faint_L=faint)


PRICES: tuple[Callable[[_Priced], Binding | None], ...] = (
    _room,
    _cap,
    _least_power,
    _sharpness,
    _banding,
    _warp,
    _known,
    _photo_range,
    _char,
    _held,
    _common_focus,
    _top_speed,
    _reversal,
    _tone,
)
