"""Backup: the whole book as one file, while it is in use; and a book made again from one, beside the one that is open."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from shlex import quote
from shutil import rmtree
from tempfile import TemporaryDirectory, mkdtemp

from fastapi import APIRouter, Request
from fastapi.responses import FileResponse, Response
from starlette.background import BackgroundTask

from evenburn.core.errors import InvalidInput, StorageError, UnreadableFile
from evenburn.services.book.back_up_book import InTheBook, back_up_book, backup_name, in_the_book
from evenburn.services.book.open_book import Book
from evenburn.services.book.restore_book import restore_beside
from evenburn.web.desk import AtDesk
from evenburn.web.forms import Form
from evenburn.web.guard import UPLOAD_bytes
from evenburn.web.render import page

router = APIRouter()
MB = 1024 * 1024


@dataclass(frozen=True, slots=True, kw_only=True)
class BackupPage:
    """What a backup holds, and what came of restoring one: the folder of the new book."""

    held: InTheBook
    files_MB: float
    name: str
    option: str
    most_MB: int
    restored: str
    errors: Mapping[str, str]
    hint: str


@router.get("/backup")
def show(request: Request, desk: AtDesk) -> Response:
    """Say what a backup holds, and how one is given back."""
    return _shown(request, desk)


@router.get("/backup/book.zip")
def give(desk: AtDesk) -> Response:
    """Give the whole book as one file, as it is at this moment."""
    folder = Path(mkdtemp(prefix="evenburn-backup-"))
    try:
        made = back_up_book(desk.book, folder / "book.zip", now=desk.now())
    except BaseException:
        rmtree(folder, ignore_errors=True)
        raise
    return FileResponse(
        made,
        media_type="application/zip",
        filename=backup_name(desk.now()),
        background=BackgroundTask(rmtree, folder, ignore_errors=True),
    )


@router.post("/backup/restore")
def restore(request: Request, desk: AtDesk, sent: Form) -> Response:
    """Make a book from a backup, beside the one that is open, which stays as it is."""
    try:
        if not sent.files.get("file"):
            raise InvalidInput({"file": "none was chosen"})  # noqa: TRY301  # told where all that is wrong is told
        one = sent.files["file"][0]
        with TemporaryDirectory(prefix="evenburn-restore-") as folder:
            source = Path(folder) / "backup.zip"
            source.write_bytes(one.data)
            place = restore_beside(desk.book, source, now=desk.now())
    except InvalidInput as error:
        text = "; ".join(error.fields.values())
        return _shown(request, desk, errors={"file": text}, hint=error.hint)
    except UnreadableFile as error:
        return _shown(request, desk, errors={"file": f"{one.name} {error.message.partition(': ')[2]}"}, hint=error.hint)
    except StorageError as error:
        return _shown(request, desk, errors={"file": error.message}, hint=error.hint)
    return _shown(request, desk, restored=str(place))


def _shown(
    request: Request,
    desk: AtDesk,
    *,
    errors: Mapping[str, str] | None = None,
    hint: str = "",
    restored: str = "",
) -> Response:
    held = in_the_book(desk.book)
    context = BackupPage(
        held=held,
        files_MB=held.files_bytes / MB,
        name=backup_name(desk.now()),
        option=_option(desk.book),
        most_MB=UPLOAD_bytes // MB,
        restored=restored,
        errors=errors or {},
        hint=hint,
    )
    return page(request, "backup.html", context, status=422 if errors else 200)


def _option(book: Book) -> str:
    """Return what names this book in a terminal; a database's URL holds a password and is left to the person."""
    return f"--book {quote(str(book.files.parent))}" if book.engine.dialect.name == "sqlite" else "--book URL"
