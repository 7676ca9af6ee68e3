"""What a phone is shown: one page at an address that nobody can guess, where photographs are handed in. Nothing else is here.

    GET  /d/TOKEN   the page
    POST /d/TOKEN   photographs, or that it was all

No cookies, no other route, no file of the book ever handed out. Whoever calls it by another name than its address (DNS
rebinding), from another page, or without the token, is told that nothing is here. The phone that opens the page first is the
one; the token is of no use to another.
"""

from __future__ import annotations

import re
import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers, UploadFile
from starlette.formparsers import MultiPartException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.types import Message, Receive, Scope, Send

from evenburn.core.errors import EvenburnError, InvalidInput, NotFound
from evenburn.services.book.deliver import (
    MOST_PHOTOGRAPHS,
    Delivery,
    Photograph,
    arrived,
    deliver_photograph,
    delivery_of,
    end_delivery,
    label,
)
from evenburn.services.book.open_book import Book
from evenburn.web.errors import told
from evenburn.web.guard import UPLOAD_bytes, refusal
from evenburn.web.phone_look import HEADERS, dress, phone_html
from evenburn.web.render import wants_json

FIELD = "photographs"
_PATH = re.compile(r"/d/([A-Za-z0-9_-]{22})")


def way_in(token: str) -> str:
    """Return the path that a token opens."""
    return f"/d/{token}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Turned:
    """A photograph that was not taken, and why."""

    name: str
    error: str
    hint: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PhonePage:
    """The page: what it is for, how long it is open, what came and what did not."""

    delivery: Delivery
    action: str
    came: tuple[Photograph, ...]
    turned: tuple[Turned, ...]
    field: str
    most_bytes: int
    left: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PhoneDone:
    """The last page: it was all, or nothing is here."""

    came: int | None


