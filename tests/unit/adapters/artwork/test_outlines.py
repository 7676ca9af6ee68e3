"""The outlines of a drawing: where the pixels are, flat within the tolerance, and nothing that is not drawn."""

from __future__ import annotations

import math
import threading

import cv2
import numpy as np
import pytest

from evenburn.adapters.artwork.outlines import svg_outlines, svg_path
from evenburn.adapters.artwork.svg import parse_svg
from evenburn.core.errors import UnreadableFile
from evenburn.core.nouns.path import FLATNESS_mm, Polyline

HEAD = 'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
NUMBERS_mm = 2e-5  # the normaliser writes eight digits


def svg(body: str, page: str = 'width="100mm" height="50mm" viewBox="0 0 100 50"') -> bytes:
    return f"<svg {HEAD} {page}>{body}</svg>".encode()


def outlines(body: str, width_mm: float = 100.0, height_mm: float = 50.0) -> tuple[Polyline, ...]:
    return svg_outlines(svg(body), name="art.svg", width_mm=width_mm, height_mm=height_mm)


def painted(lines: tuple[Polyline, ...], *, width_mm: float, height_mm: float, per_mm: int) -> np.ndarray:
    """Return the coverage that outlines fill by parity, drawn four times finer and averaged."""
    fine = per_mm * 4
    page = np.zeros((round(height_mm * fine), round(width_mm * fine)), np.uint8)
    rings = [np.c_[line.points_mm[:, 0], height_mm - line.points_mm[:, 1]] * fine - 0.5 for line in lines]
    cv2.fillPoly(page, [np.round(ring * 64).astype(np.int32) for ring in rings], 255, shift=6)
    return page.reshape(page.shape[0] // 4, 4, page.shape[1] // 4, 4).mean(axis=(1, 3)) / 255.0


SHAPES = (
    "<style>.a{fill:#000}</style>"
    '<symbol id="s" viewBox="0 0 10 10"><path d="M1 1h8v8z"/></symbol>'
    '<g transform="translate(5 6) rotate(7)"><circle cx="30" cy="18" r="9" class="a"/>'
    '<ellipse cx="80" cy="9" rx="9" ry="4"/></g><use href="#s" x="2" y="33" width="24" height="12"/>'
    '<rect x="60" y="30" width="20" height="12" rx="4" transform="skewX(8)"/><path d="M8 20 a8 5 30 1 0 8 -8z"/>'
    '<text x="40" y="47" font-size="9" font-family="Montserrat">Oars</text>'
)


@pytest.mark.parametrize(("width_mm", "height_mm"), [(100.0, 50.0), (40.0, 40.0), (100.0, 20.0)])
def test_outlines_lie_where_the_pixels_are(width_mm: float, height_mm: float) -> None:
    per_mm = 20
    drawing = parse_svg(svg(SHAPES), name="art.svg")
    lines = drawing.outlines(width_mm=width_mm, height_mm=height_mm)

    ink = drawing.ink(width_px=round(width_mm * per_mm), height_px=round(height_mm * per_mm))
    filled = painted(lines, width_mm=width_mm, height_mm=height_mm, per_mm=per_mm)

    # Over all edges the two agree to a thousandth of a millimetre: the sum of differences, signed in x and in y, by
    # shifting one against the other as image gradients tell (Lucas and Kanade's normal equations).
    grad_y, grad_x = np.gradient(ink.astype(np.float64))
    off = filled - ink
    normal = np.array([[(grad_x**2).sum(), (grad_x * grad_y).sum()], [(grad_x * grad_y).sum(), (grad_y**2).sum()]])
    shift_px = np.linalg.solve(normal, [(grad_x * off).sum(), (grad_y * off).sum()])
    assert np.hypot(*shift_px) / per_mm < 0.003
    # a sample of 4 × 4 on either side, and the OpenCV filler paints the pixels that an edge runs through
    assert np.abs(off).mean() < 0.01
    assert float(filled.sum()) == pytest.approx(float(ink.sum(dtype=np.float64)), rel=0.02)


def test_a_circle_is_flattened_within_the_tolerance_and_no_finer_than_needed() -> None:
    (circle,) = outlines('<circle cx="50" cy="25" r="20"/>')

    middle = 0.5 * (circle.points_mm + np.roll(circle.points_mm, -1, axis=0))
    sagitta_mm = 20.0 - np.hypot(*(middle - [50.0, 25.0]).T)
    assert circle.closed
    # four cubic curves stray by 2.7e-4 of the radius from a circle (Goldapp 1991, from memory)
    assert sagitta_mm.max() <= FLATNESS_mm + 2.7e-4 * 20.0
    least = math.pi / math.acos(1.0 - FLATNESS_mm / 20.0)
    assert least <= len(circle.points_mm) <= 1.3 * least


def test_y_points_up_and_the_box_is_filled() -> None:
    (corner,) = outlines('<path d="M0 0h10v10z"/>', width_mm=200.0, height_mm=100.0)

    assert corner.points_mm == pytest.approx(np.array([[0.0, 100.0], [20.0, 100.0], [20.0, 80.0]]), abs=NUMBERS_mm)


@pytest.mark.parametrize(
    "body",
    [
        '<rect width="9" height="9" display="none"/>',
        '<rect width="9" height="9" visibility="hidden"/>',
        '<rect width="9" height="9" fill="none"/>',
        '<rect width="9" height="9" fill="#fff"/>',
        '<rect width="9" height="9" opacity="0"/>',
        '<rect width="9" height="9" fill-opacity="0"/>',
        '<defs><rect width="9" height="9"/></defs>',
        '<clipPath id="c"><rect x="50" width="9" height="9"/></clipPath><rect width="9" height="9" clip-path="url(#c)"/>',
        '<rect x="200" width="9" height="9"/>',
        '<path d="M5 5h0"/>',
    ],
)
def test_what_is_not_seen_is_not_followed(body: str) -> None:
    assert len(outlines(body + '<path d="M20 20h5" stroke="#000"/>')) == 1


def test_a_stroke_counts_by_its_middle_and_open_lines_stay_open() -> None:
    line, ring = outlines(
        '<path d="M10 10H30" stroke="red" stroke-width="5"/><path d="M10 20h9v9h-9z" fill="none" stroke="#000"/>'
    )

    assert not line.closed
    assert line.points_mm == pytest.approx(np.array([[10.0, 40.0], [30.0, 40.0]]), abs=NUMBERS_mm)
    assert ring.closed
    assert len(ring.points_mm) == 4


def test_the_same_outline_is_followed_once() -> None:
    square = '<rect x="5" y="5" width="9" height="9"{}/>'

    assert (
        len(outlines(square.format("") + square.format(' fill="none" stroke="#000"') + square.format(' id="x"'))) == 1
    )


def test_a_clip_that_cuts_nothing_is_passed() -> None:
    nested = '<svg x="10" y="10" width="20" height="20" viewBox="0 0 10 10"><rect width="10" height="10"/></svg>'

    (square,) = outlines(nested)

    assert np.ptp(square.points_mm, axis=0) == pytest.approx([20.0, 20.0], abs=NUMBERS_mm)


RING = '<clipPath id="c"><path clip-rule="{}" d="M0 0h40v40h-40z M10 10h20v20h-20z"/></clipPath>'


@pytest.mark.parametrize(("rule", "seen"), [("evenodd", 1), ("nonzero", 2)])
def test_a_clip_with_a_hole_hides_by_its_own_rule(rule: str, seen: int) -> None:
    inside, beside = '<rect x="15" y="15" width="9" height="9"/>', '<rect x="1" y="1" width="5" height="5"/>'

    assert len(outlines(f'{RING.format(rule)}<g clip-path="url(#c)">{inside}{beside}</g>')) == seen


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (
            '<clipPath id="c"><circle r="9"/></clipPath><rect id="oar" width="9" height="9" clip-path="url(#c)"/>',
            "clip path",
        ),
        (
            '<mask id="m"><rect width="9" height="9" fill="#fff"/></mask><rect width="9" height="9" mask="url(#m)"/>',
            "mask",
        ),
        ('<filter id="f"><feOffset dx="9"/></filter><rect width="9" height="9" filter="url(#f)"/>', "filter"),
        ('<rect x="95" width="9" height="9"/>', "page's edge"),
        ("", "no outlines"),
        ('<rect width="9" height="9" fill="#fff"/>', "no outlines"),
    ],
)
def test_what_cannot_be_followed_is_told(body: str, words: str) -> None:
    with pytest.raises(UnreadableFile, match=words) as told:
        outlines(body)

    assert told.value.hint


