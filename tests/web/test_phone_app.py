"""What a phone may do at the door, and that nobody can do anything else there."""

from __future__ import annotations

import io
import re
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import httpx2 as httpx
import pytest
from PIL import Image
from starlette.testclient import TestClient

from evenburn.core.errors import StorageError
from evenburn.services.book.aims import Aim
from evenburn.services.book.deliver import Delivery, begin_delivery, delivery_of, end_delivery, tray_of
from evenburn.services.book.open_book import Book
from evenburn.web.guard import UPLOAD_bytes
from evenburn.web.phone_app import PhoneApp, way_in
from web.conftest import NOW

NAME = "192.168.7.20:8490"
PHONE = ("192.168.7.31", 40001)
OTHER = ("192.168.7.66", 40002)
LATER = "2026-06-09T08:10:00+00:00"


def shot(colour: int = 0) -> bytes:
    stage = io.BytesIO()
    Image.linear_gradient("L").resize((160, 120)).convert("RGB").point(lambda v: (v + colour) % 256).save(stage, "JPEG")
    return stage.getvalue()


class AtTheDoor:
    """A door that is open, with a phone before it and somebody else."""

    def __init__(self, book: Book) -> None:
        self.book, self.now, self.ended = book, NOW, 0
        self.token = begin_delivery(book, Aim(), now=NOW).token
        self.way = way_in(self.token)
        self.app = PhoneApp(book, name=NAME, now=lambda: self.now, done=self._done)
        self.phone, self.other = self._client(PHONE), self._client(OTHER)

    def _done(self) -> None:
        self.ended += 1

    def _client(self, address: tuple[str, int]) -> TestClient:
        return TestClient(self.app, base_url=f"http://{NAME}", client=address, raise_server_exceptions=True)

    def send(self, data: bytes, name: str = "IMG_1.jpg", **more: object) -> httpx.Response:
        return self.phone.post(self.way, files={"photographs": (name, data)}, **more)  # type: ignore[arg-type]


@pytest.fixture
def door(book: Book) -> AtTheDoor:
    return AtTheDoor(book)


def test_a_phone_gets_the_page_and_delivers(door: AtTheDoor) -> None:
    page = door.phone.get(door.way)
    assert page.status_code == 200
    assert "Photographs for the bench" in page.text
    assert "10\u00a0min" in page.text
    answer = door.send(shot())
    assert answer.status_code == 200
    assert "Arrived" in answer.text
    assert [p.name for p in tray_of(door.book)] == ["IMG_1.jpg"]


def test_the_scripts_answer_has_the_shape_of_every_answer(door: AtTheDoor) -> None:
    json = {"accept": "application/json"}
    assert door.send(shot(), headers=json).json() == {"ok": True, "arrived": ["IMG_1.jpg"]}
    refused = door.send(b"<svg/>", "x.svg", headers=json)
    assert refused.status_code == 422
    told = refused.json()
    assert set(told) >= {"ok", "error", "errors", "hint", "status"}
    assert told["ok"] is False
    assert "no photograph" in told["error"]


def test_several_at_once_are_taken_each_by_itself(door: AtTheDoor) -> None:
    files = [
        ("photographs", ("a.jpg", shot(1))),
        ("photographs", ("b.jpg", b"no")),
        ("photographs", ("c.jpg", shot(2))),
    ]
    answer = door.phone.post(door.way, files=files)
    assert answer.status_code == 200
    assert "it is no photograph" in answer.text
    assert sorted(p.name for p in tray_of(door.book)) == ["a.jpg", "c.jpg"]


@pytest.mark.parametrize(
    "path", ["/", "/d", "/d/", "/static/book.css", "/phone", "/today", "/api/v1/openapi.json", "/favicon.ico"]
)
def test_nothing_else_is_there(door: AtTheDoor, path: str) -> None:
    for method in ("GET", "POST"):
        answer = door.phone.request(method, path)
        assert answer.status_code == 404
        assert answer.text == "Nothing here.\n"


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "HEAD", "TRACE"])
def test_nothing_else_may_be_asked(door: AtTheDoor, method: str) -> None:
    assert door.phone.request(method, door.way).status_code == 404


