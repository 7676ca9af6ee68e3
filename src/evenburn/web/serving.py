"""Serve the book on this computer alone: find a port, say where it is, stop cleanly."""

from __future__ import annotations

import asyncio
import errno
import gc
import logging
import socket
from collections.abc import Callable

import uvicorn

from evenburn.core.errors import StorageError
from evenburn.services.book.aside import Aside
from evenburn.services.book.open_book import Book
from evenburn.services.book.proof_kept import hold_little_memory
from evenburn.web.app import create_app
from evenburn.web.desk import Desk
from evenburn.web.guard import own_names

HOST = "127.0.0.1"
FIRST_PORT, PORTS_TRIED = 8460, 20
GRACE_s = 3  # for answers under way when a person stops the program


def own_socket(port: int | None) -> socket.socket:
    """Return a socket that listens on this computer alone.

    Parameters
    ----------
    port : that the person asked for; None to take the first that is free.

    Raises
    ------
    StorageError
        If it is taken, or may not be had.
    """
    for number in (port,) if port is not None else range(FIRST_PORT, FIRST_PORT + PORTS_TRIED):
        opened = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        opened.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            opened.bind((HOST, number))
        except OSError as error:
            opened.close()
            if port is None and error.errno == errno.EADDRINUSE:
                continue
            taken = error.errno == errno.EADDRINUSE
            raise StorageError(
                f"port {number} is taken by another program"
                if taken
                else f"port {number} cannot be had: {error.strerror}",
                hint="Leave --port out, and a free one is taken." if taken else "Choose one from 1024 to 65535.",
            ) from error
        opened.listen(128)
        return opened
    raise StorageError(
        f"all ports from {FIRST_PORT} to {FIRST_PORT + PORTS_TRIED - 1} are taken", hint="Name a free one with --port."
    )


def serve(book: Book, *, listening: socket.socket, ready: Callable[[str], None]) -> None:
    """Serve an open book until a person stops the program.

    Parameters
    ----------
    ready : told the address once pages can be asked for.
    """
    port = listening.getsockname()[1]
    aside = Aside()
    desk = Desk(book=book, run=aside)
    app = create_app(desk, names=own_names(port))
    config = uvicorn.Config(
        app,
        log_level="warning",
        access_log=False,
        lifespan="off",
        timeout_graceful_shutdown=GRACE_s,
        server_header=False,
    )
    hold_little_memory()
    gc.collect()
    gc.freeze()  # what was loaded to begin with stays; looking through it again and again would hold pages up
    logging.getLogger("uvicorn.error").addFilter(_cut_off_by_hand)
    server = _Told(config, ready=lambda: ready(f"http://{HOST}:{port}/"))
    try:
        server.run(sockets=[listening])
    except KeyboardInterrupt:
        pass  # stopped by hand, as said on the terminal
    finally:
        app.state.door.close()
        desk.work.stop_all()
        aside.close()
        desk.work.wait(GRACE_s)
        book.close()


def _cut_off_by_hand(record: logging.LogRecord) -> bool:
    """Keep out of the terminal what answers that were cut off leave behind when a person stops the program."""
    told = record.exc_info[1] if record.exc_info else None
    return not isinstance(told, asyncio.CancelledError)


class _Told(uvicorn.Server):
    """A server that says when it has begun."""

    def __init__(self, config: uvicorn.Config, *, ready: Callable[[], None]) -> None:
        super().__init__(config)
        self._ready = ready

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Begin, then say so."""
        await super().startup(sockets=sockets)
        self._ready()
