"""What holds of every page: nobody is kept out, nothing is asked from elsewhere, a phone needs no sideways scroll."""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser

from browser.ground import PHONE, Served, Tabs, sideways_px, violations
from browser.pages import DOORS, Found, find_pages

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def pages(demo: Served, chromium: Browser) -> Found:
    tabs = Tabs(chromium)
    found = find_pages(tabs.open("about:blank"), demo.address)
    tabs.close()
    return found


@pytest.fixture(scope="module")
def paths(pages: Found) -> tuple[str, ...]:
    return pages.paths


def test_every_link_leads_somewhere(pages: Found) -> None:
    assert not pages.broken, "\n" + "\n".join(pages.broken)
    assert set(DOORS) <= set(pages.paths)


def test_nobody_is_kept_out_in_the_light(demo: Served, tabs: Tabs, paths: tuple[str, ...]) -> None:
    page = tabs.open("about:blank")
    tabs.allow(404)
    found = []
    for path in paths:
        page.goto(demo.address + path)
        found += violations(page)
    assert not found, "\n" + "\n".join(found)


def test_nobody_is_kept_out_in_the_dark(demo: Served, tabs: Tabs, paths: tuple[str, ...]) -> None:
    page = tabs.open("about:blank", color_scheme="dark")
    tabs.allow(404)
    found = []
    for path in paths:
        page.goto(demo.address + path)
        found += violations(page, only=("color-contrast",))
    assert not found, "\n" + "\n".join(found)


def test_nobody_is_kept_out_on_a_phone_and_no_page_scrolls_sideways(
    demo: Served, tabs: Tabs, paths: tuple[str, ...]
) -> None:
    page = tabs.open("about:blank", viewport=PHONE, is_mobile=True, has_touch=True)
    tabs.allow(404)
    found, wide = [], []
    for path in paths:
        page.goto(demo.address + path)
        found += violations(page, only=("color-contrast", "target-size", "scrollable-region-focusable"))
        if (px := sideways_px(page)) > 0:
            wide.append(f"{path}: {px} px too wide")
    assert not wide, "\n" + "\n".join(wide)
    assert not found, "\n" + "\n".join(found)


def test_every_page_has_a_name_and_one_first_heading(demo: Served, tabs: Tabs, paths: tuple[str, ...]) -> None:
    page = tabs.open("about:blank")
    tabs.allow(404)
    for path in paths:
        page.goto(demo.address + path)
        assert page.locator("h1").count() == 1, path
        assert page.title().endswith("– evenburn"), path


def test_every_page_works_without_script(demo: Served, tabs: Tabs, paths: tuple[str, ...]) -> None:
    page = tabs.open("about:blank", java_script_enabled=False)
    tabs.allow(404)
    for path in paths:
        page.goto(demo.address + path)
        assert page.locator("h1").inner_text(), path
