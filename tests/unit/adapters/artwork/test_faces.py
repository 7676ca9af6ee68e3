"""The shipped faces: they load everywhere, carry their licences, and cover what people write on prizes."""

import io
from pathlib import Path

import pytest
from fontTools.ttLib import TTFont
from PIL import ImageFont
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase import ttfonts as pdf_fonts

from evenburn.adapters.artwork.faces import Face, face_file, licence_text, list_faces, list_sheet_faces
from evenburn.core.errors import NotFound

ENGRAVING, SHEET = list_faces(), list_sheet_faces()
ALL = ENGRAVING + SHEET
LETTERS = "éőßøÅŒŁ"
SHEET_SIGNS = "κτΔ°±×−µ²\u00a0·–—“”‘’…"
# The opening words of each licence as its steward publishes it (SIL; Apache Software Foundation).
LICENCE_WORDS = {
    "OFL-1.1": "This Font Software is licensed under the SIL Open Font License, Version 1.1.",
    "Apache-2.0": "Version 2.0, January 2004",
}
KINDS = {"script", "serif", "capitals", "slab", "sans", "condensed", "monoline", "blackletter", "stencil"}


def by_id(face: Face) -> str:
    return face.id


def test_there_is_a_face_of_each_kind_and_at_least_twelve() -> None:
    assert len(ENGRAVING) >= 12
    assert {face.kind for face in ENGRAVING} == KINDS
    assert len({face.id for face in ALL}) == len(ALL)
    assert {face.id for face in SHEET} == {
        "sheet-serif", "sheet-serif-bold", "sheet-serif-italic", "sheet-sans", "sheet-sans-bold",
    }  # fmt: skip


@pytest.mark.parametrize("face", ALL, ids=by_id)
def test_a_face_is_static_truetype_and_has_the_letters_of_europe(face: Face) -> None:
    with TTFont(face_file(face.id)) as font:
        assert "glyf" in font
        assert "fvar" not in font
        assert [letter for letter in LETTERS if ord(letter) not in font.getBestCmap()] == []


@pytest.mark.parametrize("face", ALL, ids=by_id)
def test_a_face_stands_beside_its_licence(face: Face) -> None:
    assert LICENCE_WORDS[face.licence] in licence_text(face.id)


@pytest.mark.parametrize("face", ALL, ids=by_id)
def test_pictures_and_sheets_can_load_a_face(face: Face) -> None:
    path = face_file(face.id)
    assert ImageFont.truetype(path, 24).getlength("Sedgeholm") > 24.0
    assert pdf_fonts.TTFont(f"try-{face.id}", path).face.charWidths[ord("S")] > 0


@pytest.mark.parametrize("face", SHEET, ids=by_id)
def test_a_sheet_face_has_the_signs_of_the_trade(face: Face) -> None:
    with TTFont(face_file(face.id)) as font:
        assert [sign for sign in SHEET_SIGNS if ord(sign) not in font.getBestCmap()] == []


@pytest.mark.parametrize("face", SHEET, ids=by_id)
def test_figures_stand_in_columns_without_a_feature_switch(face: Face) -> None:
    path = face_file(face.id)
    pdfmetrics.registerFont(pdf_fonts.TTFont(face.id, path))
    assert len({pdfmetrics.stringWidth(figure, face.id, 1000) for figure in "0123456789"}) == 1
    plain = ImageFont.truetype(path, 500, layout_engine=ImageFont.Layout.BASIC)
    assert len({plain.getlength(figure) for figure in "0123456789"}) == 1
    with TTFont(path) as font:  # lining: all stand on the line and rise to one height, round ones a little past
        cmap, glyf, em = font.getBestCmap(), font["glyf"], font["head"].unitsPerEm
        boxes = [glyf[cmap[ord(figure)]] for figure in "0123456789"]
        assert max(box.yMax for box in boxes) - min(box.yMax for box in boxes) < 0.03 * em
        assert max(box.yMin for box in boxes) - min(box.yMin for box in boxes) < 0.03 * em


def test_all_faces_together_stay_under_six_megabytes() -> None:
    folder = face_file("cinzel").parent
    assert sum(path.stat().st_size for path in folder.iterdir()) < 6_000_000


def test_the_list_names_no_address_and_leaves_no_file_unlisted() -> None:
    folder = face_file("cinzel").parent
    listed = (folder / "faces.toml").read_text(encoding="utf-8")
    assert "://" not in listed
    assert {path.name for path in folder.iterdir()} == (
        {"faces.toml"} | {face.file for face in ALL} | {f"{face.id}.LICENSE" for face in ALL}
    )


def test_a_modified_face_bears_no_name_its_licence_reserves() -> None:
    for face in ALL:
        copyright_lines = licence_text(face.id).split("-----")[0]
        assert face.unchanged or "Reserved Font Name" not in copyright_lines


def test_an_unknown_face_is_answered_with_the_ids_and_the_nearest() -> None:
    with pytest.raises(NotFound) as caught:
        face_file("Great Vibe")
    assert all(face.id in caught.value.message for face in ENGRAVING)
    assert caught.value.hint == "did you mean great-vibes?"


@pytest.mark.parametrize("name", ["../faces/cinzel", "/etc/passwd", "", "cinzel.ttf"])
def test_a_string_is_never_a_path(name: str) -> None:
    with pytest.raises(NotFound):
        face_file(name)


def test_a_users_own_font_is_given_as_a_path(tmp_path: Path) -> None:
    own = tmp_path / "Own.TTF"
    own.write_bytes(face_file("cinzel").read_bytes())
    assert face_file(own) == own
    for wrong in (tmp_path / "none.ttf", tmp_path, tmp_path / "x.svg"):
        with pytest.raises(NotFound):
            face_file(wrong)


def test_a_sheet_face_can_be_embedded_in_a_pdf() -> None:
    from reportlab.pdfgen import canvas

    pdfmetrics.registerFont(pdf_fonts.TTFont("sheet-sans", face_file("sheet-sans")))
    out = io.BytesIO()
    page = canvas.Canvas(out)
    page.setFont("sheet-sans", 12)
    page.drawString(40, 800, "κ 0.11 ± 0.02, 287 mm/s, −1.5 mm, 160 × 95 mm")
    page.save()
    assert b"EvenburnSheetSans" in out.getvalue()
