"""Compiled loops of the path order: the nearest next path, shorter ways round, and where each path is entered.

A path stands in a tour as a slot of two ends, the one it is entered at and the one it is left at; turning a stretch round
swaps them, so that the ways paths are travelled are chosen along with their order. Imported late: numba takes half a
second.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numba
import numpy as np

LONGEST_MOVED = 3  # paths that are moved together
LONGEST_SWAPPED = 30  # paths in each of two stretches that a kick swaps
WORTH_mm = 1e-9  # a gain below this is rounding
NONE = -1


@numba.njit(cache=True, nogil=True)
def _nearest_first(  # noqa: PLR0917  # numba calls by position
    entry: Any, leave: Any, first: Any, owner: Any, waits: Any, then_first: Any, then: Any, start: Any
) -> Any:
    """Return the entries taken, one for each path, always the nearest of those whose path is free to be burnt.

    Parameters
    ----------
    entry, leave : (E, 2) where the head enters and where it then leaves; owner : (E,) path; first : (N + 1,) of each path.
    waits : (N,) how many paths have to come before; then_first, then : whom a path frees.

    Source
    ------
    Own choice: nearest neighbour, a textbook method; the places lie in a grid of cells, searched ring by ring.
    """
    places, paths = len(entry), len(waits)
    low_x, low_y = entry[:, 0].min(), entry[:, 1].min()
    wide, high = entry[:, 0].max() - low_x, entry[:, 1].max() - low_y
    cell = max(np.sqrt(wide * high * 2.0 / places), max(wide, high) * 4.0 / places, 1e-9)
    columns, rows = int(wide / cell) + 1, int(high / cell) + 1
    head = np.full(columns * rows, NONE, np.int64)
    after = np.full(places, NONE, np.int64)
    ahead = np.full(places, NONE, np.int64)
    where = np.empty(places, np.int64)
    for i in range(places):
        where[i] = int((entry[i, 1] - low_y) / cell) * columns + int((entry[i, 0] - low_x) / cell)
    taken = np.empty(paths, np.int64)
    left = waits.copy()
    for path in range(paths):
        if left[path] == 0:
            for i in range(first[path], first[path + 1]):
                _put_in(head, after, ahead, where, i)
    x, y = start[0], start[1]
    for step in range(paths):
        column = min(max(int((x - low_x) / cell), 0), columns - 1)
        row = min(max(int((y - low_y) / cell), 0), rows - 1)
        best, nearest = NONE, np.inf
        for ring in range(columns + rows):
            # a place in this ring lies at least this far off; further rings can only be worse
            if best != NONE and (ring - 1) * cell > nearest:
                break
            for r in range(max(row - ring, 0), min(row + ring, rows - 1) + 1):
                whole = ring == 0 or r in (row - ring, row + ring)  # else only its two outer cells
                for c in range(column - ring, column + ring + 1, 1 if whole else 2 * ring):
                    if c < 0 or c >= columns:
                        continue
                    i = head[r * columns + c]
                    while i != NONE:
                        far = np.hypot(entry[i, 0] - x, entry[i, 1] - y)
                        if far < nearest or (far == nearest and i < best):
                            best, nearest = i, far
                        i = after[i]
        taken[step] = best
        path = owner[best]
        for i in range(first[path], first[path + 1]):
            _take_out(head, after, ahead, where, i)
        x, y = leave[best, 0], leave[best, 1]
        for k in range(then_first[path], then_first[path + 1]):
            other = then[k]
            left[other] -= 1
            if left[other] == 0:
                for i in range(first[other], first[other + 1]):
                    _put_in(head, after, ahead, where, i)
    return taken


@numba.njit(cache=True, nogil=True)
def _put_in(head: Any, after: Any, ahead: Any, where: Any, i: Any) -> None:
    old = head[where[i]]
    after[i], ahead[i] = old, NONE
    if old != NONE:
        ahead[old] = i
    head[where[i]] = i


@numba.njit(cache=True, nogil=True)
def _take_out(head: Any, after: Any, ahead: Any, where: Any, i: Any) -> None:
    if ahead[i] == NONE:
        head[where[i]] = after[i]
    else:
        after[ahead[i]] = after[i]
    if after[i] != NONE:
        ahead[after[i]] = ahead[i]


@numba.njit(cache=True, nogil=True)
def _apart(ends: Any, a: Any, b: Any, free: Any) -> Any:
    """Return the travel between two ends; none to the free end, where a tour that does not close is open."""
    if free in (a, b):
        return 0.0
    return np.hypot(ends[a, 0] - ends[b, 0], ends[a, 1] - ends[b, 1])


@numba.njit(cache=True, nogil=True)
def _beyond(tour: Any, at: Any, end: Any) -> Any:
    """Return the end to which the head travels from an end; slots begin at even places."""
    i = at[end]
    count = len(tour)
    return tour[(i + 1) % count] if i % 2 == 1 else tour[(i - 1) % count]


@numba.njit(cache=True, nogil=True)
def _turn(tour: Any, at: Any, low: Any, high: Any) -> None:
    """Turn round the stretch from a place to another, or all the rest where that is shorter."""
    count = len(tour)
    inside = (high - low) % count + 1
    if inside * 2 > count:
        low, high = (high + 1) % count, (low - 1) % count
        inside = count - inside
    for _ in range(inside // 2):
        tour[low], tour[high] = tour[high], tour[low]
        at[tour[low]], at[tour[high]] = low, high
        low, high = (low + 1) % count, (high - 1) % count


@numba.njit(cache=True, nogil=True)
def _turned_round(ends: Any, tour: Any, at: Any, near: Any, c: Any, free: Any, todo: Any) -> Any:  # noqa: PLR0917
    """Return what turning a stretch round gains, so that an end is joined to a nearer one; 0 where nothing does."""
    d = _beyond(tour, at, c)
    cd = _apart(ends, c, d, free)
    for k in range(near.shape[1]):
        e = near[c, k]
        if e // 2 == c // 2:
            continue
        ce = _apart(ends, c, e, free)
        if ce >= cd - WORTH_mm:
            return 0.0
        if (at[c] - at[e]) % 2 == 1 or e == d:
            continue
        f = _beyond(tour, at, e)
        gain = cd + _apart(ends, e, f, free) - ce - _apart(ends, d, f, free)
        if gain > WORTH_mm:
            if at[c] % 2 == 1:
                _turn(tour, at, at[d], at[e])
            else:
                _turn(tour, at, at[c], at[f])
            todo[c], todo[d], todo[e], todo[f] = True, True, True, True
            return gain
    return 0.0


@numba.njit(cache=True, nogil=True)
def _moved(ends: Any, tour: Any, at: Any, near: Any, c: Any, free: Any, todo: Any) -> Any:  # noqa: PLR0917
    """Return what moving one to three paths gains, so that an end is joined to a nearer one; 0 where nothing does."""
    count = len(tour)
    slots = count // 2
    a = _beyond(tour, at, c)
    ac = _apart(ends, a, c, free)
    for size in range(1, min(LONGEST_MOVED, slots - 2) + 1):
        length = 2 * size
        low = at[c] if at[c] % 2 == 0 else (at[c] - length + 1) % count
        t = tour[(low + length - 1) % count] if at[c] % 2 == 0 else tour[low]
        b = _beyond(tour, at, t)
        gain = ac + _apart(ends, t, b, free) - _apart(ends, a, b, free)
        if gain <= WORTH_mm:
            continue
        for k in range(near.shape[1]):
            e = near[c, k]
            ce = _apart(ends, c, e, free)
            if ce >= gain - WORTH_mm:
                break
            if (at[e] - low) % count < length:
                continue
            f = _beyond(tour, at, e)
            if (at[f] - low) % count < length:
                continue
            won = gain - ce - _apart(ends, t, f, free) + _apart(ends, e, f, free)
            if won > WORTH_mm:
                _carry(tour, at, low, length, e, f, at[c] % 2 == 0)
                todo[a], todo[b], todo[c], todo[t], todo[e], todo[f] = True, True, True, True, True, True
                return won
    return 0.0


@numba.njit(cache=True, nogil=True)
def _carry(tour: Any, at: Any, low: Any, length: Any, e: Any, f: Any, c_leads: Any) -> None:  # noqa: PLR0917
    """Carry a stretch to between two ends that follow one another, its end c beside e."""
    count = len(tour)
    held = np.empty(length, np.int64)
    for s in range(length):
        held[s] = tour[(low + s) % count]
    x, y = (e, f) if at[e] % 2 == 1 else (f, e)  # y follows x
    # c comes first where it is beside x, last where it is beside y
    if c_leads != (x == e):
        held = held[::-1].copy()
    onward = (at[x] - low - length) % count + 1  # how many lie between the stretch and its new place, either way
    backward = (low - at[y]) % count
    if onward <= backward:
        for s in range(onward):
            _lay(tour, at, (low + s) % count, tour[(low + length + s) % count])
        target = (low + onward) % count
    else:
        for s in range(backward):
            _lay(tour, at, (low + length - 1 - s) % count, tour[(low - 1 - s) % count])
        target = (low - backward) % count
    for s in range(length):
        _lay(tour, at, (target + s) % count, held[s])


@numba.njit(cache=True, nogil=True)
def _lay(tour: Any, at: Any, place: Any, end: Any) -> None:
    tour[place] = end
    at[end] = place


@numba.njit(cache=True, nogil=True)
def _mend(ends: Any, tour: Any, at: Any, near: Any, free: Any, todo: Any, stack: Any) -> Any:  # noqa: PLR0917
    """Turn and move until nothing shortens the tour any more; return what that gained."""
    total = 0.0
    height = 0
    for i in range(len(tour)):
        if todo[tour[i]] and tour[i] != free:
            stack[height] = tour[i]
            height += 1
    while height > 0:
        fresh = 0
        for s in range(height):
            c = stack[s]
            if not todo[c]:
                continue
            todo[c] = False
            while True:
                gain = _turned_round(ends, tour, at, near, c, free, todo)
                if gain == 0.0:
                    gain = _moved(ends, tour, at, near, c, free, todo)
                if gain == 0.0:
                    break
                total += gain
            todo[c] = False
        for i in range(len(tour)):
            if todo[i] and i != free:
                stack[fresh] = i
                fresh += 1
            todo[i] = False if i == free else todo[i]
        height = fresh
    return total


@numba.njit(cache=True, nogil=True)
def _shortened(ends: Any, order: Any, near: Any, free: Any, kicks: Any) -> Any:
    """Return a tour of ends made shorter: stretches turned round and moved, then kicked out of place and mended again.

    Parameters
    ----------
    ends : (2 N, 2) places; ends 2 k and 2 k + 1 belong to one path and stay together. order : (2 N,) the tour so far.
    near : (2 N, K) the nearest other ends, in order; free : the end that costs no travel, or −1; kicks : how many.

    Source
    ------
    Own choice: 2-opt and Or-opt, textbook methods, with kicks that swap two neighbouring stretches, kept where that
    shortens the tour (a fixed sequence of numbers: the answer is always the same).
    """
    count = len(order)
    slots = count // 2
    tour, at, stack = order.copy(), np.empty(count, np.int64), np.empty(count, np.int64)
    for i in range(count):
        at[tour[i]] = i
    todo = np.ones(count, np.bool_)
    _mend(ends, tour, at, near, free, todo, stack)
    if slots < 4:
        return tour
    longest = max(1, min(LONGEST_SWAPPED, (slots - 1) // 3))
    best, held = tour.copy(), np.empty(2 * longest, np.int64)
    number = 12345
    for _ in range(kicks):
        number = (number * 1103515245 + 12345) % 2147483648
        low = 2 * ((number >> 8) % slots)
        number = (number * 1103515245 + 12345) % 2147483648
        one = 2 * (1 + (number >> 8) % longest)
        number = (number * 1103515245 + 12345) % 2147483648
        two = 2 * (1 + (number >> 8) % longest)
        a, b = tour[(low - 1) % count], tour[low]
        c, d = tour[(low + one - 1) % count], tour[(low + one) % count]
        e, f = tour[(low + one + two - 1) % count], tour[(low + one + two) % count]
        lost = (
            _apart(ends, a, d, free)
            + _apart(ends, e, b, free)
            + _apart(ends, c, f, free)
            - _apart(ends, a, b, free)
            - _apart(ends, c, d, free)
            - _apart(ends, e, f, free)
        )
        for s in range(one):
            held[s] = tour[(low + s) % count]
        for s in range(two):
            _lay(tour, at, (low + s) % count, tour[(low + one + s) % count])
        for s in range(one):
            _lay(tour, at, (low + two + s) % count, held[s])
        todo[a], todo[b], todo[c], todo[d], todo[e], todo[f] = True, True, True, True, True, True
        if _mend(ends, tour, at, near, free, todo, stack) > lost + WORTH_mm:
            best[:] = tour
        else:
            tour[:] = best
            for i in range(count):
                at[tour[i]] = i
    return best


@numba.njit(cache=True, nogil=True)
def _best_entries(entry: Any, leave: Any, first: Any, order: Any, start: Any) -> Any:
    """Return the entries that make the travel of paths in an order least, one for each step.

    Parameters
    ----------
    entry, leave, first : as for `_nearest_first`; order : (N,) numbers of paths.

    Source
    ------
    Own derivation: the least travel to each leaving of a path follows from those of the path before.
    """
    steps = len(order)
    least = np.empty(len(entry), np.float64)
    came = np.full(len(entry), NONE, np.int64)
    for s in range(steps):
        for i in range(first[order[s]], first[order[s] + 1]):
            if s == 0:
                least[i] = np.hypot(entry[i, 0] - start[0], entry[i, 1] - start[1])
                continue
            least[i] = np.inf
            for j in range(first[order[s - 1]], first[order[s - 1] + 1]):
                total = least[j] + np.hypot(entry[i, 0] - leave[j, 0], entry[i, 1] - leave[j, 1])
                if total < least[i]:
                    least[i], came[i] = total, j
    last = order[steps - 1]
    i = first[last] + np.argmin(least[first[last] : first[last + 1]])
    picks = np.empty(steps, np.int64)
    for s in range(steps - 1, -1, -1):
        picks[s] = i
        i = came[i]
    return picks


@dataclass(frozen=True, slots=True, kw_only=True)
class Loops:
    """The compiled loops; they take their arguments by position, as described where they are written."""

    nearest_first: Callable[..., Any]
    shortened: Callable[..., Any]
    best_entries: Callable[..., Any]


def compiled() -> Loops:
    """Return the compiled loops. Source: `tour.order_paths`."""
    return Loops(nearest_first=_nearest_first, shortened=_shortened, best_entries=_best_entries)
