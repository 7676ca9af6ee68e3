"""Which outline lies inside which, so that the inner is cut before the outer lets go of it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from evenburn.core.art.holding import holders
from evenburn.core.nouns.path import Polyline

__all__ = ["holders", "inner_first", "nesting_depths"]


def nesting_depths(paths: Sequence[Polyline]) -> NDArray[np.intp]:
    """Return for each path by how many closed paths it is held: even is an outer edge, odd a hole. Definition."""
    return np.array([len(h) for h in holders(paths)], dtype=np.intp)


def inner_first(paths: Sequence[Polyline]) -> tuple[tuple[int, int], ...]:
    """Return pairs (a, b) of path numbers: a lies inside b and has to be burnt before it.

    What follows from other pairs is left out. A holder is larger than what it holds, so that no pairs form a circle.

    Source
    ------
    Definition.
    """
    held = holders(paths)
    pairs = []
    for number, outer in enumerate(held):
        beyond: set[int] = set()
        for holder in outer:  # from small to large; outlines that cross may hold a path without holding one another
            if holder not in beyond:
                pairs.append((number, holder))
                beyond.update(held[holder])
    return tuple(pairs)
