"""Setting text: against HarfBuzz's own positions, FreeType's pixels, fontTools' areas, and shapes known by hand."""

import functools
import unicodedata
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
import uharfbuzz as hb
from fontTools.fontBuilder import FontBuilder
from fontTools.pens.areaPen import AreaPen
from fontTools.pens.recordingPen import RecordingPen
from fontTools.pens.t2CharStringPen import T2CharStringPen
from fontTools.pens.ttGlyphPen import TTGlyphPen
from fontTools.ttLib import TTFont
from PIL import Image, ImageDraw, ImageFont

from evenburn.adapters.artwork.faces import face_file, list_faces, list_sheet_faces
from evenburn.adapters.artwork.ink import ink_polygon, outlines_in_box, render_lettering
from evenburn.adapters.artwork.lettering import FLATNESS_EM, Lettering, set_text
from evenburn.core.errors import EvenburnError, InvalidInput, NotFound, OutOfRange, UnreadableFile

FACES = [face.id for face in list_faces()]
FLOAT_EM = 1e-9  # positions are sums of a few dozen font units over upem
COVERAGE_REL = 1e-6  # float32 pixels, summed in float64


def setting(text: str, face: str = "eb-garamond", **how: Any) -> Lettering:
    return set_text(text, face_file(face), face_name=face, **how)


def lefts_em(lettering: Lettering) -> list[float]:
    """Return the left side of each inked glyph."""
    ends = [*lettering.glyph_starts[1:], len(lettering.contours)]
    return [
        min(float(contour[:, 0].min()) for contour in lettering.contours[start:end])
        for start, end in zip(lettering.glyph_starts, ends, strict=True)
    ]


def starts_em(lettering: Lettering) -> np.ndarray:
    """Return the first point of each inked glyph, (N, 2)."""
    return np.array([lettering.contours[first][0] for first in lettering.glyph_starts])


def reference_starts_em(text: str, face: str, *, features: dict[str, bool] | None = None) -> np.ndarray:
    """Return the same from HarfBuzz alone: its pen positions and the first points it draws."""
    font = hb.Font(hb.Face(face_file(face).read_bytes()))
    buffer = hb.Buffer()
    buffer.add_str(text)
    buffer.guess_segment_properties()
    hb.shape(font, buffer, features or {})
    at, starts = 0, []
    for info, position in zip(buffer.glyph_infos, buffer.glyph_positions, strict=True):
        pen = RecordingPen()
        font.draw_glyph_with_pen(info.codepoint, pen)
        if pen.value:
            ((x, y),) = pen.value[0][1]
            starts.append((at + position.x_offset + x, position.y_offset + y))
        at += position.x_advance
    return np.array(starts) / font.face.upem


# --- a small face made here, whose shapes are known by hand ---


def rectangle(x0: int, y0: int, x1: int, y1: int, *, pen: TTGlyphPen, hole: bool = False) -> None:
    corners = [(x0, y0), (x0, y1), (x1, y1), (x1, y0)]  # clockwise, as TrueType draws outsides
    if hole:
        corners.reverse()
    pen.moveTo(corners[0])
    for corner in corners[1:]:
        pen.lineTo(corner)
    pen.closePath()


