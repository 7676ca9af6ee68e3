"""What the browser tests stand on: a real server with a book of its own, a real Chromium, and an eye on what a page does beside."""

from __future__ import annotations

import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page, Request, Response, expect

REQUIRED = "EVENBURN_BROWSER_REQUIRED"  # set where a skipped test is a failure
STARTS_WITHIN_s = 90.0
LONGEST_ms = 240_000  # the demo is planned in half a minute where nothing else runs
DESKTOP, PHONE = {"width": 1440, "height": 1000}, {"width": 390, "height": 844}
AXE = Path(__file__).parent / "vendor" / "axe-core-4.14.1" / "axe.min.js"
SERIOUS = ("serious", "critical")
_OPEN = re.compile(r"is open at (http://127\.0\.0\.1:\d+)/")
# a form refused at a field, a page that is not there: the browser writes them down, and the test that asks for them says so
_OWN = {"data", "blob", "about", "chrome", "chrome-extension"}  # what a browser has in itself, as its viewer of PDFs
_EXPECTED_STATUS = re.compile(r"the server responded with a status of (\d+)")


def chromium_path() -> str | None:
    """Return where the system's Chromium is, None where there is none."""
    return next((found for name in ("chromium", "chromium-browser") if (found := shutil.which(name))), None)


# ---- the server --------------------------------------------------------------------------------------------------


