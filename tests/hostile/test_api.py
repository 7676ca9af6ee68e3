"""The JSON interface, asked at random by its own description: never a traceback, never a slow answer, one shape for every refusal.

Cases are drawn from /api/v1/openapi.json, valid and not; pages are asked the same way, with numbers and words in their
addresses. A few hundred by hand and in `make check`, others in each lap of `make soak`, 20,000 in `make campaign`.
"""

from __future__ import annotations

import json
import random
import time
from collections.abc import Iterator
from typing import Any
from urllib.parse import quote

import pytest

from evenburn.services.book.open_book import Book, open_book_at
from evenburn.services.book.plan_piece import plan_piece
from evenburn.services.book.take_in import take_in_batch
from service.book.conftest import small_batch
from soaking import seed, size
from web.conftest import NOW, Browser, browser_on

CASES = size(daily=250, lap=400, campaign=20_000)
SLOWEST_s = 10.0
KNOWN = ("1", "2", "club-maple", "beech", "two-for-the-regatta", "boathouse-bench", "mark[1].tone_L", "burnt", "front")
ODD: tuple[Any, ...] = (
    *(None, True, False, 0, -1, 1, 2, 10**30, -(10**18), 1e308, 0.5, "", " ", "\x00", "\u202e", "💥", "a" * 5000),
    *("../../etc/passwd", "<script>alert(1)</script>", "' OR 1=1 --", "NaN", "1e999", "%00", "%2e%2e%2f", "\ud7ff"),
    *([], {}, [[]], {"": {}}, {"mark[1].hold": None}, {"mark[999].tone_L": 1}, {"blank": "x"}, {"wood": ["beech"]}),
)


@pytest.fixture(scope="module")
def asked(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Browser, Book]]:
    folder = tmp_path_factory.mktemp("api")
    book = open_book_at(folder / "book")
    taken = take_in_batch(book, small_batch(folder / "own"), now=NOW)
    plan_piece(book, taken.piece_ids[0], now=NOW)
    yield browser_on(book), book
    book.close()


def drawn(chance: random.Random, schema: Any, whole: dict[str, Any], depth: int = 0) -> Any:
    """Return a value for a schema: mostly one that fits it, now and then anything."""
    if chance.random() < 0.2 or depth > 6:
        return chance.choice(ODD)
    if "$ref" in schema:
        return drawn(chance, whole["components"]["schemas"][schema["$ref"].rsplit("/", 1)[-1]], whole, depth + 1)
    for kind in ("anyOf", "oneOf", "allOf"):
        if kind in schema:
            return drawn(chance, chance.choice(schema[kind]), whole, depth + 1)
    if "enum" in schema:
        return chance.choice(schema["enum"])
    if "const" in schema:
        return schema["const"]
    match schema.get("type"):
        case "object":
            names = list(schema.get("properties", {}))
            given = {
                n: drawn(chance, schema["properties"][n], whole, depth + 1) for n in names if chance.random() < 0.8
            }
            if not names or chance.random() < 0.2:
                given[chance.choice(KNOWN)] = drawn(chance, {}, whole, depth + 1)
            return given
        case "array":
            return [drawn(chance, schema.get("items", {}), whole, depth + 1) for _ in range(chance.randrange(4))]
        case "integer":
            return chance.choice((0, 1, 2, 3, chance.randrange(-5, 5000)))
        case "number":
            return chance.choice((0.0, 1.0, chance.uniform(-100.0, 1000.0)))
        case "boolean":
            return chance.random() < 0.5
        case "null":
            return None
        case _:
            return chance.choice(KNOWN)


def filled(chance: random.Random, path: str, parameters: list[dict[str, Any]], whole: dict[str, Any]) -> str:
    """Return an address with its places filled, and some of its questions asked."""
    asks = []
    for one in parameters:
        value = drawn(chance, one.get("schema", {}), whole)
        if one["in"] == "path" and chance.random() < 0.6:
            value = chance.choice(KNOWN)
        text = quote(str(value).encode("utf-8", "replace")[:2000], safe="")
        if one["in"] == "path":
            path = path.replace("{" + one["name"] + "}", text or "%20")
        elif chance.random() < 0.6:
            asks.append(f"{quote(one['name'])}={text}")
    return path + ("?" + "&".join(asks) if asks else "")


