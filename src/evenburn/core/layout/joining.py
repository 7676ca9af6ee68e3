"""Compiled loop that joins shapes into islands: always the two that gain most by being swept together.

A shape stands as its first and last cell on each row of a coarse grid. Imported late: numba takes half a second.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numba
import numpy as np

NONE = -1


@numba.njit(cache=True, nogil=True)
def _gain(first: Any, last: Any, low: Any, high: Any, a: Any, b: Any, turn: Any, hop: Any) -> Any:  # noqa: PLR0917
    """Return what joining two islands gains, in cells of travel: a turn on each row both are on, less the gap."""
    begin, end = max(low[a], low[b]), min(high[a], high[b])
    gained, shared = 0.0, False
    for r in range(begin, end + 1):
        if first[a, r] <= last[a, r] and first[b, r] <= last[b, r]:
            shared = True
            apart = last[a, r] - first[a, r] + last[b, r] - first[b, r] + 2
            together = max(last[a, r], last[b, r]) - min(first[a, r], first[b, r]) + 1
            gained += turn + apart - together
    return gained + hop if shared else -1.0


@numba.njit(cache=True, nogil=True)
def _joined(first: Any, last: Any, owner: Any, turn: Any, hop: Any) -> Any:
    """Return which island each shape belongs to, (N,), joining as long as anything is gained; `first`, `last` change.

    Parameters
    ----------
    first, last : (N, R) first and last cell of a shape on each row; first > last where it is not on it.
    owner : (N,) the islands to start from, each named by one of its shapes.
    turn, hop : what a turn costs on a row, and going over to another island, in cells of travel.

    Source
    ------
    Own choice: agglomeration by the greatest gain, a textbook method.
    """
    shapes, rows = first.shape
    low, high = np.full(shapes, rows, np.int64), np.full(shapes, NONE, np.int64)
    alive = np.zeros(shapes, np.bool_)
    for i in range(shapes):
        alive[owner[i]] = True
    for i in range(shapes):
        for r in range(rows):
            if first[i, r] <= last[i, r]:
                low[i], high[i] = min(low[i], r), max(high[i], r)
    gains = np.full((shapes, shapes), -1.0, np.float32)
    best = np.zeros(shapes, np.int64)
    for i in range(shapes):
        if alive[i]:
            for j in range(i):
                if alive[j]:
                    gains[i, j] = gains[j, i] = _gain(first, last, low, high, i, j, turn, hop)
    for i in range(shapes):
        best[i] = np.argmax(gains[i])
    while True:
        a, most = NONE, 0.0
        for i in range(shapes):
            if alive[i] and gains[i, best[i]] > most:
                a, most = i, gains[i, best[i]]
        if a == NONE:
            return owner
        b = best[a]
        for r in range(low[b], high[b] + 1):
            if first[b, r] <= last[b, r]:
                first[a, r], last[a, r] = min(first[a, r], first[b, r]), max(last[a, r], last[b, r])
        low[a], high[a] = min(low[a], low[b]), max(high[a], high[b])
        alive[b] = False
        for i in range(shapes):
            if owner[i] == b:
                owner[i] = a
            gains[b, i] = gains[i, b] = -1.0
        for j in range(shapes):
            if alive[j] and j != a:
                gains[a, j] = gains[j, a] = _gain(first, last, low, high, a, j, turn, hop)
        for j in range(shapes):
            if alive[j] and (j == a or best[j] in (a, b) or gains[j, a] > gains[j, best[j]]):
                best[j] = np.argmax(gains[j])


def compiled() -> Callable[..., Any]:
    """Return the compiled loop; it takes its arguments by position, as described where it is written. Source: `islands`."""
    return _joined
