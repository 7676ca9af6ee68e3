"""How far a test looks: as every day, for one lap of `make soak` with a seed of its own, or as a whole campaign.

Every day a test takes the same few cases. `make soak` goes round all of them for some minutes, each lap with a seed that
nobody had before; what is random then comes from `seed`, what is counted from `size`. `make campaign` takes every case there
is, as long as that may last.
"""

from __future__ import annotations

import os

from hypothesis import settings

CAMPAIGN = settings().max_examples > 1000
LAP_SEED = os.environ.get("EVENBURN_LAP_SEED")
LAP = LAP_SEED is not None and not CAMPAIGN
LAP_SECONDS = 8.0  # for what is searched by the clock


def size(*, daily: int, lap: int, campaign: int) -> int:
    """How many cases are tried."""
    if CAMPAIGN:
        return campaign
    return lap if LAP else daily


def seed(daily: int) -> int:
    """The number that chance begins with."""
    return int(LAP_SEED) if LAP and LAP_SEED is not None else daily


def large() -> bool:
    """Whether there is time for marks as large as they come: in a campaign, and in every other lap."""
    return CAMPAIGN or (LAP and seed(0) % 2 == 1)