@dataclass
class Served:
    """`evenburn open` on a book, as a person would start it."""

    book: Path
    address: str
    process: subprocess.Popen[bytes]
    told: Path  # what it wrote to the terminal; a file, for a pipe that nobody empties would hold it up

    def stop(self) -> str:
        """Close it as Ctrl-C does, and return what it said."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
        self.process.wait(timeout=20)
        return self.told.read_text(encoding="utf-8", errors="replace")

    def kill(self) -> None:
        """End it at once, as a pulled plug does."""
        self.process.kill()
        self.process.wait(timeout=20)


def free_port() -> int:
    """Return a port that nobody listens on."""
    with socket.socket() as asking:
        asking.bind(("127.0.0.1", 0))
        return int(asking.getsockname()[1])


def serve(book: Path, *, port: int | None = None) -> Served:
    """Start `evenburn open` on a book and wait until it says where it is."""
    command = [sys.executable, "-m", "evenburn", "open", "--no-browser", "--book", str(book)]
    environment = {**os.environ, "EVENBURN_PHONE_ADDRESS": "127.0.0.1", "BROWSER": "", "PYTHONUNBUFFERED": "1"}
    handle, name = tempfile.mkstemp(prefix="evenburn-told-", suffix=".txt")
    with os.fdopen(handle, "wb") as told:
        process = subprocess.Popen(
            [*command, "--port", str(port or free_port())], stdout=told, stderr=subprocess.STDOUT, env=environment
        )
    until_s = time.monotonic() + STARTS_WITHIN_s
    while True:
        said = Path(name).read_text(encoding="utf-8", errors="replace")
        if found := _OPEN.search(said):
            return Served(book=book, address=found[1], process=process, told=Path(name))
        assert process.poll() is None, f"evenburn open ended with {process.returncode}:\n{said}"
        assert time.monotonic() < until_s, f"evenburn open did not begin:\n{said}"
        time.sleep(0.05)


def unforeseen(said: str) -> list[str]:
    """Return the errors that nobody foresaw in what a server said; a request that was cut off by Ctrl-C is none."""
    return [one for one in said.split("Traceback (most recent call last):")[1:] if "CancelledError" not in one]


@contextmanager
def served(book: Path) -> Iterator[Served]:
    """Serve a book for as long as the block runs."""
    server = serve(book)
    try:
        yield server
    finally:
        said = server.stop()
        server.told.unlink(missing_ok=True)
        assert not unforeseen(said), "…" + unforeseen(said)[0][-1200:]


# ---- the browser -------------------------------------------------------------------------------------------------


@dataclass
class Watched:
    """A page, and what it did that no page of the book may do."""

    page: Page
    faults: list[str] = field(default_factory=list)
    allowed_statuses: set[int] = field(default_factory=set)

    def watch(self) -> None:
        """Begin to watch."""
        self.page.on("console", self._console)
        self.page.on("pageerror", lambda error: self.faults.append(f"script error: {error}"))
        self.page.on("request", self._request)
        self.page.on("response", self._response)

    def _console(self, message: ConsoleMessage) -> None:
        if message.type not in {"error", "warning"} or self.page.url.endswith(".pdf"):
            return  # the browser's own viewer talks to itself
        found = _EXPECTED_STATUS.search(message.text)
        if found and int(found[1]) in self.allowed_statuses:
            return
        self.faults.append(f"console, on {self.page.url}: {message.text}")

    def _request(self, request: Request) -> None:
        parts = urlsplit(request.url)
        if parts.scheme not in _OWN and parts.hostname != "127.0.0.1":
            self.faults.append(f"asked {request.url}, from {self.page.url}")

    def _response(self, response: Response) -> None:
        if response.status >= 500:
            self.faults.append(f"{response.status} for {response.request.method} {response.url}")


class Tabs:
    """Opens contexts and pages that are watched, and tells at the end what they did."""

    def __init__(self, browser: Browser) -> None:
        self._browser = browser
        self._contexts: list[BrowserContext] = []
        self.watched: list[Watched] = []

    def context(self, *, viewport: dict[str, int] | None = None, **more: Any) -> BrowserContext:
        """Return another browser, with cookies of its own."""
        made = self._browser.new_context(viewport=viewport or DESKTOP, **more)  # type: ignore[arg-type]
        made.set_default_timeout(45_000)
        self._contexts.append(made)
        return made

    def open(self, address: str, *, context: BrowserContext | None = None, **more: Any) -> Page:
        """Return a page that is watched, gone to an address."""
        page = (context or self.context(**more)).new_page()
        watched = Watched(page)
        watched.watch()
        self.watched.append(watched)
        page.goto(address)
        return page

    def allow(self, *statuses: int) -> None:
        """Say that a test asks for answers that are refusals."""
        for watched in self.watched:
            watched.allowed_statuses |= set(statuses)

    def faults(self) -> list[str]:
        """Return what pages did that they may not."""
        return list(dict.fromkeys(fault for watched in self.watched for fault in watched.faults))

    def close(self) -> None:
        """Close them all."""
        for context in self._contexts:
            context.close()


def take_the_demo_in(page: Page, address: str) -> None:
    """Start a new book with the demo, as a newcomer would: with the mouse, and patience while it is planned."""
    page.goto(address)
    expect(page.get_by_role("heading", level=1, name="A new book")).to_be_visible()
    page.get_by_role("button", name="Take the demo batch in").click()
    expect(page.get_by_role("progressbar")).to_be_visible()
    expect(page.get_by_role("button", name="Stop")).to_be_visible()
    page.wait_for_url(address + "/", timeout=LONGEST_ms)


# ---- looking at a page -------------------------------------------------------------------------------------------


def violations(page: Page, *, only: tuple[str, ...] = ()) -> list[str]:
    """Return what keeps people out of a page, as axe-core finds it: what is serious or critical, each with where."""
    page.evaluate(AXE.read_text(encoding="utf-8"))
    options: dict[str, Any] = {"resultTypes": ["violations"]}
    if only:
        options["runOnly"] = {"type": "rule", "values": list(only)}
    found = page.evaluate("options => axe.run(document, options)", options)
    return [
        f"{urlsplit(page.url).path}: {one['id']} ({one['impact']}) at {len(one['nodes'])}, as {one['nodes'][0]['target']}"
        f" {one['nodes'][0]['html'][:160]}"
        for one in found["violations"]
        if one["impact"] in SERIOUS
    ]


def sideways_px(page: Page) -> int:
    """Return how far a page can be scrolled sideways, which on a phone should be not at all."""
    wide = page.evaluate(
        "Math.max(document.documentElement.scrollWidth, document.body.scrollWidth) - window.innerWidth"
    )
    return int(wide)
