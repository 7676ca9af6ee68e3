"""The other pages of the shell: the index, batches, settings, changes, what goes to the machine, and long work."""

from __future__ import annotations

import io
import time
import zipfile
from html import unescape

import pytest

from evenburn.services.book.open_book import Book
from evenburn.services.book.settings import settings_of
from evenburn.services.book.today import today
from evenburn.web import urls
from evenburn.web.work import Work
from web.conftest import NOW, Browser, browser_on


def _await(browser: Browser, address: str) -> str:
    """Follow long work to its end, and return where it leads."""
    for _ in range(600):
        answer = browser.get(f"{address}/part")
        if "hx-redirect" in answer.headers:
            return answer.headers["hx-redirect"]
        time.sleep(0.1)
    raise AssertionError("it never ended")


def test_the_index_finds_pieces(planned: Book) -> None:
    browser = browser_on(planned)
    assert "Two pieces, those of the newest batch first" in browser.get("/pieces").text
    found = browser.get("/pieces?search=MAPLE").text
    assert "One piece found of 2" in found
    assert 'value="MAPLE"' in found
    assert "Nothing goes by “<b>”" in unescape(browser.get("/pieces", params={"search": "<b>"}).text)
    wrong = browser.get("/pieces", params={"search": "x" * 200})
    assert wrong.status_code == 422
    assert 'aria-describedby="search-wrong"' in wrong.text
    assert 'aria-current="page">Pieces' in found


def test_an_empty_index_says_what_will_stand_there(browser: Browser) -> None:
    assert "No piece yet" in browser.get("/pieces").text


def test_a_batch_is_begun_and_today_shows_it(planned: Book) -> None:
    browser = browser_on(planned)
    lens = "boathouse-bench/2 inch"
    wrong = browser.post("/batches/new", {"name": "", "subtitle": "the <club>", "lens": lens})
    assert wrong.status_code == 422
    assert "Is empty" in wrong.text
    assert 'value="the &lt;club&gt;"' in wrong.text
    made = browser.post("/batches/new", {"name": "Autumn", "lens": lens})
    text = browser.get(made.headers["location"]).text
    assert "“Autumn” begun." in text
    assert "No piece yet in this batch" in text
    browser.post("/batches/choose", {"batch_id": "two-for-the-regatta"})
    assert today(planned, now=NOW).batch_id == "two-for-the-regatta"
    assert browser.post("/batches/choose", {"batch_id": "nowhere"}).status_code == 422
    assert "Show it today" in browser.get("/batches").text


def test_a_batch_without_a_machine_leads_to_one(browser: Browser) -> None:
    assert "A batch needs the machine" in browser.get("/batches/new").text
    assert browser.post("/batches/new", {"name": "x", "lens": ""}).status_code == 422


def test_settings_are_kept_whole_or_told_at_their_fields(browser: Browser, book: Book) -> None:
    entered = {"units": "inch", "starts_at": "08:15", "change_over_min": "a while", "theme": "dark"}
    wrong = browser.post("/settings", {**entered, "starts_at": "8 o’clock"})
    assert wrong.status_code == 422
    assert 'value="a while"' in wrong.text
    assert wrong.text.count('class="wrong"') == 2
    assert settings_of(book).units == "mm"
    kept = browser.post("/settings", {**entered, "change_over_min": "3,5 min"})
    text = browser.get(kept.headers["location"]).text
    assert "Kept." in text
    assert 'data-look="dark"' in text
    assert (settings_of(book).change_over_s, settings_of(book).starts_at) == (210.0, "08:15")
    assert 'value="3.5"' in text


def test_the_look_is_remembered_for_browsers_that_chose_none(browser: Browser, book: Book) -> None:
    browser.post("/look", {"look": "dark"})
    assert 'data-look="dark"' in browser_on(book).get("/settings").text


def test_changes_are_listed_with_their_undo(planned: Book) -> None:
    browser = browser_on(planned)
    assert "“Two for the regatta” taken in" in browser.get("/changes").text
    browser.post("/undo", {"edit_id": "1", "back": "/changes"})
    assert "taken back 9" in browser.get("/changes").text
    assert "Take the demo batch in" in browser.get("/").text
    assert browser.post("/undo", {"edit_id": "1"}).status_code == 404
    assert browser.post("/undo", {"edit_id": "x"}).status_code == 422
    assert browser.get("/changes?saved=4711").status_code == 200


