"""plan.json: everything a plan says, versioned, with a published JSON Schema."""

from __future__ import annotations

import json
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from evenburn.core.nouns.check import Check
from evenburn.core.nouns.plan import BatchPlan, MarkPlan, PiecePlan
from evenburn.core.nouns.provenance import Provenance
from evenburn.core.units import lines_per_inch

Box = tuple[float, float, float, float]
DECIMALS = 6


class _Document(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)


class ProvenanceDocument(_Document):
    """Where numbers come from."""

    kind: Literal["measured", "fitted", "published", "common practice", "starting value", "user"] = Field(
        description="Where the numbers come from."
    )
    detail: str = Field(description="Date, key, file or who.")


class MachineDocument(_Document):
    """The machine as planned for."""

    name: str = Field(description="As in machine.toml.")
    bed_x_mm: float = Field(description="Travel along x. [mm]")
    bed_y_mm: float = Field(description="Travel along y. [mm]")
    power_max_W: float = Field(description="Power on the work at fraction 1. [W]")
    power_least_fraction: float = Field(description="Power fraction below which nothing fires.")
    power_cap_fraction: float = Field(description="Power fraction no recipe goes above.")
    power_word_max: float = Field(description="S word at power fraction 1.")
    speed_max_mm_per_s: float = Field(description="Greatest speed of a scan line. [mm/s]")
    rapid_mm_per_s: float = Field(description="Speed of moves that do not burn. [mm/s]")
    accel_x_mm_per_s2: float = Field(description="Acceleration along x. [mm/s²]")
    accel_y_mm_per_s2: float = Field(description="Acceleration along y. [mm/s²]")
    jerk_mm_per_s3: float | None = Field(description="Jerk; null where the machine has none. [mm/s³]")
    line_overhead_s: float = Field(description="What the controller adds to each scan line. [s]")
    rise_time_s: float = Field(description="Time constant of the laser's response. [s]")
    reversal_offset_mm: float = Field(description="Between lines burnt in the two directions. [mm]")
    provenance: ProvenanceDocument = Field(description="Where these numbers come from.")


class LensDocument(_Document):
    """The lens as planned for."""

    name: str = Field(description="As in machine.toml.")
    focal_length_mm: float = Field(description="Focal length. [mm]")
    beam_diameter_mm: float = Field(description="1/e² diameter of the beam at the lens. [mm]")
    beam_quality_m2: float = Field(description="M², 1 is ideal.")
    wavelength_um: float = Field(description="Wavelength. [µm]")
    focus_stand_off_mm: float = Field(description="Stand-off at which the waist lies on the surface. [mm]")
    waist_radius_mm: float = Field(description="1/e² radius at the waist, measured or computed. [mm]")
    rayleigh_length_mm: float = Field(description="Rayleigh length, measured or computed. [mm]")
    provenance: ProvenanceDocument = Field(description="Where waist and Rayleigh length come from.")


class RecipeDocument(_Document):
    """What is set at the machine."""

    power_W: float = Field(description="Power on the work; of a photo in continuous tone at its full tone. [W]")
    power_fraction: float = Field(description="The same on the machine's own scale, 0 to 1.")
    speed_mm_per_s: float = Field(description="Speed of the scan lines. [mm/s]")
    line_spacing_mm: float = Field(
        description="Distance between neighbouring scan lines; of a line or a cut the width of what is burnt. [mm]"
    )
    lines_per_inch: float = Field(description="The same as lines per inch.")
    focus_offset_mm: float = Field(description="Stand-off minus focus stand-off; positive is further away. [mm]")
    stand_off_mm: float = Field(description="Nozzle-to-surface distance to set. [mm]")
    passes: int = Field(description="How often each line is burnt.")
    scan_axis: Literal["x", "y"] = Field(
        description="Axis of the bed the scan lines run along; of a line or a cut the axis most of its path runs along."
    )
    air_kPa: float | None = Field(description="Air to set; null: as low as it goes. [kPa]")
    power_low_W: float | None = Field(
        description="Power at the faintest burnt tone of a photo in continuous tone, else null. [W]"
    )
    provenance: ProvenanceDocument = Field(description="What the recipe rests on.")


class PredictedDocument(_Document):
    """What is predicted to come of it."""

    tone_L: float = Field(description="Tone of a wide even area. [L*]")
    tone_L_sd: Annotated[float, Field(ge=0.0)] = Field(
        description="Its standard deviation: reading, fit, board-to-board and evenness together. [L*]"
    )
    ripple_L: Annotated[float, Field(ge=0.0)] = Field(description="Banding, peak to valley across the lines. [L*]")
    ripple_limit_L: float = Field(description="Banding that is just unseen at the reading distance. [L*]")
    detail_mm: float = Field(description="Narrowest stroke and gap that survive. [mm]")
    dose_J_per_mm2: float = Field(description="Mean dose of all passes. [J/mm²]")
    dwell_ms: float = Field(description="Time the spot takes to pass a point. [ms]")
    beam_radius_mm: float = Field(description="1/e² radius of the beam at the surface. [mm]")
    run_up_mm: float = Field(description="Distance needed to reach speed, and to stop. [mm]")
    time_s: float = Field(description="Machine time, by the clock that reads the events. [s]")
    time_lower_bound_s: float = Field(description="No program that burns the same lines at this speed is quicker. [s]")
    provenance: ProvenanceDocument = Field(description="What the prediction rests on.")


