"""What can be done for a spoilt piece, for people and as JSON."""

from __future__ import annotations

import json
import shutil
import sys
import textwrap
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from evenburn.core.nouns.cautions import cautions_for
from evenburn.core.planning.rescue.advice import Advice, range_text
from evenburn.core.planning.rescue.burn_depth import is_stone
from evenburn.core.units import duration_text

if TYPE_CHECKING:
    from evenburn.core.nouns.wood import Wood
    from evenburn.services.rescue import CoverReport, MarkRescue, Rerun, Rescued

WIDEST = 100
INDENT = 5


def show_rescue(rescued: Rescued, *, as_json: bool) -> None:
    """Print depth and sanding of each mark, then the cover and the re-run where they were asked for."""
    if as_json:
        sys.stdout.write(json.dumps(_document(rescued), ensure_ascii=False, indent=2, allow_nan=False) + "\n")
        return
    _say(f"{rescued.batch_name}: {rescued.piece.name}, {rescued.wood.name}")
    told: set[str] = set()
    for one in rescued.marks:
        _mark(one, rescued.wood, thickness_mm=rescued.piece.blank.thickness_mm, told=told)
    if rescued.cover is not None:
        _cover(rescued.cover)
    if rescued.rerun is not None:
        _rerun(rescued.rerun)
    _cautions(rescued)
    if rescued.cover is None and rescued.rerun is None:
        _say()
        _tell(
            "Next: --grow-mm, --tone or --cover MARK says whether a new design covers it; two --point X,Y=X,Y say where "
            "the blank lies now, and --to DIR plans the re-run there.",
            indent=0,
        )


def _mark(one: MarkRescue, wood: Wood, *, thickness_mm: float, told: set[str]) -> None:
    burnt, depth, sanding = one.burnt, one.depth, one.sanding
    recipe = burnt.recipe
    _say()
    _say(f"{one.mark.id}: how deep")
    kind = "J/mm² on the line" if recipe.way != "scan" else "J/mm²"
    chars = "melts" if is_stone(wood) else "chars"
    passes = f", {recipe.passes} passes" if recipe.passes > 1 else ""
    _tell(
        f"Burnt with {recipe.power_W:.1f} W at {recipe.speed_mm_per_s:g} mm/s, focus {recipe.focus_offset_mm:+.1f} mm"
        f"{passes}: {burnt.dose_J_per_mm2:.2f} {kind} (it {chars} from {depth.char_dose_J_per_mm2:.2f}), "
        f"tone L* {one.tone_L:.0f}."
    )
    brown = range_text(depth.browned_low_mm, depth.browned_high_mm)
    if depth.gauge_mm is not None:
        _tell(f"{depth.gauge_mm:g} mm gone, as you measured; browned below by {brown}.")
    elif depth.gone_high_mm is None:
        _tell(
            f"Browned or changed by heat: {brown}. What is gone is not known for this material, no energy balance is: "
            "feel it with a depth gauge and say --depth-mm."
        )
    else:
        energy = f"{wood.cut_J_per_mm3:.1f} J/mm³ ± {100.0 * wood.cut_sd_share:.0f} %"
        _tell(
            f"Gone: {range_text(depth.gone_low_mm, depth.gone_high_mm)}, by energy balance with {energy}; browned below by "
            f"{brown}. "
            f"In all {range_text(depth.low_mm, depth.high_mm)}. A depth gauge knows better: --depth-mm."
        )
    _say(f"{one.mark.id}: sanding it out")
    face = "" if sanding.veneer_mm is None else f", face veneer {sanding.veneer_mm:g} mm"
    if sanding.low_mm < thickness_mm:
        left = (
            f"{sanding.left_mm:.1f} mm of the thickness stay at least" if sanding.left_mm > 0.0 else "it may go through"
        )
        strokes = (
            "With wet abrasive, never dry"
            if sanding.strokes is None
            else f"By hand with 120 grit {sanding.strokes[0]} to {sanding.strokes[1]} strokes, then 180 and 220"
        )
        _tell(
            f"Take off {range_text(sanding.low_mm, sanding.high_mm)}; {left}{face}. {strokes} (common practice, no source): "
            "stop and look often."
        )
    _advise(a for a in sanding.advice if a.text not in told)
    told.update(a.text for a in sanding.advice)


def _cover(report: CoverReport) -> None:
    new, cover = report.new, report.cover
    _say()
    _say(f"Burning {report.label} over it, L* {new.mark.tone_L:g}")
    x, y = new.mark.place_mm
    width, height = new.mark.size_mm
    _tell(f"At {x:g}, {y:g} mm of the blank, {width:g} × {height:g} mm.")
    _advise(report.advice)
    _tell("It covers the burn." if cover.hides() else "It does not cover the burn.")


