"""Masks: each coverage comes out as it was asked for, wherever a tile begins."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from evenburn.core.tone.screens import Mask, apply_mask, bayer_mask, blue_noise_mask, clustered_mask

CELLS = [2, 3, 4, 5, 7, 9, 12]
MASKS = {"ordered": bayer_mask(), "blue-noise": blue_noise_mask()} | {
    f"clustered {c}": clustered_mask(c) for c in CELLS
}
EVERY_MASK = pytest.mark.parametrize("mask", MASKS.values(), ids=MASKS)


@EVERY_MASK
def test_each_threshold_is_there_once_and_they_are_enough(mask: Mask) -> None:
    ranks = np.sort(mask.ravel().astype(float)) * mask.size - 0.5
    np.testing.assert_allclose(ranks, np.arange(mask.size), atol=1e-3)  # single precision
    assert mask.size >= 256
    assert mask.shape[0] % 2 == 0  # or lines burnt to and fro would not repeat with it
    assert not mask.flags.writeable


@EVERY_MASK
def test_a_coverage_comes_out_as_asked(mask: Mask) -> None:
    for count in (0, 1, mask.size // 3, mask.size - 1, mask.size):
        dots = apply_mask(np.full(mask.shape, count / mask.size, np.float32), mask)
        assert int(dots.sum()) == count


@EVERY_MASK
@pytest.mark.parametrize("shape", [(0, 0), (0, 9), (9, 0), (1, 1), (130, 71), (64, 200)])
def test_tiles_lie_side_by_side(mask: Mask, shape: tuple[int, int]) -> None:
    coverage = np.random.default_rng(4).random(shape, dtype=np.float32)
    rows, columns = np.indices(shape)
    expected = coverage > mask[rows % mask.shape[0], columns % mask.shape[1]]
    np.testing.assert_array_equal(apply_mask(coverage, mask), expected)


@pytest.mark.parametrize("cell", CELLS)
@pytest.mark.parametrize("coverage", [0.1, 0.2, 0.3, 0.7, 0.8, 0.9])
def test_a_clustered_screen_has_one_dot_or_hole_in_each_place_at_45_degrees(cell: int, coverage: float) -> None:
    mask = clustered_mask(cell)
    dots = apply_mask(np.full(mask.shape, coverage, np.float32), mask)
    marks = dots if coverage < 0.5 else ~dots
    # the tile has as many dots as its own lattice, two for each period squared; roll so that none is cut by the edge
    lattice = mask.shape[0] // cell
    shift = 0 if coverage < 0.5 else cell
    labels, count = ndimage.label(np.roll(np.tile(marks, (3, 3)), shift, axis=1))
    inner = labels[mask.shape[0] : 2 * mask.shape[0], mask.shape[0] : 2 * mask.shape[0]]
    whole = np.unique(inner[inner > 0])
    sizes = ndimage.sum_labels(np.ones(labels.shape), labels, whole)
    areas = min(coverage, 1.0 - coverage) * 2 * cell * cell
    assert count > 0
    if areas >= 1.0:  # else not every place has a pixel yet
        assert whole.size >= lattice * lattice / 2
        assert sizes.max() <= np.ceil(areas) + 1e-9
        assert sizes.min() >= np.floor(areas) - 1e-9


def test_the_masks_are_the_same_every_time() -> None:
    again = blue_noise_mask.__wrapped__()
    np.testing.assert_array_equal(again, blue_noise_mask())
