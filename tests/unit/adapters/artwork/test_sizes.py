"""The smallest letters: against shapes whose strokes and gaps are known, and the order of the shipped faces."""

from pathlib import Path

import numpy as np
import pytest
from fontTools.fontBuilder import FontBuilder
from fontTools.pens.ttGlyphPen import TTGlyphPen

from evenburn.adapters.artwork.faces import face_file
from evenburn.adapters.artwork.setting import TextSetting, artwork_from_setting
from evenburn.adapters.artwork.sizes import finest, smallest_letter_mm, wider_faces
from evenburn.core.art.detail import measure_widths
from evenburn.core.errors import InvalidInput, NotFound, OutOfRange

PIXEL_EM = 1.5 / 700.0  # a pixel and a half of the raster that few letters get


@pytest.fixture(scope="module")
def barred(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make a face whose H is two upright bars 100 wide, 160 apart, 800 high, of 1000 to the em."""
    pen = TTGlyphPen(None)
    for left in (0, 260):
        corners = [(left, 0), (left, 800), (left + 100, 800), (left + 100, 0)]
        pen.moveTo(corners[0])
        for corner in corners[1:]:
            pen.lineTo(corner)
        pen.closePath()
    glyphs = {".notdef": TTGlyphPen(None).glyph(), "H": pen.glyph()}
    builder = FontBuilder(1000, isTTF=True)
    builder.setupGlyphOrder(list(glyphs))
    builder.setupCharacterMap({72: "H"})
    builder.setupGlyf(glyphs)
    builder.setupHorizontalMetrics(dict.fromkeys(glyphs, (600, 0)))
    builder.setupHorizontalHeader(ascent=800, descent=-200)
    builder.setupNameTable({"familyName": "Barred", "styleName": "Regular"})
    builder.setupOS2(sCapHeight=100)  # a lie: its H is 800 high
    builder.setupPost()
    path = tmp_path_factory.mktemp("faces") / "barred.ttf"
    builder.save(path)
    return path


def test_strokes_and_gaps_of_known_bars_are_measured(barred: Path) -> None:
    found = finest(barred, text="H")
    assert found.stroke_em == pytest.approx(0.1, abs=PIXEL_EM)
    assert found.gap_em == pytest.approx(0.16, abs=PIXEL_EM)
    assert found.cap_height_em == pytest.approx(0.8)


@pytest.mark.parametrize(("stroke_mm", "gap_mm", "em_mm"), [(0.3, 0.1, 3.0), (0.1, 0.32, 2.0)])
def test_whichever_binds_fixes_the_size(barred: Path, stroke_mm: float, gap_mm: float, em_mm: float) -> None:
    least_mm = smallest_letter_mm(barred, text="H", stroke_kept_mm=stroke_mm, gap_kept_mm=gap_mm)
    assert least_mm == pytest.approx(0.8 * em_mm, rel=PIXEL_EM / 0.1)


def test_gaps_between_letters_count(barred: Path) -> None:
    assert finest(barred, text="HH").gap_em == pytest.approx(0.16, abs=PIXEL_EM)  # 240 between letters
    assert finest(barred, text="H\nH").stroke_em == pytest.approx(0.1, abs=PIXEL_EM)


@pytest.mark.parametrize("face", ["roboto-slab", "montserrat", "great-vibes"])
def test_at_the_smallest_size_what_is_kept_is_there_when_drawn(face: str) -> None:
    kept_mm = 0.25
    text = "Novice Fours"
    least_mm = smallest_letter_mm(face, text=text, stroke_kept_mm=kept_mm, gap_kept_mm=kept_mm)
    art = artwork_from_setting(TextSetting(text=text, face=face, letter_mm=least_mm), size_mm=(200.0, 40.0))
    pixel_mm = 0.02
    widths = measure_widths(art.ink(width_px=10_000, height_px=2000), pixel_mm=pixel_mm)
    assert widths.stroke_mm is not None
    assert widths.gap_mm is not None
    narrowest_mm = min(widths.stroke_mm, widths.gap_mm)
    assert narrowest_mm == pytest.approx(kept_mm, abs=3.0 * pixel_mm)  # a pixel and a half in either raster


def test_a_slab_and_a_sans_hold_smaller_than_a_script() -> None:
    least = {
        face: smallest_letter_mm(face, stroke_kept_mm=0.2, gap_kept_mm=0.2)
        for face in ("roboto-slab", "montserrat", "great-vibes", "dancing-script", "saira-stencil-one")
    }
    assert least["montserrat"] < least["dancing-script"] < least["great-vibes"]
    assert least["roboto-slab"] < least["dancing-script"]
    assert least["saira-stencil-one"] < least["great-vibes"]


def test_twice_as_much_kept_needs_letters_twice_as_large() -> None:
    once, twice = (smallest_letter_mm("eb-garamond", text="Cox", stroke_kept_mm=k, gap_kept_mm=k) for k in (0.1, 0.2))
    assert twice == pytest.approx(2.0 * once)


def test_wider_faces_are_offered_widest_first() -> None:
    offered = wider_faces("Cox", face="great-vibes", letter_mm=4.0)
    widths_mm = [width_mm for _, width_mm in offered]
    assert widths_mm == sorted(widths_mm, reverse=True)
    assert 0 < len(offered) < 17
    assert "great-vibes" not in dict(offered)
    # what is offered as wide holds at just that: the two measures agree
    face, width_mm = offered[0]
    assert smallest_letter_mm(face, text="Cox", stroke_kept_mm=width_mm, gap_kept_mm=width_mm) == pytest.approx(4.0)
    cyrillic = wider_faces("Шлюз", face="montserrat", letter_mm=50.0)
    assert "cinzel" not in dict(cyrillic)  # it has no such letters


def test_long_texts_take_each_letter_once() -> None:
    whole = finest("montserrat", text="Novice Fours " * 150)
    assert whole.stroke_em == pytest.approx(finest("montserrat", text="Novice Fours").stroke_em, abs=0.01)


@pytest.mark.parametrize("kept_mm", [0.0, -1.0, np.nan, np.inf])
def test_what_is_kept_must_be_a_length(kept_mm: float) -> None:
    with pytest.raises(OutOfRange):
        smallest_letter_mm("cinzel", stroke_kept_mm=kept_mm, gap_kept_mm=0.1)
    with pytest.raises(OutOfRange):
        wider_faces("A", face="cinzel", letter_mm=kept_mm)


def test_what_cannot_be_set_cannot_be_measured() -> None:
    with pytest.raises(InvalidInput):
        finest("cinzel", text=" ")
    with pytest.raises(InvalidInput):
        wider_faces("", face="cinzel", letter_mm=5.0)
    with pytest.raises(NotFound):
        finest("no-such-face")
    assert face_file("cinzel").is_file()
