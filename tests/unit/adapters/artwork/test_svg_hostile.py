"""Hostile and broken drawings: the right result or one clear error, within seconds and within bounds."""

from __future__ import annotations

import base64
import struct
import time
import zlib
from pathlib import Path

import numpy as np
import pytest

from evenburn.adapters.artwork import svg_engine
from evenburn.adapters.artwork.svg import open_svg, parse_svg
from evenburn.core.errors import UnreadableFile

SLOWEST_s = 10.0
HEAD = 'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
PAGE = 'width="100mm" height="50mm" viewBox="0 0 100 50"'
SQUARE = '<rect x="10" y="10" width="20" height="20"/>'
ELSEWHERE = "file:" + "/" * 3 + "etc/a"
SQUARE_SHARE = 20 * 20 / (100 * 50)


def svg(body: str, page: str = PAGE) -> bytes:
    return f"<svg {HEAD} {page}>{body}</svg>".encode()


def png(width: int, height: int, *, rows: bytes) -> bytes:
    header = b"IHDR" + struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    chunks = [header, b"IDAT" + zlib.compress(rows), b"IEND"]
    packed = (struct.pack(">I", len(c) - 4) + c + struct.pack(">I", zlib.crc32(c)) for c in chunks)
    return b"\x89PNG\r\n\x1a\n" + b"".join(packed)


def image(data: bytes, kind: str = "image/png") -> str:
    return f'<image width="50" height="50" href="data:{kind};base64,{base64.b64encode(data).decode()}"/>' + SQUARE


def doubled(first: str, step: str) -> str:
    """Thirty definitions, each of which uses the one before it twice: a thousand million in all."""
    return first + "".join(step.format(k=k, j=k - 1) for k in range(1, 31))


USES = doubled(f'<g id="n0">{SQUARE}</g>', '<g id="n{k}"><use href="#n{j}"/><use href="#n{j}"/></g>')
_TILE = 'width="2" height="2" patternUnits="userSpaceOnUse"'
PATTERNS = doubled(
    f'<pattern id="n0" {_TILE}><rect width="1" height="1"/></pattern>',
    f'<pattern id="n{{k}}" {_TILE}><rect width="1" height="1" fill="url(#n{{j}})"/>'
    '<rect x="1" width="1" height="1" fill="url(#n{j})"/></pattern>',
)
_TWICE = '<{tag} id="n{{k}}"><rect width="9" height="9" {key}="url(#n{{j}})"/><rect x="9" width="9" height="9" {key}="url(#n{{j}})"/></{tag}>'
CLIPS = doubled(
    '<clipPath id="n0"><rect width="9" height="9"/></clipPath>', _TWICE.format(tag="clipPath", key="clip-path")
)
MASKS = doubled('<mask id="n0"><rect width="9" height="9" fill="#fff"/></mask>', _TWICE.format(tag="mask", key="mask"))
MARKERS = doubled(
    '<marker id="n0"><rect width="3" height="3"/></marker>',
    '<marker id="n{k}"><path d="M0 0L1 1L2 2L3 3" marker-mid="url(#n{j})"/></marker>',
)

