"""The machine's pages: an empty book teaches, errors stand at their fields, the stopwatch goes from files to "use these"."""

from __future__ import annotations

import re
from pathlib import Path
from time import monotonic, sleep

import pytest
import sqlalchemy as sa

from evenburn.adapters.storage.book.tables import machine
from evenburn.services.book.change_machine import change_machine
from evenburn.services.book.machine_of import machine_of
from evenburn.services.book.open_book import Book
from evenburn.services.book.settings import change_settings
from evenburn.services.book.take_in import TakenIn, take_in_batch
from service.book.conftest import small_batch
from service.conftest import MACHINE
from web.conftest import NOW, Browser, browser_on

PATIENCE_s = 60.0


@pytest.fixture
def taken(book: Book, tmp_path: Path) -> TakenIn:
    return take_in_batch(book, small_batch(tmp_path / "own"), now=NOW)


def form_of(text: str) -> dict[str, str]:
    """Return the fields of the last form of a page that has a version, as a browser would send them back."""
    values = {}
    for tag in re.findall(r"<input [^>]*>", text):
        name, value = re.search(r'name="([^"]+)"', tag), re.search(r'value="([^"]*)"', tag)
        if name and 'type="file"' not in tag and 'type="checkbox"' not in tag:
            values[name.group(1)] = value.group(1) if value else ""
    for name, body in re.findall(r'<select [^>]*name="([^"]+)"[^>]*>(.*?)</select>', text, re.DOTALL):
        chosen = re.search(r'<option value="([^"]*)" selected', body)
        values[name] = chosen.group(1) if chosen else ""
    return values | dict(re.findall(r'<textarea [^>]*name="([^"]+)"[^>]*>\n?(.*?)</textarea>', text, re.DOTALL))


def test_a_book_without_a_machine_says_what_to_do(browser: Browser) -> None:
    answer = browser.get("/machine")
    assert answer.status_code == 200
    assert "No machine yet" in answer.text
    assert 'href="/machine/new"' in answer.text


def test_a_machine_is_shown_with_units_and_where_numbers_come_from(browser: Browser, taken: TakenIn) -> None:
    text = browser.get("/machine").text
    assert "Boathouse bench" in text
    assert "600\u00a0mm/s" in text
    assert "5000\u00a0mm/s²" in text
    assert "<b>user</b>: as entered" in text
    assert "have the last word" in text
    assert f"/machine/{taken.machine_id}/measure/motion" in text
    assert browser.get(f"/machine/{taken.machine_id}/machine.toml").text.startswith('name = "Boathouse bench"')
    assert browser.get("/machine/none").status_code == 404


@pytest.mark.parametrize("units", ["mm", "inch"])
def test_what_is_sent_back_unchanged_changes_nothing(browser: Browser, book: Book, taken: TakenIn, units: str) -> None:
    change_settings(book, {"units": units})
    before = machine_of(book)
    assert before is not None
    address = f"/machine/{taken.machine_id}/change"
    answer = browser.post(address, form_of(browser.get(address).text))
    assert answer.status_code == 303
    after = machine_of(book)
    assert after is not None
    assert after.document == before.document
    form = {**form_of(browser.get(address).text), "bed_x_mm": "20"}
    assert browser.post(address, form).status_code == 303
    wider = machine_of(book)
    assert wider is not None
    assert wider.bed_x_mm == pytest.approx({"mm": 20.0, "inch": 508.0}[units])  # an inch is 25.4 mm by definition


def test_errors_stand_at_their_fields_and_the_form_is_kept(browser: Browser, book: Book, taken: TakenIn) -> None:
    address = f"/machine/{taken.machine_id}/change"
    form = {
        **form_of(browser.get(address).text),
        "bed_x_mm": "wide",
        "accel_y_mm_per_s2": "-5",
        "lens[1].beam_quality_m2": "0.2",
        "power_curve": "fast",
        "name": "Renamed bench",
    }
    answer = browser.post(address, form)
    assert answer.status_code == 422
    assert 'id="w-bed_x_mm"' in answer.text
    assert 'id="w-power_curve"' in answer.text
    assert 'value="wide"' in answer.text
    assert 'value="Renamed bench"' in answer.text
    answer = browser.post(address, {**form, "bed_x_mm": "610", "power_curve": ""})
    assert answer.status_code == 422
    assert 'id="w-accel_y_mm_per_s2"' in answer.text
    assert 'id="w-lens[1].beam_quality_m2"' in answer.text
    found = machine_of(book)
    assert found is not None
    assert found.version == 1


