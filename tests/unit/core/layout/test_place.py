"""Where a blank and its marks lie on the bed."""

from __future__ import annotations

import math

import numpy as np
import pytest
from shapely import MultiPolygon, Point, Polygon, affinity, box, contains_xy

from evenburn.core.layout.place import (
    allowed_mask,
    blank_size_text,
    ellipse_outline,
    inset,
    mark_on_bed,
    on_bed,
    outline_on_bed,
    rectangle_outline,
    room_mm,
    rounded_outline,
)
from evenburn.core.units import quarter_turns
from unit.core.examples import blank, piece

TURNS_deg = pytest.mark.parametrize("turn_deg", [0.0, 30.0, 90.0, 180.0, 197.0, 270.0, -45.0, 720.0])
ROUNDING_mm = 1e-9


def wedge() -> Polygon:
    """Return a blank that no turn maps onto itself, its box's lower left corner at the origin."""
    return Polygon([(0.0, 0.0), (80.0, 0.0), (80.0, 20.0), (10.0, 50.0), (0.0, 50.0)])


@TURNS_deg
@pytest.mark.parametrize("shape", ["rectangle", "wedge", "ellipse"])
def test_the_turned_blanks_box_has_its_lower_left_corner_at_its_place(turn_deg: float, shape: str) -> None:
    outline = {"rectangle": rectangle_outline((80.0, 50.0)), "wedge": wedge(), "ellipse": ellipse_outline((80.0, 50.0))}
    lying = piece(blank=blank(outline=outline[shape]), place_bed_mm=(40.0, 60.0), turn_deg=turn_deg)
    on = outline_on_bed(lying)
    assert on.bounds[:2] == pytest.approx((40.0, 60.0), abs=ROUNDING_mm)
    assert on.area == pytest.approx(outline[shape].area, rel=1e-12)  # turned, not stretched


def test_a_quarter_turn_counter_clockwise_lays_the_left_edge_below() -> None:
    lying = piece(blank=blank(size_mm=(80.0, 50.0)), place_bed_mm=(40.0, 60.0), turn_deg=90.0)
    origin, right, top = (on_bed(lying, Point(p)) for p in ((0.0, 0.0), (80.0, 0.0), (0.0, 50.0)))
    assert (origin.x, origin.y) == pytest.approx((90.0, 60.0), abs=ROUNDING_mm)
    assert (right.x, right.y) == pytest.approx((90.0, 140.0), abs=ROUNDING_mm)
    assert (top.x, top.y) == pytest.approx((40.0, 60.0), abs=ROUNDING_mm)


@TURNS_deg
def test_a_mark_turns_with_its_blank(turn_deg: float) -> None:
    lying = piece(blank=blank(outline=wedge()), turn_deg=turn_deg)
    rectangle = mark_on_bed(lying, place_mm=(5.0, 5.0), size_mm=(30.0, 12.0))
    assert rectangle.area == pytest.approx(360.0, rel=1e-12)
    assert outline_on_bed(lying).buffer(1e-6).contains(rectangle)
    corner = on_bed(lying, Point(5.0, 5.0))
    assert rectangle.boundary.distance(corner) == pytest.approx(0.0, abs=ROUNDING_mm)


def test_an_unturned_mark_is_the_sum_of_the_two_places() -> None:
    rectangle = mark_on_bed(piece(place_bed_mm=(40.0, 60.0)), place_mm=(20.0, 30.0), size_mm=(160.0, 95.0))
    assert rectangle.bounds == pytest.approx((60.0, 90.0, 220.0, 185.0), abs=ROUNDING_mm)


@pytest.mark.parametrize(
    ("turn_deg", "quarters"), [(0.0, 0), (90.0, 1), (-90.0, 3), (180.0, 2), (450.0, 1), (360.0, 0), (30.0, None)]
)
def test_quarter_turns_are_told_from_others(turn_deg: float, quarters: int | None) -> None:
    assert quarter_turns(turn_deg) == quarters