REFUSED = {
    # what it is: the bytes, words the error has to hold
    "empty view box": (svg(SQUARE, 'viewBox="0 0 0 10"'), "viewBox"),
    "view box without numbers": (svg(SQUARE, 'viewBox=""'), "viewBox"),
    "view box not a number": (svg(SQUARE, 'viewBox="0 0 nan 10"'), "viewBox"),
    "view box past all bounds": (svg(SQUARE, 'viewBox="0 0 1e999 10"'), "viewBox"),
    "no size": (svg(SQUARE, ""), "width"),
    "width not a number": (svg(SQUARE, 'width="nan" height="5mm"'), "width"),
    "width below nothing": (svg(SQUARE, 'width="-5mm" height="5mm"'), "-5 × 5 mm"),
    "width of a thousand kilometres": (svg(SQUARE, 'width="1e9mm" height="5mm"'), "1e\\+09 × 5 mm"),
    "ten thousand levels": (svg("<g>" * 10_000 + SQUARE + "</g>" * 10_000), "deeper than 200"),
    "translucent all the way down": (
        svg('<g opacity="0.9">' * 190 + SQUARE * 2 + "</g>" * 190),
        "too large|too complex",
    ),
    "uses that double": (svg(USES), "200000 elements"),
    "uses in a long chain": (
        svg(f'<g id="n0">{SQUARE}</g>' + "".join(f'<g id="n{k + 1}"><use href="#n{k}"/></g>' for k in range(5000))),
        "200000 elements",
    ),
    "use of itself": (svg(f'<g id="a"><use href="#a"/>{SQUARE}</g>'), "inside itself"),
    "two that use each other": (
        svg('<g id="a"><use href="#b"/></g><g id="b"><use xlink:href="#a"/></g>'),
        "inside itself",
    ),
    "patterns that double": (svg(f'{PATTERNS}<rect width="9" height="9" fill="url(#n30)"/>'), "too complex|too large"),
    "clips that double": (svg(f'{CLIPS}<rect width="9" height="9" clip-path="url(#n30)"/>'), "too complex|too large"),
    "masks that double": (svg(f'{MASKS}<rect width="9" height="9" mask="url(#n30)"/>'), "too complex|too large"),
    "markers that double": (
        svg(f'{MARKERS}<path d="M0 0L9 9L1 2L3 3" marker-mid="url(#n30)"/>'),
        "too complex|too large",
    ),
    "a tile too fine to see": (
        svg(
            '<pattern id="p" width="1e-6" height="1e-6" patternUnits="userSpaceOnUse"><rect width="1e-6" height="1e-6"/>'
            '</pattern><rect width="9" height="9" fill="url(#p)"/>'
        ),
        "pattern whose width",
    ),
    "dashes too fine to see": (svg('<path d="M0 5H100" stroke="#000" stroke-dasharray="1e-7 1e-7"/>'), "dashes"),
    "a morphology without end": (
        svg('<filter id="f"><feMorphology radius="1000"/></filter><rect filter="url(#f)" width="50" height="20"/>'),
        "too complex",
    ),
    "a matrix of ten thousand": (
        svg(
            f'<filter id="f"><feConvolveMatrix order="100" kernelMatrix="{"1 " * 10_000}"/></filter>'
            '<rect filter="url(#f)" width="50" height="20"/>'
        ),
        "too complex",
    ),
    "half a million points over each other": (svg(f'<path d="M0 0{" L50 25 L1 1" * 200_000}"/>'), "too complex"),
    "three hundred thousand elements": (svg("<g/>" * 300_000), "200000 elements"),
    "a hundred thousand letters": (svg(f"<text>{'oars ' * 20_000}</text>"), "20000 characters"),
    "style rules without end": (svg(f"<style>{'*{fill:red} ' * 20_000}</style>{SQUARE * 2000}"), "too complex"),
    "a drawing inside as data": (svg(image(svg(SQUARE), "image/svg+xml")), "image/svg"),
    "a giant's header inside": (svg(image(png(60_000, 60_000, rows=b""))), "50 million"),
    "a picture that unpacks to a giant": (svg(image(png(9000, 9000, rows=bytes(9001 * 9000)))), "9000 × 9000"),
    "a picture that is none": (svg(image(b"oars")), "no sound PNG"),
    "a picture beside it": (svg(f'<image href="/etc/hostname" width="9" height="9"/>{SQUARE}'), "outside itself"),
    "a picture by an old link": (
        svg(f'<image xlink:href="{ELSEWHERE}.png" width="9" height="9"/>{SQUARE}'),
        "outside",
    ),
    "a picture in a filter": (svg(f'<filter id="f"><feImage href="a.png"/></filter>{SQUARE}'), "outside itself"),
    "a use of another file": (svg('<use href="other.svg#a"/>'), "outside itself"),
    "an imported style": (svg(f'<style>@import "a.css";</style>{SQUARE}'), "imports"),
    "a face from elsewhere": (
        svg(f"<style>@font-face{{src:url(http://example.org/a.ttf)}}</style>{SQUARE}"),
        "outside",
    ),
    "paint from elsewhere": (svg('<rect width="9" height="9" style="fill:url(a.svg#p)"/>'), "outside itself"),
    "entities": (b'<!DOCTYPE svg [<!ENTITY a "aaaa">]>' + svg("<text>&a;</text>"), "entities"),
    "entities in other letters": (
        (
            '<?xml version="1.0" encoding="utf-16"?><!DOCTYPE svg [<!ENTITY a "aaaa">]>'
            + svg("<text>&a;</text>").decode()
        ).encode("utf-16"),
        "entities",
    ),
    "a value of twenty megabytes": (svg(f'<path d="{"M0 0L1 1" * 2_500_000}"/>'), "10 MB"),
    "packed": (b"\x1f\x8b" + b"0" * 40, "not well-formed"),
    "zeros": (b"\0" * 30, "not well-formed"),
    "nothing": (b"", "not well-formed"),
    "torn off": (svg(SQUARE)[:-9], "not well-formed"),
    "foreign matter": (svg(f'<foreignObject width="9" height="9"/>{SQUARE}'), "foreignObject"),
    "a script": (svg(f"<script>1</script>{SQUARE}"), "script"),
    "a face that is not there": (svg('<text y="9" font-family="Oarsman Grotesk">a</text>'), "Oarsman Grotesk"),
    "a face that is not there, in a style": (svg('<text y="9" style="font:bold 8px/1.2 Oarsman">a</text>'), "Oarsman"),
    "a letter that no face has": (svg('<text y="9">漢</text>'), "U\\+6F22"),
}

