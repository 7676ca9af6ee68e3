"""Several marks in one run: those whose recipes agree, that lie on the bed at once, and that a line may have in common.

Each mark keeps its own power. For their lines to coincide all are drawn on the lattice of lines of the first of them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from evenburn.core.art.detail import Widths
from evenburn.core.art.lattice import on_lattice, placed
from evenburn.core.art.picture import Artwork, Grid, grid_in_box
from evenburn.core.layout.islands import planned_events, turn_mm
from evenburn.core.layout.place import outline_on_bed
from evenburn.core.motion.bounds import boxes_mm, overhang_mm
from evenburn.core.motion.timing import program_time_s, time_lower_bound_s
from evenburn.core.nouns.events import Event
from evenburn.core.nouns.machine import Lens, Machine
from evenburn.core.nouns.mark import Axis, Direction, Piece
from evenburn.core.nouns.plan import MarkPlan, PiecePlan
from evenburn.core.nouns.wood import Wood
from evenburn.core.optics.beam import beam_of_lens
from evenburn.core.planning.mark_plan import (
    MOST_PIXELS,
    PowerPicture,
    patch_of,
    photo_light,
    photo_picture_W,
    solid_picture_W,
)
from evenburn.core.planning.wish import Wish

WORTH = 0.01  # a run is kept if it saves more than this part of the time: what plan and machine may differ by anyway
SHARED_PIXELS = MOST_PIXELS // 4  # of one run: its pictures are in memory at once, one of them four times as fine
SAME_DECIMALS = 6  # settings that agree to so many decimals are one setting
TOUCHING_mm2 = 1e-6  # blanks may lie edge to edge
Agreement = tuple[float, float, float, int, Axis, Direction, float | None, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Member:
    """One mark that may be burnt, with its piece and its wood."""

    piece: Piece
    wood: Wood
    plan: MarkPlan

    def agreement(self) -> Agreement:
        """Return the settings that marks of one run have in common, the thickness of their blanks among them."""
        recipe = self.plan.recipe
        return (
            round(recipe.speed_mm_per_s, SAME_DECIMALS),
            round(recipe.line_spacing_mm, SAME_DECIMALS),
            round(recipe.focus_offset_mm, SAME_DECIMALS),
            recipe.passes,
            recipe.scan_axis,
            recipe.direction,
            None if recipe.air_kPa is None else round(recipe.air_kPa, SAME_DECIMALS),
            round(self.piece.blank.thickness_mm, SAME_DECIMALS),
        )

    def pixels(self) -> int:
        """Return how many pixels its picture has."""
        x0, y0, x1, y1 = self.plan.box_bed_mm
        return int((x1 - x0) * (y1 - y0) / self.plan.recipe.line_spacing_mm**2)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RunPlan:
    """Several marks in one run: its events, its time, what it saves against one program after another, and its bound."""

    members: tuple[Member, ...]
    events: tuple[Event, ...]
    time_s: float
    saved_s: float
    time_lower_bound_s: float


def members_of(machine: Machine, pieces: Sequence[PiecePlan]) -> tuple[Member, ...]:
    """Return the marks that could share a run, in the order of the batch: scanned, with a program, whole on the bed."""
    return tuple(
        Member(piece=piece.piece, wood=piece.wood, plan=mark)
        for piece in pieces
        for mark in piece.marks
        if mark.program_file is not None
        and mark.recipe.way == "scan"
        and not any(overhang_mm(mark.box_bed_mm, bed_x_mm=machine.bed_x_mm, bed_y_mm=machine.bed_y_mm))
    )


def groups_of(machine: Machine, pieces: Sequence[PiecePlan]) -> tuple[tuple[Member, ...], ...]:
    """Return groups of marks, two and more, that one run could burn quicker than one program for each.

    Their settings agree, their blanks lie beside each other, and each has lines in common with another of its group over
    a gap that is passed sooner than a line is turned round. Whether it pays is for `run_of` to say.

    Source
    ------
    Own derivation: nothing but a shared line saves time, and over a wider gap a shared line saves none (`turn_mm`).
    """
    agreed: dict[Agreement, list[Member]] = {}
    for member in members_of(machine, pieces):
        agreed.setdefault(member.agreement(), []).append(member)
    groups = [group for alike in agreed.values() if len(alike) > 1 for group in _near_groups(machine, alike)]
    return tuple(groups)


def _near_groups(machine: Machine, alike: Sequence[Member]) -> list[tuple[Member, ...]]:
    recipe = alike[0].plan.recipe
    reach_mm = turn_mm(
        machine,
        axis=recipe.scan_axis,
        speed_mm_per_s=recipe.speed_mm_per_s,
        line_spacing_mm=recipe.line_spacing_mm,
        direction=recipe.direction,
    )
    boxes = np.array([member.plan.box_bed_mm for member in alike])
    low, high = (boxes[:, :2], boxes[:, 2:]) if recipe.scan_axis == "x" else (boxes[:, 1::-1], boxes[:, :1:-1])
    lying = _Lying(alike)
    groups: dict[int, list[int]] = {}
    of: list[int] = []
    for index in range(len(alike)):
        apart = np.maximum(low[:index], low[index]) - np.minimum(high[:index], high[index])
        near = (apart[:, 0] < reach_mm) & (apart[:, 1] < 0.0) & ~lying.in_place_of(index)[:index]
        mine = [index]
        for key in dict.fromkeys(of[other] for other in np.flatnonzero(near).tolist()):
            other = groups[key]
            small = sum(alike[i].pixels() for i in (*other, *mine)) <= SHARED_PIXELS
            if small and all(lying.clear(i, k) for i in mine for k in other):
                mine = sorted([*other, *mine])
                del groups[key]
        groups[index] = mine
        of.append(index)
        for one in mine:
            of[one] = index
    return [tuple(alike[i] for i in group) for group in groups.values() if len(group) > 1]


class _Lying:
    """Whether the blanks of marks can lie on the bed at once; pieces made from a list of names share one place."""

    def __init__(self, marks: Sequence[Member]) -> None:
        self._piece = np.array([mark.piece.id for mark in marks])
        lies = [(mark.piece.place_bed_mm, mark.piece.turn_deg, id(mark.piece.blank.outline)) for mark in marks]
        numbers = {lie: number for number, lie in enumerate(dict.fromkeys(lies))}
        self._place = np.array([numbers[lie] for lie in lies])
        some = {number: mark.piece for number, mark in zip(self._place.tolist(), marks, strict=True)}
        self._outlines = {number: outline_on_bed(piece) for number, piece in some.items()}
        self._clear: dict[tuple[int, int], bool] = {}

    def in_place_of(self, mark: int) -> NDArray[np.bool_]:
        """Return which marks are of another piece that lies where this mark's piece does."""
        return np.asarray((self._place == self._place[mark]) & (self._piece != self._piece[mark]), dtype=np.bool_)

    def clear(self, one: int, other: int) -> bool:
        """Return whether two marks are of one piece, or of pieces whose blanks do not overlap."""
        if self._piece[one] == self._piece[other]:
            return True
        pair = (int(self._place[one]), int(self._place[other]))
        if pair not in self._clear:
            here, there = (self._outlines[place] for place in pair)
            self._clear[pair] = bool(here.intersection(there).area <= TOUCHING_mm2)
        return self._clear[pair]