def test_a_picture_has_no_outlines() -> None:
    pixel = "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAAAAAA6fptVAAAACklEQVR4nGNgAAAAAgABSK+kcQAAAABJRU5ErkJggg=="
    image = f'<image width="9" height="9" href="data:image/png;base64,{pixel}"/>'

    with pytest.raises(UnreadableFile, match="a picture inside a drawing has none"):
        outlines(image)
    assert len(outlines(image + '<path d="M1 1h5" stroke="#000"/>')) == 1


class TestOnePath:
    BODY = (
        '<g transform="translate(10 0)"><path id="bank" fill="none" d="M0 30q20 -20 60 0"/></g>'
        '<path id="two" d="M0 0h5v5z M9 9h5v5z"/><defs><path id="wave" d="M1 1h5"/></defs><use id="drawn" href="#wave"/>'
    )

    def path(self, path_id: str) -> Polyline:
        return svg_path(svg(self.BODY), name="art.svg", path_id=path_id, width_mm=100.0, height_mm=50.0)

    def test_it_is_found_by_its_id_though_it_is_not_painted(self) -> None:
        bank = self.path("bank")

        assert not bank.closed
        assert bank.points_mm[[0, -1]] == pytest.approx(np.array([[10.0, 20.0], [70.0, 20.0]]), abs=NUMBERS_mm)

    def test_a_use_gives_its_id_to_what_it_uses(self) -> None:
        assert self.path("drawn").points_mm == pytest.approx(np.array([[1.0, 49.0], [6.0, 49.0]]), abs=NUMBERS_mm)

    def test_an_id_that_is_not_there_is_told_with_those_that_are(self) -> None:
        with pytest.raises(UnreadableFile, match='no path with the id "bnak"') as told:
            self.path("bnak")

        assert "bank" in told.value.hint

    def test_two_outlines_under_one_id_are_refused(self) -> None:
        with pytest.raises(UnreadableFile, match="2 separate outlines"):
            self.path("two")


def test_threads_may_follow_drawings_at_the_same_time() -> None:
    found: list[int] = []

    def follow(sides: int) -> None:
        found.append(len(outlines("".join(f'<rect x="{k}" width="0.5" height="5"/>' for k in range(sides)))))

    threads = [threading.Thread(target=follow, args=(sides,)) for sides in range(3, 11)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert sorted(found) == list(range(3, 11))
