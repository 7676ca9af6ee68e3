"""What every page works with: the open book, the clock, and the long work that is under way."""

from __future__ import annotations

from collections.abc import Callable
from contextvars import ContextVar
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cache
from typing import Annotated

from fastapi import Depends, Request
from starlette.types import ASGIApp, Receive, Scope, Send

from evenburn.services.book.aside import Run, here
from evenburn.services.book.open_book import Book
from evenburn.services.book.settings import Settings, settings_of
from evenburn.web import figures
from evenburn.web.work import Work


def clock_now() -> str:
    """Return this moment, ISO 8601 in UTC."""
    return datetime.now(tz=UTC).isoformat(timespec="seconds")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Desk:
    """The open book, the clock, what is being worked on, and where heavy work runs."""

    book: Book
    now: Callable[[], str] = clock_now
    run: Run = here
    work: Work = field(default_factory=Work)


def desk_of(request: Request) -> Desk:
    """Return the desk that the app was made for."""
    desk = request.app.state.desk
    assert isinstance(desk, Desk)  # noqa: S101  # create_app put it there
    return desk


AtDesk = Annotated[Desk, Depends(desk_of)]


# ---- what the person prefers, for the request under way ----------------------------------------------------------

_PREFERENCES: ContextVar[Callable[[], Settings]] = ContextVar("preferences", default=Settings)


def preferences() -> Settings:
    """Return what the person prefers; the book is asked once in a request, and only if somebody wants to know."""
    return _PREFERENCES.get()()


def _prefer(book: Book) -> None:
    asked = cache(lambda: settings_of(book))
    _PREFERENCES.set(asked)
    figures.obey(lambda: asked().units)


class Preferring:
    """Lets every figure of a request follow what the person prefers."""

    def __init__(self, app: ASGIApp, *, book: Book) -> None:
        self.app = app
        self.book = book

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on."""
        if scope["type"] == "http":
            _prefer(self.book)
        await self.app(scope, receive, send)
