"""A DXF drawing: its true size in every unit, its outlines, and what is refused."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from ezdxf.document import Drawing

from evenburn.adapters.artwork.dxf import MOST_ENTITIES
from evenburn.adapters.artwork.source import artwork_from_file
from evenburn.adapters.artwork.svg import SvgDrawing
from evenburn.core.errors import UnreadableFile

ROUNDED_mm = 5e-4  # the library writes a millionth of the longer side; FLATNESS_mm allows twenty times as much

Draw = Callable[[Any, Any], object]


@pytest.fixture
def drawn(tmp_path: Path) -> Callable[..., SvgDrawing]:
    def draw(what: Draw, *, unit: int = 4) -> SvgDrawing:
        document = Drawing.new("R2010")
        document.units = unit
        what(document, document.modelspace())
        document.saveas(tmp_path / "art.dxf")
        artwork = artwork_from_file(tmp_path / "art.dxf", name="art.dxf")
        assert isinstance(artwork, SvgDrawing)
        return artwork

    return draw


@pytest.mark.parametrize(
    ("unit", "mm"),
    [(0, 1.0), (1, 25.4), (2, 304.8), (4, 1.0), (5, 10.0), (6, 1000.0)],  # DXF reference, $INSUNITS; 0 is no unit
)
def test_lengths_are_in_the_units_of_the_file(unit: int, mm: float, drawn: Callable[..., SvgDrawing]) -> None:
    drawing = drawn(lambda _, space: space.add_line((1, 2), (4, 6)), unit=unit)

    assert drawing.size_mm == pytest.approx((3.0 * mm, 4.0 * mm), rel=1e-6)


def test_the_page_is_the_exact_box_of_an_arc(drawn: Callable[..., SvgDrawing]) -> None:
    drawing = drawn(lambda _, space: space.add_arc((50, 25), radius=20, start_angle=10, end_angle=50))

    assert drawing.size_mm == pytest.approx(
        (
            20.0 * (np.cos(np.radians(10)) - np.cos(np.radians(50))),
            20.0 * (np.sin(np.radians(50)) - np.sin(np.radians(10))),
        ),
        abs=ROUNDED_mm,
    )


def test_outlines_of_everything_that_is_drawn(drawn: Callable[..., SvgDrawing]) -> None:
    def draw(document: Any, space: Any) -> None:
        space.add_lwpolyline([(0, 0), (100, 0), (100, 50), (0, 50)], close=True)
        space.add_circle((50, 25), radius=10)
        space.add_spline([(10, 10), (20, 30), (40, 5)])
        space.add_ellipse((80, 30), major_axis=(10, 0), ratio=0.5)
        block = document.blocks.new("OAR")
        block.add_line((0, 0), (3, 4))
        space.add_blockref("OAR", (15, 35), dxfattribs={"xscale": 2, "yscale": 2})
        hatch = space.add_hatch()
        hatch.paths.add_polyline_path([(70, 5), (90, 5), (80, 15)], is_closed=True)

    drawing = drawn(draw)
    boxes = {
        (
            *np.round(line.points_mm.min(axis=0), 2).tolist(),
            *np.round(line.points_mm.max(axis=0), 2).tolist(),
            line.closed,
        )
        for line in drawing.outlines(width_mm=100.0, height_mm=50.0)
    }

    assert drawing.size_mm == pytest.approx((100.0, 50.0), abs=ROUNDED_mm)
    assert len(boxes) == 6
    assert boxes >= {
        (0.0, 0.0, 100.0, 50.0, True),
        (40.0, 15.0, 60.0, 35.0, True),
        (70.0, 25.0, 90.0, 35.0, True),
        (15.0, 35.0, 21.0, 43.0, False),
        (70.0, 5.0, 90.0, 15.0, True),
    }
    ink = drawing.ink(width_px=1000, height_px=500)
    assert ink[400, 800] == 1.0  # the hatch, 10 mm above the lower edge
    assert ink[250, 500] == 0.0  # inside the circle
    assert ink[250, 399:402].max() > 0.9  # its line, a quarter of a millimetre wide


def test_every_colour_is_black(drawn: Callable[..., SvgDrawing]) -> None:
    def draw(_: Any, space: Any) -> None:
        for colour in (1, 2, 7):
            space.add_solid([(10 * colour, 0), (10 * colour + 5, 0), (10 * colour, 9)], dxfattribs={"color": colour})

    ink = drawn(draw).ink(width_px=600, height_px=90)

    assert np.unique(ink.round(2)).tolist()[-1] == 1.0
    assert float(ink.mean()) == pytest.approx(3 * 0.5 * 5 * 9 / (65 * 9), abs=0.01)


def test_a_hidden_layer_is_not_drawn(drawn: Callable[..., SvgDrawing]) -> None:
    def draw(document: Any, space: Any) -> None:
        document.layers.add("notes").off()
        space.add_text("not for burning", dxfattribs={"layer": "notes"})
        space.add_line((0, 0), (3, 4))

    assert len(drawn(draw).outlines(width_mm=3.0, height_mm=4.0)) == 1


def nested(document: Any, space: Any) -> None:
    for k in range(30):
        block = document.blocks.new(f"B{k}")
        if k:
            block.add_blockref(f"B{k - 1}", (0, 0))
            block.add_blockref(f"B{k - 1}", (1, 0))
        else:
            block.add_circle((0, 0), radius=3)
    space.add_blockref("B29", (15, 35))


def fine_hatch(_: Any, space: Any) -> None:
    hatch = space.add_hatch()
    hatch.set_pattern_fill("ANSI31", scale=1e-4)
    hatch.paths.add_polyline_path([(0, 0), (900, 5), (800, 650)], is_closed=True)


@pytest.mark.parametrize(
    ("what", "words"),
    [
        (lambda _, space: space.add_text("Oars"), "text on layer"),
        (lambda _, space: space.add_mtext("Oars"), "text on layer"),
        (lambda _, space: space.add_xline((3, 3), (1, 1)), "XLINE"),
        (lambda _, __: None, "draws nothing"),
        (lambda _, space: space.add_point((3, 3)), "0 × 0 mm"),
        (lambda _, space: space.add_line((0, 0), (1e300, 1e300)), "less than 100 m"),
        (lambda _, space: space.add_circle((0, 0), radius=float("nan")), "draws nothing"),
        (nested, f"more than {MOST_ENTITIES}"),
        (fine_hatch, "hatch too fine"),
    ],
)
def test_what_is_not_drawn_right_is_refused(what: Draw, words: str, drawn: Callable[..., SvgDrawing]) -> None:
    with pytest.raises(UnreadableFile, match=words):
        drawn(what).outlines(width_mm=100.0, height_mm=50.0)


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"oars " * 100,
        b"\0" * 1000,
        b"0\nSECTION\n2\nENTITIES\n0\nLINE\n10\nx\n0\nEOF\n",
        b"0\nSECTION\n2\nHEADER\n9\n$",
    ],
)
def test_what_is_no_dxf_is_told(data: bytes, tmp_path: Path) -> None:
    (tmp_path / "art.dxf").write_bytes(data)

    with pytest.raises(UnreadableFile, match=r"art\.dxf"):
        artwork_from_file(tmp_path / "art.dxf", name="art.dxf")


def test_a_file_cut_short_is_read_as_far_as_it_goes_or_refused(tmp_path: Path) -> None:
    document = Drawing.new("R2010")
    for k in range(50):
        document.modelspace().add_line((k, 0), (k + 3, 4))
    document.saveas(tmp_path / "whole.dxf")
    data = (tmp_path / "whole.dxf").read_bytes()

    for share in (0.2, 0.5, 0.8, 0.95):
        (tmp_path / "art.dxf").write_bytes(data[: int(share * len(data))])
        told = ""
        try:
            artwork_from_file(tmp_path / "art.dxf", name="art.dxf")
        except UnreadableFile as error:
            told = str(error)
        assert told == "" or told.startswith("art.dxf: ")