def test_a_change_is_told_undone_and_never_lost_to_a_later_window(browser: Browser, book: Book, taken: TakenIn) -> None:
    address = f"/machine/{taken.machine_id}/change"
    form = {**form_of(browser.get(address).text), "power_cap_fraction": "75"}
    answer = browser.post(address, form, follow_redirects=True)
    assert "changed" in answer.text
    assert "Undo" in answer.text
    found = machine_of(book)
    assert found is not None
    assert found.power_cap_fraction == pytest.approx(0.75)
    late = browser.post(address, {**form, "power_cap_fraction": "70"})
    assert late.status_code == 409
    assert "changed in another window" in late.text
    assert form_of(late.text)["power_cap_fraction"] == "70"  # what was typed is kept, to be saved all the same
    assert browser.post(address, form_of(late.text)).status_code == 303


def test_a_machine_is_put_in_by_form_and_by_file(browser: Browser) -> None:
    form = form_of(browser.get("/machine/new").text)
    answer = browser.post("/machine/new", form)
    assert answer.status_code == 422  # bed, power and stand-off are what its owner knows
    for name in ("bed_x_mm", "power_max_W", "lens[1].focus_stand_off_mm"):
        assert f'id="w-{name}"' in answer.text
    known = {
        "name": "Attic",
        "bed_x_mm": "300",
        "bed_y_mm": "200 mm",
        "power_max_W": "40",
        "power_curve": "50 % 18 W\n100 % 40",
        "line_overhead_s": "12",
        "rise_time_s": "0.2 ms",
    }
    answer = browser.post("/machine/new", {**form, **known, "lens[1].focus_stand_off_mm": "7,5"})
    assert answer.status_code == 303
    assert answer.headers["location"].startswith("/machine/attic?saved=")
    kept = browser.get("/machine/attic/machine.toml").text
    assert "line_overhead_s = 0.012" in kept  # typed in milliseconds, as the sheet shows it
    assert "rise_time_s = 0.0002" in kept
    answer = browser.post("/machine/new", files={"file": ("machine.toml", MACHINE.encode())})
    assert answer.status_code == 303
    answer = browser.post("/machine/new", files={"file": ("machine.toml", b"bed = wide")})
    assert answer.status_code == 422
    assert 'id="w-file"' in answer.text


def test_the_stopwatch_from_files_to_numbers_in_use(browser: Browser, book: Book, taken: TakenIn) -> None:
    make = f"/machine/{taken.machine_id}/measure/motion"
    assert "four short rasters" in browser.get(make).text
    assert browser.post(make, {"wood": "ebony"}).status_code == 422
    made = browser.post(make, {"wood": "club-maple", "lens": "2 inch", "paper": "A4"})
    assert made.status_code == 303
    card = made.headers["location"]
    text = browser.get(card).text
    assert "laser off" in text
    assert "Never leave it burning alone" in text
    program = browser.get(f"{card}/files/stopwatch-1.ngc")
    assert "the laser stays off" in program.text
    assert "attachment" in program.headers["content-disposition"]
    assert browser.get(f"{card}/files/..%2fbook.sqlite").status_code == 404
    number = card.rsplit("/", 1)[1]
    assert browser.get(f"{card}/card-{number}.zip").content[:2] == b"PK"

    wrong = browser.post(card, {"time-1-1": "3", "lines_up-slow": "many"})
    assert wrong.status_code == 422
    assert 'id="w-lines_up-slow"' in wrong.text
    assert 'value="many"' in wrong.text
    expected = dict(re.findall(r"stopwatch-(\d)\.ngc.*?</td>\n<td class=\"num\">([\d.]+)&nbsp;s", text, re.DOTALL))
    assert set(expected) == {"1", "2", "3", "4"}
    wrong = browser.post(card, {"time-1-1": "3", **{f"time-{n}-1": t for n, t in expected.items() if n != "1"}})
    assert 'id="w-time-1-1"' in wrong.text
    times = {f"time-{n}-{take}": t for n, t in expected.items() for take in (1, 2)}
    done = browser.post(card, times)
    assert done.status_code == 303
    text = browser.get(card).text
    assert "Use these" in text
    taken_over = browser.post(f"{card}/take", {"version": "1"}, follow_redirects=True)
    assert "Undo" in taken_over.text
    assert "<b>measured</b>" in taken_over.text
    found = machine_of(book)
    assert found is not None
    assert found.figure("accel_x_mm_per_s2").kind == "measured"