def _rerun(rerun: Rerun) -> None:
    registration, piece = rerun.registration, rerun.piece
    _say()
    _say("Where it lies now")
    x, y = piece.place_bed_mm
    _tell(f"place_bed_mm = [{x:.3f}, {y:.3f}], turn_deg = {piece.turn_deg:.4f}")
    residual = ", ".join(f"{r:.2f}" for r in registration.residual_mm)
    _tell(
        f"{registration.points} points, left over {residual} mm; found {registration.stretch_mm:+.2f} mm further apart than "
        f"drawn, each measured to ± {registration.measured_to_mm:g} mm."
    )
    miss = "; ".join(f"{mark_id} {error:.2f} mm" for mark_id, error in rerun.errors_mm.items())
    _tell(f"To be expected at the far corner, one standard deviation: {miss}. The points' fit does not tell it.")
    _advise(rerun.advice)
    if rerun.planned is None:
        _tell("Nothing was written: name a folder with --to to plan the re-run there.")
        return
    plan = rerun.planned.plan.pieces[0]
    for check in plan.checks:
        if check.level != "note" and check.code != "starting-value-curve":
            lead = f"{check.mark_id}: " if check.mark_id else ""
            _advise([Advice(level=check.level, text=f"{lead}{check.text} {check.remedy}")])
    for mark in plan.marks:
        what = duration_text(mark.predicted.time_s) if mark.program_file else "no program"
        _tell(f"{mark.mark.id}: {mark.program_file or 'stopped'}, {what}, settings as planned before")
    _say(f"run sheet, proof and programs: {rerun.planned.folder}")


def _cautions(rescued: Rescued) -> None:
    """Print what to mind, where something is to be burnt over a burn."""
    minded = _minded(rescued)
    if minded:
        _say()
        _say("Before burning over a burn")
    for text in minded:
        _tell(text)


def _minded(rescued: Rescued) -> tuple[str, ...]:
    if rescued.cover is None and rescued.rerun is None:
        return ()
    return tuple(one.text for one in cautions_for(decision="rescue"))


def _advise(advice: Iterable[Advice]) -> None:
    for one in advice:
        lead = f"{' ' * INDENT}{one.level:<5}"
        _say(_wrapped(one.text, lead=lead, indent=len(lead)))


def _tell(text: str, *, indent: int = INDENT) -> None:
    _say(_wrapped(text, lead=" " * indent, indent=indent))


def _wrapped(text: str, *, lead: str, indent: int) -> str:
    width = max(min(WIDEST, shutil.get_terminal_size((WIDEST, 24)).columns), 40)
    return textwrap.fill(
        text,
        width=width,
        initial_indent=lead,
        subsequent_indent=" " * indent,
        break_on_hyphens=False,
        break_long_words=False,
    )


def _say(text: str = "") -> None:
    encoding = sys.stdout.encoding or "utf-8"
    print(text.encode(encoding, "replace").decode(encoding))


# ---- JSON ------------------------------------------------------------------------------------------------------------


def _document(rescued: Rescued) -> dict[str, Any]:
    return {
        "batch": rescued.batch_name,
        "piece": rescued.piece.id,
        "wood": rescued.wood.id,
        "marks": [_mark_document(one) for one in rescued.marks],
        "cover": None if rescued.cover is None else _cover_document(rescued.cover),
        "rerun": None if rescued.rerun is None else _rerun_document(rescued.rerun),
        "cautions": list(_minded(rescued)),
    }


def _advice_document(advice: Iterable[Advice]) -> list[dict[str, str]]:
    return [{"level": one.level, "text": one.text.replace("\u00a0", " ")} for one in advice]


def _mark_document(one: MarkRescue) -> dict[str, Any]:
    recipe, depth, sanding = one.burnt.recipe, one.depth, one.sanding
    return {
        "mark": one.mark.id,
        "power_W": recipe.power_W,
        "speed_mm_per_s": recipe.speed_mm_per_s,
        "line_spacing_mm": recipe.line_spacing_mm,
        "focus_offset_mm": recipe.focus_offset_mm,
        "passes": recipe.passes,
        "dose_J_per_mm2": one.burnt.dose_J_per_mm2,
        "char_dose_J_per_mm2": depth.char_dose_J_per_mm2,
        "chars": depth.chars,
        "tone_L": one.tone_L,
        "gone_mm": [depth.gone_low_mm, depth.gone_high_mm],
        "browned_mm": [depth.browned_low_mm, depth.browned_high_mm],
        "take_off_mm": [sanding.low_mm, sanding.high_mm],
        "left_mm": sanding.left_mm,
        "veneer_mm": sanding.veneer_mm,
        "neighbours": list(sanding.neighbours),
        "advice": _advice_document(sanding.advice),
    }


def _cover_document(report: CoverReport) -> dict[str, Any]:
    cover, mark = report.cover, report.new.mark
    return {
        "art": report.label,
        "place_mm": list(mark.place_mm),
        "size_mm": list(mark.size_mm),
        "tone_L": mark.tone_L,
        "covers": cover.hides(),
        "beside_share": cover.beside_share,
        "grow_mm": cover.grow_mm,
        "beside_mm": None if cover.beside_mm is None else list(cover.beside_mm),
        "through_L": cover.through_L,
        "through_mm": None if cover.through_mm is None else list(cover.through_mm),
        "char_share": cover.char_share,
        "over_char": cover.again.over_char,
        "hides_L": cover.again.hides_L,
        "advice": _advice_document(report.advice),
    }


def _rerun_document(rerun: Rerun) -> dict[str, Any]:
    registration = rerun.registration
    return {
        "place_bed_mm": list(rerun.piece.place_bed_mm),
        "turn_deg": rerun.piece.turn_deg,
        "residual_mm": list(registration.residual_mm),
        "rms_residual_mm": registration.rms_residual_mm,
        "stretch_mm": registration.stretch_mm,
        "measured_to_mm": registration.measured_to_mm,
        "error_mm": rerun.errors_mm,
        "advice": _advice_document(rerun.advice),
        "folder": None if rerun.planned is None else str(rerun.planned.folder),
        "files": [] if rerun.planned is None else list(rerun.planned.files),
    }
