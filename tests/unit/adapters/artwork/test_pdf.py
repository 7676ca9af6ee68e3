"""A page of a PDF as pixels: its size, what lies where, and what is refused."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from evenburn.adapters.artwork.faces import face_file
from evenburn.adapters.artwork.pdf import PdfPage, open_pdf
from evenburn.adapters.artwork.source import artwork_from_file
from evenburn.core.errors import UnreadableFile


def pdf(tmp_path: Path, *, lock: str | None = None) -> Path:
    made = io.BytesIO()
    canvas = Canvas(made, pagesize=(100 * mm, 50 * mm), encrypt=lock)
    canvas.rect(10 * mm, 5 * mm, 20 * mm, 10 * mm, stroke=0, fill=1)
    canvas.setFillColorRGB(1, 0, 0)
    canvas.rect(60 * mm, 5 * mm, 20 * mm, 10 * mm, stroke=0, fill=1)
    canvas.showPage()
    canvas.circle(50 * mm, 25 * mm, 20 * mm, fill=1)
    canvas.showPage()
    canvas.save()
    path = tmp_path / "art.pdf"
    path.write_bytes(made.getvalue())
    return path


def test_the_first_page_is_drawn_at_its_size(tmp_path: Path) -> None:
    artwork = artwork_from_file(pdf(tmp_path), name="art.pdf")
    assert isinstance(artwork, PdfPage)

    ink, light = (draw(width_px=1000, height_px=500) for draw in (artwork.ink, artwork.light))

    assert artwork.size_mm == pytest.approx((100.0, 50.0), abs=1e-3)
    rows, columns = np.nonzero(ink > 0.99)
    assert (columns.min(), columns.max() + 1, rows.min(), rows.max() + 1) == (100, 300, 350, 450)
    assert ink[400, 700] == pytest.approx(1 - 0.2126, abs=1e-3)  # IEC 61966-2-1: red's share of luminance
    assert (light[0] == 1.0).all()
    assert light[400, 200] == 0.0


def test_the_page_keeps_its_proportions_in_the_middle(tmp_path: Path) -> None:
    ink = open_pdf(pdf(tmp_path), name="art.pdf").ink(width_px=1000, height_px=1000)

    rows, columns = np.nonzero(ink > 0.99)
    assert (columns.min(), columns.max() + 1, rows.min(), rows.max() + 1) == (100, 300, 600, 700)


def test_another_page_may_be_asked_for(tmp_path: Path) -> None:
    ink = open_pdf(pdf(tmp_path), name="art.pdf", page=2).ink(width_px=1000, height_px=500)

    assert float(ink.sum(dtype=np.float64)) == pytest.approx(
        np.pi * (200.0 + 1.76) ** 2, rel=0.002
    )  # with half its line


def test_a_page_has_no_outlines_to_follow(tmp_path: Path) -> None:
    with pytest.raises(UnreadableFile, match="drawn as pixels") as told:
        open_pdf(pdf(tmp_path), name="art.pdf").outlines(width_mm=100.0, height_mm=50.0)

    assert "SVG" in told.value.hint


def test_a_locked_file_is_told(tmp_path: Path) -> None:
    with pytest.raises(UnreadableFile, match="locked by a password"):
        open_pdf(pdf(tmp_path, lock="oars"), name="art.pdf")


@pytest.mark.parametrize("page", [0, 3, -1])
def test_a_page_that_is_not_there_is_told(page: int, tmp_path: Path) -> None:
    with pytest.raises(UnreadableFile, match="has 2 pages"):
        open_pdf(pdf(tmp_path), name="art.pdf", page=page)


@pytest.mark.parametrize("data", [b"", b"oars", b"%PDF-1.4 oars", b"\0" * 500])
def test_what_is_no_pdf_is_told(data: bytes, tmp_path: Path) -> None:
    (tmp_path / "art.pdf").write_bytes(data)

    with pytest.raises(UnreadableFile, match="no PDF, or is damaged"):
        open_pdf(tmp_path / "art.pdf", name="art.pdf")


def test_a_file_torn_off_is_told(tmp_path: Path) -> None:
    path = pdf(tmp_path)
    path.write_bytes(path.read_bytes()[:300])

    with pytest.raises(UnreadableFile, match="no PDF, or is damaged"):
        open_pdf(path, name="art.pdf")


def test_a_picture_too_large_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UnreadableFile, match="20001 × 10 pixels"):
        open_pdf(pdf(tmp_path), name="art.pdf").ink(width_px=20001, height_px=10)


def lettered(tmp_path: Path, face: str) -> Path:
    canvas = Canvas(str(tmp_path / "art.pdf"), pagesize=(100 * mm, 50 * mm))
    canvas.setFont(face, 30)
    canvas.drawString(20, 20, "Oars")
    canvas.save()
    return tmp_path / "art.pdf"


def test_text_in_a_face_that_the_file_holds_or_every_reader_has_is_drawn(tmp_path: Path) -> None:
    pdfmetrics.registerFont(TTFont("Zilla", str(face_file("zilla-slab"))))

    for face in ("Helvetica", "Zilla"):
        assert open_pdf(lettered(tmp_path, face), name="art.pdf").ink(width_px=400, height_px=200).mean() > 0.005


def test_text_in_a_face_that_the_file_does_not_hold_is_refused(tmp_path: Path) -> None:
    path = lettered(tmp_path, "Helvetica")
    path.write_bytes(path.read_bytes().replace(b"/BaseFont /Helvetica ", b"/BaseFont /Oarsmanic "))

    with pytest.raises(UnreadableFile, match="text in Oarsmanic"):
        open_pdf(path, name="art.pdf")