def run_of(
    machine: Machine, *, lens: Lens, group: Sequence[Member], artworks: Mapping[tuple[str, str], Artwork]
) -> RunPlan | None:
    """Return several marks in one run; None where that does not save time worth telling.

    Parameters
    ----------
    group : as of `groups_of`.
    artworks : (piece id, mark id) → artwork.

    Source
    ------
    `planned_events` for all pictures at once.
    """
    recipe = group[0].plan.recipe
    axis, spacing = recipe.scan_axis, recipe.line_spacing_mm
    first = grid_in_box(group[0].plan.box_bed_mm, pixel_mm=spacing)
    origin = first.y0_mm if axis == "x" else first.x0_mm
    patches = []
    for member in group:
        own = grid_in_box(member.plan.box_bed_mm, pixel_mm=spacing)
        grid = on_lattice(own, axis=axis, origin_mm=origin)
        artwork = artworks[member.piece.id, member.plan.mark.id]
        picture = redrawn_W(machine, lens=lens, member=member, artwork=artwork, own=own, grid=grid)
        patches.append(patch_of(grid, picture, axis=axis))
    events, _ = planned_events(
        machine,
        patches,
        axis=axis,
        line_spacing_mm=spacing,
        speed_mm_per_s=recipe.speed_mm_per_s,
        passes=recipe.passes,
        direction=recipe.direction,
    )
    moved, _ = boxes_mm(events)
    if moved is None or any(overhang_mm(moved, bed_x_mm=machine.bed_x_mm, bed_y_mm=machine.bed_y_mm)):
        return None
    apart_s = sum(member.plan.predicted.time_s for member in group)
    time_s = program_time_s(machine, events)
    if apart_s - time_s <= WORTH * apart_s:
        return None
    return RunPlan(
        members=tuple(group),
        events=events,
        time_s=time_s,
        saved_s=apart_s - time_s,
        time_lower_bound_s=time_lower_bound_s(machine, events),
    )


def redrawn_W(machine: Machine, *, lens: Lens, member: Member, artwork: Artwork, own: Grid, grid: Grid) -> PowerPicture:
    """Return the powers of a mark on a grid that covers its own, (rows, columns), row 0 lowest. [W]

    Source
    ------
    As for the mark alone: `solid_picture_W`, `photo_picture_W`.
    """
    plan, piece = member.plan, member.piece
    if grid != own:
        artwork, size_mm = placed(artwork, own=own, grid=grid, size_mm=plan.mark.size_mm, turn_deg=piece.turn_deg)
        mark = replace(plan.mark, size_mm=size_mm)
    else:
        mark = plan.mark
    wish = _wish(machine, lens=lens, member=member)
    if mark.treatment != "photo":
        return solid_picture_W(wish, plan.recipe, mark=mark, piece=piece, artwork=artwork, grid=grid)
    detail = plan.predicted.detail_mm
    light = photo_light(wish, mark=mark, piece=piece, artwork=artwork, grid=grid, resolvable_mm=detail)
    return photo_picture_W(wish, plan.recipe, mark=mark, light=light, name=plan.reproduction or "continuous")


def _wish(machine: Machine, *, lens: Lens, member: Member) -> Wish:
    """Return of a mark's wish what drawing it needs; nothing is searched with it."""
    mark = member.plan.mark
    return Wish(
        machine=machine,
        lens=lens,
        beam=beam_of_lens(lens),
        curve=member.wood.curve,
        tone_L=mark.tone_L,
        faint_L=None,
        profiles={},
        room_mm={},
        widths=Widths(stroke_mm=None, gap_mm=None),
        unevenness_mm=member.piece.blank.unevenness_mm,
        sharpness_mm=mark.sharpness_mm,
        reading_distance_mm=mark.reading_distance_mm,
        hold=mark.hold,
    )
