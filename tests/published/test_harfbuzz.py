"""[harfbuzz] The reference shaper's own glyph positions, and fontTools' own glyph boxes, beside our outlines.

HarfBuzz (by `uharfbuzz`) shapes each text here with nothing of ours between; fontTools reads each glyph's curves from the
file and gives their exact box. Where a glyph's ink must stand is HarfBuzz's pen and offset plus fontTools' box.
- Twelve shipped faces, texts with kerning, ligatures, composed and combining accents (stacked too, where a face has mkmk).
- Straight text, each glyph's left, right, bottom and top; and text along a straight path, where a letter must stand as if
  straight, and along a quarter circle, where each letter's own middle must stand at its advance's middle.
Tolerance: 1/2000 em, how far our chords lie from the curves whose exact boxes fontTools gives; HarfBuzz draws what fontTools
reads to the font unit (1/1000 em or less), so half a unit is added.
Left out: Hebrew and Arabic, as no shipped face has their letters; the order of right-to-left runs is tested on a made face in
tests/unit/adapters/artwork/test_lettering.py, and their joining on no face at all.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import uharfbuzz as hb
from fontTools.pens.boundsPen import BoundsPen
from fontTools.ttLib import TTFont

from evenburn.adapters.artwork.along import Along, place_along, track_of
from evenburn.adapters.artwork.faces import face_file, list_faces
from evenburn.adapters.artwork.fonts import open_font
from evenburn.adapters.artwork.lettering import Lettering, outlines_of, set_text, shape_lines
from evenburn.core.nouns.path import Polyline

CHORD_EM = 1.0 / 2000.0
UNIT_EM = 0.5 / 1000.0
TEXTS = ("AVATAR Tomorrow LY WA", "official fjord flow fig", "Győző Åse Łukasz", "A\u0301e\u0301n\u0303 o\u0308", "x")
FACES = (
    *("eb-garamond", "montserrat", "roboto-slab", "cinzel", "great-vibes", "pacifico", "dancing-script", "oswald"),
    *("bebas-neue", "quicksand", "grenze-gotisch", "saira-stencil-one"),
)


def expected_boxes(text: str, face: str) -> list[tuple[float, float, float, float]]:
    """Where HarfBuzz and fontTools say that the ink of each glyph stands. [em]"""
    font = hb.Font(hb.Face(face_file(face).read_bytes()))
    buffer = hb.Buffer()
    buffer.add_str(text)
    buffer.guess_segment_properties()
    hb.shape(font, buffer)
    boxes, pen_x = [], 0
    with TTFont(face_file(face)) as read:
        upem, names, glyphs = read["head"].unitsPerEm, read.getGlyphOrder(), read.getGlyphSet()
        for info, position in zip(buffer.glyph_infos, buffer.glyph_positions, strict=True):
            bounds = BoundsPen(glyphs)
            glyphs[names[info.codepoint]].draw(bounds)
            if bounds.bounds is not None:
                x0, y0, x1, y1 = bounds.bounds
                x, y = pen_x + position.x_offset, position.y_offset
                boxes.append(((x + x0) / upem, (y + y0) / upem, (x + x1) / upem, (y + y1) / upem))
            pen_x += position.x_advance
    return boxes


def our_boxes(lettering: Lettering) -> list[tuple[float, float, float, float]]:
    ends = [*lettering.glyph_starts[1:], len(lettering.contours)]
    boxes = []
    for start, end in zip(lettering.glyph_starts, ends, strict=True):
        points = np.vstack(lettering.contours[start:end])
        boxes.append((*points.min(axis=0), *points.max(axis=0)))
    return boxes


@pytest.mark.parametrize("face", FACES)
@pytest.mark.parametrize("text", TEXTS)
def test_ink_stands_where_the_reference_shaper_puts_it(face: str, text: str) -> None:
    ours = our_boxes(set_text(text, face_file(face), face_name=face, align="left"))
    theirs = expected_boxes(text, face)
    assert len(ours) == len(theirs)
    assert np.array(ours) == pytest.approx(np.array(theirs), abs=CHORD_EM + UNIT_EM)


def test_the_texts_try_what_they_are_meant_to() -> None:
    garamond = "eb-garamond"
    assert len(expected_boxes("fi", garamond)) == 1  # a ligature
    width = {text: expected_boxes(text, garamond)[-1][0] for text in ("AV", "AA")}
    assert width["AV"] < width["AA"] - 0.05  # a kerned pair
    assert len(expected_boxes("n\u0303", garamond)) == 1  # composed
    assert len(expected_boxes("x\u0303", garamond)) == 2  # … or a mark of its own, on its base
    x, mark = expected_boxes("x\u0303", garamond)
    assert mark[1] > x[3]
    assert (mark[0] + mark[2]) / 2.0 == pytest.approx((x[0] + x[2]) / 2.0, abs=0.1)


@pytest.mark.parametrize("face", FACES)
def test_marks_with_no_letter_of_their_own_stand_where_the_reference_shaper_puts_them(face: str) -> None:
    with TTFont(face_file(face)) as read:
        assert 0x303 in read.getBestCmap()
    text = "x\u0303 q\u0301 x\u0303\u0301"
    ours = our_boxes(set_text(text, face_file(face), face_name=face, align="left"))
    assert np.array(ours) == pytest.approx(np.array(expected_boxes(text, face)), abs=CHORD_EM + UNIT_EM)


@pytest.mark.parametrize("face", FACES)
def test_along_a_straight_path_letters_stand_as_the_reference_shaper_puts_them(face: str) -> None:
    font = open_font(face_file(face), face_name=face)
    text = "AVATAR fi x\u0303"
    (line,) = shape_lines(text, font, tracking_em=0.0)
    path = Polyline(points_mm=np.array([[3.0, 7.0], [400.0, 7.0]]), closed=False)
    track = track_of(Along(path=path), box_mm=(400.0, 50.0), letter_mm=5.0)
    placed = place_along(line, font, track=track, em_mm=10.0, align="left")
    ours = np.array(our_boxes(outlines_of(placed, font)))
    shift = np.array([0.3, 0.7, 0.3, 0.7])
    assert ours - shift == pytest.approx(np.array(expected_boxes(text, face)), abs=CHORD_EM + UNIT_EM)


@pytest.mark.parametrize("text", ["OOO", "HAMBURG", "AVATAR"])
def test_on_a_curve_a_letter_is_turned_about_the_middle_of_its_advance(text: str) -> None:
    face, em_mm, radius_mm = "montserrat", 10.0, 200.0
    font = open_font(face_file(face), face_name=face)
    (line,) = shape_lines(text, font, tracking_em=0.0)
    angles = np.linspace(math.pi / 2.0, 0.0, 20_001)  # clockwise from the top, chords 16 µm long
    arc = Polyline(points_mm=radius_mm * np.column_stack([np.cos(angles), np.sin(angles)]), closed=False)
    track = track_of(Along(path=arc), box_mm=(200.0, 200.0), letter_mm=5.0)
    ours = outlines_of(place_along(line, font, track=track, em_mm=em_mm, align="left"), font)
    shaper = hb.Font(hb.Face(face_file(face).read_bytes()))
    buffer = hb.Buffer()
    buffer.add_str(text)
    buffer.guess_segment_properties()
    hb.shape(shaper, buffer)
    pen_x = 0.0
    for number, (info, position) in enumerate(zip(buffer.glyph_infos, buffer.glyph_positions, strict=True)):
        middle_em = (pen_x + position.x_advance / 2.0) / shaper.face.upem
        turn = middle_em * em_mm / radius_mm  # of an arc, in rad
        first = ours.glyph_starts[number]
        last = ours.glyph_starts[number + 1] if number + 1 < len(text) else len(ours.contours)
        points = np.vstack(ours.contours[first:last]) * em_mm
        foot = radius_mm * np.array([math.sin(turn), math.cos(turn)])
        along, up = np.array([math.cos(turn), -math.sin(turn)]), np.array([math.sin(turn), math.cos(turn)])
        local = np.column_stack([(points - foot) @ along, (points - foot) @ up]) / em_mm
        with TTFont(face_file(face)) as read:
            bounds = BoundsPen(read.getGlyphSet())
            read.getGlyphSet()[read.getGlyphOrder()[info.codepoint]].draw(bounds)
        x0, y0, x1, y1 = np.array(bounds.bounds) / shaper.face.upem
        half = position.x_advance / 2.0 / shaper.face.upem
        # the polygon of chords is 6e-9 of its radius short: nothing beside the chords of the letters
        assert local.min(axis=0) == pytest.approx([x0 - half, y0], abs=CHORD_EM + UNIT_EM)
        assert local.max(axis=0) == pytest.approx([x1 - half, y1], abs=CHORD_EM + UNIT_EM)
        pen_x += position.x_advance


def test_no_shipped_face_has_hebrew_or_arabic() -> None:
    """When one does, the texts above must hold some."""
    for face in list_faces():
        with TTFont(face_file(face.id)) as read:
            assert not {0x5D0, 0x627} & set(read.getBestCmap())
