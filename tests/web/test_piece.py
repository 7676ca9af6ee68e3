"""The sheet of a piece: what it shows, what its forms do, and how it tells what does not hold."""

from __future__ import annotations

import html
import json
import re
from pathlib import Path

import pytest
import sqlalchemy as sa
from starlette.testclient import TestClient

from evenburn.adapters.storage.book.tables import artwork
from evenburn.services.book.change_machine import change_machine
from evenburn.services.book.edit_piece import change_piece
from evenburn.services.book.open_book import Book
from evenburn.services.book.piece_of import piece_of
from evenburn.services.book.plan_piece import plan_piece
from evenburn.services.book.take_in import TakenIn, take_in_batch
from evenburn.services.book.undo import last_edits
from evenburn.web import planning
from evenburn.web.guard import ARTWORK_POLICY
from evenburn.web.work import Progress
from service.book.conftest import small_batch
from web.conftest import NOW, Browser, browser_on

PLAQUE, TAG = 1, 2  # of the planned book
PARTS = ("The blank", "The marks", "The recipe", "The proof", "Checks", "At the machine", "Afterwards", "Log")


@pytest.fixture
def sheet(planned: Book) -> Browser:
    return browser_on(planned)


def wrong(text: str) -> list[str]:
    return [html.unescape(one) for one in re.findall(r'<p class="wrong"[^>]*>([^<]*)</p>', text)]


def test_one_page_from_top_to_bottom(sheet: Browser) -> None:
    text = sheet.get(f"/pieces/{PLAQUE}").text
    places = [text.index(f">{part}") for part in PARTS]
    assert places == sorted(places)
    assert "Novice plaque" in text
    assert "as planned" in text  # of the recipes to choose from
    assert 'class="stale"' not in text
    assert re.search(r"from the left</label>\s*<div class=\"entry\">\s*<input[^>]*value=\"200\"", text)
    assert "nonsense" not in text
    assert sheet.get("/pieces/99").status_code == 404


def test_a_stale_plan_gives_no_program_no_set_up_and_is_not_ticked_as_burnt(sheet: Browser, planned: Book) -> None:
    fresh = sheet.get(f"/pieces/{PLAQUE}").text
    assert f"/pieces/{PLAQUE}/files/plaque-front.ngc" in fresh
    assert "It is burnt" in fresh
    change_machine(planned, "boathouse-bench", {"bed_x_mm": 210.0}, version=1, now=NOW)

    text = sheet.get(f"/pieces/{PLAQUE}").text
    assert ".ngc" not in text
    assert "It is burnt" not in text
    assert "Gauge block" not in text
    assert text.count(">Plan it anew</button>") == 2  # above all of it, and where its programs stood
    assert "Files of the plan from before" in text
    for name in ("plaque-front.ngc", "plaque-front-trace.ngc"):
        answer = sheet.get(f"/pieces/{PLAQUE}/files/{name}")
        assert answer.status_code == 409
        assert "Plan it anew" in answer.text
    told = sheet.get(f"/pieces/{PLAQUE}/files/plaque-front.ngc", headers={"accept": "application/json"}).json()
    assert (told["ok"], told["status"]) == (False, 409)
    assert sheet.get(f"/pieces/{PLAQUE}/files/run-sheet.pdf").content.startswith(b"%PDF")


def test_nothing_on_it_runs_inline(sheet: Browser) -> None:
    text = sheet.get(f"/pieces/{TAG}").text
    assert not re.search(r"\sstyle=|\son[a-z]+=|javascript:|<script(?![^>]*src=)|<style", text)


def test_a_stop_offers_its_remedies_and_one_press_applies_it(sheet: Browser, planned: Book) -> None:
    held = {
        "mark[1].hold.speed_mm_per_s": 500.0,
        "mark[1].hold.scan_axis": "x",
    }  # its mark lies 8 mm from the bed's edge
    change_piece(planned, TAG, held, version=1, now=NOW)
    plan_piece(planned, TAG, now=NOW)
    text = sheet.get(f"/pieces/{TAG}").text
    assert "Not to be burnt so" in text
    fixes = [html.unescape(one) for one in re.findall(r'name="fix" value=\'([^\']*)\'', text)]
    move = next(one for one in fixes if "place_bed_mm" in one)
    answer = sheet.post(f"/pieces/{TAG}/fix", {"fix": move, "version": "2"})
    assert answer.status_code == 303
    assert answer.headers["location"].endswith("#checks")
    assert piece_of(planned, TAG).document["place_bed_mm"] == json.loads(move)["change"]["place_bed_mm"]
    after = sheet.get(answer.headers["location"].partition("#")[0]).text
    assert "Undo" in after
    for bad in ("{}", "[]", "no table", '{"text":"x","target":"piece","change":{"nonsense":1}}'):
        assert sheet.post(f"/pieces/{TAG}/fix", {"fix": bad, "version": "3"}).status_code == 422


