"""The order of paths with little travel between them.

The nearest path that is free to be burnt comes next; then stretches of the order are turned round (2-opt) or moved
elsewhere (Or-opt), among near neighbours, until nothing shortens it. Each path is entered where that is shortest for all.
"""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from shapely import hausdorff_distance, length, linestrings

from evenburn.core.errors import InvalidInput
from evenburn.core.nouns.path import Polyline

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

NEIGHBOURS = 16  # ends of other paths to which an end may be joined
CHOICES = 24  # of a closed path's points, where it may be entered; the best of all its points is taken at the end
KICKED = 1000  # up to so many paths an order is also kicked out of place and mended again
KICKS = 20  # for each path
CLOSE_mm = 0.01


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OrderedPath:
    """A path in its place in the order: its number before, and its points as they are travelled.

    A closed path begins where it is entered; its first point is not repeated.
    """

    number: int
    points_mm: FloatArray
    closed: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Entries:
    """Where paths may be entered (E, 2), where the head then leaves, at which point; `first` (N + 1,) of each path."""

    enter_mm: FloatArray
    leave_mm: FloatArray
    point: IntArray
    owner: IntArray
    first: IntArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Precedence:
    """How many paths each has to wait for, and whom it frees: `then[then_first[a]:then_first[a + 1]]`."""

    waits: IntArray
    then_first: IntArray
    then: IntArray


def tour_order(places_mm: FloatArray) -> IntArray:
    """Return the order of a short closed tour through places, beginning with the first.

    Source
    ------
    Nearest neighbour, 2-opt and Or-opt, textbook methods; checked against [tsplib].
    """
    count = len(places_mm)
    if count <= 3:
        return np.arange(count, dtype=np.int64)
    from evenburn.core.layout.shorten import compiled  # late: numba takes half a second

    places = np.ascontiguousarray(places_mm, dtype=np.float64)
    each, none = np.arange(count + 1, dtype=np.int64), np.zeros(count, np.int64)
    nearest = compiled().nearest_first(
        places, places, each, each[:-1], none, np.zeros(count + 1, np.int64), none, places[0]
    )
    order = _shortened(np.repeat(places, 2, axis=0), nearest, free=-1)
    return np.roll(order, -int(np.flatnonzero(order == 0)[0]))


def order_paths(
    paths: Sequence[Polyline],
    *,
    start_mm: tuple[float, float] = (0.0, 0.0),
    before: Sequence[tuple[int, int]] = (),
) -> tuple[OrderedPath, ...]:
    """Return paths in an order with little travel, each entered where that is shortest.

    Open paths may be travelled either way, closed ones begin at any of their points. Where the given order honours
    `before`, the travel is never longer than with it.

    Parameters
    ----------
    start_mm : where the head comes from; it stays where the last path ends.
    before : pairs (a, b): a has to come before b.

    Raises
    ------
    InvalidInput
        If a pair names no path, or if pairs ask for each other in a circle.

    Source
    ------
    Nearest neighbour, 2-opt and Or-opt, textbook methods, then made to honour `before`; the entries by own derivation.
    """
    precedence = _precedence(before, count=len(paths))
    if not paths:
        return ()
    from evenburn.core.layout.shorten import compiled  # late: numba takes half a second

    entries, start = _entries(paths), np.asarray(start_mm, dtype=np.float64)
    places = entries.enter_mm, entries.leave_mm, entries.first
    given = _honoured(np.arange(len(paths), dtype=np.int64), precedence)
    nearest = compiled().nearest_first(
        *places, entries.owner, precedence.waits, precedence.then_first, precedence.then, start
    )
    found = [compiled().best_entries(*places, order, start) for order in (given, entries.owner[nearest])]
    for _ in range(
        2 if any(path.closed for path in paths) else 1
    ):  # closed paths are entered elsewhere the second time
        order = _honoured(_joined(found[-1], entries, start), precedence)
        found.append(compiled().best_entries(*places, order, start))
    ordered = [_travelled(paths, picks, entries, start) for picks in found]
    return min(ordered, key=lambda one: travel_mm(one, start_mm=start_mm))


