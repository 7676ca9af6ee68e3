"""A book from elsewhere: what its rows say is never believed, and a row that is none is named instead of a traceback."""

from __future__ import annotations

from typing import Any

import pytest
import sqlalchemy as sa

from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.tables import file, machine, piece, wood
from evenburn.services.book.unsound import fault_in_book
from web.conftest import Browser, browser_on

PAGES = ("/", "/pieces", "/pieces/1", "/pieces/1/customer", "/woods", "/woods/club-maple", "/machine", "/logbook")


@pytest.fixture
def browser(planned: Book) -> Browser:
    return browser_on(planned)


def test_a_sound_book_has_no_fault(planned: Book) -> None:
    assert fault_in_book(planned) is None


@pytest.mark.parametrize("nonsense", [{}, [], [1, 2], {"name": 3}, "text"], ids=str)
@pytest.mark.parametrize("table", [piece, wood, machine], ids=lambda table: str(table.name))
def test_a_document_that_is_none_is_named(browser: Browser, planned: Book, table: sa.Table, nonsense: Any) -> None:
    with planned.writing() as connection:
        connection.execute(sa.update(table).values(document=nonsense))
    worst = 0
    for address in PAGES:
        answer = browser.get(address)
        worst = max(worst, answer.status_code)
        assert answer.status_code < 500, address
        assert "made a mistake" not in answer.text, address
        assert "Traceback" not in answer.text, address
    assert worst == 422
    fault = fault_in_book(planned)
    assert fault is not None
    assert table.name in fault.message


def test_a_stranger_s_media_type_is_not_passed_on(browser: Browser, planned: Book) -> None:
    with planned.writing() as connection:
        connection.execute(sa.update(file).values(media_type="text/html"))
    for address in ("/artwork/Crew%20%26%20Cox.svg", "/artwork/tag.svg"):
        answer = browser.get(address)
        if answer.status_code == 404:
            continue
        assert answer.headers["content-type"] == "application/octet-stream"
        assert answer.headers["content-disposition"].startswith("attachment")
        assert "sandbox" in answer.headers["content-security-policy"]
        break
    else:
        pytest.fail("no artwork was served")


def test_a_drawing_stays_a_drawing_and_is_saved(browser: Browser) -> None:
    answer = browser.get("/artwork/tag.svg")

    assert answer.headers["content-type"] == "image/svg+xml"
    assert answer.headers["content-disposition"].startswith("attachment")
