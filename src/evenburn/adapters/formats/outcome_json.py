"""outcome.json: how a mark of a finished piece came out, or why its photographs were refused."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import AfterValidator, Field, model_validator

from evenburn.adapters.formats.json_file import read_json
from evenburn.adapters.formats.quantities import Length, Offset, Passes, Power, Speed
from evenburn.adapters.formats.strict import StrictModel, checked
from evenburn.core.errors import InvalidInput
from evenburn.core.nouns.outcome import ExposureShift, Got, Outcome, Promised
from evenburn.core.nouns.recipe import Recipe
from evenburn.core.optics.lines import effective_passes, radius_of_dwell_mm
from evenburn.core.response.comparing import FLAT_L_per_decade, verdict_text

Lightness = Annotated[float, Field(ge=-5.0, le=120.0)]
Spread = Annotated[float, Field(ge=0.0, le=100.0)]
Name = Annotated[str, Field(min_length=1, max_length=200)]


def _tells(slope: float) -> float:
    """Refuse a slope at which no shift is told. Source: `shift_of`."""
    if abs(slope) < FLAT_L_per_decade:
        raise ValueError(f"is {slope:g}; allowed is {FLAT_L_per_decade:g} or more either way, flatter tells nothing")
    return slope


Slope = Annotated[float, AfterValidator(_tells)]
HINT = "outcome.json is written by `evenburn compare`; take it unchanged."
RECIPE_KEYS = (
    "power_W",
    "power_fraction",
    "speed_mm_per_s",
    "line_spacing_mm",
    "focus_offset_mm",
    "stand_off_mm",
    "passes",
    "scan_axis",
    "air_kPa",
)


class OutcomeRecipeDocument(StrictModel):
    """What the mark was burnt with, copied from the plan."""

    power_W: Power = Field(description="Power on the work. [W]")
    power_fraction: float = Field(description="The same on the machine's own scale.")
    speed_mm_per_s: Speed = Field(description="Speed of its lines. [mm/s]")
    line_spacing_mm: Length = Field(description="Distance between neighbouring lines. [mm]")
    focus_offset_mm: Offset = Field(description="Stand-off minus focus stand-off. [mm]")
    stand_off_mm: Annotated[float, Field(ge=0.0, le=10_000.0)] = Field(description="Nozzle-to-surface distance. [mm]")
    passes: Passes = Field(description="How often each line was burnt.")
    scan_axis: Literal["x", "y"] = Field(description="Axis of the bed the lines ran along.")
    air_kPa: float | None = Field(description="Air; null: as low as it goes. [kPa]")


class PromisedDocument(StrictModel):
    """What the plan foretold."""

    tone_L: Lightness = Field(description="Tone. [L*]")
    tone_L_sd: Spread = Field(description="Its standard deviation, all that a person meets together. [L*]")
    dose_J_per_mm2: Annotated[float, Field(gt=0.0, le=1e9)] = Field(description="Mean dose of all passes. [J/mm²]")
    dwell_ms: Annotated[float, Field(gt=0.0, le=1e9)] = Field(description="Time the spot takes to pass a point. [ms]")


class GotDocument(StrictModel):
    """What the photographs tell."""

    tone_L: Lightness = Field(description="L* of the mean linear luminance inside the ink, its edge left out.")
    own_L_sd: Spread = Field(description="Standard deviation of it that is this mark's own. [L*]")
    shared_L_sd: Spread = Field(description="… and that paper and toner of the mat leave open. [L*]")
    spread_L: Spread = Field(description="Standard deviation over the mark, in cells of 4 mm. [L*]")
    bare_L: Lightness | None = Field(
        default=None, description="Tone of the bare wood beside it; not there where none was seen. [L*]"
    )
    inside_mm2: Annotated[float, Field(gt=0.0, le=1e8)] = Field(description="Area that was read. [mm²]")


class OffDocument(StrictModel):
    """Got minus promised."""

    tone_L: float = Field(description="Below 0 it came out darker. [L*]")
    tone_L_sd: Spread = Field(description="Its standard deviation, were all as promised. [L*]")
    verdict: str = Field(description="In words.")


class ShiftOfExposureDocument(StrictModel):
    """By how much more exposure than planned the tone looks."""

    decades: Annotated[float, Field(ge=-100.0, le=100.0)] = Field(
        description="As a power of ten; below 0 it looks as if it got less."
    )
    decades_sd: Annotated[float, Field(ge=1e-5, le=1000.0)] = Field(
        description="Its standard deviation: reading, curve and scatter of boards."
    )
    slope_L_per_decade: Slope = Field(description="The curve's slope there. [L* per decade]")


class UpdateDocument(StrictModel):
    """What the lot's curve made of it."""

    curve: Name = Field(description="File of the curve before.")
    off_L: float = Field(description="Got minus what that curve gives. [L*]")
    expected_L_sd: Spread | None = Field(
        default=None,
        description="Standard deviation of that, were all as believed; not there where the curve stayed as it was. [L*]",
    )
    written: Name | None = Field(
        default=None, description="File of the curve after; not there where it stayed as it was."
    )
    text: str = Field(description="In words.")


