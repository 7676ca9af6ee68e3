"""The shelf's pages: teach when empty, errors at fields, blanks put there, changed, photographed, taken off."""

from __future__ import annotations

from pathlib import Path

import pytest

from evenburn.services.book.edit_piece import copy_piece
from evenburn.services.book.open_book import Book
from evenburn.services.book.piece_of import piece_of
from evenburn.services.book.shelf import blank_of, list_shelf, put_on_shelf
from evenburn.services.book.take_in import take_in_batch
from evenburn.services.book.today import today
from service.book.conftest import small_batch
from service.book.test_shelf import picture
from web.conftest import NOW, Browser
from web.test_machine import form_of

PLAQUE = {
    "name": "Plaque, A5",
    "wood_id": "club-maple",
    "left_count": "17",
    "shape": "rounded",
    "width_mm": "200",
    "height_mm": "150",
    "radius_mm": "5",
    "thickness_mm": "12,1",
    "price": "4.80",
    "currency": "€",
    "bought_at": "2026-05-28",
    "from": "Osier Lock sawmill",
}


@pytest.fixture(autouse=True)
def _taken(book: Book, tmp_path: Path) -> None:
    take_in_batch(book, small_batch(tmp_path / "own"), now=NOW)


def test_an_empty_shelf_says_what_to_do(browser: Browser) -> None:
    text = browser.get("/shelf").text
    assert "Nothing on the shelf yet" in text
    assert "Put blanks on the shelf" in text


def test_blanks_are_put_there_and_a_piece_can_start_from_them(browser: Browser, book: Book) -> None:
    answer = browser.post("/shelf/new", PLAQUE, follow_redirects=True)
    assert answer.status_code == 200
    assert "put on the shelf" in answer.text
    line = list_shelf(book).lines[0]
    assert line.document == {
        "shape": "rounded",
        "size_mm": [200.0, 150.0],
        "radius_mm": 5.0,
        "thickness_mm": 12.1,
    }
    assert f'href="/pieces/new?blank={line.blank_id}"' in answer.text
    assert "200\u00a0×\u00a0150\u00a0×\u00a012.1\u00a0mm" in answer.text
    assert "4.80\u00a0€" in answer.text


def test_errors_stand_at_their_fields_and_the_form_is_kept(browser: Browser, book: Book) -> None:
    wrong = {**PLAQUE, "left_count": "many", "thickness_mm": "", "width_mm": "wide", "bought_at": "yesterday"}
    answer = browser.post("/shelf/new", wrong)
    assert answer.status_code == 422
    for name in ("left_count", "thickness_mm", "width_mm"):
        assert f'id="w-{name}"' in answer.text
    assert 'value="wide"' in answer.text
    answer = browser.post("/shelf/new", {**PLAQUE, "thickness_mm": "-3", "wood_id": "ebony", "bought_at": "yesterday"})
    for name in ("thickness_mm", "wood_id", "bought_at"):
        assert f'id="w-{name}"' in answer.text
    assert list_shelf(book).count == 0


def test_a_blank_is_changed_and_the_later_window_told(browser: Browser, book: Book) -> None:
    browser.post("/shelf/new", PLAQUE)
    blank_id = list_shelf(book).lines[0].blank_id
    form = {k: v for k, v in form_of(browser.get(f"/shelf/{blank_id}").text).items() if k != "no_photo"}
    assert browser.post(f"/shelf/{blank_id}", {**form, "left_count": "16"}).status_code == 303
    line = blank_of(book, blank_id)
    assert (line.left, line.put) == (16, 17)
    assert line.document["thickness_mm"] == pytest.approx(12.1)
    late = browser.post(f"/shelf/{blank_id}", {**form, "left_count": "3"})
    assert late.status_code == 409
    assert "This blank was changed in another window" in late.text
    assert (form_of(late.text)["left_count"], form_of(late.text)["version"]) == ("3", "2")
    assert blank_of(book, blank_id).left == 16
    gone = browser.post(f"/shelf/{blank_id}/take", {"version": "2"}, follow_redirects=True)
    assert "taken off the shelf" in gone.text
    assert browser.get(f"/shelf/{blank_id}").status_code == 404


def test_a_photograph_is_shown_and_what_is_none_is_told(browser: Browser, book: Book) -> None:
    answer = browser.post("/shelf/new", PLAQUE, files={"photo": ("../../IMG_1.jpg", picture(), "image/jpeg")})
    assert answer.status_code == 303
    blank_id = list_shelf(book).lines[0].blank_id
    shown = browser.get(f"/shelf/{blank_id}/photo.jpg")
    assert shown.headers["content-type"] == "image/jpeg"
    assert shown.content[:2] == b"\xff\xd8"
    answer = browser.post("/shelf/new", PLAQUE, files={"photo": ("x.jpg", b"<svg onload=alert(1)>", "image/jpeg")})
    assert answer.status_code == 422
    assert 'id="w-photo"' in answer.text


def test_the_search_keeps_what_was_asked(browser: Browser) -> None:
    browser.post("/shelf/new", PLAQUE)
    assert "Plaque, A5" in browser.get("/shelf?search=plaque&wood=club-maple").text
    text = browser.get("/shelf?search=coaster").text
    assert "Nothing on the shelf fits that" in text
    assert 'value="coaster"' in text
    assert browser.get("/shelf?page=999999&search=%00%ff").status_code == 200


def test_the_wood_of_new_blanks_is_chosen_by_the_person(browser: Browser, book: Book) -> None:
    text = browser.get("/shelf/new").text
    assert '<option value="" selected>choose</option>' in text
    answer = browser.post("/shelf/new", {**PLAQUE, "name": "Oak discs", "wood_id": ""})
    assert answer.status_code == 422
    assert "Is missing; choose what they are of" in answer.text
    assert 'value="Oak discs"' in answer.text
    assert list_shelf(book).count == 0
    browser.post("/shelf/new", PLAQUE)
    assert "choose</option>" not in browser.get(f"/shelf/{list_shelf(book).lines[0].blank_id}").text


def test_blanks_sent_twice_are_put_there_once(browser: Browser, book: Book) -> None:
    assert browser.post("/shelf/new", PLAQUE).status_code == 303
    answer = browser.post("/shelf/new", PLAQUE)
    assert answer.status_code == 422
    assert "stands on the shelf already, just as here" in answer.text
    assert 'value="Osier Lock sawmill"' in answer.text
    assert browser.post("/shelf/new", {**PLAQUE, "price": "5.20"}).status_code == 303  # another delivery
    assert list_shelf(book).count == 2


def test_more_pieces_than_blanks_are_told_on_shelf_today_and_sheet(browser: Browser, book: Book) -> None:
    piece_id = today(book, now=NOW).rows[0].piece_id
    piece = piece_of(book, piece_id)
    stock = {"name": "Plaque, A5", "wood_id": piece.wood_id, "left_count": 3, "blank": piece.document["blank"]}
    put_on_shelf(book, stock, now=NOW)
    assert "3 there, 1 wanted" in browser.get("/shelf").text
    assert "wanted" not in browser.get("/").text
    for _ in range(4):
        copy_piece(book, piece_id, now=NOW)
    assert '<span class="check warn">warn</span> 3 there, 5 wanted' in browser.get("/shelf").text
    told = "Plaque, A5</a>: 3 there, 5 wanted by pieces that are not burnt yet"
    assert told in browser.get("/").text
    assert told in browser.get(f"/pieces/{piece_id}").text
