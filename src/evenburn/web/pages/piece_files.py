"""Files of a piece: what its plan wrote, and the artwork that was given; each to be saved, none to be run."""

from __future__ import annotations

from urllib.parse import quote

from fastapi import APIRouter
from fastapi.responses import Response

from evenburn.services.book.piece_of import artwork_of
from evenburn.services.book.programs_of import file_of
from evenburn.web.desk import AtDesk
from evenburn.web.guard import ARTWORK_POLICY

router = APIRouter()


@router.get("/pieces/{piece_id:int}/files/{name}")
def file(piece_id: int, name: str, desk: AtDesk) -> Response:
    """Return a file of a plan, to be saved."""
    found = file_of(desk.book, piece_id, name)
    return _to_save(found.data, name=found.name, media_type=found.media_type)


@router.get("/artwork/{name}")
def artwork(name: str, desk: AtDesk) -> Response:
    """Return artwork, to be saved."""
    found = artwork_of(desk.book, name)
    return _to_save(found.data, name=found.name, media_type=found.media_type)


def _to_save(data: bytes, *, name: str, media_type: str) -> Response:
    """Return a file that a browser saves, and shows only as a picture on a page of ours."""
    return Response(
        data,
        media_type=media_type,
        headers={
            "content-disposition": f"attachment; filename*=UTF-8''{quote(name, safe='')}",
            "content-security-policy": ARTWORK_POLICY,
        },
    )
