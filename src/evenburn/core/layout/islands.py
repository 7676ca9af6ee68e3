"""Which shapes of a scanned mark are swept together, and in which order the islands are burnt.

On a line with a gap the head either goes on over it at the speed of the line or turns and comes back later. So shapes
are joined into islands as long as the turns saved are worth more than the gaps passed; a shape is never divided.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from evenburn.core.art.ink import InkProfile
from evenburn.core.layout.tour import tour_order
from evenburn.core.motion.profile import time_to_speed_s
from evenburn.core.motion.raster import Line, Patch, Run, line_of_row, lines_of, run_events, sweep_of
from evenburn.core.motion.timing import accel_mm_per_s2, program_time_s, travel_time_s
from evenburn.core.nouns.events import Event
from evenburn.core.nouns.machine import Machine, Side
from evenburn.core.nouns.mark import Axis, Direction

IntArray = NDArray[np.int64]

CELLS_A_TURN = 32.0  # cells of the coarse grid in the way a turn is worth: gaps this much shorter never pay
CELL_MOST_mm = 1.0
MOST_SHAPES = 1200  # with more of them the cells are made coarser, so that neighbours count as one shape
COARSER = 1.5
SURVEY_CELL_mm = 0.5
SURVEY_LINE_mm = 0.25  # every so many lines count for the recipe search
TURNS_mm = (4.0, 8.0, 16.0, 32.0, 64.0, 128.0, 256.0)  # for the recipe search: turns from slow to fast lines


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shapes:
    """Shapes on a coarse grid of square cells: `label` (rows, columns), 0 is bare, shapes count from 1."""

    label: NDArray[np.int32]
    count: int
    cell_mm: float
    along0_mm: float
    cross0_mm: float

    def rows_of_shapes(self) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
        """Return first and last cell of each shape on each row, (count, rows) each; first > last where absent."""
        rows, columns = self.label.shape
        first = np.full((self.count, rows), columns, np.int32)
        last = np.full((self.count, rows), -1, np.int32)
        r, c = np.nonzero(self.label)
        shape = self.label[r, c] - 1
        np.minimum.at(first, (shape, r), c.astype(np.int32))
        np.maximum.at(last, (shape, r), c.astype(np.int32))
        return first, last


def find_shapes(patches: Sequence[Patch], *, pixel_mm: float, cell_mm: float) -> Shapes:
    """Return the shapes of pictures: what touches on a grid of cells, so at least what touches at all. Definition."""
    along0 = min(p.along_origin_mm for p in patches)
    cross0 = min(p.cross_origin_mm for p in patches)
    along1 = max(p.along_origin_mm + p.power_W.shape[1] * pixel_mm for p in patches)
    cross1 = max(p.cross_origin_mm + p.power_W.shape[0] * pixel_mm for p in patches)
    cells = np.zeros((int((cross1 - cross0) / cell_mm) + 1, int((along1 - along0) / cell_mm) + 1), np.uint8)
    for patch in patches:
        ink = patch.power_W > 0.0
        for axis, origin in ((1, patch.along_origin_mm - along0), (0, patch.cross_origin_mm - cross0)):
            at = _cells(ink.shape[axis], from_mm=origin, pixel_mm=pixel_mm, cell_mm=cell_mm)
            starts = np.flatnonzero(np.diff(at, prepend=-1))
            ink = np.logical_or.reduceat(ink, starts, axis=axis)
            if axis == 1:
                columns = at[starts]
            else:
                rows = at[starts]
        cells[np.ix_(rows, columns)] |= ink.astype(np.uint8)
    count, label = cv2.connectedComponents(cells, connectivity=8)
    return Shapes(
        label=np.asarray(label, np.int32), count=count - 1, cell_mm=cell_mm, along0_mm=along0, cross0_mm=cross0
    )


def _cells(count: int, *, from_mm: float, pixel_mm: float, cell_mm: float) -> IntArray:
    """Return the cell each of some pixels in a row lies in. One place for it, so that rounding never differs."""
    return ((from_mm + (np.arange(count) + 0.5) * pixel_mm) / cell_mm).astype(np.int64)


def turn_mm(
    machine: Machine, *, axis: Axis, speed_mm_per_s: float, line_spacing_mm: float, direction: Direction
) -> float:
    """Return the length of gap over which going on takes as long as turning and coming back later. [mm]

    Source
    ------
    Own derivation: two run-ups, the step to the next line and the overhead, over the time a millimetre of gap takes;
    with lines burnt one way each millimetre is travelled back as well. docs/how-it-works/motion.md.
    """
    ramp_s = float(
        time_to_speed_s(
            speed_mm_per_s,
            accel_mm_per_s2=accel_mm_per_s2(machine, axis=axis),
            jerk_mm_per_s3=machine.jerk_mm_per_s3,
        )
    )
    along = axis == "x"
    step_s = travel_time_s(machine, dx_mm=0.0 if along else line_spacing_mm, dy_mm=line_spacing_mm if along else 0.0)
    back = 1.0 / machine.rapid_mm_per_s if direction == "one way" else 0.0
    return (2.0 * ramp_s + step_s + machine.line_overhead_s) / (1.0 / speed_mm_per_s + back)


def join_shapes(shapes: Shapes, *, turn_mm: float, hop_mm: float) -> IntArray:
    """Return the island of each shape, (count,), numbered from 0 in the order of their lowest row.

    Parameters
    ----------
    turn_mm : from `turn_mm`; hop_mm : the same for going over to another island, once for all of its lines. [mm]

    Source
    ------
    `joining`.
    """
    if shapes.count <= 1:
        return np.zeros(shapes.count, np.int64)
    from evenburn.core.layout.joining import compiled  # late: numba takes half a second

    first, last = shapes.rows_of_shapes()
    owner = np.arange(shapes.count, dtype=np.int64)
    owner = compiled()(first, last, owner, turn_mm / shapes.cell_mm, hop_mm / shapes.cell_mm)
    _, island = np.unique(owner, return_inverse=True)
    return np.asarray(island, np.int64)


def planned_events(
    machine: Machine,
    patches: Sequence[Patch],
    *,
    axis: Axis,
    line_spacing_mm: float,
    speed_mm_per_s: float,
    passes: int,
    direction: Direction = "both ways",
) -> tuple[tuple[Event, ...], int]:
    """Return the events that burn pictures in the least time found, and in how many islands.

    Never slower than all of it in one go, line after line; lines of different pictures that lie at one place are swept
    together where that pays.

    Source
    ------
    `join_shapes`, `tour_order`.
    """
    lines = _sorted_lines(
        [line for patch in patches for line in lines_of(patch, line_spacing_mm=line_spacing_mm)],
        line_spacing_mm=line_spacing_mm,
    )
    if not lines:
        return (), 0

    def burnt(islands: Sequence[tuple[Line, ...]]) -> tuple[Event, ...]:
        runs = order_runs(
            machine, islands, axis=axis, speed_mm_per_s=speed_mm_per_s, passes=passes, direction=direction
        )
        return tuple(run_events(machine, runs, axis=axis, speed_mm_per_s=speed_mm_per_s, direction=direction))

    best = burnt([lines])
    turn = turn_mm(
        machine, axis=axis, speed_mm_per_s=speed_mm_per_s, line_spacing_mm=line_spacing_mm, direction=direction
    )
    cell = max(line_spacing_mm, min(turn / CELLS_A_TURN, CELL_MOST_mm))
    shapes = find_shapes(patches, pixel_mm=line_spacing_mm, cell_mm=cell)
    while shapes.count > MOST_SHAPES:
        cell *= COARSER
        shapes = find_shapes(patches, pixel_mm=line_spacing_mm, cell_mm=cell)
    # going over to another island takes about a turn, once, where joining is weighed row of cells by row of cells
    island = join_shapes(shapes, turn_mm=turn, hop_mm=turn * line_spacing_mm / cell)
    count = int(island.max()) + 1
    if count == 1:
        return best, 1
    islands = _lines_of_islands(patches, shapes, island, line_spacing_mm=line_spacing_mm)
    parted = burnt(islands)
    if program_time_s(machine, parted) < program_time_s(machine, best):
        return parted, count
    return best, 1


def _at_one_place(lines: list[Line]) -> Line:
    """Return one line for several that lie at one place and do not overlap."""
    lines = sorted(lines, key=lambda line: float(line.edges_mm[0]))
    edges, powers = [lines[0].edges_mm], [lines[0].power_W]
    for line in lines[1:]:
        edges.append(line.edges_mm)
        powers += [np.zeros(1), line.power_W]
    return Line(cross_mm=lines[0].cross_mm, edges_mm=np.concatenate(edges), power_W=np.concatenate(powers))


def _sorted_lines(lines: list[Line], *, line_spacing_mm: float) -> tuple[Line, ...]:
    """Return lines, the lowest first; those of different pictures that lie at one place made one."""
    # places that differ by rounding alone are one place
    lines = sorted(lines, key=lambda line: (round(line.cross_mm / line_spacing_mm, 3), float(line.edges_mm[0])))
    merged: list[list[Line]] = []
    for line in lines:
        if (
            merged
            and abs(line.cross_mm - merged[-1][0].cross_mm) < 1e-3 * line_spacing_mm
            and float(merged[-1][-1].edges_mm[-1]) < float(line.edges_mm[0])
        ):
            merged[-1].append(line)
        else:
            merged.append([line])
    return tuple(group[0] if len(group) == 1 else _at_one_place(group) for group in merged)


def _lines_of_islands(
    patches: Sequence[Patch], shapes: Shapes, island: IntArray, *, line_spacing_mm: float
) -> list[tuple[Line, ...]]:
    """Return the lines of each island, the lowest first."""
    table = np.concatenate(([-1], island))
    lines: list[list[Line]] = [[] for _ in range(int(island.max()) + 1)]
    for patch in patches:
        columns, rows = (
            _cells(size, from_mm=origin, pixel_mm=line_spacing_mm, cell_mm=shapes.cell_mm)
            for size, origin in (
                (patch.power_W.shape[1], patch.along_origin_mm - shapes.along0_mm),
                (patch.power_W.shape[0], patch.cross_origin_mm - shapes.cross0_mm),
            )
        )
        for index in np.flatnonzero((patch.power_W > 0.0).any(axis=1)):
            row = patch.power_W[index]
            cross = patch.cross_origin_mm + (float(index) + 0.5) * line_spacing_mm
            of_cell = table[shapes.label[rows[index]]]
            burnt = np.flatnonzero(row > 0.0)
            there = of_cell[columns[burnt]]
            for number in np.unique(there):
                part = row
                if there[0] != number or (there != number).any():
                    part = np.zeros_like(row)
                    mine = burnt[there == number]
                    part[mine] = row[mine]
                lines[int(number)].append(
                    line_of_row(part, cross_mm=cross, along_origin_mm=patch.along_origin_mm, pixel_mm=line_spacing_mm)
                )
    return [_sorted_lines(each, line_spacing_mm=line_spacing_mm) for each in lines]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Way:
    """One way to burn an island: from the lowest line up or from the highest down, the first line to or fro."""

    upward: bool
    forward: bool
    enter_mm: tuple[float, float]
    leave_mm: tuple[float, float]


def order_runs(
    machine: Machine,
    islands: Sequence[tuple[Line, ...]],
    *,
    axis: Axis,
    speed_mm_per_s: float,
    passes: int,
    direction: Direction,
) -> list[Run]:
    """Return the islands as runs in the order to burn them, each entered where that is shortest for all.

    With an extraction side lines advance towards it, and no island is burnt before one that its smoke would pass over.
    Several passes all go the same way, so that each line has cooled alike.

    Source
    ------
    `tour_order`, opened at its longest leg; the ways through the islands by dynamic programming.
    """
    rising = _rising(machine, axis=axis)
    if rising is None and passes > 1:
        rising = True
    middles = np.array([_middle_mm(lines, axis=axis) for lines in islands])
    order = tour_order(middles) if machine.extraction_side is None else _upwind_first(islands, machine, axis=axis)
    if machine.extraction_side is None:
        legs = np.hypot(*(middles[np.roll(order, -1)] - middles[order]).T)
        order = np.roll(order, -(int(legs.argmax()) + 1))
    ways = [
        _ways(machine, islands[i], axis=axis, speed_mm_per_s=speed_mm_per_s, direction=direction, rising=rising)
        for i in order
    ] * passes
    least: list[float] = [0.0] * len(ways[0])
    came: list[list[int]] = []
    for before, here in pairwise(ways):
        total = [
            [
                t + travel_time_s(machine, dx_mm=h.enter_mm[0] - b.leave_mm[0], dy_mm=h.enter_mm[1] - b.leave_mm[1])
                for t, b in zip(least, before, strict=True)
            ]
            for h in here
        ]
        came.append([row.index(min(row)) for row in total])
        least = [min(row) for row in total]
    pick = least.index(min(least))
    picks = [pick]
    for back in reversed(came):
        pick = back[pick]
        picks.append(pick)
    picks.reverse()
    runs = []
    for place, (choices, number) in enumerate(zip(ways, picks, strict=True)):
        lines, way = islands[order[place % len(order)]], choices[number]
        runs.append(Run(lines=lines if way.upward else lines[::-1], forward=way.forward))
    return runs


def _ways(
    machine: Machine,
    lines: tuple[Line, ...],
    *,
    axis: Axis,
    speed_mm_per_s: float,
    direction: Direction,
    rising: bool | None,
) -> list[_Way]:
    def point(along: float, cross: float) -> tuple[float, float]:
        return (along, cross) if axis == "x" else (cross, along)

    found = []
    for upward in (True, False) if rising is None else (rising,):
        ordered = lines if upward else lines[::-1]
        for forward in (True, False) if direction == "both ways" else (True,):
            last_forward = forward if direction == "one way" else forward == (len(lines) % 2 == 1)
            first = sweep_of(machine, ordered[0], axis=axis, speed_mm_per_s=speed_mm_per_s, forward=forward)
            last = sweep_of(machine, ordered[-1], axis=axis, speed_mm_per_s=speed_mm_per_s, forward=last_forward)
            found.append(
                _Way(
                    upward=upward,
                    forward=forward,
                    enter_mm=point(first.start_mm, first.cross_mm),
                    leave_mm=point(last.end_mm, last.cross_mm),
                )
            )
    return found


def _rising(machine: Machine, *, axis: Axis) -> bool | None:
    """Return whether lines have to advance upward for the smoke's sake; None where it does not matter."""
    sides: dict[Axis, tuple[Side, Side]] = {"x": ("front", "back"), "y": ("left", "right")}
    if machine.extraction_side not in sides[axis]:
        return None
    return machine.extraction_side == sides[axis][1]


