"""What planning a batch yields: the values that plan.json, the run sheet and the terminal all show."""

from __future__ import annotations

from dataclasses import dataclass, field

from evenburn.core.nouns.check import Check
from evenburn.core.nouns.confirmation import Confirmation
from evenburn.core.nouns.machine import Lens, Machine
from evenburn.core.nouns.mark import Mark, Piece
from evenburn.core.nouns.recipe import Alternative, Binding, Concession, FOCUSING_s, Predicted, Recipe
from evenburn.core.nouns.wood import Wood

Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class LensFacts:
    """What a lens makes of the beam; `in_use` marks the one the batch is planned with.

    `spot_diameter_mm` is the 1/e² diameter at the waist. `depth_mm` is how far from the waist, either way, the radius has
    grown by `growth`; beyond `rayleigh_length_mm` the spot is more than √2 of its least.
    """

    name: str
    focus_stand_off_mm: float
    waist_radius_mm: float
    spot_diameter_mm: float
    rayleigh_length_mm: float
    depth_mm: float
    growth: float
    in_use: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class FocusTolerance:
    """How far the stand-off may be off, nearer (`towards_mm`) and further (`away_mm`), before something gives. [mm]

    It is meant for any place of the surface, so the blank's own unevenness is part of it. `towards_gives` and
    `away_gives` name what gives first: "banding", "detail", "tone", "width", "cut", "nozzle" (it touches), or "" where
    nothing does within what was looked at. `text` says it in short: "0.4 mm nearer, then lines show; 0.7 mm further,
    then detail is lost".
    """

    towards_mm: float
    away_mm: float
    towards_gives: str
    away_gives: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LensOffer:
    """What another lens of the machine would do for a mark; `saves_s` is below 0 where it takes longer. [s]"""

    lens: str
    stand_off_mm: float
    focus_offset_mm: float
    time_s: float
    saves_s: float
    ripple_L: float
    detail_mm: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Forgotten:
    """What a mark would look like with the head left at the height of the one burnt before it.

    `off_mm` is how far the surface then lies from where it should, below 0 nearer to the nozzle. `stand_off_mm` is what
    is left between nozzle and surface; `touches` where the surface, at its highest, reaches the nozzle. `chars` where the
    char limit is exceeded that the plan keeps.
    """

    off_mm: float
    stand_off_mm: float
    touches: bool
    spot_diameter_mm: float
    planned_spot_diameter_mm: float
    tone_L: float
    planned_tone_L: float
    ripple_L: float
    ripple_limit_L: float
    detail_mm: float
    planned_detail_mm: float
    chars: bool
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SetUp:
    """The stand-off set once, for this thickness, before a mark; `bed_down_mm` is None where nothing is known to
    have been set before.

    `tolerance` is the narrowest of the marks burnt with it until it is set again, on this piece or the next ones.
    """

    mark_id: str
    thickness_mm: float
    stand_off_mm: float
    bed_down_mm: float | None
    tolerance: FocusTolerance | None
    forgotten: Forgotten | None


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkPlan:
    """One mark, planned. `program_file` is None where a stop forbids a program; names are relative to the folder.

    `reproduction` says how a photograph's tones are made, `reproduction_why` why so; None for everything else.
    `gave_way` are the wishes that could not be met, `choice` the recipes to choose from, the recommended one among them.
    `islands` is in how many parts a scanned mark is swept. `trace_file` walks round the mark with the laser off.
    `tolerance` is how far its stand-off may be off, `other_lenses` what the machine's other lenses would do for it.
    """

    mark: Mark
    box_bed_mm: Box
    recipe: Recipe
    predicted: Predicted
    binding: tuple[Binding, ...]
    stroke_mm: float | None
    gap_mm: float | None
    program_file: str | None
    image_file: str
    drawing_file: str
    proof_file: str
    reproduction: str | None = None
    reproduction_why: str = ""
    gave_way: tuple[Concession, ...] = ()
    choice: tuple[Alternative, ...] = ()
    islands: int = 1
    trace_file: str | None = None
    tolerance: FocusTolerance | None = None
    other_lenses: tuple[LensOffer, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PiecePlan:
    """One piece, planned, with its place in the order of the batch (1 is first).

    `marks` are none where its material must not be burnt: nothing is planned of that.
    `set_ups` are the times the stand-off is set on it, in order; none where what the piece before left still holds.
    `confirmation` tells who made sure that its doubtful material may be burnt; None where it is not doubtful.
    """

    piece: Piece
    wood: Wood
    start_order: int
    marks: tuple[MarkPlan, ...]
    checks: tuple[Check, ...]
    set_ups: tuple[SetUp, ...] = ()
    confirmation: Confirmation | None = None

    def time_s(self) -> float:
        """Return machine time of all marks that have a program. [s]"""
        return sum(m.predicted.time_s for m in self.marks if m.program_file is not None)

    def forbidden(self) -> bool:
        """Return whether its material must not be burnt at all, whatever is set."""
        return any(c.code == "forbidden-material" for c in self.checks)

    def stopped(self) -> bool:
        """Return whether any check forbids burning this piece or one of its marks."""
        return any(c.level == "stop" for c in self.checks)


@dataclass(frozen=True, slots=True, kw_only=True)
class SharedRun:
    """One program for several marks that lie on the bed at once, instead of one program each.

    `marks` are (piece id, mark id) in the order of the batch; `saved_s` is against their programs one after another. [s]
    """

    marks: tuple[tuple[str, str], ...]
    file: str
    time_s: float
    saved_s: float
    time_lower_bound_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchDay:
    """What a bench knows of the day that a batch is burnt on.

    `change_over_s` is reckoned before each piece and each time the focus is set within one, [s]; `of_settings` tells whether
    somebody's settings name it, else it is a starting value. `before_mm` is thickness and stand-off as a burn left them last,
    None where that is not known. `burnt` are the entries of the batch that are burnt already: number from 1, and local
    time as "2026-06-09T10:12"; `spoiled` are the numbers of those that came out so.
    """

    change_over_s: float = FOCUSING_s
    of_settings: bool = False
    before_mm: tuple[float, float] | None = None
    burnt: tuple[tuple[int, str], ...] = ()
    spoiled: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class BurntPiece:
    """A piece of a batch that is burnt already and so not planned: its place in the order, and when, in local time."""

    piece: Piece
    wood: Wood
    start_order: int
    burnt_at: str
    spoiled: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchPlan:
    """The whole batch, its pieces in the order they are to be burnt; `lens_facts` are of every lens of the machine.

    `runs` are offered beside the programs of the marks: whoever takes one leaves out the programs it stands for.
    `burnt` are those of its pieces that are burnt already, which are not among `pieces`.
    """

    name: str
    subtitle: str
    date: str
    machine: Machine
    lens: Lens
    pieces: tuple[PiecePlan, ...]
    lens_facts: tuple[LensFacts, ...] = ()
    runs: tuple[SharedRun, ...] = ()
    day: BenchDay = field(default_factory=BenchDay)
    burnt: tuple[BurntPiece, ...] = ()

    def focusings(self) -> int:
        """Return how often the stand-off is set."""
        return sum(len(p.set_ups) for p in self.pieces)

    def total_time_s(self) -> float:
        """Return machine time of all programs. [s]"""
        return sum(p.time_s() for p in self.pieces)