def travel_mm(ordered: Sequence[OrderedPath], *, start_mm: tuple[float, float]) -> float:
    """Return the travel between paths, from the start on. [mm] Definition."""
    if not ordered:
        return 0.0
    enter = np.array([path.points_mm[0] for path in ordered])
    leave = np.array([path.points_mm[0 if path.closed else -1] for path in ordered[:-1]]).reshape(-1, 2)
    return float(np.hypot(*(enter - np.vstack([np.asarray(start_mm, dtype=np.float64)[None, :], leave])).T).sum())


def _precedence(before: Sequence[tuple[int, int]], *, count: int) -> _Precedence:
    pairs = np.array(sorted(set(before)), dtype=np.int64).reshape(-1, 2)
    strange = pairs[(pairs < 0).any(axis=1) | (pairs >= count).any(axis=1)]
    if len(strange):
        raise InvalidInput(
            {"before": f"({strange[0, 0]}, {strange[0, 1]}) names a path that is not there; there are {count}"}
        )
    first = np.searchsorted(pairs[:, 0], np.arange(count + 1)).astype(np.int64)
    waits = np.bincount(pairs[:, 1], minlength=count).astype(np.int64)
    found = _Precedence(waits=waits, then_first=first, then=np.ascontiguousarray(pairs[:, 1]))
    done = _honoured(np.arange(count, dtype=np.int64), found)
    if len(done) < count:
        stuck = np.setdiff1d(np.arange(count), done)[:5]
        raise InvalidInput(
            {"before": f"paths {', '.join(map(str, stuck))} have to come before one another in a circle"}
        )
    return found


def _honoured(order: IntArray, precedence: _Precedence) -> IntArray:
    """Return an order in which each path waits until those that have to come first are done, and comes right then."""
    if not len(precedence.then):
        return order
    waits, first, then = precedence.waits.tolist(), precedence.then_first.tolist(), precedence.then.tolist()
    rank = np.argsort(order).tolist()
    numbers = order.tolist()
    ready = [rank[number] for number in numbers if waits[number] == 0]
    done: list[int] = []
    while ready:
        number = numbers[heapq.heappop(ready)]
        done.append(number)
        for other in then[first[number] : first[number + 1]]:
            waits[other] -= 1
            if waits[other] == 0:
                heapq.heappush(ready, rank[other])
    return np.array(done, dtype=np.int64)


