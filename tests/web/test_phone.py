"""The page that lets a phone in, and the tray."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator

import pytest
from PIL import Image
from starlette.testclient import TestClient

from evenburn.services.book.aims import Aim
from evenburn.services.book.deliver import begin_delivery, deliver_photograph, tray_of
from evenburn.services.book.open_book import Book
from evenburn.web.phone_serving import VARIABLE
from web.conftest import NOW, Browser


@pytest.fixture(autouse=True)
def at_home(monkeypatch: pytest.MonkeyPatch, browser: Browser) -> Iterator[None]:
    monkeypatch.setenv(VARIABLE, "127.0.0.1")
    yield
    browser.client.app.state.door.close()  # type: ignore[attr-defined]


def sent_one(book: Book, name: str = "IMG_7.jpg") -> int:
    stage = io.BytesIO()
    Image.linear_gradient("L").resize((160, 120)).convert("RGB").save(stage, "JPEG")
    begun = begin_delivery(book, Aim(), now=NOW)
    return deliver_photograph(book, begun.token, data=stage.getvalue(), name=name, now=NOW).id


def test_switched_on_it_shows_the_code_and_the_address_in_words(browser: Browser) -> None:
    assert "Switch on for 10 minutes" in browser.get("/phone").text
    answer = browser.post("/phone/on", {"aim": "tray"})
    assert (answer.status_code, answer.headers["location"]) == (303, "/phone")
    page = browser.get("/phone").text
    found = re.search(r"http://127\.0\.0\.1:\d+/d/[A-Za-z0-9_-]{22}", page)
    assert found is not None
    assert '<path class="qrline"' in page
    assert "style=" not in page
    assert "10\u00a0min 00\u00a0s" in page
    assert "Nothing yet" in browser.get("/phone/part").text


def test_switched_off_it_has_the_page_loaded_anew(browser: Browser) -> None:
    browser.post("/phone/on", {"aim": "tray"})
    browser.post("/phone/off")
    assert browser.get("/phone/part").headers["hx-redirect"] == "/phone"
    page = browser.get("/phone").text
    assert "Switch on for 10 minutes" in page
    assert "It is switched off now" in page


def test_without_a_network_it_is_said_where_it_was_asked(browser: Browser, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(VARIABLE, "8.8.8.8")
    answer = browser.post("/phone/on", {"aim": "tray"})
    assert answer.status_code == 422
    assert "in no local network" in answer.text
    assert "Switch on for 10 minutes" in answer.text


def test_what_arrives_stands_there(browser: Browser) -> None:
    browser.post("/phone/on", {"aim": "tray"})
    door = browser.client.app.state.door  # type: ignore[attr-defined]
    opened = door.standing()
    stage = io.BytesIO()
    Image.new("RGB", (200, 200), (90, 60, 30)).save(stage, "PNG")
    deliver_photograph(door._book, opened.begun.token, data=stage.getvalue(), name="card.png", now=NOW)
    part = browser.get("/phone/part").text
    assert "one photograph" in part
    assert "card.png" in part


def test_the_tray_is_emptied(browser: Browser, book: Book) -> None:
    one = sent_one(book)
    assert f'name="photograph-{one}"' in browser.get("/phone").text
    nothing = browser.post("/phone/tray", {"aim": "tray", "drop": "1"})
    assert nothing.status_code == 422
    assert "no photograph is chosen" in nothing.text
    stays = browser.post("/phone/tray", {"aim": "tray", f"photograph-{one}": "1"})
    assert stays.status_code == 422
    assert browser.post("/phone/tray", {"aim": "tray", "drop": "1", f"photograph-{one}": "1"}).status_code == 303
    assert tray_of(book) == ()


def test_a_photograph_is_shown_small_and_drawn_anew(browser: Browser, book: Book) -> None:
    answer = browser.get(f"/photographs/{sent_one(book)}/small.jpg")
    assert answer.headers["content-type"] == "image/jpeg"
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert browser.get("/photographs/999/small.jpg").status_code == 404


def test_the_book_itself_has_no_door(browser: Browser) -> None:
    client = browser.client
    assert isinstance(client, TestClient)
    assert browser.get("/d/" + "A" * 22).status_code == 404


@pytest.mark.parametrize("wrong", ["card-99", "piece-1", "nonsense", "artwork-0"])
def test_an_aim_that_is_not_in_the_book_is_told(browser: Browser, wrong: str) -> None:
    assert browser.post("/phone/on", {"aim": wrong}).status_code == 404
    assert browser.get("/phone?piece=99").status_code == 200
