"""A card from the form to the curve it gives, as a browser sees it."""

from __future__ import annotations

import io
import json
import re
from importlib import resources
from pathlib import Path
from time import monotonic, sleep

import httpx2 as httpx
import numpy as np
import pytest
import sqlalchemy as sa
from PIL import Image

from evenburn.adapters.storage.book.tables import card, machine
from evenburn.services.book.change_machine import change_machine
from evenburn.services.book.open_book import Book
from evenburn.services.book.take_in import take_in_batch
from evenburn.services.book.wood_cards import card_of
from evenburn.services.book.woods_of import wood_of
from service.book.conftest import small_batch
from web.conftest import NOW, Browser

DEMO = resources.files("evenburn") / "assets" / "demo" / "cards" / "hard-maple"
PATIENCE_s = 60.0


@pytest.fixture
def stocked(book: Book, tmp_path: Path) -> Book:
    take_in_batch(book, small_batch(tmp_path / "own"), now=NOW)
    return book


@pytest.fixture
def burnt(stocked: Book) -> int:
    """Return the number of a card of beech that was burnt already: the demo's."""
    document = json.loads((DEMO / "card.json").read_text())
    with stocked.writing() as connection:
        values = {"wood_id": "beech", "kind": "wood", "made_at": NOW, "document": {**document, "wood": "beech"}}
        key = connection.execute(sa.insert(card).values(**values)).inserted_primary_key
    assert key is not None
    return int(key[0])


def waited(browser: Browser, answer: httpx.Response) -> httpx.Response:
    """Return the page that a piece of work leads to, once it is over."""
    assert answer.status_code == 303, answer.text
    address = answer.headers["location"]
    assert address.startswith("/work/")
    until = monotonic() + PATIENCE_s
    while monotonic() < until:
        found = browser.get(address, follow_redirects=False)
        if found.status_code == 303:
            return browser.get(found.headers["location"])
        assert "Back to where it was begun" not in found.text, found.text
        sleep(0.1)
    raise AssertionError("the work did not end")


def noise() -> bytes:
    stage = io.BytesIO()
    pixels = np.random.default_rng(1).integers(0, 255, (480, 640, 3), dtype=np.uint8)
    Image.fromarray(pixels).save(stage, format="JPEG")
    return stage.getvalue()


def test_a_card_is_made_from_the_form_and_its_files_are_saved(browser: Browser, stocked: Book) -> None:
    form = browser.get("/woods/beech/cards/new").text
    assert "Boathouse bench" in form
    wish = {"machine": "boathouse-bench/2 inch", "form": "card", "page": "A4"}
    page = waited(browser, browser.post("/woods/beech/cards/new", wish))
    assert page.url.path == "/cards/1"
    assert page.text.index("Burn it") < page.text.index("Photograph it")  # in the order in which they are done
    for name, begins in (("card.ngc", b"("), ("mat.pdf", b"%PDF"), ("card.png", b"\x89PNG"), ("card.json", b"{")):
        answer = browser.get(f"/cards/1/files/{name}")
        assert answer.content.startswith(begins)
        assert answer.headers["content-disposition"].startswith("attachment")
    assert browser.get("/cards/1/files/other.txt").status_code == 404
    assert wood_of(stocked, "beech").cards[0].card_id == 1


def test_a_card_that_holds_no_more_says_so_instead_of_its_program(browser: Browser, stocked: Book) -> None:
    waited(
        browser,
        browser.post("/woods/beech/cards/new", {"machine": "boathouse-bench/2 inch", "form": "strip", "page": "A4"}),
    )
    assert 'href="/cards/1/files/card.ngc"' in browser.get("/cards/1").text
    change_machine(stocked, "boathouse-bench", {"power_word_max": 255.0}, version=1, now=NOW)

    text = browser.get("/cards/1").text
    assert "since it was made, the machine changed in S word" in text
    assert "/cards/1/files/card.ngc" not in text
    assert 'href="/cards/1/files/mat.pdf"' in text
    answer = browser.get("/cards/1/files/card.ngc")
    assert answer.status_code == 409
    assert "Make a further card." in answer.text


@pytest.mark.usefixtures("stocked")
def test_what_is_wrong_with_a_card_stands_at_its_field(browser: Browser) -> None:
    wish = {"machine": "boathouse-bench/2 inch", "page": "A4"}
    for sent, said in (
        ({"machine": "other/lens"}, "choose a machine"),
        ({"page": "A5"}, "Choose A4 or Letter"),
        ({"at_x": "wide"}, "is no number"),
        ({"at_x": "10"}, "write both"),
    ):
        answer = browser.post("/woods/beech/cards/new", {**wish, **sent})
        assert answer.status_code == 422
        assert said in answer.text


def test_files_that_are_no_photographs_are_told_at_the_field(browser: Browser, burnt: int) -> None:
    address = f"/cards/{burnt}/photographs"
    assert "hoose at least one photograph" in browser.post(address, {}).text
    for data, said in (
        (b"oars", "is no picture"),
        (noise()[:9000], "damaged or cut short"),
        (b"\0\0\0\x18ftypheic", "HEIC"),
    ):
        answer = browser.post(address, {}, files={"photographs": ("notes.jpg", data, "image/jpeg")})
        assert answer.status_code == 422
        assert said in answer.text
        assert 'aria-invalid="true"' in answer.text
    scale = browser.post(address, {"paper_L": "12"}, files={"photographs": ("a.jpg", noise(), "image/jpeg")})
    assert "Is 12; allowed is 70 to 100" in scale.text
    assert browser.get(address).url.path == f"/cards/{burnt}"


