"""What goes to the machine: the printed run sheet of a batch, and its programs."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from fastapi import APIRouter
from fastapi.responses import FileResponse, Response

from evenburn.services.book.open_book import Book
from evenburn.services.book.plan_piece import plan_whole
from evenburn.services.book.take_out import programs_of, run_sheet_of
from evenburn.web import urls
from evenburn.web.desk import AtDesk, Desk
from evenburn.web.forms import Form
from evenburn.web.render import go
from evenburn.web.work import Progress

router = APIRouter()
# a PDF is shown by the browser's own viewer, which needs its styles and itself as a plug-in; it loads nothing else
PDF_POLICY = "default-src 'none'; object-src 'self'; plugin-types application/pdf; style-src 'unsafe-inline'; frame-ancestors 'none'"


@router.post("/batches/{batch_id}/print")
def make_run_sheet(batch_id: str, desk: AtDesk, sent: Form) -> Response:  # noqa: ARG001  # the form's token is looked at
    """Plan the batch whole, and lead on to its run sheet."""
    return _whole(desk, batch_id, run_sheet_of, title="Making the run sheet", goes_to=urls.run_sheet(batch_id))


@router.post("/batches/{batch_id}/programs")
def make_programs(batch_id: str, desk: AtDesk, sent: Form) -> Response:  # noqa: ARG001  # the form's token is looked at
    """Plan the batch whole, and lead on to its programs."""
    return _whole(desk, batch_id, programs_of, title="Making the programs", goes_to=urls.programs(batch_id))


def _whole(desk: Desk, batch_id: str, take: Callable[[Book, str], Path], *, title: str, goes_to: str) -> Response:
    def make(progress: Progress) -> None:
        plan_whole(desk.book, batch_id, now=desk.now(), progress=progress, run=desk.run)
        take(desk.book, batch_id)  # where there is nothing to take along, the work says so, not the file's address

    return go(urls.work(desk.work.begin(title, make, goes_to=goes_to).id))


@router.get("/batches/{batch_id}/run-sheet.pdf")
def run_sheet(batch_id: str, desk: AtDesk) -> Response:
    """Show the run sheet."""
    return FileResponse(
        run_sheet_of(desk.book, batch_id),
        media_type="application/pdf",
        filename=f"{batch_id}-run-sheet.pdf",
        content_disposition_type="inline",
        headers={"content-security-policy": PDF_POLICY},
    )


@router.get("/batches/{batch_id}/programs.zip")
def programs(batch_id: str, desk: AtDesk) -> Response:
    """Hand the programs over as one ZIP, to be saved."""
    return FileResponse(
        programs_of(desk.book, batch_id),
        media_type="application/zip",
        filename=f"{batch_id}-programs.zip",
        content_disposition_type="attachment",
    )
