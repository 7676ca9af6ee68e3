"""The form of plan.json: its tables and keys with what each means, from which its JSON Schema is made."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from evenburn.adapters.formats.quantities import Length, Offset, Passes, Speed

Box = tuple[float, float, float, float]


class _Document(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)


class ProvenanceDocument(_Document):
    """Where numbers come from."""

    kind: Literal["measured", "fitted", "published", "common practice", "starting value", "user"] = Field(
        description="Where the numbers come from."
    )
    detail: str = Field(description="Date, key, file or who.")


NOT_TOLD = ProvenanceDocument(kind="starting value", detail="not told: planned before plans told it")  # when read back
TABLE = "Where the numbers of this table come from, those that `provenance_of` names apart."
KEYS = "By key: where numbers of this table come from that have another origin than the rest."


def _always_there(schema: dict[str, Any]) -> None:
    """Take the default out of a schema: it is for plans that are read back, none is written without."""
    schema.pop("default", None)


class _Traced(_Document):
    """A table with numbers: `provenance` tells where they come from, `provenance_of` where single ones do."""

    provenance: ProvenanceDocument = Field(default=NOT_TOLD, description=TABLE, json_schema_extra=_always_there)
    provenance_of: dict[str, ProvenanceDocument] = Field(default_factory=dict, description=KEYS)


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
    reversal_sd_mm: float = Field(description="Its standard deviation; 0 where it is trusted. [mm]")
    extraction_side: Literal["left", "right", "front", "back"] | None = Field(
        description="Side the smoke is drawn to, which lines advance towards; null where none is named."
    )
    corner_tolerance_mm: float = Field(
        description="How far the head may cut a corner of a path that it follows without stopping. [mm]"
    )
    provenance: ProvenanceDocument = Field(description="Where these numbers come from.")


class LensFactsDocument(_Traced):
    """What a lens of the machine makes of the beam."""

    name: str = Field(description="As in machine.toml.")
    in_use: bool = Field(description="Whether the batch is planned with it.")
    focus_stand_off_mm: float = Field(description="Stand-off at which the waist lies on the surface. [mm]")
    waist_radius_mm: float = Field(description="1/e² radius at the waist. [mm]")
    spot_diameter_mm: float = Field(description="1/e² diameter at the waist. [mm]")
    rayleigh_length_mm: float = Field(description="Beyond it the spot is more than √2 of its least. [mm]")
    depth_mm: float = Field(description="How far from the waist, either way, the radius has grown by `growth`. [mm]")
    growth: float = Field(description="By how much of itself the radius has grown there.")


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
    provenance_of: dict[str, ProvenanceDocument] = Field(default_factory=dict, description=KEYS)


class RecipeDocument(_Document):
    """What is set at the machine."""

    power_W: float = Field(description="Power on the work; of a photo in continuous tone at its full tone. [W]")
    power_fraction: float = Field(description="The same on the machine's own scale, 0 to 1.")
    speed_mm_per_s: Speed = Field(description="Speed of the scan lines. [mm/s]")
    line_spacing_mm: Annotated[float, Field(ge=0.0)] = Field(
        description="Distance between neighbouring scan lines; of a line or a cut the width of what is burnt. [mm]"
    )
    lines_per_inch: float = Field(description="The same as lines per inch.")
    focus_offset_mm: Offset = Field(description="Stand-off minus focus stand-off; positive is further away. [mm]")
    stand_off_mm: float = Field(description="Nozzle-to-surface distance to set. [mm]")
    passes: Passes = Field(description="How often each line is burnt.")
    scan_axis: Literal["x", "y"] = Field(
        description="Axis of the bed the scan lines run along; of a line or a cut the axis most of its path runs along."
    )
    direction: Literal["both ways", "one way"] = Field(
        description="Whether scan lines burn to and fro or only one way; of a line or a cut without meaning."
    )
    air_kPa: float | None = Field(description="Air to set; null: as low as it goes. [kPa]")
    power_low_W: float | None = Field(
        description="Power at the faintest burnt tone of a photo in continuous tone, else null. [W]"
    )
    power_low_fraction: float | None = Field(
        default=None, description="The same on the machine's own scale, 0 to 1; null for even tone."
    )
    provenance: ProvenanceDocument = Field(description="What the recipe rests on.")
    provenance_of: dict[str, ProvenanceDocument] = Field(default_factory=dict, description=KEYS)


class PredictedDocument(_Document):
    """What is predicted to come of it."""

    tone_L: float = Field(description="Tone of a wide even area. [L*]")
    tone_L_sd: Annotated[float, Field(ge=0.0)] = Field(
        description="Its standard deviation: reading, fit, board-to-board and evenness together. [L*]"
    )
    ripple_L: Annotated[float, Field(ge=0.0)] = Field(description="Banding, peak to valley across the lines. [L*]")
    ripple_limit_L: float = Field(description="Banding that is just unseen at the reading distance. [L*]")
    detail_mm: float = Field(description="Narrowest stroke and gap that survive. [mm]")
    dose_J_per_mm2: Annotated[float, Field(ge=0.0)] = Field(description="Mean dose of all passes. [J/mm²]")
    dwell_ms: Annotated[float, Field(gt=0.0)] = Field(description="Time the spot takes to pass a point. [ms]")
    beam_radius_mm: Length = Field(description="1/e² radius of the beam at the surface. [mm]")
    run_up_mm: float = Field(description="Distance needed to reach speed, and to stop. [mm]")
    time_s: float = Field(description="Machine time, by the clock that reads the events. [s]")
    time_lower_bound_s: float = Field(description="No program that burns the same lines at this speed is quicker. [s]")
    time_over_bound: float | None = Field(
        description="The machine time over that bound, 1 or more; null where nothing is burnt."
    )
    provenance: ProvenanceDocument = Field(description="What the prediction rests on.")
    provenance_of: dict[str, ProvenanceDocument] = Field(default_factory=dict, description=KEYS)


class BindingDocument(_Traced):
    """What holds the recipe back."""

    constraint: str = Field(description="Name of what binds; `none` where nothing does.")
    text: str = Field(description="In words, with what loosening it would buy.")
    saves_s: float | None = Field(
        description="Machine time that the loosening in its text would save; null where it buys no time. [s]"
    )


class ConcessionDocument(_Traced):
    """A wish that could not be met."""

    constraint: str = Field(description="Name of the wish that had to give way.")
    asked: float = Field(description="What was asked for, in `unit`.")
    got: float = Field(description="What the recipe gives, in `unit`.")
    unit: str = Field(description="Unit of both.")
    text: str = Field(description="In words, with the numbers.")


class AlternativeDocument(_Traced):
    """One recipe to choose from."""

    name: str = Field(description="What it is for.")
    recommended: bool = Field(description="Whether it is the recipe that was planned.")
    recipe: RecipeDocument = Field(description="What would be set at the machine.")
    time_s: float = Field(description="Machine time, as the search reckons it. [s]")
    ripple_L: Annotated[float, Field(ge=0.0)] = Field(
        description="Banding, peak to valley across the lines, at its worst over the blank's unevenness. [L*]"
    )
    detail_mm: float = Field(description="Narrowest stroke and gap that survive. [mm]")
    text: str = Field(description="How it differs from the recommended one.")


class FocusToleranceDocument(_Traced):
    """How far the stand-off may be off before something gives."""

    towards_mm: float = Field(description="Nearer. [mm]")
    away_mm: float = Field(description="Further. [mm]")
    towards_gives: str = Field(description="What gives first nearer; empty where nothing does within reach.")
    away_gives: str = Field(description="What gives first further; empty where nothing does within reach.")
    text: str = Field(description="In words.")


class LensOfferDocument(_Traced):
    """What another lens of the machine would do for a mark."""

    lens: str = Field(description="Name of the lens.")
    stand_off_mm: float = Field(description="Stand-off to set with it. [mm]")
    focus_offset_mm: float = Field(description="Stand-off minus focus stand-off. [mm]")
    time_s: float = Field(description="Machine time with it. [s]")
    saves_s: float = Field(description="What it saves; below 0 where it takes longer. [s]")
    ripple_L: float = Field(description="Banding, peak to valley across the lines. [L*]")
    detail_mm: float = Field(description="Narrowest stroke and gap that survive. [mm]")
    text: str = Field(description="In words.")


class ForgottenDocument(_Traced):
    """What a mark would look like with the head left at the height of the one before it."""

    off_mm: float = Field(description="How far the surface lies from where it should; below 0 is too near. [mm]")
    stand_off_mm: float = Field(description="What is left between nozzle and surface. [mm]")
    touches: bool = Field(description="Whether the surface at its highest reaches the nozzle.")
    spot_diameter_mm: float = Field(description="1/e² diameter of the spot then. [mm]")
    planned_spot_diameter_mm: float = Field(description="As planned. [mm]")
    tone_L: float = Field(description="Tone then. [L*]")
    planned_tone_L: float = Field(description="As planned. [L*]")
    ripple_L: float = Field(description="Banding then, peak to valley across the lines. [L*]")
    ripple_limit_L: float = Field(description="Banding that is just unseen at the reading distance. [L*]")
    detail_mm: float | None = Field(
        description="Narrowest stroke and gap that survive then; null where the outlines are followed. [mm]"
    )
    planned_detail_mm: float | None = Field(description="As planned. [mm]")
    chars: bool = Field(description="Whether the char limit that the plan keeps is exceeded.")
    text: str = Field(description="In words.")


class SetUpDocument(_Traced):
    """The stand-off set once, before a mark."""

    mark: str = Field(description="Id of the mark it is set before.")
    thickness_mm: float = Field(description="Of the blank it is set for. [mm]")
    stand_off_mm: float = Field(description="To set. [mm]")
    bed_down_mm: float | None = Field(
        description="How far the bed goes down for it, below 0 up; null where nothing is known to have been set before. [mm]"
    )
    tolerance: FocusToleranceDocument | None = Field(
        description="The narrowest of all marks burnt with it; null where nothing is burnt with it."
    )
    forgotten: ForgottenDocument | None = Field(
        description="What it would be to forget it; null where there was nothing before it."
    )


class FilesDocument(_Document):
    """Files of a mark, relative to the folder of plan.json; no program where a stop forbids one."""

    program: str | None = Field(description="Program, or null where a stop forbids one.")
    trace: str | None = Field(
        description="Walks round the mark with the laser off; null where the mark lies off the bed."
    )
    image: str = Field(description="Burn image.")
    drawing: str = Field(description="Place on the bed.")
    proof: str = Field(description="Proof of the whole piece.")


class MarkDocument(_Traced):
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
    gave_way: list[ConcessionDocument] = Field(description="The wishes that could not be met, the weightiest first.")
    alternatives: list[AlternativeDocument] = Field(
        description="Recipes to choose from, the recommended one among them, the quickest first; "
        "none where the outlines are followed."
    )
    focus_tolerance: FocusToleranceDocument | None = Field(
        description="How far the stand-off may be off; null where there is no program."
    )
    other_lenses: list[LensOfferDocument] = Field(description="What the machine's other lenses would do for it.")
    islands: int = Field(description="In how many parts it is swept, each by itself.")
    files: FilesDocument = Field(description="Its files, relative to this one.")


class FixDocument(_Traced):
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


class ConfirmationDocument(_Document):
    """Who answers for a doubtful material."""

    by: str = Field(description="As in the wood's file, `confirmed_by`.")
    on: str | None = Field(description="The day, `confirmed_on`; null where it is not told.")


class PieceDocument(_Traced):
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
    marks: list[MarkDocument] = Field(
        description="Its marks; none where its material must not be burnt, for nothing of that is planned."
    )
    set_ups: list[SetUpDocument] = Field(
        description="The times the stand-off is set on it, in order; none where what the piece before left still holds."
    )
    checks: list[CheckDocument] = Field(description="What was found, stops first.")
    confirmation: ConfirmationDocument | None = Field(
        default=None,
        description="Who made sure that its doubtful material may be burnt; null where it is not doubtful.",
    )


class RunMarkDocument(_Document):
    """A mark of a run."""

    piece: str = Field(description="Id of the piece.")
    mark: str = Field(description="Id of the mark.")


class SharedRunDocument(_Traced):
    """One program for several marks that lie on the bed at once; whoever burns it leaves out their own programs."""

    file: str = Field(description="The program.")
    marks: list[RunMarkDocument] = Field(description="What it burns, in the order of the batch.")
    time_s: float = Field(description="Machine time. [s]")
    saved_s: float = Field(description="Against their own programs one after another. [s]")
    time_lower_bound_s: float = Field(description="No program that burns the same lines at this speed is quicker. [s]")
    time_over_bound: float | None = Field(
        description="The machine time over that bound, 1 or more; null where nothing is burnt."
    )


class PlanDocument(_Traced):
    """plan.json, schema version 1."""

    schema_version: Literal[1] = Field(description="Version of this file's form.")
    name: str = Field(description="Of the batch.")
    subtitle: str = Field(description="Of the batch.")
    planned_on: str = Field(description="ISO date.")
    machine: MachineDocument = Field(description="The machine as planned for.")
    lens: LensDocument = Field(description="The lens as planned for.")
    lenses: list[LensFactsDocument] = Field(description="Every lens of the machine, for comparison.")
    total_time_s: float = Field(description="Machine time of all programs. [s]")
    run_sheet: str = Field(description="File of the run sheet.")
    pieces: list[PieceDocument] = Field(description="The pieces in the order of burning.")
    runs: list[SharedRunDocument] = Field(
        description="Programs for several marks at once, offered beside the marks' own."
    )
