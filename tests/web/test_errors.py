"""One shape for every error: on a page, as JSON, and on the terminal."""

from __future__ import annotations

import logging

import pytest
from fastapi import APIRouter, FastAPI

from evenburn.cli.faces import show_error
from evenburn.core.errors import (
    ChangedMeanwhile,
    EvenburnError,
    InvalidInput,
    NotFound,
    OutOfRange,
    ProgramNotSound,
    StorageError,
    UnreadableFile,
)
from evenburn.web.errors import told
from web.conftest import Browser

ERRORS: list[tuple[EvenburnError, int]] = [
    (InvalidInput({"tone_L": "120 is too light; allowed is 0 to 100", "name": "is empty"}, hint="Mend both."), 422),
    (OutOfRange("power_W", 70.0, low=0.0, high=50.0, unit="W", hint="Less power."), 422),
    (UnreadableFile("art.svg", "is no drawing", line=3, hint="Save it anew."), 422),
    (NotFound("there is no wood elm", hint="Woods lists them."), 404),
    (ChangedMeanwhile("piece 3 was changed in another window", hint="Look at it."), 409),
    (StorageError("the disk is full", hint="Make room, then repeat."), 503),
    (ProgramNotSound("a program did not pass", hint="Tell us."), 500),
    (EvenburnError("something else", hint="Try."), 422),
]


def raising(browser: Browser, error: Exception) -> None:
    """Let an address of the app raise an error, on a page and in the documented interface."""
    router = APIRouter()

    @router.get("/raise")
    @router.get("/api/v1/raise")
    def fail() -> None:
        raise error

    app = browser.client.app
    assert isinstance(app, FastAPI)
    app.include_router(router)


@pytest.mark.parametrize(("error", "status"), ERRORS, ids=[type(e).__name__ for e, _ in ERRORS])
def test_page_json_and_terminal_say_the_same(
    browser: Browser, capsys: pytest.CaptureFixture[str], error: EvenburnError, status: int
) -> None:
    raising(browser, error)
    page = browser.get("/raise")
    document = browser.get("/api/v1/raise").json()
    show_error(error.lines(), hint=error.hint)
    terminal = capsys.readouterr().err

    assert page.status_code == document["status"] == status
    assert set(document) == {"ok", "error", "errors", "hint", "status"}
    assert document["ok"] is False
    assert document["error"] == error.message
    for one in document["errors"]:
        assert one["text"] in terminal
        assert one["text"][1:] in page.text.replace("&#39;", "'")
    assert error.hint in terminal
    assert error.hint in page.text
    assert error.hint in document["hint"]
    assert "Traceback" not in page.text


def test_a_book_that_cannot_be_written_is_said_to_be_intact() -> None:
    assert "The book is intact." in told(StorageError("the disk is full", hint="Make room.")).hint


def test_what_nobody_foresaw_is_told_without_a_traceback_and_logged(
    browser: Browser, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    raising(browser, RuntimeError("secret inside"))
    monkeypatch.setattr(logging.getLogger("evenburn.web"), "disabled", False)  # import-linter switches loggers off
    with caplog.at_level(logging.ERROR, logger="evenburn.web"):
        page = browser.get("/raise")
    assert page.status_code == 500
    assert "the book is intact" in page.text
    assert "secret inside" not in page.text
    assert "secret inside" in caplog.text


def test_an_unknown_page_has_the_same_shape(browser: Browser) -> None:
    assert browser.get("/nowhere").status_code == 404
    assert "There is no such page" in browser.get("/nowhere").text
    assert browser.get("/api/v1/nowhere").json()["status"] == 404


@pytest.mark.parametrize("number", [2**31, 2**63, 10**30])
def test_a_number_larger_than_any_in_the_book_is_not_there(browser: Browser, number: int) -> None:
    """Databases keep whole numbers of 63 bits, or of 31; a larger one is no fault of theirs."""
    for address in ("/pieces/{}", "/shelf/{}", "/cards/{}", "/logbook/{}", "/machine-cards/{}", "/pieces/{}/proof"):
        assert browser.get(address.format(number)).status_code == 404, address
    for path, body in (
        ("undo", {"edit_id": number}),
        (f"pieces/{number}/plan", {}),
        (f"pieces/{number}/step", {"step": "burnt"}),
    ):
        answer = browser.client.post(f"/api/v1/{path}", json=body)
        assert answer.status_code in {404, 422}, (path, answer.text)


def test_what_was_typed_is_shown_as_text(browser: Browser) -> None:
    answer = browser.get("/nowhere", headers={"host": "<script>alert(1)</script>"})
    assert "<script>alert" not in answer.text
