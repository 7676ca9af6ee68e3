"""Kerf and bridges: areas by closed forms, spans that leave what they promise."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import ellipe
from shapely import LinearRing, Point, Polygon, unary_union

from evenburn.core.art.bridges import bridge_spans
from evenburn.core.art.kerf import offset_for_kerf
from evenburn.core.errors import OutOfRange
from evenburn.core.nouns.mark import Keeps
from evenburn.core.nouns.path import Polyline


def square(side_mm: float, *, at: tuple[float, float] = (0.0, 0.0)) -> Polyline:
    return Polyline(
        points_mm=np.array([[0.0, 0.0], [side_mm, 0.0], [side_mm, side_mm], [0.0, side_mm]]) + at, closed=True
    )


def circle(radius_mm: float, *, points: int = 720) -> Polyline:
    angle = 2.0 * np.pi * np.arange(points) / points
    return Polyline(points_mm=radius_mm * np.stack([np.cos(angle), np.sin(angle)], axis=1), closed=True)


def area(path: Polyline) -> float:
    return float(Polygon(path.points_mm).area)


def test_a_square_grows_by_a_kerf_on_each_side() -> None:
    kerfed = offset_for_kerf([square(20.0)], kerf_mm=0.3, keeps="part")
    assert area(kerfed.paths[0]) == pytest.approx(20.3**2)  # mitred corners stay corners
    assert area(offset_for_kerf([square(20.0)], kerf_mm=0.3, keeps="opening").paths[0]) == pytest.approx(19.7**2)


def test_a_circle_grows_as_steiners_formula_says() -> None:
    # Steiner: area of a convex shape grown by r is A + P r + π r²
    kerfed = offset_for_kerf([circle(10.0)], kerf_mm=0.4, keeps="part")
    a, p, r = math.pi * 100.0, 2.0 * math.pi * 10.0, 0.2
    assert area(kerfed.paths[0]) == pytest.approx(a + p * r + math.pi * r * r, rel=3e-4)


def test_holes_go_the_other_way_and_islands_in_holes_again() -> None:
    paths = [square(40.0), square(20.0, at=(10.0, 10.0)), square(6.0, at=(17.0, 17.0))]
    sides = [math.sqrt(area(p)) for p in offset_for_kerf(paths, kerf_mm=0.2, keeps="part").paths]
    assert sides == pytest.approx([40.2, 19.8, 6.2])


def test_the_part_keeps_its_drawn_size_when_the_kerf_is_taken_off_again() -> None:
    cut = Polygon(offset_for_kerf([square(20.0)], kerf_mm=0.3, keeps="part").paths[0].points_mm)
    left = cut.buffer(-0.15, join_style="mitre")  # the kerf takes half of its width on the part's side
    assert left.symmetric_difference(Polygon(square(20.0).points_mm)).area < 1e-9


def test_an_opening_narrower_than_the_kerf_is_told() -> None:
    kerfed = offset_for_kerf([square(20.0), square(0.2, at=(5.0, 5.0))], kerf_mm=0.3, keeps="part")
    assert kerfed.lost == (1,)
    assert len(kerfed.paths) == 1


def test_open_paths_and_the_line_itself_stay() -> None:
    open_path = Polyline(points_mm=np.array([[0.0, 0.0], [5.0, 0.0]]), closed=False)
    assert offset_for_kerf([open_path], kerf_mm=0.3, keeps="part").paths[0] is open_path
    assert offset_for_kerf([square(9.0)], kerf_mm=0.3, keeps="line").paths[0].points_mm is not None


def test_an_outline_that_crosses_itself_still_encloses_its_area() -> None:
    bow = Polyline(points_mm=np.array([[0.0, 0.0], [10.0, 10.0], [10.0, 0.0], [0.0, 10.0]]), closed=True)
    kerfed = offset_for_kerf([bow], kerf_mm=0.2, keeps="part")
    assert sum(area(p) for p in kerfed.paths) > 50.0  # two triangles of 25 mm² each, grown


@given(side_mm=st.floats(5.0, 80.0), count=st.integers(1, 8), width_mm=st.floats(0.2, 2.0), kerf_mm=st.floats(0.1, 0.5))
def test_bridges_leave_what_they_promise(side_mm: float, count: int, width_mm: float, kerf_mm: float) -> None:
    found = bridge_spans(square(side_mm), count=count, width_mm=width_mm, kerf_mm=kerf_mm)
    assert len(found.spans) + found.missed == count
    widths = found.spans[:, 1] - found.spans[:, 0]
    assert widths == pytest.approx(width_mm + kerf_mm)
    flat = found.spans.ravel()
    assert (np.diff(flat) > -1e-9).all()  # in order, none over another
    assert flat.size == 0 or (flat[0] >= 0.0 and flat[-1] <= 4.0 * side_mm)


def test_bridges_keep_off_corners() -> None:
    found = bridge_spans(square(20.0), count=4, width_mm=1.0, kerf_mm=0.2)  # evenly spread they would sit mid-side
    found_odd = bridge_spans(square(20.0), count=8, width_mm=1.0, kerf_mm=0.2)  # evenly spread, every other is near one
    for spans in (found.spans, found_odd.spans):
        for low, high in spans:
            assert not any(low < corner < high for corner in (20.0, 40.0, 60.0))


def test_an_outline_too_short_for_bridges_says_so() -> None:
    found = bridge_spans(square(1.0), count=3, width_mm=3.0, kerf_mm=0.2)
    assert found.missed == 3
    assert found.spans.shape == (0, 2)


def drawn(*points: tuple[float, float]) -> Polyline:
    return Polyline(points_mm=np.array(points), closed=True)


# ---- closed forms ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("keeps", ["part", "opening"])
def test_an_ellipse_grows_and_shrinks_as_steiners_formula_says(keeps: Keeps) -> None:
    # A ± P r + π r², P = 4 a E(1 − b²/a²); shrinking holds while r is less than the least radius of curvature b²/a
    a_mm, b_mm, r_mm = 30.0, 12.0, 0.25
    t = 2.0 * np.pi * np.arange(4000) / 4000
    ellipse = Polyline(points_mm=np.stack([a_mm * np.cos(t), b_mm * np.sin(t)], axis=1), closed=True)
    perimeter_mm = 4.0 * a_mm * ellipe(1.0 - (b_mm / a_mm) ** 2)
    side = 1.0 if keeps == "part" else -1.0
    by_hand = math.pi * a_mm * b_mm + side * perimeter_mm * r_mm + math.pi * r_mm**2
    found = offset_for_kerf([ellipse], kerf_mm=2.0 * r_mm, keeps=keeps)
    assert area(found.paths[0]) == pytest.approx(by_hand, abs=0.001 * perimeter_mm)  # thinned to 0.001 mm


def test_the_offset_of_a_circle_keeps_within_a_hundredth_of_a_millimetre() -> None:
    sides: list[tuple[Keeps, float]] = [("part", 10.2), ("opening", 9.8)]
    for keeps, radius_mm in sides:
        moved = offset_for_kerf([circle(10.0)], kerf_mm=0.4, keeps=keeps).paths[0]
        ring = LinearRing(moved.points_mm)
        along = np.array([ring.interpolate(s, normalized=True).coords[0] for s in np.linspace(0.0, 1.0, 2000)])
        assert np.hypot(*along.T) == pytest.approx(radius_mm, abs=0.01)


def test_a_triangle_keeps_its_corners() -> None:
    # an equilateral triangle has the area 3√3 ρ² of its inradius ρ, and a mitre of 60° stands out by 2 r
    side_mm = 20.0
    triangle = drawn((0.0, 0.0), (side_mm, 0.0), (0.5 * side_mm, 0.5 * math.sqrt(3.0) * side_mm))
    inradius_mm = side_mm / (2.0 * math.sqrt(3.0))
    sides: list[tuple[Keeps, float]] = [("part", 0.2), ("opening", -0.2)]
    for keeps, r_mm in sides:
        found = offset_for_kerf([triangle], kerf_mm=0.4, keeps=keeps)
        assert area(found.paths[0]) == pytest.approx(3.0 * math.sqrt(3.0) * (inradius_mm + r_mm) ** 2, rel=1e-9)


def test_a_needle_is_cut_off_at_the_mitre_limit_and_stays_whole() -> None:
    needle = drawn((0.0, -1.0), (30.0, 0.0), (0.0, 1.0))
    moved = Polygon(offset_for_kerf([needle], kerf_mm=0.4, keeps="part").paths[0].points_mm)
    reach_mm = moved.bounds[2] - 30.0
    assert 0.2 <= reach_mm <= 3.0 * 0.2 + 1e-9  # a sharp mitre would stand out by 6 mm
    assert moved.exterior.distance(Polygon(needle.points_mm)) == pytest.approx(0.2, abs=1e-9)


# ---- the part that is left --------------------------------------------------------------------------------------------


@given(
    radii_mm=st.lists(st.floats(4.0, 20.0), min_size=3, max_size=14),
    hole_mm=st.floats(0.5, 1.5),
    kerf_mm=st.floats(0.05, 0.4),
)
def test_the_beam_leaves_the_part_that_was_drawn(radii_mm: list[float], hole_mm: float, kerf_mm: float) -> None:
    angle = 2.0 * np.pi * np.arange(len(radii_mm)) / len(radii_mm)
    star = Polyline(
        points_mm=np.array(radii_mm)[:, None] * np.stack([np.cos(angle), np.sin(angle)], axis=1), closed=True
    )
    hole = circle(hole_mm, points=90)
    found = offset_for_kerf([star, hole], kerf_mm=kerf_mm, keeps="part")
    outer, inner = (Polygon(path.points_mm) for path in found.paths)
    cut = outer.exterior.buffer(0.5 * kerf_mm, quad_segs=32).union(inner.exterior.buffer(0.5 * kerf_mm, quad_segs=32))
    left = outer.difference(inner).difference(cut)
    wished = Polygon(star.points_mm).difference(Polygon(hole.points_mm))
    missing_mm2 = wished.difference(left).area
    assert missing_mm2 <= 0.001 * wished.length  # the moved outlines are thinned to 0.001 mm
    # in a dent the round beam leaves a fillet, nothing else: all that is left beside lies within a kerf of the outline
    assert wished.buffer(kerf_mm + 0.001).contains(left)


def test_parts_beside_one_another_and_drawn_twice_each_keep_their_side() -> None:
    touching = [square(10.0), square(10.0, at=(10.0, 0.0))]
    assert [area(p) for p in offset_for_kerf(touching, kerf_mm=0.2, keeps="part").paths] == pytest.approx([10.2**2] * 2)
    twice = [square(10.0), square(10.0)]
    assert [area(p) for p in offset_for_kerf(twice, kerf_mm=0.2, keeps="part").paths] == pytest.approx([10.2**2] * 2)


def test_a_hole_that_touches_the_outline_is_a_hole() -> None:
    slot = drawn((0.0, 4.0), (8.0, 4.0), (8.0, 6.0), (0.0, 6.0))  # open to the left edge
    assert area(offset_for_kerf([square(10.0), slot], kerf_mm=0.2, keeps="part").paths[1]) == pytest.approx(7.8 * 1.8)


def test_a_path_that_encloses_nothing_stays_and_is_told() -> None:
    flat = drawn((0.0, 0.0), (10.0, 0.0), (20.0, 0.0))
    open_path = Polyline(points_mm=np.array([[0.0, 0.0], [5.0, 0.0]]), closed=False)
    found = offset_for_kerf([square(9.0), flat, open_path], kerf_mm=0.2, keeps="part")
    assert found.unmoved == (1, 2)
    assert found.paths[1:] == (flat, open_path)
    assert found.lost == ()


def test_a_whisker_on_an_outline_encloses_nothing() -> None:
    whisker = drawn((0.0, 0.0), (10.0, 0.0), (15.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0))
    found = offset_for_kerf([whisker], kerf_mm=0.2, keeps="part")
    assert Polygon(found.paths[0].points_mm).bounds == pytest.approx((-0.1, -0.1, 10.1, 10.1))


def test_a_neck_narrower_than_the_kerf_parts_an_opening_in_two() -> None:
    barbell = drawn(
        (0.0, 0.0), (5.0, 0.0), (5.0, 2.4), (9.0, 2.4), (9.0, 0.0), (14.0, 0.0),
        (14.0, 5.0), (9.0, 5.0), (9.0, 2.6), (5.0, 2.6), (5.0, 5.0), (0.0, 5.0),
    )  # fmt: skip
    found = offset_for_kerf([barbell], kerf_mm=0.3, keeps="opening")
    assert [area(p) for p in found.paths] == pytest.approx([4.7**2] * 2)


@pytest.mark.parametrize("kerf_mm", [-0.1, math.nan, math.inf])
def test_a_kerf_that_is_none_is_refused(kerf_mm: float) -> None:
    with pytest.raises(OutOfRange, match="kerf_mm"):
        offset_for_kerf([square(9.0)], kerf_mm=kerf_mm, keeps="part")


def test_no_outlines_and_no_kerf_move_nothing() -> None:
    assert offset_for_kerf([], kerf_mm=0.2, keeps="part").paths == ()
    one = square(9.0)
    assert offset_for_kerf([one], kerf_mm=0.0, keeps="part").paths == (one,)


# ---- bridges ----------------------------------------------------------------------------------------------------------


def test_the_kerf_leaves_a_bridge_of_the_promised_width() -> None:
    path = square(20.0)
    (low, high), *_ = bridge_spans(path, count=3, width_mm=1.5, kerf_mm=0.3).spans.tolist()
    ring = LinearRing(path.points_mm)
    on = [ring.interpolate(s % 80.0) for s in np.linspace(high, low + 80.0, 8001)]  # where the laser is on, in between
    cut = unary_union([Point(p).buffer(0.15, quad_segs=16) for p in on])
    middle = ring.interpolate(0.5 * (low + high))
    # the beam comes this near from both sides; 64 chords of its circle, and their corners lie on the outline
    assert 2.0 * cut.distance(middle) == pytest.approx(1.5, abs=0.001)


def test_a_bridge_moves_clear_of_a_corner_in_its_place() -> None:
    half = np.array([[10.0, 0.0], [20.0, 0.0], [20.0, 20.0], [0.0, 20.0], [0.0, 0.0]])  # begins in the middle of a side
    spans = bridge_spans(Polyline(points_mm=half, closed=True), count=4, width_mm=1.0, kerf_mm=0.2).spans
    corners = np.array([10.0, 30.0, 50.0, 70.0])  # where evenly spread bridges would sit
    nearest = np.abs(spans[:, :, None] - corners).min(axis=(1, 2))
    assert (nearest >= 0.5 * 1.2 - 1e-9).all()  # half of a bridge's width


def test_bridges_of_a_circle_are_evenly_spread() -> None:
    spans = bridge_spans(circle(10.0), count=5, width_mm=0.8, kerf_mm=0.2).spans
    assert np.diff(spans.mean(axis=1)) == pytest.approx(20.0 * math.pi / 5.0, rel=0.02)


def test_an_open_line_has_no_bridges() -> None:
    open_path = Polyline(points_mm=np.array([[0.0, 0.0], [50.0, 0.0]]), closed=False)
    found = bridge_spans(open_path, count=2, width_mm=1.0, kerf_mm=0.2)
    assert (found.spans.shape, found.missed) == ((0, 2), 0)


def test_a_short_outline_gets_fewer_bridges_and_tells() -> None:
    found = bridge_spans(square(5.0), count=6, width_mm=2.0, kerf_mm=0.5)  # half of 20 mm holds four of 2.5 mm
    assert (len(found.spans), found.missed) == (4, 2)