def test_the_form_is_kept_with_what_is_wrong_at_its_fields(sheet: Browser, planned: Book) -> None:
    sent = {"version": "1", "mark[1].treatment": "solid", "mark[1].tone_L": "380", "mark[1].size_mm[1]": "wide"}
    answer = sheet.post(f"/pieces/{PLAQUE}/marks/1", sent)
    assert answer.status_code == 422
    assert any("380" in text for text in wrong(answer.text))
    assert any("“wide” is no number" in text for text in wrong(answer.text))
    assert 'value="wide"' in answer.text
    assert re.search(r'<details class="change" id="mark-1" open>', answer.text)
    assert piece_of(planned, PLAQUE).version == 1
    place = sheet.post(f"/pieces/{PLAQUE}/place", {"version": "1", "place_bed_mm[1]": "", "turn_deg": "900"})
    assert place.status_code == 422
    assert wrong(place.text) == ["Is missing", "Is 900; allowed is 360 or less"]
    assert "two entries do not hold yet" in place.text
    gone = sheet.post(f"/pieces/{PLAQUE}/marks/1", {"mark[1].tone_L": "30"})
    assert gone.status_code == 422  # a form without its version


BLANK = {
    "name": "Novice plaque",
    "blank.shape": "rectangle",
    "blank.size_mm[1]": "60",
    "blank.size_mm[2]": "40",
    "blank.thickness_mm": "12",
    "blank.unevenness_mm": "0.4",
    "version": "1",
}


def test_a_piece_is_given_another_wood(sheet: Browser, planned: Book) -> None:
    answer = sheet.post(f"/pieces/{PLAQUE}/blank", {**BLANK, "wood": "beech"})
    assert answer.status_code == 303
    assert piece_of(planned, PLAQUE).wood_name == "beech"


def test_a_wood_that_may_not_be_taken_is_told_at_the_wood(sheet: Browser) -> None:
    for wood, said in (("ebony", 'Is "ebony", which is not in the book'), ("", "")):
        answer = sheet.post(f"/pieces/{PLAQUE}/blank", {**BLANK, "wood": wood, "name": "Novices"})
        if not said:  # none was sent, as by a page without the list: it stays
            assert answer.status_code == 303
            continue
        assert answer.status_code == 422
        assert said in wrong(answer.text)
        assert 'name="wood" aria-invalid="true" aria-describedby="w-wood"' in answer.text
        assert 'value="Novices"' in answer.text
        assert '<option value="club-maple" selected>' in answer.text  # its own, not the first of the list


def test_what_stands_in_no_field_of_a_form_is_told_above_it(sheet: Browser, planned: Book) -> None:
    with planned.writing() as connection:  # its drawing is lost, and no field of the form for the blank can say so
        connection.execute(sa.delete(artwork).where(artwork.c.name == "crew-cox.svg"))
    answer = sheet.post(f"/pieces/{PLAQUE}/blank", {**BLANK, "wood": "club-maple", "blank.thickness_mm": "9"})
    assert answer.status_code == 422
    fault = html.unescape(answer.text.split('<div class="fault"')[1].split("</div>")[0])
    assert 'artwork "crew-cox.svg" is not in the book' in fault
    assert "Bring it back by undo" in fault


def test_the_later_of_two_windows_is_told_and_may_save_all_the_same(sheet: Browser, planned: Book) -> None:
    change_piece(planned, PLAQUE, {"turn_deg": 15.0}, version=1, now=NOW)
    sent = {"version": "1", "place_bed_mm[1]": "222.5", "place_bed_mm[2]": "150", "turn_deg": "0"}
    answer = sheet.post(f"/pieces/{PLAQUE}/place", sent)
    assert answer.status_code == 409
    assert any("changed in another window" in text for text in wrong(answer.text))
    assert "Novice plaque: turn" in answer.text  # what was done meanwhile
    assert 'value="222.5"' in answer.text
    assert 'name="version" value="2"' in answer.text
    assert piece_of(planned, PLAQUE).document["place_bed_mm"] == [200.0, 150.0]
    assert sheet.post(f"/pieces/{PLAQUE}/place", {**sent, "version": "2"}).status_code == 303
    assert piece_of(planned, PLAQUE).document["place_bed_mm"] == [222.5, 150.0]


