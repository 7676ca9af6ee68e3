"""The order of the batch: as few set-up changes as possible, otherwise as the person listed the pieces."""

from __future__ import annotations

from collections.abc import Sequence


def set_up_order(set_ups: Sequence[tuple[float, float]]) -> tuple[int, ...]:
    """Return the indices of pieces in the order to burn them.

    Pieces with the same thickness come together, within it those with the same stand-off; groups and members keep
    the order in which they were listed.

    Parameters
    ----------
    set_ups : for each piece its thickness and the stand-off of its first mark. [mm]

    Source
    ------
    Definition: grouping equal set-ups makes one change for each different one, the least there can be.
    """
    first: dict[tuple[float, ...], int] = {}
    for index, (thickness, stand_off) in enumerate(set_ups):
        first.setdefault((thickness,), index)
        first.setdefault((thickness, stand_off), index)
    return tuple(
        sorted(range(len(set_ups)), key=lambda i: (first[(set_ups[i][0],)], first[(set_ups[i][0], set_ups[i][1])], i))
    )


def changes(set_ups: Sequence[tuple[float, float]]) -> int:
    """Return how often the focus is set in a sequence of set-ups, the first time included. Definition."""
    return sum(1 for i, here in enumerate(set_ups) if i == 0 or here != set_ups[i - 1])
