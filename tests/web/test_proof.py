"""The proof on its page: works without script, tells a setting, and lets a browser keep what cannot change."""

from __future__ import annotations

import html
import io
import json
import re
from collections.abc import Iterator

import numpy as np
import pytest
from PIL import Image

from evenburn.services.book.open_book import Book, open_book_at
from evenburn.services.book.plan_piece import PiecePlanned, plan_piece
from evenburn.services.book.settings import change_settings
from evenburn.services.book.take_in import take_in_batch
from service.book.conftest import small_batch
from web.conftest import NOW, Browser


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Book]:
    """A book with a piece that is planned once for all of these tests."""
    folder = tmp_path_factory.mktemp("proof")
    opened = open_book_at(folder / "book")
    take_in_batch(opened, small_batch(folder / "own"), now=NOW)
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def planned(book: Book) -> PiecePlanned:
    return plan_piece(book, 1, now=NOW)


def _text(page: str) -> str:
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", page)).replace("\u00a0", " "))


def test_without_script_there_is_the_plans_own_proof_and_a_form(browser: Browser, planned: PiecePlanned) -> None:
    page = browser.get(f"/pieces/{planned.piece_id}/proof").text
    picture = re.search(r'<img src="([^"]+-proof\.png)" alt="Predicted look of Novice plaque', page)
    assert picture is not None
    assert browser.get(picture.group(1)).status_code == 200
    assert "<noscript>" in page
    asked = browser.get(f"/pieces/{planned.piece_id}/proof?mark=front&offset=0&spacing=0.2")
    text = _text(asked.text)
    assert "At 0.20 mm (127 LPI)" in text
    assert "banding, seen" in text
    shown = re.search(r'<figure class="asked surround"><img src="([^"]+)"', asked.text)
    assert shown is not None
    got = browser.get(html.unescape(shown.group(1)))
    assert Image.open(io.BytesIO(got.content)).size == (960, 400)


def test_the_sheet_of_the_piece_has_it(browser: Browser, planned: PiecePlanned) -> None:
    page = browser.get(f"/pieces/{planned.piece_id}").text
    assert 'id="viewer"' in page
    assert "proof.js" in page
    assert "smallest stroke kept" in page


def test_tiles_of_a_named_plan_may_be_kept_and_others_not(browser: Browser, planned: PiecePlanned) -> None:
    address = f"/pieces/{planned.piece_id}/proof/5/0/0.png"
    kept = browser.get(f"{address}?plan={planned.inputs_sha256}")
    assert kept.headers["content-type"] == "image/png"
    assert "immutable" in kept.headers["cache-control"]
    assert np.asarray(Image.open(io.BytesIO(kept.content))).shape == (512, 512, 3)
    assert browser.get(address).headers["cache-control"] == "no-store"
    other = browser.get(f"{address}?plan={'0' * 64}")
    assert other.status_code == 404
    assert "immutable" not in other.headers["cache-control"]


def test_what_a_viewer_has_to_know(browser: Browser, planned: PiecePlanned) -> None:
    look = browser.get(f"/pieces/{planned.piece_id}/proof/look.json").json()
    assert look["size_mm"] == pytest.approx([60.0, 40.0])
    assert look["plan"] == planned.inputs_sha256
    assert 10.0 < look["start_mm"][0] < 50.0
    whole = browser.get(f"/pieces/{planned.piece_id}/proof/window.png?board=1&width=300&height=300")
    assert Image.open(io.BytesIO(whole.content)).size == (300, 200)


@pytest.mark.parametrize(
    ("rest", "words"),
    [
        ("proof/99/0/0.png", "level"),
        ("proof/window.png?width=10&height=ten", "height"),
        ("proof/window.png?width=99999&height=10", "width"),
        ("proof/window.png?width=10&height=10&scale=-1", "scale"),
        ("proof/window.png?width=10&height=10&offset=far", "offset"),
        ("proof/5/0/0.png?spacing=7", "spacing"),
        ("proof?mark=nobody", "mark"),
        ("proof?of=nobody", "of"),
        ("customer?of=nobody", "none of this piece"),
    ],
)
def test_a_wrong_address_is_answered_in_words(browser: Browser, planned: PiecePlanned, rest: str, words: str) -> None:
    answer = browser.get(f"/pieces/{planned.piece_id}/{rest}")
    assert answer.status_code in {404, 422}
    assert words in _text(answer.text)
    assert "Traceback" not in answer.text


def test_off_focus_alone_it_says_what_a_wrong_stand_off_does(browser: Browser, planned: PiecePlanned) -> None:
    mark = planned.document()["pieces"][0]["marks"][0]
    far = mark["recipe"]["focus_offset_mm"] + 1.5
    text = _text(browser.get(f"/pieces/{planned.piece_id}/proof/told?mark=front&offset={far}").text)
    assert "stand-off set 1.5 mm too far and nothing else changed" in text


def test_figures_follow_the_unit_that_is_preferred(browser: Browser, planned: PiecePlanned, book: Book) -> None:
    change_settings(book, {"units": "inch"})
    page = browser.get(f"/pieces/{planned.piece_id}/proof").text
    assert 'data-unit="in"' in page
    assert re.search(r"0\.\d{4} in", _text(page))
    sheet = browser.get(f"/pieces/{planned.piece_id}/customer").text
    change_settings(book, {"units": "mm"})
    assert "2.36 × 1.57 × 0.47 in" in html.unescape(sheet).replace("\u00a0", " ")


def test_the_sheet_for_the_customer_is_shown_and_saved(browser: Browser, planned: PiecePlanned) -> None:
    page = browser.get(f"/pieces/{planned.piece_id}/customer").text
    for address, kind in re.findall(r'href="([^"]+customer\.(pdf|png)[^"]*)"', page):
        got = browser.get(html.unescape(address))
        assert got.status_code == 200
        assert f"plaque-to-agree.{kind}" in got.headers["content-disposition"]
    assert "mm/s" not in _text(page)


def test_a_setting_is_told_and_taken(browser: Browser, planned: PiecePlanned, book: Book) -> None:
    page = browser.get(
        f"/pieces/{planned.piece_id}/proof/told?plan={planned.inputs_sha256}&mark=front&spacing=0.15"
    ).text
    assert "so that the tone holds" in _text(page)
    changes = re.search(r"name=\"changes\" value='([^']+)'", page)
    version = re.search(r'name="version" value="(\d+)"', page)
    assert changes is not None
    assert version is not None
    sent = html.unescape(changes.group(1))
    assert json.loads(sent) == {"mark[1].hold.line_spacing_mm": 0.15}
    answer = browser.post(
        f"/pieces/{planned.piece_id}/take", {"changes": sent, "version": version.group(1), "text": "setting taken"}
    )
    assert answer.status_code == 303
    again = plan_piece(book, planned.piece_id, now=NOW).document()["pieces"][0]["marks"][0]
    assert again["recipe"]["line_spacing_mm"] == 0.15