DRAWN = {
    # what it is: the bytes, the share of ink that is right
    "a view box too large to see into": (svg(SQUARE, 'width="100mm" height="50mm" viewBox="0 0 1e30 1e30"'), 0.0),
    "a view box too small to see": (svg(SQUARE, 'width="100mm" height="50mm" viewBox="0 0 1e-30 1e-30"'), 0.0),
    "a view box far away": (svg(SQUARE, 'width="100mm" height="50mm" viewBox="1e30 1e30 10 10"'), 0.0),
    "nothing in it": (svg(""), 0.0),
    "a hundred and fifty levels": (svg("<g>" * 150 + SQUARE + "</g>" * 150), SQUARE_SHARE),
    "a coordinate that is no number": (svg(f'<path d="M NaN 5 L 3 3"/>{SQUARE}'), SQUARE_SHARE),
    "a coordinate past all bounds": (svg(f'<path d="M 1e400 5 L 3 3 Z"/>{SQUARE}'), SQUARE_SHARE),
    "a transform that is no number": (svg(f'<g transform="scale(nan)"/>{SQUARE}'), SQUARE_SHARE),
    "a transform to nothing": (svg(f'<g transform="scale(0)">{SQUARE}</g>{SQUARE}'), SQUARE_SHARE),
    "a transform past all bounds": (
        svg(f'<g transform="scale(1e300) scale(1e300)">{SQUARE}</g>{SQUARE}'),
        SQUARE_SHARE,
    ),
    "dashes below nothing": (svg('<path d="M0 5H100" stroke="#000" stroke-dasharray="-1 2"/>'), 1 * 100 / (100 * 50)),
    "a blur as wide as the sky": (
        svg(
            '<filter id="f"><feGaussianBlur stdDeviation="1e9"/></filter><rect filter="url(#f)" width="50" height="20"/>'
        ),
        0.0,
    ),
    "a gradient that takes after itself": (svg(f'<linearGradient id="a" href="#a"/>{SQUARE}'), SQUARE_SHARE),
    "an embedded picture": (svg(image(png(10, 10, rows=bytes(110))).replace(SQUARE, "")), 50 * 50 / (100 * 50)),
    "a choice of what is known": (
        svg(f'<switch><foreignObject requiredExtensions="x"/><g>{SQUARE}</g></switch>'),
        SQUARE_SHARE,
    ),
    "a link that nobody follows": (svg(f'<a href="http://example.org/">{SQUARE}</a>'), SQUARE_SHARE),
    "a document type that nobody fetches": (
        f'<!DOCTYPE svg SYSTEM "{ELSEWHERE}">'.encode() + svg(SQUARE),
        SQUARE_SHARE,
    ),
    "a byte order mark": (b"\xef\xbb\xbf" + svg(SQUARE), SQUARE_SHARE),
}
NEAR = 1e-3  # an edge pixel's share of the page


