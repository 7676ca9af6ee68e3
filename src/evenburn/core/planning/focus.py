"""One focus for all marks of a piece, where that costs less time than setting the focus again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from evenburn.core.planning.recipe import CONSTRAINTS, Found, offsets_mm, search
from evenburn.core.planning.wish import Wish

FOCUSING_s = 240.0  # to set the stand-off once: starting value, from memory


def _broken(found: Sequence[Found]) -> int:
    """Return a number that grows with the importance of the worst constraint that gave way, over all marks."""
    return max(sum(1 << CONSTRAINTS.index(name) for name in f.gave_way) for f in found)


def search_together(wishes: Sequence[Wish]) -> tuple[tuple[Wish, Found], ...]:
    """Return wishes and recipes of the marks of one piece, at one focus offset where that is quicker altogether.

    Source
    ------
    Own derivation: the least of burning time and focusings over the searched offsets between those that the marks
    would take by themselves; nothing may give way that would not with a focus of its own.
    """
    alone = [search(wish) for wish in wishes]
    best = tuple(zip(wishes, alone, strict=True))
    offsets = {f.focus_offset_mm for f in alone}
    if len(offsets) < 2:
        return best
    least_s = sum(f.time_s for f in alone) + FOCUSING_s * (len(offsets) - 1)
    for offset in offsets_mm(wishes[0].beam):
        if not min(offsets) <= offset <= max(offsets):
            continue  # beyond what any of the marks would take by itself
        shared = [replace(wish, common_offset_mm=float(offset)) for wish in wishes]
        found = [search(wish) for wish in shared]
        focusings = len({f.focus_offset_mm for f in found}) - 1
        total_s = sum(f.time_s for f in found) + FOCUSING_s * focusings
        if total_s < least_s and _broken(found) <= _broken(alone):
            least_s, best = total_s, tuple(zip(shared, found, strict=True))
    return best
