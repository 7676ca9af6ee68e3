"""Every page of the book: found as a person finds them, by following links; of pages of one kind, one."""

from __future__ import annotations

import re
from collections import deque
from dataclasses import dataclass
from urllib.parse import parse_qsl, urljoin, urlsplit

from playwright.sync_api import Page

# where one may begin; whatever stands behind a link on these is found by itself
DOORS = (
    "/",
    "/pieces",
    "/woods",
    "/machine",
    "/shelf",
    "/logbook",
    "/settings",
    "/changes",
    "/phone",
    "/backup",
    "/nowhere",
)
_NUMBER = re.compile(r"(?<=/)\d+(?=/|$)")
_WOOD = re.compile(r"(?<=^/woods/)(?!new$)[a-z0-9-]+")
# what is saved to disk and no page
_FILES = re.compile(r"\.(pdf|zip|ngc|png|jpg|svg|csv|json|toml|css|js)$|^/(static|api)/|/(programs|files?)(/|$)")


def kind_of(path: str) -> str:
    """Return what kind of page an address leads to: numbers, names of woods and what a query says left out."""
    parts = urlsplit(path)
    asked = "&".join(sorted(name for name, _ in parse_qsl(parts.query, keep_blank_values=True)))
    return _WOOD.sub("NAME", _NUMBER.sub("N", parts.path)) + (f"?{asked}" if asked else "")


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """The path of one page of each kind, the doors first; and the links that lead nowhere, with what they answer."""

    paths: tuple[str, ...]
    broken: tuple[str, ...]


def find_pages(page: Page, address: str) -> Found:
    """Follow every link and return what was found."""
    found: dict[str, str] = {}
    broken: dict[str, str] = {}
    waiting = deque(DOORS)
    while waiting:
        path = waiting.popleft()
        kind = kind_of(path)
        if kind in found or kind in broken or _FILES.search(urlsplit(path).path):
            continue
        answer = page.request.get(address + path)
        if not answer.ok and path != "/nowhere":
            broken[kind] = f"{path} answers {answer.status}"
            continue
        if "text/html" not in answer.headers.get("content-type", ""):
            continue
        found[kind] = path
        page.goto(address + path)
        for href in page.eval_on_selector_all("a[href]", "links => links.map(a => a.getAttribute('href'))"):
            parts = urlsplit(urljoin(address + path, href))
            if f"{parts.scheme}://{parts.netloc}" == address:
                waiting.append(parts.path + (f"?{parts.query}" if parts.query else ""))
    return Found(paths=tuple(found.values()), broken=tuple(broken.values()))
