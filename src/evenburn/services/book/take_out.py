"""What goes to the machine: the printed run sheet of a batch as planned whole, and its programs as one ZIP."""

from __future__ import annotations

import os
import tempfile
import zipfile
from pathlib import Path

import sqlalchemy as sa

from evenburn.adapters.storage.book.opening import Book, told
from evenburn.adapters.storage.book.rows import row_of
from evenburn.adapters.storage.book.tables import batch, piece
from evenburn.core.errors import NotFound
from evenburn.services.book.inputs import inputs_sha256, sources_of
from evenburn.services.book.plan_piece import INDEX, PLANS

PROGRAMS = "programs.zip"
_FIXED_DATE = (1980, 1, 1, 0, 0, 0)  # the earliest a ZIP can hold, so that the same programs give the same bytes


def run_sheet_of(book: Book, batch_id: str) -> Path:
    """Return the run sheet of a batch as it stands; NotFound where it was not planned whole since the last change."""
    from evenburn.services.plan_batch import RUN_SHEET

    return _planned_whole(book, batch_id) / RUN_SHEET


def programs_of(book: Book, batch_id: str) -> Path:
    """Return a ZIP of a batch's programs and its run sheet.

    Raises
    ------
    NotFound
        If the batch was not planned whole since its last change, or a stop holds every program back.
    StorageError
        If the ZIP cannot be written.
    """
    from evenburn.services.plan_batch import RUN_SHEET

    folder = _planned_whole(book, batch_id)
    target = folder / PROGRAMS
    if target.is_file():
        return target
    programs = sorted(folder.glob("*.ngc"))
    if not programs:
        raise NotFound("there is no program to take along: every piece has a stop", hint="Apply a remedy on Today.")
    with told(book.name):
        handle, name = tempfile.mkstemp(prefix=".packing-", dir=folder)
        try:
            with os.fdopen(handle, "wb") as stage, zipfile.ZipFile(stage, "w", zipfile.ZIP_DEFLATED) as packed:
                for path in [*programs, folder / RUN_SHEET]:
                    entry = zipfile.ZipInfo(path.name, date_time=_FIXED_DATE)
                    entry.compress_type = zipfile.ZIP_DEFLATED
                    entry.external_attr = 0o644 << 16
                    with packed.open(entry, "w") as member, path.open("rb") as source:
                        while chunk := source.read(1 << 20):
                            member.write(chunk)
            Path(name).replace(target)
        except OSError:
            Path(name).unlink(missing_ok=True)
            raise
    return target


def _planned_whole(book: Book, batch_id: str) -> Path:
    with book.reading() as connection:
        row_of(connection, batch, batch_id)
        documents = list(
            connection.execute(
                sa.select(piece.c.document)
                .where(piece.c.batch_id == batch_id, piece.c.removed_at.is_(None))
                .order_by(piece.c.position, piece.c.id)
            ).scalars()
        )
        sources = sources_of(connection, batch_id, documents)
    folder = book.files.parent / PLANS / inputs_sha256(sources, documents)
    if not (folder / INDEX).is_file():
        raise NotFound("the run sheet of this batch is not made, or no longer holds", hint="Print it anew from Today.")
    return folder
