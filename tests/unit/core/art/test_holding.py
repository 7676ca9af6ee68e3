"""What an outline encloses, and what it holds."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenburn.core.art.holding import enclosed_area, holders
from evenburn.core.nouns.path import Polyline


def drawn(*points: tuple[float, float], closed: bool = True) -> Polyline:
    return Polyline(points_mm=np.array(points, dtype=np.float64), closed=closed)


def box(x: float, y: float, side_mm: float) -> Polyline:
    return drawn((x, y), (x + side_mm, y), (x + side_mm, y + side_mm), (x, y + side_mm))


def test_a_five_pointed_star_drawn_in_one_stroke_encloses_its_points_only():
    # the outline has ten corners at radii 1 and r = cos 72° / cos 36°, ten triangles of r sin 36° / 2; the pentagon inside,
    # five of r² sin 72° / 2, is wound round twice and counts as outside
    tips = [(math.cos(a), math.sin(a)) for a in (math.pi * (0.5 + 0.8 * k) for k in range(5))]
    pentagon_radius = math.cos(math.radians(72.0)) / math.cos(math.radians(36.0))
    pentagon = 2.5 * pentagon_radius**2 * math.sin(math.radians(72.0))
    decagram = 5.0 * pentagon_radius * math.sin(math.radians(36.0))
    assert enclosed_area(drawn(*tips)).area == pytest.approx(decagram - pentagon, rel=1e-12)


def test_a_bow_tie_encloses_both_of_its_triangles():
    assert enclosed_area(drawn((0, 0), (10, 10), (10, 0), (0, 10))).area == pytest.approx(50.0)


@pytest.mark.parametrize(
    "nothing",
    [drawn((0, 0), (5, 0), (9, 0)), drawn((0, 0), (5, 0)), drawn((0, 0), (5, 0), (5, 5), closed=False)],
    ids=["flat", "two points", "open"],
)
def test_what_encloses_nothing_has_an_empty_area(nothing: Polyline) -> None:
    assert enclosed_area(nothing).is_empty


@given(st.permutations(range(6)))
def test_rings_in_rings_are_held_by_all_larger_ones(order: list[int]) -> None:
    paths = [box(-1.0 - k, -1.0 - k, 2.0 + 2.0 * k) for k in order]
    for k, held in zip(order, holders(paths), strict=True):
        assert [order[h] for h in held] == list(range(k + 1, 6))  # from small to large


def test_touching_from_inside_is_held_and_from_outside_is_not():
    assert holders([box(0, 0, 10), box(0, 3, 4), box(10, 0, 5)]) == ((), (0,), ())


def test_two_alike_hold_neither_each_other_nor_twice():
    assert holders([box(0, 0, 10), box(0, 0, 10), box(2, 2, 2)]) == ((), (), (0, 1))


def test_more_than_half_inside_is_held():
    assert holders([box(0, 0, 10), box(8.1, 2, 4)]) == ((), ())
    assert holders([box(0, 0, 10), box(7.9, 2, 4)]) == ((), (0,))


def test_open_paths_are_held_by_where_most_of_them_runs_and_hold_nothing():
    inside, edge, out = (
        drawn((2, 2), (6, 6), closed=False),
        drawn((5, 5), (14, 5), closed=False),
        drawn((5, 5), (16, 5), closed=False),
    )
    assert holders([box(0, 0, 10), inside, edge, out]) == ((), (0,), (0,), ())


def test_no_paths_hold_nothing():
    assert holders([]) == ()
