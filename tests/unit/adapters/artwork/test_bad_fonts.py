"""Texts and fonts nobody should have to set: right, or one clear error, in bounded time and memory."""

import struct
import time
import tracemalloc
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from fontTools.fontBuilder import FontBuilder
from fontTools.pens.ttGlyphPen import TTGlyphPen
from fontTools.ttLib import TTFont
from fontTools.ttLib.tables._g_l_y_f import Glyph, GlyphComponent

from evenburn.adapters.artwork.along import Circle
from evenburn.adapters.artwork.faces import face_file
from evenburn.adapters.artwork.fonts import MOST_FONT_BYTES, open_font
from evenburn.adapters.artwork.lettering import set_text
from evenburn.adapters.artwork.setting import TextSetting, artwork_from_setting, fit_of
from evenburn.adapters.artwork.sizes import finest
from evenburn.core.errors import EvenburnError, InvalidInput, UnreadableFile

LONGEST_s = 10.0  # of any one call here; the ordinary is milliseconds


@pytest.fixture(autouse=True)
def in_bounded_time() -> Iterator[None]:
    begun = time.monotonic()
    yield
    assert time.monotonic() - begun < LONGEST_s


def every_way(text: str, **how: Any) -> list[Callable[[], object]]:
    """Return each way a text comes in."""
    box = (100.0, 100.0)
    return [
        lambda: artwork_from_setting(TextSetting(text=text, face="eb-garamond", **how), size_mm=box),
        lambda: artwork_from_setting(TextSetting(text=text, face="eb-garamond", wrap=True, **how), size_mm=box),
        lambda: artwork_from_setting(
            TextSetting(text=text, face="eb-garamond", along=Circle(diameter_mm=60.0), **how), size_mm=box
        ),
        lambda: set_text(text, face_file("eb-garamond"), face_name="eb-garamond"),
        lambda: finest("eb-garamond", text=text),
    ]


# --- texts ---


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("x" * 10_000, "10000 characters; allowed are at most 2000"),
        ("Fours\x07", "U\\+0007: control characters"),
        ("Fours\x85", "U\\+0085: control characters"),
        ("a\ud83cb", "U\\+D83C: control characters"),
        ("a\u202eb\u202c", "U\\+202E, RIGHT-TO-LEFT OVERRIDE, U\\+202C"),
        ("a\u2066b\u2069", "U\\+2066"),
        ("🏆", r"no glyph for 🏆 \(U\+1F3C6, TROPHY\)"),
        ("👩\u200d🚀", r"no glyph for 👩 \(U\+1F469, WOMAN\).*U\+1F680"),
        ("e" + "\u0301" * 7, r"more than 6 marks on one letter, e \(U\+0065"),
        ("e" + "\u0301\u200d" * 7, "more than 6 marks"),
        ("\u0301" * 7, "more than 6 marks on one letter$"),
        ("\ue000", "no glyph for U\\+E000"),
        ("\uffff", "no glyph for U\\+FFFF"),
        ("\U000e0001 ", "no ink|no glyph"),
    ],
)
def test_a_text_that_cannot_be_set_has_one_clear_error(text: str, words: str) -> None:
    for attempt in every_way(text):
        with pytest.raises(InvalidInput, match=words) as caught:
            attempt()
        assert len(caught.value.message) < 500
        caught.value.message.encode("utf-8")  # it can be printed


def test_a_thousand_missing_letters_are_not_all_listed() -> None:
    text = "".join(map(chr, range(0x4E00, 0x4E00 + 1000)))
    with pytest.raises(InvalidInput, match="and 992 more") as caught:
        set_text(text, face_file("cinzel"), face_name="cinzel")
    assert len(caught.value.message) < 1000


@pytest.mark.parametrize(
    "text", ["f\u200di", "f\u200ci", "a\u2060b", "a\ufeffb", "a\u200eb\u200f", "e" + "\u0301" * 6, "a\ufe0f", "ﬃ"]
)
def test_joiners_marks_and_selectors_are_set(text: str) -> None:
    for attempt in every_way(text):
        assert attempt() is not None


def test_marks_piled_up_as_far_as_allowed_keep_their_letter() -> None:
    plain = artwork_from_setting(TextSetting(text="x", face="montserrat", letter_mm=5.0), size_mm=(50.0, 50.0))
    piled = artwork_from_setting(
        TextSetting(text="x" + "\u0303" * 3, face="montserrat", letter_mm=5.0), size_mm=(50.0, 50.0)
    )
    count = [len(art.outlines(width_mm=50.0, height_mm=50.0)) for art in (plain, piled)]
    assert count == [1, 4]


def test_the_longest_text_allowed_is_set_in_every_way() -> None:
    text = ("Sedgeholm regatta " * 120)[:1999] + "."
    for attempt in every_way(text):
        assert attempt() is not None


def test_a_text_of_nothing_but_breaks_is_broken_in_time() -> None:
    fit = fit_of(TextSetting(text="a " * 999 + "a", face="eb-garamond", wrap=True), (100.0, 100.0))
    assert fit.fits


