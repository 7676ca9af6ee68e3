"""Test cards, the printed mat they are photographed in, and what is read from the photograph."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Box = tuple[float, float, float, float]
Point = tuple[float, float]
CardKind = Literal["wood", "strip", "beam", "motion"]
# flags of a patch as read
GLARE, SHADOW, SATURATED, BLURRED, FEW, UNEVEN = "glare", "shadow", "saturated", "blurred", "few-pixels", "uneven"
SET_ASIDE = frozenset({GLARE, SHADOW, SATURATED, FEW, "photographs-disagree"})  # a fit leaves these patches out


@dataclass(frozen=True, slots=True, kw_only=True)
class CardPatch:
    """One even patch of a card: where it lies on the card, and the recipe it is burnt with."""

    id: str
    box_mm: Box
    power_W: float
    power_fraction: float
    speed_mm_per_s: float
    line_spacing_mm: float
    passes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class CardLine:
    """One single line of a ladder, burnt from one point of the card to another at its own focus offset."""

    id: str
    from_mm: Point
    to_mm: Point
    power_W: float
    power_fraction: float
    speed_mm_per_s: float
    focus_offset_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CardVernier:
    """Two rows of strokes on a motion card that touch: burnt towards + above the seam, towards − below it.

    A row has one stroke for each number, 0 in the middle; below the seam they stand wider apart by `step_mm`, so that the
    strokes of number n line up where lines burnt towards + land n steps further than lines burnt towards −. Line ids are the
    vernier's id, > or <, and the number with its sign.
    """

    id: str
    speed_mm_per_s: float
    line_spacing_mm: float
    step_mm: float
    row_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CardRaster:
    """A program to be timed with a stopwatch: strokes to and fro on one line; of the card's own, how many lines burn."""

    id: str
    name: str
    program: str
    axis: Literal["x", "y"]
    strokes: int
    length_mm: float
    speed_mm_per_s: float
    expected_s: float
    burns: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class CornerMark:
    """A burnt square by which the card is found in the photograph; the one with a hole tells which way it lies."""

    id: str
    box_mm: Box
    hole_mm: Box | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class MatMarker:
    """One fiducial marker of the mat: its number in its dictionary, its corners on the page, clockwise from upper left."""

    id: int
    dictionary: str
    corners_mm: tuple[Point, Point, Point, Point]


@dataclass(frozen=True, slots=True, kw_only=True)
class GreyStep:
    """One grey patch of the mat; `nominal_L` is the L* of its colour in the PDF, not of what a printer makes of it."""

    box_mm: Box
    nominal_L: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Mat:
    """The printed frame round a card. Page coordinates in mm, origin lower left, y up."""

    page: Literal["A4", "Letter"]
    page_mm: tuple[float, float]
    window_mm: Box
    markers: tuple[MatMarker, ...]
    grey_steps: tuple[GreyStep, ...]
    scale_bar_mm: tuple[Point, Point]


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """A card as designed. Places are on the card: mm, origin at its lower left corner, y up.

    `origin_bed_mm` is the card's lower left corner on the bed. The middle of the card comes under the middle of the mat's
    window, give or take 2 mm and 2 degrees. `focus_offset_mm` is that of the whole card; of a ladder each line has its own.
    `beam_radius_mm` is the beam's radius (1/e²) at that focus offset, as far as it was known when the card was made.
    """

    kind: CardKind
    wood_id: str
    machine_name: str
    lens_name: str
    size_mm: tuple[float, float]
    origin_bed_mm: Point
    focus_offset_mm: float
    beam_radius_mm: float
    patches: tuple[CardPatch, ...]
    lines: tuple[CardLine, ...]
    corner_marks: tuple[CornerMark, ...]
    mat: Mat
    verniers: tuple[CardVernier, ...] = ()
    rasters: tuple[CardRaster, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PatchReading:
    """What was read of one patch: L* of its mean linear luminance, its standard deviation, pixels used, and doubts.

    `spread_L` is the standard deviation of the tone inside the patch, grain and blotches together. `own_L_sd` is the part
    of `tone_L_sd` that this patch does not share with the others of the reading.
    """

    patch: CardPatch
    tone_L: float
    tone_L_sd: float
    spread_L: float
    pixels: int
    flags: tuple[str, ...] = ()
    own_L_sd: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LineReading:
    """What was read of one single line: how wide it looks, 0 where none was seen, and its standard deviation.

    Of a stroke on a motion card it is the length, and `shift_mm` how far its middle lies, towards +, from where it is drawn.
    """

    line: CardLine
    width_mm: float
    width_sd_mm: float
    flags: tuple[str, ...] = ()
    shift_mm: float | None = None
    shift_sd_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What was read from one or more photographs of a card.

    `print_scale_error` is printed over nominal length of the mat, minus 1. `offset_L_sd` and `gain_sd` are what all
    patches have in common: how uncertain paper and toner leave the lightness scale. A tone T may be off by the one, and by
    (T - `pivot_L`) times the other, independently.
    """

    card: Card
    patches: tuple[PatchReading, ...]
    bare_wood_L: float
    bare_wood_L_sd: float
    paper_L: float
    print_scale_error: float
    offset_L_sd: float
    gain_sd: float
    photographs: int
    pivot_L: float = 50.0
    lines: tuple[LineReading, ...] = ()