def test_the_run_sheet_and_the_programs_go_to_the_machine(planned: Book) -> None:
    browser = browser_on(planned)
    batch = "/batches/two-for-the-regatta"
    assert browser.get(f"{batch}/run-sheet.pdf").status_code == 404
    answer = browser.post(f"{batch}/print")
    assert _await(browser, answer.headers["location"]) == answer.headers["location"]
    assert f'href="{batch}/run-sheet.pdf" data-hand-over' in browser.get(answer.headers["location"]).text
    sheet = browser.get(f"{batch}/run-sheet.pdf")
    assert sheet.headers["content-type"] == "application/pdf"
    assert sheet.headers["content-disposition"].startswith("inline")
    assert "default-src 'none'" in sheet.headers["content-security-policy"]
    assert sheet.content.startswith(b"%PDF-")
    answer = browser.post(f"{batch}/programs")
    assert "Save the programs" in browser.get(_await(browser, answer.headers["location"])).text
    programs = browser.get(f"{batch}/programs.zip")
    assert programs.headers["content-disposition"].startswith("attachment")
    names = zipfile.ZipFile(io.BytesIO(programs.content)).namelist()
    assert "plaque-front.ngc" in names
    assert "tag-name.ngc" not in names  # it has a stop


def test_where_nothing_may_be_burnt_the_work_says_so_and_leads_to_today(planned: Book) -> None:
    with planned.writing() as connection:
        connection.exec_driver_sql("UPDATE wood SET document = json_set(document, '$.name', 'faux leather (PVC)')")
    browser = browser_on(planned)
    address = browser.post("/batches/two-for-the-regatta/programs").headers["location"]
    text = browser.get(_await(browser, address)).text
    assert "There is no program to take along: every piece has a stop." in text
    assert "Save the programs" not in text
    assert "programs.zip" not in text


def test_undo_of_what_was_added_leads_to_the_list_it_stood_in(planned: Book) -> None:
    browser = browser_on(planned)
    copied = browser.post("/pieces/1/copy").headers["location"]
    piece, edit_id = copied.split("?saved=")
    undone = browser.post("/undo", {"edit_id": edit_id, "back": piece})
    listed = browser.get(undone.headers["location"])
    assert (listed.status_code, listed.url.path) == (200, "/pieces")
    assert "Taken back: “Novice plaque” copied." in listed.text
    assert browser.get(piece).status_code == 404  # whoever comes there by himself is told


def test_what_is_stale_is_planned_by_one_button(planned: Book) -> None:
    browser = browser_on(planned)
    with planned.writing() as connection:
        connection.exec_driver_sql("UPDATE plan SET inputs_sha256 = 'old' WHERE piece_id = 1")
    assert "One piece changed since it was planned" in browser.get("/").text
    answer = browser.post("/batches/two-for-the-regatta/plan", {"back": "/"})
    assert _await(browser, answer.headers["location"]) == "/"
    assert all(row.fresh for row in today(planned, now=NOW).rows)


def test_long_work_that_fails_says_why(planned: Book) -> None:
    browser = browser_on(planned)
    answer = browser.post("/batches/nowhere/print")
    address = answer.headers["location"]
    assert _await(browser, address) == address
    page = browser.get(address)
    assert page.status_code == 404
    assert "nowhere" in page.text
    assert "Back to where it was begun" in page.text
    assert browser.get(urls.work(4711)).status_code == 404


def test_work_is_stopped_between_two_steps() -> None:
    work = Work()
    seen: list[int] = []

    def count(progress: object) -> None:
        assert callable(progress)
        for step in range(1000):
            seen.append(step)
            progress("counting", step, 1000)
            time.sleep(0.01)

    job = work.begin("Counting", count, goes_to="/")
    while not seen:
        time.sleep(0.001)
    work.stop(job.id)
    for _ in range(500):
        if work.job(job.id).over():
            break
        time.sleep(0.01)
    assert work.job(job.id).state == "stopped"
    assert len(seen) < 1000


@pytest.mark.parametrize("address", ["/", "/pieces", "/settings", "/batches", "/batches/new", "/changes"])
def test_every_page_has_one_heading_a_title_and_landmarks(browser: Browser, address: str) -> None:
    text = browser.get(address).text
    assert text.count("<h1") == 1
    assert text.count("<main") == 1
    assert "<title> –" not in text
    assert 'lang="en"' in text
