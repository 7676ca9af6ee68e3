"""plan.json: everything a plan says, versioned, with a published JSON Schema."""

from __future__ import annotations

import json
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from evenburn.core.nouns.check import Check
from evenburn.core.nouns.plan import BatchPlan, MarkPlan, PiecePlan
from evenburn.core.nouns.provenance import Provenance

Box = tuple[float, float, float, float]
DECIMALS = 6


class _Document(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)


class ProvenanceDocument(_Document):
    """Where numbers come from."""

    kind: Literal["measured", "fitted", "published", "common practice", "starting value", "user"]
    detail: str


class MachineDocument(_Document):
    """The machine as planned for."""

    name: str
    bed_x_mm: float
    bed_y_mm: float
    power_max_W: float
    power_least_fraction: float
    power_cap_fraction: float
    power_word_max: float
    speed_max_mm_per_s: float
    rapid_mm_per_s: float
    accel_x_mm_per_s2: float
    accel_y_mm_per_s2: float
    jerk_mm_per_s3: float | None
    line_overhead_s: float
    rise_time_s: float
    reversal_offset_mm: float
    provenance: ProvenanceDocument


class LensDocument(_Document):
    """The lens as planned for."""

    name: str
    focal_length_mm: float
    beam_diameter_mm: float
    beam_quality_m2: float
    wavelength_um: float
    focus_stand_off_mm: float
    waist_radius_mm: float
    rayleigh_length_mm: float
    provenance: ProvenanceDocument


class RecipeDocument(_Document):
    """What is set at the machine."""

    power_W: float
    power_fraction: float
    speed_mm_per_s: float
    line_spacing_mm: float
    lines_per_inch: float
    focus_offset_mm: float
    stand_off_mm: float
    passes: int
    scan_axis: Literal["x", "y"]
    air_kPa: float | None
    power_low_W: float | None
    provenance: ProvenanceDocument


class PredictedDocument(_Document):
    """What is predicted to come of it."""

    tone_L: float
    tone_L_sd: Annotated[float, Field(ge=0.0)]
    ripple_L: Annotated[float, Field(ge=0.0)]
    ripple_limit_L: float
    detail_mm: float
    dose_J_per_mm2: float
    dwell_ms: float
    beam_radius_mm: float
    run_up_mm: float
    time_s: float
    time_lower_bound_s: float
    provenance: ProvenanceDocument


class BindingDocument(_Document):
    """What holds the recipe back."""

    constraint: str
    text: str


class FilesDocument(_Document):
    """Files of a mark, relative to the folder of plan.json; no program where a stop forbids one."""

    program: str | None
    image: str
    drawing: str
    proof: str


class MarkDocument(_Document):
    """One mark, planned."""

    id: str
    treatment: Literal["solid", "photo"]
    artwork: str
    wished_tone_L: float
    box_bed_mm: Box
    narrowest_stroke_mm: float | None
    narrowest_gap_mm: float | None
    recipe: RecipeDocument
    predicted: PredictedDocument
    binding: list[BindingDocument]
    files: FilesDocument


class FixDocument(_Document):
    """One change that answers a check, as keys of batch.toml."""

    text: str
    price: str
    target: str
    change: dict[str, float | str | tuple[float, float]]


class CheckDocument(_Document):
    """One finding."""

    level: Literal["stop", "warn", "note"]
    code: str
    mark: str | None
    text: str
    remedy: str
    fixes: list[FixDocument]


class PieceDocument(_Document):
    """One piece, planned."""

    id: str
    name: str
    wood: str
    start_order: Annotated[int, Field(ge=1)]
    thickness_mm: float
    unevenness_mm: float
    outline_box_bed_mm: Box
    turn_deg: float
    curve: ProvenanceDocument
    marks: list[MarkDocument]
    checks: list[CheckDocument]


class PlanDocument(_Document):
    """plan.json, schema version 1."""

    schema_version: Literal[1]
    name: str
    subtitle: str
    planned_on: str
    machine: MachineDocument
    lens: LensDocument
    total_time_s: float
    run_sheet: str
    pieces: list[PieceDocument]


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


def _check(check: Check) -> dict[str, Any]:
    return {
        "level": check.level,
        "code": check.code,
        "mark": check.mark_id or None,
        "text": check.text.replace("\u00a0", " "),
        "remedy": check.remedy.replace("\u00a0", " "),
        "fixes": [
            {
                "text": fix.text.replace("\u00a0", " "),
                "price": fix.price.replace("\u00a0", " "),
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
        "wished_tone_L": planned.mark.tone_L,
        "box_bed_mm": planned.box_bed_mm,
        "narrowest_stroke_mm": planned.stroke_mm,
        "narrowest_gap_mm": planned.gap_mm,
        "recipe": {
            "power_W": recipe.power_W,
            "power_fraction": recipe.power_fraction,
            "speed_mm_per_s": recipe.speed_mm_per_s,
            "line_spacing_mm": recipe.line_spacing_mm,
            "lines_per_inch": 25.4 / recipe.line_spacing_mm,
            "focus_offset_mm": recipe.focus_offset_mm,
            "stand_off_mm": recipe.stand_off_mm,
            "passes": recipe.passes,
            "scan_axis": recipe.scan_axis,
            "air_kPa": recipe.air_kPa,
            "power_low_W": recipe.power_low_W,
            "provenance": _origin(
                Provenance(kind=curve.provenance.kind, detail=f"computed from the curve: {curve.provenance.detail}")
            ),
        },
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
            "provenance": _origin(
                Provenance(kind=curve.provenance.kind, detail="computed from curve, machine and lens")
            ),
        },
        "binding": [{"constraint": b.constraint, "text": b.text.replace("\u00a0", " ")} for b in planned.binding],
        "files": {
            "program": planned.program_file,
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
                "checks": [_check(c) for c in p.checks],
            }
            for p in plan.pieces
        ],
    }
    return PlanDocument.model_validate(_rounded(data))


def plan_text(document: PlanDocument) -> str:
    """Return plan.json as it is written: UTF-8, two spaces, keys in the order of the schema, one newline at the end."""
    return json.dumps(document.model_dump(mode="json"), ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def plan_schema() -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of plan.json."""
    schema = PlanDocument.model_json_schema()
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "evenburn plan", **schema}
