"""How many tones of a wood can be told apart, and where they lie."""

from __future__ import annotations

import math

from evenburn.core.nouns.wood import CharacteristicCurve
from evenburn.core.response.curve import tone_range_L

APART_SDS = 2.0  # neighbouring shades differ by so many standard deviations of the wood's spread
LEAST_APART_L = 1.0  # … and by no less than a difference that is seen at all, however even the wood
WHOLE = 1e-9  # what rounding may take off a whole number of steps


def spread_L(curve: CharacteristicCurve) -> float:
    """Return by how much one exposure comes out differently on a lot, from place to place and board to board. [L*]

    Source
    ------
    Independent parts added in quadrature, [gum2008], 5.1.2.
    """
    return math.hypot(curve.evenness_L, curve.board_L)


def shades_L(curve: CharacteristicCurve) -> tuple[float, ...]:
    """Return the tones of a lot that are told apart, from the one nearest the bare surface to the fullest. [L*]

    Each differs from its neighbours, the first one from the bare surface, by twice the spread of the lot or a little more,
    so that they are even steps and end at the fullest tone the wood takes. None where it takes no tone so far from the
    bare surface.

    Source
    ------
    Own choice: of two areas with the same spread s whose means differ by 2 s, one spot of each tells the darker right in
    92 % of cases, Φ(2 s / √2 s), and an eye sees more than one spot; 1 L* is about the least difference seen, from memory.
    """
    step = max(APART_SDS * spread_L(curve), LEAST_APART_L)
    faint, full = tone_range_L(curve)
    way = math.copysign(1.0, full - curve.bare_L)
    first, last = max(step, (faint - curve.bare_L) * way), (full - curve.bare_L) * way
    if last < first:
        return ()
    steps = math.floor((last - first) / step + WHOLE)
    if steps == 0:
        return (full,)
    return tuple(curve.bare_L + way * (first + (last - first) * n / steps) for n in range(steps + 1))
