"""A planned batch on the terminal."""

from __future__ import annotations

import shutil
import sys
import textwrap

from evenburn.core.nouns.cautions import cautions_for
from evenburn.core.nouns.check import Check
from evenburn.core.nouns.plan import BatchPlan, MarkPlan, PiecePlan
from evenburn.core.planning.set_ups import batch_change_overs, batch_time_s
from evenburn.core.planning.telling import banding_text, is_held, is_over_least, over_least_text, reasons_of
from evenburn.core.units import S_PER_MIN, duration_text, lines_per_inch
from evenburn.services.plan_batch import Planned

WIDEST = 100
REASONS = 2  # the dearest; of a short mark one, with --reasons all
LONG_s = 60.0  # a choice is offered unasked where there is a minute or more to choose about: own choice


def _width() -> int:
    return min(WIDEST, shutil.get_terminal_size((WIDEST, 24)).columns)


def _wrapped(text: str, *, lead: str, indent: int) -> str:
    return textwrap.fill(
        text,
        width=max(_width(), 40),
        initial_indent=lead,
        subsequent_indent=" " * indent,
        break_on_hyphens=False,
        break_long_words=False,
    )


def _say(text: str = "") -> None:
    encoding = sys.stdout.encoding or "utf-8"
    print(text.encode(encoding, "replace").decode(encoding))


def _power(mark: MarkPlan) -> str:
    recipe = mark.recipe
    low = f"{recipe.power_low_W:.1f}–" if recipe.power_low_W is not None else ""
    return f"{low}{recipe.power_W:.1f} W"


def _row(mark: MarkPlan) -> str:
    recipe, predicted = mark.recipe, mark.predicted
    time = duration_text(predicted.time_s) if mark.program_file else "no program"
    passes = f", {recipe.passes} passes" if recipe.passes > 1 else ""
    way = (
        f"{recipe.line_spacing_mm:.2f} mm ({lines_per_inch(recipe.line_spacing_mm):.0f} LPI)  "
        f"{recipe.focus_offset_mm:+.1f} mm  along {recipe.scan_axis}"
        if recipe.way == "scan"
        else f"{recipe.line_spacing_mm:.2f} mm {'kerf' if recipe.way == 'cut' else 'line'}  "
        f"{recipe.focus_offset_mm:+.1f} mm  along the outlines"
    )
    return (
        f"{mark.mark.id:<8} {_power(mark):>13}  {recipe.speed_mm_per_s:>4.4g} mm/s  {way}  "
        f"L* {predicted.tone_L:.0f} ± {predicted.tone_L_sd:.0f}  {time}{passes}"
    )


def _check(check: Check) -> str:
    place = f"{check.mark_id}: " if check.mark_id else ""
    text = f"{place}{check.text} {check.remedy}"
    return _wrapped(text, lead=f"     {check.level:<5}", indent=10)


def _why(mark: MarkPlan, told: set[str], *, in_full: bool) -> None:
    """Say what gave way, what holds the recipe and how near its time is to the least, nothing twice in a piece."""
    predicted = mark.predicted
    least_s, most = predicted.time_lower_bound_s, REASONS if predicted.time_s >= LONG_s else 1
    gave = [one.text for one in mark.gave_way if mark.program_file is not None or in_full]  # a stop's check says more
    held = reasons_of(mark, most=len(mark.binding) if in_full else most) if in_full or is_held(mark) else ()
    said = [text for text in (*gave, *held) if text not in told]
    told.update(said)
    burnt_in_lines = mark.program_file is not None and mark.recipe.way == "scan"
    if burnt_in_lines and (
        in_full or (predicted.time_s >= LONG_s and is_over_least(predicted.time_s, least_s=least_s))
    ):
        said.append(f"Its time is {over_least_text(predicted.time_s, least_s=least_s)}.")
    if in_full:
        said += [offer.text for offer in mark.other_lenses]
    for text in said if in_full else [" ".join(said)] if said else []:
        _say(_wrapped(text, lead="       ", indent=9 if in_full else 7))


def _choice(mark: MarkPlan, told: set[str], *, in_full: bool) -> None:
    """Say what else may be chosen, a line for each: name, time, finest stroke, banding; in full how it differs."""
    others = [one for one in mark.choice if in_full or not one.recommended]
    key = repr(mark.choice)
    if len(mark.choice) < 2 or mark.program_file is None or key in told:
        return
    if not in_full and mark.predicted.time_s < LONG_s:
        return
    told.add(key)
    names = max(len(one.name) for one in others)
    times = max(len(duration_text(one.time_s)) for one in others)
    for place, one in enumerate(others):
        lead = "       or " if place == 0 and not in_full else "          "
        head = f"{lead}{one.name:<{names}}  {duration_text(one.time_s):>{times}}  "
        if in_full:
            _say(_wrapped(one.text, lead=head, indent=len(head)))
        else:
            _say(f"{head}stroke {one.detail_mm:.2f} mm  banding {banding_text(one)}")


def _live(piece: PiecePlan) -> MarkPlan | None:
    """Return the first mark of a piece that is burnt."""
    return next((mark for mark in piece.marks if mark.program_file is not None), None)


