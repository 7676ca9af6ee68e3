"""What to mind stands where it is decided, in the words of docs/safety.md, and no text of it twice on a page."""

from __future__ import annotations

import html
import re
from time import sleep

import pytest
import sqlalchemy as sa

from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.tables import wood
from evenburn.core.nouns.cautions import CAUTIONS, Decision, cautions_for
from evenburn.services.book.machine_cards import make_machine_card
from evenburn.web.pages.piece import _minded
from web.conftest import NOW, Browser, browser_on


@pytest.fixture
def browser(planned: Book) -> Browser:
    return browser_on(planned)


def _words(browser: Browser, address: str) -> str:
    answer = browser.get(address)
    assert answer.status_code == 200, address
    return " ".join(html.unescape(re.sub(r"<[^>]+>", "", answer.text)).split())


def _expected(*decisions: Decision) -> set[str]:
    return {one.key for decision in decisions for one in cautions_for(decision=decision)}


def _said(words: str) -> dict[str, int]:
    return {one.key: words.count(_lead(one.text)) for one in CAUTIONS}


def _lead(text: str) -> str:
    return " ".join(text.partition("{")[0].split())  # the wavelength stands in words or as a number


@pytest.mark.parametrize(
    ("address", "decisions"),
    [
        ("/woods/new", ("wood",)),
        ("/pieces/new", ("wood", "cut")),
        ("/woods/club-maple/change", ("wood",)),
        ("/woods/club-maple/cards/new", ("card",)),
        ("/pieces/1", ("plan", "burn", "trace", "finish")),
        ("/pieces/1/step?name=burnt", ("burn",)),
        ("/pieces/1/step?name=washed", ("finish",)),
        ("/pieces/1/step?name=sealed", ("finish",)),
        ("/pieces/1/step?name=handed over", ("hand over",)),
        ("/pieces/1/customer", ("hand over",)),
        ("/machine", ("machine",)),
    ],
)
def test_each_decision_shows_its_own_once(browser: Browser, address: str, decisions: tuple[Decision, ...]) -> None:
    words = _words(browser, address)

    for key, times in _said(words).items():
        assert times == (key in _expected(*decisions)), key


def test_the_stopwatch_says_what_holds_for_timing_and_for_its_card_once(browser: Browser, planned: Book) -> None:
    with planned.reading() as connection:
        wood_id = connection.execute(sa.select(wood.c.id)).scalars().first()
    machine_id = re.search(r"/machine/([a-z0-9-]+)/change", browser.get("/machine").text)
    assert machine_id is not None
    assert wood_id is not None
    card_id = make_machine_card(
        planned, machine_id[1], "motion", wood_id=wood_id, lens_name="2 inch", page="A4", now=NOW
    )
    said = _said(_words(browser, f"/machine-cards/{card_id}"))

    assert {key for key, times in said.items() if times} == _expected("card", "stopwatch")
    assert max(said.values()) == 1


@pytest.mark.parametrize("kind", ["motion", "beam"])
def test_where_a_card_for_the_machine_is_made_it_says_so_too(browser: Browser, kind: str) -> None:
    machine_id = re.search(r"/machine/([a-z0-9-]+)/change", browser.get("/machine").text)
    assert machine_id is not None
    said = _said(_words(browser, f"/machine/{machine_id[1]}/measure/{kind}"))

    assert {key for key, times in said.items() if times} == _expected("card")


def test_where_the_programs_of_a_day_are_handed_over_it_says_what_to_mind(browser: Browser) -> None:
    answers = {what: browser.post(f"/batches/two-for-the-regatta/{what}") for what in ("programs", "print")}
    said = {}
    for what, answer in answers.items():
        for _ in range(600):
            if re.search(r"/(programs\.zip|run-sheet\.pdf)\"", browser.get(answer.headers["location"]).text):
                break
            sleep(0.1)
        said[what] = _said(_words(browser, answer.headers["location"]))

    assert said["programs"] == {one.key: int("burn" in one.at) for one in CAUTIONS}
    assert set(said["print"].values()) == {0}


def test_a_piece_that_is_cut_says_so_beside_its_checks() -> None:
    lens = {"name": "2 inch", "wavelength_um": 10.6}
    engraved, cut = (
        _minded({"lens": lens, "pieces": [{"marks": [{"treatment": "solid"}, {"treatment": last}]}]}, ())
        for last in ("line", "cut")
    )

    assert (engraved.cuts, cut.cuts) == (False, True)
    assert {one.key for one in cut.plan} == _expected("plan", "cut")
    assert len(cut.plan) == len({one.key for one in cut.plan})
    assert "fire-watch" not in {one.key for one in engraved.plan}
    assert any("10.6\u00a0µm" in one.text for one in cut.burn)


def test_the_customer_s_own_sheet_says_nothing_of_the_bench(browser: Browser) -> None:
    answer = browser.get("/pieces/1/customer")

    assert answer.text.index("Before you hand it over") < answer.text.index("to-sign")
