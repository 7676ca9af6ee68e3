"""Marks and pieces: which artwork goes where, and how it is treated."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from evenburn.core.nouns.blank import Blank

Treatment = Literal["solid", "photo", "line", "cut"]
Halftone = Literal["floyd-steinberg", "jarvis", "stucki", "ordered", "blue-noise", "clustered"]
Reproduction = Literal["auto", "continuous", "halftone"] | Halftone
Keeps = Literal["part", "opening", "line"]
Axis = Literal["x", "y"]
Direction = Literal["both ways", "one way"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Hold:
    """Settings the person insists on; whatever is None is free for the recipe."""

    speed_mm_per_s: float | None = None
    power_W: float | None = None
    line_spacing_mm: float | None = None
    focus_offset_mm: float | None = None
    passes: int | None = None
    scan_axis: Axis | None = None
    direction: Direction | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Preparation:
    """How a photograph is prepared before its tones are laid onto the wood's.

    Attributes
    ----------
    local_contrast : 0 leaves it alone, 1 lifts the contrast of what is small against the picture as far as it helps.
    sharpen : 0 leaves it alone, 1 gives back in full what beam and lines will blur.
    fade_mm : width of the fade to bare wood along the picture's edge; 0 for none. [mm]
    background_L : tones of the picture at and above it (on slate: at and below) become bare; None leaves them. [L*]
    """

    local_contrast: float = 0.35
    sharpen: float = 0.7
    fade_mm: float = 0.0
    background_L: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Bridges:
    """Places where a cut leaves the part hanging: how many on each outline, and how wide. [mm]"""

    count: int
    width_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """One artwork at one place on one blank with one treatment.

    `art_label` says in words what the artwork is; the pixels come from a renderer handed to the planner beside it.
    `line_mm` is the wished width of a followed line (None: as narrow as the beam makes it); `keeps` says what of a cut
    comes out at its drawn size. `preparation` is a photograph's.
    """

    id: str
    art_label: str
    treatment: Treatment
    tone_L: float
    place_mm: tuple[float, float]
    size_mm: tuple[float, float]
    hold: Hold
    reproduction: Reproduction = "auto"
    air_kPa: float | None = None
    sharpness_mm: float = 0.25
    reading_distance_mm: float = 300.0
    preparation: Preparation = field(default_factory=Preparation)
    line_mm: float | None = None
    keeps: Keeps = "part"
    bridges: Bridges | None = None


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
