"""An error that nobody foresaw, told as what it may come from: a row of the book that does not hold."""

from __future__ import annotations

import logging

from fastapi import Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException

from evenburn.core.errors import EvenburnError
from evenburn.services.book.unsound import fault_in_book
from evenburn.web.desk import Desk

FORESEEN = (EvenburnError, HTTPException, RequestValidationError, MemoryError, OSError)
_log = logging.getLogger("evenburn.web")


def reason(request: Request, error: Exception) -> Exception:
    """Return the fault of the book's own rows that may have led to an error, where there is one; else the error."""
    desk = request.app.state.desk if "app" in request.scope else None
    if isinstance(error, FORESEEN) or not isinstance(desk, Desk):
        return error
    try:
        fault = fault_in_book(desk.book)
    except Exception:  # noqa: BLE001  # looking must not hide what was there before
        return error
    if fault is None:
        return error
    _log.error("a row of the book does not hold", exc_info=error)
    return fault
