"""Marks worked through from shapes of known outline, at settings that are held, so that nothing is searched for long."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from evenburn.core.nouns.machine import Machine
from evenburn.core.nouns.mark import Hold, Mark, Piece
from evenburn.core.nouns.path import Polyline
from evenburn.core.nouns.plan import MarkPlan, PiecePlan
from evenburn.core.nouns.wood import Wood
from evenburn.core.optics.beam import beam_of_lens
from evenburn.core.planning.mark_plan import MarkWork, wish_for, work_mark
from evenburn.core.planning.recipe import search
from evenburn.core.planning.survey import survey_mark
from unit.core.examples import CURVE, LENS, MACHINE

Picture = NDArray[np.float32]
SUB = 2  # subpixels a side
HELD: dict[str, Any] = {
    "speed_mm_per_s": 300.0,
    "line_spacing_mm": 0.1,
    "focus_offset_mm": 0.0,
    "passes": 1,
    "scan_axis": "x",
}
WOOD = Wood(
    id="hard-maple",
    name="hard maple",
    surface="bare",
    curve=CURVE,
    bare_ab=(6.0, 20.0),
    full_ab=(6.0, 10.0),
    grain=False,
    burns_unevenly=False,
    finishing=(),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shaped:
    """Artwork of one shape, drawn in a box of a size, origin lower left. [mm]"""

    shape: BaseGeometry
    size_mm: tuple[float, float]

    def ink(self, *, width_px: int, height_px: int) -> Picture:
        """Return coverage by counting subpixels, top row first."""
        x = (np.arange(width_px * SUB) + 0.5) * self.size_mm[0] / (width_px * SUB)
        y = self.size_mm[1] - (np.arange(height_px * SUB) + 0.5) * self.size_mm[1] / (height_px * SUB)
        shapely.prepare(self.shape)
        inside = shapely.contains_xy(self.shape, *np.meshgrid(x, y))
        return inside.reshape(height_px, SUB, width_px, SUB).mean(axis=(1, 3)).astype(np.float32)

    def light(self, *, width_px: int, height_px: int) -> Picture:
        """Return the reverse of it."""
        return np.asarray(1.0 - self.ink(width_px=width_px, height_px=height_px), np.float32)

    def outlines(self, *, width_mm: float, height_mm: float) -> tuple[Polyline, ...]:
        """Return nothing."""
        del width_mm, height_mm
        return ()


def hold(**changes: Any) -> Hold:
    """Return the held settings with some of them changed."""
    return Hold(**(HELD | changes))


def worked(mark: Mark, piece: Piece, *, shape: BaseGeometry, bench: Machine = MACHINE) -> MarkWork:
    """Return a mark worked through as planning does it, its shape drawn in the mark's own box."""
    artwork = Shaped(shape=shape, size_mm=mark.size_mm)
    survey = survey_mark(bench, piece=piece, mark=mark, wood=WOOD, artwork=artwork)
    wish = wish_for(bench, lens=LENS, beam=beam_of_lens(LENS), curve=WOOD.curve, piece=piece, mark=mark, survey=survey)
    return work_mark(wish, search(wish), survey=survey, piece=piece, mark=mark, artwork=artwork)


def planned(piece: Piece, works: list[MarkWork], *, with_programs: bool = True, wood: Wood = WOOD) -> PiecePlan:
    """Return a piece as it stands in the plan."""
    marks = tuple(
        MarkPlan(
            mark=work.mark,
            box_bed_mm=work.survey.box_bed_mm,
            recipe=work.recipe,
            predicted=work.predicted,
            binding=(),
            stroke_mm=None,
            gap_mm=None,
            program_file=f"{piece.id}-{work.mark.id}.ngc" if with_programs else None,
            image_file="",
            drawing_file="",
            proof_file="",
            reproduction=work.reproduction,
        )
        for work in works
    )
    return PiecePlan(piece=piece, wood=wood, start_order=1, marks=marks, checks=())
