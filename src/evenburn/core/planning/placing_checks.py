"""Findings on where a mark lies: on its blank, clear of holes and edges, inside the bed, with room for the run-up."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from evenburn.core.layout.place import allowed_mask, inset, mark_on_bed, outline_on_bed, room_mm
from evenburn.core.motion.bounds import boxes_mm, overhang_mm
from evenburn.core.nouns.check import Check, Fix
from evenburn.core.nouns.mark import Axis, Piece
from evenburn.core.planning.candidates import AXES
from evenburn.core.planning.checks import held_words
from evenburn.core.planning.mark_plan import MarkWork
from evenburn.core.planning.power import power_window_W
from evenburn.core.planning.raster_time import speed_limit_mm_per_s
from evenburn.core.planning.recipe import search
from evenburn.core.planning.survey import Survey
from evenburn.core.planning.wish import Wish
from evenburn.core.tone.halftone import HALFTONES
from evenburn.core.units import duration_text

Box = tuple[float, float, float, float]

NB = "\u00a0"
TOUCHES_mm = 5e-4  # half of what a program writes
CLEAR_mm = 0.2  # from the edge of the bed: what is drawn finer than the survey reaches a little further
FIT_STEP_mm = 0.5
FIT_FAR_mm = 80.0
SIDES: dict[Axis, tuple[str, str]] = {"x": ("left", "right"), "y": ("below", "above")}
WAYS: dict[Axis, tuple[str, str]] = {"x": ("to the right", "to the left"), "y": ("away from you", "towards you")}


def _polygons(shape: object) -> Polygon | MultiPolygon | None:
    if isinstance(shape, Polygon | MultiPolygon) and not shape.is_empty:
        return shape
    return None


class _Fit:
    """Looks up whether ink points lie on a shape, for many shifts and scales."""

    def __init__(self, survey: Survey, shape: Polygon | MultiPolygon | None) -> None:
        rows, columns = np.nonzero(survey.ink)
        keep = slice(None, None, max(1, rows.size // 20000))
        grid = survey.grid
        self.x_mm = grid.x0_mm + (columns[keep] + 0.5) * grid.pixel_mm
        self.y_mm = grid.y0_mm + (rows[keep] + 0.5) * grid.pixel_mm
        self.pixel_mm = max(grid.pixel_mm, 0.25)
        self.shape = shape
        self.x0_mm, self.y0_mm = 0.0, 0.0
        self.mask: NDArray[np.bool_] = np.zeros((1, 1), np.bool_)
        if shape is not None:
            x0, y0, x1, y1 = shape.bounds
            self.x0_mm, self.y0_mm = x0 - self.pixel_mm, y0 - self.pixel_mm
            size = (int((y1 - y0) / self.pixel_mm) + 4, int((x1 - x0) / self.pixel_mm) + 4)
            self.mask = allowed_mask(shape, x0_mm=self.x0_mm, y0_mm=self.y0_mm, pixel_mm=self.pixel_mm, shape=size)

    def outside(self, *, dx_mm: float = 0.0, dy_mm: float = 0.0, scale: float = 1.0) -> NDArray[np.bool_]:
        """Return for each ink point whether it misses the shape after scaling about the ink's middle and shifting."""
        cx, cy = 0.5 * (self.x_mm.min() + self.x_mm.max()), 0.5 * (self.y_mm.min() + self.y_mm.max())
        column = np.floor((cx + (self.x_mm - cx) * scale + dx_mm - self.x0_mm) / self.pixel_mm).astype(int)
        row = np.floor((cy + (self.y_mm - cy) * scale + dy_mm - self.y0_mm) / self.pixel_mm).astype(int)
        inside = (row >= 0) & (row < self.mask.shape[0]) & (column >= 0) & (column < self.mask.shape[1])
        hit = np.zeros(row.shape, np.bool_)
        hit[inside] = self.mask[row[inside], column[inside]]
        return ~hit


def _stays_bare(work: MarkWork) -> Check:
    """Return the finding on a mark that has ink, all of it too faint to be burnt."""
    least_W, _ = power_window_W(work.wish.machine)
    fires = (
        "for a single dot"
        if work.reproduction in HALFTONES
        else f"for the {least_W:.1f}{NB}W from which this laser fires"
    )
    held = held_words(work.mark.hold)
    return Check(
        level="stop",
        code="nothing-to-burn",
        mark_id=work.mark.id,
        text=f"{work.mark.art_label} would stay bare: "
        + (f"all its tones are too faint {fires}." if work.followed is None else "nothing of it is followed."),
        remedy=f"Let go of the held {held}." if held else "Ask for a stronger tone, or give the picture more contrast.",
    )


