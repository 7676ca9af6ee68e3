"""[yule1951] Yule and Nielsen's dot area, a = (1 − 10^(−Dt/n)) / (1 − 10^(−Ds/n)), and Murray and Davies' where n is 1.

- The law: words SEEN, n = 1.7 as a usual value SEEN. Its table: DERIVED, six digits (check-values.md, 9).
- Worked example of [altphoto2004] for n = 1: a true 50 % of dots, solid of density 3.0 → 0.3006, of 1.33 → 0.2812. SEEN +CHK.
Tolerance: half of the last digit printed.
"""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest

import outside
from evenburn.core.tone.colour import lightness_L
from evenburn.core.tone.densitometry import dot_area, dot_gain, tint_density
from outside import HALF_DIGIT

TABLE = [  # tint, solid, n, area
    (0.50, 1.50, 1.0, 0.706101),
    (0.50, 1.50, 1.7, 0.566217),
    (0.50, 1.50, 2.0, 0.532320),
    (0.50, 1.50, 3.0, 0.466102),
    (0.30, 1.30, 1.0, 0.525132),
    (0.30, 1.30, 1.7, 0.403234),
    (0.30, 1.30, 2.0, 0.376297),
]
SIX_DIGITS = 0.5e-6
FOUR_DIGITS = 0.5e-4


check = partial(outside.check, field="halftoning and density")


@pytest.mark.parametrize(("tint", "solid", "n", "area"), TABLE)
def test_the_table_of_dot_areas(tint: float, solid: float, n: float, area: float) -> None:
    got, name = (
        dot_area(tint_density=tint, solid_density=solid, spreading=n),
        f"dot area, tint {tint:g}, solid {solid:g}, n {n:g}",
    )
    check(name, got=got, expected=area, tolerance=SIX_DIGITS, source="yule1951", trust="derived", why=HALF_DIGIT)


@pytest.mark.parametrize(("tint", "solid", "n", "area"), TABLE)
def test_the_table_read_the_other_way(tint: float, solid: float, n: float, area: float) -> None:
    # six digits of area are five of density: the area rises by up to 2.3 for each unit of density, and falls by a third
    found = float(tint_density(coverage=area, solid_density=solid, spreading=n))
    assert found == pytest.approx(tint, abs=5e-6)


@pytest.mark.parametrize(("solid", "tint"), [(3.0, 0.3006), (1.33, 0.2812)])
def test_worked_example_of_half_coverage(solid: float, tint: float) -> None:
    got, name = tint_density(coverage=0.5, solid_density=solid), f"density of 50 % of dots of density {solid:g}"
    check(name, got=got, expected=tint, tolerance=FOUR_DIGITS, source="altphoto2004", trust="seen", why=HALF_DIGIT)
    assert float(dot_area(tint_density=tint, solid_density=solid)) == pytest.approx(0.5, abs=2e-4)  # four digits


def test_gain_is_what_the_area_is_more_than_was_set() -> None:
    # ground of reflectance 1 and a solid of density 1.50: a tint of 0.50 is 70.6101 % of dots, set as 60 % it gained 10.6
    tones = lightness_L(10.0 ** -np.array([0.0, 0.50, 1.50]))
    gain = dot_gain(coverages=np.array([0.0, 0.6, 1.0]), tones=tones)
    assert gain == pytest.approx([0.0, 0.106101, 0.0], abs=SIX_DIGITS)