@pytest.fixture(scope="module")
def known_face(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make a face of 1000 units to the em: rectangles of telling widths, one overlapping pair, one frame."""
    widths = {"a": 100, "b": 200, "alef": 300, "bet": 400, "one": 500, "two": 600}
    glyphs, metrics = {}, {}
    for name, width in widths.items():
        pen = TTGlyphPen(None)
        rectangle(0, 0, width, 700, pen=pen)
        glyphs[name], metrics[name] = pen.glyph(), (1000, 0)
    frame = TTGlyphPen(None)  # 800 by 800 with a hole of 400 by 400
    rectangle(0, 0, 800, 800, pen=frame)
    rectangle(200, 200, 600, 600, pen=frame, hole=True)
    cross = TTGlyphPen(None)  # two bars that overlap in 200 by 200
    rectangle(0, 300, 800, 500, pen=cross)
    rectangle(300, 0, 500, 800, pen=cross)
    for name, pen in ((".notdef", TTGlyphPen(None)), ("space", TTGlyphPen(None)), ("frame", frame), ("cross", cross)):
        glyphs[name], metrics[name] = pen.glyph(), (1000, 0)
    order = [".notdef", "space", *widths, "frame", "cross"]
    builder = FontBuilder(1000, isTTF=True)
    builder.setupGlyphOrder(order)
    builder.setupCharacterMap(
        {32: "space", 97: "a", 98: "b", 0x5D0: "alef", 0x5D1: "bet", 49: "one", 50: "two", 79: "frame", 43: "cross"}
    )
    builder.setupGlyf(glyphs)
    builder.setupHorizontalMetrics(metrics)
    builder.setupHorizontalHeader(ascent=800, descent=-200)
    builder.setupNameTable({"familyName": "Known", "styleName": "Regular"})
    builder.setupOS2()
    builder.setupPost()
    path = tmp_path_factory.mktemp("faces") / "known.ttf"
    builder.save(path)
    return path


def widths_in_order(lettering: Lettering) -> list[int]:
    return [round(1000 * float(np.ptp(contour[:, 0]))) for contour in lettering.contours]


# --- shaping ---


@pytest.mark.parametrize("face", FACES)
@pytest.mark.parametrize("text", ["AVATAR Toffee official fjord", "Győző Åse Łukasz Œuvre Straße", "Novice Fours 2026"])
def test_glyphs_stand_where_harfbuzz_puts_them(face: str, text: str) -> None:
    lettering = setting(text, face, align="left")
    assert starts_em(lettering) == pytest.approx(reference_starts_em(text, face), abs=FLOAT_EM)


@pytest.mark.parametrize("face", ["eb-garamond", "montserrat", "roboto-slab", "cinzel", "sheet-serif", "sheet-sans"])
def test_avatar_is_kerned(face: str) -> None:
    ours = starts_em(setting("AVATAR", face))[:, 0]
    loose = reference_starts_em("AVATAR", face, features={"kern": False})[:, 0]
    assert np.ptp(loose) - np.ptp(ours) > 0.1  # of an em, over five pairs


@pytest.mark.parametrize("face", ["eb-garamond", "montserrat", "oswald", "sheet-serif", "sheet-sans"])
def test_fi_is_one_ligature_and_two_letters_when_tracked(face: str) -> None:
    assert len(setting("fi", face).glyph_starts) == 1
    assert len(setting("fi", face, tracking_em=0.1).glyph_starts) == 2


def test_a_letter_and_its_composed_form_are_set_alike() -> None:
    composed, parted = setting("é"), setting(unicodedata.normalize("NFD", "é"))
    assert ink_polygon(composed).equals_exact(ink_polygon(parted), FLOAT_EM)


def test_tracking_widens_each_gap_between_letters_and_no_more(known_face: Path) -> None:
    plain = set_text("abab", known_face, face_name="known", align="left")
    wide = set_text("abab", known_face, face_name="known", align="left", tracking_em=0.25)
    moved = np.array(lefts_em(wide)) - np.array(lefts_em(plain))
    assert moved == pytest.approx([0.0, 0.25, 0.5, 0.75], abs=FLOAT_EM)
    centred = set_text("abab", known_face, face_name="known", tracking_em=0.25)
    assert lefts_em(centred)[0] == pytest.approx(-(4.0 + 3 * 0.25) / 2, abs=FLOAT_EM)


@pytest.mark.parametrize(
    ("text", "seen"),
    [  # Unicode Standard Annex 9: right-to-left words run backwards, figures in them do not
        ("ab", [100, 200]),
        ("אב", [400, 300]),
        ("ab אב", [100, 200, 400, 300]),
        ("אב ab", [100, 200, 400, 300]),
        ("אב 12", [500, 600, 400, 300]),
        ("ab אב 12", [100, 200, 500, 600, 400, 300]),
        ("אב\u200d ab 12", [100, 200, 500, 600, 400, 300]),
    ],
)
def test_mixed_directions_are_seen_in_the_order_of_annex_9(known_face: Path, text: str, seen: list[int]) -> None:
    lettering = set_text(text, known_face, face_name="known", align="left")
    assert widths_in_order(lettering) == seen
    assert all(a < b for a, b in pairwise(lefts_em(lettering)))


def test_lines_are_aligned_by_their_advances_and_led(known_face: Path) -> None:
    lefts = {
        how: lefts_em(set_text("ab \na\n\nb", known_face, face_name="known", align=how, leading_em=1.5))
        for how in ("left", "centre", "right")
    }
    assert lefts["left"] == pytest.approx([0.0, 1.0, 0.0, 0.0], abs=FLOAT_EM)
    assert lefts["centre"] == pytest.approx([-1.0, 0.0, -0.5, -0.5], abs=FLOAT_EM)
    assert lefts["right"] == pytest.approx([-2.0, -1.0, -1.0, -1.0], abs=FLOAT_EM)
    lettering = set_text("ab\na\n\nb", known_face, face_name="known", leading_em=1.5)
    bottoms = [float(contour[:, 1].min()) for contour in lettering.contours]
    assert bottoms == pytest.approx([0.0, 0.0, -1.5, -4.5], abs=FLOAT_EM)
    assert lettering.bounds_em == pytest.approx((-1.0, -4.5, 0.2, 0.7), abs=FLOAT_EM)


# --- ink ---


def test_ink_of_known_shapes_has_the_area_worked_out_by_hand(known_face: Path) -> None:
    areas = {letter: ink_polygon(set_text(letter, known_face, face_name="known")).area for letter in "aO+"}
    assert areas["a"] == pytest.approx(0.1 * 0.7, abs=FLOAT_EM)
    assert areas["O"] == pytest.approx(0.8**2 - 0.4**2, abs=FLOAT_EM)
    assert areas["+"] == pytest.approx(2 * 0.8 * 0.2 - 0.2**2, abs=FLOAT_EM)  # the crossing counts once, and is ink


def test_known_shapes_fill_the_pixels_worked_out_by_hand(known_face: Path) -> None:
    frame = render_lettering(set_text("O", known_face, face_name="known"), width_px=8, height_px=8)
    expected = np.ones((8, 8), dtype=np.float32)
    expected[2:6, 2:6] = 0.0
    assert np.allclose(frame, expected, atol=1e-6)
    cross = render_lettering(set_text("+", known_face, face_name="known"), width_px=4, height_px=8)
    expected = np.zeros((8, 4), dtype=np.float32)  # 4 by 4 pixels in the middle of 8 rows, bars 1 px wide
    expected[2:6, 1:3] = 0.5
    expected[3:5, :] = 0.5
    expected[3:5, 1:3] = 0.75
    assert np.allclose(cross, expected, atol=1e-6)


@pytest.mark.parametrize("letter", ["S", "O", "g", "Q"])
@pytest.mark.parametrize("face", ["libre-baskerville", "eb-garamond", "bebas-neue"])
def test_ink_area_is_that_of_the_unflattened_curves(face: str, letter: str) -> None:
    with TTFont(face_file(face)) as font:
        glyphs = font.getGlyphSet()
        pen = AreaPen(glyphs)
        glyphs[font.getBestCmap()[ord(letter)]].draw(pen)
        exact = abs(pen.value) / font["head"].unitsPerEm ** 2
    ink = ink_polygon(setting(letter, face))
    assert ink.area == pytest.approx(exact, abs=ink.length * FLATNESS_EM)  # a chord leaves its curve by that much
    assert ink.area != pytest.approx(exact, abs=FLATNESS_EM**2)  # and the tolerance above is not idle


def test_cubic_outlines_are_read_and_flattened_within_the_tolerance(tmp_path: Path) -> None:
    pen = T2CharStringPen(700, None)
    quarter = 0.5522847498  # 4/3 (√2 − 1), the usual arm; leaves the circle by 2.7e-4 of its radius, from memory
    pen.moveTo((650, 350))
    for turn in range(4):  # clockwise or not does not matter to nonzero winding
        c, s = [(1, 0), (0, 1), (-1, 0), (0, -1)][turn]
        points = [(1, quarter), (quarter, 1), (0, 1)]
        pen.curveTo(*[(350 + 300 * (x * c - y * s), 350 + 300 * (x * s + y * c)) for x, y in points])
    pen.closePath()
    builder = FontBuilder(1000, isTTF=False)
    builder.setupGlyphOrder([".notdef", "O"])
    builder.setupCharacterMap({79: "O"})
    empty = T2CharStringPen(700, None).getCharString()
    builder.setupCFF("Round", {}, {".notdef": empty, "O": pen.getCharString()}, {})
    builder.setupHorizontalMetrics({".notdef": (700, 0), "O": (700, 50)})
    builder.setupHorizontalHeader(ascent=800, descent=-200)
    builder.setupNameTable({"familyName": "Round", "styleName": "Regular"})
    builder.setupOS2()
    builder.setupPost()
    builder.save(tmp_path / "round.otf")
    lettering = set_text("O", tmp_path / "round.otf", face_name="round", align="left")
    radii = np.hypot(*(lettering.contours[0] - 0.35).T)
    units = 1e-3  # CFF rounds points to whole units here
    assert np.abs(radii - 0.3).max() < 0.3 * 2.8e-4 + units
    middles = (lettering.contours[0] + np.roll(lettering.contours[0], 1, axis=0)) / 2.0
    assert np.hypot(*(middles - 0.35).T).min() > 0.3 - FLATNESS_EM - units
    assert ink_polygon(lettering).area == pytest.approx(np.pi * 0.3**2, abs=0.3 * 2 * np.pi * (FLATNESS_EM + units))


def test_a_letter_beyond_all_measure_is_a_damaged_font(tmp_path: Path) -> None:
    with TTFont(face_file("cinzel"), recalcTimestamp=False) as font:
        font["head"].unitsPerEm = 16
        font["glyf"]["O"].coordinates.scale((20, 20))
        font.save(tmp_path / "giant.ttf")
    with pytest.raises(UnreadableFile, match="beyond all measure"):
        set_text("O", tmp_path / "giant.ttf", face_name="giant")


@pytest.mark.parametrize("face", FACES)
def test_pixels_add_up_to_the_area_of_the_ink(face: str) -> None:
    lettering = setting("Novice Fours\nSedgeholm é", face)
    x0, y0, x1, y1 = lettering.bounds_em
    pixels = render_lettering(lettering, width_px=640, height_px=210)
    scale = min(640 / (x1 - x0), 210 / (y1 - y0))
    assert float(pixels.sum(dtype=np.float64)) == pytest.approx(
        ink_polygon(lettering).area * scale**2, rel=COVERAGE_REL
    )
    assert pixels.dtype == np.float32
    assert pixels.min() == 0.0
    assert pixels.max() == pytest.approx(1.0, abs=1e-6)


@pytest.mark.parametrize("face", ["great-vibes", "grenze-gotisch", "zilla-slab"])
def test_pixels_agree_with_freetype(face: str) -> None:
    size_px = 400
    font = ImageFont.truetype(face_file(face), size_px, layout_engine=ImageFont.Layout.BASIC)
    picture = Image.new("L", (600, 600))
    ImageDraw.Draw(picture).text((200, 400), "g", font=font, fill=255, anchor="ls")
    theirs = np.asarray(picture, dtype=np.float64) / 255.0
    lettering = setting("g", face)
    x0, y0, x1, y1 = lettering.bounds_em
    inked = render_lettering(lettering, width_px=round((x1 - x0) * size_px), height_px=round((y1 - y0) * size_px))
    top, left = (int(side.min()) for side in np.nonzero(theirs > 0.1))
    ours = np.zeros_like(theirs)
    ours[top : top + inked.shape[0], left : left + inked.shape[1]] = inked
    # hinting and rounding to 1/64 px act along the edges, by less than a third of a pixel
    edge_px = ink_polygon(lettering).length * size_px
    assert theirs.sum() == pytest.approx(float(ours.sum(dtype=np.float64)), abs=edge_px / 3.0)
    # laid on one another, whole pixels of shift allowed, they differ along the edges only
    differences = [
        np.abs(np.roll(theirs, (dy, dx), axis=(0, 1)) - ours).sum() for dy in (-1, 0, 1) for dx in (-1, 0, 1)
    ]
    assert min(differences) < edge_px * 0.75


@pytest.mark.parametrize("face", ["great-vibes", "dancing-script", "pacifico"])
def test_joined_letters_have_no_holes_where_they_overlap(face: str) -> None:
    lettering = setting("minimum", face)
    ink = ink_polygon(lettering)
    assert sum(len(part.interiors) for part in ink.geoms) == 0  # none of these letters has a counter
    outlines = [shapely.Polygon(contour).buffer(0) for contour in lettering.contours]
    even_odd = functools.reduce(shapely.symmetric_difference, outlines)
    assert even_odd.area < ink.area - 1e-4  # the letters do overlap, and even-odd would show it
    overlap = shapely.difference(ink, even_odd)
    middle = max(overlap.geoms if overlap.geom_type == "MultiPolygon" else [overlap], key=lambda part: part.area)
    x0, y0, x1, y1 = lettering.bounds_em
    px_per_em = 400
    grid = render_lettering(lettering, width_px=round((x1 - x0) * px_per_em), height_px=round((y1 - y0) * px_per_em))
    at = middle.representative_point()
    assert grid[int((y1 - at.y) / (y1 - y0) * grid.shape[0]), int((at.x - x0) / (x1 - x0) * grid.shape[1])] > 0.5


@pytest.mark.parametrize("face", FACES)
def test_counters_stay_open_and_stencils_have_none(face: str) -> None:
    ink = ink_polygon(setting("o", face))
    assert sum(len(part.interiors) for part in ink.geoms) == (0 if face == "saira-stencil-one" else 1)
    assert (len(ink.geoms) > 1) == (face == "saira-stencil-one")
    if face == "eb-garamond":
        assert render_lettering(setting("O", face), width_px=60, height_px=60)[30, 30] == 0.0


@pytest.mark.parametrize("face", [face.id for face in (*list_faces(), *list_sheet_faces())])
def test_every_face_sets_the_letters_of_europe(face: str) -> None:
    ink = ink_polygon(setting("AVATAR fi éőßøÅŒŁ", face))
    assert ink.is_valid
    assert ink.bounds == pytest.approx(setting("AVATAR fi éőßøÅŒŁ", face).bounds_em, abs=FLOAT_EM)


# --- boxes ---


def test_outlines_touch_two_sides_of_their_box_and_stand_in_its_middle(known_face: Path) -> None:
    lettering = set_text("a", known_face, face_name="known")  # 0.1 by 0.7 em
    (ring,) = outlines_in_box(lettering, width_mm=30.0, height_mm=14.0)
    assert ring.min(axis=0) == pytest.approx([14.0, 0.0])  # 2 mm wide in 30
    assert ring.max(axis=0) == pytest.approx([16.0, 14.0])
    assert not np.array_equal(ring[0], ring[-1])


def test_outlines_are_upright_and_turn_the_right_way(known_face: Path) -> None:
    lettering = set_text("b\na", known_face, face_name="known")
    rings = outlines_in_box(lettering, width_mm=10.0, height_mm=10.0)
    rings.sort(key=lambda ring: float(ring[:, 1].min()))  # a, 100 wide and 700 high, is below b, 200 wide
    slender = [float(np.ptp(ring[:, 0]) / np.ptp(ring[:, 1])) for ring in rings]
    assert slender == pytest.approx([1 / 7, 2 / 7])
    outer, hole = outlines_in_box(set_text("O", known_face, face_name="known"), width_mm=8.0, height_mm=8.0)
    assert shapely.LinearRing(outer).is_ccw
    assert not shapely.LinearRing(hole).is_ccw
    assert shapely.Polygon(outer).area - shapely.Polygon(hole).area == pytest.approx(64.0 - 16.0)


def test_rows_run_from_top_to_bottom(known_face: Path) -> None:
    pixels = render_lettering(set_text("b\na", known_face, face_name="known"), width_px=20, height_px=190)
    assert pixels[:60].sum() == pytest.approx(2 * pixels[-60:].sum(), rel=0.02)  # b, twice as wide as a, is above


@pytest.mark.parametrize(("width_px", "height_px"), [(0, 10), (10, -1), (100_000, 100_000)])
def test_a_grid_that_cannot_be_is_refused(known_face: Path, width_px: int, height_px: int) -> None:
    with pytest.raises(OutOfRange):
        render_lettering(set_text("a", known_face, face_name="known"), width_px=width_px, height_px=height_px)


@pytest.mark.parametrize("side_mm", [0.0, -1.0, float("nan"), float("inf")])
def test_a_box_that_cannot_be_is_refused(known_face: Path, side_mm: float) -> None:
    with pytest.raises(OutOfRange):
        outlines_in_box(set_text("a", known_face, face_name="known"), width_mm=10.0, height_mm=side_mm)


def test_the_smallest_grid_holds_the_share_of_ink(known_face: Path) -> None:
    pixels = render_lettering(set_text("O", known_face, face_name="known"), width_px=1, height_px=1)
    assert pixels[0, 0] == pytest.approx(0.75)  # 0.48 of 0.64 em²


# --- what is refused, and how ---


@pytest.mark.parametrize("face", FACES)
@pytest.mark.parametrize(
    ("letter", "called"),
    [
        ("漢", "漢 (U+6F22, CJK UNIFIED IDEOGRAPH-6F22)"),
        ("🏆", "🏆 (U+1F3C6, TROPHY)"),
        ("e\u20dd", "U+20DD, COMBINING ENCLOSING CIRCLE"),
    ],
)
def test_a_missing_character_is_named_with_its_face(face: str, letter: str, called: str) -> None:
    with pytest.raises(InvalidInput) as caught:
        setting(f"Fours {letter}", face)
    assert caught.value.fields == {"text": f"{face} has no glyph for {called}"}


def test_all_missing_characters_are_named_once() -> None:
    with pytest.raises(InvalidInput, match=r"U\+6F22.*U\+5B57") as caught:
        setting("漢字\n漢", "cinzel")
    assert caught.value.fields["text"].count("U+6F22") == 1


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("", "blank"),
        (" \n\u00a0\n", "blank"),
        ("\u200d", "no ink"),
        ("x" * 2001, "2001 characters"),
        ("Fours\tA", "U+0009"),
        ("Fours\r\nA", "U+000D"),
        ("a\x00b", "U+0000"),
        ("a\u2028b", "U+2028"),
        ("a\ud800b", "U+D800"),
        ("a\u202eb", "U+202E"),
        ("a\u2067b", "U+2067"),
    ],
)
def test_text_that_cannot_be_set_is_refused(text: str, word: str) -> None:
    with pytest.raises(InvalidInput) as caught:
        setting(text)
    assert word in caught.value.fields["text"]
    assert "Traceback" not in caught.value.message


def test_two_thousand_characters_are_set() -> None:
    assert len(setting("x" * 2000, "poiret-one").glyph_starts) == 2000


def test_all_faults_are_told_at_once() -> None:
    with pytest.raises(InvalidInput) as caught:
        setting("", align="middle", tracking_em=float("nan"), leading_em=0.0)
    assert set(caught.value.fields) == {"text", "align", "tracking_em", "leading_em"}
    assert "left, centre, right" in caught.value.fields["align"]


@pytest.mark.parametrize(
    "content", [b"", b"not a font at all" * 20, b"\x00\x01\x00\x00" + b"\xff" * 400, b"wOF2" + b"\0" * 90]
)
def test_a_broken_font_is_unreadable(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "broken.ttf"
    path.write_bytes(content)
    with pytest.raises(UnreadableFile) as caught:
        set_text("Fours", path, face_name="own/broken.ttf")
    assert caught.value.path == "own/broken.ttf"


def test_a_font_that_is_not_there_is_not_found(tmp_path: Path) -> None:
    with pytest.raises(NotFound, match="own"):
        set_text("Fours", tmp_path / "none.ttf", face_name="own")


@pytest.mark.parametrize("seed", range(40))
def test_a_damaged_font_gives_ink_or_an_error_of_ours(tmp_path: Path, seed: int) -> None:
    rng = np.random.default_rng(seed)
    data = np.frombuffer(face_file("josefin-sans").read_bytes(), dtype=np.uint8).copy()
    head = 400 if seed % 2 else data.size  # every other time the damage is in the directory of tables
    data[rng.integers(0, head, size=1 + 3 * seed)] = rng.integers(0, 256, size=1 + 3 * seed)
    path = tmp_path / "damaged.ttf"
    path.write_bytes(data.tobytes()[: data.size if seed % 3 else data.size // 2])
    try:
        lettering = set_text("Novice Fours, é ß", path, face_name="damaged")
        assert render_lettering(lettering, width_px=50, height_px=20).shape == (20, 50)
    except EvenburnError as fault:
        assert "damaged" in fault.message  # noqa: PT017 - either outcome is right
