"""[mokrzycki2011] Mokrzycki and Tatol, Color difference Delta E, a survey: below 1 nobody sees a difference.

- Bands of CIE 1976 differences: under 1 none, 1 to 2 an expert, 2 to 3.5 anybody, above 5 two colours. SEEN as quoted in the
  documentation of colour-science. [mahy1994]'s 2.3 lies in the third band.
Exact: the ceiling of unseen banding is the first band's end, at every tone, period and distance.
"""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest

import outside
from evenburn.core.planning.candidates import TONE_HOLDS_L
from evenburn.core.tone.vision import unseen_banding_L

NOBODY_L = 1.0
ANYBODY_L = (2.0, 3.5)


check = partial(outside.check, field="tone, colour and sight", source="mokrzycki2011", trust="seen", unit="L*")


@pytest.mark.parametrize("tone", [10.0, 25.0, 40.0, 60.0, 80.0])
@pytest.mark.parametrize("distance_mm", [150.0, 300.0, 1000.0])
def test_no_banding_that_passes_as_unseen_is_above_the_first_band(tone: float, distance_mm: float) -> None:
    periods_mm = np.geomspace(0.02, 5.0, 60)
    assert unseen_banding_L(tone=tone, period_mm=periods_mm, distance_mm=distance_mm).max() <= NOBODY_L


def test_the_ceiling_itself_is_reached_by_stripes_finer_than_the_eye_resolves() -> None:
    got, name = unseen_banding_L(tone=40.0, period_mm=0.05, distance_mm=300.0), "most banding that passes as unseen"
    check(name, got=got, expected=NOBODY_L, tolerance=0.0, why="the end of the band that nobody sees, taken over")


def test_a_change_that_tone_may_take_unnoticed_ends_where_anybody_sees_it() -> None:
    assert ANYBODY_L[0] <= TONE_HOLDS_L <= ANYBODY_L[1]