def blank_checks(work: MarkWork, piece: Piece) -> list[Check]:
    """Return findings on the blank's edges and holes."""
    survey = work.survey
    if survey.ink_box_mm is None:
        return [
            Check(
                level="stop",
                code="nothing-to-burn",
                mark_id=work.mark.id,
                text=f"{work.mark.art_label} has nothing to burn at {work.mark.size_mm[0]:g} × {work.mark.size_mm[1]:g}{NB}mm.",
                remedy="Draw it black on white, or make the mark larger.",
            )
        ]
    if not work.picture_W.any():
        return [_stays_bare(work)]
    outline = outline_on_bed(piece)
    margin = piece.blank.margin_mm
    whole = _Fit(survey, outline)
    off = whole.outside()
    if off.any():
        filled = _without_holes(outline)
        in_hole = not _Fit(survey, filled).outside().any()
        share = float(off.mean())
        what = "crosses a hole of the blank" if in_hole else "does not fit the blank"
        return [
            Check(
                level="stop",
                code="crosses-hole" if in_hole else "does-not-fit",
                mark_id=work.mark.id,
                text=f"The mark {what}: {100 * share:.1f}{NB}% of its ink lies {'over the hole' if in_hole else 'beyond the edge'}.",
                remedy=_fit_remedy(_Fit(survey, _polygons(inset(outline, margin_mm=margin)))),
            )
        ]
    inner = _Fit(survey, _polygons(inset(outline, margin_mm=margin)))
    if inner.outside().any():
        return [
            Check(
                level="warn",
                code="margin-small",
                mark_id=work.mark.id,
                text=f"The mark comes nearer than {margin:g}{NB}mm to an edge of the blank.",
                remedy=_fit_remedy(inner),
            )
        ]
    return []


def _without_holes(outline: Polygon | MultiPolygon) -> Polygon | MultiPolygon:
    parts = outline.geoms if isinstance(outline, MultiPolygon) else (outline,)
    filled = [Polygon(p.exterior) for p in parts]
    return filled[0] if len(filled) == 1 else MultiPolygon(filled)


def _fit_remedy(fit: _Fit) -> str:
    """Return the smallest move, and the largest scale, at which all ink lies on the shape."""
    if fit.shape is None:
        return "The blank is too small for its margin; take another blank."
    offers: list[str] = []
    best: tuple[float, str] | None = None
    for dx, dy, words in ((1, 0, "to the right"), (-1, 0, "to the left"), (0, 1, "up"), (0, -1, "down")):
        for step in np.arange(FIT_STEP_mm, FIT_FAR_mm, FIT_STEP_mm):
            if best is not None and step >= best[0]:
                break
            if not fit.outside(dx_mm=dx * step, dy_mm=dy * step).any():
                best = (float(step), words)
                break
    if best is not None:
        offers.append(f"move it {best[0]:.1f}{NB}mm {best[1]} on the bed")
    for percent in range(99, 19, -1):
        if not fit.outside(scale=percent / 100.0).any():
            offers.append(f"draw it at {percent}{NB}% of its size")
            break
    if not offers:
        return "No small move and no smaller size helps; take another blank or another artwork."
    text = " or ".join(offers)
    return text[0].upper() + text[1:] + "."


def bed_checks(work: MarkWork, piece: Piece) -> list[Check]:
    """Return findings on the machine's travel: the ink itself, then its run-up."""
    machine, box = work.wish.machine, work.survey.ink_box_mm
    if box is None:
        return []
    if any(overhang_mm(box, bed_x_mm=machine.bed_x_mm, bed_y_mm=machine.bed_y_mm)):
        return [_off_bed_check(work, piece, box)]
    if "run-up" in work.found.gave_way:
        return [_run_up_check(work, piece)]
    moved, _ = boxes_mm(work.events)
    over = (0.0,) * 4 if moved is None else overhang_mm(moved, bed_x_mm=machine.bed_x_mm, bed_y_mm=machine.bed_y_mm)
    return [_over_edge_check(work, piece, over)] if max(over) > TOUCHES_mm else []


def _over_edge_check(work: MarkWork, piece: Piece, over: tuple[float, ...]) -> Check:
    """Say that the head goes over the edge after all: what is drawn finer than the survey reaches a little further."""
    dx, dy = over[0] - over[2], over[1] - over[3]
    inward = [math.copysign(math.ceil(abs(d) * 10.0) / 10.0, d) for d in (dx, dy)]
    place = (round(piece.place_bed_mm[0] + inward[0], 1), round(piece.place_bed_mm[1] + inward[1], 1))
    return Check(
        level="stop",
        code="run-up-does-not-fit",
        mark_id=work.mark.id,
        text=f"Run-up does not fit: the head would go {max(over):.2f}{NB}mm over the edge of the bed.",
        remedy=f"Lay the blank's lower left corner at x {place[0]:.1f}, y {place[1]:.1f}{NB}mm or further in.",
        fixes=(Fix(text="Move inward", price="same time", target="piece", change=(("place_bed_mm", place),)),),
    )


