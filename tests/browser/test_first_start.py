"""A new book: from the first start to the printed run sheet of the demo, with the mouse alone."""

from __future__ import annotations

import io
from collections.abc import Iterator

import pypdf
import pytest
from playwright.sync_api import expect

from browser.ground import LONGEST_ms, Served, Tabs, served, violations

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def new_book(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with served(tmp_path_factory.mktemp("new") / "book") as server:
        yield server


def test_an_empty_book_teaches_on_every_page(new_book: Served, tabs: Tabs) -> None:
    page = tabs.open(new_book.address)
    for path in (
        "/",
        "/pieces",
        "/woods",
        "/machine",
        "/shelf",
        "/logbook",
        "/changes",
        "/phone",
        "/batches",
        "/backup",
    ):
        page.goto(new_book.address + path)
        assert violations(page) == []
        says = page.locator(".empty, .ways-in, .begin-phone, .sentence")
        assert says.count() > 0, f"{path} says nothing about what to do first"


def test_after_the_first_start_the_run_sheet_is_printed(demo: Served, tabs: Tabs) -> None:
    page = tabs.open(demo.address)  # a book that was started in the browser, see conftest.py
    rows = page.locator("table.day tbody.one")
    expect(rows).to_have_count(13)
    expect(page.get_by_text("Sedgeholm Rowing Club")).to_be_visible()
    with page.expect_event("response", lambda r: r.url.endswith("run-sheet.pdf"), timeout=LONGEST_ms) as waited:
        page.get_by_role("button", name="Print the run sheet").click()
    assert waited.value.ok
    answer = page.request.get(waited.value.url)
    assert answer.headers["content-type"] == "application/pdf"
    text = "\n".join(sheet.extract_text() for sheet in pypdf.PdfReader(io.BytesIO(answer.body())).pages)
    for name in ("Novice fours plaque", "Crew plate", "Gauge"):
        assert name.lower() in text.lower()