@pytest.mark.parametrize("kind", ["motion", "beam"])
def test_a_card_that_holds_no_more_says_so_instead_of_its_programs(
    browser: Browser, book: Book, taken: TakenIn, kind: str
) -> None:
    make = f"/machine/{taken.machine_id}/measure/{kind}"
    card = browser.post(make, {"wood": "club-maple", "lens": "2 inch", "paper": "A4"}).headers["location"]
    archive = f"{card}/card-{card.rsplit('/', 1)[1]}.zip"
    before = browser.get(card).text
    assert archive in before
    assert "anew each time" in before
    program = re.search(rf"{card}/files/[a-z0-9-]+\.ngc", before)
    assert program is not None
    change_machine(book, taken.machine_id, {"bed_x_mm": 210.0}, version=1, now=NOW)

    text = browser.get(card).text
    assert "Its programs are not handed out any more" in text
    assert f'href="{make}"' in text
    assert not re.search(r'href="[^"]*\.(ngc|zip)"', text)
    assert f"{card}/files/mat.pdf" in text
    for address in (program[0], archive):
        answer = browser.get(address)
        assert answer.status_code == 409
        assert "Make the card anew." in answer.text
        told = browser.get(address, headers={"accept": "application/json"}).json()
        assert (told["ok"], told["status"]) == (False, 409)


def test_a_ladder_wants_a_photograph(browser: Browser, taken: TakenIn) -> None:
    made = browser.post(f"/machine/{taken.machine_id}/measure/beam", {"wood": "club-maple", "lens": "2 inch"})
    card = made.headers["location"]
    assert "stand-off to set" in browser.get(card).text
    answer = browser.post(card, {})
    assert answer.status_code == 422
    assert "none was chosen" in answer.text.lower()
    assert browser.get(f"/machine/{taken.machine_id}/measure/tea").status_code == 404


LIT = "“M3 S1000”: the laser is lit at S 1000 and the line does not move"


def test_lines_that_burn_are_told_at_their_field_and_nothing_is_kept(
    browser: Browser, book: Book, taken: TakenIn
) -> None:
    address = f"/machine/{taken.machine_id}/change"
    answer = browser.post(address, {**form_of(browser.get(address).text), "opening_lines": "M3 S1000"})
    assert answer.status_code == 422
    told = re.search(r'id="w-opening_lines">(.*?)</p>', answer.text)
    assert told is not None
    assert told.group(1).startswith(LIT)
    assert "post_processor" not in answer.text
    assert ">\nM3 S1000</textarea>" in answer.text
    kept = machine_of(book)
    assert kept is not None
    assert kept.opening_lines == ()


def test_a_file_with_lines_that_burn_is_not_taken_in(browser: Browser, book: Book) -> None:
    data = f'{MACHINE}[post_processor]\nopening_lines = ["M3 S1000"]\n'.encode()
    answer = browser.post("/machine/new", files={"file": ("machine.toml", data)})
    assert answer.status_code == 422
    assert LIT in answer.text
    assert machine_of(book) is None


def test_a_plan_stopped_by_the_machines_lines_leads_to_the_machine(planned: Book) -> None:
    with planned.writing() as connection:
        row = connection.execute(sa.select(machine)).mappings().one()
        document = {**row["document"], "post_processor": {"opening_lines": ["M3 S1000"]}}
        connection.execute(sa.update(machine).values(document=document))
    browser = browser_on(planned)
    answer = browser.post("/batches/two-for-the-regatta/plan", {"back": "/"})
    until = monotonic() + PATIENCE_s
    while monotonic() < until:
        text = browser.get(answer.headers["location"]).text
        if "Back to where it was begun" in text:
            break
        sleep(0.05)
    assert text.count(LIT) == 1
    assert "The machine’s lines before the first move" in text
    assert 'href="/machine">To the machine</a>' in text
    assert "post_processor" not in text
    assert "their own sheets" not in text


def test_numbers_that_do_not_agree_are_told_in_the_words_of_the_form(browser: Browser, taken: TakenIn) -> None:
    address = f"/machine/{taken.machine_id}/change"
    form = form_of(browser.get(address).text)
    for typed, field, words in (
        (
            {"power_curve": "10 % 4 W\n100 % 90 W"},
            "power_curve",
            "The power curve ends at 100 % with 90 W; it must end at 100 %",
        ),
        (
            {"power_least_fraction": "90"},
            "power_least_fraction",
            "“Nothing fires below” 0.9 must lie below “No recipe goes above”",
        ),
    ):
        text = browser.post(address, {**form, **typed}).text
        told = dict(re.findall(r'id="w-([^"]+)">(.*?)</p>', text))
        assert told[field].startswith(words)
        assert not re.search(r"\b[a-z]+_[a-zA-Z_]+\b", told[field])