@pytest.fixture(autouse=True)
def _tenth_of_the_work(monkeypatch: pytest.MonkeyPatch) -> None:
    """Allow a tenth of the work, so that ten refusals take no longer than one; one test below takes the full allowance."""
    for allowance in ("NORMALISE_steps", "RENDER_steps", "LEAST_RENDER_steps", "RENDER_steps_per_px"):
        monkeypatch.setattr(svg_engine, allowance, getattr(svg_engine, allowance) // 10)


@pytest.mark.parametrize("what", REFUSED)
def test_what_cannot_be_drawn_is_refused_clearly_and_soon(what: str) -> None:
    data, words = REFUSED[what]
    began_s = time.process_time()  # of this process: the machine may be busy

    with pytest.raises(UnreadableFile, match=words) as told:
        parse_svg(data, name="art.svg").ink(width_px=1000, height_px=500)

    assert time.process_time() - began_s < SLOWEST_s
    assert str(told.value).startswith("art.svg")
    assert "\n" not in str(told.value)


@pytest.mark.parametrize("what", DRAWN)
def test_what_is_odd_but_sound_is_drawn_right(what: str) -> None:
    data, share = DRAWN[what]
    began_s = time.process_time()  # of this process: the machine may be busy

    ink = parse_svg(data, name="art.svg").ink(width_px=1000, height_px=500)

    assert time.process_time() - began_s < SLOWEST_s
    assert float(ink.mean(dtype=np.float64)) == pytest.approx(share, abs=NEAR)


def test_the_slowest_is_still_stopped_in_time_at_the_full_allowance(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.undo()
    began_s = time.process_time()  # of this process: the machine may be busy

    with pytest.raises(UnreadableFile, match=r"too complex|too large"):
        parse_svg(REFUSED["markers that double"][0], name="art.svg").ink(width_px=1000, height_px=500)

    assert time.process_time() - began_s < SLOWEST_s


@pytest.mark.parametrize("what", DRAWN)
def test_outlines_of_what_is_odd_but_sound_are_right_or_refused(what: str) -> None:
    data, share = DRAWN[what]

    try:
        outlines = parse_svg(data, name="art.svg").outlines(width_mm=100.0, height_mm=50.0)
    except UnreadableFile:
        assert share != SQUARE_SHARE
    else:
        squares = [o for o in outlines if np.array_equal(np.ptp(o.points_mm, axis=0), [20.0, 20.0])]
        assert len(squares) == (1 if share == SQUARE_SHARE else 0)
        assert all(np.isfinite(outline.points_mm).all() for outline in outlines)


@pytest.mark.parametrize("body", [f'<path d="M0 0{" L50 25 L1 1" * 200_000}"/>', SQUARE.replace("10", "9", 1) * 1000])
def test_points_to_follow_are_bounded(body: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.undo()
    monkeypatch.setattr("evenburn.adapters.artwork.outlines.MOST_PATHS", 100)

    with pytest.raises(UnreadableFile, match=r"points to follow|too complex"):
        parse_svg(svg(body), name="art.svg").outlines(width_mm=100.0, height_mm=50.0)


def test_a_picture_too_large_to_draw_is_refused() -> None:
    with pytest.raises(UnreadableFile, match="20001 × 10 pixels"):
        parse_svg(svg(SQUARE), name="art.svg").ink(width_px=20001, height_px=10)


def test_a_file_that_cannot_be_read_is_told(tmp_path: Path) -> None:
    with pytest.raises(UnreadableFile, match=r"art\.svg: cannot be read"):
        open_svg(tmp_path / "art.svg", name="art.svg")
