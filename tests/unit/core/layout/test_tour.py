"""The order of paths: every one once, what is inside first, never more travel than as given, none where none is needed."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from evenburn.core.errors import InvalidInput
from evenburn.core.layout.nesting import holders, inner_first, nesting_depths
from evenburn.core.layout.tour import OrderedPath, order_paths, tour_order, travel_mm, without_doubles
from evenburn.core.nouns.path import Polyline


def ring(middle: tuple[float, float], radius_mm: float, *, points: int = 24) -> Polyline:
    angle = 2.0 * np.pi * np.arange(points) / points
    return Polyline(
        points_mm=np.asarray(middle) + radius_mm * np.stack([np.cos(angle), np.sin(angle)], axis=1), closed=True
    )


def stroke(*points: tuple[float, float]) -> Polyline:
    return Polyline(points_mm=np.array(points), closed=False)


places = arrays(np.float64, st.tuples(st.integers(1, 40), st.just(2)), elements=st.floats(0.0, 500.0, width=32))


@given(places)
def test_a_tour_goes_to_every_place_once(where: np.ndarray) -> None:
    order = tour_order(where)
    assert sorted(order.tolist()) == list(range(len(where)))
    assert order[0] == 0


@given(places, st.data())
def test_paths_come_once_each_and_never_with_more_travel(where: np.ndarray, data: st.DataObject) -> None:
    paths = [stroke((x, y), (x + 3.0, y + 1.0)) for x, y in where.tolist()]
    count = len(paths)
    pairs = [
        (a, b)
        for a, b in data.draw(st.lists(st.tuples(st.integers(0, count - 1), st.integers(0, count - 1)), max_size=8))
        if a < b
    ]
    ordered = order_paths(paths, before=pairs)
    numbers = [path.number for path in ordered]
    assert sorted(numbers) == list(range(count))
    assert all(numbers.index(a) < numbers.index(b) for a, b in pairs)
    given_order = [OrderedPath(number=i, points_mm=p.points_mm, closed=False) for i, p in enumerate(paths)]
    assert travel_mm(ordered, start_mm=(0.0, 0.0)) <= travel_mm(given_order, start_mm=(0.0, 0.0)) + 1e-6


def test_an_order_that_was_found_keeps_every_point() -> None:
    paths = [ring((10.0, 10.0), 4.0), stroke((30.0, 0.0), (35.0, 5.0))]
    for path in order_paths(paths):
        same = {tuple(np.round(p, 9)) for p in path.points_mm}
        assert same == {tuple(np.round(p, 9)) for p in paths[path.number].points_mm}


def test_the_hole_of_a_ring_is_cut_before_the_ring() -> None:
    paths = [ring((0.0, 0.0), 20.0), ring((0.0, 0.0), 5.0), ring((0.0, 0.0), 10.0), stroke((1.0, 0.0), (2.0, 1.0))]
    assert nesting_depths(paths).tolist() == [0, 2, 1, 3]
    numbers = [p.number for p in order_paths(paths, before=inner_first(paths))]
    assert numbers == [3, 1, 2, 0]


def test_outlines_beside_one_another_hold_nothing() -> None:
    paths = [ring((0.0, 0.0), 5.0), ring((20.0, 0.0), 5.0)]
    assert holders(paths) == ((), ())
    assert inner_first(paths) == ()


@pytest.mark.parametrize(
    "twin",
    [
        stroke((5.0, 5.0), (0.0, 0.0)),
        stroke((0.0, 0.0), (5.0, 5.0)),
    ],
)
def test_a_line_over_another_is_left_out(twin: Polyline) -> None:
    kept, doubles = without_doubles([stroke((0.0, 0.0), (5.0, 5.0)), twin, stroke((0.0, 0.0), (5.0, 6.0))])
    assert (len(kept), doubles) == (2, 1)


def test_a_ring_over_another_is_left_out_wherever_it_begins() -> None:
    one = ring((3.0, 3.0), 2.0)
    other = Polyline(points_mm=np.roll(one.points_mm, 7, axis=0)[::-1], closed=True)
    assert without_doubles([one, other])[1] == 1


def test_no_paths_is_no_order() -> None:
    assert order_paths([]) == ()


# ---- against every order there is --------------------------------------------------------------------------------


def least_travel_mm(ends: np.ndarray) -> float:
    """Return the least travel from the origin through strokes, (N, 2, 2), by trying every order and every way round."""
    best = np.inf
    for order in itertools.permutations(range(len(ends))):
        for ways in itertools.product((0, 1), repeat=len(ends)):
            at, total = np.zeros(2), 0.0
            for number, way in zip(order, ways, strict=True):
                total += float(np.hypot(*(ends[number, way] - at)))
                at = ends[number, 1 - way]
            best = min(best, total)
    return best


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("count", [1, 2, 3, 4, 5])
def test_a_few_strokes_come_in_the_best_of_all_orders(count: int, seed: int) -> None:
    ends = np.random.default_rng(seed).uniform(0.0, 100.0, (count, 2, 2))
    ordered = order_paths([stroke(*map(tuple, pair.tolist())) for pair in ends])
    assert travel_mm(ordered, start_mm=(0.0, 0.0)) == pytest.approx(least_travel_mm(ends), abs=1e-9)


def test_strokes_drawn_end_to_end_need_no_travel() -> None:
    corners = [(10.0 * k, float(k % 2)) for k in range(60)]
    pieces = [stroke(*pair) if k % 3 else stroke(*pair[::-1]) for k, pair in enumerate(itertools.pairwise(corners))]
    shuffled = [pieces[k] for k in np.random.default_rng(4).permutation(len(pieces))]
    assert travel_mm(order_paths(shuffled), start_mm=(0.0, 0.0)) == pytest.approx(0.0, abs=1e-9)


def test_a_lattice_of_dots_is_passed_in_rows() -> None:
    # an open way through an even lattice of n × n dots a step apart takes n² − 1 steps, and cannot take less
    dots = [ring((5.0 * i, 5.0 * j), 1e-6) for i in range(12) for j in range(12)]
    assert travel_mm(order_paths(dots), start_mm=(0.0, 0.0)) <= 1.05 * 5.0 * 143


def test_a_closed_path_of_many_points_is_entered_where_it_is_nearest() -> None:
    ordered = order_paths([ring((30.0, 0.0), 10.0, points=720)])
    assert ordered[0].points_mm[0] == pytest.approx((20.0, 0.0), abs=1e-9)  # half way round, at its left


@given(places)
def test_the_same_paths_always_come_in_the_same_order(where: np.ndarray) -> None:
    paths = [stroke((x, y), (y, x)) for x, y in where.tolist()]
    first, second = (order_paths(paths) for _ in range(2))
    assert [p.number for p in first] == [p.number for p in second]
    assert all((a.points_mm == b.points_mm).all() for a, b in zip(first, second, strict=True))


# ---- what has to come first ---------------------------------------------------------------------------------------


def test_a_frame_is_cut_after_all_that_it_holds() -> None:
    middles = np.random.default_rng(2).uniform(0.0, 600.0, (1500, 2)).tolist()
    paths = [ring((300.0, 300.0), 600.0), *(ring((x, y), 0.01) for x, y in middles)]
    pairs = inner_first(paths)
    assert {a for a, b in pairs if b == 0} == set(range(1, 1501))
    assert order_paths(paths, before=pairs)[-1].number == 0


def test_pairs_in_a_circle_are_refused() -> None:
    paths = [ring((20.0 * k, 0.0), 5.0) for k in range(4)]
    with pytest.raises(InvalidInput, match="1, 2, 3 have to come before one another"):
        order_paths(paths, before=[(1, 2), (2, 3), (3, 1)])


def test_a_pair_that_names_no_path_is_refused() -> None:
    with pytest.raises(InvalidInput, match=r"\(0, 7\) names a path that is not there; there are 1"):
        order_paths([ring((0.0, 0.0), 5.0)], before=[(0, 7)])


def test_outlines_that_cross_are_both_cut_after_what_both_hold() -> None:
    paths = [ring((0.0, 0.0), 10.0), ring((14.0, 0.0), 11.0), ring((6.0, 0.0), 1.0)]  # both hold the third only
    assert set(inner_first(paths)) == {(2, 0), (2, 1)}


def test_many_paths_alike_are_ordered_all_the_same() -> None:
    assert len(order_paths([stroke((5.0, 5.0), (5.0, 6.0))] * 300)) == 300


# ---- doubles --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("shift_mm", "doubles"), [(0.0, 1), (2e-7, 1), (0.009, 1), (0.011, 0), (0.2, 0)])
def test_a_line_counts_as_double_up_to_the_tolerance(shift_mm: float, doubles: int) -> None:
    low, high = 0.0049999, 0.0049999 + shift_mm  # either side of the middle of a grid cell
    paths = [stroke((0.0, low), (50.0, low)), stroke((0.0, high), (50.0, high))]
    assert without_doubles(paths, tolerance_mm=0.01)[1] == doubles


def test_a_double_may_be_divided_otherwise() -> None:
    once = stroke((0.0, 0.0), (10.0, 0.0), (10.0, 10.0))
    again = stroke((10.0, 10.0), (10.0, 4.0), (10.0, 0.0), (3.0, 0.0), (0.0, 0.0))
    assert without_doubles([once, again]) == ((once,), 1)


def test_of_a_ring_and_a_line_that_comes_back_to_its_beginning_the_ring_stays() -> None:
    closed = ring((3.0, 3.0), 2.0)
    back = Polyline(points_mm=np.vstack([closed.points_mm, closed.points_mm[:1]]), closed=False)
    assert without_doubles([back, closed]) == ((closed,), 1)


def test_what_covers_another_only_in_part_is_no_double() -> None:
    assert without_doubles([stroke((0.0, 0.0), (10.0, 0.0)), stroke((0.0, 0.0), (9.0, 0.0))])[1] == 0
    there = stroke((0.0, 0.0), (10.0, 0.0))
    and_back = stroke((0.0, 0.0), (10.0, 0.0), (0.0, 0.0))  # as far, but twice as long
    assert without_doubles([there, and_back])[1] == 0
