"""A piece of one's own: from a drawing on the disk to the program for the machine."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import expect

from browser.ground import Served, Tabs

pytestmark = pytest.mark.browser
LONGEST_ms = 90_000
ANCHOR = """<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="40mm" viewBox="0 0 40 40">
<circle cx="20" cy="7" r="4"/><rect x="18.5" y="10" width="3" height="26"/><rect x="11" y="14" width="18" height="3"/>
<path d="M5 24l4 4c2 5 7 8 11 8s9-3 11-8l4-4 1 8-4-1c-3 6-8 9-12 9s-9-3-12-9l-4 1z"/></svg>
"""


def test_from_a_drawing_to_the_program(demo: Served, tabs: Tabs, tmp_path: Path) -> None:
    drawing = tmp_path / "Anchor & chain.svg"
    drawing.write_text(ANCHOR)
    page = tabs.open(demo.address)
    page.get_by_role("link", name="Add a piece").click()
    page.get_by_label("name", exact=True).fill("Anchor coaster")
    page.get_by_label("wood", exact=True).select_option(value="beech")
    page.get_by_label("width").fill("100")
    page.get_by_label("height").fill("ninety")
    page.get_by_label("thickness").fill("8")
    page.get_by_label("artwork").set_input_files(drawing)
    tabs.allow(422)
    page.get_by_role("button", name="Add it and plan it").click()
    expect(page.get_by_role("alert")).to_contain_text("Not added")  # the fault at its field, and the form kept
    expect(page.get_by_label("name", exact=True)).to_have_value("Anchor coaster")
    expect(page.get_by_label("height")).to_have_value("ninety")
    expect(page.get_by_label("height")).to_have_attribute("aria-invalid", "true")
    page.get_by_label("height").fill("100")
    page.get_by_label("artwork").set_input_files(drawing)
    page.get_by_role("button", name="Add it and plan it").click()
    expect(page.get_by_role("heading", level=1, name="Anchor coaster")).to_be_visible(timeout=LONGEST_ms)
    program = page.locator("a[href$='.ngc']").first
    expect(program).to_be_visible(timeout=LONGEST_ms)
    answer = page.request.get(demo.address + str(program.get_attribute("href")))
    assert answer.ok
    lines = answer.text().splitlines()
    assert lines[0].startswith("(")
    assert any(line.startswith("G21") for line in lines)
    assert lines[-1] == "M2"
