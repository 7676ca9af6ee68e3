"""Put the app together: the guard, the pages, the JSON interface, and one place where every error ends."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import Response
from starlette.exceptions import HTTPException
from starlette.staticfiles import StaticFiles

from evenburn import __version__
from evenburn.core.errors import EvenburnError
from evenburn.web import api
from evenburn.web.desk import Desk, Preferring
from evenburn.web.guard import Guard
from evenburn.web.pages import (
    backup,
    batches,
    cards,
    customer,
    logbook,
    looks,
    machine,
    machine_cards,
    new_piece,
    phone,
    piece,
    piece_edit,
    piece_files,
    pieces,
    proof,
    settings,
    sheets,
    shelf,
    start,
    today,
    undo,
    wood,
    woods,
    work,
)
from evenburn.web.phone_serving import Door
from evenburn.web.render import YEAR_s, error_answer

STATIC = Path(__file__).parent / "static"
PAGES = (
    today,
    pieces,
    new_piece,
    piece,
    piece_edit,
    piece_files,
    proof,
    customer,
    start,
    batches,
    sheets,
    settings,
    phone,
    work,
    looks,
    undo,
    machine,
    machine_cards,
    shelf,
    woods,
    cards,
    wood,
    logbook,
    backup,
)


class Shipped(StaticFiles):
    """Files that ship with evenburn; their addresses wear its version, so a browser may keep them."""

    def file_response(self, *args: object, **kwargs: object) -> Response:
        """Return a file that may be kept."""
        answer = super().file_response(*args, **kwargs)  # type: ignore[arg-type]
        answer.headers["cache-control"] = f"public, max-age={YEAR_s}, immutable"
        return answer


def create_app(desk: Desk, *, names: Iterable[str]) -> FastAPI:
    """Return the app on an open book.

    Parameters
    ----------
    names : hosts with ports that the book is rightly called by; every other is refused.
    """
    app = FastAPI(
        title="evenburn", version=__version__, docs_url=None, redoc_url=None, openapi_url="/api/v1/openapi.json"
    )
    app.state.desk = desk
    app.state.door = Door(desk.book, now=desk.now)

    async def answer(request: Request, error: Exception) -> Response:
        return error_answer(request, error)

    for kind in (EvenburnError, HTTPException, RequestValidationError):
        app.add_exception_handler(kind, answer)
    app.mount("/static", Shipped(directory=STATIC), name="static")
    for page in PAGES:
        app.include_router(page.router, include_in_schema=False)
    app.include_router(api.router)
    app.add_middleware(Preferring, book=desk.book)
    app.add_middleware(Guard, names=tuple(names), answer=error_answer)  # added last, so it stands first
    return app
