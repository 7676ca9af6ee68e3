"""[cie15] CIE 15:2018 and ISO/CIE 11664-4: lightness L* of a luminance.

- L* = 116 f(Y/Yn) − 16; f = t^(1/3) for t > 216/24389, else (24389/27 t + 16)/116. MEM.
- Seven values from Y = 0.008856 to 0.9: DERIVED.
Tolerance: half of the last digit printed.
"""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest

import outside
from evenburn.core.tone.colour import lightness_L, luminance
from outside import HALF_DIGIT

check = partial(outside.check, field="tone, colour and sight", source="cie15", trust="derived", why=HALF_DIGIT)

TABLE = [
    (0.008856, 7.9996),
    (0.01, 8.9914),
    (0.05, 26.7348),
    (0.18, 49.4961),
    (0.184187, 50.0001),
    (0.5, 76.0693),
    (0.9, 95.9968),
]


@pytest.mark.parametrize(("y", "lightness"), TABLE)
def test_lightness(y: float, lightness: float) -> None:
    check(f"L* of luminance {y:g}", got=lightness_L(y), expected=lightness, tolerance=0.00005, unit="L*")


@pytest.mark.parametrize(("y", "lightness"), TABLE)
def test_and_back(y: float, lightness: float) -> None:
    # half a digit of L* is at most 0.00005 · dY/dL*, with dY/dL* = 3 Y^(2/3)/116 under 0.0259
    assert float(luminance(lightness)) == pytest.approx(y, abs=0.00005 * 0.0259)


def test_the_pieces_meet_at_l_star_8() -> None:
    np.testing.assert_allclose(lightness_L(np.array([216 / 24389 * (1 - 1e-12), 216 / 24389 * (1 + 1e-12)])), 8.0)
    assert float(luminance(8.0)) == pytest.approx(216 / 24389, rel=1e-14)


def test_ends() -> None:
    np.testing.assert_allclose(lightness_L(np.array([0.0, 1.0])), [0.0, 100.0], atol=1e-12)
