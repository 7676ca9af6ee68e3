"""A drawing as pixels: page, proportions, bands, colours, pictures and text."""

from __future__ import annotations

import base64
import io

import numpy as np
import pytest
from PIL import Image

from evenburn.adapters.artwork import svg_bands
from evenburn.adapters.artwork.svg import parse_svg

HEAD = 'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
SAMPLE = 1.0 / 16.0  # the renderer takes 4 × 4 samples in a pixel
LEVEL = 1.0 / 255.0


def svg(body: str, page: str = 'width="100mm" height="50mm" viewBox="0 0 100 50"') -> bytes:
    return f"<svg {HEAD} {page}>{body}</svg>".encode()


def ink_box(ink: np.ndarray) -> tuple[int, int, int, int]:
    rows, columns = np.nonzero(ink > 0.5)
    return int(columns.min()), int(rows.min()), int(columns.max()) + 1, int(rows.max()) + 1


@pytest.mark.parametrize(
    ("page", "size_mm"),
    [
        ('width="100mm" height="50mm"', (100.0, 50.0)),
        ('width="10cm" height="2in"', (100.0, 50.8)),
        ('width="96" height="48px"', (25.4, 12.7)),  # CSS Values 3, 5.2: 96 px are an inch
        ('width="72pt" height="6pc"', (25.4, 25.4)),
        ('viewBox="0 0 96 48"', (25.4, 12.7)),
        ('width="100%" height="100%" viewBox="0 0 96 48"', (25.4, 12.7)),
    ],
)
def test_a_drawing_has_its_true_size(page: str, size_mm: tuple[float, float]) -> None:
    assert parse_svg(svg("<g/>", page), name="art.svg").size_mm == pytest.approx(size_mm)


@pytest.mark.parametrize(
    ("width_px", "height_px", "box"),
    [
        (1000, 500, (0, 0, 1000, 500)),
        (1000, 1000, (0, 250, 1000, 750)),  # the page is contained, and in the middle
        (1000, 200, (300, 0, 700, 200)),
    ],
)
def test_the_page_is_contained_and_clips(width_px: int, height_px: int, box: tuple[int, int, int, int]) -> None:
    everywhere = svg('<rect x="-500" y="-500" width="2000" height="2000"/>')

    ink = parse_svg(everywhere, name="art.svg").ink(width_px=width_px, height_px=height_px)

    assert ink_box(ink) == box
    assert ink.max() == 1.0
    assert ink.sum() == (box[2] - box[0]) * (box[3] - box[1])


@pytest.mark.parametrize(
    ("fitting", "box"),  # SVG 2, 8.2: a page of 100 × 50, a view box of 10 × 10
    [
        ("", (25, 0, 75, 50)),
        ("xMinYMid", (0, 0, 50, 50)),
        ("xMaxYMid meet", (50, 0, 100, 50)),
        ("none", (0, 0, 100, 50)),
        ("xMidYMid slice", (0, 0, 100, 50)),
    ],
)
def test_a_view_box_lies_on_its_page_as_asked(fitting: str, box: tuple[int, int, int, int]) -> None:
    page = f'width="100mm" height="50mm" viewBox="0 0 10 10" preserveAspectRatio="{fitting or "xMidYMid"}"'

    ink = parse_svg(svg('<rect width="10" height="10"/>', page), name="art.svg").ink(width_px=100, height_px=50)

    assert ink_box(ink) == box


def test_black_white_and_nothing_are_exact() -> None:
    body = '<rect width="50" height="50"/><rect width="25" height="50" fill="#fff"/>'

    ink = parse_svg(svg(body), name="art.svg").ink(width_px=100, height_px=50)

    assert (ink[:, :25] == 0.0).all()
    assert (ink[:, 25:50] == 1.0).all()
    assert (ink[:, 50:] == 0.0).all()


def test_colours_count_by_their_luminance() -> None:
    # IEC 61966-2-1: the weights of red, green and blue are 0.2126, 0.7152 and 0.0722
    body = '<rect width="30" height="50" fill="red"/><rect x="30" width="30" height="50" fill="lime"/>'
    drawing = parse_svg(svg(body + '<rect x="60" width="40" height="50" fill="#808080"/>'), name="art.svg")

    ink, light = (draw(width_px=100, height_px=50) for draw in (drawing.ink, drawing.light))

    assert ink[25, [15, 45]] == pytest.approx([1 - 0.2126, 1 - 0.7152], abs=1e-4)
    assert light[25, 80] == pytest.approx(0.2159, abs=1e-4)  # sRGB 128 of 255


def test_bands_join_without_a_seam(monkeypatch: pytest.MonkeyPatch) -> None:
    body = "".join(f'<circle cx="{5 + 9 * (k % 11)}" cy="{5 + 7 * (k // 11)}" r="{3 + k % 7 / 3}"/>' for k in range(70))
    drawing = parse_svg(svg(body + '<path d="M0 0L100 50" stroke="#000" fill="none"/>'), name="art.svg")
    whole = drawing.ink(width_px=700, height_px=350)
    monkeypatch.setattr(svg_bands, "LARGEST_BAND_px", 9000)

    in_bands = drawing.ink(width_px=700, height_px=350)

    assert len(list(svg_bands.bands_of(drawing._drawing(), width_px=700, height_px=350, threads=2))) > 20
    # the renderer cuts curves anew at each band, so that along an edge one sample in sixteen may fall to its other side
    # now and then, and a row of four where the edge lies along it
    edges = (whole > 0.0) & (whole < 1.0)
    assert np.abs(in_bands - whole).max() <= 4 * SAMPLE + LEVEL
    assert np.abs(in_bands - whole)[edges].mean() < SAMPLE / 2
    assert in_bands.mean() == pytest.approx(whole.mean(), rel=1e-3)


