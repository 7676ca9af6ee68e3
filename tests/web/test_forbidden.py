"""A piece of what must not be burnt: no door of the book tells a recipe, a proof or a program of it, nor ticks it as burnt."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
import sqlalchemy as sa

from evenburn.adapters.storage.book.tables import wood
from evenburn.core.errors import InvalidInput
from evenburn.services.book.mark_step import mark_step
from evenburn.services.book.open_book import Book
from evenburn.services.book.plan_piece import plan_of, plan_piece
from evenburn.services.book.take_in import take_in_batch
from evenburn.services.book.today import today
from service.book.conftest import small_batch
from web.conftest import NOW, Browser, browser_on

SETTING = re.compile(r"power_W|speed_mm_per_s|line_spacing_mm|focus_offset_mm|\d(?:&nbsp;|\u00a0| )(?:W|mm/s)\b")


def settings_in(text: str) -> list[str]:
    """Return what of a setting a text tells; fields of a form that a person may fill are none."""
    told = re.sub(r"<(input|select|option|label|span class=\"allowed\")\b[^>]*>", "", text)
    told = re.sub(r'<details class="change".*?</details>', "", told, flags=re.DOTALL)
    return SETTING.findall(told)


def pvc(book: Book, folder: Path) -> int:
    """Take in and plan a batch whose first piece is of PVC; return that piece."""
    own = small_batch(folder)
    file = own / "woods" / "club-maple.toml"
    file.write_text(file.read_text().replace("hard maple", "PVC board"))
    piece_id = take_in_batch(book, own, now=NOW).piece_ids[0]
    plan_piece(book, piece_id, now=NOW)
    return piece_id


def renamed(book: Book, wood_id: str, name: str) -> None:
    """Let a wood be known as something else, as a longer list of materials would."""
    with book.writing() as connection:
        document = connection.execute(sa.select(wood.c.document).where(wood.c.id == wood_id)).scalar_one()
        connection.execute(sa.update(wood).where(wood.c.id == wood_id).values(document={**document, "name": name}))


@pytest.fixture
def piece_id(book: Book, tmp_path: Path) -> int:
    return pvc(book, tmp_path / "own")


def test_the_sheet_says_why_and_tells_no_setting(browser: Browser, piece_id: int) -> None:
    text = browser.get(f"/pieces/{piece_id}").text

    assert text.count("must not be burnt") >= 3  # at the recipe, at the machine and among the checks
    assert "hydrogen chloride" in text
    assert settings_in(text) == []
    for never in ("Recipes to choose from", 'id="viewer"', "It is burnt", "Proof agreed", "Picture for the customer"):
        assert never not in text
    assert "<img" not in text


def test_today_and_the_lists_tell_no_setting(browser: Browser, book: Book, piece_id: int) -> None:
    row = today(book, now=NOW).rows[0]

    assert row.glance is not None
    assert (row.glance.marks, row.set_ups, row.focusings) == ((), (), ())
    assert [step.state for step in row.strip if step.name == "recipe"] == ["open"]
    part = browser.get("/").text.split(f'id="piece-{piece_id}"')[1].split("</tbody>")[0]
    assert "must not be burnt" in part
    assert settings_in(part) == []
    for listed in (part, browser.get("/pieces").text):
        assert f"/pieces/{piece_id}/picture" not in listed


def test_the_interface_gives_no_setting(browser: Browser, piece_id: int) -> None:
    found = browser.get(f"/api/v1/pieces/{piece_id}").json()

    assert found["forbidden"]["code"] == "forbidden-material"
    (one,) = found["plan"]["pieces"]
    assert (one["marks"], one["set_ups"]) == ([], [])
    assert [check["code"] for check in one["checks"]] == ["forbidden-material"]
    assert "power_W" not in json.dumps(found["plan"]["pieces"])
    (row,) = [r for r in browser.get("/api/v1/today").json()["rows"] if r["piece_id"] == piece_id]
    assert "power_W" not in json.dumps(row)


@pytest.mark.parametrize(
    "door", ["proof", "proof/look.json", "proof/told", "proof/window.png?width=9&height=9", "customer"]
)
def test_there_is_no_proof_of_it_to_look_at(browser: Browser, piece_id: int, door: str) -> None:
    answer = browser.get(f"/pieces/{piece_id}/{door}")

    assert answer.status_code == 404
    assert "must not be burnt" in answer.text
    assert settings_in(answer.text) == []


def test_its_folder_holds_no_file_of_it(book: Book, piece_id: int) -> None:
    planned = plan_of(book, piece_id)

    assert planned is not None
    assert {p.name for p in planned.folder.iterdir() if p.is_file()} == {"plan.json", "run-sheet.pdf"}


def test_it_is_not_ticked_as_burnt(browser: Browser, book: Book, piece_id: int) -> None:
    asked = browser.get(f"/pieces/{piece_id}/step?name=burnt").text
    assert "must not be burnt" in asked
    assert "Tick “burnt”" not in asked
    answer = browser.client.post(
        f"/api/v1/pieces/{piece_id}/step",
        json={"step": "burnt"},
        headers={"origin": "http://127.0.0.1:8460", "sec-fetch-site": "same-origin"},
    )

    assert answer.status_code == 422
    assert "must not be burnt" in answer.json()["error"]
    assert "No setting makes this one safe" in answer.json()["hint"]
    assert next(s for s in today(book, now=NOW).rows[0].strip if s.name == "burnt").state == "open"
    mark_step(book, piece_id, "handed over", done=True, now=NOW)  # what is no burning may be ticked


def test_what_was_planned_before_anybody_knew_is_told_no_more(planned: Book) -> None:
    browser = browser_on(planned)
    before = browser.get("/pieces/1").text
    assert settings_in(before) != []  # so that the looking itself is tried

    renamed(planned, "club-maple", "PVC board")

    assert "must not be burnt" in browser.get("/pieces/1").text
    assert settings_in(browser.get("/pieces/1").text) == []
    assert "power_W" not in json.dumps(browser.get("/api/v1/pieces/1").json()["plan"]["pieces"])
    assert browser.get("/pieces/1/proof").status_code == 404
    (row,) = [r for r in browser.get("/api/v1/today").json()["rows"] if r["piece_id"] == 1]
    assert "power_W" not in json.dumps(row)
    plan = plan_of(planned, 1)
    assert plan is not None
    assert not plan.fresh


def test_boards_that_are_only_called_so_are_not_planned(planned: Book) -> None:
    with planned.writing() as connection:
        connection.execute(sa.update(wood).where(wood.c.id == "club-maple").values(name="Treated pine boards"))
    browser = browser_on(planned)

    assert "wood treated against rot must not be burnt" in browser.get("/pieces/1").text
    plan = plan_of(planned, 1)
    assert plan is not None
    assert not plan.fresh
    with pytest.raises(InvalidInput, match="must not be burnt"):
        plan_piece(planned, 1, now=NOW)
