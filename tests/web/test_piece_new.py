"""Adding a piece: a form of few fields, kept with every fault at its field, that leads to the planned sheet."""

from __future__ import annotations

import html
import re
from pathlib import Path

import pytest

from evenburn.services.book.open_book import Book
from evenburn.services.book.piece_of import piece_of
from evenburn.services.book.shelf import put_on_shelf
from evenburn.services.book.take_in import TakenIn, take_in_batch
from service.book.conftest import small_batch
from web.conftest import NOW, Browser

SVG = b"""<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="20mm" viewBox="0 0 40 20">
<path fill-rule="evenodd" d="M1 1h38v18h-38z M5 5v10h30v-10z"/></svg>"""
GOOD = {
    "name": "Cox’s tag",
    "batch": "two-for-the-regatta",
    "wood": "acacia",
    "blank.shape": "rectangle",
    "blank.size_mm[1]": "60",
    "blank.size_mm[2]": "30,5",
    "blank.thickness_mm": "6",
    "face": "zilla-slab",
}


@pytest.fixture
def taken(book: Book, tmp_path: Path) -> TakenIn:
    return take_in_batch(book, small_batch(tmp_path / "own"), now=NOW)


def wrong(text: str) -> list[str]:
    return [html.unescape(one) for one in re.findall(r'<p class="wrong"[^>]*>([^<]*)</p>', text)]


def test_a_book_without_a_machine_says_what_to_do_first(browser: Browser) -> None:
    text = browser.get("/pieces/new").text
    assert "this book has none yet" in text
    assert 'href="/machine"' in text
    assert "Add it and plan it" not in text


@pytest.mark.usefixtures("taken")
def test_few_fields_lead_to_a_planned_sheet(browser: Browser, book: Book) -> None:
    answer = browser.post("/pieces/new", GOOD, files={"artwork": ("my frame.svg", SVG, "image/svg+xml")})
    assert answer.status_code == 303
    made = piece_of(book, 3)
    assert made.document["blank"]["size_mm"] == [60.0, 30.5]
    assert made.wood_name == "acacia"
    text = browser.get(answer.headers["location"]).text
    assert "“Cox’s tag” added" in text
    assert "my-frame.svg" in text


@pytest.mark.usefixtures("taken")
def test_the_form_is_kept_with_every_fault_and_the_names_of_its_files(browser: Browser) -> None:
    sent = {**GOOD, "name": "", "wood": "", "blank.size_mm[1]": "six", "margin": "much", "text": "kept"}
    answer = browser.post("/pieces/new", sent, files={"artwork": ("crew <b>.svg", b"<svg", "image/svg+xml")})
    assert answer.status_code == 422
    told = " ".join(wrong(answer.text))
    for part in (
        "what the piece is to be called",
        "what the blank is made of",
        "“six” is no number",
        "“much”",
        "well-formed",
    ):
        assert part in told, part
    assert 'value="six"' in answer.text
    assert 'value="30,5"' in answer.text
    assert ">kept</textarea>" in answer.text.replace("\n", "")
    assert "Choose crew &lt;b&gt;.svg again" in answer.text
    assert browser.get("/pieces/3").status_code == 404


@pytest.mark.usefixtures("taken")
def test_a_blank_of_the_shelf_fills_the_form(browser: Browser, book: Book) -> None:
    blank = {"shape": "circle", "diameter_mm": 84.0, "thickness_mm": 9.0}
    stood = put_on_shelf(book, {"name": "Beech disc", "wood_id": "beech", "left_count": 3, "blank": blank}, now=NOW)
    assert 'value="84"' in browser.get(f"/pieces/new?blank={stood.key}").text
    answer = browser.post("/pieces/new", {"name": "kept", "blank_id": str(stood.key), "take_blank": "yes"})
    assert answer.status_code == 200
    assert 'value="84"' in answer.text
    assert 'value="kept"' in answer.text
    assert browser.get("/pieces/new?blank=99").status_code == 404
    assert browser.get("/pieces/new?blank=x&batch=nonsense").status_code == 200