def _entries(paths: Sequence[Polyline]) -> _Entries:
    point, leave = [], []
    for path in paths:
        count = len(path.points_mm)
        if not path.closed:
            point.append(np.array([0, count - 1]))
            leave.append(np.array([count - 1, 0]))
        else:
            point.append(np.arange(count) if count <= CHOICES else np.arange(CHOICES) * count // CHOICES)
            leave.append(point[-1])
    each = np.array([len(p) for p in point])
    begin = np.cumsum([0, *(len(path.points_mm) for path in paths)])[:-1]
    offset = np.repeat(begin, each)
    points = np.vstack([path.points_mm for path in paths])
    return _Entries(
        enter_mm=points[offset + np.concatenate(point)],
        leave_mm=points[offset + np.concatenate(leave)],
        point=np.concatenate(point).astype(np.int64),
        owner=np.repeat(np.arange(len(paths), dtype=np.int64), each),
        first=np.concatenate([[0], np.cumsum(each)]).astype(np.int64),
    )


def _joined(picks: IntArray, entries: _Entries, start: FloatArray) -> IntArray:
    """Return paths entered as picked in a shorter order, from the start on and open at the end."""
    count = len(picks)
    ends = np.empty((2 * count + 2, 2))
    order = entries.owner[picks]
    ends[2 * order], ends[2 * order + 1] = entries.enter_mm[picks], entries.leave_mm[picks]
    ends[2 * count :] = start  # the slot of the start: a free end, to which the last path leads, and where the head is
    tour = _shortened(ends, np.concatenate([[count], order]), free=2 * count)
    return tour[1:]


def _shortened(ends: FloatArray, order: IntArray, *, free: int) -> IntArray:
    """Return an order of slots of two ends made shorter; beginning with the slot of the free end, if there is one."""
    from evenburn.core.layout.shorten import compiled

    tour = np.stack([2 * order, 2 * order + 1], axis=1).ravel()
    others = (
        np.delete(np.arange(len(ends), dtype=np.int64), free) if free >= 0 else np.arange(len(ends), dtype=np.int64)
    )
    _, near = cKDTree(ends[others]).query(ends, k=min(NEIGHBOURS + 2, len(others)))  # itself and its fellow come too
    kicks = KICKS * len(order) if len(order) <= KICKED else 0
    tour = compiled().shortened(ends, tour, np.ascontiguousarray(others[near]), free, kicks)
    if free >= 0:
        at = int(np.flatnonzero(tour == free)[0])
        tour = np.roll(tour, -at) if at % 2 == 0 else np.roll(tour[::-1], at + 1 - len(tour))
    return np.asarray(tour[::2] // 2, dtype=np.int64)


def _travelled(
    paths: Sequence[Polyline], picks: IntArray, entries: _Entries, start: FloatArray
) -> tuple[OrderedPath, ...]:
    """Return paths as they are travelled, closed ones with many points entered at the best of all of them."""
    numbers, points = entries.owner[picks].tolist(), entries.point[picks].tolist()
    enter, leave = entries.enter_mm[picks], entries.leave_mm[picks]
    at, found = start, []
    for step, (number, point) in enumerate(zip(numbers, points, strict=True)):
        path = paths[number]
        around = path.points_mm
        if path.closed:
            pick = point
            if len(around) > CHOICES:
                way = np.hypot(*(around - at).T)
                if step + 1 < len(numbers):
                    way += np.hypot(*(around - enter[step + 1]).T)
                pick = int(way.argmin())
            around, at = np.roll(around, -pick, axis=0), around[pick]
        else:
            around, at = (around if point == 0 else around[::-1]), leave[step]
        found.append(OrderedPath(number=number, points_mm=np.ascontiguousarray(around), closed=path.closed))
    return tuple(found)


def without_doubles(paths: Sequence[Polyline], *, tolerance_mm: float = CLOSE_mm) -> tuple[tuple[Polyline, ...], int]:
    """Return paths without those that run exactly over another, either way round, and how many were left out.

    Two paths are alike where no point of either lies farther from the other than the tolerance and both are as long: where
    they begin, how they are divided, and whether one is closed or comes back to its first point does not matter; of the
    latter two the closed one is kept, else the first.

    Source
    ------
    Definition; Hausdorff's distance by GEOS.
    """
    if len(paths) < 2:
        return tuple(paths), 0
    seen: set[bytes] = set()
    single = []  # of paths alike point by point, the first; quick, and keeps many alike from being compared in pairs
    for number in sorted(range(len(paths)), key=lambda n: (not paths[n].closed, n)):
        key = _key(paths[number], tolerance_mm)
        if key not in seen:
            seen.add(key)
            single.append(number)
    rings = [np.vstack([p.points_mm, p.points_mm[:1]]) if p.closed else p.points_mm for p in (paths[n] for n in single)]
    lines = linestrings(np.vstack(rings), indices=np.repeat(np.arange(len(rings)), [len(ring) for ring in rings]))
    boxes = np.array([[*ring.min(axis=0), *ring.max(axis=0)] for ring in rings])
    a, b = cKDTree(boxes).query_pairs(tolerance_mm, p=np.inf, output_type="ndarray").reshape(-1, 2).T
    longs = length(lines)
    alike = np.abs(longs[a] - longs[b]) <= np.maximum(4.0 * tolerance_mm, 1e-3 * longs[a])
    a, b = a[alike], b[alike]
    alike = hausdorff_distance(lines[a], lines[b]) <= tolerance_mm
    dropped: set[int] = set()
    for first, second in sorted(zip(a[alike].tolist(), b[alike].tolist(), strict=True)):
        if first not in dropped:
            dropped.add(second)
    kept = sorted(number for place, number in enumerate(single) if place not in dropped)
    return tuple(paths[number] for number in kept), len(paths) - len(kept)


def _key(path: Polyline, tolerance_mm: float) -> bytes:
    """Return the points on a grid as fine as the tolerance, alike however the path begins or runs."""
    grid = np.round(path.points_mm / tolerance_mm).astype(np.int64)
    ways = [grid, grid[::-1]]
    if path.closed:
        ways = [np.roll(way, -int(np.lexsort(way.T)[0]), axis=0) for way in ways]
    return bytes([path.closed]) + min(way.tobytes() for way in ways)
