"""Error diffusion: the mean is kept, whatever the kernel, the scan and the shape."""

from __future__ import annotations

import numpy as np
import pytest

from evenburn.core.tone.diffusion import KERNELS, Kernel, diffuse, diffuse_like_pillow

EVERY_KERNEL = pytest.mark.parametrize("kernel", KERNELS)


@EVERY_KERNEL
@pytest.mark.parametrize("serpentine", [False, True])
@pytest.mark.parametrize("coverage", [0.02, 0.25, 0.5, 0.77, 0.98])
def test_an_even_grey_keeps_its_mean(kernel: Kernel, serpentine: bool, coverage: float) -> None:  # noqa: FBT001
    """Errors of half a dot at most leave at the sides and below, no more than all of them two rows deep."""
    dots = diffuse(np.full((150, 210), coverage, np.float32), kernel=kernel, serpentine=serpentine)
    assert abs(float(dots.sum()) - coverage * dots.size) <= 0.5 * 2 * (2 * 150 + 210)


@EVERY_KERNEL
def test_nothing_stays_nothing_and_full_stays_full(kernel: Kernel) -> None:
    assert not diffuse(np.zeros((20, 30), np.float32), kernel=kernel).any()
    assert diffuse(np.ones((20, 30), np.float32), kernel=kernel).all()


@EVERY_KERNEL
@pytest.mark.parametrize("shape", [(0, 0), (0, 5), (5, 0), (1, 1), (1, 7), (7, 1), (2, 2)])
def test_no_shape_is_too_small(kernel: Kernel, shape: tuple[int, int]) -> None:
    assert diffuse(np.full(shape, 0.7, np.float32), kernel=kernel).shape == shape
    assert diffuse_like_pillow(np.zeros(shape, np.uint8)).shape == shape


@EVERY_KERNEL
def test_serpentine_lines_run_to_and_fro(kernel: Kernel) -> None:
    """Each second line of a picture of its own, errors of the first being nought, is set as if seen in a mirror."""
    rng = np.random.default_rng(2)
    line = rng.random(50, dtype=np.float32)
    two = np.stack([np.zeros(50, np.float32), line])
    mirrored = diffuse(np.stack([np.zeros(50, np.float32), line[::-1]]), kernel=kernel, serpentine=False)
    np.testing.assert_array_equal(diffuse(two, kernel=kernel)[1], mirrored[1, ::-1])


def test_a_picture_need_not_lie_in_one_piece_in_memory() -> None:
    picture = np.random.default_rng(3).random((40, 60), dtype=np.float32)
    np.testing.assert_array_equal(
        diffuse(np.asfortranarray(picture), kernel="stucki"), diffuse(picture, kernel="stucki")
    )
