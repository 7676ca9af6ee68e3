"""The order of the batch: as few settings of the stand-off as there can be, otherwise as the person listed the pieces."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

Setting = tuple[float, float]  # thickness of the blank and stand-off, mm
_LEAVING_CHANGES = 2  # settings of the piece of `_leaving`


@dataclass(frozen=True, slots=True)
class _Run:
    """A piece as it meets its neighbours: the setting it begins with and the one it leaves; no piece for a break."""

    piece: int | None
    begins: Setting
    leaves: Setting


def set_up_order(set_ups: Sequence[Sequence[Setting]], *, before: Setting | None = None) -> tuple[int, ...]:
    """Return the indices of pieces in the order to burn them.

    Pieces of one thickness come together. Within it a piece follows one that leaves the stand-off it begins with, wherever
    that spares a setting. Otherwise the order is as listed. Pieces with nothing to burn come last.

    Parameters
    ----------
    set_ups : for each piece thickness and stand-off of its marks that may be burnt, in their order. [mm]
    before : as it is set now, by what was burnt already; None where nothing was. [mm]

    Source
    ------
    Own derivation: settings are the nodes and pieces the edges of a graph; the fewest trails through all edges of a part
    that hangs together are max(1, Σ max(0, out − in)), found by Hierholzer's walk [hierholzer1873] over the part closed
    with breaks.
    """
    if before is not None:  # as a piece that is burnt first of all
        order = set_up_order([_leaving(before), *set_ups])
        return tuple(i - 1 for i in order if i > 0)
    trails = [trail for part in _parts(set_ups) for trail in _trails(part)]
    return (*(i for trail in trails for i in trail), *(i for i, marks in enumerate(set_ups) if not marks))


def least_changes(set_ups: Sequence[Sequence[Setting]], *, before: Setting | None = None) -> int:
    """Return how often the focus is set when the pieces are burnt in their best order. Source: as `set_up_order`.

    Parameters
    ----------
    before : as it is set now, by what was burnt already; None where nothing was. [mm]
    """
    if before is not None:
        return least_changes([_leaving(before), *set_ups]) - _LEAVING_CHANGES
    inside = 0
    ends: Counter[tuple[Setting, Setting]] = Counter()
    for marks in set_ups:
        if marks:
            inside += sum(here != there for here, there in pairwise(marks))
            ends[marks[0], marks[-1]] += 1
    more = _surplus(ends)
    trails: dict[Setting, int] = {}
    for setting, root in _roots(ends).items():
        trails[root] = trails.get(root, 0) + more.get(setting, 0)
    return inside + sum(max(1, count) for count in trails.values())


def changes(set_ups: Sequence[Sequence[Setting]], *, before: Setting | None = None) -> int:
    """Return how often the focus is set for pieces in a sequence, the first time included unless `before` holds. Definition."""
    flat = [before, *(setting for marks in set_ups for setting in marks)]
    return sum(here != there for here, there in pairwise(flat))


def change_overs(set_ups: Sequence[Sequence[Setting]]) -> int:
    """Return how many change-overs pieces take: one before each that burns, and one each time the focus is set within one.

    Parameters
    ----------
    set_ups : for each piece thickness and stand-off of its marks that may be burnt, in their order. [mm]

    Source
    ------
    Own choice: to set the focus anew under a blank that stays takes as long as to bring the next blank in and focus it.
    """
    return sum(1 + sum(here != there for here, there in pairwise(marks)) for marks in set_ups if marks)


def _leaving(before: Setting) -> tuple[Setting, Setting]:
    """Return a piece that begins with what no other leaves, and leaves a setting behind."""
    return (before[0], -1.0), before


def _roots(ends: Iterable[tuple[Setting, Setting]]) -> dict[Setting, Setting]:
    """Return for each setting one that stands for all that pieces join it to."""
    root: dict[Setting, Setting] = {}

    def top(setting: Setting) -> Setting:
        while root.setdefault(setting, setting) != setting:
            setting = root[setting]
        return setting

    for begins, leaves in ends:
        root[top(leaves)] = top(begins)
    return {setting: top(setting) for setting in root}


def _parts(set_ups: Sequence[Sequence[Setting]]) -> list[list[_Run]]:
    """Return the pieces that may follow one another, part by part; parts of one thickness beside each other."""
    runs = [_Run(i, marks[0], marks[-1]) for i, marks in enumerate(set_ups) if marks]
    roots = _roots((run.begins, run.leaves) for run in runs)
    by_thickness: dict[float, dict[Setting, list[_Run]]] = {}
    for run in runs:
        by_thickness.setdefault(run.begins[0], {}).setdefault(roots[run.begins], []).append(run)
    return [part for parts in by_thickness.values() for part in parts.values()]


def _surplus(ends: Mapping[tuple[Setting, Setting], int]) -> dict[Setting, int]:
    """Return the settings that more pieces begin with than leave, and by how many.

    Parameters
    ----------
    ends : what pieces begin with and leave, and how many do so.
    """
    more: dict[Setting, int] = {}
    for (begins, leaves), count in ends.items():
        more[begins] = more.get(begins, 0) + count
        more[leaves] = more.get(leaves, 0) - count
    return {setting: count for setting, count in more.items() if count > 0}


def _trails(part: Sequence[_Run]) -> list[list[int]]:
    """Return the fewest sequences of pieces in which each begins with what the one before leaves, first listed first."""
    forth, back = Counter((r.begins, r.leaves) for r in part), Counter((r.leaves, r.begins) for r in part)
    begins, ends = ([s for s, count in _surplus(way).items() for _ in range(count)] for way in (forth, back))
    breaks = [_Run(None, leaves, wanted) for leaves, wanted in zip(ends, begins, strict=True)]
    leaving: dict[Setting, list[_Run]] = {}
    for run in [*part, *breaks]:
        leaving.setdefault(run.begins, []).append(run)
    at = begins[0] if begins else part[0].begins
    stack: list[tuple[Setting, _Run | None]] = [(at, None)]
    backwards: list[_Run] = []
    while stack:
        here, by = stack[-1]
        if leaving.get(here):
            run = leaving[here].pop(0)
            stack.append((run.leaves, run))
        else:
            stack.pop()
            if by is not None:
                backwards.append(by)
    circle = backwards[::-1]
    first = next((i + 1 for i, run in enumerate(circle) if run.piece is None), 0)
    trails: list[list[int]] = [[]]
    for run in circle[first:] + circle[:first]:
        if run.piece is None:
            trails.append([])
        else:
            trails[-1].append(run.piece)
    return sorted((trail for trail in trails if trail), key=min)
