"""motion.json: how a bench moves, as a stopwatch and a motion card told."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from evenburn.adapters.formats.json_file import read_json
from evenburn.adapters.formats.strict import StrictModel, checked

Positive = Annotated[float, Field(gt=0.0, le=1e9)]
Spread = Annotated[float, Field(ge=0.0, le=1e9)]
Seconds = Annotated[float, Field(ge=0.0, le=100_000.0)]
Shift = Annotated[float, Field(ge=-100.0, le=100.0)]
Name = Annotated[str, Field(min_length=1, max_length=120)]
HINT = "motion.json is written by `evenburn fit`; take it unchanged."


class MotionProvenanceDocument(StrictModel):
    """Where the numbers come from."""

    kind: Literal["measured"] = Field(description="They were measured on this bench.")
    date: Annotated[str, Field(pattern=r"^\d{4}-\d{2}-\d{2}$")] = Field(description="When they were fitted.")
    detail: Annotated[str, Field(max_length=400)] = Field(description="From what, in words.")


class TimeDocument(StrictModel):
    """One time taken with the stopwatch."""

    id: Name = Field(description="The raster it is of, or card.")
    measured_s: Positive = Field(description="As entered. [s]")
    residual_s: float = Field(description="Measured less reckoned with the fitted numbers. [s]")
    doubtful: bool = Field(description="Whether it fits the others so badly that it should be taken again.")


class ShiftDocument(StrictModel):
    """How far strokes burnt towards + land from strokes burnt towards −, at one speed."""

    vernier: Name = Field(description="Which vernier of the card.")
    speed_mm_per_s: Positive = Field(description="Its speed. [mm/s]")
    shift_mm: Shift = Field(description="Towards + is above 0. [mm]")
    shift_sd_mm: Spread = Field(description="Standard deviation of it. [mm]")
    residual_mm: Shift = Field(description="Seen less reckoned with the fitted numbers. [mm]")
    by: Literal["photograph", "eye"] = Field(description="How it was read.")
    doubtful: bool = Field(description="Whether it fits the others badly.")


class MotionDocument(StrictModel):
    """motion.json, schema version 1; what was not measured is not there."""

    schema_version: Literal[1] = Field(description="Version of this file's form.")
    machine: Name = Field(description="Name of the machine.")
    provenance: MotionProvenanceDocument = Field(description="Where the numbers come from.")
    accel_x_mm_per_s2: Positive | None = Field(default=None, description="Acceleration along x. [mm/s²]")
    accel_x_sd_mm_per_s2: Spread | None = Field(default=None, description="Its standard deviation. [mm/s²]")
    accel_y_mm_per_s2: Positive | None = Field(default=None, description="Acceleration along y. [mm/s²]")
    accel_y_sd_mm_per_s2: Spread | None = Field(default=None, description="Its standard deviation. [mm/s²]")
    jerk_mm_per_s3: Positive | None = Field(
        default=None, description="Jerk of both axes; not there where the times show no limit. [mm/s³]"
    )
    jerk_sd_mm_per_s3: Spread | None = Field(default=None, description="Its standard deviation. [mm/s³]")
    line_overhead_s: Seconds | None = Field(default=None, description="What the controller adds to each scan line. [s]")
    line_overhead_sd_s: Spread | None = Field(default=None, description="Its standard deviation. [s]")
    line_overhead_from: Literal["card", "rasters"] | None = Field(
        default=None, description="From lines that burn (the card's own time), or from strokes with the laser off."
    )
    hand_sd_s: Spread | None = Field(default=None, description="Standard deviation of one time, as the takes show. [s]")
    reversal_offset_mm: Shift | None = Field(
        default=None, description="How far a line burnt towards + lands, towards +, from one burnt towards −. [mm]"
    )
    reversal_offset_sd_mm: Spread | None = Field(default=None, description="Its standard deviation. [mm]")
    rise_time_s: Seconds | None = Field(default=None, description="Time constant of the laser's answer. [s]")
    rise_time_sd_s: Spread | None = Field(default=None, description="Its standard deviation. [s]")
    times: list[TimeDocument] = Field(default=[], description="The times, in the order they were entered.")
    shifts: list[ShiftDocument] = Field(default=[], description="What the verniers showed.")


def read_motion(path: Path, *, name: str) -> MotionDocument:
    """Return the document in a motion.json.

    Raises
    ------
    UnreadableFile, InvalidInput
        If it is missing, is no JSON, or does not hold.
    """
    return checked(MotionDocument, read_json(path, name=name, hint=HINT), name=name)


def machine_lines(document: MotionDocument) -> tuple[str, ...]:
    """Return the lines of machine.toml that a motion.json says, rounded well below their standard deviations."""
    d = document
    lines = []
    for key, value, form in (
        ("accel_x_mm_per_s2", d.accel_x_mm_per_s2, ".0f"),
        ("accel_y_mm_per_s2", d.accel_y_mm_per_s2, ".0f"),
        ("jerk_mm_per_s3", d.jerk_mm_per_s3, ".0f"),
        ("line_overhead_s", d.line_overhead_s, ".4f"),
        ("rise_time_s", d.rise_time_s, ".6f"),
        ("reversal_offset_mm", d.reversal_offset_mm, ".4f"),
        ("reversal_sd_mm", d.reversal_offset_sd_mm, ".4f"),
    ):
        if (
            key == "line_overhead_s"
            and d.line_overhead_from == "rasters"
            and (value or 0.0) < 2.0 * (d.line_overhead_sd_s or 0.0)
        ):
            continue  # not told apart from none, and not of lines that burn
        if value is not None:
            text = format(value, form)
            lines.append(f"{key} = {text if '.' in text else text + '.0'}")
    return tuple(lines)
