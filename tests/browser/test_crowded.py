"""Pages at 1280 px, the width of small laptops: nothing runs into what stands beside it."""

from __future__ import annotations

import json
import sqlite3

import pytest
from playwright.sync_api import Locator

from browser.ground import Served, Tabs

pytestmark = pytest.mark.browser
LAPTOP = {"width": 1280, "height": 900}
GAP_px = 8.0  # between two things that are not one


def right_of(one: Locator) -> float:
    box = one.bounding_box()
    assert box is not None
    return box["x"] + box["width"]


def left_of(one: Locator) -> float:
    box = one.bounding_box()
    assert box is not None
    return box["x"]


def test_what_stands_beside_the_bed_ends_before_the_remarks(demo: Served, tabs: Tabs) -> None:
    page = tabs.open(demo.address + "/pieces/1", viewport=LAPTOP)
    remarks = left_of(page.locator(".of-blank .remarks"))
    for beside in (".edge figcaption", ".reaches"):
        assert right_of(page.locator(f".of-blank {beside}")) + GAP_px <= remarks


def test_the_columns_of_long_run_ups_stay_apart(demo: Served, tabs: Tabs) -> None:
    with sqlite3.connect(demo.book / "book.sqlite") as book:
        ((text, changed),) = book.execute("select document, changed_at from machine limit 1").fetchall()
        slow = {**json.loads(text), "name": "Slow bench", "accel_x_mm_per_s2": 11.0}
        book.execute(
            "insert into machine (id, document, changed_at) values ('slow-bench', ?, ?)", (json.dumps(slow), changed)
        )
    page = tabs.open(demo.address + "/machine/slow-bench", viewport=LAPTOP)
    texts = page.locator("svg.drawn.bed").nth(1).locator("text.strong")
    assert texts.count() == 3
    assert right_of(texts.nth(0)) + GAP_px / 2.0 <= left_of(texts.nth(1))
    assert right_of(texts.nth(1)) + GAP_px / 2.0 <= left_of(texts.nth(2))