def test_the_drawing_follows_place_and_speed(sheet: Browser) -> None:
    near = sheet.get(f"/pieces/{PLAQUE}/bed?place_bed_mm[1]=-8&speed_mm_per_s=300").text
    assert "2.0\u00a0mm of room on the left" in near
    assert "needed" in near
    assert "300\u00a0mm/s" in near
    assert "needed" not in sheet.get(f"/pieces/{PLAQUE}/bed?place_bed_mm[1]=200&speed_mm_per_s=300").text
    assert sheet.get(f"/pieces/{PLAQUE}/bed?place_bed_mm[1]=x&speed_mm_per_s=1e9&turn_deg=nan").status_code == 200
    shown = sheet.get(f"/pieces/{PLAQUE}?speed_mm_per_s=150").text  # without script the page itself does it
    assert re.search(r'class="shown"><th scope="row">150\u00a0mm/s', shown)


def test_a_recipe_is_taken_and_let_go(sheet: Browser, planned: Book) -> None:
    text = sheet.get(f"/pieces/{PLAQUE}").text
    offers = [json.loads(html.unescape(one)) for one in re.findall(r'name="changes" value=\'([^\']*)\'', text)]
    taken = next(one for one in offers if "mark[1].hold.speed_mm_per_s" in one)
    answer = sheet.post(
        f"/pieces/{PLAQUE}/take", {"changes": json.dumps(taken), "text": "“sharper” taken", "version": "1"}
    )
    assert answer.status_code == 303
    assert piece_of(planned, PLAQUE).document["mark"][0]["hold"]["scan_axis"] in {"x", "y"}
    assert last_edits(planned)[0].what == "Novice plaque: “sharper” taken"
    again = sheet.post(f"/pieces/{PLAQUE}/take", {"changes": '{"mark[1].hold": null}', "version": "2"})
    assert again.status_code == 303
    assert "hold" not in piece_of(planned, PLAQUE).document["mark"][0]


def test_files_and_artwork_are_saved_and_never_run(sheet: Browser) -> None:
    for address, start in (
        (f"/pieces/{PLAQUE}/files/plaque-front.ngc", b"("),
        (f"/pieces/{PLAQUE}/files/plaque-front.svg", b"<svg"),
        (f"/pieces/{PLAQUE}/files/run-sheet.pdf", b"%PDF"),
        ("/artwork/crew-cox.svg", b"<svg"),
    ):
        answer = sheet.get(address)
        assert answer.status_code == 200
        assert answer.content.startswith(start)
        assert answer.headers["content-disposition"].startswith("attachment")
        assert answer.headers["content-security-policy"] == ARTWORK_POLICY
        assert answer.headers["x-content-type-options"] == "nosniff"
    for address in (
        f"/pieces/{PLAQUE}/files/plan.json",
        f"/pieces/{PLAQUE}/files/..%2Fbatch",
        "/artwork/..%2Fbook.sqlite",
    ):
        assert sheet.get(address).status_code == 404


def test_a_piece_is_copied_and_taken_out(sheet: Browser) -> None:
    copied = sheet.post(f"/pieces/{PLAQUE}/copy")
    assert "Novice plaque, copy" in sheet.get(copied.headers["location"]).text
    assert sheet.post(f"/pieces/{PLAQUE}/remove", {"version": "9"}).status_code == 409
    assert sheet.post(f"/pieces/{PLAQUE}/remove", {"version": "1"}).status_code == 303
    assert sheet.get(f"/pieces/{PLAQUE}").status_code == 404


def test_a_form_without_our_token_changes_nothing(sheet: Browser, planned: Book) -> None:
    client: TestClient = sheet.client
    sheet.token()
    answer = client.post(
        f"/pieces/{PLAQUE}/place",
        data={"version": "1", "place_bed_mm[1]": "1"},
        headers={"origin": "http://127.0.0.1:8460", "sec-fetch-site": "same-origin"},
    )
    assert answer.status_code == 403
    assert piece_of(planned, PLAQUE).version == 1


def test_while_it_is_planned_the_sheet_stands_and_says_so(
    book: Book, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was never planned says so; what is being planned tells how far; a fault in it is told where it was begun."""
    taken = _taken(book, tmp_path)
    browser = browser_on(book)
    piece_id = taken.piece_ids[0]
    assert "It is not planned yet" in browser.get(f"/pieces/{piece_id}").text
    monkeypatch.setattr(planning, "SHORT_s", 0.0)

    def stuck(*_: object, progress: Progress, **__: object) -> None:
        progress("recipes, programs and proofs", 1, 3)
        raise MemoryError

    monkeypatch.setattr(planning, "plan_piece", stuck)
    assert browser.post(f"/pieces/{piece_id}/plan").status_code == 303
    text = browser.get(f"/pieces/{piece_id}").text
    assert "It could not be planned" in text
    assert "ran out of memory" in text
    assert "It could not be planned" in browser.get(f"/pieces/{piece_id}/job").text


def _taken(book: Book, tmp_path: Path) -> TakenIn:
    return take_in_batch(book, small_batch(tmp_path / "own"), now=NOW)
