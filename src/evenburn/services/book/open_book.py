"""Open the book: the place a person named, or their own."""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping
from pathlib import Path

from evenburn.adapters.storage.book.opening import Book, open_book

__all__ = ["Book", "default_place", "open_book_at"]

VARIABLE = "EVENBURN_BOOK"


def default_place(environment: Mapping[str, str], *, home: Path, platform: str) -> Path:
    """Return the folder of the book where nobody named one: in the data folder of the person's system."""
    if platform == "win32":
        data = Path(environment["LOCALAPPDATA"]) if environment.get("LOCALAPPDATA") else home / "AppData" / "Local"
    elif platform == "darwin":
        data = home / "Library" / "Application Support"
    else:
        named = environment.get("XDG_DATA_HOME", "")
        data = Path(named) if named.startswith("/") else home / ".local" / "share"
    return data / "evenburn" / "book"


def open_book_at(place: str | Path | None = None) -> Book:
    """Open the book, made where there is none.

    Parameters
    ----------
    place : folder, or URL of a PostgreSQL database; None for what EVENBURN_BOOK names, else the person's own.

    Raises
    ------
    StorageError
        As `adapters.storage.book.opening.open_book`.
    """
    named = place if place is not None else os.environ.get(VARIABLE) or None
    if named is None:
        named = default_place(os.environ, home=Path.home(), platform=sys.platform)
    return open_book(named)
