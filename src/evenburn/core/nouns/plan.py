"""What planning a batch yields: the values that plan.json, the run sheet and the terminal all show."""

from __future__ import annotations

from dataclasses import dataclass

from evenburn.core.nouns.check import Check
from evenburn.core.nouns.machine import Lens, Machine
from evenburn.core.nouns.mark import Mark, Piece
from evenburn.core.nouns.recipe import Binding, Predicted, Recipe
from evenburn.core.nouns.wood import Wood

Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkPlan:
    """One mark, planned. `program_file` is None where a stop forbids a program; names are relative to the folder.

    `reproduction` says how a photograph's tones are made, `reproduction_why` why so; None for everything else.
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


@dataclass(frozen=True, slots=True, kw_only=True)
class PiecePlan:
    """One piece, planned, with its place in the order of the batch (1 is first)."""

    piece: Piece
    wood: Wood
    start_order: int
    marks: tuple[MarkPlan, ...]
    checks: tuple[Check, ...]

    def time_s(self) -> float:
        """Return machine time of all marks that have a program. [s]"""
        return sum(m.predicted.time_s for m in self.marks if m.program_file is not None)

    def stopped(self) -> bool:
        """Return whether any check forbids burning this piece or one of its marks."""
        return any(c.level == "stop" for c in self.checks)


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchPlan:
    """The whole batch, its pieces in the order they are to be burnt."""

    name: str
    subtitle: str
    date: str
    machine: Machine
    lens: Lens
    pieces: tuple[PiecePlan, ...]

    def total_time_s(self) -> float:
        """Return machine time of all programs. [s]"""
        return sum(p.time_s() for p in self.pieces)
