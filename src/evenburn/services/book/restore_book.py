"""Restore a book: a new one made from a backup, in a new place; the book that is open is never touched."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from itertools import count
from pathlib import Path

from evenburn.adapters.storage.book.backing_up import restore
from evenburn.adapters.storage.book.opening import Book
from evenburn.core.errors import EvenburnError, StorageError

__all__ = ["restore_beside", "restore_book"]


def restore_book(source: Path, place: str | Path) -> Book:
    """Make a book from a backup and return it open.

    Parameters
    ----------
    place : a new or empty folder, or the URL of an empty PostgreSQL database.

    Raises
    ------
    UnreadableFile, InvalidInput
        If the file is no backup, is not whole, or is of another version of the tables; then no book is made.
    StorageError
        If something is there already, or it cannot be written.
    """
    if isinstance(place, Path) and place.is_file():
        raise StorageError(f"{place.name} is a file", hint="Name a folder that is new or empty.")
    if isinstance(place, Path) and place.is_dir() and any(place.iterdir()):
        raise StorageError(
            f"{place.name} is not empty; nothing was restored, and what is there stays as it is",
            hint="Name a folder that is new or empty.",
        )
    fresh = isinstance(place, Path) and not place.exists()
    try:
        return restore(source, place)
    except EvenburnError:
        if fresh and isinstance(place, Path):
            shutil.rmtree(place, ignore_errors=True)  # half a book is none
        raise


def restore_beside(book: Book, source: Path, *, now: str) -> Path:
    """Make a book from a backup in a new folder beside an open one, and return the folder; raises as `restore_book`."""
    home = book.files.parent
    name = _free(lambda wished: (home.parent / wished).exists(), f"{home.name}-restored-{now[:10]}")
    place = home.parent / name
    restore_book(source, place).close()
    return place


def _free(taken: Callable[[str], bool], stem: str) -> str:
    return next(name for n in count(1) if not taken(name := stem if n == 1 else f"{stem}-{n}"))
