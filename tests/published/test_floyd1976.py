"""[floyd1976] Floyd and Steinberg's error diffusion: [* 7; 3 5 1]/16, ours and as Pillow implements it.

- Weights: SEEN. They add up to one, so the mean of an even grey is kept but for what leaves at the sides and the bottom.
Tolerances: a pixel's error is at most half a dot. Per row 7 + 1 sixteenths leave on the right and 3 on the left, per column 9
below, so by at most ½ (11/16 rows + 9/16 columns) dots the count may be off. Pillow diffuses in whole levels of 255 and cuts
fractions of sixteenths off, at most one level a pixel. Thresholds of single pixels: so many levels as cut fractions add up to.
Ours in whole numbers has to be Pillow's bit by bit; ours in real numbers that of the algorithm written out.
"""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

import outside
from evenburn.core.tone.diffusion import KERNELS, diffuse, diffuse_like_pillow
from published import kernels

# (row, column) from the pixel: share of its error
PUBLISHED = {(0, 1): 7 / 16, (1, -1): 3 / 16, (1, 0): 5 / 16, (1, 1): 1 / 16}
LEVEL = 1.0 / 255.0


check = partial(outside.check, field="halftoning and density", source="floyd1976", trust="seen")


def diffused(coverage: NDArray[np.float64]) -> NDArray[np.bool_]:
    """The published algorithm in real numbers, row by row, left to right, threshold one half."""
    left = coverage.astype(np.float64).copy()
    rows, columns = left.shape
    dots = np.zeros(left.shape, np.bool_)
    for r in range(rows):
        for c in range(columns):
            dots[r, c] = left[r, c] > 0.5
            error = left[r, c] - float(dots[r, c])
            for (down, right), share in PUBLISHED.items():
                if r + down < rows and 0 <= c + right < columns:
                    left[r + down, c + right] += share * error
    return dots


def left_to_right(coverage: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Ours in real numbers, every line from the left as the algorithm was published."""
    return diffuse(coverage, kernel="floyd-steinberg", serpentine=False)


def firing_level(place: tuple[int, int], source: float, *, published: bool) -> int:
    """The least coverage, in levels, at which a pixel is set whose neighbour (0, 1) has been given some coverage."""
    for level in range(256):
        picture = np.zeros((3, 4))
        picture[0, 1] = source
        picture[place] = level * LEVEL
        dots = diffused(picture) if published else left_to_right(picture.astype(np.float32))
        if dots[place]:
            return level
    return 256


def test_weights_add_up_to_one() -> None:
    assert sum(PUBLISHED.values()) == 1.0


@pytest.mark.parametrize(("down", "right"), PUBLISHED)
def test_each_weight_is_the_published_one(down: int, right: int) -> None:
    source = 120 * LEVEL  # just not set: all of it is passed on, a sixteenth is 7.5 levels
    place = (down, 1 + right)
    theirs = firing_level(place, source, published=True)
    ours = firing_level(place, source, published=False)
    sixteenths = {(0, 1): 7, (1, -1): 3, (1, 0): 5, (1, 1): 1}[down, right]
    name = f"level at which the neighbour {down:+d}, {right:+d} fires, given {sixteenths}/16 of 120 levels"
    check(name, got=ours, expected=theirs, tolerance=2.0, why="a cut fraction for each of two neighbours on the way")


def test_the_first_neighbour_gets_seven_sixteenths() -> None:
    # nothing in between here: 127.5 levels less 7/16 of 120
    got = firing_level((0, 2), 120 * LEVEL, published=False)
    check("127.5 less 7/16 of 120", got=got, expected=127.5 - 52.5, tolerance=1.0, why="whole levels")


@pytest.mark.parametrize("level", [0, 1, 16, 51, 64, 100, 127, 128, 170, 204, 254, 255])
@pytest.mark.parametrize("shape", [(160, 200), (37, 300)])
def test_an_even_grey_keeps_its_mean(level: int, shape: tuple[int, int]) -> None:
    rows, columns = shape
    dots = left_to_right(np.full(shape, level * LEVEL, np.float32))
    leaves = 0.5 * (11 / 16 * rows + 9 / 16 * columns)
    cut = LEVEL * rows * columns
    assert abs(int(dots.sum()) - level * LEVEL * rows * columns) <= leaves + cut


def test_nothing_stays_nothing_and_full_stays_full() -> None:
    assert not left_to_right(np.zeros((20, 30), np.float32)).any()
    assert left_to_right(np.ones((20, 30), np.float32)).all()


def _photo_like() -> NDArray[np.uint8]:
    """Large soft shapes, a hard edge, fine texture and grain."""
    y, x = np.mgrid[0:300, 0:420]
    rng = np.random.default_rng(75)
    light = 120.0 + 90.0 * np.sin(x / 61.0) * np.cos(y / 43.0) + 12.0 * np.sin(x / 2.1 + y / 3.3)
    light[(x - 200) ** 2 + (y - 150) ** 2 < 4000] = 250.0
    return np.clip(light + 6.0 * rng.standard_normal(light.shape), 0.0, 255.0).astype(np.uint8)


PICTURES = {
    "noise": np.random.default_rng(16).integers(0, 256, (257, 311), dtype=np.uint8),
    "black and white noise": np.random.default_rng(17).integers(0, 2, (64, 91), dtype=np.uint8) * np.uint8(255),
    "ramp along": np.tile(np.arange(256, dtype=np.uint8), (130, 2)),
    "ramp down": np.tile(np.arange(256, dtype=np.uint8)[:, None], (1, 77)),
    "photograph": _photo_like(),
    "every even grey": np.repeat(np.arange(256, dtype=np.uint8), 24)[None, :].repeat(24, axis=0),
    "one pixel": np.array([[129]], np.uint8),
    "one row": np.arange(0, 255, 3, dtype=np.uint8)[None, :],
    "one column": np.arange(0, 255, 3, dtype=np.uint8)[:, None],
}


@pytest.mark.parametrize("name", PICTURES)
def test_in_whole_numbers_it_is_that_of_pillow(name: str) -> None:
    picture = np.ascontiguousarray(PICTURES[name])
    theirs = np.asarray(Image.fromarray(picture).convert("1"), np.bool_)
    np.testing.assert_array_equal(diffuse_like_pillow(picture), theirs)


@pytest.mark.parametrize("serpentine", [False, True])
def test_in_real_numbers_dots_fall_where_the_published_kernel_puts_them(serpentine: bool) -> None:  # noqa: FBT001
    total = sum(weight for _, _, weight in KERNELS["floyd-steinberg"])
    if serpentine:
        check("sum of Floyd and Steinberg's weights", got=total, expected=16.0, tolerance=0.0, why=outside.EXACT)
    assert total == 16
    weights = np.array([[0, 0, 7], [3, 5, 1]])
    for picture in kernels.pictures(60):
        dots = diffuse(picture, kernel="floyd-steinberg", serpentine=serpentine)
        np.testing.assert_array_equal(dots, kernels.diffused(picture, weights, serpentine=serpentine))
