"""One shape for every error, on a page and as JSON; the command line shows the same lines and the same hint.

What the input got wrong is said where it was typed; who changed something meanwhile is told with what stands there now; a
book that could not be written is said to be intact. Nobody ever sees a traceback.
"""

from __future__ import annotations

import errno
import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException

from evenburn.core.errors import (
    ChangedMeanwhile,
    EvenburnError,
    InvalidInput,
    NotFound,
    OutOfRange,
    ProgramNotSound,
    StorageError,
    UnreadableFile,
)
from evenburn.services.book.hand_out import NotHandedOut
from evenburn.web import urls
from evenburn.web.guard import Refused

_log = logging.getLogger("evenburn.web")


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What is told of an error: its kind for the heading, one line for each thing wrong, and what to do next.

    `fields` says what is wrong where, with "" for what stands in no field; `leads_to` is the address of the page where it is
    mended, called `leads_name`, "" where that is not known.
    """

    status: int
    heading: str
    error: str
    hint: str = ""
    fields: Mapping[str, str] = field(default_factory=dict)
    leads_to: str = ""
    leads_name: str = ""

    def document(self) -> dict[str, Any]:
        """Return the error as JSON."""
        errors = [{"field": where, "text": text} for where, text in self.fields.items()]
        return {
            "ok": False,
            "error": self.error,
            "errors": errors or [{"field": "", "text": self.error}],
            "hint": self.hint,
            "status": self.status,
        }


_KINDS: tuple[tuple[type[EvenburnError], int, str], ...] = (
    (InvalidInput, 422, "That does not hold yet"),
    (OutOfRange, 422, "That does not hold yet"),
    (UnreadableFile, 422, "That file could not be read"),
    (NotFound, 404, "Not in this book"),
    (ChangedMeanwhile, 409, "Changed in another window"),
    (NotHandedOut, 409, "Not handed out"),
    (StorageError, 503, "The book could not be written or read"),
    (ProgramNotSound, 500, "evenburn made a mistake"),
)
_HTTP = {
    404: ("Not in this book", "There is no such page in this book.", "The tabs lead to all there is."),
    405: ("Not in this book", "This address does not take that.", "The tabs lead to all there is."),
}


_OWN_LINES = {
    "post_processor.opening_lines": "The machine’s lines before the first move",
    "post_processor.closing_lines": "The machine’s lines at the end",
}
_PAGES: Mapping[str, tuple[str, Callable[[str], str]]] = {  # where a thing of the book is looked at
    "wood": ("the wood", urls.wood),
    "machine": ("the machine", urls.machine),
    "piece": ("the piece", lambda key: urls.piece(int(key))),
    "burn": ("the burn", lambda key: urls.burn(int(key))),
    "blank": ("the blank", lambda key: urls.shelf_blank(int(key))),
}
_FULL_OR_FORBIDDEN = {
    errno.ENOSPC: "Make room on the disk, then repeat.",
    errno.EDQUOT: "Make room in your part of the disk, then repeat.",
    errno.EROFS: "The disk may only be read.",
    errno.EACCES: "Is the folder yours?",
    errno.EIO: "The disk fails: copy the book to another while you can.",
}


def told(error: Exception) -> Told:
    """Return what is told of any error; one that nobody foresaw is written to the log and told as our own fault."""
    if isinstance(error, Refused):
        return Told(status=error.status, heading="Refused", error=error.message, hint=error.hint)
    if isinstance(error, InvalidInput) and error.fields and set(error.fields) <= set(_OWN_LINES):
        return _told_of_machine(error)
    if isinstance(error, ChangedMeanwhile) and error.kind in _PAGES:
        name, address = _PAGES[error.kind]
        return Told(
            status=409,
            heading="Changed in another window",
            error=error.message,
            hint=error.hint,
            leads_to=address(error.key),
            leads_name=f"Back to {name}",
        )
    if isinstance(error, EvenburnError):
        for kind, status, heading in _KINDS:
            if isinstance(error, kind):
                return Told(
                    status=status,
                    heading=heading,
                    error=error.message,
                    hint=_hint(error),
                    fields=_fields(error),
                )
        return Told(status=422, heading="That did not work", error=error.message, hint=error.hint)
    if isinstance(error, RequestValidationError):
        return _told_of_request(error)
    if isinstance(error, HTTPException):
        heading, text, hint = _HTTP.get(error.status_code, ("That did not work", str(error.detail), ""))
        return Told(status=error.status_code, heading=heading, error=text, hint=hint)
    if isinstance(error, OSError) and error.errno in _FULL_OR_FORBIDDEN:
        return told(
            StorageError(f"this computer could not write: {error.strerror}", hint=_FULL_OR_FORBIDDEN[error.errno])
        )
    if isinstance(error, MemoryError):
        return Told(
            status=503,
            heading="This computer ran out of memory",
            error="this computer ran out of memory; the book is intact",
            hint="Close other programs, or plan fewer or smaller marks at once.",
        )
    _log.error("an error that nobody foresaw", exc_info=error)
    return Told(
        status=500,
        heading="evenburn made a mistake",
        error="something went wrong inside evenburn; the book is intact",
        hint="Go back and try again. What happened stands in the window that evenburn was opened from.",
    )


def _told_of_machine(error: InvalidInput) -> Told:
    """Tell what lines of the machine's own would do, and lead to the machine: no piece's sheet can mend it."""
    fields = {_OWN_LINES[where]: text for where, text in error.fields.items()}
    return Told(
        status=422,
        heading="That does not hold yet",
        error="; ".join(f"{where}: {text}" for where, text in fields.items()),
        hint=error.hint,
        fields=fields,
        leads_to=urls.machine(),
        leads_name="To the machine",
    )


def _hint(error: EvenburnError) -> str:
    """Return the hint, and with a book that could not be written that it is intact."""
    if isinstance(error, StorageError):
        return f"The book is intact. {error.hint}".strip()
    return error.hint


def _fields(error: EvenburnError) -> Mapping[str, str]:
    if isinstance(error, InvalidInput):
        return error.fields
    if isinstance(error, OutOfRange):
        return {error.name: error.message}
    return {}


def _told_of_request(error: RequestValidationError) -> Told:
    """Tell what a request to the JSON interface got wrong, each thing at its place."""
    fields = {
        ".".join(str(p) for p in e["loc"] if p not in {"body", "query", "path"}): e["msg"] for e in error.errors()
    }
    text = "; ".join(f"{where}: {what}" if where else what for where, what in fields.items())
    return Told(
        status=422,
        heading="That does not hold yet",
        error=text,
        hint="/api/v1/openapi.json tells the form.",
        fields=fields,
    )
