"""Today as a person meets it: what stands there, what can be pressed, and what comes of it."""

from __future__ import annotations

import json
import re
from html import unescape

from evenburn.services.book.edit_piece import change_piece
from evenburn.services.book.logbook import grade_burn, search_log
from evenburn.services.book.mark_step import mark_step
from evenburn.services.book.open_book import Book
from evenburn.services.book.settings import change_settings
from evenburn.services.book.today import today
from web.conftest import NOW, Browser, browser_on


def _names(text: str) -> list[str]:
    return [unescape(name) for name in re.findall(r'class="name" href="[^"]+">([^<]+)<', text)]


def test_a_new_book_offers_the_demo_or_to_begin(browser: Browser) -> None:
    text = browser.get("/").text
    assert "Take the demo batch in" in text
    assert "Begin with your own" in text


def test_the_day_tells_times_recipes_and_checks(planned: Book) -> None:
    seen = browser_on(planned).get("/")
    assert seen.status_code == 200
    text = unescape(seen.text)
    assert "Tuesday 9\u00a0June" in text
    assert "Two for the regatta for Sedgeholm Rowing Club" in text
    assert _names(text) == ["Novice plaque", "tag"]
    (plaque, _) = today(planned, now=NOW).rows
    assert plaque.glance is not None
    assert f"{plaque.glance.marks[0].speed_mm_per_s:g}\u00a0mm/s" in text
    assert "Focus: stand-off" in text
    assert "5 of 11 done, next proof agreed" in text
    assert "60\u00a0×\u00a040\u00a0×\u00a012\u00a0mm" in text
    assert "style=" not in seen.text
    assert "onclick" not in seen.text


def test_a_stop_opens_by_itself_with_its_remedies_best_first(planned: Book) -> None:
    text = browser_on(planned).get("/").text
    row = today(planned, now=NOW).rows[1]
    assert row.glance is not None
    stop = next(check for check in row.glance.checks if check.level == "stop")
    assert stop.text in unescape(text)
    assert "one waits for you" in text
    fixes = [json.loads(unescape(value)) for value in re.findall(r'name="fix" value="([^"]+)"', text)]
    assert fixes == list(stop.fixes)
    assert len(fixes) > 1
    assert text.index('<button class="first">') < text.index("<button>", text.index('name="fix"'))
    assert f'action="/pieces/{row.piece_id}/fix"' in text
    assert f'name="version" value="{row.version}"' in text


def test_a_step_is_ticked_told_and_undone(planned: Book) -> None:
    browser = browser_on(planned)
    piece_id = today(planned, now=NOW).rows[0].piece_id
    answer = browser.post(f"/pieces/{piece_id}/step", {"step": "burnt", "back": "/"})
    assert answer.status_code == 303
    text = browser.get(answer.headers["location"]).text
    assert "Novice plaque: burnt." in text
    assert today(planned, now=NOW).rows[0].burnt
    edit_id = re.search(r'name="edit_id" value="(\d+)"', text)
    assert edit_id is not None
    undone = browser.post("/undo", {"edit_id": edit_id.group(1), "back": "/?batch=two-for-the-regatta"})
    assert undone.headers["location"].startswith("/?batch=two-for-the-regatta&undone=")
    assert "Taken back: Novice plaque: burnt." in browser.get(undone.headers["location"]).text
    assert not today(planned, now=NOW).rows[0].burnt


def test_a_ticked_step_can_be_taken_back_on_its_own_page(planned: Book) -> None:
    browser = browser_on(planned)
    piece_id = today(planned, now=NOW).rows[0].piece_id
    mark_step(planned, piece_id, "washed", done=True, now=NOW)
    address = f"/pieces/{piece_id}/step?name=washed"
    assert address.replace("&", "&amp;") in browser.get("/").text
    assert "Take “washed” back" in browser.get(address).text
    browser.post(f"/pieces/{piece_id}/step", {"step": "washed", "done": "no"})
    assert "Tick “washed”" in browser.get(address).text
    assert browser.get(f"/pieces/{piece_id}/step?name=recipe").status_code == 404


def test_pieces_are_moved_without_a_script(planned: Book) -> None:
    browser = browser_on(planned)
    first, second = (row.piece_id for row in today(planned, now=NOW).rows)
    browser.post(f"/pieces/{second}/move", {"way": "earlier", "back": "/"})
    assert _names(browser.get("/").text) == ["tag", "Novice plaque"]
    answer = browser.post(f"/pieces/{second}/move", {"before": "end", "back": "/"})
    assert re.fullmatch(rf"/\?saved=\d+#piece-{second}", answer.headers["location"])
    assert _names(browser.get("/").text) == ["Novice plaque", "tag"]
    browser.post(f"/pieces/{second}/move", {"before": str(first), "back": "/"})
    assert _names(browser.get("/").text) == ["tag", "Novice plaque"]
    assert browser.post(f"/pieces/{second}/move", {"way": "earlier"}).status_code == 422
    assert browser.post(f"/pieces/{second}/move", {"before": "x"}).status_code == 422