def test_room_is_what_lies_before_and_after_along_the_axis() -> None:
    ink = (30.0, 40.0, 130.0, 90.0)
    assert room_mm(ink, axis="x", bed_x_mm=600.0, bed_y_mm=400.0) == (30.0, 470.0)
    assert room_mm(ink, axis="y", bed_x_mm=600.0, bed_y_mm=400.0) == (40.0, 310.0)
    assert room_mm((-5.0, 0.0, 10.0, 10.0), axis="x", bed_x_mm=600.0, bed_y_mm=400.0)[0] == -5.0


# ---- shapes against closed forms --------------------------------------------------------------------------------


@pytest.mark.parametrize("size_mm", [(80.0, 50.0), (100.0, 100.0)])
def test_an_ellipse_has_its_area_and_its_box(size_mm: tuple[float, float]) -> None:
    outline = ellipse_outline(size_mm)
    # π a b; 256 chords of an ellipse hold 1 − (2π/256)²/6 of it
    assert outline.area == pytest.approx(math.pi * size_mm[0] * size_mm[1] / 4.0, rel=1.1e-4)
    assert outline.bounds == pytest.approx((0.0, 0.0, *size_mm), abs=1e-9)


@pytest.mark.parametrize("radius_mm", [1.0, 10.0, 24.9])
def test_a_rounded_rectangle_lacks_four_corners(radius_mm: float) -> None:
    outline = rounded_outline((80.0, 50.0), radius_mm=radius_mm)
    by_hand = 80.0 * 50.0 - (4.0 - math.pi) * radius_mm**2
    assert outline.area == pytest.approx(by_hand, abs=1.1e-4 * math.pi * radius_mm**2)  # 256 chords
    assert outline.bounds == pytest.approx((0.0, 0.0, 80.0, 50.0), abs=1e-9)


def test_a_rectangle_starts_at_the_origin() -> None:
    assert rectangle_outline((80.0, 50.0)).bounds == (0.0, 0.0, 80.0, 50.0)


# ---- masks ------------------------------------------------------------------------------------------------------


def area_mm2(outline: Polygon | MultiPolygon, *, pixel_mm: float) -> float:
    x0, y0, x1, y1 = outline.bounds
    shape = (round((y1 - y0) / pixel_mm) + 8, round((x1 - x0) / pixel_mm) + 8)
    mask = allowed_mask(outline, x0_mm=x0 - 4 * pixel_mm, y0_mm=y0 - 4 * pixel_mm, pixel_mm=pixel_mm, shape=shape)
    return float(mask.sum()) * pixel_mm**2


@pytest.mark.parametrize(
    ("outline", "by_hand"),
    [
        (box(10.0, 10.0, 50.0, 40.0), 1200.0),
        (ellipse_outline((60.0, 40.0)), 600.0 * math.pi),
        (rounded_outline((60.0, 40.0), radius_mm=8.0), 2400.0 - (4.0 - math.pi) * 64.0),
        (box(0.0, 0.0, 60.0, 40.0).difference(Point(30.0, 20.0).buffer(10.0, quad_segs=64)), 2400.0 - 100.0 * math.pi),
        (MultiPolygon([box(0.0, 0.0, 10.0, 10.0), box(20.0, 5.0, 30.0, 15.0)]), 200.0),
    ],
    ids=["rectangle", "ellipse", "rounded", "hole", "two parts"],
)
def test_a_mask_covers_the_blank_to_a_twentieth_of_a_pixel_along_its_edge(
    outline: Polygon | MultiPolygon, by_hand: float
) -> None:
    pixel = 0.1  # straight edges lie between pixels here; along a curve, too many and too few all but cancel
    assert area_mm2(outline, pixel_mm=pixel) == pytest.approx(by_hand, abs=0.05 * pixel * outline.length)


