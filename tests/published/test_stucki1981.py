"""[stucki1981] Stucki's error diffusion: [* 8 4; 2 4 8 4 2; 1 2 4 2 1]/42.

- Weights: MEM; their sum, 42, CHK (check-values.md, 9).
Tolerances: none; small pictures, in which single precision has no room to tip a dot over.
"""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest

import outside
from evenburn.core.tone.diffusion import KERNELS, diffuse
from published.kernels import diffused, pictures

PUBLISHED = np.array([[0, 0, 0, 8, 4], [2, 4, 8, 4, 2], [1, 2, 4, 2, 1]])


check = partial(outside.check, field="halftoning and density", source="stucki1981", trust="from memory")


def test_the_weights_add_up() -> None:
    assert PUBLISHED.sum() == 42
    got = sum(weight for _, _, weight in KERNELS["stucki"])
    check("sum of Stucki's weights", got=got, expected=42.0, tolerance=0.0, why=outside.EXACT)


@pytest.mark.parametrize("serpentine", [False, True])
def test_dots_fall_where_the_published_kernel_puts_them(serpentine: bool) -> None:  # noqa: FBT001
    for picture in pictures(60):
        dots = diffuse(picture, kernel="stucki", serpentine=serpentine)
        np.testing.assert_array_equal(dots, diffused(picture, PUBLISHED, serpentine=serpentine))
