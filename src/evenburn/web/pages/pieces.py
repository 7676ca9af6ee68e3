"""Pieces: all of every batch, to be searched and leafed through."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from fastapi import APIRouter, Request
from fastapi.responses import Response

from evenburn.core.errors import InvalidInput
from evenburn.services.book.index_of import PieceList, list_pieces
from evenburn.web import urls
from evenburn.web.desk import AtDesk
from evenburn.web.forms import page_number
from evenburn.web.render import page

router = APIRouter()


@dataclass(frozen=True, slots=True, kw_only=True)
class PiecesPage:
    """A page of the index."""

    found: PieceList
    search: str
    page_address: Callable[..., str]
    errors: dict[str, str]


@router.get("/pieces")
def show(request: Request, desk: AtDesk, search: str = "") -> Response:
    """List the pieces that a search finds."""
    errors: dict[str, str] = {}
    try:
        found = list_pieces(desk.book, search=search, page=page_number(request))
    except InvalidInput as error:
        if "search" not in error.fields:
            raise
        errors = dict(error.fields)
        found = list_pieces(desk.book)
    context = PiecesPage(
        found=found, search=search, page_address=partial(urls.pieces, search=search or None), errors=errors
    )
    return page(request, "pieces.html", context, tab="pieces", status=422 if errors else 200)
