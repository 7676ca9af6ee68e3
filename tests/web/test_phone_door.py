"""The door: a second server, there only while it is switched on, on an address that stays in the house."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from typing import Any

import httpx2 as httpx
import pytest

from evenburn.core.errors import NotFound
from evenburn.services.book.aims import Aim
from evenburn.services.book.deliver import delivery_of
from evenburn.services.book.open_book import Book
from evenburn.web.phone_serving import VARIABLE, Door, NoNetwork, Open, local_address
from evenburn.web.serving import own_socket, serve
from web.conftest import NOW

OVER = "2026-06-09T08:10:00+00:00"


@pytest.fixture
def clock() -> list[str]:
    return [NOW]


@pytest.fixture
def door(book: Book, clock: list[str]) -> Iterator[Door]:
    made = Door(book, now=lambda: clock[-1], find=lambda: "127.0.0.1")
    yield made
    made.close()


def asked(opened: Open) -> int:
    """Return the status that the page's address answers with."""
    return httpx.get(opened.address, timeout=5.0).status_code


def answers(opened: Open) -> bool:
    """Return whether anybody listens there."""
    host, port = opened.address.removeprefix("http://").split("/")[0].split(":")
    try:
        socket.create_connection((host, int(port)), timeout=2).close()
    except OSError:
        return False
    return True


def test_it_opens_and_switching_off_closes_the_port(book: Book, door: Door) -> None:
    opened = door.open(Aim())
    assert asked(opened) == 200
    door.close()
    assert not answers(opened)
    assert door.standing() is None
    with pytest.raises(NotFound):
        delivery_of(book, opened.begun.token, now=NOW)


def test_opening_anew_closes_the_one_before(door: Door) -> None:
    first = door.open(Aim())
    second = door.open(Aim())
    assert asked(second) == 200
    assert first.begun.token != second.begun.token
    assert asked(Open(address=second.address[:-22] + first.begun.token, begun=first.begun)) == 404


def test_the_phone_that_is_done_closes_the_port(door: Door) -> None:
    opened = door.open(Aim())
    answer = httpx.post(opened.address, data={"done": "1"}, timeout=5.0)
    assert "Nothing was sent" in answer.text
    assert door.standing() is None
    assert not answers(opened)
    assert door.last() == opened


def test_when_its_time_is_over_it_closes(door: Door, clock: list[str]) -> None:
    opened = door.open(Aim())
    clock.append(OVER)
    assert asked(opened) == 404
    assert door.standing() is None
    assert not answers(opened)


def test_without_a_network_it_says_so_and_opens_nothing(book: Book) -> None:
    door = Door(book, now=lambda: NOW, find=lambda: None)
    assert not door.reachable()
    with pytest.raises(NoNetwork, match="no local network"):
        door.open(Aim())
    assert door.standing() is None


def test_what_is_not_in_the_book_opens_nothing(door: Door) -> None:
    with pytest.raises(NotFound):
        door.open(Aim(kind="piece", id=5))
    assert door.standing() is None


@pytest.mark.parametrize(
    ("named", "taken"),
    [
        ("192.168.1.7", "192.168.1.7"),
        ("10.0.0.4", "10.0.0.4"),
        ("100.64.3.2", "100.64.3.2"),
        ("127.0.0.1", "127.0.0.1"),
        ("8.8.8.8", None),
        ("0.0.0.0", None),  # noqa: S104  # refused, that is the point
        ("224.0.0.1", None),
        ("bench.example", None),
        ("::1", None),
    ],
)
def test_only_an_address_that_stays_in_the_house_is_taken(
    monkeypatch: pytest.MonkeyPatch, named: str, taken: str | None
) -> None:
    monkeypatch.setenv(VARIABLE, named)
    assert local_address() == taken


def test_the_routing_table_is_asked_and_nothing_is_sent(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(VARIABLE, raising=False)
    sent: list[str] = []
    for name in ("send", "sendto", "sendall", "sendmsg"):
        monkeypatch.setattr(socket.socket, name, lambda *_a, **_k: sent.append("sent"))
    found = local_address()
    assert sent == []
    assert found is None or not found.startswith("127.")


def test_stopping_the_program_closes_the_door(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    opened: list[Open] = []

    def stopped_by_hand(server: Any, sockets: list[socket.socket]) -> None:
        opened.append(server.config.app.state.door.open(Aim()))
        assert answers(opened[0])
        for one in sockets:
            one.close()
        raise KeyboardInterrupt

    monkeypatch.setenv(VARIABLE, "127.0.0.1")
    monkeypatch.setattr("evenburn.web.serving._Told.run", stopped_by_hand, raising=False)
    serve(book, listening=own_socket(None), ready=lambda _address: None)

    assert not answers(opened[0])
