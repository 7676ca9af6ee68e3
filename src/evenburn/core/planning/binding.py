"""What holds a recipe back, in words with numbers, and what loosening it would buy."""

from __future__ import annotations

from dataclasses import replace

from evenburn.core.motion.raster import room_needed_mm
from evenburn.core.nouns.recipe import Binding
from evenburn.core.planning.mark_plan import MarkWork
from evenburn.core.planning.placing_checks import SIDES, WAYS
from evenburn.core.planning.power import power_window_W
from evenburn.core.planning.recipe import search, without_room_limit
from evenburn.core.units import duration_text

NB = "\u00a0"
WORTH = 0.02  # a constraint binds when loosening it saves more than two percent of the time
LOOSER = 4.0 / 3.0


def bindings(work: MarkWork) -> tuple[Binding, ...]:
    """Return the constraints that cost time, dearest first; when none does, what the recipe rests on."""
    if "run-up" in work.found.gave_way or "power" in work.found.gave_way:
        return ()
    found = [
        (saved, binding)
        for saved, binding in (
            _room(work),
            _cap(work),
            _sharpness(work),
            _banding(work),
            _held(work),
            _common_focus(work),
            _top_speed(work),
        )
        if binding is not None and saved > WORTH * work.found.time_s
    ]
    if not found:
        return (
            Binding(
                constraint="none",
                text="Nothing holds this recipe back; more of any one thing would save under 2\u00a0%.",
            ),
        )
    return tuple(binding for _, binding in sorted(found, key=lambda item: -item[0]))


def _saves(work: MarkWork, loosened_s: float) -> tuple[float, str]:
    saved = work.found.time_s - loosened_s
    return saved, duration_text(max(saved, 0.0))


def _room(work: MarkWork) -> tuple[float, Binding | None]:
    wish, recipe = work.wish, work.recipe
    free = search(without_room_limit(wish))
    saved, words = _saves(work, free.time_s)
    axis = recipe.scan_axis
    if free.axis != axis or saved <= 0.0:
        if free.axis != axis and saved > 0.0:
            room = min(wish.room_mm[free.axis])
            return saved, Binding(
                constraint="room",
                text=(
                    f"Scanned along {axis} because along {free.axis} there are only {max(room, 0.0):.1f}{NB}mm of room; "
                    f"{room_needed_mm(wish.machine, axis=free.axis, speed_mm_per_s=free.speed_mm_per_s):.1f}{NB}mm "
                    f"would save {words}."
                ),
            )
        return 0.0, None
    rooms = wish.room_mm[axis]
    side = 0 if rooms[0] <= rooms[1] else 1
    move = room_needed_mm(wish.machine, axis=axis, speed_mm_per_s=free.speed_mm_per_s) - rooms[side]
    where = {"left": "on the left", "right": "on the right"}.get(SIDES[axis][side], SIDES[axis][side])
    return saved, Binding(
        constraint="room",
        text=(
            f"Speed is held to {recipe.speed_mm_per_s:.0f}{NB}mm/s by the {rooms[side]:.1f}{NB}mm of room {where}; "
            f"{move:.0f}{NB}mm {WAYS[axis][side]} would save {words}."
        ),
    )


def _cap(work: MarkWork) -> tuple[float, Binding | None]:
    wish = work.wish
    saved, words = _saves(work, search(wish, relaxed=frozenset({"power"})).time_s)
    _, most = power_window_W(wish.machine)
    return saved, Binding(
        constraint="power cap",
        text=(
            f"Power is held to {work.recipe.power_W:.1f}{NB}W by the {most:.1f}{NB}W that you allow this tube; all of its "
            f"{wish.machine.power_max_W:.0f}{NB}W would save {words}."
        ),
    )


def _sharpness(work: MarkWork) -> tuple[float, Binding | None]:
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
    saved, words = _saves(work, search(looser).time_s)
    if wish.finest_mm() < wish.sharpness_mm and "detail" not in work.found.gave_way:
        return saved, Binding(
            constraint="detail",
            text=(
                f"Line spacing and focus offset are held by the artwork's {wish.finest_mm():.2f}{NB}mm detail; "
                f"{wish.finest_mm() * LOOSER:.2f}{NB}mm would save {words}."
            ),
        )
    return saved, Binding(
        constraint="sharpness",
        text=(
            f"Line spacing and focus offset are held by the wished sharpness of {wish.sharpness_mm:.2f}{NB}mm; "
            f"{wish.sharpness_mm * LOOSER:.2f}{NB}mm would save {words}."
        ),
    )


def _banding(work: MarkWork) -> tuple[float, Binding | None]:
    wish = work.wish
    saved, words = _saves(work, search(replace(wish, banding_factor=2.0)).time_s)
    return saved, Binding(
        constraint="banding",
        text=(
            f"Line spacing is held to {work.recipe.line_spacing_mm:.2f}{NB}mm so that banding stays unseen "
            f"({work.found.ripple_L:.1f} of {work.predicted.ripple_limit_L:.1f}{NB}L*); twice as much would save {words}."
        ),
    )


def _held(work: MarkWork) -> tuple[float, Binding | None]:
    hold = work.wish.hold
    held = {
        "speed": hold.speed_mm_per_s,
        "power": hold.power_W,
        "line spacing": hold.line_spacing_mm,
        "focus offset": hold.focus_offset_mm,
        "passes": hold.passes,
        "scan axis": hold.scan_axis,
    }
    names = [name for name, value in held.items() if value is not None]
    if not names:
        return 0.0, None
    free = search(replace(work.wish, hold=type(hold)()))
    saved, words = _saves(work, free.time_s)
    return saved, Binding(
        constraint="held by hand",
        text=f"You hold {' and '.join(names)}; left free, {words} would be saved.",
    )


def _common_focus(work: MarkWork) -> tuple[float, Binding | None]:
    wish = work.wish
    if wish.common_offset_mm is None or wish.hold.focus_offset_mm is not None:
        return 0.0, None
    own = search(replace(wish, common_offset_mm=None))
    saved, words = _saves(work, own.time_s)
    return saved, Binding(
        constraint="common focus",
        text=(
            f"Focus offset is {wish.common_offset_mm:+.1f}{NB}mm for all marks of the piece; {own.focus_offset_mm:+.1f}{NB}mm "
            f"for this one alone would save {words}, less than setting the focus again takes."
        ),
    )


def _top_speed(work: MarkWork) -> tuple[float, Binding | None]:
    wish = work.wish
    top = wish.machine.speed_max_mm_per_s
    if work.recipe.speed_mm_per_s < top:
        return 0.0, None
    faster = replace(wish, machine=replace(wish.machine, speed_max_mm_per_s=1.25 * top))
    saved, words = _saves(work, search(faster).time_s)
    return saved, Binding(
        constraint="top speed",
        text=f"The machine's top speed of {top:.0f}{NB}mm/s binds; a quarter more would save {words}.",
    )