def test_a_mask_tells_inside_from_outside_and_from_the_hole() -> None:
    plate = box(0.0, 0.0, 60.0, 40.0).difference(box(20.0, 10.0, 30.0, 20.0))
    mask = allowed_mask(plate, x0_mm=-5.0, y0_mm=-5.0, pixel_mm=0.5, shape=(100, 140))

    def at(x_mm: float, y_mm: float) -> bool:
        return bool(mask[int((y_mm + 5.0) / 0.5), int((x_mm + 5.0) / 0.5)])

    assert at(1.0, 1.0)
    assert at(59.0, 39.0)
    assert at(45.0, 5.0)
    assert not at(25.0, 15.0)  # the hole; a mirrored mask would let it through
    assert at(25.0, 30.0)
    assert not at(-1.0, 20.0)
    assert not at(30.0, 41.0)


@pytest.mark.parametrize("seed", range(6))
def test_a_pixel_lies_on_the_blank_where_its_middle_does(seed: int) -> None:
    """Pixel by pixel against another library's answer, for blanks with holes and dents at any angle and offset.

    A polygon filler that also draws the edge let pixels through that lay almost a whole pixel beside the blank.
    """
    rng = np.random.default_rng(seed)
    shapes: list[Polygon | MultiPolygon] = [
        wedge().difference(box(12.0, 8.0, 30.0, 20.0)),
        ellipse_outline((80.0, 50.0)).difference(Point(30.0, 20.0).buffer(7.0)),
        Polygon([(0.0, 0.0), (80.0, 3.0), (70.0, 50.0), (40.0, 22.0), (5.0, 44.0)]),
        MultiPolygon([box(0.0, 0.0, 20.0, 30.0), box(25.0, 5.0, 60.0, 15.0)]),
    ]
    for outline in shapes:
        dx, dy = rng.uniform(0.0, 1.0, 2)
        lying = affinity.translate(affinity.rotate(outline, float(rng.uniform(0.0, 360.0))), dx, dy)
        # the window cuts some of it off on the left and below
        x0, y0, pixel = lying.bounds[0] + 4.3, lying.bounds[1] + 2.2, 0.37
        mask = allowed_mask(lying, x0_mm=x0, y0_mm=y0, pixel_mm=pixel, shape=(260, 250))
        rows, columns = np.mgrid[0:260, 0:250]
        expected = contains_xy(lying, x0 + (columns + 0.5) * pixel, y0 + (rows + 0.5) * pixel)
        assert mask.any()
        assert (mask == expected).all()


def test_a_blank_of_whole_pixels_has_just_those() -> None:
    mask = allowed_mask(box(1.0, 2.0, 3.0, 3.5), x0_mm=0.0, y0_mm=0.0, pixel_mm=0.25, shape=(20, 20))
    expected = np.zeros((20, 20), np.bool_)
    expected[8:14, 4:12] = True
    assert (mask == expected).all()


def test_a_mask_of_a_blank_elsewhere_is_empty() -> None:
    mask = allowed_mask(box(0.0, 0.0, 5.0, 5.0), x0_mm=50.0, y0_mm=50.0, pixel_mm=0.5, shape=(20, 30))
    assert mask.shape == (20, 30)
    assert not mask.any()


def test_inset_keeps_clear_of_edges_and_of_holes() -> None:
    plate = box(0.0, 0.0, 60.0, 40.0).difference(box(20.0, 10.0, 30.0, 20.0))
    inner = inset(plate, margin_mm=2.0)
    rounded_hole = 14.0 * 14.0 - (4.0 - math.pi) * 4.0
    assert inner.area == pytest.approx(
        56.0 * 36.0 - rounded_hole, abs=0.021
    )  # 64 chords of a 2 mm circle: πr² (2π/64)²/6
    assert inset(plate, margin_mm=21.0).is_empty


def test_the_size_reads_as_people_say_it() -> None:
    assert blank_size_text(blank(size_mm=(200.0, 150.0))) == "200 × 150 × 12.1\u00a0mm"
