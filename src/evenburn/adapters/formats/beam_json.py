"""beam.json: the beam of a lens as a focus ladder told."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from evenburn.adapters.formats.json_file import read_json
from evenburn.adapters.formats.strict import StrictModel, checked

Length = Annotated[float, Field(gt=0.0, le=1000.0)]
Place = Annotated[float, Field(ge=-1000.0, le=1000.0)]
Spread = Annotated[float, Field(ge=0.0, le=1000.0)]
Name = Annotated[str, Field(min_length=1, max_length=120)]
HINT = "beam.json is written by `evenburn fit`; take it unchanged."


class BeamProvenanceDocument(StrictModel):
    """Where the numbers come from."""

    kind: Literal["fitted"] = Field(description="They were fitted to what was measured.")
    date: Annotated[str, Field(pattern=r"^\d{4}-\d{2}-\d{2}$")] = Field(description="When.")
    detail: Annotated[str, Field(max_length=400)] = Field(description="From what, in words.")


class BeamRadiusDocument(StrictModel):
    """The beam's radius at one set-up, from its own lines alone."""

    focus_offset_mm: Place = Field(description="Focus offset by the machine file the ladder was made with. [mm]")
    across: Literal["x", "y"] = Field(description="The axis along which the radius was measured: across the lines.")
    radius_mm: Length = Field(description="Radius, 1/e². [mm]")
    radius_sd_mm: Spread = Field(description="Its standard deviation. [mm]")


class BeamLineDocument(StrictModel):
    """One line of the ladder."""

    id: Name = Field(description="Its name on the card.")
    width_mm: Annotated[float, Field(ge=0.0, le=100.0)] = Field(description="As read; 0: not seen. [mm]")
    residual_mm: Place = Field(description="Read less fitted; 0 where it was not seen. [mm]")


class BeamDocument(StrictModel):
    """beam.json, schema version 1."""

    schema_version: Literal[1] = Field(description="Version of this file's form.")
    machine: Name = Field(description="Name of the machine.")
    lens: Name = Field(description="Name of the lens.")
    wood: Name = Field(description="Wood the ladder was burnt on.")
    provenance: BeamProvenanceDocument = Field(description="Where the numbers come from.")
    waist_radius_mm: Length = Field(description="Waist radius, 1/e². [mm]")
    waist_radius_sd_mm: Spread = Field(description="Its standard deviation. [mm]")
    rayleigh_length_mm: Length = Field(description="Distance from the waist at which the radius has grown by √2. [mm]")
    rayleigh_length_sd_mm: Spread = Field(description="Its standard deviation. [mm]")
    waist_offset_mm: Place = Field(
        description="Where the waist lies, as focus offset by the machine file the ladder was made with. [mm]"
    )
    waist_offset_sd_mm: Spread = Field(description="Its standard deviation. [mm]")
    astigmatism_mm: Place = Field(description="Waist across x less waist across y, along the stand-off. [mm]")
    astigmatism_sd_mm: Spread = Field(description="Its standard deviation. [mm]")
    focus_stand_off_mm: Length | None = Field(
        default=None,
        description="Stand-off at which the waist lies on the work; not there without the machine file. [mm]",
    )
    threshold_J_per_mm2: Annotated[float, Field(gt=0.0, le=1e6)] = Field(
        description="Dose at which a line ends on this wood, at a dwell of 1 ms. [J/mm²]"
    )
    threshold_sd_share: Spread = Field(description="Its standard deviation, as a share of it.")
    radii: list[BeamRadiusDocument] = Field(description="Each set-up and axis by itself.")
    lines: list[BeamLineDocument] = Field(description="Every line that was read.")


def read_beam(path: Path, *, name: str) -> BeamDocument:
    """Return the document in a beam.json.

    Raises
    ------
    UnreadableFile, InvalidInput
        If it is missing, is no JSON, or does not hold.
    """
    return checked(BeamDocument, read_json(path, name=name, hint=HINT), name=name)


def lens_lines(document: BeamDocument) -> tuple[str, ...]:
    """Return the lines for this lens in machine.toml, rounded well below their standard deviations."""
    lines = [
        f"waist_radius_mm = {document.waist_radius_mm:.4f}",
        f"rayleigh_length_mm = {document.rayleigh_length_mm:.3f}",
    ]
    if document.focus_stand_off_mm is not None:
        lines.append(f"focus_stand_off_mm = {document.focus_stand_off_mm:.2f}")
    return tuple(lines)
