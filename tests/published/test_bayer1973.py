"""[bayer1973] The order of dots in Bayer's matrix, 4 × 4 as it is printed everywhere, and M(2n) from M(n).

- The matrix and the rule: MEM (check-values.md, 9).
Tolerances: none, whole numbers.
"""

from __future__ import annotations

from functools import partial

import numpy as np

import outside
from evenburn.core.tone.screens import apply_mask, bayer_mask, bayer_ranks

PUBLISHED = np.array([[0, 8, 2, 10], [12, 4, 14, 6], [3, 11, 1, 9], [15, 7, 13, 5]])


check = partial(outside.check, field="halftoning and density", source="bayer1973", trust="from memory", tolerance=0.0)


def test_the_matrix_of_four() -> None:
    alike = int((bayer_ranks(4) == PUBLISHED).sum())
    check("ranks of Bayer's 4 × 4 matrix that agree", got=alike, expected=16.0, why=outside.EXACT)


def test_the_matrix_of_eight_from_that_of_four() -> None:
    m = 4 * PUBLISHED
    alike = int((bayer_ranks(8) == np.block([[m, m + 2], [m + 3, m + 1]])).sum())
    check("… of the 8 × 8 matrix made of it", got=alike, expected=64.0, why=outside.EXACT)


def test_sixteenths_come_out_in_the_published_order() -> None:
    for count in range(17):
        dots = apply_mask(np.full((16, 16), count / 16.0, np.float32), bayer_mask())
        np.testing.assert_array_equal(dots, np.tile(count > PUBLISHED, (4, 4)))
