"""Where the stand-off is set in a batch, and what a mark would look like where that is forgotten."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from evenburn.core.nouns.check import Check
from evenburn.core.nouns.plan import Forgotten
from evenburn.core.nouns.recipe import Recipe
from evenburn.core.planning.off_focus import SetMark, seen_at

NB = "\u00a0"
SAME_mm = 0.05  # half of what a gauge or a caliper is read to: what lies nearer has not changed
SAME_L = 1.0  # differences below 1 are not seen even side by side [mokrzycki2011]


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """One time the stand-off is set: the mark it is set before, and the marks burnt with it on the same piece.

    `bed_down_mm` is how far the bed goes down from where the setting before left it, None where nothing was set before.
    `marks` are by index of the sequence that was asked about, `last` the index of the last one anywhere that it serves.
    """

    first: int
    last: int
    marks: tuple[int, ...]
    bed_down_mm: float | None


def settings_of(marks: Sequence[SetMark], *, before_mm: tuple[float, float] | None = None) -> tuple[Setting, ...]:
    """Return where the stand-off is set for marks in the order of burning, once for each change. Definition.

    Parameters
    ----------
    before_mm : thickness and stand-off of what was burnt before the first; None where nothing was.
    """
    left = [before_mm, *(mark.setting() for mark in marks)]  # what the mark of the same index finds
    starts = [i for i, mark in enumerate(marks) if mark.setting() != left[i]]
    found = []
    for start, end in pairwise([*starts, len(marks)]):
        there = left[start]
        down = None if there is None else sum(marks[start].setting()) - sum(there)
        here = tuple(i for i in range(start, end) if marks[i].piece.id == marks[start].piece.id)
        found.append(Setting(first=start, last=end - 1, marks=here, bed_down_mm=down))
    return tuple(found)


def forgotten_focus(here: SetMark, *, bed_down_mm: float) -> Forgotten | None:
    """Return what a mark looks like with the bed left as it was for the one before; None where that changes nothing.

    The nozzle stays at its height over the bed. A thicker blank then comes nearer to it, and so does one that wanted a
    greater stand-off: the surface lies `bed_down_mm` nearer than it should.

    Source
    ------
    Own derivation: thickness and stand-off before, less thickness and stand-off here; `seen_at` at the offset that leaves.
    """
    if abs(bed_down_mm) < SAME_mm:
        return None
    recipe, uneven_mm = here.recipe, here.piece.blank.unevenness_mm
    offset_mm = recipe.focus_offset_mm - bed_down_mm
    then, planned = (seen_at(here, offset_mm=z) for z in (offset_mm, recipe.focus_offset_mm))
    # detail is what the blank's lowest or highest places keep, as it is planned; the char limit counts where it is sharpest
    soft, planned_soft = (seen_at(here, offset_mm=abs(z) + uneven_mm) for z in (offset_mm, recipe.focus_offset_mm))
    sharp, planned_sharp = (
        seen_at(here, offset_mm=max(abs(z) - uneven_mm, 0.0)) for z in (offset_mm, recipe.focus_offset_mm)
    )
    limit = here.wood.curve.x_char
    left_mm = recipe.stand_off_mm - bed_down_mm
    found = Forgotten(
        off_mm=-bed_down_mm,
        stand_off_mm=left_mm,
        touches=left_mm - uneven_mm <= 0.0,
        spot_diameter_mm=2.0 * float(then.radius_mm[0]),
        planned_spot_diameter_mm=2.0 * float(planned.radius_mm[0]),
        tone_L=float(then.tone_L[0]),
        planned_tone_L=float(planned.tone_L[0]),
        ripple_L=float(then.ripple_L[0]),
        ripple_limit_L=float(then.ripple_limit_L[0]),
        detail_mm=float(soft.detail_mm[0]),
        planned_detail_mm=float(planned_soft.detail_mm[0]),
        chars=recipe.way != "cut" and bool(sharp.exposure[0] > limit >= planned_sharp.exposure[0]),
        text="",
    )
    return replace(found, text=_words(found, here))


def worst_forgotten(marks: Sequence[SetMark], *, bed_down_mm: float) -> tuple[SetMark, Forgotten] | None:
    """Return the mark that suffers most of those burnt with one setting, and how; None where nothing changes.

    A touch is worse than char, char worse than a change of tone or of spot. Definition.
    """
    worst: tuple[tuple[float, ...], SetMark, Forgotten] | None = None
    seen: set[Recipe] = set()
    for mark in marks:
        if mark.recipe in seen:
            continue
        seen.add(mark.recipe)
        found = forgotten_focus(mark, bed_down_mm=bed_down_mm)
        if found is None:
            continue
        key = (
            float(found.touches),
            float(found.chars),
            abs(found.tone_L - found.planned_tone_L),
            found.spot_diameter_mm,
        )
        if worst is None or key > worst[0]:
            worst = key, mark, found
    return None if worst is None else worst[1:]


def refocus_checks(
    marks: Sequence[SetMark], *, before_mm: tuple[float, float] | None = None
) -> dict[str, tuple[Check, ...]]:
    """Return for each piece id what would come of forgetting to set the stand-off, where it changes on or before it.

    Parameters
    ----------
    marks : those that may be burnt, in the order of burning.
    before_mm : thickness and stand-off of what was burnt before the first; None where nothing was.
    """
    found: dict[str, tuple[Check, ...]] = {}
    for setting in settings_of(marks, before_mm=before_mm):
        there = marks[setting.first - 1].setting() if setting.first else before_mm
        if setting.bed_down_mm is None or there is None:
            continue
        worst = worst_forgotten([marks[i] for i in setting.marks], bed_down_mm=setting.bed_down_mm)
        if worst is not None:
            piece_id = marks[setting.first].piece.id
            check = _check(there, *worst, bed_down_mm=setting.bed_down_mm)
            found[piece_id] = (*found.get(piece_id, ()), check)
    return found


def _check(before: tuple[float, float], here: SetMark, forgotten: Forgotten, *, bed_down_mm: float) -> Check:
    thick, stand_off = here.setting()
    thick_before, stand_off_before = before
    if thick != thick_before:
        change = f"this blank is {thick:g}{NB}mm thick, the one before it {thick_before:g}{NB}mm"
    else:
        change = f"this mark wants {stand_off:.1f}{NB}mm, the one before it had {stand_off_before:.1f}{NB}mm"
    remedy = (
        f"Bed {abs(bed_down_mm):.1f}{NB}mm {'down' if bed_down_mm > 0.0 else 'up'}, then the {stand_off:.1f}{NB}mm gauge "
        "block between nozzle and this blank."
    )
    if forgotten.touches:
        remedy += " With the thicker blanks listed first it cannot touch."
    return Check(
        level="warn" if forgotten.touches or forgotten.chars else "note",
        code="refocus",
        mark_id=here.mark.id,
        text=(
            f"Set the stand-off anew: {change}. Forgotten, the bed left where it was, the surface lies {forgotten.text}."
        ),
        remedy=remedy,
    )


def _words(found: Forgotten, here: SetMark) -> str:
    """Return in words what comes of a forgotten setting, to follow "the surface lies"."""
    away = f"{abs(found.off_mm):.1f}{NB}mm"
    if found.stand_off_mm <= 0.0:
        return f"{away} too near, {-found.stand_off_mm:.1f}{NB}mm above the tip of the nozzle: the head runs into the blank"
    side = "near" if found.off_mm < 0.0 else "far"
    planned_mm = f"{found.planned_spot_diameter_mm:.2f}"
    told = [f"{away} too {side}: spot {found.spot_diameter_mm:.2f}{NB}mm instead of {planned_mm}"]
    if here.recipe.way == "cut":
        told.append("goes through all the same" if math.isfinite(found.detail_mm) else "does not go through")
    elif abs(found.tone_L - found.planned_tone_L) >= SAME_L:
        told.append(f"tone L*{NB}{found.tone_L:.0f} instead of {found.planned_tone_L:.0f}")
    else:
        told.append(f"tone L*{NB}{found.planned_tone_L:.0f} as planned")
    if here.recipe.way == "line":
        told.append(f"line {found.detail_mm:.2f}{NB}mm wide instead of {found.planned_detail_mm:.2f}")
    elif here.recipe.way == "scan":
        if found.detail_mm > max(here.mark.sharpness_mm, found.planned_detail_mm):
            told.append(f"strokes under {found.detail_mm:.2f}{NB}mm lost")
        if found.ripple_L > found.ripple_limit_L:
            told.append("lines show")
    if found.chars:
        told.append("past the char limit")
    if found.touches:
        told.append(
            f"and only {found.stand_off_mm:.1f}{NB}mm under the nozzle, with a blank uneven by ±"
            f"{here.piece.blank.unevenness_mm:g}{NB}mm: it may touch"
        )
    return ", ".join(told)