# --- fonts ---


def made(path: Path, *, draw: Callable[[TTGlyphPen], None], upem: int = 1000) -> Path:
    """Make a face with one letter, O."""
    pen = TTGlyphPen(None)
    draw(pen)
    glyphs = {".notdef": TTGlyphPen(None).glyph(), "O": pen.glyph()}
    builder = FontBuilder(upem, isTTF=True)
    builder.setupGlyphOrder(list(glyphs))
    builder.setupCharacterMap({79: "O", 72: "O"})
    builder.setupGlyf(glyphs)
    builder.setupHorizontalMetrics(dict.fromkeys(glyphs, (1000, 0)))
    builder.setupHorizontalHeader(ascent=800, descent=-200)
    builder.setupNameTable({"familyName": "Made", "styleName": "Regular"})
    builder.setupOS2()
    builder.setupPost()
    builder.save(path)
    return path


def polygon(pen: TTGlyphPen, points: np.ndarray) -> None:
    pen.moveTo(tuple(map(int, points[0])))
    for point in points[1:]:
        pen.lineTo(tuple(map(int, point)))
    pen.closePath()


def draw_all(path: Path, text: str = "O") -> None:
    """Set, draw and measure a text; whatever fails must fail by an error of ours."""
    art = artwork_from_setting(TextSetting(text=text, face="own"), size_mm=(50.0, 20.0), face_path=path)
    art.ink(width_px=100, height_px=40)
    art.outlines(width_mm=50.0, height_mm=20.0)


@pytest.mark.parametrize("table", ["cmap", "glyf", "loca", "head", "hhea", "hmtx", "maxp", "GPOS", "GSUB", "OS/2"])
def test_a_face_that_lacks_a_table_is_set_or_refused(tmp_path: Path, table: str) -> None:
    with TTFont(face_file("josefin-sans"), lazy=True) as font:
        data = {tag: font.reader[tag] for tag in font.reader.tables if tag != table}
    path = tmp_path / "lacking.ttf"
    path.write_bytes(sfnt(data))
    try:
        draw_all(path, "Novice Fours")
        assert table in ("GPOS", "GSUB", "OS/2", "hhea", "hmtx", "head", "maxp")
    except EvenburnError as fault:
        assert table in ("cmap", "glyf", "loca", "head", "hhea", "hmtx", "maxp")
        assert "own" in fault.message  # noqa: PT017


def sfnt(tables: dict[str, bytes]) -> bytes:
    """Return a font file of tables, written here so that nothing checks them."""
    head = struct.pack(">IHHHH", 0x00010000, len(tables), 0, 0, 0)
    at, directory, body = len(head) + 16 * len(tables), b"", b""
    for tag, data in sorted(tables.items()):
        directory += struct.pack(">4sIII", tag.encode(), 0, at + len(body), len(data))
        body += data + b"\0" * (-len(data) % 4)
    return head + directory + body


def test_a_glyph_made_of_itself_is_drawn_without_end_nowhere(tmp_path: Path) -> None:
    path = made(tmp_path / "own.ttf", draw=lambda pen: polygon(pen, np.array([[0, 0], [0, 700], [500, 0]])))
    with TTFont(path) as font:
        glyf = font["glyf"]
        for name, other in (("O", "A"), ("A", "O")):
            part = GlyphComponent()
            part.glyphName, part.x, part.y, part.flags = other, 10, 0, 0x3
            glyph = Glyph()
            glyph.numberOfContours = -1
            glyph.components = [part, part, part]
            glyph.xMin = glyph.yMin = glyph.xMax = glyph.yMax = 0
            glyf.glyphs[name] = glyph
            glyf.glyphOrder = [".notdef", "O", "A"]
        font.setGlyphOrder([".notdef", "O", "A"])
        font["hmtx"].metrics["A"] = (1000, 0)
        font["maxp"].recalc = lambda _: None
        font.recalcBBoxes = False
        font.save(tmp_path / "cyclic.ttf")
    with pytest.raises(EvenburnError, match=r"no ink|no letter|beyond"):
        draw_all(tmp_path / "cyclic.ttf")


def test_a_web_font_by_another_name_says_what_it_is(tmp_path: Path) -> None:
    for flavor in ("woff", "woff2"):
        with TTFont(face_file("poiret-one")) as font:
            font.flavor = flavor
            font.save(tmp_path / "packed.ttf")
        with pytest.raises(UnreadableFile, match="packed web font") as caught:
            draw_all(tmp_path / "packed.ttf")
        assert "unpack" in caught.value.hint


@pytest.mark.parametrize("keep", [4, 12, 100, 1000, 20_000, 45_000])
def test_a_truncated_face_is_set_or_refused(tmp_path: Path, keep: int) -> None:
    path = tmp_path / "cut.ttf"
    path.write_bytes(face_file("poiret-one").read_bytes()[:keep])
    with pytest.raises(EvenburnError):
        draw_all(path, "Novice Fours & Åse")