class BindingDocument(_Document):
    """What holds the recipe back."""

    constraint: str = Field(description="Name of what binds; `none` where nothing does.")
    text: str = Field(description="In words, with what loosening it would buy.")


class FilesDocument(_Document):
    """Files of a mark, relative to the folder of plan.json; no program where a stop forbids one."""

    program: str | None = Field(description="Program, or null where a stop forbids one.")
    image: str = Field(description="Burn image.")
    drawing: str = Field(description="Place on the bed.")
    proof: str = Field(description="Proof of the whole piece.")


class MarkDocument(_Document):
    """One mark, planned."""

    id: str = Field(description="As in batch.toml.")
    treatment: Literal["solid", "photo", "line", "cut"] = Field(description="As in batch.toml.")
    artwork: str = Field(description="File of the artwork, or the text and its face.")
    wished_tone_L: float = Field(description="Tone asked for; of a cut, which asks for none, that of its edge. [L*]")
    reproduction: str | None = Field(
        description="How a photo's tones are made: `continuous`, or the halftone's name; null for other treatments."
    )
    reproduction_why: str = Field(description="Why so, in words with numbers; empty where a person named it.")
    box_bed_mm: Box = Field(description="Box of the mark on the bed: x0, y0, x1, y1. [mm]")
    narrowest_stroke_mm: float | None = Field(description="Narrowest stroke of the artwork; null where unknown. [mm]")
    narrowest_gap_mm: float | None = Field(description="Narrowest gap of the artwork; null where unknown. [mm]")
    recipe: RecipeDocument = Field(description="What is set at the machine.")
    predicted: PredictedDocument = Field(description="What is predicted to come of it.")
    binding: list[BindingDocument] = Field(description="What holds the recipe back, the dearest first.")
    files: FilesDocument = Field(description="Its files, relative to this one.")


class FixDocument(_Document):
    """One change that answers a check, as keys of batch.toml."""

    text: str = Field(description="What to do, in words.")
    price: str = Field(description="What it costs in time.")
    target: str = Field(description="`piece`, or the id of the mark whose keys change.")
    change: dict[str, float | str | tuple[float, float]] = Field(description="Keys of batch.toml and their new values.")


class CheckDocument(_Document):
    """One finding."""

    level: Literal["stop", "warn", "note"] = Field(
        description="`stop`: must not be burnt so; `warn`: look at it first; `note`: good to know."
    )
    code: str = Field(description="Short name of the finding.")
    mark: str | None = Field(description="Id of the mark it is about; null: the whole piece.")
    text: str = Field(description="What was found, with the numbers.")
    remedy: str = Field(description="What to do, with the numbers.")
    fixes: list[FixDocument] = Field(description="The ways out as changes of batch.toml.")


class PieceDocument(_Document):
    """One piece, planned."""

    id: str = Field(description="As in batch.toml.")
    name: str = Field(description="What people call it.")
    wood: str = Field(description="Id of its wood.")
    start_order: Annotated[int, Field(ge=1)] = Field(description="Place in the order of burning, from 1.")
    thickness_mm: float = Field(description="Of the blank. [mm]")
    unevenness_mm: float = Field(description="Of its surface, ±. [mm]")
    outline_box_bed_mm: Box = Field(description="Box of the turned blank on the bed: x0, y0, x1, y1. [mm]")
    turn_deg: float = Field(description="Counter-clockwise turn of the blank. [°]")
    curve: ProvenanceDocument = Field(description="Where its wood's curve comes from.")
    marks: list[MarkDocument] = Field(description="Its marks.")
    checks: list[CheckDocument] = Field(description="What was found, stops first.")


class PlanDocument(_Document):
    """plan.json, schema version 1."""

    schema_version: Literal[1] = Field(description="Version of this file's form.")
    name: str = Field(description="Of the batch.")
    subtitle: str = Field(description="Of the batch.")
    planned_on: str = Field(description="ISO date.")
    machine: MachineDocument = Field(description="The machine as planned for.")
    lens: LensDocument = Field(description="The lens as planned for.")
    total_time_s: float = Field(description="Machine time of all programs. [s]")
    run_sheet: str = Field(description="File of the run sheet.")
    pieces: list[PieceDocument] = Field(description="The pieces in the order of burning.")


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
        "wished_tone_L": predicted.tone_L if planned.mark.treatment == "cut" else planned.mark.tone_L,
        "reproduction": planned.reproduction,
        "reproduction_why": planned.reproduction_why.replace("\u00a0", " "),
        "box_bed_mm": planned.box_bed_mm,
        "narrowest_stroke_mm": planned.stroke_mm,
        "narrowest_gap_mm": planned.gap_mm,
        "recipe": {
            "power_W": recipe.power_W,
            "power_fraction": recipe.power_fraction,
            "speed_mm_per_s": recipe.speed_mm_per_s,
            "line_spacing_mm": recipe.line_spacing_mm,
            "lines_per_inch": lines_per_inch(recipe.line_spacing_mm),
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
