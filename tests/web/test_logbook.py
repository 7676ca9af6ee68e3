"""The logbook's pages and the backup's."""

from __future__ import annotations

from pathlib import Path

import pytest

from evenburn.services.book.change_wood import NewWood, new_wood
from evenburn.services.book.logbook import burn_of
from evenburn.services.book.open_book import Book, open_book_at
from evenburn.services.book.restore_book import restore_book
from evenburn.services.book.take_in import TakenIn, take_in_batch
from service.book.conftest import small_batch
from service.book.test_logbook import burnt, document_of
from service.book.test_shelf import picture
from web.conftest import NOW, Browser


@pytest.fixture
def taken(book: Book, tmp_path: Path) -> TakenIn:
    return take_in_batch(book, small_batch(tmp_path / "own"), now=NOW)


@pytest.fixture
def burn_id(book: Book, taken: TakenIn) -> int:
    return burnt(book, taken.piece_ids[0], "front")


def test_an_empty_logbook_says_what_to_do(browser: Browser) -> None:
    text = browser.get("/logbook").text
    assert "Nothing burnt yet" in text
    assert "To today’s batch" in text


def test_a_burn_stands_with_recipe_and_promise(browser: Browser, burn_id: int) -> None:
    text = browser.get("/logbook").text
    assert "Novice plaque" in text
    assert "310\u00a0mm/s" in text
    assert "31.2\u00a0W" in text
    assert "L*\u00a038" in text
    assert f'href="/logbook/{burn_id}"' in text
    assert "No burn fits that" in browser.get("/logbook?search=gull").text
    assert browser.get("/logbook?grade=7&page=x&wood=%00").status_code == 200
    assert browser.get("/logbook/99").status_code == 404
    lines = browser.get("/logbook.csv?search=novice").text.splitlines()
    assert lines[0].startswith("burnt_at,piece,mark,wood,power_W")
    assert len(lines) == 2


def test_a_tone_on_slate_is_grey(browser: Browser, book: Book, taken: TakenIn) -> None:
    slate = new_wood(book, NewWood(called="Roof slate", begins="same", of="slate"), now=NOW)
    on_slate = burnt(book, taken.piece_ids[0], "front", wood_id=str(slate.key))
    text = browser.get("/logbook").text
    assert 'fill="#5a5a5a"' in text  # L* 38.2 as sRGB grey 90 (IEC 61966-2-1; from memory)
    assert "#7c522e" not in text  # what it is on wood
    assert 'stop-color="#777777"' in browser.get(f"/logbook/{on_slate}").text  # L* 50


def test_a_grade_is_kept_told_and_refused_at_its_field(browser: Browser, book: Book, burn_id: int) -> None:
    sheet = f"/logbook/{burn_id}"
    answer = browser.post(
        f"{sheet}/grade", {"grade": "4", "note": "soft\r\nedge", "version": "1"}, follow_redirects=True
    )
    assert "Undo" in answer.text
    assert (burn_of(book, burn_id).grade, burn_of(book, burn_id).note) == (4, "soft\nedge")
    late = browser.post(f"{sheet}/grade", {"grade": "1", "note": "", "version": "1"})
    assert late.status_code == 409
    typed = {"grade": "2", "note": "what I saw\nand typed", "version": "1"}
    late = browser.post(f"{sheet}/grade", typed)
    assert late.status_code == 409
    assert "what I saw\nand typed</textarea>" in late.text
    assert "changed in another window" in late.text
    assert "<li>Burn of “Novice plaque” graded</li>" in late.text
    assert 'name="version" value="2"' in late.text  # so that it can be kept all the same
    photo = browser.post(f"{sheet}/photographs", typed, files={"photographs": ("rower.jpg", picture())})
    assert photo.status_code == 409
    assert "what I saw\nand typed</textarea>" in photo.text
    assert "Choose rower.jpg again" in photo.text
    wrong = browser.post(f"{sheet}/grade", {"grade": "9", "note": "kept as typed", "version": "2"})
    assert wrong.status_code == 422
    assert 'id="w-grade"' in wrong.text
    assert "kept as typed" in wrong.text


