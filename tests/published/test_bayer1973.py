"""[bayer1973] The order of dots in Bayer's matrix, 4 × 4 as it is printed everywhere, and M(2n) from M(n).

- The matrix and the rule: MEM (check-values.md, 9).
Tolerances: none, whole numbers.
"""

from __future__ import annotations

import numpy as np

from evenburn.core.tone.screens import apply_mask, bayer_mask, bayer_ranks

PUBLISHED = np.array([[0, 8, 2, 10], [12, 4, 14, 6], [3, 11, 1, 9], [15, 7, 13, 5]])


def test_the_matrix_of_four() -> None:
    np.testing.assert_array_equal(bayer_ranks(4), PUBLISHED)


def test_the_matrix_of_eight_from_that_of_four() -> None:
    m = 4 * PUBLISHED
    np.testing.assert_array_equal(bayer_ranks(8), np.block([[m, m + 2], [m + 3, m + 1]]))


def test_sixteenths_come_out_in_the_published_order() -> None:
    for count in range(17):
        dots = apply_mask(np.full((16, 16), count / 16.0, np.float32), bayer_mask())
        np.testing.assert_array_equal(dots, np.tile(count > PUBLISHED, (4, 4)))
