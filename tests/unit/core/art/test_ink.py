"""Where ink lies, and what lines along either axis meet of it."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from evenburn.core.art.ink import ink_box_mm, ink_profile


def ink(*rows: str) -> NDArray[np.bool_]:
    """Return ink from rows of `#` and `.`, the first the lowest."""
    return np.array([[c == "#" for c in row] for row in rows])


def test_the_box_reaches_from_the_first_to_past_the_last_pixel() -> None:
    picture = ink("....", ".#..", "..#.", "....", "....")
    assert ink_box_mm(picture, x0_mm=10.0, y0_mm=20.0, pixel_mm=0.5) == (10.5, 20.5, 11.5, 21.5)


def test_the_box_spans_ink_with_holes_and_steps() -> None:
    picture = ink("......", ".#....", "...##.", ".#....", "..#...", "......", "......")
    assert ink_box_mm(picture, x0_mm=10.0, y0_mm=20.0, pixel_mm=0.5) == (10.5, 20.5, 12.5, 22.5)


def test_a_single_pixel_has_a_box_of_one_pixel() -> None:
    assert ink_box_mm(ink("...", ".#."), x0_mm=0.0, y0_mm=0.0, pixel_mm=0.5) == (0.5, 0.5, 1.0, 1.0)


def test_a_line_that_ends_short_of_the_picture_has_its_own_length() -> None:
    profile = ink_profile(ink(".###....", ".#......"), axis="x", pixel_mm=0.5)
    assert profile.hull_mm2 == pytest.approx((3 + 1) * 0.25)
    assert profile.wander_mm == pytest.approx(0.5 * (0 + 2) * 0.5)


@pytest.mark.parametrize("shape", [(0, 0), (3, 4)])
def test_without_ink_there_is_no_box_and_the_profile_is_nought(shape: tuple[int, int]) -> None:
    picture = np.zeros(shape, np.bool_)
    assert ink_box_mm(picture, x0_mm=0.0, y0_mm=0.0, pixel_mm=0.5) is None
    profile = ink_profile(picture, axis="x", pixel_mm=0.5)
    assert (profile.hull_mm2, profile.rows_mm, profile.wander_mm) == (0.0, 0.0, 0.0)


def test_hull_holds_what_lies_between_first_and_last_ink() -> None:
    picture = ink("#..#", "....", ".##.")
    along_x = ink_profile(picture, axis="x", pixel_mm=0.5)
    assert along_x.hull_mm2 == pytest.approx((4 + 2) * 0.25)
    assert along_x.rows_mm == pytest.approx(1.0)  # the empty row costs nothing
    assert along_x.wander_mm == pytest.approx(0.5 * (1 + 1) * 0.5)  # first 0 → 1, last 4 → 3
    along_y = ink_profile(picture, axis="y", pixel_mm=0.5)
    assert along_y.hull_mm2 == pytest.approx(4 * 0.25)
    assert along_y.rows_mm == pytest.approx(2.0)
    assert along_y.axis == "y"
    assert along_y.wander_mm == pytest.approx(0.5 * (2 + 0 + 2 + 2 + 0 + 2) * 0.5)


def test_a_block_does_not_wander() -> None:
    profile = ink_profile(np.ones((6, 9), np.bool_), axis="x", pixel_mm=0.1)
    assert profile.wander_mm == 0.0
    assert profile.hull_mm2 == pytest.approx(0.54)
