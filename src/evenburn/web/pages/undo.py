"""Undo, offered after each change and in the list of the last ones."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import Response

from evenburn.services.book.undo import EditLine, last_edits, undo_edit
from evenburn.web import urls
from evenburn.web.desk import AtDesk
from evenburn.web.forms import Form
from evenburn.web.render import go, page

router = APIRouter()
SHOWN = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangesPage:
    """The last changes, the newest first."""

    edits: tuple[EditLine, ...]
    shown: int


@router.get("/changes")
def show(request: Request, desk: AtDesk) -> Response:
    """List the last changes."""
    return page(request, "undo.html", ChangesPage(edits=last_edits(desk.book, most=SHOWN), shown=SHOWN))


@router.post("/undo")
def take_back(desk: AtDesk, sent: Form) -> Response:
    """Undo a change and lead back to where it was offered."""
    edit_id = sent.whole("edit_id")
    undo_edit(desk.book, edit_id, now=desk.now())
    return go(urls.telling(urls.own(sent.text("back"), otherwise=urls.today()), undone=edit_id))