def _box_mm(lines: tuple[Line, ...], *, axis: Axis) -> tuple[float, float, float, float]:
    along0 = min(float(line.edges_mm[0]) for line in lines)
    along1 = max(float(line.edges_mm[-1]) for line in lines)
    cross0, cross1 = lines[0].cross_mm, lines[-1].cross_mm
    return (along0, cross0, along1, cross1) if axis == "x" else (cross0, along0, cross1, along1)


def _middle_mm(lines: tuple[Line, ...], *, axis: Axis) -> tuple[float, float]:
    x0, y0, x1, y1 = _box_mm(lines, axis=axis)
    return (0.5 * (x0 + x1), 0.5 * (y0 + y1))


def _upwind_first(islands: Sequence[tuple[Line, ...]], machine: Machine, *, axis: Axis) -> IntArray:
    """Return an order in which no island is burnt before one that lies upwind of it in its way: else the nearest next."""
    boxes = np.array([_box_mm(lines, axis=axis) for lines in islands])
    wind, across = (0, 1) if machine.extraction_side in ("left", "right") else (1, 0)
    if machine.extraction_side in ("left", "front"):
        boxes[:, [wind, wind + 2]] = -boxes[:, [wind + 2, wind]]
    count = len(islands)
    upwind, low, high = boxes[:, wind], boxes[:, across], boxes[:, across + 2]
    in_way = (low[:, None] < high[None, :]) & (high[:, None] > low[None, :])
    rank = np.argsort(np.argsort(upwind, kind="stable"))
    before = in_way & (rank[:, None] < rank[None, :])
    waits = before.sum(axis=0)
    middles = np.stack((0.5 * (boxes[:, 0] + boxes[:, 2]), 0.5 * (boxes[:, 1] + boxes[:, 3])), axis=1)
    order, at, left = [], np.array([low.min(), upwind.min()][:: 1 if wind else -1]), np.ones(count, np.bool_)
    while left.any():
        free = np.flatnonzero(left & (waits == 0))
        nearest = free[np.hypot(*(middles[free] - at).T).argmin()]
        order.append(int(nearest))
        left[nearest] = False
        waits = waits - before[nearest]
        at = middles[nearest]
    return np.array(order, dtype=np.int64)


