"""Files of a piece: what its plan wrote, and the artwork that was given; each to be saved, none to be run."""

from __future__ import annotations

from fastapi import APIRouter
from fastapi.responses import Response

from evenburn.services.book.piece_of import artwork_of
from evenburn.services.book.programs_of import file_of
from evenburn.web.desk import AtDesk
from evenburn.web.serving_files import kept_file

router = APIRouter()


@router.get("/pieces/{piece_id:int}/files/{name}")
def file(piece_id: int, name: str, desk: AtDesk) -> Response:
    """Return a file of a plan, to be saved."""
    found = file_of(desk.book, piece_id, name)
    return kept_file(found.data, name=found.name, media_type=found.media_type)


@router.get("/artwork/{name}")
def artwork(name: str, desk: AtDesk) -> Response:
    """Return artwork, to be saved."""
    found = artwork_of(desk.book, name)
    return kept_file(found.data, name=found.name, media_type=found.media_type)
