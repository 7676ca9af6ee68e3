"""The pages of woods: list, a wood, the forms, and a curve beside another."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from evenburn.services.book.open_book import Book
from evenburn.services.book.take_in import take_in_batch
from evenburn.services.book.woods_of import list_woods, wood_of
from service.book.conftest import small_batch
from web.conftest import NOW, Browser


@pytest.fixture
def stocked(book: Book, tmp_path: Path) -> Book:
    take_in_batch(book, small_batch(tmp_path / "own"), now=NOW)
    return book


def test_an_empty_list_says_what_to_do(browser: Browser) -> None:
    text = browser.get("/woods").text
    assert "No wood yet." in text
    assert 'href="/woods/new"' in text


@pytest.mark.usefixtures("stocked")
def test_the_list_leads_to_each_wood_and_finds_one(browser: Browser) -> None:
    text = browser.get("/woods").text
    assert 'href="/woods/beech"' in text
    assert "starting value" in text
    assert "1.20\u00a0J/mm²" in text.replace("&nbsp;", "\u00a0")
    found = browser.get("/woods?search=maple").text
    assert 'href="/woods/club-maple"' in found
    assert 'href="/woods/beech"' not in found
    assert "Nothing goes by “ebony”" in browser.get("/woods?search=ebony").text
    assert browser.get("/woods?page=x").status_code == 422


@pytest.mark.usefixtures("stocked")
def test_a_wood_shows_its_curve_shades_and_what_it_rests_on(browser: Browser) -> None:
    answer = browser.get("/woods/club-maple")
    text = answer.text.replace("&nbsp;", "\u00a0")
    assert answer.status_code == 200
    for said in (
        "Characteristic curve",
        "told apart on this lot",
        "char limit",
        "No card yet for this lot.",
        "works with it",
    ):
        assert said in text
    assert "wished L*\u00a040 needs" in text
    assert 'href="/woods/club-maple/cards/new"' in text
    assert " style=" not in text  # the policy forbids it
    assert browser.get("/woods/no-such-wood").status_code == 404


@pytest.mark.usefixtures("stocked")
def test_the_exposure_of_a_wished_tone_is_drawn_or_told_to_be_out_of_reach(browser: Browser) -> None:
    assert "wished L*\u00a055 needs" in browser.get("/woods/beech?tone=55").text
    for tone, said in (("99", "Is 99; this wood takes"), ("dark", "“dark” is no number")):
        answer = browser.get(f"/woods/beech?tone={tone}")
        assert answer.status_code == 422
        assert said in answer.text
        assert f'value="{tone}"' in answer.text  # the entry is kept


@pytest.mark.usefixtures("stocked")
def test_pictures_of_a_wood_come_as_pictures(browser: Browser) -> None:
    for name in ("shades", "evenness"):
        answer = browser.get(f"/woods/beech/{name}.jpg")
        assert (answer.headers["content-type"], answer.content[:2]) == ("image/jpeg", b"\xff\xd8")
    assert browser.get("/woods/beech/other.jpg").status_code == 404


def test_a_wood_is_put_in_with_undo(browser: Browser, book: Book) -> None:
    assert "must not be burnt" not in browser.get("/woods/new").text.split("<details>")[0]
    answer = browser.post("/woods/new", {"called": "Oak, lot O-1", "of": "ship:oak", "begins": "same", "surface": ""})
    assert answer.status_code == 303
    text = browser.get(answer.headers["location"]).text
    assert "Oak, lot O-1 put in." in text
    assert "Undo" in text
    assert [line.wood_id for line in list_woods(book).rows] == ["oak-lot-o-1"]


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        ({"called": "PVC sheet", "of": "ship:oak"}, "must not be burnt"),
        ({"called": "MDF", "of": "ship:oak"}, "is doubtful"),
        ({"called": "MDF", "of": "ship:oak", "confirmed_by": "R. Moorhen"}, "Tick this, or leave the name out"),
        ({"called": "MDF", "of": "ship:oak", "confirmed": "yes"}, "Is empty; write who made sure of it"),
        ({"called": "", "of": "ship:oak"}, "Is empty; say what the boards are called"),
        ({"called": "Oak", "of": ""}, "Choose what it begins with"),
        ({"called": "Oak", "of": "ship:ebony"}, "no wood that ships"),
        ({"called": "Oak", "of": "lot:ebony"}, "not in the book"),
        ({"called": "Board from the shed", "of": "ship:hard-maple"}, "Choose one; where you do not know"),
        ({"called": "Oak", "of": "ship:oak", "cut_J_per_mm3": "much"}, "“much” is no number"),
        ({"called": "Oak", "of": "ship:oak", "surface": "wet"}, "&#34;wet&#34;"),
    ],
)
def test_what_is_wrong_with_a_new_wood_stands_at_its_field_and_the_form_is_kept(
    browser: Browser, book: Book, sent: dict[str, str], said: str
) -> None:
    answer = browser.post("/woods/new", sent)
    assert answer.status_code == 422
    assert said in answer.text
    assert "wrong-here" in answer.text
    assert f'value="{sent["called"]}"' in answer.text
    assert list_woods(book).count == 0


def test_a_doubtful_material_is_put_in_by_name_and_tick(browser: Browser) -> None:
    sent = {
        "called": "MDF",
        "of": "ship:birch-plywood",
        "begins": "same",
        "confirmed_by": "R. Moorhen",
        "confirmed": "yes",
    }
    answer = browser.post("/woods/new", sent)
    assert answer.status_code == 303
    assert "MDF put in; R. Moorhen confirms that it may be burnt." in browser.get(answer.headers["location"]).text
    form = browser.get("/woods/mdf/change").text
    assert 'value="R. Moorhen"' in form
    assert 'name="confirmed" value="yes" checked' not in form  # a tick is of what stands beside it when it is made


def test_a_confirmation_stays_goes_to_no_other_board_and_is_withdrawn(browser: Browser, book: Book) -> None:
    sent = {
        "called": "MDF",
        "of": "ship:birch-plywood",
        "begins": "same",
        "confirmed_by": "R. Moorhen",
        "confirmed": "yes",
    }
    browser.post("/woods/new", sent)
    form = {"called": "MDF", "name": "birch plywood", "surface": "bare", "confirmed_by": "R. Moorhen"}

    def post(version: int, **more: str) -> Any:
        return browser.post("/woods/mdf/change", {**form, "version": str(version), **more})

    assert post(1, cut_J_per_mm3="20").status_code == 303
    assert wood_of(book, "mdf").confirmed_by == "R. Moorhen"

    other = post(2, called="MDF from the skip")
    assert other.status_code == 422
    assert "R. Moorhen made sure of “MDF”; tick this if also of what it is now" in other.text

    assert post(2, called="MDF from the skip", confirmed="yes").status_code == 303
    emptied = post(3, called="MDF from the skip", confirmed_by="")
    assert emptied.status_code == 303
    assert wood_of(book, "mdf").confirmed_by is None
    assert "nobody confirms it any more, and it gets no program" in browser.get(emptied.headers["location"]).text


def test_a_wood_is_changed_and_a_later_save_of_an_older_one_is_told(browser: Browser, stocked: Book) -> None:
    assert 'value="beech"' in browser.get("/woods/beech/change").text
    form = {"called": "Beech, lot B", "name": "beech", "surface": "sanded", "version": "1"}
    assert browser.post("/woods/beech/change", form).status_code == 303
    assert wood_of(stocked, "beech").surface == "sanded"
    again = browser.post("/woods/beech/change", {**form, "surface": "oiled"})
    assert again.status_code == 409
    assert "This wood was changed in another window" in again.text
    assert '<option value="oiled" selected>' in again.text
    assert 'name="version" value="2"' in again.text
    assert wood_of(stocked, "beech").surface == "sanded"
    wrong = browser.post("/woods/beech/change", {**form, "name": "ebony", "version": "2"})
    assert wrong.status_code == 422
    assert "does not ship" in wrong.text


def test_a_wood_that_pieces_are_of_is_not_taken_out(browser: Browser, stocked: Book) -> None:
    answer = browser.post("/woods/beech/remove", {"version": "1"})
    assert answer.status_code == 422
    assert "1 piece is of beech" in answer.text
    assert list_woods(stocked).count == 2
    assert browser.get("/woods/beech/remove").status_code == 200  # an address that only takes forms leads to the wood


def test_another_curve_is_looked_at_and_taken(browser: Browser, stocked: Book) -> None:
    page = wood_of(stocked, "club-maple")
    assert f"/woods/club-maple/curves/{page.curve_id}" in browser.get("/woods/club-maple/curves/newest").url.path
    assert "The curve of hard maple" in browser.get(f"/woods/club-maple/curves/{page.curve_id}").text
    same = browser.post("/woods/club-maple/curves", {"curve_id": str(page.curve_id), "version": "1"})
    assert same.status_code == 422
    assert same.url.path == "/woods/club-maple/curves"
    assert "works with this curve already; nothing had to be changed" in same.text
    assert "<h1>" in same.text
    assert "That does not hold yet" not in same.text
    stale = browser.post("/woods/club-maple/curves", {"curve_id": "", "version": "7"})
    assert stale.status_code == 409
    assert 'href="/woods/club-maple">Back to the wood</a>' in stale.text
    answer = browser.post("/woods/club-maple/curves", {"curve_id": "", "version": "1"})
    assert answer.status_code == 303
    assert wood_of(stocked, "club-maple").kind == "starting value"
    beside = browser.get(f"/woods/club-maple/curves/{page.curve_id}").text
    assert "Before and after" in beside
    assert "Work with this curve" in beside
    for strange in ("x", "999"):
        assert browser.get(f"/woods/club-maple/curves/{strange}").status_code == 404
    assert browser.get("/woods/beech/curves/newest").status_code == 404
    none = browser.post("/woods/club-maple/fit", {})
    assert none.status_code == 422


def test_what_a_new_wood_is_has_to_be_said_and_is_taken_for_nothing(browser: Browser, stocked: Book) -> None:
    text = browser.get("/woods/new").text
    assert " checked" not in text
    assert '<option value="">choose</option>' in text
    lot = browser.get("/woods/new?lot=beech").text
    assert 'value="lot:beech" selected' in lot
    answer = browser.post("/woods/new", {"called": "Board from the shed", "of": "ship:hard-maple", "confirmed": "yes"})
    assert 'aria-describedby="w-begins"' in answer.text
    assert "Is empty; write who made sure of it" in answer.text  # with all the rest
    assert "board-from-the-shed" not in [line.wood_id for line in list_woods(stocked).rows]


def test_a_lot_sent_twice_is_put_in_once_and_the_form_is_kept(browser: Browser, book: Book) -> None:
    sent = {"called": "Oak, lot O-1", "of": "ship:oak", "begins": "same", "surface": "oiled", "cut_J_per_mm3": "20"}
    assert browser.post("/woods/new", sent).status_code == 303
    answer = browser.post("/woods/new", {**sent, "called": "oak,  Lot O-1"})
    assert answer.status_code == 422
    assert "“oak, Lot O-1” is in the book already; call this one otherwise" in answer.text
    for kept in ('value="ship:oak" selected', 'value="same" checked', 'value="oiled" selected', 'value="20"'):
        assert kept in answer.text
    assert list_woods(book).count == 1
    browser.post("/woods/new", {"called": "Oak, lot O-2", "of": "ship:oak", "begins": "same"})
    change = {"called": "Oak, lot O-1", "name": "oak", "surface": "bare", "version": "1"}
    renamed = browser.post("/woods/oak-lot-o-2/change", change)
    assert renamed.status_code == 422
    assert "is in the book already" in renamed.text
    assert browser.post("/woods/oak-lot-o-2/change", {**change, "called": "Oak, Lot O-2"}).status_code == 303