def test_photographs_are_kept_and_what_is_none_is_told(browser: Browser, book: Book, burn_id: int) -> None:
    sheet = f"/logbook/{burn_id}"
    wrong = browser.post(f"{sheet}/photographs", {"version": "1"})
    assert wrong.status_code == 422
    assert 'id="w-photographs"' in wrong.text
    wrong = browser.post(f"{sheet}/photographs", {"version": "1"}, files={"photographs": ("a.jpg", b"no")})
    assert wrong.status_code == 422
    answer = browser.post(f"{sheet}/photographs", {"version": "1"}, files={"photographs": ("a.jpg", picture())})
    assert answer.status_code == 303
    number = burn_of(book, burn_id).photographs[0]
    assert f"/photographs/{number}/small.jpg" in browser.get(sheet).text


def test_a_recipe_is_put_into_a_mark_and_a_piece_made_alike(
    browser: Browser, book: Book, taken: TakenIn, burn_id: int
) -> None:
    tag = taken.piece_ids[1]
    sheet = f"/logbook/{burn_id}"
    assert f'value="{tag}/1/name"' in browser.get(sheet).text
    for wrong in ("", "x/y/z", f"{tag}/1/", f"{tag}/1/back"):
        answer = browser.post(f"{sheet}/again", {"mark": wrong})
        assert answer.status_code == 422, wrong
        assert 'id="w-mark"' in answer.text
    answer = browser.post(f"{sheet}/again", {"mark": f"{tag}/1/name"})
    assert answer.headers["location"].startswith(f"/pieces/{tag}?saved=")
    assert document_of(book, tag)["mark"][0]["hold"]["power_W"] == pytest.approx(31.2)
    answer = browser.post(f"{sheet}/alike", {})
    assert answer.status_code == 303
    made = int(answer.headers["location"].split("?")[0].rsplit("/", 1)[1])
    assert document_of(book, made)["name"] == "Novice plaque, again"


def test_the_book_is_taken_as_one_file_and_given_back_beside_itself(
    browser: Browser, book: Book, burn_id: int, tmp_path: Path
) -> None:
    assert burn_id
    assert "Nothing in the book that is open is touched" in browser.get("/backup").text
    answer = browser.get("/backup/book.zip")
    assert answer.headers["content-disposition"].endswith('filename="evenburn-book-2026-06-09.zip"')
    (tmp_path / "b.zip").write_bytes(answer.content)
    again = restore_book(tmp_path / "b.zip", tmp_path / "again")
    assert burn_of(again, burn_id) == burn_of(book, burn_id)
    again.close()
    done = browser.post("/backup/restore", files={"file": ("b.zip", answer.content)})
    place = tmp_path / "book-restored-2026-06-09"
    assert done.status_code == 200
    assert place.name in done.text
    beside = open_book_at(place)
    assert burn_of(beside, burn_id) == burn_of(book, burn_id)
    beside.close()
    for files in ({}, {"file": ("b.zip", b"no backup")}):
        wrong = browser.post("/backup/restore", files=files)
        assert wrong.status_code == 422
        assert 'id="w-file"' in wrong.text


def test_either_button_keeps_all_that_was_typed_and_chosen(browser: Browser, book: Book, burn_id: int) -> None:
    sheet = f"/logbook/{burn_id}"
    typed = {"grade": "4", "note": "even, a little pale", "version": "1"}
    wrong = browser.post(f"{sheet}/photographs", {**typed, "mat": ""}, files={"photographs": ("a.jpg", b"no")})
    assert wrong.status_code == 422
    assert "even, a little pale</textarea>" in wrong.text
    version = str(burn_of(book, burn_id).version)
    typed = {**typed, "note": "pale at the bow", "version": version}
    answer = browser.post(f"{sheet}/photographs", typed, files={"photographs": ("a.jpg", picture())})
    assert answer.status_code == 303
    kept = burn_of(book, burn_id)
    assert (kept.grade, kept.note, len(kept.photographs)) == (4, "pale at the bow", 1)
    typed = {**typed, "note": "pale at the stern", "version": str(kept.version)}
    answer = browser.post(f"{sheet}/grade", typed, files={"photographs": ("b.jpg", picture())})
    assert answer.status_code == 303
    kept = burn_of(book, burn_id)
    assert (kept.note, len(kept.photographs)) == ("pale at the stern", 2)


def test_grade_and_photographs_stand_in_one_form(browser: Browser, burn_id: int) -> None:
    text = browser.get(f"/logbook/{burn_id}").text
    form = text[text.index(f'action="/logbook/{burn_id}/grade"') :]
    form = form[: form.index("</form>")]
    for part in ('name="photographs"', 'name="mat"', 'name="note"', f'formaction="/logbook/{burn_id}/photographs"'):
        assert part in form
