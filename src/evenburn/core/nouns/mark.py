"""Marks and pieces: which artwork goes where, and how it is treated."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from evenburn.core.nouns.blank import Blank

Treatment = Literal["solid", "photo"]
Reproduction = Literal["continuous", "halftone"]
Axis = Literal["x", "y"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Hold:
    """Settings the person insists on; whatever is None is free for the recipe."""

    speed_mm_per_s: float | None = None
    power_W: float | None = None
    line_spacing_mm: float | None = None
    focus_offset_mm: float | None = None
    passes: int | None = None
    scan_axis: Axis | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """One artwork at one place on one blank with one treatment.

    `art_label` says in words what the artwork is; the pixels come from a renderer handed to the planner beside it.
    """

    id: str
    art_label: str
    treatment: Treatment
    tone_L: float
    place_mm: tuple[float, float]
    size_mm: tuple[float, float]
    hold: Hold
    reproduction: Reproduction = "continuous"
    air_kPa: float | None = None
    sharpness_mm: float = 0.25
    reading_distance_mm: float = 300.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """A blank with its marks, and where on the bed it lies.

    `place_bed_mm` is the lower left corner of the box of the turned blank; `turn_deg` is counter-clockwise.
    """

    id: str
    name: str
    wood_id: str
    blank: Blank
    place_bed_mm: tuple[float, float]
    turn_deg: float
    marks: tuple[Mark, ...]
