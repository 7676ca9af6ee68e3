"""Covering: discs of known radii, so that what stays in sight is known beforehand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from shapely import Point

from evenburn.core.layout.place import on_bed
from evenburn.core.planning.rescue.cover import Cover, cover_of, on_blank_mm
from evenburn.core.planning.rescue.judge import cover_advice
from evenburn.core.proof.dose import DoseGrid
from evenburn.core.response.curve import tone_L
from unit.core.examples import curve
from unit.core.planning.rescue.test_register import PIECE

WOOD = curve(kappa=0.0, pass_exponent=1.0, reversal_L=0.0)
PIXEL_mm = 0.05
GRID = DoseGrid(x0_mm=100.0, y0_mm=90.0, pixel_x_mm=PIXEL_mm, pixel_y_mm=PIXEL_mm, rows=400, columns=500)
MIDDLE = (112.0, 100.0)
FAINT, FULL = -0.4, 0.2


def disc(radius_mm: float, exposure: float, *, at: tuple[float, float] = MIDDLE) -> NDArray[np.float64]:
    x = GRID.x0_mm + PIXEL_mm * (np.arange(GRID.columns) + 0.5)
    y = GRID.y0_mm + PIXEL_mm * (np.arange(GRID.rows) + 0.5)
    return np.where(np.hypot(x[None] - at[0], y[:, None] - at[1]) <= radius_mm, exposure, -np.inf)


def covered(old: NDArray[np.float64], new: NDArray[np.float64], *, old_x: float = FAINT) -> Cover:
    return cover_of(
        WOOD,
        old_map=old,
        new_map=new,
        grid=GRID,
        piece=PIECE,
        reading_distance_mm=300.0,
        old_exposure=old_x,
        new_exposure=FULL,
    )


def test_a_wider_disc_leaves_nothing_beside_it() -> None:
    cover = covered(disc(3.0, FAINT), disc(3.5, FULL))

    assert cover.beside_mm is None
    assert cover.beside_share == 0.0


def test_a_narrower_disc_says_by_how_much() -> None:
    cover = covered(disc(4.0, FAINT), disc(3.0, FULL))

    assert cover.grow_mm == pytest.approx(1.0, abs=2.0 * PIXEL_mm)  # known radii; a pixel on either edge
    ring = 1.0 - (3.0 + 300.0 * math.tan(math.radians(1.0 / 60.0))) ** 2 / 4.0**2  # less what the eye does not resolve
    assert cover.beside_share == pytest.approx(ring, abs=0.02)  # a pixel along the circumference is 1.3 %


def test_the_place_in_sight_is_named_on_the_blank() -> None:
    cover = covered(disc(3.0, FAINT), disc(3.0, FULL, at=(113.0, 100.0)))

    # furthest out on the left: 112 − 3 on the bed, the blank lies at 60, 60
    assert cover.beside_mm is not None
    assert cover.beside_mm[0] == pytest.approx(49.0, abs=3.0 * PIXEL_mm)
    assert cover.beside_mm[1] == pytest.approx(
        40.0, abs=math.sqrt(2.0 * 3.0 * PIXEL_mm)
    )  # where the edge is a pixel in


def test_less_than_the_eye_resolves_is_not_in_sight() -> None:
    # one arc minute [webvision] at 300 mm is 0.087 mm; the discs differ by 0.05 mm
    assert covered(disc(3.05, FAINT), disc(3.0, FULL)).beside_mm is None


def test_a_faint_burn_under_the_shoulder_is_hidden() -> None:
    cover = covered(disc(2.0, FAINT), disc(4.0, FULL))

    # energy adds: the tone of the sum is within 2.3 [mahy1994] of the new one
    assert abs(float(tone_L(WOOD, math.log10(10.0**FAINT + 10.0**FULL))) - float(tone_L(WOOD, FULL))) < 2.3
    assert cover.through_mm is None
    assert cover.hides()


def test_a_burn_on_the_straight_part_shows_through_and_is_not_hidden() -> None:
    old, new = disc(2.0, -0.5), disc(4.0, -0.3)
    cover = cover_of(
        WOOD, old_map=old, new_map=new, grid=GRID, piece=PIECE, reading_distance_mm=300.0, old_exposure=-0.5,
        new_exposure=-0.3,
    )  # fmt: skip

    both = float(tone_L(WOOD, math.log10(10.0**-0.5 + 10.0**-0.3)))
    assert cover.through_L == pytest.approx(float(tone_L(WOOD, -0.3)) - both, abs=1e-6)
    assert not cover.hides()


def test_char_is_counted_over_the_burnt_area_only() -> None:
    wood = replace(WOOD, x_char=FULL + 0.05)
    cover = cover_of(
        wood, old_map=disc(2.0, FAINT), new_map=disc(4.0, FULL), grid=GRID, piece=PIECE, reading_distance_mm=300.0,
        old_exposure=FAINT, new_exposure=FULL,
    )  # fmt: skip

    assert cover.char_share == pytest.approx(1.0)  # 10^0.2 + 10^−0.4 is 1.25 of 10^0.2; the limit lies at 1.12
    assert cover.again.over_char == pytest.approx((10.0**0.2 + 10.0**-0.4) / 10.0**0.25)


def test_nothing_burnt_needs_no_cover() -> None:
    empty = np.full((GRID.rows, GRID.columns), -np.inf)
    cover = covered(empty, disc(3.0, FULL))

    assert not cover.seen
    assert cover.hides()
    assert "hardly seen" in cover_advice(cover, error_mm=None, turns_lighter=False)[0].text


@pytest.mark.parametrize("turn_deg", [0.0, 90.0, -37.5])
def test_a_place_of_the_bed_is_led_back_to_the_blank(turn_deg: float) -> None:
    piece = replace(PIECE, turn_deg=turn_deg)
    there = on_bed(piece, Point(31.0, 17.0))
    assert on_blank_mm(piece, (there.x, there.y)) == pytest.approx((31.0, 17.0), abs=1e-9)
