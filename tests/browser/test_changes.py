"""Changes: a remedy, undo, two windows at once, a plug that is pulled, and the keyboard alone."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from playwright.sync_api import Locator, Page, expect

from browser.ground import Served, Tabs, serve, unforeseen

pytestmark = pytest.mark.browser
LONGEST_ms = 90_000


def order(page: Page) -> list[str]:
    """Return the pieces in their order."""
    return page.locator("table.day tbody.one th.what a.name").all_inner_texts()


def to_piece(page: Page, name: str) -> None:
    """Go to a piece's sheet by its name on Today."""
    page.locator("table.day").get_by_role("link", name=name, exact=True).click()
    expect(page.get_by_role("heading", level=1, name=name)).to_be_visible()


def place(page: Page) -> Locator:
    """Return the field that says how far from the left the blank lies."""
    return page.get_by_role("textbox", name="from the left")


def lies_at(page: Page) -> float:
    return float(place(page).input_value().replace("−", "-"))


def reads(value_mm: float) -> re.Pattern[str]:
    """Return how a field may show a length to 0.1 mm."""
    whole = f"{value_mm:.1f}".replace("-", "−")
    return re.compile("^" + re.escape(whole.removesuffix(".0")) + (r"(\.0)?$" if whole.endswith(".0") else "$"))


def test_a_remedy_is_taken_and_taken_back(demo: Served, tabs: Tabs) -> None:
    page = tabs.open(demo.address)
    stops = page.locator("table.day tbody.barred")
    before = stops.count()
    assert before > 0, "the demo has a piece that is stopped"
    stops.first.locator(".press button").first.click()
    undo = page.get_by_role("button", name="Undo", exact=True)
    expect(undo).to_be_visible(timeout=LONGEST_ms)
    undo.click()
    expect(page.get_by_role("button", name="Undo", exact=True)).to_have_count(0)
    page.goto(demo.address + "/changes")
    expect(page.get_by_role("cell", name="taken back").first).to_be_visible()


def test_a_place_is_saved_and_undo_puts_it_back(demo: Served, tabs: Tabs) -> None:
    page = tabs.open(demo.address)
    to_piece(page, "Novice fours plaque")
    was = lies_at(page)
    place(page).fill(str(was + 5))
    page.get_by_role("button", name="Save the place").click()
    expect(place(page)).to_have_value(reads(was + 5))
    page.get_by_role("button", name="Undo", exact=True).click()
    expect(place(page)).to_have_value(reads(was))


def test_of_two_windows_the_later_is_told_and_nothing_is_overwritten(demo: Served, tabs: Tabs) -> None:
    context = tabs.context()
    first = tabs.open(demo.address, context=context)
    to_piece(first, "Mixed eights plaque")
    second = tabs.open(first.url, context=context)
    tabs.allow(409)
    was = lies_at(first)
    place(first).fill(f"{was + 3:.1f}")
    first.get_by_role("button", name="Save the place").click()
    expect(first.get_by_role("button", name="Undo", exact=True)).to_be_visible()
    place(second).fill(f"{was - 4:.1f}")
    second.get_by_role("button", name="Save the place").click()
    told = second.get_by_role("alert").filter(has_text="changed")
    expect(told.first).to_be_visible()
    expect(place(second)).to_have_value(f"{was - 4:.1f}".replace("-", "−"))  # what was typed is kept
    first.reload()
    expect(place(first)).to_have_value(reads(was + 3))


def test_a_killed_server_loses_nothing_that_was_acknowledged(demo_book: Path, tmp_path: Path, tabs: Tabs) -> None:
    book = tmp_path / "book"
    shutil.copytree(demo_book, book)
    server = serve(book)
    page = tabs.open(server.address)
    to_piece(page, "Ferry Cup base")
    was = lies_at(page)
    place(page).fill(f"{was + 2:.1f}")
    page.get_by_role("button", name="Save the place").click()
    expect(page.get_by_role("button", name="Undo", exact=True)).to_be_visible()
    page.close()
    server.kill()
    again = serve(book)
    page = tabs.open(again.address)
    to_piece(page, "Ferry Cup base")
    expect(place(page)).to_have_value(reads(was + 2))
    assert not unforeseen(again.stop())


def test_the_keyboard_alone_changes_the_order(demo: Served, tabs: Tabs) -> None:
    page = tabs.open(demo.address)
    before = order(page)
    grip = page.locator("tbody.one .grip summary").first
    grip.focus()
    grip.press("ArrowDown")
    expect(page.get_by_role("button", name="Undo", exact=True)).to_be_visible()
    assert order(page) == [before[1], before[0], *before[2:]]
    grip = page.locator("tbody.one .grip summary").nth(1)
    grip.press("Enter")
    page.get_by_role("button", name="Earlier").locator("visible=true").press("Enter")
    page.wait_for_load_state()
    expect(page.locator("table.day tbody.one th.what a.name").first).to_have_text(before[0])


def test_the_mouse_drags_a_piece_to_another_place(demo: Served, tabs: Tabs) -> None:
    page = tabs.open(demo.address)
    before = order(page)
    grip = page.locator("tbody.one .grip summary").first.bounding_box()
    over = page.locator("tbody.one").nth(2).bounding_box()
    assert grip is not None
    assert over is not None
    page.mouse.move(grip["x"] + grip["width"] / 2, grip["y"] + grip["height"] / 2)
    page.mouse.down()
    page.mouse.move(grip["x"], over["y"] + over["height"] * 0.4, steps=6)
    page.mouse.move(grip["x"], over["y"] + over["height"] * 0.8, steps=6)
    page.mouse.up()
    expect(page.get_by_role("button", name="Undo", exact=True)).to_be_visible()
    assert order(page) == [before[1], before[2], before[0], *before[3:]]


def test_arrow_keys_move_the_blank_by_a_tenth_of_a_millimetre(demo: Served, tabs: Tabs) -> None:
    page = tabs.open(demo.address)
    to_piece(page, "Tea tray with heron")
    was = lies_at(page)
    bed = page.locator("#bed .drawn")
    bed.focus()
    for _ in range(3):
        bed.press("ArrowRight")
    expect(place(page)).to_have_value(reads(was + 0.3))
    place(page).press("Enter")
    expect(page.get_by_role("button", name="Undo", exact=True)).to_be_visible()
    page.reload()
    expect(place(page)).to_have_value(reads(was + 0.3))


def test_every_control_of_today_is_reached_and_seen_by_tab(demo: Served, tabs: Tabs) -> None:
    page = tabs.open(demo.address)
    seen: list[str] = []
    for _ in range(40):
        page.keyboard.press("Tab")
        what = page.evaluate(
            """() => {
              const e = document.activeElement, box = e.getBoundingClientRect(), style = getComputedStyle(e);
              const ring = style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2;
              return [e.tagName + " " + (e.textContent || e.name || "").trim().slice(0, 40), ring && box.width > 0];
            }"""
        )
        assert what[1], f"{what[0]} has the focus, and one cannot see it"
        seen.append(what[0])
    assert len(set(seen)) > 20