class OutcomeRefusedDocument(StrictModel):
    """Why a photograph was refused."""

    code: str = Field(description="Short name of the reason.")
    text: str = Field(description="What was seen, with numbers.")
    remedy: str = Field(description="What to do.")


class OutcomePhotographDocument(StrictModel):
    """One of the photographs."""

    name: str = Field(description="Its file name.")
    refused: OutcomeRefusedDocument | None = Field(
        default=None, description="Why it was left out; not there where it was used."
    )
    window_bed_mm: Annotated[list[float], Field(min_length=2, max_length=2)] | None = Field(
        default=None, description="Where the middle of the mat's window lay, as a place of the bed. [mm]"
    )
    turn_deg: float | None = Field(default=None, description="Counter-clockwise turn of the mat over the bed. [°]")
    match: float | None = Field(default=None, description="Correlation of the art with the picture, at most 1.")
    print_scale_error: float | None = Field(
        default=None,
        description="Printed over nominal length of the mat, minus 1; not there where the mark is too small to tell.",
    )


class OutcomeDocument(StrictModel):
    """outcome.json, schema version 1: either the numbers, or `refused`."""

    schema_version: Literal[1] = Field(description="Version of this file's form.")
    piece: Name = Field(description="Id of the piece.")
    mark: Name = Field(description="Id of the mark.")
    wood: Name = Field(description="Id of its wood.")
    machine: Name = Field(description="Name of the machine.")
    lens: Name = Field(description="Name of the lens.")
    date: Name = Field(description="ISO date of the comparison.")
    planned_on: str = Field(description="ISO date of the plan.")
    photographs: list[OutcomePhotographDocument] = Field(description="The photographs, used or refused.")
    recipe: OutcomeRecipeDocument = Field(description="What it was burnt with, from the plan.")
    predicted: PromisedDocument = Field(description="What was promised.")
    refused: OutcomeRefusedDocument | None = Field(
        default=None, description="Why no number is told; not there where they are."
    )
    got: GotDocument | None = Field(default=None, description="What was got.")
    off: OffDocument | None = Field(default=None, description="Got minus promised.")
    board_L: Spread | None = Field(
        default=None, description="How far boards of the lot scatter by themselves; not there without a curve. [L*]"
    )
    exposure_shift: ShiftOfExposureDocument | None = Field(
        default=None, description="What the tone says of the exposure; not there without a curve, or where it is flat."
    )
    update: UpdateDocument | None = Field(default=None, description="What was learnt from it, where that was asked.")
    flags: list[Annotated[str, Field(max_length=40)]] = Field(default=[], description="Doubts.")

    @model_validator(mode="after")
    def _either(self) -> Self:
        if self.refused is None and (self.got is None or self.off is None):
            raise ValueError("numbers are missing, and nothing says why the photographs were refused")
        return self