def _off_bed_check(work: MarkWork, piece: Piece, box: Box) -> Check:
    machine = work.wish.machine
    width, height = box[2] - box[0], box[3] - box[1]
    text = (
        f"The mark reaches x {box[0]:.1f} to {box[2]:.1f}, y {box[1]:.1f} to {box[3]:.1f}{NB}mm; the bed is "
        f"{machine.bed_x_mm:g} × {machine.bed_y_mm:g}{NB}mm."
    )
    if width > machine.bed_x_mm or height > machine.bed_y_mm:
        share = min(machine.bed_x_mm / width, machine.bed_y_mm / height)
        return Check(
            level="stop",
            code="larger-than-bed",
            mark_id=work.mark.id,
            text=text,
            remedy=f"Draw it at {100 * share:.0f}{NB}% at most, less what the run-up needs.",
        )
    place, fits = _onto_bed(work, piece, box)
    if not fits:
        text += " Moved onto it, its run-up does not fit yet: that is told next, with what helps."
    return Check(
        level="stop",
        code="outside-travel",
        mark_id=work.mark.id,
        text=text,
        remedy=f"Lay the blank's lower left corner at x {place[0]:.1f}, y {place[1]:.1f}{NB}mm or further in.",
        fixes=(Fix(text="Move onto the bed", price="", target="piece", change=(("place_bed_mm", place),)),),
    )


def _onto_bed(work: MarkWork, piece: Piece, box: Box) -> tuple[tuple[float, float], bool]:
    """Return where to lay a blank so that its mark lies on the bed, and whether some recipe's run-up then fits.

    Tried is as little as the ink asks, with the run-up along the scan axis, then as far in as the bed allows.

    Source
    ------
    Own choice: `search` says of each place whether a run-up gives way there.
    """
    machine = work.wish.machine
    beds = (machine.bed_x_mm, machine.bed_y_mm)
    along = AXES.index(work.recipe.scan_axis)
    clear = max(CLEAR_mm, work.survey.grid.pixel_mm)
    need = work.predicted.run_up_mm + clear
    leads = ([need if axis == along else clear for axis in range(2)], [need, need], [math.inf, math.inf])
    for lead in leads:
        dx, dy = (_inward_mm(box[i], box[i + 2], bed_mm=beds[i], lead_mm=lead[i]) for i in range(2))
        moved = (box[0] + dx, box[1] + dy, box[2] + dx, box[3] + dy)
        room = {a: room_mm(moved, axis=a, bed_x_mm=machine.bed_x_mm, bed_y_mm=machine.bed_y_mm) for a in AXES}
        place = (round(piece.place_bed_mm[0] + dx, 3), round(piece.place_bed_mm[1] + dy, 3))
        if work.followed is not None or "run-up" not in search(replace(work.wish, room_mm=room)).gave_way:
            return place, True
    return place, False


def _inward_mm(low_mm: float, high_mm: float, *, bed_mm: float, lead_mm: float) -> float:
    """Return how far to move a span so that it has a lead before and after it, half of what is free where that is less. [mm]"""
    lead = min(lead_mm, 0.5 * (bed_mm - (high_mm - low_mm)))
    if low_mm < lead:
        return min(math.ceil((lead - low_mm) * 10.0 - 1e-6) / 10.0, bed_mm - high_mm)
    return max(-math.ceil((high_mm - bed_mm + lead) * 10.0 - 1e-6) / 10.0, -low_mm) if high_mm > bed_mm - lead else 0.0


def _price(seconds: float) -> str:
    if abs(seconds) < 0.5:
        return "same time"
    return f"{'+' if seconds > 0 else '−'}{NB}{duration_text(abs(seconds))}"


def _run_up_check(work: MarkWork, piece: Piece) -> Check:
    recipe, wish = work.recipe, work.wish
    axis = recipe.scan_axis
    need = work.predicted.run_up_mm
    room = wish.room_mm[axis]
    side = 0 if room[0] <= room[1] else 1
    text = (
        f"Run-up does not fit: {recipe.speed_mm_per_s:.0f}{NB}mm/s needs {need:.1f}{NB}mm {_side(axis, side)}, "
        f"and there are {max(room[side], 0.0):.1f}{NB}mm."
    )
    fixes = [
        f for f in (_move_fix(work, piece), _slow_fix(work), _axis_fix(work), _turn_fix(work, piece)) if f is not None
    ]
    remedy = "; ".join(f"{f.text}{f' ({f.price})' if f.price else ''}" for f in fixes)
    return Check(
        level="stop",
        code="run-up-does-not-fit",
        mark_id=work.mark.id,
        text=text,
        remedy=(remedy + ".") if remedy else "Nothing small helps: make the mark smaller or use another bench.",
        fixes=tuple(fixes),
    )


