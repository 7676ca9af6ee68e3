"""A card: its photograph handed in, read before one's eyes, and the curve that comes of it."""

from __future__ import annotations

from importlib import resources

import pytest
from playwright.sync_api import expect

from browser.ground import Served, Tabs, violations

pytestmark = pytest.mark.browser
LONGEST_ms = 120_000
CARD = "assets/demo/cards/hard-maple/photo.jpg"


def test_from_the_photograph_of_a_card_to_a_fitted_curve(demo: Served, tabs: Tabs) -> None:
    page = tabs.open(demo.address + "/woods/hard-maple")
    page.get_by_role("link", name="Photograph a card").click()
    with resources.as_file(resources.files("evenburn") / CARD) as photograph:
        page.get_by_label("Photographs of this card").set_input_files(photograph)
        page.get_by_role("button", name="Read the card").click()
    heading = page.get_by_role("heading", name="The curve it gives")
    expect(heading).to_be_visible(timeout=LONGEST_ms)
    read = page.get_by_role("img", name="The card photographed, each patch with the tone that was read")
    expect(read).to_be_visible()
    assert read.evaluate("img => img.complete && img.naturalWidth > 200")
    assert violations(page) == []
    page.get_by_role("button", name="Work with this curve").click()
    expect(page.get_by_role("button", name="Undo", exact=True)).to_be_visible(timeout=LONGEST_ms)
    page.goto(demo.address + "/woods/hard-maple")
    curves = page.get_by_role("table", name="Curves of it")
    expect(curves.locator("tr", has_text="works with it")).to_contain_text("fitted")


def test_a_photograph_of_something_else_is_refused_in_words(demo: Served, tabs: Tabs) -> None:
    page = tabs.open(demo.address + "/woods/hard-maple")
    page.get_by_role("link", name="Photograph a card").click()
    with resources.as_file(resources.files("evenburn") / "assets/demo/art/boathouse.jpg") as photograph:
        page.get_by_label("Photographs of this card").set_input_files(photograph)
        tabs.allow(422)
        page.get_by_role("button", name="Read the card").click()
    expect(page.get_by_role("heading", name="Refused")).to_be_visible(timeout=LONGEST_ms)
