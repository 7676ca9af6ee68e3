"""[stucki1981] Stucki's error diffusion: [* 8 4; 2 4 8 4 2; 1 2 4 2 1]/42.

- Weights: MEM; their sum, 42, CHK (check-values.md, 9).
Tolerances: none; small pictures, in which single precision has no room to tip a dot over.
"""

from __future__ import annotations

import numpy as np
import pytest

from evenburn.core.tone.diffusion import KERNELS, diffuse
from published.kernels import diffused, pictures

PUBLISHED = np.array([[0, 0, 0, 8, 4], [2, 4, 8, 4, 2], [1, 2, 4, 2, 1]])


def test_the_weights_add_up() -> None:
    assert sum(weight for _, _, weight in KERNELS["stucki"]) == 42 == PUBLISHED.sum()


@pytest.mark.parametrize("serpentine", [False, True])
def test_dots_fall_where_the_published_kernel_puts_them(serpentine: bool) -> None:  # noqa: FBT001
    for picture in pictures(60):
        dots = diffuse(picture, kernel="stucki", serpentine=serpentine)
        np.testing.assert_array_equal(dots, diffused(picture, PUBLISHED, serpentine=serpentine))