def test_a_wrong_token_is_told_nothing(door: AtTheDoor) -> None:
    wrong = way_in("A" * 22)
    assert door.phone.get(wrong).status_code == 404
    assert door.phone.post(wrong, files={"photographs": ("a.jpg", shot())}).status_code == 404
    for tail in ("/x", "/../d", "?a=1#", "%00", "A"):
        assert door.phone.get(door.way + tail if tail != "?a=1#" else wrong + tail).status_code == 404
    assert tray_of(door.book) == ()


def test_a_used_token_is_told_nothing(door: AtTheDoor) -> None:
    door.send(shot())
    last = door.phone.post(door.way, data={"done": "1"}, files={"none": ("", b"")})
    assert "One photograph arrived" in last.text
    assert door.ended == 1
    assert door.phone.get(door.way).status_code == 404
    assert door.send(shot(3)).status_code == 404
    assert len(tray_of(door.book)) == 1


def test_a_token_whose_time_is_over_is_told_nothing(door: AtTheDoor) -> None:
    assert door.phone.get(door.way).status_code == 200
    door.now = LATER
    assert door.phone.get(door.way).status_code == 404
    assert door.send(shot()).status_code == 404
    assert tray_of(door.book) == ()


def test_a_token_that_was_switched_off_is_told_nothing(door: AtTheDoor) -> None:
    end_delivery(door.book, now=NOW)
    assert door.phone.get(door.way).status_code == 404


def test_another_phone_gets_nothing_once_the_first_has_come(door: AtTheDoor) -> None:
    assert door.phone.get(door.way).status_code == 200
    answer = door.other.get(door.way)
    assert answer.status_code == 404
    assert "another phone" in answer.text
    assert door.other.post(door.way, files={"photographs": ("a.jpg", shot())}).status_code == 404
    assert door.phone.get(door.way).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        {"host": "evil.example"},
        {"host": "evil.example:8490"},
        {"host": "localhost:8490"},
        {"host": "192.168.7.20"},
        {"host": "192.168.7.20:8460"},
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": "http://192.168.7.20:8460"},
        {"referer": "http://evil.example/"},
        {"sec-fetch-site": "cross-site"},
    ],
)
def test_another_name_or_another_page_gets_nothing(door: AtTheDoor, headers: dict[str, str]) -> None:
    assert door.phone.get(door.way, headers=headers).status_code == 404
    answer = door.send(shot(), headers=headers)
    assert (answer.status_code, answer.text) == (404, "Nothing here.\n")
    assert tray_of(door.book) == ()


def test_what_a_phone_says_of_its_address_is_not_believed(door: AtTheDoor) -> None:
    assert door.phone.get(door.way).status_code == 200
    assert door.other.get(door.way, headers={"x-forwarded-for": PHONE[0]}).status_code == 404


def test_too_much_is_refused_before_it_is_read(door: AtTheDoor) -> None:
    head = {"content-length": str(UPLOAD_bytes + 1), "accept": "application/json"}
    answer = door.phone.post(
        door.way, content=b"x", headers={**head, "content-type": "multipart/form-data; boundary=b"}
    )
    assert answer.status_code == 422
    assert "130 MB" in answer.json()["error"]


