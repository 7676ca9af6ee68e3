"""The JSON interface: what it gives is as its own description says, errors have one shape, changes are kept and guarded."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from evenburn.services.book.logbook import burn_of
from evenburn.services.book.open_book import Book
from evenburn.services.book.shelf import put_on_shelf
from evenburn.services.book.take_in import TakenIn, take_in_batch
from service.book.conftest import small_batch
from service.book.test_logbook import burnt, document_of
from service.book.test_shelf import PLAQUE
from web.conftest import HERE, NOW, Browser

DOCS = Path(__file__).parents[2] / "docs" / "reference" / "api.md"


@pytest.fixture
def taken(book: Book, tmp_path: Path) -> TakenIn:
    return take_in_batch(book, small_batch(tmp_path / "own"), now=NOW)


@pytest.fixture
def burn_id(book: Book, taken: TakenIn) -> int:
    put_on_shelf(book, PLAQUE, now=NOW)
    return burnt(book, taken.piece_ids[0], "front")


def send(browser: Browser, address: str, body: Any, **headers: str) -> Any:
    told = {"content-type": "application/json", **headers}
    return browser.client.post(f"/api/v1{address}", content=json.dumps(body), headers=told)


def described(browser: Browser) -> dict[str, Any]:
    told: dict[str, Any] = browser.get("/api/v1/openapi.json").json()
    return told


GIVEN = {
    "/today": "/today",
    "/pieces": "/pieces?search=novice",
    "/pieces/{piece_id}": "/pieces/1",
    "/woods": "/woods",
    "/woods/{wood_id}": "/woods/club-maple",
    "/machines": "/machines",
    "/machine": "/machine",
    "/machines/{machine_id}": "/machines/boathouse-bench",
    "/shelf": "/shelf?all=true",
    "/shelf/{blank_id}": "/shelf/1",
    "/log": "/log?search=plaque&grade=none",
    "/log/{burn_id}": "/log/1",
    "/changes": "/changes?most=5",
}


def test_what_is_given_is_as_it_is_described(browser: Browser, burn_id: int) -> None:
    assert burn_id == 1
    told = described(browser)
    for path, verbs in told["paths"].items():
        if "get" not in verbs:
            continue
        answer = browser.get(f"/api/v1{GIVEN[path.removeprefix('/api/v1')]}")
        assert answer.status_code == 200, path
        schema = verbs["get"]["responses"]["200"]["content"]["application/json"]["schema"]
        jsonschema.validate(answer.json(), {**schema, "components": told["components"]})
        assert answer.json(), path
        assert str(Path.cwd()) not in answer.text, path
        assert "/book/files" not in answer.text, path


ERRORS: list[tuple[str, str, Any, int, str]] = [
    ("GET", "/nowhere", None, 404, ""),
    ("GET", "/pieces/99", None, 404, ""),
    ("GET", "/pieces/none", None, 422, "piece_id"),
    ("GET", "/log?grade=7", None, 422, "grade"),
    ("GET", "/shelf/99", None, 404, ""),
    ("GET", "/undo", None, 405, ""),
    ("POST", "/undo", {}, 422, "edit_id"),
    ("POST", "/undo", {"edit_id": 99}, 404, ""),
    ("POST", "/undo", {"edit_id": 1, "why": "so"}, 422, "why"),
    ("POST", "/log/1/grade", {"version": 1, "grade": 9}, 422, "grade"),
    ("POST", "/log/1/grade", {"version": 7, "grade": 3}, 409, ""),
    ("POST", "/pieces/1/step", {"step": "painted"}, 422, "step"),
    ("POST", "/pieces/1/change", {"version": 1, "changes": {"mark[1].tone_L": 300}}, 422, "mark[1].tone_L"),
]


def test_every_error_has_the_one_shape(browser: Browser, burn_id: int) -> None:
    assert burn_id == 1
    components = described(browser)["components"]
    shape = {**components["schemas"]["ErrorAnswer"], "components": components}
    for method, address, body, status, field in ERRORS:
        answer = browser.get(f"/api/v1{address}") if method == "GET" else send(browser, address, body)
        told = answer.json()
        assert answer.status_code == told["status"] == status, address
        assert set(told) == {"ok", "error", "errors", "hint", "status"}, address
        assert told["ok"] is False
        assert told["error"], address
        assert field in [one["field"] for one in told["errors"]], address
        jsonschema.validate(told, shape)


def test_a_change_is_kept_told_with_its_number_and_taken_back(
    browser: Browser, book: Book, taken: TakenIn, burn_id: int
) -> None:
    piece_id = taken.piece_ids[0]
    saved = send(browser, f"/pieces/{piece_id}/change", {"version": 1, "changes": {"mark[1].tone_L": 42.0}}).json()
    assert document_of(book, piece_id)["mark"][0]["tone_L"] == pytest.approx(42.0)
    assert saved["version"] == 2
    undone = send(browser, "/undo", {"edit_id": saved["edit_id"]}).json()
    assert undone == {"what": saved["what"]}
    assert document_of(book, piece_id)["mark"][0]["tone_L"] == pytest.approx(40.0)
    graded = send(browser, f"/log/{burn_id}/grade", {"version": 1, "grade": 4, "note": "even"})
    assert graded.status_code == 200
    assert burn_of(book, burn_id).grade == 4
    ticked = send(browser, f"/pieces/{piece_id}/step", {"step": "proof agreed"})
    assert ticked.status_code == 200
    steps = {s["name"]: s["state"] for s in browser.get(f"/api/v1/pieces/{piece_id}").json()["strip"]}
    assert steps["proof agreed"] == "done"


def test_a_piece_is_planned(browser: Browser, taken: TakenIn) -> None:
    answer = send(browser, f"/pieces/{taken.piece_ids[0]}/plan", {})
    assert answer.status_code == 200
    planned = answer.json()
    assert planned["summary"]["programs"] == 1
    assert "folder" not in planned
    plan = browser.get(f"/api/v1/pieces/{taken.piece_ids[0]}").json()["plan"]
    assert plan["pieces"][0]["marks"][0]["recipe"]["power_W"] > 0.0


def test_what_other_pages_could_send_changes_nothing(browser: Browser, book: Book, burn_id: int) -> None:
    body = {"version": 1, "grade": 1}
    grade = f"/api/v1/log/{burn_id}/grade"
    for kind in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data"):
        answer = browser.client.post(grade, content=json.dumps(body), headers={"content-type": kind})
        assert answer.status_code == 415, kind
        assert answer.json()["ok"] is False
    foreign = send(browser, f"/log/{burn_id}/grade", body, origin="http://evil.example")
    assert foreign.status_code == 403
    foreign = send(browser, f"/log/{burn_id}/grade", body, **{"sec-fetch-site": "cross-site"})
    assert foreign.status_code == 403
    named = send(browser, f"/log/{burn_id}/grade", body, host="evil.example")
    assert named.status_code == 403
    assert named.json()["errors"]
    assert burn_of(book, burn_id).grade is None
    ours = send(browser, f"/log/{burn_id}/grade", body, origin=f"http://{HERE}", **{"sec-fetch-site": "same-origin"})
    assert ours.status_code == 200


def test_the_page_of_documentation_names_every_address(browser: Browser) -> None:
    text = DOCS.read_text(encoding="utf-8")
    for path, verbs in described(browser)["paths"].items():
        for verb in verbs:
            assert f"`{verb.upper()} {path.removeprefix('/api/v1')}`" in text, f"{DOCS.name} does not name {path}"
