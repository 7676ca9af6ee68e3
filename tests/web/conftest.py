"""A book on a desk, and a browser of this computer that asks for its pages, all in one process."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx2 as httpx
import pytest
from starlette.testclient import TestClient

from evenburn.services.book.open_book import Book, open_book_at
from evenburn.services.book.plan_piece import plan_all
from evenburn.services.book.take_in import take_in_batch
from evenburn.web.app import create_app
from evenburn.web.desk import Desk
from evenburn.web.guard import TOKEN_FIELD
from service.book.conftest import small_batch

PORT = 8460
HERE = f"127.0.0.1:{PORT}"
NOW = "2026-06-09T08:00:00+00:00"
NAMES = frozenset({HERE, f"localhost:{PORT}"})


@dataclass
class Browser:
    """A browser with one tab: it keeps cookies, and sends forms as our pages would."""

    client: TestClient
    sent: dict[str, str] = field(default_factory=dict)

    def get(self, address: str, **more: Any) -> httpx.Response:
        return self.client.get(address, follow_redirects=more.pop("follow_redirects", True), **more)

    def token(self) -> str:
        found = re.search(rf'name="{TOKEN_FIELD}" value="([^"]+)"', self.get("/nowhere").text)
        assert found is not None
        return found.group(1)

    def post(self, address: str, data: dict[str, str] | None = None, **more: Any) -> httpx.Response:
        headers = {"origin": f"http://{HERE}", "sec-fetch-site": "same-origin", **more.pop("headers", {})}
        return self.client.post(
            address,
            data={TOKEN_FIELD: self.token(), **(data or {})},
            headers=headers,
            follow_redirects=more.pop("follow_redirects", False),
            **more,
        )


def browser_on(book: Book) -> Browser:
    app = create_app(Desk(book=book, now=lambda: NOW), names=NAMES)
    return Browser(TestClient(app, base_url=f"http://{HERE}", raise_server_exceptions=True))


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    opened = open_book_at(tmp_path / "book")
    yield opened
    opened.close()


@pytest.fixture
def browser(book: Book) -> Browser:
    return browser_on(book)


@pytest.fixture(scope="session")
def planned_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book with a batch of two pieces that is planned: one may be burnt, one has a stop, for its run-up does not fit."""
    folder = tmp_path_factory.mktemp("planned")
    own = small_batch(folder / "own")
    text = (own / "batch.toml").read_text()
    text = text.replace("place_bed_mm = [200.0, 150.0]\nturn", "place_bed_mm = [0.0, 150.0]\nturn")
    hold = 'hold = { speed_mm_per_s = 500.0, scan_axis = "x" }'
    (own / "batch.toml").write_text(text.replace("hold = { passes = 1 }", hold))
    opened = open_book_at(folder / "book")
    taken = take_in_batch(opened, own, now=NOW)
    plan_all(opened, taken.batch_id, now=NOW)
    opened.close()
    return folder / "book"


@pytest.fixture
def planned(planned_folder: Path, tmp_path: Path) -> Iterator[Book]:
    """A copy of that book of one's own."""
    opened = open_book_at(shutil.copytree(planned_folder, tmp_path / "planned"))
    yield opened
    opened.close()
