"""Back the book up: everything in it as one file, while it is open and in use."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import sqlalchemy as sa

from evenburn.adapters.storage.book.backing_up import back_up
from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.tables import batch, burn, file, piece, wood
from evenburn.core.errors import InvalidInput, StorageError

__all__ = ["InTheBook", "back_up_book", "backup_name", "in_the_book"]


@dataclass(frozen=True, slots=True, kw_only=True)
class InTheBook:
    """How much is in a book, so that one sees what a backup holds."""

    batches: int
    pieces: int
    woods: int
    burns: int
    files: int
    files_bytes: int


def back_up_book(book: Book, target: Path, *, now: str) -> Path:
    """Write the whole book into one ZIP, as it is at one moment, and return the file.

    It appears when it is whole; until then, and if this fails, what was there before stays.

    Raises
    ------
    InvalidInput
        If the target is a folder.
    StorageError
        If it cannot be written, or a file of the book is missing.
    """
    if target.is_dir():
        raise InvalidInput({"FILE": f"{target.name} is a folder; name a file in it, as {backup_name(now)}"})
    if not target.parent.is_dir():
        raise StorageError(f"the folder {target.parent.name or target.parent} is not there", hint="Make it first.")
    return back_up(book, target, now=now)


def backup_name(now: str) -> str:
    """Return what a backup of this moment is called."""
    return f"evenburn-book-{now[:10]}.zip"


def in_the_book(book: Book) -> InTheBook:
    """Return how much is in a book."""
    with book.reading() as connection:

        def count(table: sa.Table) -> int:
            wished = [table.c.removed_at.is_(None)] if "removed_at" in table.c else []
            return int(connection.execute(sa.select(sa.func.count()).select_from(table).where(*wished)).scalar_one())

        size = connection.execute(sa.select(sa.func.coalesce(sa.func.sum(file.c.bytes), 0))).scalar_one()
        return InTheBook(
            batches=count(batch),
            pieces=count(piece),
            woods=count(wood),
            burns=count(burn),
            files=count(file),
            files_bytes=int(size),
        )
