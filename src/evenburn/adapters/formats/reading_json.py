"""reading.json: what was read of a card from photographs, or why they were refused."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from evenburn.adapters.formats.card_json import CardDocument, card_document, card_from_document, rounded
from evenburn.adapters.formats.json_file import read_json
from evenburn.adapters.formats.quantities import Length, Offset, Passes, Power, Speed
from evenburn.adapters.formats.strict import StrictModel, checked
from evenburn.core.errors import InvalidInput
from evenburn.core.nouns.card import LineReading, PatchReading, Reading

Lightness = Annotated[float, Field(ge=-5.0, le=120.0)]
Spread = Annotated[float, Field(ge=0.0, le=100.0)]
HINT = "reading.json is written by `evenburn read`; take it unchanged."


class ReadRecipeDocument(StrictModel):
    """What a patch was burnt with, copied from the card."""

    power_W: Power = Field(description="Power on the work. [W]")
    power_fraction: float = Field(description="The same on the machine's own scale.")
    speed_mm_per_s: Speed = Field(description="Speed of its lines. [mm/s]")
    line_spacing_mm: Length = Field(description="Distance between neighbouring lines. [mm]")
    passes: Passes = Field(description="How often it was burnt.")


class ReadPatchDocument(StrictModel):
    """What was read of one patch."""

    id: Annotated[str, Field(min_length=1, max_length=64)] = Field(description="Its name on the card.")
    tone_L: Lightness = Field(description="L* of its mean linear luminance, the edge left out.")
    tone_L_sd: Spread = Field(description="Standard deviation of it, paper and toner included. [L*]")
    own_L_sd: Spread = Field(description="The part of that which this patch does not share with the others. [L*]")
    spread_L: Spread = Field(description="Standard deviation of the tone inside the patch: grain and blotches. [L*]")
    pixels: Annotated[int, Field(ge=0)] = Field(description="Pixels that count, of all photographs.")
    flags: list[Annotated[str, Field(max_length=40)]] = Field(
        description="Doubts: glare, shadow, saturated, blurred, few-pixels, uneven, photographs-disagree."
    )
    recipe: ReadRecipeDocument = Field(description="What it was burnt with, from the card.")


class ReadLineDocument(StrictModel):
    """What was read of one line of a ladder."""

    id: Annotated[str, Field(min_length=1, max_length=64)] = Field(description="Its name on the card.")
    width_mm: Annotated[float, Field(ge=0.0, le=100.0)] = Field(description="How wide it is; 0: no line was seen. [mm]")
    width_sd_mm: Annotated[float, Field(ge=0.0, le=100.0)] = Field(description="Standard deviation of it. [mm]")
    flags: list[Annotated[str, Field(max_length=40)]] = Field(description="Doubts.")
    shift_mm: Annotated[float, Field(ge=-100.0, le=100.0)] | None = Field(
        default=None,
        description="Of a stroke on a motion card: how far its middle lies, towards +, from the drawn one. [mm]",
    )
    shift_sd_mm: Annotated[float, Field(ge=0.0, le=100.0)] | None = Field(
        default=None, description="Standard deviation of it. [mm]"
    )


class RefusedDocument(StrictModel):
    """Why a photograph was refused."""

    code: str = Field(description="Short name of the reason.")
    text: str = Field(description="What was seen, with numbers.")
    remedy: str = Field(description="What to do.")


class ReadPhotographDocument(StrictModel):
    """One of the photographs."""

    name: str = Field(description="Its file name.")
    refused: RefusedDocument | None = Field(
        default=None, description="Why it was left out; not there where it was used."
    )


class ReadingDocument(StrictModel):
    """reading.json, schema version 1: either the numbers, or `refused`."""

    schema_version: Literal[1] = Field(description="Version of this file's form.")
    photographs: list[ReadPhotographDocument] = Field(
        description="The photographs, used or refused, in the order given."
    )
    card: CardDocument = Field(description="The card as in its card.json.")
    focus_offset_mm: Offset = Field(description="Of the card. [mm]")
    refused: RefusedDocument | None = Field(
        default=None, description="Why no number is told; not there where they are."
    )
    patches: list[ReadPatchDocument] = Field(default=[], description="What was read of each patch.")
    lines: list[ReadLineDocument] = Field(default=[], description="What was read of each line of a ladder.")
    bare_wood_L: Lightness | None = Field(default=None, description="Tone of the untouched wood. [L*]")
    bare_wood_L_sd: Spread | None = Field(default=None, description="Its standard deviation. [L*]")
    paper_L: Lightness | None = Field(default=None, description="Lightness of the mat's paper, told or believed. [L*]")
    print_scale_error: Annotated[float, Field(ge=-1.0, le=1.0)] | None = Field(
        default=None, description="Printed over nominal length of the mat, minus 1."
    )
    offset_L_sd: Spread | None = Field(default=None, description="By how much all tones may be off together. [L*]")
    gain_sd: Spread | None = Field(default=None, description="… and by what share of their distance from pivot_L.")
    pivot_L: Lightness | None = Field(default=None, description="The tone about which the scale may be stretched. [L*]")

    @model_validator(mode="after")
    def _either(self) -> Self:
        told = [self.bare_wood_L, self.bare_wood_L_sd, self.paper_L, self.print_scale_error, self.offset_L_sd]
        told += [self.gain_sd, self.pivot_L]
        if self.refused is None and any(v is None for v in told):
            raise ValueError("numbers are missing, and nothing says why the photographs were refused")
        known = {p.id for p in self.card.patches}
        strange = [p.id for p in self.patches if p.id not in known]
        if strange:
            raise ValueError(f"patch {strange[0]} is not on the card")
        drawn = {k.id for k in self.card.lines}
        strange = [k.id for k in self.lines if k.id not in drawn]
        if strange:
            raise ValueError(f"line {strange[0]} is not on the card")
        return self


def reading_document(reading: Reading, *, photographs: list[dict[str, Any]]) -> dict[str, Any]:
    """Return a reading as the object of its reading.json.

    Parameters
    ----------
    photographs : as `photograph_entry` returns them.
    """
    return {
        "schema_version": 1,
        "photographs": photographs,
        "card": card_document(reading.card),
        "focus_offset_mm": reading.card.focus_offset_mm,
        "patches": [
            {
                "id": p.patch.id,
                "tone_L": round(p.tone_L, 3),
                "tone_L_sd": round(p.tone_L_sd, 3),
                "own_L_sd": round(p.own_L_sd, 3),
                "spread_L": round(p.spread_L, 3),
                "pixels": p.pixels,
                "flags": list(p.flags),
                "recipe": rounded(
                    {
                        "power_W": p.patch.power_W,
                        "power_fraction": p.patch.power_fraction,
                        "speed_mm_per_s": p.patch.speed_mm_per_s,
                        "line_spacing_mm": p.patch.line_spacing_mm,
                        "passes": p.patch.passes,
                    }
                ),
            }
            for p in reading.patches
        ],
        "lines": [
            {
                "id": k.line.id,
                "width_mm": round(k.width_mm, 5),
                "width_sd_mm": round(k.width_sd_mm, 5),
                "flags": list(k.flags),
                **(
                    {"shift_mm": round(k.shift_mm, 5), "shift_sd_mm": round(k.shift_sd_mm, 5)}
                    if k.shift_mm is not None and k.shift_sd_mm is not None
                    else {}
                ),
            }
            for k in reading.lines
        ],
        "bare_wood_L": round(reading.bare_wood_L, 3),
        "bare_wood_L_sd": round(reading.bare_wood_L_sd, 3),
        "paper_L": round(reading.paper_L, 3),
        "print_scale_error": round(reading.print_scale_error, 5),
        "offset_L_sd": round(reading.offset_L_sd, 4),
        "gain_sd": round(reading.gain_sd, 5),
        "pivot_L": round(reading.pivot_L, 2),
    }


def refused_document(
    document_of_card: dict[str, Any], *, code: str, text: str, remedy: str, photographs: list[dict[str, Any]]
) -> dict[str, Any]:
    """Return the object of the reading.json of photographs that were refused."""
    return {
        "schema_version": 1,
        "photographs": photographs,
        "card": document_of_card,
        "focus_offset_mm": document_of_card["focus_offset_mm"],
        "refused": refusal_entry(code, text, remedy=remedy),
        "patches": [],
    }


def refusal_entry(code: str, text: str, *, remedy: str) -> dict[str, str]:
    """Return why a photograph was refused as it stands in the file, with plain spaces."""
    return {"code": code, "text": text.replace("\u00a0", " "), "remedy": remedy.replace("\u00a0", " ")}


def photograph_entry(name: str, *, refused: dict[str, str] | None = None) -> dict[str, Any]:
    """Return a photograph as it stands in the file."""
    return {"name": name} if refused is None else {"name": name, "refused": refused}


def read_reading(path: Path, *, name: str) -> Reading:
    """Return the reading in a reading.json.

    Raises
    ------
    UnreadableFile, InvalidInput
        If it is missing, is no JSON, does not hold, or tells that the photographs were refused.
    """
    document = checked(ReadingDocument, read_json(path, name=name, hint=HINT), name=name)
    if document.refused is not None:
        raise InvalidInput(
            {"refused": f"the photographs were refused: {document.refused.text}"},
            source=name,
            hint=document.refused.remedy,
        )
    card = card_from_document(document.card)
    by_id = {p.id: p for p in card.patches}
    lines = {k.id: k for k in card.lines}
    numbers = document.model_dump(
        include={
            "bare_wood_L",
            "bare_wood_L_sd",
            "paper_L",
            "print_scale_error",
            "offset_L_sd",
            "gain_sd",
            "pivot_L",
        }
    )
    return Reading(
        card=card,
        patches=tuple(
            PatchReading(
                patch=by_id[p.id],
                tone_L=p.tone_L,
                tone_L_sd=p.tone_L_sd,
                own_L_sd=p.own_L_sd,
                spread_L=p.spread_L,
                pixels=p.pixels,
                flags=tuple(p.flags),
            )
            for p in document.patches
        ),
        lines=tuple(
            LineReading(
                line=lines[k.id],
                width_mm=k.width_mm,
                width_sd_mm=k.width_sd_mm,
                flags=tuple(k.flags),
                shift_mm=k.shift_mm,
                shift_sd_mm=k.shift_sd_mm,
            )
            for k in document.lines
        ),
        photographs=sum(1 for p in document.photographs if p.refused is None),
        **numbers,
    )
