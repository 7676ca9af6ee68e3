"""Artwork comes to lie on the bed as it was drawn: upright, turned counter-clockwise, y away from the operator."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from shapely import Polygon, affinity, box, contains_xy

from evenburn.core.art.picture import Drawn, Grid, draw_on_bed, grid_in_box

Picture = NDArray[np.float32]

SIZE_mm = (24.0, 12.0)
PIXEL_mm = 0.1


def spotted() -> Drawn:
    """Return a white picture with one black spot low on the left: 3 mm from the left, 2 mm from below."""
    picture = np.zeros((240, 480), np.float32)  # 0.05 mm a pixel, top row first
    row, column = 240 - 40, 60
    picture[row - 8 : row + 8, column - 8 : column + 8] = 1.0
    return Drawn(picture=picture)


def bed_grid(turn_deg: float, *, at_mm: tuple[float, float] = (100.0, 50.0)) -> Grid:
    turned = affinity.rotate(box(0.0, 0.0, *SIZE_mm), turn_deg, origin=(0.0, 0.0))
    x0, y0, x1, y1 = turned.bounds
    return grid_in_box((at_mm[0], at_mm[1], at_mm[0] + x1 - x0, at_mm[1] + y1 - y0), pixel_mm=PIXEL_mm)


def spot_mm(picture: Picture, grid: Grid) -> tuple[float, float]:
    """Return the middle of all ink on the bed."""
    weight = picture.astype(np.float64)
    rows, columns = np.mgrid[0 : grid.rows, 0 : grid.columns]
    x = grid.x0_mm + (columns + 0.5) * grid.pixel_mm
    y = grid.y0_mm + (rows + 0.5) * grid.pixel_mm
    return float((weight * x).sum() / weight.sum()), float((weight * y).sum() / weight.sum())


def expected_mm(turn_deg: float, *, at_mm: tuple[float, float] = (100.0, 50.0)) -> tuple[float, float]:
    """Return where the spot has to lie: turned counter-clockwise, then the turned box's corner put at its place."""
    angle = math.radians(turn_deg)

    def turned(x: float, y: float) -> tuple[float, float]:
        return x * math.cos(angle) - y * math.sin(angle), x * math.sin(angle) + y * math.cos(angle)

    corners = [turned(x, y) for x in (0.0, SIZE_mm[0]) for y in (0.0, SIZE_mm[1])]
    left, low = min(x for x, _ in corners), min(y for _, y in corners)
    x, y = turned(3.0, 2.0)
    return at_mm[0] + x - left, at_mm[1] + y - low


@pytest.mark.parametrize("turn_deg", [0.0, 90.0, 180.0, 270.0, 360.0, -90.0])
def test_quarter_turns_put_the_spot_where_geometry_says(turn_deg: float) -> None:
    grid = bed_grid(turn_deg)
    drawn = draw_on_bed(spotted(), grid=grid, size_mm=SIZE_mm, turn_deg=turn_deg, as_light=False)
    assert drawn.shape == (grid.rows, grid.columns)
    assert spot_mm(drawn, grid) == pytest.approx(expected_mm(turn_deg), abs=1e-3)  # exact but for float32


@pytest.mark.parametrize("turn_deg", [30.0, -30.0, 45.0, 137.0])
def test_any_turn_puts_the_spot_where_geometry_says(turn_deg: float) -> None:
    grid = bed_grid(turn_deg)
    drawn = draw_on_bed(spotted(), grid=grid, size_mm=SIZE_mm, turn_deg=turn_deg, as_light=False)
    # grid_in_box may cut up to half a pixel on either side; the rest is a third of a pixel of oversampling
    assert spot_mm(drawn, grid) == pytest.approx(expected_mm(turn_deg), abs=0.5 * PIXEL_mm)
    ink_mm2 = float(drawn.astype(np.float64).sum()) * PIXEL_mm**2
    assert ink_mm2 == pytest.approx(0.8 * 0.8, rel=0.02)  # turning keeps the ink


@pytest.mark.parametrize("turn_deg", [30.0, -30.0, 45.0, 137.0])
def test_any_turn_is_about_the_middle_to_a_fiftieth_of_a_pixel(turn_deg: float) -> None:
    """The picture is a whole number of fine pixels each way, so its middle lies on the grid's: half a fine pixel shows."""
    grid = bed_grid(turn_deg)
    drawn = draw_on_bed(spotted(), grid=grid, size_mm=SIZE_mm, turn_deg=turn_deg, as_light=False)
    angle = math.radians(turn_deg)
    x, y = 3.0 - SIZE_mm[0] / 2.0, 2.0 - SIZE_mm[1] / 2.0
    middle = (grid.x0_mm + grid.columns * PIXEL_mm / 2.0, grid.y0_mm + grid.rows * PIXEL_mm / 2.0)
    expected = (
        middle[0] + x * math.cos(angle) - y * math.sin(angle),
        middle[1] + x * math.sin(angle) + y * math.cos(angle),
    )
    assert spot_mm(drawn, grid) == pytest.approx(expected, abs=0.02 * PIXEL_mm)


def test_up_in_the_artwork_is_up_on_the_bed() -> None:
    picture = np.zeros((10, 10), np.float32)
    picture[0, :] = 1.0  # top row
    grid = Grid(x0_mm=0.0, y0_mm=0.0, pixel_mm=1.0, rows=10, columns=10)
    drawn = draw_on_bed(Drawn(picture=picture), grid=grid, size_mm=(10.0, 10.0), turn_deg=0.0, as_light=False)
    assert drawn[9].tolist() == [1.0] * 10  # the row with the greatest y
    assert not drawn[:9].any()