def _focus(piece: PiecePlan, mark: MarkPlan | None, *, apart: bool = False) -> None:
    """Say the stand-off where it is set for a mark, after an empty line where it stands `apart`."""
    for one in piece.set_ups:
        if mark is not None and one.mark_id == mark.mark.id:
            if apart:
                _say()
            _say(f"     Focus: blank {one.thickness_mm:g} mm thick, stand-off {one.stand_off_mm:.1f} mm")


def _piece(piece: PiecePlan, *, in_full: bool) -> None:
    blank = piece.piece.blank
    size = f"{blank.size_mm[0]:g} × {blank.size_mm[1]:g} × {blank.thickness_mm:g} mm"
    _say(f"{piece.start_order:>3}  {piece.piece.name}: {piece.wood.label}, {size}")
    told: set[str] = set()
    live = _live(piece)
    for mark in () if piece.forbidden() else piece.marks:  # no setting of what must not be burnt is told
        if mark is not live:
            _focus(piece, mark)
        _say(f"     {_row(mark)}")
        if mark.reproduction_why:
            _say(_wrapped(mark.reproduction_why, lead="       ", indent=7))
        _why(mark, told, in_full=in_full)
        _choice(mark, told, in_full=in_full)
    for check in piece.checks:
        if check.level != "note" and check.code != "starting-value-curve":  # that one is told once, at the end
            _say(_check(check))


def _lenses(plan: BatchPlan) -> None:
    """Say what spot and what depth of focus every lens of the machine has."""
    for facts in plan.lens_facts:
        use = ", in use" if facts.in_use else ""
        _say(
            f"lens {facts.name}{use}: spot {facts.spot_diameter_mm:.2f} mm, {100.0 * facts.growth:.0f} % wider "
            f"±{facts.depth_mm:.1f} mm off its focus"
        )


def _from_start_to_end(plan: BatchPlan) -> str:
    """Return how long the batch takes with its change-overs, and what they are reckoned with."""
    count, change_over_s = batch_change_overs(plan), plan.day.change_over_s
    return (
        f"From start to end {duration_text(batch_time_s(plan))}, with {count} change-over{'' if count == 1 else 's'} of "
        f"{change_over_s / S_PER_MIN:g} min each to bring a blank in and focus it: a starting value."
    )


def _runs(plan: BatchPlan) -> None:
    """Say which marks may be burnt together, and what it saves."""
    for place, run in enumerate(plan.runs):
        pieces: dict[str, list[str]] = {}
        for piece_id, mark_id in run.marks:
            pieces.setdefault(piece_id, []).append(mark_id)
        marks = "; ".join(f"{piece_id} {', '.join(ids)}" for piece_id, ids in pieces.items())
        if place == 0:
            _say("In one run instead of one after another:")
        text = f"{marks}: {duration_text(run.time_s)}, saves {duration_text(run.saved_s)}"
        _say(_wrapped(text, lead=f"     {run.file}  ", indent=7 + len(run.file)))


def show_planned(planned: Planned, *, as_json: bool, in_full: bool = False) -> None:
    """Print the pieces in order with recipe, reasons, choice and what to look at; then totals and where the files are.

    Parameters
    ----------
    in_full : every reason and every choice of every mark, in words.
    """
    if as_json:
        sys.stdout.write((planned.folder / "plan.json").read_text(encoding="utf-8"))
        return
    plan = planned.plan
    _say(f"{plan.name}{f', {plan.subtitle}' if plan.subtitle else ''}")
    _say(f"{plan.machine.name}, lens {plan.lens.name}, planned {plan.date}")
    if in_full:
        _lenses(plan)
    for piece in plan.pieces:
        _focus(piece, _live(piece), apart=True)
        _piece(piece, in_full=in_full)
    stops = sum(c.level == "stop" for p in plan.pieces for c in p.checks)
    warns = sum(c.level == "warn" and c.code != "starting-value-curve" for p in plan.pieces for c in p.checks)
    programs = sum(m.program_file is not None for p in plan.pieces for m in p.marks)
    _say()
    for caution in cautions_for(decision="plan") if programs else ():
        _say(_wrapped(caution.text, lead="", indent=0))
    _say()
    _say(f"{programs} programs, {duration_text(plan.total_time_s())} of burning; {stops} stop, {warns} warn")
    if programs:
        _say(_wrapped(_from_start_to_end(plan), lead="", indent=0))
    _runs(plan)
    for piece in plan.pieces:
        if piece.stopped():
            ways = "" if piece.forbidden() else " as planned; the ways out stand beside it above"
            _say(f"stop: {piece.piece.name} must not be burnt{ways}")
    if programs and any(p.wood.curve.provenance.kind == "starting value" for p in plan.pieces):
        _say(
            _wrapped(
                "Tones rest on starting values from memory, so they are only known to the ± shown. Try each recipe on "
                "the back of its blank or on an offcut first.",
                lead="",
                indent=0,
            )
        )
    if not in_full:
        words = "Every reason, and every recipe to choose from: on the run sheet, in plan.json, or with --reasons."
        _say(_wrapped(words, lead="", indent=0))
    _say(f"run sheet ({planned.run_sheet_pages} pages), proofs and programs: {planned.folder}")