def outcome_document(
    outcome: Outcome,
    *,
    recipe: Recipe,
    planned_on: str,
    photographs: list[dict[str, Any]],
    update: dict[str, Any] | None,
) -> dict[str, Any]:
    """Return an outcome as the object of its outcome.json."""
    document = _head(outcome, recipe=recipe, planned_on=planned_on, photographs=photographs)
    got, shift = outcome.got, outcome.shift
    document["got"] = _told(
        {
            "tone_L": round(got.tone_L, 3),
            "own_L_sd": round(got.own_L_sd, 3),
            "shared_L_sd": round(got.shared_L_sd, 3),
            "spread_L": round(got.spread_L, 3),
            "bare_L": None if got.bare_L is None else round(got.bare_L, 3),
            "inside_mm2": round(got.inside_mm2, 1),
        }
    )
    document["off"] = {
        "tone_L": round(outcome.off_L, 3),
        "tone_L_sd": round(outcome.off_L_sd, 3),
        "verdict": verdict_text(outcome),
    }
    document["board_L"] = None if outcome.board_L is None else round(outcome.board_L, 3)
    document["exposure_shift"] = shift and {
        "decades": round(shift.decades, 5),
        "decades_sd": round(shift.decades_sd, 5),
        "slope_L_per_decade": round(shift.slope_L_per_decade, 3),
    }
    document["update"] = update
    document["flags"] = list(outcome.flags)
    return _told(document)


def refused_outcome_document(
    outcome: Outcome, *, recipe: Recipe, planned_on: str, photographs: list[dict[str, Any]], refused: dict[str, str]
) -> dict[str, Any]:
    """Return the object of an outcome.json that tells why every photograph was refused; what was got is not looked at."""
    return {
        **_head(outcome, recipe=recipe, planned_on=planned_on, photographs=photographs),
        "refused": refused,
        "flags": [],
    }


def _head(outcome: Outcome, *, recipe: Recipe, planned_on: str, photographs: list[dict[str, Any]]) -> dict[str, Any]:
    promised = outcome.promised
    return {
        "schema_version": 1,
        "piece": outcome.piece_id,
        "mark": outcome.mark_id,
        "wood": outcome.wood_id,
        "machine": outcome.machine_name,
        "lens": outcome.lens_name,
        "date": outcome.date,
        "planned_on": planned_on,
        "photographs": photographs,
        "recipe": {key: getattr(recipe, key) for key in RECIPE_KEYS},
        "predicted": {
            "tone_L": promised.tone_L,
            "tone_L_sd": promised.tone_L_sd,
            "dose_J_per_mm2": promised.dose_J_per_mm2,
            "dwell_ms": promised.dwell_ms,
        },
    }


def _told(table: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in table.items() if value is not None}


def read_outcome(path: Path, *, name: str) -> Outcome:
    """Return the outcome in an outcome.json.

    Raises
    ------
    UnreadableFile, InvalidInput
        If it is missing, is no JSON, does not hold, or tells that the photographs were refused.
    """
    document = checked(OutcomeDocument, read_json(path, name=name, hint=HINT), name=name)
    if document.refused is not None or document.got is None:
        text = document.refused.text if document.refused is not None else "it holds no numbers"
        raise InvalidInput(
            {"refused": f"the photographs were refused: {text}"},
            source=name,
            hint=document.refused.remedy if document.refused is not None else HINT,
        )
    promised, got, shift = document.predicted, document.got, document.exposure_shift
    return Outcome(
        piece_id=document.piece,
        mark_id=document.mark,
        wood_id=document.wood,
        machine_name=document.machine,
        lens_name=document.lens,
        date=document.date,
        promised=Promised(
            **promised.model_dump(),
            passes=float(
                effective_passes(
                    passes=document.recipe.passes,
                    beam_radius_mm=radius_of_dwell_mm(
                        dwell_ms=promised.dwell_ms, speed_mm_per_s=document.recipe.speed_mm_per_s
                    ),
                    line_spacing_mm=document.recipe.line_spacing_mm,
                )
            ),
        ),
        got=Got(**got.model_dump(), photographs=sum(1 for p in document.photographs if p.refused is None)),
        board_L=document.board_L,
        shift=None if shift is None else ExposureShift(**shift.model_dump()),
        flags=tuple(document.flags),
    )
