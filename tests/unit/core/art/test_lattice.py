"""A drawing on lines that are common to several: they coincide, and it stays where it lay."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from shapely import Polygon

from evenburn.core.art.lattice import ON_LATTICE_mm, on_lattice, placed
from evenburn.core.art.picture import Artwork, Grid, draw_on_bed, grid_in_box
from evenburn.core.layout.place import mark_on_bed
from evenburn.core.nouns.mark import Axis
from unit.core.examples import blank, piece
from unit.core.planning.drawn_marks import Shaped

SPACING_mm = 0.1
CROOKED = Polygon([(1.0, 1.0), (19.0, 4.0), (12.0, 18.0), (3.0, 12.0)])


@pytest.mark.parametrize("axis", ["x", "y"])
@pytest.mark.parametrize("off_mm", [0.0, 0.03, 0.05, 0.0999, -0.04])
def test_the_lattice_has_its_lines_in_common(axis: Axis, off_mm: float) -> None:
    origin = 17.3
    own = Grid(x0_mm=origin + 4.0 + off_mm, y0_mm=origin + 9.0 + off_mm, pixel_mm=0.1, rows=30, columns=50)

    grid = on_lattice(own, axis=axis, origin_mm=origin)

    start = grid.y0_mm if axis == "x" else grid.x0_mm
    lines = (start - origin) / 0.1
    assert abs(lines - round(lines)) * 0.1 < ON_LATTICE_mm
    assert grid.x0_mm <= own.x0_mm + ON_LATTICE_mm
    assert grid.y0_mm <= own.y0_mm + ON_LATTICE_mm
    assert grid.x0_mm + 0.1 * grid.columns >= own.x0_mm + 0.1 * own.columns - ON_LATTICE_mm
    assert grid.y0_mm + 0.1 * grid.rows >= own.y0_mm + 0.1 * own.rows - ON_LATTICE_mm
    assert (grid.rows + grid.columns) - (own.rows + own.columns) == (0 if off_mm == 0.0 else 1)


def middle_mm(picture: NDArray[np.float32], grid: Grid) -> NDArray[np.float64]:
    rows, columns = np.mgrid[0 : grid.rows, 0 : grid.columns] + 0.5
    weight = picture.astype(np.float64)
    return np.array(
        [
            grid.x0_mm + grid.pixel_mm * float((columns * weight).sum() / weight.sum()),
            grid.y0_mm + grid.pixel_mm * float((rows * weight).sum() / weight.sum()),
        ]
    )


@pytest.mark.parametrize("turn_deg", [0.0, 90.0, 180.0, 270.0, 30.0, 117.0])
@pytest.mark.parametrize("axis", ["x", "y"])
@pytest.mark.parametrize("off_mm", [0.02, 0.07])
def test_a_shifted_grid_does_not_shift_the_drawing(turn_deg: float, axis: Axis, off_mm: float) -> None:
    """Drawn on a grid that begins elsewhere, the shape's middle stays where it was, to a tenth of a line."""
    one = piece(blank=blank(size_mm=(24.0, 24.0)), place_bed_mm=(100.0, 100.0), turn_deg=turn_deg)
    x0, y0, x1, y1 = mark_on_bed(one, place_mm=(2.0, 2.0), size_mm=(20.0, 20.0)).bounds
    own = grid_in_box((x0, y0, x1, y1), pixel_mm=SPACING_mm)
    origin = (own.y0_mm if axis == "x" else own.x0_mm) - off_mm
    grid = on_lattice(own, axis=axis, origin_mm=origin)
    art: Artwork = Shaped(shape=CROOKED, size_mm=(20.0, 20.0))
    alone = draw_on_bed(art, grid=own, size_mm=(20.0, 20.0), turn_deg=turn_deg, as_light=False)

    moved, size = placed(art, own=own, grid=grid, size_mm=(20.0, 20.0), turn_deg=turn_deg)
    shared = draw_on_bed(moved, grid=grid, size_mm=size, turn_deg=turn_deg, as_light=False)
    light = draw_on_bed(moved, grid=grid, size_mm=size, turn_deg=turn_deg, as_light=True)

    assert grid != own
    assert middle_mm(shared, grid) == pytest.approx(middle_mm(alone, own), abs=0.1 * SPACING_mm)
    assert float(shared.sum()) == pytest.approx(float(alone.sum()), rel=0.002)  # the rim's own pixels
    assert light == pytest.approx(1.0 - shared, abs=1e-5)
