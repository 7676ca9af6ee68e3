"""[jarvis1976] Jarvis, Judice and Ninke's error diffusion: [* 7 5; 3 5 7 5 3; 1 3 5 3 1]/48.

- Weights: MEM; their sum, 48, CHK (check-values.md, 9).
Tolerances: none; small pictures, in which single precision has no room to tip a dot over.
"""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest

import outside
from evenburn.core.tone.diffusion import KERNELS, diffuse
from published.kernels import diffused, pictures

PUBLISHED = np.array([[0, 0, 0, 7, 5], [3, 5, 7, 5, 3], [1, 3, 5, 3, 1]])


check = partial(outside.check, field="halftoning and density", source="jarvis1976", trust="from memory")


def test_the_weights_add_up() -> None:
    assert PUBLISHED.sum() == 48
    got = sum(weight for _, _, weight in KERNELS["jarvis"])
    check("sum of Jarvis's weights", got=got, expected=48.0, tolerance=0.0, why=outside.EXACT)


@pytest.mark.parametrize("serpentine", [False, True])
def test_dots_fall_where_the_published_kernel_puts_them(serpentine: bool) -> None:  # noqa: FBT001
    for picture in pictures(60):
        dots = diffuse(picture, kernel="jarvis", serpentine=serpentine)
        np.testing.assert_array_equal(dots, diffused(picture, PUBLISHED, serpentine=serpentine))