def test_the_start_is_set_and_a_wrong_one_is_told_at_its_field(planned: Book) -> None:
    browser = browser_on(planned)
    browser.post("/batches/two-for-the-regatta/begin", {"starts_at": "13:15"})
    assert today(planned, now=NOW).starts_at == "2026-06-09T13:15"
    wrong = browser.post("/batches/two-for-the-regatta/begin", {"starts_at": "27:00"})
    assert wrong.status_code == 422
    assert 'aria-describedby="opens-wrong"' in wrong.text
    assert "27:00" in wrong.text
    assert today(planned, now=NOW).opens_at == "13:15"


def test_inches_are_shown_where_they_are_preferred(planned: Book) -> None:
    change_settings(planned, {"units": "inch"})
    text = browser_on(planned).get("/").text
    assert "2.36\u00a0×\u00a01.57\u00a0×\u00a00.47\u00a0in" in text  # 60 × 40 × 12 mm by 25.4
    assert "\u00a0in/s" in text
    assert "\u00a0mm" not in re.sub(r'<p class="says">.*?</p>|<button[^>]*>.*?</button>', "", text, flags=re.DOTALL)


def test_small_pictures_may_be_kept(planned: Book) -> None:
    browser = browser_on(planned)
    address = re.search(r'<img src="([^"]+)"', browser.get("/").text)
    assert address is not None
    answer = browser.get(unescape(address.group(1)))
    assert answer.headers["content-type"] == "image/png"
    assert "immutable" in answer.headers["cache-control"]
    assert answer.content.startswith(b"\x89PNG")


def test_a_page_that_is_none_is_told(planned: Book) -> None:
    for page in ("0", "x", "-1", "9" * 20):
        assert browser_on(planned).get("/", params={"page": page}).status_code == 422
    assert browser_on(planned).get("/?batch=nowhere").status_code == 404


def test_a_step_out_of_order_is_asked_about_once(planned: Book) -> None:
    browser = browser_on(planned)
    piece_id = today(planned, now=NOW).rows[0].piece_id
    for number, (name, missing) in enumerate(
        [
            ("handed over", "“burnt”, “washed”, “dry” and “sealed” are not ticked yet"),
            ("dry", "“burnt” and “washed” are"),
        ]
    ):
        answer = browser.post(f"/pieces/{piece_id}/step", {"step": name, "back": "/?batch=two-for-the-regatta"})
        assert answer.status_code == 303
        asked = unescape(browser.get(answer.headers["location"]).text)
        assert missing in asked
        assert f"Tick “{name}” all the same?" in asked
        done = [one.name for one in today(planned, now=NOW).rows[0].strip if one.done_at]
        assert len(done) == number
        form = dict(
            re.findall(
                r'<input type="hidden" name="(step|back|anyway)" value="([^"]+)"', asked[asked.index('class="begin"') :]
            )[:3]
        )
        assert form == {"step": name, "back": "/?batch=two-for-the-regatta", "anyway": "yes"}
        answer = browser.post(f"/pieces/{piece_id}/step", form)
        assert answer.headers["location"].startswith("/?batch=two-for-the-regatta&saved=")
        assert name in [one.name for one in today(planned, now=NOW).rows[0].strip if one.done_at]


def test_a_step_in_order_is_not_asked_about(planned: Book) -> None:
    browser = browser_on(planned)
    piece_id = today(planned, now=NOW).rows[0].piece_id
    for name in ("proof agreed", "burnt", "washed", "dry", "sealed", "handed over"):
        assert "saved=" in browser.post(f"/pieces/{piece_id}/step", {"step": name, "back": "/"}).headers["location"]


def test_a_spoiled_piece_leads_to_doing_it_again_on_every_page(planned: Book) -> None:
    browser = browser_on(planned)
    piece_id = today(planned, now=NOW).rows[0].piece_id
    mark_step(planned, piece_id, "burnt", done=True, now=NOW)
    (line,) = search_log(planned).lines
    assert f'href="/logbook/{line.burn_id}"' in browser.get(f"/pieces/{piece_id}").text
    grade_burn(planned, line.burn_id, grade=1, note="", version=line.version, now=NOW)
    again = f'href="/logbook/{line.burn_id}#again"'
    day, pieces, sheet = (browser.get(page).text for page in ("/", "/pieces", f"/pieces/{piece_id}"))
    for text in (day, pieces, sheet):
        assert again in text
        assert "spoiled" in text
    assert 'id="again"' in browser.get(f"/logbook/{line.burn_id}").text
    assert "burnt, one spoiled" in day
    assert "0 of 2" in day
    assert "burnt and spoiled" in day
    assert not re.search(r"next: (washed|dry|sealed|handed over)", day)
    assert "next washed" not in day
    assert "Tick “washed”" not in sheet
    assert f'href="/logbook/{line.burn_id}"' in sheet
    asked = unescape(browser.get(browser.post(f"/pieces/{piece_id}/step", {"step": "washed"}).headers["location"]).text)
    assert "This one came out spoiled" in asked
    assert again in asked


def test_the_button_says_what_it_does(planned: Book) -> None:
    for row in today(planned, now=NOW).rows:
        change_piece(planned, row.piece_id, {"place_bed_mm": [210.0, 150.0]}, version=row.version, now=NOW)
    text = browser_on(planned).get("/").text
    assert ">Plan them again</button>" in text
    assert "again them" not in text