@pytest.mark.parametrize(
    "wrap", ['<g opacity="0.5">{}</g>', '<g clip-path="url(#c)">{}</g>', '<g mask="url(#m)">{}</g>']
)
def test_layers_are_drawn_in_bands_that_hold_only_what_reaches_into_them(
    wrap: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    ring = '<path d="M{x} {y}q9 1 8 8q-9 3-8-8z" stroke="#000" stroke-width="2"/><rect x="{x}" y="{y}" width="3" height="3"/>'
    groups = "".join(wrap.format(ring.format(x=2 + 9 * (k % 10), y=2.3 + 11 * (k // 10))) for k in range(40))
    shapes = '<clipPath id="c"><rect width="90" height="48.3"/></clipPath><mask id="m"><circle cx="40" cy="20" r="30" fill="#fff"/></mask>'
    drawing = parse_svg(svg(shapes + f'<g transform="rotate(3)">{groups}</g>'), name="art.svg")
    banded = drawing.ink(width_px=800, height_px=400)
    bodies = [data for _, _, data in svg_bands.bands_of(drawing._drawing(), width_px=800, height_px=400, threads=2)]
    monkeypatch.setattr(svg_bands, "FEW_LAYERS", 10_000)

    whole = drawing.ink(width_px=800, height_px=400)

    assert len(bodies) > 10
    assert max(len(body) for body in bodies) < 0.7 * len(drawing._drawing().body)
    assert np.abs(banded - whole).mean() < 1e-3  # only samples that lie exactly on an edge
    assert banded.mean() == pytest.approx(whole.mean(), abs=1e-3)


def test_a_long_drawing_is_read_in_parts_and_comes_out_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    leaf = '<path transform="rotate({t} {x} {y})" d="M{x} {y}q3 1 2.6 2.6q-3 1-2.6-2.6z"{paint}/>'
    line = ' fill="none" stroke="#000" stroke-width="1" stroke-linejoin="miter"'
    leaves = [leaf.format(x=2 + 4 * (k % 24), y=2 + 5 * (k // 24), t=31 * k, paint=line * (k % 2)) for k in range(216)]
    drawing = parse_svg(svg("".join(leaves)), name="art.svg")
    size = {"width_px": 2000, "height_px": 1000}
    whole = drawing.ink(**size)
    monkeypatch.setattr(svg_bands, "HEAVY_bytes", 1000)

    bodies = [data for _, _, data in svg_bands.bands_of(drawing._drawing(), **size, threads=2)]
    in_parts = drawing.ink(**size)

    assert len(bodies) == 2
    assert max(map(len, bodies)) < 0.7 * len(drawing._drawing().body)
    np.testing.assert_array_equal(in_parts, whole)  # the same two bands, each without what it does not show


@pytest.mark.parametrize(
    ("mode", "kind"), [("L", "PNG"), ("RGBA", "PNG"), ("I;16", "PNG"), ("P", "PNG"), ("CMYK", "JPEG"), ("P", "GIF")]
)
def test_embedded_pictures_of_every_kind_are_drawn(mode: str, kind: str) -> None:
    made = io.BytesIO()
    black = {"RGBA": (0, 0, 0, 255), "CMYK": (0, 0, 0, 255)}.get(mode, 0)
    Image.new(mode, (10, 10), black).save(made, kind)
    data = base64.b64encode(made.getvalue()).decode()
    body = f'<image x="10" width="30" height="30" xlink:href="data:image/{kind.lower()};base64,{data}"/>'

    ink = parse_svg(svg(body), name="art.svg").ink(width_px=100, height_px=50)

    assert ink_box(ink) == (10, 0, 40, 30)
    assert ink.max() > 0.98  # JPEG


def test_text_is_drawn_in_the_face_it_names_and_generic_ones_are_known() -> None:
    def ink_of(family: str) -> np.ndarray:
        text = f'<text x="5" y="35" font-size="30" font-family="{family}">Oars</text>'
        return parse_svg(svg(text), name="art.svg").ink(width_px=400, height_px=200)

    assert ink_of("Montserrat").mean() > 0.02
    assert np.array_equal(ink_of("Montserrat"), ink_of("Oarsman Grotesk, sans-serif"))
    assert np.array_equal(ink_of("Great Vibes"), ink_of("cursive"))
    assert not np.array_equal(ink_of("Montserrat"), ink_of("EB Garamond"))


def test_styles_uses_symbols_and_nested_transforms_are_followed() -> None:
    body = (
        "<style>.hull{fill:#000} #gone{display:none}</style>"
        '<symbol id="s" viewBox="0 0 10 10"><rect class="hull" width="5" height="10"/></symbol>'
        '<g transform="translate(10 10)"><g transform="scale(2)"><use href="#s" width="10" height="10"/></g></g>'
        '<rect id="gone" width="100" height="50"/>'
    )

    ink = parse_svg(svg(body), name="art.svg").ink(width_px=100, height_px=50)

    assert ink_box(ink) == (10, 10, 20, 30)
    assert ink.sum() == pytest.approx(10 * 20, abs=1.0)
