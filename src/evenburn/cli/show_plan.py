"""A planned batch on the terminal."""

from __future__ import annotations

import shutil
import sys
import textwrap

from evenburn.core.nouns.check import Check
from evenburn.core.nouns.plan import MarkPlan, PiecePlan
from evenburn.core.units import duration_text, lines_per_inch
from evenburn.services.plan_batch import Planned

WIDEST = 100


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


def _piece(piece: PiecePlan) -> None:
    blank = piece.piece.blank
    size = f"{blank.size_mm[0]:g} × {blank.size_mm[1]:g} × {blank.thickness_mm:g} mm"
    _say(f"{piece.start_order:>3}  {piece.piece.name}: {piece.wood.name}, {size}")
    told: set[str] = set()
    for mark in piece.marks:
        _say(f"     {_row(mark)}")
        if mark.reproduction_why:
            _say(_wrapped(mark.reproduction_why, lead="       ", indent=7))
        for binding in mark.binding[:1]:  # the dearest; plan.json has them all
            if binding.constraint != "none" and binding.text not in told:
                told.add(binding.text)
                _say(_wrapped(binding.text, lead="       ", indent=7))
    for check in piece.checks:
        if check.level != "note" and check.code != "starting-value-curve":  # that one is told once, at the end
            _say(_check(check))


def show_planned(planned: Planned, *, as_json: bool) -> None:
    """Print the pieces in order with recipe, what binds and what to look at; then totals and where the files are."""
    if as_json:
        sys.stdout.write((planned.folder / "plan.json").read_text(encoding="utf-8"))
        return
    plan = planned.plan
    _say(f"{plan.name}{f', {plan.subtitle}' if plan.subtitle else ''}")
    _say(f"{plan.machine.name}, lens {plan.lens.name}, planned {plan.date}")
    focus: tuple[float, float] | None = None
    for piece in plan.pieces:
        here = (piece.piece.blank.thickness_mm, piece.marks[0].recipe.stand_off_mm)
        if here != focus:
            _say()
            _say(f"     Focus: blank {here[0]:g} mm thick, stand-off {here[1]:.1f} mm")
            focus = here
        _piece(piece)
    stops = sum(c.level == "stop" for p in plan.pieces for c in p.checks)
    warns = sum(c.level == "warn" and c.code != "starting-value-curve" for p in plan.pieces for c in p.checks)
    programs = sum(m.program_file is not None for p in plan.pieces for m in p.marks)
    _say()
    _say(f"{programs} programs, {duration_text(plan.total_time_s())} of burning; {stops} stop, {warns} warn")
    for piece in plan.pieces:
        if piece.stopped():
            _say(f"stop: {piece.piece.name} must not be burnt as planned; the ways out stand beside it above")
    if any(p.wood.curve.provenance.kind == "starting value" for p in plan.pieces):
        _say(
            _wrapped(
                "Tones rest on starting values from memory, so they are only known to the ± shown. Try each recipe on "
                "the back of its blank or on an offcut first.",
                lead="",
                indent=0,
            )
        )
    _say(
        _wrapped(
            "Never leave it burning alone; extraction on, extinguisher in reach, lid shut or eyes protected; no PVC. "
            "Local rules and the machine's maker have the last word.",
            lead="",
            indent=0,
        )
    )
    _say(f"run sheet ({planned.run_sheet_pages} pages), proofs and programs: {planned.folder}")