def test_too_much_is_refused_while_it_comes(door: AtTheDoor, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("evenburn.web.phone_app.UPLOAD_bytes", 200_000)

    def parts() -> object:
        yield b'--b\r\ncontent-disposition: form-data; name="photographs"; filename="a.jpg"\r\n\r\n'
        for _ in range(30):
            yield b"x" * 10_000

    answer = door.phone.post(
        door.way,
        content=parts(),  # type: ignore[arg-type]
        headers={"content-type": "multipart/form-data; boundary=b", "accept": "application/json"},
    )
    assert answer.status_code == 422
    assert "larger than" in answer.json()["error"]
    assert tray_of(door.book) == ()


@pytest.mark.parametrize(
    ("content", "kind"),
    [
        (b"", "multipart/form-data"),
        (b"--b\r\n", "multipart/form-data; boundary=b"),
        (b"{}", "application/json"),
        (b"a=1", "application/x-www-form-urlencoded"),
        (b"\x00" * 50, "multipart/form-data; boundary=b"),
    ],
)
def test_what_is_no_form_is_told_in_words(door: AtTheDoor, content: bytes, kind: str) -> None:
    answer = door.phone.post(door.way, content=content, headers={"content-type": kind})
    assert answer.status_code == 422
    assert "Not used" in answer.text
    assert "Traceback" not in answer.text


def test_a_name_is_shown_and_never_run_or_followed(door: AtTheDoor) -> None:
    answer = door.send(shot(), "../../<script>alert(1)</script>.jpg")
    assert "<script>alert" not in answer.text
    assert [p.name for p in tray_of(door.book)] == ["script>.jpg"]


def test_every_answer_is_strict_and_sets_no_cookie(door: AtTheDoor) -> None:
    for answer in (door.phone.get(door.way), door.phone.get("/"), door.phone.get(way_in("A" * 22))):
        policy = answer.headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["cache-control"] == "no-store"
        assert "set-cookie" not in answer.headers


def test_the_page_asks_for_nothing_from_anywhere(door: AtTheDoor) -> None:
    page = door.phone.get(door.way).text
    asked = re.findall(r'(?:src|href|url)\s*[=(]\s*"?([^")\s]+)', page)
    assert asked
    assert [a for a in asked if not a.startswith(("data:", "URL.createObjectURL"))] == []


STRICT = {"content-security-policy", "x-content-type-options", "cache-control", "referrer-policy"}


@pytest.mark.parametrize("accept", ["text/html", "application/json"])
def test_what_goes_wrong_as_the_time_runs_out_is_told_as_strictly_as_all_else(
    door: AtTheDoor, monkeypatch: pytest.MonkeyPatch, accept: str
) -> None:
    """The form is no form; before that can be shown on the page, the page is over."""
    broken = {"content-type": "multipart/form-data; boundary=b", "accept": accept}
    late = iter([NOW, LATER])
    monkeypatch.setattr(door.app, "now", lambda: next(late, LATER))

    answer = door.phone.post(door.way, content=b"\x00" * 50, headers=broken)

    assert answer.status_code == (404 if accept == "text/html" else 422)
    assert set(answer.headers) >= STRICT
    assert "Traceback" not in answer.text


def test_a_book_that_cannot_be_asked_is_told_in_words(door: AtTheDoor, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object, **__: object) -> None:
        raise StorageError("the disk is gone", hint="Plug it in.")

    monkeypatch.setattr("evenburn.web.phone_app.delivery_of", broken)
    answer = door.phone.get(door.way)

    assert answer.status_code == 503
    assert "the disk is gone" in answer.text
    assert set(answer.headers) >= STRICT


def test_of_two_phones_that_come_together_one_is_let_in(door: AtTheDoor, monkeypatch: pytest.MonkeyPatch) -> None:
    """Both are past the first look when the book answers: only then is it decided who is the one."""
    both = Barrier(2, timeout=10.0)

    def slow(book: Book, token: str, *, now: str) -> Delivery:
        both.wait()
        return delivery_of(book, token, now=now)

    monkeypatch.setattr("evenburn.web.phone_app.delivery_of", slow)
    with ThreadPoolExecutor(2) as pool:
        asked = [pool.submit(phone.get, door.way) for phone in (door.phone, door.other)]
        codes = sorted(one.result().status_code for one in asked)

    assert codes == [200, 404]


def test_who_has_no_token_shuts_nobody_out(door: AtTheDoor) -> None:
    assert door.other.get(way_in("A" * 22)).status_code == 404
    assert door.phone.get(door.way).status_code == 200
