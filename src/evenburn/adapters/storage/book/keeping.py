"""Files of the book: artwork and photographs, each once, named by what is in it and by nothing that somebody wrote."""

from __future__ import annotations

import hashlib
import os
import tempfile
from pathlib import Path

import sqlalchemy as sa

from evenburn.adapters.storage.book.opening import Book, told
from evenburn.adapters.storage.book.tables import file
from evenburn.adapters.storage.through import make_folder, move_in, sync_folder
from evenburn.core.errors import NotFound, StorageError


def path_of(book: Book, sha256: str) -> Path:
    """Return where a file of the book lies, whether it does or not."""
    if len(sha256) != 64 or not set(sha256) <= set("0123456789abcdef"):
        raise NotFound("that is no file of the book")
    return book.files / sha256[:2] / sha256


def keep(book: Book, connection: sa.Connection, data: bytes, *, media_type: str, now: str) -> str:
    """Keep a file and return its SHA-256; a file that is kept already is kept once.

    It is whole on the disk before the book tells of it, though the power fails: a program killed between leaves a file that
    nobody names.

    Raises
    ------
    StorageError
        If the disk is full or may not be written.
    """
    sha256 = hashlib.sha256(data).hexdigest()
    target = path_of(book, sha256)
    with told(book.name):
        if target.exists():
            sync_folder(target.parent)  # who put it there may have been killed before
        else:
            put(target, data)
        known = connection.execute(sa.select(file.c.sha256).where(file.c.sha256 == sha256)).first()
        if known is None:
            connection.execute(
                sa.insert(file).values(sha256=sha256, media_type=media_type, bytes=len(data), added_at=now)
            )
    return sha256


def load(book: Book, sha256: str) -> bytes:
    """Return a file of the book, as it was kept.

    Raises
    ------
    NotFound
        If it is not there.
    StorageError
        If what is there is not what was kept.
    """
    try:
        with told(book.name):
            data = path_of(book, sha256).read_bytes()
    except StorageError as error:
        if isinstance(error.__cause__, FileNotFoundError):
            raise NotFound("that file is not in the book", hint="Restore a backup.") from error
        raise
    if hashlib.sha256(data).hexdigest() != sha256:
        raise StorageError(f"{book.name}: a file is damaged", hint="Restore a backup.")
    return data


def put(target: Path, data: bytes) -> None:
    """Put a file into its place, whole and through to the disk or not at all; OSError where that fails."""
    make_folder(target.parent)
    handle, name = tempfile.mkstemp(prefix=".keeping-", dir=target.parent)
    try:
        with os.fdopen(handle, "wb") as stage:
            stage.write(data)
        move_in(Path(name), target)
    except OSError:
        Path(name).unlink(missing_ok=True)
        raise
