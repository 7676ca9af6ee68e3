"""Which focus offset each mark of a batch takes: shared where that saves more than setting the stand-off again."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import islice, product

import numpy as np
from numpy.typing import NDArray

from evenburn.core.nouns.recipe import FOCUSING_s
from evenburn.core.planning.batch import least_changes
from evenburn.core.planning.candidates import CONSTRAINTS, Found, offsets_mm
from evenburn.core.planning.recipe import search
from evenburn.core.planning.wish import Wish

FloatArray = NDArray[np.float64]

MOST_TRIED = 4096  # assignments of several marks a piece that are all tried
MOST_NODES = 20_000  # of the search over sets of offsets; what it has found by then is kept
NOT_BURNT = {"run-up", "power"}  # a mark that gives these way is stopped by its checks and waits for no focus
GAIN_s = 1e-6  # a change that saves less is left


@dataclass(frozen=True, slots=True, kw_only=True)
class FocusAsk:
    """What one mark asks of the focus: a wish with the recipe it would take by itself, or an offset that is fixed.

    A mark that does not take part is not going to be burnt; it keeps what it would take by itself.
    """

    thickness_mm: float
    piece: int
    wish: Wish | None = None
    alone: Found | None = None
    fixed_offset_mm: float | None = None
    takes_part: bool = True


def _broken(found: Found) -> int:
    """Return a number that grows with the importance of the worst constraint that gave way."""
    return sum(1 << CONSTRAINTS.index(name) for name in found.gave_way)


def agree_foci(asks: Sequence[FocusAsk]) -> tuple[tuple[Wish, Found] | None, ...]:
    """Return for each mark of a batch its wish and recipe, at one offset where that is quicker altogether.

    Marks on blanks of one thickness agree among themselves. A wish comes back changed, with its `common_offset_mm`, only
    where the mark moves from the offset it would take by itself. None for a mark that has no wish.

    Parameters
    ----------
    asks : in the order in which the marks of a piece are burnt.

    Source
    ------
    Own derivation: least burning and focusing over the searched offsets between those that the marks take by themselves
    or are fixed at; nothing may give way that would not with a focus of its own.
    """
    agreed = list(own_foci(asks))
    groups: dict[float, list[int]] = {}
    for index, ask in enumerate(asks):
        burnt = ask.alone is None or not NOT_BURNT & {*ask.alone.gave_way}
        if ask.takes_part and burnt:
            groups.setdefault(round(ask.thickness_mm, 2), []).append(index)
    for group in groups.values():
        for index, pair in _agree_group(asks, group).items():
            agreed[index] = pair
    return tuple(agreed)


def own_foci(asks: Sequence[FocusAsk]) -> tuple[tuple[Wish, Found] | None, ...]:
    """Return for each mark its wish and the recipe it takes by itself; None for a mark that has no wish. Definition."""
    return tuple(None if a.wish is None or a.alone is None else (a.wish, a.alone) for a in asks)


def _agree_group(asks: Sequence[FocusAsk], group: Sequence[int]) -> dict[int, tuple[Wish, Found]]:
    """Return the marks of one thickness that move, with their wishes and recipes."""
    own = [_own_mm(asks[i]) for i in group]
    wish = next((w for i in group if (w := asks[i].wish) is not None), None)
    if wish is None or len(set(own)) < 2:
        return {}
    between = [float(z) for z in offsets_mm(wish.beam) if min(own) <= z <= max(own)]
    offsets = sorted({*own, *between})
    found: dict[tuple[int, int], Found] = {}
    times_s = np.full((len(group), len(offsets)), np.inf)
    for row, i in enumerate(group):
        here, alone = asks[i].wish, asks[i].alone
        at = offsets.index(own[row])
        times_s[row, at] = 0.0 if alone is None else alone.time_s
        if here is None or alone is None or here.hold.focus_offset_mm is not None or {*alone.gave_way} - {"detail"}:
            continue  # its offset is given, or is what exceeds least what gave way
        for column, offset in enumerate(offsets):
            if column == at or offset not in between:
                continue
            other = search(replace(here, common_offset_mm=offset))
            if _broken(other) <= _broken(alone):
                found[row, column] = other
                # what alone was passed over for being less sharp, though a percent quicker, is no reason to move
                times_s[row, column] = max(other.time_s, alone.time_s)
    picked = assign_offsets(
        times_s,
        pieces=[asks[i].piece for i in group],
        own=[offsets.index(z) for z in own],
        setting_s=FOCUSING_s,
    )
    moved: dict[int, tuple[Wish, Found]] = {}
    for row, i in enumerate(group):
        here = asks[i].wish
        if (row, picked[row]) in found and here is not None:
            moved[i] = (replace(here, common_offset_mm=offsets[picked[row]]), found[row, picked[row]])
    return moved


def _own_mm(ask: FocusAsk) -> float:
    if ask.fixed_offset_mm is not None:
        return ask.fixed_offset_mm
    assert ask.alone is not None  # noqa: S101  # those without either take no part
    return ask.alone.focus_offset_mm


def assign_offsets(
    times_s: FloatArray, *, pieces: Sequence[int], own: Sequence[int], setting_s: float
) -> tuple[int, ...]:
    """Return the column of `times_s` that each mark takes, for the least of burning and of setting the stand-off.

    Pieces may be burnt in any order, but a piece's marks come one after the other as listed. The result is the least there
    is where each piece has one mark, and where the assignments are few enough to try them all; else pieces and marks are
    moved and offsets merged until nothing gains.

    Parameters
    ----------
    times_s : (marks, offsets); infinite where a mark cannot take an offset.
    pieces : the piece of each mark, those of one piece beside each other.
    own : the column each mark takes by itself, never dearer than any other.
    setting_s : what setting the stand-off once takes.

    Source
    ------
    Own derivation: facility location by branch and bound, then descent over `settings`; docs/how-it-works/focus.md.
    """
    start = _cheapest_sets(times_s, setting_s=setting_s, own=own)
    if len(set(pieces)) == len(pieces):
        return tuple(start)
    able = [np.flatnonzero(np.isfinite(row)).tolist() for row in times_s]
    if math.prod(len(columns) for columns in able) <= MOST_TRIED:
        # the marks' own columns come first, so that of equals they are kept
        ordered = [[mine, *(c for c in columns if c != mine)] for columns, mine in zip(able, own, strict=True)]
        costs_s = [round(_cost_s(a, times_s, pieces=pieces, setting_s=setting_s), 6) for a in product(*ordered)]
        return next(islice(product(*ordered), costs_s.index(min(costs_s)), None))
    whole = _each_piece_at_one(times_s, pieces=pieces, setting_s=setting_s, own=own)
    best = min(
        (_descend(picked, times_s, pieces=pieces, setting_s=setting_s) for picked in (whole, start, list(own))),
        key=lambda picked: _cost_s(picked, times_s, pieces=pieces, setting_s=setting_s),
    )
    return tuple(best)


def settings(picked: Sequence[int], *, pieces: Sequence[int]) -> int:
    """Return how often the stand-off is set for marks at these offsets, the pieces in their best order.

    Source
    ------
    `least_changes`, for pieces of one thickness.
    """
    runs: dict[int, list[tuple[float, float]]] = {}
    for piece, offset in zip(pieces, picked, strict=True):
        runs.setdefault(piece, []).append((0.0, float(offset)))
    return least_changes(list(runs.values()))


def _cost_s(picked: Sequence[int], times_s: FloatArray, *, pieces: Sequence[int], setting_s: float) -> float:
    burning_s = float(times_s[np.arange(len(picked)), list(picked)].sum())
    return burning_s + setting_s * settings(picked, pieces=pieces)


def _taken(times_s: FloatArray, opened: Sequence[int], *, own: Sequence[int]) -> list[int]:
    """Return the quickest of some columns for each mark: its own where it is among them."""
    columns = list(opened)
    nearest = [columns[int(i)] for i in times_s[:, columns].argmin(axis=1)]
    return [mine if mine in columns else other for mine, other in zip(own, nearest, strict=True)]


def _cheapest_sets(times_s: FloatArray, *, setting_s: float, own: Sequence[int]) -> list[int]:
    """Return the assignment with the least of burning and `setting_s` for each offset in use.

    Source
    ------
    Own derivation: depth first over sets of columns; a branch is left when even with every later column open it is no
    better than the best found.
    """
    marks, columns = times_s.shape
    later = np.full((columns + 1, marks), np.inf)  # the least of columns i and beyond
    for i in range(columns - 1, -1, -1):
        later[i] = np.minimum(later[i + 1], times_s[:, i])
    best_set = sorted(set(own))
    best_s = float(times_s[:, best_set].min(axis=1).sum()) + setting_s * len(best_set)
    nodes = 0
    stack: list[tuple[int, tuple[int, ...], FloatArray]] = [(0, (), np.full(marks, np.inf))]
    while stack and nodes < MOST_NODES:
        nodes += 1
        at, opened, least = stack.pop()
        total_s = float(least.sum()) + setting_s * len(opened)
        if total_s < best_s - GAIN_s:
            best_s, best_set = total_s, list(opened)
        bound_s = float(np.minimum(least, later[at]).sum()) + setting_s * (len(opened) + 1)
        if at == columns or bound_s >= best_s - GAIN_s:
            continue
        stack.append((at + 1, opened, least))
        stack.append((at + 1, (*opened, at), np.minimum(least, times_s[:, at])))
    return _taken(times_s, best_set, own=own)


def _each_piece_at_one(
    times_s: FloatArray, *, pieces: Sequence[int], setting_s: float, own: Sequence[int]
) -> list[int]:
    """Return the assignment where every piece that can has one offset for all of its marks, the offsets agreed."""
    starts = [i for i in range(len(pieces)) if i == 0 or pieces[i] != pieces[i - 1]]
    summed = np.add.reduceat(times_s, starts, axis=0)
    able = np.atleast_1d(np.isfinite(summed).any(axis=1))
    picked = list(own)
    if not able.any():
        return picked
    quickest = [int(c) for c in summed[able].argmin(axis=1)]
    offset_of = iter(_cheapest_sets(summed[able], setting_s=setting_s, own=quickest))
    ends = [*starts[1:], len(pieces)]
    for start, end, one in zip(starts, ends, able, strict=True):
        if one:
            picked[start:end] = [next(offset_of)] * (end - start)
    return picked


def _descend(picked: Sequence[int], times_s: FloatArray, *, pieces: Sequence[int], setting_s: float) -> list[int]:
    """Return the assignment after every change that gains: two offsets merged, a piece or one of its marks moved."""
    best = list(picked)
    best_s = _cost_s(best, times_s, pieces=pieces, setting_s=setting_s)
    members: dict[int, list[int]] = {}
    for i, piece in enumerate(pieces):
        members.setdefault(piece, []).append(i)
    gained = True
    while gained:
        gained = False
        moves = [[i for i, taken in enumerate(best) if taken == used] for used in sorted(set(best))]
        moves += [*members.values(), *([i] for i in range(len(best)))]
        for move in moves:
            for column in np.flatnonzero(np.isfinite(times_s[move]).all(axis=0)):
                changed = list(best)
                for i in move:
                    changed[i] = int(column)
                changed_s = _cost_s(changed, times_s, pieces=pieces, setting_s=setting_s)
                if changed_s < best_s - GAIN_s:
                    best_s, best, gained = changed_s, changed, True
    return best