class PhoneApp:
    """The app behind the door."""

    def __init__(self, book: Book, *, name: str, now: Callable[[], str], done: Callable[[], None]) -> None:
        """Take the book, the host and port that the door is rightly called by, a clock, and what to do when it was all."""
        self.book = book
        self.name = name
        self.now = now
        self.done = done
        self._phone: str | None = None  # address of the phone that came first with the token
        self._claiming = threading.Lock()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            return
        answer = await self._answer(scope, _counted(receive))
        answer.headers.update(HEADERS)
        answer.headers["content-security-policy"] = dress().policy
        await answer(scope, receive, send)

    async def _answer(self, scope: Scope, receive: Receive) -> Response:
        request = Request(scope, receive)
        found = _PATH.fullmatch(scope["path"])
        known = refusal(Headers(scope=scope), method=scope["method"], names=(self.name,)) is None
        if found is None or not known or scope["method"] not in {"GET", "POST"}:
            return PlainTextResponse("Nothing here.\n", status_code=404)
        token, caller = found[1], scope["client"][0] if scope.get("client") else ""
        try:
            self._demand_the_one(caller)
            delivery = await run_in_threadpool(delivery_of, self.book, token, now=self.now())
            self._claim(caller)  # not before the token is known: who guesses shuts nobody out
            if scope["method"] == "POST":
                return await self._take(request, token, delivery)
            return await self._page(request, delivery)
        except NotFound as error:
            return _nothing_here(request, error)
        except Exception as error:  # noqa: BLE001  # whatever it is, the phone has to be told in words
            return await self._refused(request, token, error)

    def _demand_the_one(self, caller: str) -> None:
        if self._phone not in (None, caller):
            raise NotFound("another phone opened this page")

    def _claim(self, caller: str) -> None:
        """Make a caller the one, unless another came meanwhile: looking and taking are one step."""
        with self._claiming:
            self._demand_the_one(caller)
            self._phone = caller

    async def _refused(self, request: Request, token: str, error: Exception) -> Response:
        """Tell what went wrong with a whole request, in words or as JSON."""
        what = told(error)
        if wants_json(request):
            return JSONResponse(what.document(), status_code=what.status)
        turned = (Turned(name="", error=what.error, hint=what.hint),)
        try:
            delivery = await run_in_threadpool(delivery_of, self.book, token, now=self.now())
            return await self._page(request, delivery, turned, status=what.status)
        except NotFound as over:  # its time ran out meanwhile
            return _nothing_here(request, over)
        except Exception:  # noqa: BLE001  # the book cannot even be asked what the page is for
            return PlainTextResponse(f"{what.error}. {what.hint}\n", status_code=what.status)

    async def _take(self, request: Request, token: str, delivery: Delivery) -> Response:
        if int(request.headers.get("content-length") or 0) > UPLOAD_bytes:
            raise _too_much()
        came: list[Photograph] = []
        turned: list[Turned] = []
        try:
            async with request.form(max_files=MOST_PHOTOGRAPHS, max_fields=4, max_part_size=1024) as form:
                files = [part for part in form.getlist(FIELD) if isinstance(part, UploadFile) and part.filename]
                if not files and form.get("done"):
                    return await self._end(token, delivery)
                for part in files:
                    name, data = label(part.filename or ""), await part.read()
                    try:
                        came.append(
                            await run_in_threadpool(
                                deliver_photograph, self.book, token, data=data, name=name, now=self.now()
                            )
                        )
                    except NotFound:
                        raise
                    except EvenburnError as error:
                        turned.append(_turned(name, error))
        except (MultiPartException, ClientDisconnect, ValueError) as error:
            if isinstance(error, EvenburnError):
                raise
            raise InvalidInput({FIELD: "did not come as a form with photographs"}) from error
        if not files:
            turned.append(Turned(name="", error="no photograph was chosen", hint="Take or choose one first."))
        if wants_json(request):
            return _as_json(came, turned)
        return await self._page(request, delivery, tuple(turned), status=422 if turned and not came else 200)

    async def _end(self, token: str, delivery: Delivery) -> Response:
        came = await run_in_threadpool(arrived, self.book, after_id=delivery.after_id, aim=delivery.aim.aim)
        await run_in_threadpool(end_delivery, self.book, token=token, now=self.now())
        self.done()
        return phone_html("phone_done.html", PhoneDone(came=len(came)))

    async def _page(
        self, request: Request, delivery: Delivery, turned: tuple[Turned, ...] = (), *, status: int = 200
    ) -> Response:
        came = await run_in_threadpool(arrived, self.book, after_id=delivery.after_id, aim=delivery.aim.aim)
        return phone_html(
            "phone_door.html",
            PhonePage(
                delivery=delivery,
                action=request.scope["path"],
                came=came,
                turned=turned,
                field=FIELD,
                most_bytes=UPLOAD_bytes,
                left=max(0, MOST_PHOTOGRAPHS - len(came)),
            ),
            status=status,
        )


def _nothing_here(request: Request, error: NotFound) -> Response:
    if wants_json(request):
        return JSONResponse(told(error).document(), status_code=404)
    return phone_html("phone_done.html", PhoneDone(came=None), status=404)


def _turned(name: str, error: EvenburnError) -> Turned:
    """Tell of one photograph why it was not taken; its name stands beside, so it is not said again."""
    what = told(error)
    text = what.error.removeprefix(f"{name}: ")
    return Turned(name=name, error=f"it {text}" if text != what.error else text, hint=what.hint)


def _as_json(came: list[Photograph], turned: list[Turned]) -> Response:
    """Return what came as JSON; what did not, in the shape of every error."""
    names = [photograph.name for photograph in came]
    if not turned:
        return JSONResponse({"ok": True, "arrived": names})
    first = turned[0]
    errors = [{"field": FIELD, "text": one.error} for one in turned]
    document: dict[str, Any] = {"ok": False, "error": first.error, "errors": errors, "hint": first.hint, "status": 422}
    return JSONResponse({**document, "arrived": names}, status_code=422)


def _too_much() -> InvalidInput:
    return InvalidInput(
        {FIELD: f"are larger than the {UPLOAD_bytes // (1024 * 1024)} MB that are allowed at once; nothing was kept"},
        hint="Send fewer at once.",
    )


def _counted(receive: Receive) -> Receive:
    """Return the same messages, ended where more comes than is allowed."""
    seen = 0

    async def counted() -> Message:
        nonlocal seen
        message = await receive()
        seen += len(message.get("body", b""))
        if seen > UPLOAD_bytes:
            raise _too_much()
        return message

    return counted
