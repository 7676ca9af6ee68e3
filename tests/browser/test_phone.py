"""A phone delivers photographs: a second browser, as wide as a phone, comes in through the door that the first one opened."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

import pytest
from playwright.sync_api import FilePayload, Page, expect

from browser.ground import PHONE, Served, Tabs, sideways_px, violations

pytestmark = pytest.mark.browser
CARD = "assets/demo/cards/hard-maple/photo.jpg"


@pytest.fixture(scope="module")
def photograph() -> Path:
    with resources.as_file(resources.files("evenburn") / CARD) as path:
        return path


def switched_on(tabs: Tabs, demo: Served, *, aim: str) -> tuple[Page, str]:
    """Return the page at the computer, switched on, and the address that its code holds."""
    page = tabs.open(demo.address + "/phone")
    off = page.get_by_role("button", name="Switch it off")
    if off.count():
        off.click()
    page.get_by_label("What will be on the photographs?").select_option(label=aim)
    page.get_by_role("button", name="Switch on for 10 minutes").click()
    expect(page.get_by_role("img", name="Code with the address")).to_be_visible()
    return page, page.locator(".address").inner_text()


def test_a_photograph_of_a_card_goes_from_phone_to_book(demo: Served, tabs: Tabs, photograph: Path) -> None:
    page, address = switched_on(tabs, demo, aim="Wood card 1, hard maple")
    phone = tabs.open(address, viewport=PHONE, is_mobile=True, has_touch=True)
    expect(phone.get_by_role("heading", name="Photographs for the bench")).to_be_visible()
    expect(phone.get_by_text("Wood card 1")).to_be_visible()
    assert sideways_px(phone) == 0
    assert violations(phone) == []
    phone.get_by_label("or choose from the phone").set_input_files(photograph)
    expect(phone.get_by_text("Arrived")).to_be_visible()
    expect(page.get_by_text("one photograph", exact=True)).to_be_visible()  # by itself, without being loaded anew
    assert violations(page) == []
    phone.get_by_role("button", name="Done, close this page").click()
    expect(phone.get_by_text("One photograph arrived at the computer.")).to_be_visible()
    expect(page.get_by_text("It is switched off now.")).to_be_visible()


def test_what_is_no_photograph_is_told_on_the_phone(demo: Served, tabs: Tabs, photograph: Path) -> None:
    page, address = switched_on(tabs, demo, aim="The tray")
    phone = tabs.open(address, viewport=PHONE, color_scheme="dark")
    tabs.allow(422)
    wrong: FilePayload = {"name": "IMG_2.jpg", "mimeType": "image/jpeg", "buffer": b"<svg onload='alert(1)'/>"}
    phone.get_by_label("or choose from the phone").set_input_files(wrong)
    expect(phone.get_by_text("Not used: it is no photograph")).to_be_visible()
    phone.get_by_label("Take the photograph").set_input_files(photograph)
    expect(phone.get_by_text("Arrived")).to_be_visible()
    assert violations(phone) == []
    expect(
        page.locator("#tray").get_by_text("photo.jpg").first
    ).to_be_hidden()  # stands under what arrives until it is over
    page.get_by_role("button", name="Switch it off").click()
    expect(page.locator("#tray").get_by_text("photo.jpg").first).to_be_visible()


def test_switched_off_the_phone_finds_nothing(demo: Served, tabs: Tabs) -> None:
    page, address = switched_on(tabs, demo, aim="The tray")
    page.get_by_role("button", name="Switch it off").click()
    expect(page.get_by_role("button", name="Switch on for 10 minutes")).to_be_visible()
    phone = tabs.context(viewport=PHONE).new_page()
    with pytest.raises(Exception, match="ERR_CONNECTION_REFUSED"):
        phone.goto(address)


def test_without_script_the_form_delivers_too(demo: Served, tabs: Tabs, photograph: Path) -> None:
    _, address = switched_on(tabs, demo, aim="The tray")
    phone = tabs.open(address, viewport=PHONE, java_script_enabled=False)
    phone.locator("#choose").set_input_files(photograph)
    phone.get_by_role("button", name="Send").click()
    expect(phone.get_by_text("Arrived")).to_be_visible()


def test_the_tray_is_sorted_by_keyboard(demo: Served, tabs: Tabs, photograph: Path) -> None:
    page, address = switched_on(tabs, demo, aim="The tray")
    phone = tabs.open(address, viewport=PHONE)
    phone.locator("#choose").set_input_files(photograph)
    expect(phone.get_by_text("Arrived")).to_be_visible()
    page.get_by_role("button", name="Switch it off").press("Enter")
    boxes = page.locator("#tray").get_by_role("checkbox")
    before = boxes.count()
    boxes.first.press("Space")
    page.get_by_role("button", name="Remove them").press("Enter")
    expect(boxes).to_have_count(before - 1)
