"""[tablericons] Public icons drawn by our renderer and by a second one that shares no code with it (librsvg, by libvips).

Each twelfth of the 660 filled and each nineteenth of the 4577 outline icons of the package pytablericons 1.0.1, about 300.
- Coverage at 96 × 96 pixels, both drawn 4 times finer and averaged down, so that what is compared is where things lie, and
  not how each renderer shades a pixel that an edge crosses.
- The area inside the outlines of filled icons, by parity, beside the area of their pixels.
Tolerance: our renderer samples 4 × 4 points in a pixel, librsvg's 15 × 17; on an edge that crosses a fine pixel they differ
by up to a fifth, and four such pixels lie on the edge in one coarse one, all rounded alike at worst. Where two edges meet, as
at the ends of round joins, twice that. A shape shifted by a tenth of a coarse pixel would differ by 0.1 along all its edges,
and so in the mean by five times what is allowed.
Left out: none, but of the areas `globe`, whose parts overlap and which parity cannot fill.
"""

from __future__ import annotations

from importlib import resources
from pathlib import Path

import numpy as np
import pytest
import pyvips
import shapely

from evenburn.adapters.artwork.svg import parse_svg
from evenburn.core.nouns.path import FLATNESS_mm, Polyline

SIDE_px = 96
FINER = 4
ICON_units = 24
AT_A_PIXEL = 0.1
IN_THE_MEAN = 0.0015
OVERLAPPING = ("globe",)


def icons(kind: str, *, every: int) -> list[Path]:
    with resources.as_file(resources.files("pytablericons") / "icons" / kind) as folder:
        return sorted(folder.glob("*.svg"))[::every]


def second_coverage(data: bytes, *, side_px: int) -> np.ndarray:
    drawn = pyvips.Image.svgload_buffer(data, scale=side_px / ICON_units).flatten(background=255)
    return 1.0 - drawn.numpy()[..., 0].astype(np.float64) / 255.0


def averaged(picture: np.ndarray) -> np.ndarray:
    return picture.reshape(SIDE_px, FINER, SIDE_px, FINER).mean(axis=(1, 3))


@pytest.mark.parametrize(("kind", "every", "least"), [("filled", 12, 50), ("outline", 19, 240)])
def test_icons_lie_where_a_second_renderer_puts_them(kind: str, every: int, least: int) -> None:
    files = icons(kind, every=every)
    assert len(files) >= least
    fine = SIDE_px * FINER

    off = {}
    for file in files:
        data = file.read_bytes()
        ours = averaged(parse_svg(data, name=file.name).ink(width_px=fine, height_px=fine))
        theirs = averaged(second_coverage(data, side_px=fine))
        assert theirs.max() > 0.5, file.name
        difference = np.abs(ours - theirs)
        off[file.name] = (float(difference.max()), float(difference.mean()))

    assert {name: o for name, o in off.items() if o[0] > AT_A_PIXEL or o[1] > IN_THE_MEAN} == {}


def parity_area(outlines: tuple[Polyline, ...]) -> float:
    area = shapely.Polygon()
    for outline in outlines:
        if len(outline.points_mm) > 2:
            area = shapely.symmetric_difference(area, shapely.make_valid(shapely.Polygon(outline.points_mm)))
    return float(area.area)


def test_outlines_of_filled_icons_hold_the_area_that_is_painted() -> None:
    side_mm, per_mm = 24.0, 40
    files = [file for file in icons("filled", every=13) if file.stem not in OVERLAPPING]
    assert len(files) >= 50

    for file in files:
        drawing = parse_svg(file.read_bytes(), name=file.name)
        outlines = drawing.outlines(width_mm=side_mm, height_mm=side_mm)
        painted_mm2 = float(drawing.ink(width_px=960, height_px=960).sum(dtype=np.float64)) / per_mm**2
        length_mm = sum(shapely.LinearRing(o.points_mm).length for o in outlines if len(o.points_mm) > 2)
        # a chord cuts off two thirds of its height along its length, and never more than the flatness
        assert parity_area(outlines) == pytest.approx(painted_mm2, abs=2.0 / 3.0 * FLATNESS_mm * length_mm), file.name