def _side(axis: Axis, side: int) -> str:
    return {"left": "on the left", "right": "on the right", "below": "below", "above": "above"}[SIDES[axis][side]]


def _move_fix(work: MarkWork, piece: Piece) -> Fix | None:
    """Move the blank just far enough, if the other side then still has room."""
    wish, axis, need = work.wish, work.recipe.scan_axis, work.predicted.run_up_mm
    before, after = wish.room_mm[axis]
    short = (need - before, need - after)
    if short[0] > 0.0 and short[1] > 0.0:
        return None
    side = 0 if short[0] > 0.0 else 1
    move = float(np.ceil(short[side] * 10.0 - 1e-6) / 10.0)
    if (after if side == 0 else before) - move < need:
        return None
    signed = move if side == 0 else -move
    place = (
        (round(piece.place_bed_mm[0] + signed, 3), piece.place_bed_mm[1])
        if axis == "x"
        else (piece.place_bed_mm[0], round(piece.place_bed_mm[1] + signed, 3))
    )
    return Fix(
        text=f"Move {move:.1f}{NB}mm {WAYS[axis][side]}",
        price="same time",
        target="piece",
        change=(("place_bed_mm", place),),
    )


def _meets(wish: Wish, *, held: dict[str, float | str | int | None]) -> tuple[float, float, float] | None:
    """Return speed, power and time of the recipe with held settings changed, if it can be burnt."""
    changed = replace(wish, hold=replace(wish.hold, **held))  # type: ignore[arg-type]  # keys are Hold's own
    found = search(changed)
    if {"run-up", "power", "tone"} & set(found.gave_way):
        return None
    return found.speed_mm_per_s, found.power_W, found.time_s


def _slow_fix(work: MarkWork) -> Fix | None:
    wish, axis = work.wish, work.recipe.scan_axis
    limit = float(np.floor(speed_limit_mm_per_s(wish.machine, axis=axis, room_mm=min(wish.room_mm[axis]))))
    if limit < 1.0:
        return None
    answer = _meets(wish, held={"speed_mm_per_s": limit, "scan_axis": axis, "power_W": None})
    if answer is None:
        return None
    _, power, time_s = answer
    least_W, _ = power_window_W(wish.machine)
    if power < least_W:
        return None
    return Fix(
        text=f"slow to {limit:.0f}{NB}mm/s at {power:.1f}{NB}W",
        price=_price(time_s - work.found.time_s),
        target=work.mark.id,
        change=(("hold.speed_mm_per_s", limit),),
    )


def _axis_fix(work: MarkWork) -> Fix | None:
    wish = work.wish
    other: Axis = "y" if work.recipe.scan_axis == "x" else "x"
    answer = _meets(wish, held={"scan_axis": other})
    if answer is None:
        return None
    return Fix(
        text=f"scan along {other}",
        price=_price(answer[2] - work.found.time_s),
        target=work.mark.id,
        change=(("hold.scan_axis", other),),
    )


def _turn_fix(work: MarkWork, piece: Piece) -> Fix | None:
    """Turn the piece by a quarter where it lies, if its box then still fits the bed with room for the run-up."""
    wish, machine = work.wish, work.wish.machine
    turned = replace(piece, turn_deg=(piece.turn_deg + 90.0) % 360.0)
    box = mark_on_bed(turned, place_mm=work.mark.place_mm, size_mm=work.mark.size_mm).bounds
    if box[0] < 0.0 or box[1] < 0.0 or box[2] > machine.bed_x_mm or box[3] > machine.bed_y_mm:
        return None
    rooms = {a: room_mm(box, axis=a, bed_x_mm=machine.bed_x_mm, bed_y_mm=machine.bed_y_mm) for a in AXES}
    profiles = {"x": wish.profiles["y"], "y": wish.profiles["x"]}
    swapped = replace(wish, room_mm=rooms, profiles={a: replace(profiles[a], axis=a) for a in AXES})
    answer = _meets(swapped, held={})
    if answer is None:
        return None
    return Fix(
        text="turn the piece by 90°",
        price=_price(answer[2] - work.found.time_s),
        target="piece",
        change=(("turn_deg", turned.turn_deg),),
    )