def demand_told(answer: Any, what: str) -> None:
    """Demand a sound answer, or a refusal in the one shape."""
    assert answer.status_code < 500, f"{what}: {answer.status_code} {answer.text[:300]}"
    if answer.status_code >= 400:
        told = answer.json()
        assert set(told) == {"ok", "error", "errors", "hint", "status"}, what
        assert told["error"], what
        assert told["status"] == answer.status_code, what
        assert "Traceback" not in answer.text, what


def test_whatever_is_asked_by_its_description_is_answered_or_refused_in_words(asked: tuple[Browser, Book]) -> None:
    browser, _book = asked
    whole = browser.get("/api/v1/openapi.json").json()
    every = [(path, verb, told) for path, verbs in whole["paths"].items() for verb, told in verbs.items()]
    assert len(every) > 15
    chance = random.Random(seed(2026))  # noqa: S311  # cases, no secrets
    seen = {"answered": 0, "refused": 0}
    for number in range(CASES):
        path, verb, told = chance.choice(every)
        if path.endswith("/plan") and chance.random() < 0.9:
            continue  # planning takes a second; a tenth of these will do
        address = filled(chance, path, told.get("parameters", []), whole)
        body: dict[str, Any] = {}
        if "requestBody" in told:
            content = told["requestBody"]["content"]["application/json"]["schema"]
            text = json.dumps(drawn(chance, content, whole))
            if chance.random() < 0.1:
                text = text[: chance.randrange(len(text) + 1)] + chance.choice(("", "}", "\x00", "[" * 3000))
            body = {"content": text.encode(), "headers": {"content-type": "application/json"}}
        began = time.perf_counter()
        answer = browser.client.request(verb.upper(), address, **body)
        assert time.perf_counter() - began < SLOWEST_s, (number, verb, address)
        demand_told(answer, f"case {number}: {verb} {address} {str(body.get('content'))[:300]}")
        seen["answered" if answer.status_code < 400 else "refused"] += 1
    print(f"interface: {sum(seen.values())} cases, {seen}")  # noqa: T201  # for a soak
    assert min(seen.values()) > CASES // 20, seen  # both doors were used


def test_the_book_is_sound_after_all_of_it(asked: tuple[Browser, Book]) -> None:
    browser, book = asked
    with book.reading() as connection:
        assert connection.exec_driver_sql("PRAGMA integrity_check").scalar() == "ok"
    for address in ("/", "/pieces", "/woods", "/machine", "/shelf", "/logbook", "/changes"):
        answer = browser.get(address)
        assert answer.status_code == 200, (address, answer.text[:200])


PAGES = (
    *(
        "/pieces/{}",
        "/pieces/{}/proof",
        "/pieces/{}/customer",
        "/pieces/{}/step?name={}",
        "/woods/{}",
        "/woods/{}/change",
    ),
    *(
        "/cards/{}",
        "/machine/{}",
        "/machines/{}",
        "/shelf/{}",
        "/logbook/{}",
        "/batches/{}",
        "/work/{}",
        "/pieces?search={}",
    ),
    *(
        "/pieces?page={}",
        "/logbook?page={}&search={}",
        "/shelf?page={}",
        "/woods?page={}",
        "/?page={}",
        "/pieces/new?blank={}",
    ),
    *(
        "/pieces/{}/proof/{}/{}/{}.png",
        "/pieces/{}/proof/window.png?offset={}&spacing={}&mark={}",
        "/pieces/1/proof/3/{}/{}.png?offset={}",
    ),
    *("/static/{}", "/phone?aim={}", "/{}"),
)


def test_pages_with_anything_in_their_addresses_never_break(asked: tuple[Browser, Book]) -> None:
    browser, _book = asked
    chance = random.Random(seed(711))  # noqa: S311  # cases, no secrets
    for number in range(CASES):
        page = chance.choice(PAGES)
        parts = [
            quote(str(chance.choice((*ODD, *KNOWN, *KNOWN))).encode("utf-8", "replace")[:1500], safe="") or "%20"
            for _ in range(page.count("{}"))
        ]
        address = page.format(*parts)
        began = time.perf_counter()
        answer = browser.client.get(address, follow_redirects=False)
        assert time.perf_counter() - began < SLOWEST_s, (number, address)
        assert answer.status_code < 500, f"case {number}: {address}: {answer.status_code} {answer.text[-600:]}"
        assert "Traceback" not in answer.text, address
    print(f"pages: {CASES} cases")  # noqa: T201  # for a soak
