"""The door for a phone: a second, tiny server on the local network, there only while a person has switched it on.

The book itself listens on this computer alone. The door has a socket of its own, bound to this computer's address in the local
network, and behind it an app that knows two requests and nothing else (`phone_app`). It closes when the phone says that it is
done, when it is switched off, and when its time is over.
"""

from __future__ import annotations

import ipaddress
import os
import socket
import threading
from collections.abc import Callable
from dataclasses import dataclass

import uvicorn

from evenburn.core.errors import EvenburnError
from evenburn.services.book.aims import Aim
from evenburn.services.book.deliver import Begun, OPEN_min, begin_delivery, end_delivery
from evenburn.services.book.open_book import Book
from evenburn.web.phone_app import PhoneApp, way_in

FIRST_PORT, PORTS_TRIED = 8490, 20
MOST_AT_ONCE = 16  # connections; a phone needs six
CLOSES_WITHIN_s = 3.0
# where the routing table is asked for: a place in the world, then the three blocks of local networks (RFC 5737, RFC 1918)
ASKED = ("198.51.100.1", "192.168.255.254", "10.255.255.254", "172.31.255.254")


VARIABLE = "EVENBURN_PHONE_ADDRESS"  # for a computer in several networks, where the phone is not in the first


class NoNetwork(EvenburnError):
    """A phone cannot reach this computer."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Open:
    """The door as it stands open: where, and what for."""

    address: str
    begun: Begun


def local_address() -> str | None:
    """Return this computer's address in its local network, None where it has none.

    The routing table is asked which address would be used; nothing is sent. An address of the open internet is not taken: what
    is delivered stays in the house. EVENBURN_PHONE_ADDRESS names another address of this computer.
    """
    named = os.environ.get(VARIABLE)
    if named:
        return named if _stays_in_the_house(named, loopback=True) else None
    for place in ASKED:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
            try:
                asking.connect((place, 9))  # of datagrams: chooses a way, and sends nothing
                found = str(asking.getsockname()[0])
            except OSError:
                continue
        if _stays_in_the_house(found, loopback=False):
            return found
    return None


def _stays_in_the_house(text: str, *, loopback: bool) -> bool:
    try:
        address = ipaddress.IPv4Address(text)
    except ValueError:
        return False
    outside = address.is_global or address.is_unspecified or address.is_multicast or address.is_reserved
    return not outside and (loopback or not address.is_loopback)


class Door:
    """At most one open door of one book."""

    def __init__(self, book: Book, *, now: Callable[[], str], find: Callable[[], str | None] = local_address) -> None:
        self._book = book
        self._now = now
        self._find = find
        self._lock = threading.RLock()
        self._open: Open | None = None
        self._last: Open | None = None
        self._server: uvicorn.Server | None = None
        self._thread: threading.Thread | None = None
        self._timer: threading.Timer | None = None

    def reachable(self) -> bool:
        """Return whether there is a local network to open a door to."""
        return self._find() is not None

    def open(self, aim: Aim) -> Open:
        """Open the door for photographs of something; another that stands open is closed.

        Raises
        ------
        NoNetwork
            If this computer is in no local network, or no port of it can be had.
        NotFound
            If what is aimed at is not in the book.
        """
        with self._lock:
            self.close()
            host = self._find()
            if host is None:
                raise NoNetwork(
                    "this computer is in no local network, so no phone can reach it",
                    hint="Join it to the Wi-Fi that the phone is in, then switch on again.",
                )
            listening = _own_socket(host)
            try:
                begun = begin_delivery(self._book, aim, now=self._now())
            except EvenburnError:
                listening.close()
                raise
            name = f"{host}:{listening.getsockname()[1]}"
            self._serve(listening, name=name)
            self._open = Open(address=f"http://{name}{way_in(begun.token)}", begun=begun)
            self._timer = threading.Timer(60.0 * OPEN_min, self.close)
            self._timer.daemon = True
            self._timer.start()
            return self._open

    def standing(self) -> Open | None:
        """Return the door if it stands open."""
        with self._lock:
            over = self._open is not None and self._now() >= self._open.begun.expires_at
            ended = self._server is not None and self._server.should_exit
            if over or ended:
                self.close()
            return self._open

    def last(self) -> Open | None:
        """Return the door as it stood open before, None where it did not since the program began."""
        return self._last

    def close(self) -> None:
        """Close the door, so that its port answers nobody, and end what it was open for."""
        with self._lock:
            server, thread, timer, was = self._server, self._thread, self._timer, self._open
            self._server = self._thread = self._timer = self._open = None
            if timer is not None:
                timer.cancel()
            if server is not None:
                server.should_exit = True
            if thread is not None and thread is not threading.current_thread():
                thread.join(CLOSES_WITHIN_s)
            if was is not None:
                self._last = was
                end_delivery(self._book, token=was.begun.token, now=self._now())

    def _serve(self, listening: socket.socket, *, name: str) -> None:
        app = PhoneApp(self._book, name=name, now=self._now, done=lambda: setattr(server, "should_exit", True))
        server = uvicorn.Server(
            uvicorn.Config(
                app,
                log_level="warning",
                access_log=False,
                lifespan="off",
                proxy_headers=False,  # nobody stands between; what a phone says of its address is not believed
                server_header=False,
                limit_concurrency=MOST_AT_ONCE,
                timeout_graceful_shutdown=2,
                ws="none",
            )
        )
        thread = threading.Thread(
            target=server.run, kwargs={"sockets": [listening]}, daemon=True, name="door for a phone"
        )
        thread.start()
        self._server, self._thread = server, thread


def _own_socket(host: str) -> socket.socket:
    for port in range(FIRST_PORT, FIRST_PORT + PORTS_TRIED):
        opened = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)  # asyncio then sends at once
        opened.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            opened.bind((host, port))
        except OSError:
            opened.close()
            continue
        opened.listen(MOST_AT_ONCE)
        return opened
    raise NoNetwork(
        f"no port from {FIRST_PORT} to {FIRST_PORT + PORTS_TRIED - 1} can be had on {host}",
        hint="Another program holds them, or this computer forbids it.",
    )
