"""plan.json: everything a plan says, versioned, with a published JSON Schema."""

from __future__ import annotations

import json
import math
from dataclasses import asdict
from typing import Any

from evenburn.adapters.formats.plan_form import Box, MachineDocument, PlanDocument
from evenburn.core.nouns.check import Check
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


def _forgotten(seen: Forgotten) -> dict[str, Any]:
    """Return what it would be to forget a setting; a followed outline has no finest stroke."""
    keys = _keys(seen)
    details = {key: keys[key] if math.isfinite(keys[key]) else None for key in ("detail_mm", "planned_detail_mm")}
    return keys | details


def _set_up(one: SetUp) -> dict[str, Any]:
    return {
        "mark": one.mark_id,
        "thickness_mm": one.thickness_mm,
        "stand_off_mm": one.stand_off_mm,
        "bed_down_mm": one.bed_down_mm,
        "tolerance": None if one.tolerance is None else _keys(one.tolerance),
        "forgotten": None if one.forgotten is None else _forgotten(one.forgotten),
    }


def _run(run: SharedRun) -> dict[str, Any]:
    return {
        "file": run.file,
        "marks": [{"piece": piece, "mark": mark} for piece, mark in run.marks],
        "time_s": run.time_s,
        "saved_s": run.saved_s,
        "time_lower_bound_s": run.time_lower_bound_s,
        "time_over_bound": _over_bound(run.time_s, run.time_lower_bound_s),
    }


def _recipe(recipe: Recipe, rests_on: Provenance) -> dict[str, Any]:
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
        "provenance": _origin(Provenance(kind=rests_on.kind, detail=f"computed from the curve: {rests_on.detail}")),
    }


def _alternative(one: Alternative, rests_on: Provenance) -> dict[str, Any]:
    return {
        "name": one.name,
        "recommended": one.recommended,
        "recipe": _recipe(one.recipe, rests_on),
        "time_s": one.time_s,
        "ripple_L": one.ripple_L,
        "detail_mm": one.detail_mm,
        "text": _plain(one.text),
    }


def _check(check: Check) -> dict[str, Any]:
    return {
        "level": check.level,
        "code": check.code,
        "mark": check.mark_id or None,
        "text": _plain(check.text),
        "remedy": _plain(check.remedy),
        "fixes": [
            {
                "text": _plain(fix.text),
                "price": _plain(fix.price),
                "target": fix.target,
                "change": dict(fix.change),
            }
            for fix in check.fixes
        ],
    }


def _mark(planned: MarkPlan, piece: PiecePlan) -> dict[str, Any]:
    recipe, predicted, curve = planned.recipe, planned.predicted, piece.wood.curve
    return {
        "id": planned.mark.id,
        "treatment": planned.mark.treatment,
        "artwork": planned.mark.art_label,
        "wished_tone_L": predicted.tone_L if planned.mark.treatment == "cut" else planned.mark.tone_L,
        "reproduction": planned.reproduction,
        "reproduction_why": _plain(planned.reproduction_why),
        "box_bed_mm": planned.box_bed_mm,
        "narrowest_stroke_mm": planned.stroke_mm,
        "narrowest_gap_mm": planned.gap_mm,
        "recipe": _recipe(recipe, curve.provenance),
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
            "provenance": _origin(
                Provenance(kind=curve.provenance.kind, detail="computed from curve, machine and lens")
            ),
        },
        "binding": [_keys(one) for one in planned.binding],
        "gave_way": [_keys(one) for one in planned.gave_way],
        "alternatives": [_alternative(one, curve.provenance) for one in planned.choice],
        "focus_tolerance": None if planned.tolerance is None else _keys(planned.tolerance),
        "other_lenses": [_keys(one) for one in planned.other_lenses],
        "islands": planned.islands,
        "files": {
            "program": planned.program_file,
            "trace": planned.trace_file,
            "image": planned.image_file,
            "drawing": planned.drawing_file,
            "proof": planned.proof_file,
        },
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
    measured = lens.waist_radius_mm is not None
    data = {
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
            "provenance": {
                "kind": "measured" if measured else "user",
                "detail": "waist from machine.toml"
                if measured
                else "waist computed from lens and beam in machine.toml",
            },
        },
        "lenses": [_keys(facts) for facts in plan.lens_facts],
        "total_time_s": plan.total_time_s(),
        "run_sheet": run_sheet,
        "pieces": [
            {
                "id": p.piece.id,
                "name": p.piece.name,
                "wood": p.wood.id,
                "start_order": p.start_order,
                "thickness_mm": p.piece.blank.thickness_mm,
                "unevenness_mm": p.piece.blank.unevenness_mm,
                "outline_box_bed_mm": boxes[p.piece.id],
                "turn_deg": p.piece.turn_deg,
                "curve": _origin(p.wood.curve.provenance),
                "marks": [_mark(m, p) for m in p.marks],
                "set_ups": [_set_up(one) for one in p.set_ups],
                "checks": [_check(c) for c in p.checks],
            }
            for p in plan.pieces
        ],
        "runs": [_run(run) for run in plan.runs],
    }
    return PlanDocument.model_validate(_rounded(data))


def plan_text(document: PlanDocument) -> str:
    """Return plan.json as it is written: UTF-8, two spaces, keys in the order of the schema, one newline at the end."""
    return json.dumps(document.model_dump(mode="json"), ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def plan_schema() -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of plan.json."""
    schema = PlanDocument.model_json_schema()
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "evenburn plan", **schema}
