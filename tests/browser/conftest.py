"""One Chromium and one demo book for all, a copy of the book and a server for each file, and an eye on every page.

Run with `make browser`; `make test` leaves these out. Without a Chromium they are skipped, or fail where
EVENBURN_BROWSER_REQUIRED says that one has to be there.
"""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect, sync_playwright

from browser.ground import REQUIRED, Served, Tabs, chromium_path, served, take_the_demo_in

WAITS_s = 300.0
expect.set_options(timeout=20_000)  # two cores, two browsers, and a piece being planned beside them


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    path = chromium_path()
    if path is None:
        if os.environ.get(REQUIRED):
            pytest.fail("there is no Chromium here, and these tests must not be skipped")
        pytest.skip("there is no Chromium here (on Debian: apt install chromium)")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture
def tabs(chromium: Browser) -> Iterator[Tabs]:
    made = Tabs(chromium)
    yield made
    faults = made.faults()
    made.close()
    assert not faults, "\n" + "\n".join(faults)


@pytest.fixture(scope="session")
def demo_book(chromium: Browser, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the demo, taken in and planned by a first start in the browser; once, also where several processes test."""
    named = os.environ.get("EVENBURN_BROWSER_DEMO")
    if named:
        return Path(named)  # while writing tests: one that is there already
    worker = os.environ.get("PYTEST_XDIST_WORKER")
    shared = tmp_path_factory.getbasetemp().parent if worker else tmp_path_factory.getbasetemp()
    home, ready, failed = (shared / name for name in ("demo-book", "demo-book-ready", "demo-book-failed"))
    try:
        home.mkdir()
    except FileExistsError:
        until_s = time.monotonic() + WAITS_s
        while not ready.exists():
            assert not failed.exists(), "the demo book could not be made; the other process says why"
            assert time.monotonic() < until_s, "the demo book did not come"
            time.sleep(0.2)
        return home
    tabs = Tabs(chromium)
    try:
        with served(home) as server:
            take_the_demo_in(tabs.open("about:blank"), server.address)
        assert not tabs.faults(), "\n" + "\n".join(tabs.faults())
        ready.touch()
    finally:
        tabs.close()
        if not ready.exists():
            failed.touch()
    return home


@pytest.fixture(scope="module")
def demo(demo_book: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """Serve a copy of the demo to the tests of one file."""
    copy = tmp_path_factory.mktemp("served") / "book"
    shutil.copytree(demo_book, copy)
    with served(copy) as server:
        yield server


def pytest_sessionfinish(session: pytest.Session) -> None:
    """Fail where a test was skipped that must not be."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if reporter is None:
        return  # a worker; the one that leads it tells
    skipped = reporter.stats.get("skipped", [])
    if os.environ.get(REQUIRED) and skipped and session.exitstatus == pytest.ExitCode.OK:
        reporter.write_line(f"{len(skipped)} browser tests were skipped; {REQUIRED} says that none may be")
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