def parted_profiles(ink: NDArray[np.bool_], *, axis: Axis, pixel_mm: float) -> tuple[InkProfile, ...]:
    """Return what lines meet where ink is swept in islands, for turns worth more and more, without the whole of it.

    Parameters
    ----------
    ink : (rows=y, columns=x) True where something burns.

    Source
    ------
    `join_shapes`.
    """
    lines = np.ascontiguousarray(ink if axis == "x" else ink.T)
    if not lines.any():
        return ()
    patch = Patch(power_W=lines.view(np.uint8), along_origin_mm=0.0, cross_origin_mm=0.0)
    cell = max(pixel_mm, SURVEY_CELL_mm)
    shapes = find_shapes([patch], pixel_mm=pixel_mm, cell_mm=cell)
    while shapes.count > MOST_SHAPES:
        cell *= COARSER
        shapes = find_shapes([patch], pixel_mm=pixel_mm, cell_mm=cell)
    if shapes.count == 1:
        return ()
    from evenburn.core.layout.joining import compiled  # late: numba takes half a second

    first, last = shapes.rows_of_shapes()
    owner = np.arange(shapes.count, dtype=np.int64)
    owners: list[IntArray] = []
    for turn in TURNS_mm:
        owner = compiled()(first, last, owner, turn / cell, 0.0)
        islands = len(np.unique(owner))
        if islands == 1:
            break
        if not owners or islands < len(np.unique(owners[-1])):
            owners.append(owner.copy())
    if not owners:
        return ()
    each_line = max(1, int(SURVEY_LINE_mm / pixel_mm))
    padded = np.zeros((-(-lines.shape[0] // each_line), lines.shape[1] + 2), np.bool_)
    padded[:, 1:-1] = lines[::each_line]
    flat = np.flatnonzero(padded[:, 1:] != padded[:, :-1])  # where runs begin and end, by turns
    row, start = np.divmod(flat[::2], lines.shape[1] + 1)
    end = flat[1::2] % (lines.shape[1] + 1)
    cells = _cells(max(lines.shape), from_mm=0.0, pixel_mm=pixel_mm, cell_mm=cell)
    shape = shapes.label[cells[row * each_line], cells[start]] - 1
    return tuple(
        _profile(row, start, end, island=island[shape], axis=axis, pixel_mm=pixel_mm, line_mm=each_line * pixel_mm)
        for island in owners
    )


def _profile(
    row: IntArray, start: IntArray, end: IntArray, *, island: IntArray, axis: Axis, pixel_mm: float, line_mm: float
) -> InkProfile:
    """Return the profile of runs of ink, (M,) each, that belong to islands."""
    order = np.lexsort((start, row, island))
    row, start, end, island = row[order], start[order], end[order], island[order]
    begins = np.flatnonzero(np.diff(row, prepend=-1) | np.diff(island, prepend=-1))
    first, last = start[begins], np.maximum.reduceat(end, begins)
    same = np.diff(island[begins]) == 0
    wander_px = 0.5 * float((np.abs(np.diff(first)) + np.abs(np.diff(last)))[same].sum())
    opens = np.flatnonzero(np.diff(island[begins], prepend=-1))
    counts = np.diff(np.append(opens, begins.size))
    along_mm = pixel_mm * np.add.reduceat(0.5 * (first + last), opens) / counts
    across_mm = line_mm * np.add.reduceat(row[begins], opens) / counts
    middles = np.stack((along_mm, across_mm), axis=1)
    tour = middles[tour_order(middles)]
    return InkProfile(
        axis=axis,
        hull_mm2=float((last - first).sum()) * pixel_mm * line_mm,
        rows_mm=begins.size * line_mm,
        wander_mm=wander_px * pixel_mm,
        islands=len(opens),
        hops_mm=float(np.hypot(*np.diff(tour, axis=0).T).sum()),
    )
