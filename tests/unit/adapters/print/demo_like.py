"""A batch as the demo plans it, made of the sample's pieces: nine of fifteen marks, one stopped; all of it invented."""

from __future__ import annotations

from dataclasses import replace

from evenburn.core.nouns.check import Check, Fix
from evenburn.core.nouns.plan import BatchPlan, MarkPlan, PiecePlan
from evenburn.core.nouns.recipe import Binding
from unit.adapters.print.sample import STARTING, sample_plan

SHARPNESS = "Line spacing and focus offset are held by the wished sharpness of 0.25 mm; 0.33 mm would save 2 min 06 s."
DETAIL = "Line spacing and focus offset are held by the artwork's 0.18 mm detail; 0.23 mm would save 1 min 50 s."
BANDING = "Line spacing is held to 0.10 mm so that banding stays unseen (0.6 of 1.0 L*); twice as much would save 46 s."
NOTHING = "Nothing holds this recipe back; more of any one thing would save under 2 %."
HOLDS = "The recipe holds; nothing to do."
WAYS = (
    ("Move 18.7 mm to the right", "same time"),
    ("slow to 209 mm/s at 23.4 W", "+ 3 min 26 s"),
    ("scan along y", "+ 6 min 54 s"),
    ("turn the piece by 90°", "+ 4 min 50 s"),
)


def held(mark: MarkPlan, *sentences: str) -> MarkPlan:
    """Return a mark whose recipe is held back by these, dearest first."""
    found = tuple(Binding(constraint="none" if text == NOTHING else "sharpness", text=text) for text in sentences)
    return replace(mark, binding=found)


def starting_warn(piece: PiecePlan) -> Check:
    """Return the warning of a curve that was never measured."""
    return Check(
        level="warn",
        code="starting-value-curve",
        text=f"The curve of {piece.wood.name} is a starting value from memory, not of your board.",
        remedy="Try it on the back of the blank or on an offcut of the same lot first.",
    )


def warp_notes(piece: PiecePlan) -> tuple[Check, ...]:
    """Return the same note on warp for each mark."""
    text = f"A warp of ± {piece.piece.blank.unevenness_mm:.1f} mm changes the tone by 0.3 L*."
    return tuple(
        Check(level="note", code="warp-holds", text=text, remedy=HOLDS, mark_id=mark.mark.id) for mark in piece.marks
    )


def ordinary(piece: PiecePlan, *more: Check) -> PiecePlan:
    """Return a piece with what is found of nearly every one, held back by sharpness, and `more` besides."""
    wood = replace(piece.wood, curve=replace(piece.wood.curve, provenance=STARTING))
    marks = tuple(held(mark, SHARPNESS, BANDING) for mark in piece.marks)
    found = replace(piece, wood=wood, marks=marks)
    return replace(found, checks=(*more, starting_warn(found), *warp_notes(found)))


def material_caution(text: str) -> Check:
    """Return the note by which planning tells a caution of the wood."""
    return Check(level="note", code="material-caution", text=text, remedy="Follow the maker's sheet.")


def _lettered(piece: PiecePlan, words: str, *, binding: str) -> PiecePlan:
    """Return a piece with a second mark, a line of lettering with a recipe of its own."""
    front = replace(piece.marks[0], program_file=piece.marks[0].program_file or f"{piece.piece.id}-front.ngc")
    place, size = front.mark.place_mm, front.mark.size_mm
    art = replace(front.mark, art_label="art/crew.svg")
    line = replace(front.mark, id="name", art_label=f"“{words}” in great-vibes", size_mm=(size[0] / 2, size[1] / 3))
    x0, y0, x1, y1 = front.box_bed_mm
    name = replace(
        front,
        mark=replace(line, place_mm=(place[0] + size[0] / 4, place[1] + size[1] / 2)),
        box_bed_mm=(x0 + size[0] / 4, y0 + size[1] / 2, x1 - size[0] / 4, y1 - size[1] / 6),
        recipe=replace(front.recipe, power_W=front.recipe.power_W + 4.9, speed_mm_per_s=350.0),
        predicted=replace(front.predicted, time_s=166.0),
        program_file=f"{piece.piece.id}-name.ngc",
    )
    found = ordinary(replace(piece, marks=(replace(front, mark=art), name)))
    return replace(found, marks=(held(found.marks[0], binding, BANDING), held(found.marks[1], NOTHING)))


def _stopped_oar(piece: PiecePlan) -> PiecePlan:
    found = _lettered(piece, "Captain of Boats / 2026", binding=SHARPNESS)
    stop = Check(
        level="stop",
        code="run-up-does-not-fit",
        text="Run-up does not fit: 420 mm/s needs 28.2 mm on the left, and there are 9.6 mm.",
        remedy="; ".join(f"{text} ({price})" for text, price in WAYS) + ".",
        mark_id=found.marks[0].mark.id,
        fixes=tuple(Fix(text=text, price=price, target="piece", change=()) for text, price in WAYS),
    )
    marks = (replace(found.marks[0], program_file=None, binding=()), found.marks[1])
    return replace(found, marks=marks, checks=(stop, *found.checks))


def _again(piece: PiecePlan, name: str, piece_id: str) -> PiecePlan:
    return replace(piece, piece=replace(piece.piece, id=piece_id, name=name))


def demo_like_plan() -> BatchPlan:
    """Return nine pieces of fifteen marks, each with a warning and a note on warp."""
    plan = sample_plan()
    novice, mixed, oar, cup, tray, photo, slate, _ = plan.pieces
    uneven = replace(tray.checks[0], text="Bamboo burns unevenly: expect blotches of ± 5.0 L* inside one even area.")
    dust = material_caution("Slate throws fine mineral dust: keep the extraction running and do not dry-brush it.")
    glue = material_caution("Plywood glue gives off formaldehyde. Keep the extraction running and ask the maker.")
    pieces = (
        _lettered(novice, "Novice Fours", binding=DETAIL),
        _lettered(mixed, "Mixed Eights", binding=DETAIL),
        _stopped_oar(oar),
        ordinary(photo),
        ordinary(cup),
        ordinary(tray, uneven),
        ordinary(replace(slate, wood=replace(slate.wood, cautions=(dust.text,))), dust),
        ordinary(_again(oar, "Sign for the landing stage", "sign")),
        ordinary(_again(photo, "Starter’s board, first light", "starter"), glue),
    )
    return replace(plan, pieces=tuple(replace(one, start_order=n) for n, one in enumerate(pieces, start=1)))