def test_a_quarter_turn_counter_clockwise_brings_right_to_the_top() -> None:
    picture = np.zeros((4, 8), np.float32)
    picture[:, 7] = 1.0  # right edge
    grid = Grid(x0_mm=0.0, y0_mm=0.0, pixel_mm=1.0, rows=8, columns=4)
    drawn = draw_on_bed(Drawn(picture=picture), grid=grid, size_mm=(8.0, 4.0), turn_deg=90.0, as_light=False)
    assert drawn[7].tolist() == [1.0] * 4
    assert not drawn[:7].any()


@pytest.mark.parametrize(("drawn_as", "outside"), [("ink", 0.0), ("light", 1.0)])
def test_outside_a_turned_picture_nothing_burns(drawn_as: str, outside: float) -> None:
    everything = Drawn(picture=np.ones((120, 240), np.float32))
    grid = bed_grid(30.0)
    drawn = draw_on_bed(everything, grid=grid, size_mm=SIZE_mm, turn_deg=30.0, as_light=drawn_as == "light")
    assert drawn[0, 0] == outside  # the corners of the box are free
    assert drawn[-1, -1] == outside
    assert drawn[grid.rows // 2, grid.columns // 2] == pytest.approx(1.0 - outside, abs=1e-6)


def test_light_is_what_ink_leaves() -> None:
    grid = bed_grid(0.0)
    ink, light = (
        draw_on_bed(spotted(), grid=grid, size_mm=SIZE_mm, turn_deg=0.0, as_light=as_light)
        for as_light in (False, True)
    )
    assert ink + light == pytest.approx(np.ones_like(ink), abs=1e-6)


@pytest.mark.parametrize(("width", "columns"), [(1.0, 10), (1.04, 10), (1.0999, 10), (0.05, 1)])
def test_a_grid_is_the_most_whole_pixels_in_the_middle_of_its_box(width: float, columns: int) -> None:
    grid = grid_in_box((5.0, 7.0, 5.0 + width, 8.0), pixel_mm=0.1)
    assert (grid.columns, grid.rows) == (columns, 10)
    left, right = grid.x0_mm - 5.0, 5.0 + width - (grid.x0_mm + grid.columns * 0.1)
    assert left == pytest.approx(right, abs=1e-9)
    assert abs(left) <= 0.05 + 1e-9


def test_a_box_lower_than_a_pixel_still_has_one_row() -> None:
    grid = grid_in_box((5.0, 7.0, 6.0, 7.02), pixel_mm=0.1)
    assert (grid.columns, grid.rows) == (10, 1)
    assert grid.y0_mm == pytest.approx(7.01 - 0.05, abs=1e-12)


# ---- a letter, whole ------------------------------------------------------------------------------------------------

LETTER_mm = (16.0, 24.0)
# an F that fills its box, lower left corner at the origin: no turn and no mirror maps it onto itself
LETTER = Polygon(
    [
        *((0.0, 0.0), (4.0, 0.0), (4.0, 10.0), (11.0, 10.0), (11.0, 14.0)),
        *((4.0, 14.0), (4.0, 20.0), (16.0, 20.0), (16.0, 24.0), (0.0, 24.0)),
    ]
)


def letter() -> Drawn:
    """Return the F drawn at 0.05 mm, top row first."""
    y, x = np.mgrid[0:480, 0:320]
    return Drawn(picture=contains_xy(LETTER, (x + 0.5) * 0.05, (480 - y - 0.5) * 0.05).astype(np.float32))


@pytest.mark.parametrize("turn_deg", [0.0, 30.0, 90.0, 180.0, 213.0, 270.0])
def test_a_letter_lies_where_its_turned_outline_lies(turn_deg: float) -> None:
    """Against the outline turned by another library: pixels differ along its edge only, and by half of one at most."""
    turned = affinity.rotate(LETTER, turn_deg, origin=(0.0, 0.0))
    frame = affinity.rotate(box(0.0, 0.0, *LETTER_mm), turn_deg, origin=(0.0, 0.0))
    left, low, right, top = frame.bounds
    lying = affinity.translate(turned, 100.0 - left, 50.0 - low)
    grid = grid_in_box((100.0, 50.0, 100.0 + right - left, 50.0 + top - low), pixel_mm=PIXEL_mm)
    drawn = draw_on_bed(letter(), grid=grid, size_mm=LETTER_mm, turn_deg=turn_deg, as_light=False)
    rows, columns = np.mgrid[0 : grid.rows, 0 : grid.columns]
    x, y = grid.x0_mm + (columns + 0.5) * PIXEL_mm, grid.y0_mm + (rows + 0.5) * PIXEL_mm
    inside = contains_xy(lying, x, y)
    # a mirrored or wrongly turned F would miss by tens of mm²
    missed_mm2 = float(np.abs(drawn - inside).sum()) * PIXEL_mm**2
    assert missed_mm2 <= 0.5 * PIXEL_mm * lying.length
    away = lying.boundary.buffer(PIXEL_mm)
    clear = ~contains_xy(away, x, y)
    assert drawn[clear] == pytest.approx(inside[clear].astype(np.float32), abs=1e-6)
