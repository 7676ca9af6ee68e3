"""Adding a piece: a form of few fields, kept with every fault at its field, that leads to the planned sheet."""

from __future__ import annotations

import html
import re
from pathlib import Path

import pytest
import sqlalchemy as sa

from evenburn.adapters.storage.book.tables import wood
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


OWN_LOTS = ("Walnut, lot W-1", "Birch ply 4 mm", "Hard maple, lot HM-2")


@pytest.mark.usefixtures("taken")
@pytest.mark.parametrize("called", OWN_LOTS)
def test_a_lot_of_ones_own_without_a_curve_takes_a_piece_a_mark_and_tells_what_is_done_afterwards(
    browser: Browser, book: Book, called: str
) -> None:
    of = {"W": "walnut", "B": "birch-plywood", "H": "hard-maple"}[called[0]]
    put_in = browser.post("/woods/new", {"called": called, "of": f"ship:{of}", "begins": "same"})
    wood_id = put_in.headers["location"].split("?")[0].rsplit("/", 1)[-1]
    answer = browser.post(
        "/pieces/new", {**GOOD, "wood": wood_id}, files={"artwork": ("frame.svg", SVG, "image/svg+xml")}
    )
    assert answer.status_code == 303
    sent = {"version": "1", "new.text": "Swan", "new.face": "zilla-slab"}
    assert browser.post("/pieces/3/marks/new", sent).status_code == 303
    sheet = piece_of(book, 3)
    assert (sheet.wood_name, len(sheet.document["mark"])) == (called, 2)
    assert sheet.curve.char_limit_J_per_mm2 is not None
    assert {"wash", "dry", "oil"} & {step.name for step in sheet.finishing}
    text = browser.get("/pieces/3").text
    for step in sheet.finishing:
        assert step.how in html.unescape(text)


@pytest.mark.usefixtures("taken")
def test_a_batch_that_is_gone_and_a_wood_that_does_not_hold_are_told_at_their_fields(
    browser: Browser, book: Book
) -> None:
    with book.writing() as connection:  # as an older version, or a folder, may have left it
        connection.execute(
            sa.insert(wood).values(
                id="ebony", name="Ebony", document={"name": "ebony"}, curve_id=None, version=1, changed_at=NOW
            )
        )
    sent = {**GOOD, "batch": "gone", "wood": "ebony", "text": "Swan and Heron"}
    answer = browser.post("/pieces/new", sent)
    assert answer.status_code == 422
    for name in ("batch", "wood"):
        assert re.search(rf'<p class="wrong" id="w-{name}">', answer.text), name
        assert re.search(rf'name="{name}" aria-invalid="true" aria-describedby="w-{name}"', answer.text), name
    assert ">Swan and Heron</textarea>" in answer.text.replace("\n", "")


@pytest.mark.usefixtures("taken")
def test_a_new_batch_of_a_name_that_is_there_is_asked_about(browser: Browser) -> None:
    answer = browser.post("/pieces/new", {**GOOD, "batch": "+", "batch_name": "two for the Regatta", "text": "Swan"})
    assert answer.status_code == 422
    assert "“two for the Regatta” is a batch already; choose it above" in html.unescape(answer.text)
    assert 'value="two for the Regatta"' in answer.text


@pytest.mark.usefixtures("taken")
def test_an_empty_form_says_at_the_wood_what_is_missing(browser: Browser) -> None:
    text = browser.post("/pieces/new", {"batch": "two-for-the-regatta"}).text
    assert 'name="wood" aria-invalid="true" aria-describedby="w-wood"' in text
    assert '<p class="wrong" id="w-wood">Is missing; choose what the blank is made of</p>' in text


@pytest.mark.usefixtures("taken")
def test_a_curve_is_said_to_be_fitted_only_where_it_was(browser: Browser) -> None:
    browser.post("/woods/new", {"called": "Cork", "of": "ship:hard-maple", "begins": "like"})
    text = browser.get("/pieces/new").text
    assert re.search(r">Cork</option>", text)
    assert re.search(r"club-maple\), its curve is fitted</option>", text)
