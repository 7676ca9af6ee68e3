"""What is set at the machine for one mark, and what is predicted to come of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from evenburn.core.nouns.mark import Axis, Direction

FOCUSING_s = 240.0  # to set the stand-off once: starting value, from memory

Way = Literal["scan", "line", "cut"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """Power, speed, line spacing, focus offset, passes, scan axis and air for one mark.

    `power_fraction` is the machine's own scale; `stand_off_mm` is nozzle to surface. A photo's `power_W` is that of
    its darkest (on slate: lightest) tone, and `power_low_W` that of its faintest, `power_low_fraction` the same on the machine's own scale; None for even tone.
    Where the outlines are followed, `line_spacing_mm` is the width of what is burnt and `scan_axis` the axis most of the path runs along.
    """

    power_W: float
    power_fraction: float
    speed_mm_per_s: float
    line_spacing_mm: float
    focus_offset_mm: float
    stand_off_mm: float
    passes: int
    scan_axis: Axis
    air_kPa: float | None
    power_low_W: float | None = None
    power_low_fraction: float | None = None
    way: Way = "scan"
    direction: Direction = "both ways"


@dataclass(frozen=True, slots=True, kw_only=True)
class Predicted:
    """What a recipe is predicted to give.

    `tone_L_sd` holds reading, fit, board to board and evenness together. `ripple_L` is the peak-to-valley banding
    across the lines. `detail_mm` is the narrowest stroke and gap that survive. `dwell_ms` is 2 w / v.
    """

    tone_L: float
    tone_L_sd: float
    ripple_L: float
    ripple_limit_L: float
    detail_mm: float
    dose_J_per_mm2: float
    dwell_ms: float
    beam_radius_mm: float
    run_up_mm: float
    time_s: float
    time_lower_bound_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Binding:
    """A constraint that holds the recipe back, in words with numbers; `saves_s` is what the loosening named saves. [s]"""

    constraint: str
    text: str
    saves_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Concession:
    """A wish that had to give way, by how much, in words with numbers; `asked` and `got` share the unit in `unit`."""

    constraint: str
    asked: float
    got: float
    unit: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Alternative:
    """One recipe along the trade-off of time, smoothness and sharpness.

    `name` says what it is for, `text` how it differs from the recommended one. `recommended` marks that one itself.
    """

    name: str
    recipe: Recipe
    time_s: float
    ripple_L: float
    detail_mm: float
    text: str
    recommended: bool = False
