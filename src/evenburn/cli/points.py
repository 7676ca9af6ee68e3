"""Places and pairs of places as people type them: `20,27.5` and `20,27.5=80.3,87.9`."""

from __future__ import annotations

import math
from collections.abc import Sequence

from evenburn.core.errors import InvalidInput

Point = tuple[float, float]
HINT = "Write a point as DRAWN_X,DRAWN_Y=BED_X,BED_Y in mm, say 20,27.5=80.3,87.9."


def place(text: str, *, option: str, hint: str = "Write a place as X,Y in mm, say 20,27.5.") -> Point:
    """Return a place.

    Raises
    ------
    InvalidInput
        If it is not two finite numbers with a comma between them.
    """
    parts = text.split(",")
    try:
        numbers = [float(part) for part in parts]
    except ValueError:
        numbers = []
    if len(numbers) != 2 or not all(math.isfinite(n) for n in numbers):
        raise InvalidInput({option: f'is "{text}", which is not two numbers with a comma between them'}, hint=hint)
    return numbers[0], numbers[1]


def pairs(texts: Sequence[str]) -> tuple[list[Point], list[Point]]:
    """Return what was drawn and where it was found, of each pair.

    Raises
    ------
    InvalidInput
        If one of them is no pair.
    """
    drawn: list[Point] = []
    found: list[Point] = []
    for number, text in enumerate(texts, start=1):
        option = f"--point {number}"
        left, equals, right = text.partition("=")
        if not equals:
            raise InvalidInput({option: f'is "{text}", without "=" between drawing and bed'}, hint=HINT)
        drawn.append(place(left, option=option, hint=HINT))
        found.append(place(right, option=option, hint=HINT))
    return drawn, found
