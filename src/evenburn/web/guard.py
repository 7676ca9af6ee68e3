"""Who may ask: only pages that this program itself served, on this computer, and never for more than a page needs.

The book listens on 127.0.0.1 alone, but every page that a browser on this computer shows could send requests there. So the
name it is called by (`Host`) must be its own, which ends DNS rebinding; whatever a browser tells of the page that asks
(`Origin`, `Referer`, `Sec-Fetch-Site`) must be our own too; and a form carries a token that only our pages know.
"""

from __future__ import annotations

import hmac
import re
import secrets
from collections.abc import Callable, Iterable
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from evenburn.core.errors import EvenburnError

SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
UPLOAD_bytes = 130 * 1024 * 1024  # a photograph of 96 million pixels, as JPEG, with room to spare
FORM_bytes = 1024 * 1024
TOKEN_COOKIE = "evenburn_page"  # noqa: S105  # the name of a cookie, not what is in it
TOKEN_FIELD = "page_token"  # noqa: S105  # the name of a field
TOKEN_HEADER = "x-evenburn-page"  # noqa: S105  # the name of a header
_TOKEN = re.compile(r"[A-Za-z0-9_-]{43}")

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; font-src 'self'; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
# artwork is somebody else's: shown as a picture or saved, never run, not even when opened by itself
ARTWORK_POLICY = "default-src 'none'; style-src 'unsafe-inline'; sandbox; frame-ancestors 'none'"

HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
    "cache-control": "no-store",
}


class Refused(EvenburnError):
    """A request that this program's own pages would not have sent."""

    def __init__(self, message: str, *, status: int = 403, hint: str = "") -> None:
        super().__init__(message, hint=hint)
        self.status = status


def own_names(port: int) -> frozenset[str]:
    """Return what the book on a port is rightly called."""
    return frozenset(f"{host}:{port}" for host in ("127.0.0.1", "localhost"))


def refusal(headers: Headers, *, method: str, names: Iterable[str]) -> Refused | None:
    """Return why a request is refused by its headers, or None."""
    known = frozenset(names)
    host = headers.get("host", "")
    if host not in known:
        return Refused(
            f"this book does not answer to the name {host[:80]!r}",
            hint=f"Open http://{min(known)} in the browser of this computer.",
        )
    for header in ("origin", "referer"):
        told = headers.get(header)
        if told is not None and (urlsplit(told).scheme != "http" or urlsplit(told).netloc not in known):
            return Refused(
                "a page from elsewhere asked for this; nothing was changed",
                hint=f"Type http://{host} into the browser's address line.",
            )
    site = headers.get("sec-fetch-site", "none")
    if site not in {"same-origin", "none"}:
        return Refused("a page from elsewhere asked for this; nothing was changed", hint=f"Open http://{host} itself.")
    if method not in SAFE and site == "none" and "sec-fetch-site" in headers and "origin" not in headers:
        return Refused("a change must come from one of the book's own pages", hint=f"Open http://{host}.")
    return None


class Guard:
    """Refuse what does not come from the book's own pages, count what is sent, and put the safe headers on each answer."""

    def __init__(self, app: ASGIApp, *, names: Iterable[str], answer: Callable[[Request, Exception], Response]) -> None:
        self.app = app
        self.names = frozenset(names)
        self.answer = answer

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or answer why it is refused."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        upload = headers.get("content-type", "").startswith("multipart/form-data")
        most = UPLOAD_bytes if upload else FORM_bytes
        refused = refusal(headers, method=scope["method"], names=self.names) or _too_long(headers, most=most)
        seen = 0
        begun = False

        async def counted() -> Message:
            nonlocal seen
            message = await receive()
            seen += len(message.get("body", b""))
            if seen > most:
                raise _too_much(most)
            return message

        async def dressed(message: Message) -> None:
            nonlocal begun
            if message["type"] == "http.response.start":
                begun = True
                answer = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    answer.setdefault(name, value)
            await send(message)

        if refused is not None:
            await self.answer(Request(scope), refused)(scope, receive, dressed)
            return
        try:
            await self.app(scope, counted, dressed)
        except Exception as error:
            if begun:
                raise
            await self.answer(Request(scope), error)(scope, receive, dressed)


def _too_long(headers: Headers, *, most: int) -> Refused | None:
    stated = headers.get("content-length", "0")
    if not stated.isdecimal():
        return Refused("the request does not say its length in whole bytes", status=400)
    return _too_much(most) if int(stated) > most else None


def _too_much(most: int) -> Refused:
    return Refused(
        f"what was sent is larger than the {most // (1024 * 1024)} MB that are allowed here; nothing was kept",
        status=413,
        hint="Send a smaller file.",
    )


# ---- the token that each form carries ---------------------------------------------------------------------------


def token_of(cookies: dict[str, str]) -> str:
    """Return the token a browser holds, or a new one. It outlives this program, so that an open page can still be sent."""
    held = cookies.get(TOKEN_COOKIE, "")
    return held if _TOKEN.fullmatch(held) else secrets.token_urlsafe(32)


def check_token(cookies: dict[str, str], told: str) -> None:
    """Refuse a form whose token is not the one its browser holds."""
    held = cookies.get(TOKEN_COOKIE, "")
    if not _TOKEN.fullmatch(held) or not hmac.compare_digest(held.encode(), told.encode()):
        raise Refused(
            "this form was not sent by one of the book's own pages; nothing was changed",
            hint="Go back, reload the page, and send it again.",
        )
