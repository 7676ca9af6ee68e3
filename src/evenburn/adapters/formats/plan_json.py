"""plan.json: everything a plan says, versioned, with a published JSON Schema."""

from __future__ import annotations

import json
import math
from dataclasses import asdict
from typing import Any

from evenburn.adapters.formats import plan_origins as origins
from evenburn.adapters.formats.plan_form import Box, MachineDocument, PlanDocument
from evenburn.adapters.formats.plan_origins import MarkOrigins, Origin
from evenburn.core.nouns.check import Check
from evenburn.core.nouns.confirmation import Confirmation
from evenburn.core.nouns.plan import (
    BatchPlan,
    FocusTolerance,
    Forgotten,
    LensFacts,
    LensOffer,
    MarkPlan,
    PiecePlan,
    SetUp,
    SharedRun,
)
from evenburn.core.nouns.provenance import Provenance
from evenburn.core.nouns.recipe import Alternative, Binding, Concession, Recipe
from evenburn.core.units import lines_per_inch

DECIMALS = 6


def _origin(origin: Provenance) -> dict[str, str]:
    return {"kind": origin.kind, "detail": origin.detail}


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, DECIMALS) + 0.0
    if isinstance(value, dict):
        return {key: _rounded(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_rounded(item) for item in value]
    return value


def _plain(text: str) -> str:
    """Return a sentence with plain blanks, as it is searched for."""
    return text.replace("\u00a0", " ")


def _keys(noun: Binding | Concession | LensFacts | LensOffer | FocusTolerance | Forgotten) -> dict[str, Any]:
    """Return a noun whose keys are those of its document, its sentences with plain blanks."""
    return {key: _plain(value) if isinstance(value, str) else value for key, value in asdict(noun).items()}


def _over_bound(time_s: float, bound_s: float) -> float | None:
    return time_s / bound_s if bound_s > 0.0 else None


def _traced(
    noun: Binding | LensFacts | LensOffer | FocusTolerance | Forgotten, rests_on: Origin, **keys: Origin
) -> dict[str, Any]:
    """Return the keys of a noun with where they come from."""
    return {"provenance": rests_on, "provenance_of": keys, **_keys(noun)}


def _forgotten(seen: Forgotten, rests_on: Origin) -> dict[str, Any]:
    """Return what it would be to forget a setting; a followed outline has no finest stroke."""
    keys = _traced(seen, rests_on)
    details = {key: keys[key] if math.isfinite(keys[key]) else None for key in ("detail_mm", "planned_detail_mm")}
    return keys | details


def _set_up(one: SetUp, mark: MarkOrigins) -> dict[str, Any]:
    rests_on = mark.predicted()
    return {
        "provenance": mark.recipe(),
        "provenance_of": {"thickness_mm": origins.of_piece()},
        "mark": one.mark_id,
        "thickness_mm": one.thickness_mm,
        "stand_off_mm": one.stand_off_mm,
        "bed_down_mm": one.bed_down_mm,
        "tolerance": None if one.tolerance is None else _traced(one.tolerance, rests_on),
        "forgotten": None if one.forgotten is None else _forgotten(one.forgotten, rests_on),
    }


def _run(run: SharedRun, plan: BatchPlan) -> dict[str, Any]:
    return {
        "provenance": origins.of_times(plan.machine),
        "provenance_of": {},
        "file": run.file,
        "marks": [{"piece": piece, "mark": mark} for piece, mark in run.marks],
        "time_s": run.time_s,
        "saved_s": run.saved_s,
        "time_lower_bound_s": run.time_lower_bound_s,
        "time_over_bound": _over_bound(run.time_s, run.time_lower_bound_s),
    }


def _recipe(recipe: Recipe, mark: MarkOrigins) -> dict[str, Any]:
    return {
        "power_W": recipe.power_W,
        "power_fraction": recipe.power_fraction,
        "speed_mm_per_s": recipe.speed_mm_per_s,
        "line_spacing_mm": recipe.line_spacing_mm,
        "lines_per_inch": lines_per_inch(recipe.line_spacing_mm),
        "focus_offset_mm": recipe.focus_offset_mm,
        "stand_off_mm": recipe.stand_off_mm,
        "passes": recipe.passes,
        "scan_axis": recipe.scan_axis,
        "direction": recipe.direction,
        "air_kPa": recipe.air_kPa,
        "power_low_W": recipe.power_low_W,
        "power_low_fraction": recipe.power_low_fraction,
        "provenance": mark.recipe(),
        "provenance_of": mark.recipe_keys(),
    }


def _alternative(one: Alternative, mark: MarkOrigins) -> dict[str, Any]:
    return {
        "provenance": mark.predicted(),
        "provenance_of": {"time_s": mark.predicted_keys()["time_s"]},
        "name": one.name,
        "recommended": one.recommended,
        "recipe": _recipe(one.recipe, mark),
        "time_s": one.time_s,
        "ripple_L": one.ripple_L,
        "detail_mm": one.detail_mm,
        "text": _plain(one.text),
    }


def _check(check: Check, marks: dict[str, MarkOrigins]) -> dict[str, Any]:
    owner = marks.get(check.mark_id) or next(iter(marks.values()), None)
    rests_on = origins.of_piece() if owner is None else owner.predicted()
    return {
        "level": check.level,
        "code": check.code,
        "mark": check.mark_id or None,
        "text": _plain(check.text),
        "remedy": _plain(check.remedy),
        "fixes": [
            {
                "provenance": rests_on,
                "provenance_of": {},
                "text": _plain(fix.text),
                "price": _plain(fix.price),
                "target": fix.target,
                "change": dict(fix.change),
            }
            for fix in check.fixes
        ],
    }


def _mark(planned: MarkPlan, origin: MarkOrigins) -> dict[str, Any]:
    predicted = planned.predicted
    return {
        "provenance": origins.of_piece(),
        "provenance_of": origin.mark_keys(),
        "id": planned.mark.id,
        "treatment": planned.mark.treatment,
        "artwork": planned.mark.art_label,
        "wished_tone_L": predicted.tone_L if planned.mark.treatment == "cut" else planned.mark.tone_L,
        "reproduction": planned.reproduction,
        "reproduction_why": _plain(planned.reproduction_why),
        "box_bed_mm": planned.box_bed_mm,
        "narrowest_stroke_mm": planned.stroke_mm,
        "narrowest_gap_mm": planned.gap_mm,
        "recipe": _recipe(planned.recipe, origin),
        "predicted": {
            "tone_L": predicted.tone_L,
            "tone_L_sd": predicted.tone_L_sd,
            "ripple_L": predicted.ripple_L,
            "ripple_limit_L": predicted.ripple_limit_L,
            "detail_mm": predicted.detail_mm,
            "dose_J_per_mm2": predicted.dose_J_per_mm2,
            "dwell_ms": predicted.dwell_ms,
            "beam_radius_mm": predicted.beam_radius_mm,
            "run_up_mm": predicted.run_up_mm,
            "time_s": predicted.time_s,
            "time_lower_bound_s": predicted.time_lower_bound_s,
            "time_over_bound": _over_bound(predicted.time_s, predicted.time_lower_bound_s),
            "provenance": origin.predicted(),
            "provenance_of": origin.predicted_keys(),
        },
        "binding": [_traced(one, origin.predicted_keys()["time_s"]) for one in planned.binding],
        "gave_way": [_keys(one) | origin.gave_way(one) for one in planned.gave_way],
        "alternatives": [_alternative(one, origin) for one in planned.choice],
        "focus_tolerance": None if planned.tolerance is None else _traced(planned.tolerance, origin.predicted()),
        "other_lenses": [
            _traced(
                one, origin.predicted(), **{key: origin.predicted_keys()["time_s"] for key in ("time_s", "saves_s")}
            )
            for one in planned.other_lenses
        ],
        "islands": planned.islands,
        "files": {
            "program": planned.program_file,
            "trace": planned.trace_file,
            "image": planned.image_file,
            "drawing": planned.drawing_file,
            "proof": planned.proof_file,
        },
    }


def _confirmation(one: Confirmation | None) -> dict[str, str | None] | None:
    return None if one is None else {"by": one.by, "on": one.on or None}


def _piece(piece: PiecePlan, plan: BatchPlan, *, box_mm: Box) -> dict[str, Any]:
    marks = {m.mark.id: MarkOrigins(plan, piece, m) for m in piece.marks}
    return {
        "provenance": origins.of_piece(),
        "provenance_of": origins.of_piece_keys(),
        "id": piece.piece.id,
        "name": piece.piece.name,
        "wood": piece.wood.id,
        "start_order": piece.start_order,
        "thickness_mm": piece.piece.blank.thickness_mm,
        "unevenness_mm": piece.piece.blank.unevenness_mm,
        "outline_box_bed_mm": box_mm,
        "turn_deg": piece.piece.turn_deg,
        "curve": _origin(piece.wood.curve.provenance),
        "marks": [_mark(m, marks[m.mark.id]) for m in piece.marks],
        "set_ups": [_set_up(one, marks[one.mark_id]) for one in piece.set_ups],
        "checks": [_check(c, marks) for c in piece.checks],
        "confirmation": _confirmation(piece.confirmation),
    }


def plan_document(
    plan: BatchPlan, *, waist_radius_mm: float, rayleigh_length_mm: float, boxes: dict[str, Box], run_sheet: str
) -> PlanDocument:
    """Return the document of a plan.

    Parameters
    ----------
    waist_radius_mm, rayleigh_length_mm : of the beam behind the lens. [mm]
    boxes : piece id → box of its blank on the bed. [mm]
    """
    machine, lens = plan.machine, plan.lens
    by_name = {one.name: one for one in machine.lenses}
    data = {
        "provenance": origins.of_times(machine),
        "provenance_of": {},
        "schema_version": 1,
        "name": plan.name,
        "subtitle": plan.subtitle,
        "planned_on": plan.date,
        "machine": {
            **{key: getattr(machine, key) for key in MachineDocument.model_fields if key != "provenance"},
            "provenance": _origin(machine.provenance),
        },
        "lens": {
            "name": lens.name,
            "focal_length_mm": lens.focal_length_mm,
            "beam_diameter_mm": lens.beam_diameter_mm,
            "beam_quality_m2": lens.beam_quality_m2,
            "wavelength_um": lens.wavelength_um,
            "focus_stand_off_mm": lens.focus_stand_off_mm,
            "waist_radius_mm": waist_radius_mm,
            "rayleigh_length_mm": rayleigh_length_mm,
            "provenance": origins.of_lens(lens, machine),
            "provenance_of": origins.of_lens_keys(machine),
        },
        "lenses": [
            _traced(
                facts, origins.of_lens(by_name.get(facts.name, lens), machine), **origins.of_lens_facts_keys(machine)
            )
            for facts in plan.lens_facts
        ],
        "total_time_s": plan.total_time_s(),
        "run_sheet": run_sheet,
        "pieces": [_piece(p, plan, box_mm=boxes[p.piece.id]) for p in plan.pieces],
        "runs": [_run(run, plan) for run in plan.runs],
    }
    return PlanDocument.model_validate(_rounded(data))


def plan_text(document: PlanDocument) -> str:
    """Return plan.json as it is written: UTF-8, two spaces, keys in the order of the schema, one newline at the end."""
    return json.dumps(document.model_dump(mode="json"), ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def plan_schema() -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of plan.json."""
    schema = PlanDocument.model_json_schema(mode="serialization")  # what is written: every key is there
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "evenburn plan", **schema}