def test_a_refused_photograph_is_shown_with_why(browser: Browser, burnt: int) -> None:
    sent = browser.post(f"/cards/{burnt}/photographs", {}, files={"photographs": ("desk.jpg", noise(), "image/jpeg")})
    page = waited(browser, sent)
    assert "No number is told from this photograph." in page.text
    assert "desk.jpg" in page.text
    picture = browser.get(f"/cards/{burnt}/photographs/1")
    assert picture.headers["content-type"] == "image/jpeg"
    assert "sandbox" in picture.headers["content-security-policy"]


def test_from_a_photograph_to_the_curve_that_a_wood_works_with(browser: Browser, stocked: Book) -> None:
    browser.post("/woods/new", {"called": "Maple, lot 2", "of": "ship:hard-maple", "begins": "same"})
    document = json.loads((DEMO / "card.json").read_text())
    with stocked.writing() as connection:
        values = {"wood_id": "maple-lot-2", "kind": "wood", "made_at": NOW}
        connection.execute(sa.insert(card).values(**values, document={**document, "wood": "maple-lot-2"}))
    photo = (DEMO / "photo.jpg").read_bytes()
    page = waited(
        browser, browser.post("/cards/1/photographs", {}, files={"photographs": ("p.jpg", photo, "image/jpeg")})
    )
    assert "The curve it gives" in page.text
    assert "60 patches found" in page.text
    reading = card_of(stocked, 1).readings[0]
    for part in ("window", "mat"):
        assert browser.get(f"/cards/1/readings/{reading.reading_id}/{part}.jpg").content[:2] == b"\xff\xd8"
    assert browser.get(f"/cards/1/readings/{reading.reading_id}/all.jpg").status_code == 404
    own = wood_of(stocked, "maple-lot-2")
    assert own.waits is not None
    assert "See both, then choose" in browser.get("/woods/maple-lot-2").text
    taken = browser.post("/woods/maple-lot-2/curves", {"curve_id": str(own.waits.curve_id), "version": "1"})
    assert taken.status_code == 303
    shown = browser.get(taken.headers["location"]).text
    assert "Card 1 as it was read" in shown
    assert wood_of(stocked, "maple-lot-2").kind == "fitted"
    learnt = browser.get("/woods/maple-lot-2").text
    assert "<b>starting value</b>: believed of such wood, in proportion to how even this one card proved" in learnt
    assert "<b>fitted</b>: as far past the fitted middle as such wood has it" in learnt
    fitted = waited(browser, browser.post("/woods/maple-lot-2/fit", {f"reading-{reading.reading_id}": "yes"}))
    assert "Before and after" in fitted.text


@pytest.mark.usefixtures("stocked")
def test_a_card_that_is_not_there_is_told(browser: Browser) -> None:
    assert browser.get("/cards/99").status_code == 404
    assert browser.get("/woods/beech/cards/newest").url.path == "/woods/beech/cards/new"


@pytest.mark.parametrize(
    ("typed", "field", "words"),
    [
        (
            {"at_x": "550", "at_y": "50.5"},
            "at_x",
            "The card, or the run-up of its lines, would leave the bed here; allowed is",
        ),
        ({"at_x": "100", "at_y": "390.5"}, "at_y", "would leave the bed here; allowed is 0 to 340 mm"),
        ({"at_x": "-5", "at_y": "20"}, "at_x", "Is -5 mm; allowed is 0 or more"),
        ({"focus_offset_mm": "500"}, "focus_offset_mm", "Is 500; allowed is"),
    ],
)
@pytest.mark.usefixtures("stocked")
def test_a_card_that_cannot_be_is_told_at_its_field_and_the_form_is_kept(
    browser: Browser, *, typed: dict[str, str], field: str, words: str
) -> None:
    wish = {"machine": "boathouse-bench/2 inch", "form": "strip", "page": "Letter", **typed}
    answer = browser.post("/woods/beech/cards/new", {**wish, "form": "card"})
    assert answer.status_code == 422
    wrong = dict(re.findall(r'id="w-([^"]+)">(.*?)</p>', answer.text))
    assert list(wrong) == [field]
    assert words in wrong[field]
    assert "at_mm" not in answer.text
    for name, value in typed.items():
        assert re.search(rf'name="{name}" type="text" value="{re.escape(value)}"', answer.text)
    assert 'value="Letter" checked' in answer.text


@pytest.mark.usefixtures("stocked")
def test_a_card_is_not_begun_on_a_machine_whose_lines_burn(browser: Browser, book: Book) -> None:
    with book.writing() as connection:
        document = connection.execute(sa.select(machine.c.document)).scalar_one()
        lit = {**document, "post_processor": {"opening_lines": ["M3 S1000"]}}
        connection.execute(sa.update(machine).values(document=lit))
    wish = {"machine": "boathouse-bench/2 inch", "form": "card", "page": "A4"}
    answer = browser.post("/woods/beech/cards/new", wish)
    assert answer.status_code == 422
    assert "The machine’s lines before the first move: “M3 S1000”" in answer.text
    measure = browser.post("/machine/boathouse-bench/measure/motion", {"wood": "beech", "paper": "A4"})
    assert measure.status_code == 422
    assert "The machine’s lines before the first move: “M3 S1000”" in measure.text