def test_a_file_too_large_for_a_font_is_not_read(tmp_path: Path) -> None:
    path = tmp_path / "huge.ttf"
    with path.open("wb") as file:
        file.truncate(MOST_FONT_BYTES + 1)
    tracemalloc.start()
    with pytest.raises(UnreadableFile, match="at most"):
        draw_all(path)
    assert tracemalloc.get_traced_memory()[1] < 1_000_000
    tracemalloc.stop()


def test_sixty_thousand_glyphs_are_no_trouble(tmp_path: Path) -> None:
    path = made(
        tmp_path / "many.ttf", draw=lambda pen: polygon(pen, np.array([[0, 0], [0, 700], [500, 700], [500, 0]]))
    )
    with TTFont(path) as font:
        order = [".notdef", "O", *[f"g{i}" for i in range(65_000)]]
        font.setGlyphOrder(order)
        glyf = font["glyf"]
        glyf.glyphs |= {name: Glyph() for name in order[2:]}
        glyf.glyphOrder = order
        font["hmtx"].metrics |= dict.fromkeys(order[2:], (1000, 0))
        font["post"].formatType = 3.0
        font.save(path)
    draw_all(path, "OOO")


def test_a_character_map_of_the_whole_of_unicode_is_no_trouble(tmp_path: Path) -> None:
    path = made(tmp_path / "all.ttf", draw=lambda pen: polygon(pen, np.array([[0, 0], [0, 700], [500, 700], [500, 0]])))
    table = struct.pack(">HHHHI", 0, 1, 3, 10, 12)
    table += struct.pack(">HHIII", 13, 0, 16 + 12, 0, 1) + struct.pack(">III", 0, 0x10FFFF, 1)
    with TTFont(path, lazy=True) as font:
        data = {tag: font.reader[tag] for tag in font.reader.tables}
    path.write_bytes(sfnt(data | {"cmap": table}))
    draw_all(path, "漢字 O")


def test_a_font_that_swells_every_letter_is_bounded(tmp_path: Path) -> None:
    # each letter has 8000 points; 2000 of them would be 16 million
    angles = np.linspace(0.0, 2.0 * np.pi, 8000, endpoint=False)
    wavy = 10_000.0 + (9000.0 + 500.0 * np.cos(400.0 * angles))[:, None] * np.column_stack(
        [np.cos(angles), -np.sin(angles)]
    )
    path = made(tmp_path / "wavy.ttf", draw=lambda pen: polygon(pen, wavy), upem=16_384)
    assert set_text("O", path, face_name="own") is not None
    with pytest.raises(UnreadableFile, match="more than 1000000 points"):
        set_text("O" * 2000, path, face_name="own")


def test_outlines_that_cross_without_end_are_refused_at_once(tmp_path: Path) -> None:
    rng = np.random.default_rng(7)
    path = made(tmp_path / "tangle.ttf", draw=lambda pen: polygon(pen, rng.integers(0, 1000, size=(12_000, 2))))
    begun = time.monotonic()
    with pytest.raises(UnreadableFile, match="cross each other beyond all measure"):
        draw_all(path)
    assert time.monotonic() - begun < 2.0


def test_a_tangle_just_within_measure_is_drawn(tmp_path: Path) -> None:
    rng = np.random.default_rng(8)
    path = made(tmp_path / "knot.ttf", draw=lambda pen: polygon(pen, rng.integers(0, 1000, size=(250, 2))))
    draw_all(path)


@pytest.mark.parametrize("seed", range(30))
def test_a_damaged_face_is_set_along_a_circle_or_refused(tmp_path: Path, seed: int) -> None:
    rng = np.random.default_rng(1000 + seed)
    data = np.frombuffer(face_file("dancing-script").read_bytes(), dtype=np.uint8).copy()
    data[rng.integers(0, data.size if seed % 2 else 300, size=2 + 2 * seed)] = rng.integers(0, 256, size=2 + 2 * seed)
    path = tmp_path / "damaged.ttf"
    path.write_bytes(data.tobytes())
    setting = TextSetting(text="Novice Fours, é", face="own", along=Circle(diameter_mm=60.0))
    try:
        art = artwork_from_setting(setting, size_mm=(100.0, 100.0), face_path=path)
        assert art.ink(width_px=100, height_px=100).max() > 0.0
        finest(path, text="Novice")
    except EvenburnError as fault:
        assert fault.message  # noqa: PT017 - either outcome is right


def test_a_font_is_opened_once_and_again_when_its_file_changes(tmp_path: Path) -> None:
    path = tmp_path / "own.ttf"
    path.write_bytes(face_file("cinzel").read_bytes())
    first = open_font(path, face_name="own")
    assert open_font(path, face_name="own") is first
    path.write_bytes(face_file("oswald").read_bytes())
    assert open_font(path, face_name="own") is not first
