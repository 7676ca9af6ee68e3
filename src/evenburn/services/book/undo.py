"""Undo: put back what stood before a change, and list the last changes with what each was in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from evenburn.adapters.storage.book import rows as kept
from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.tables import edit
from evenburn.core.errors import NotFound

LINES_MOST = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class EditLine:
    """A change as the list of changes tells it; `undone_at` is None where it holds."""

    edit_id: int
    what: str
    made_at: str
    undone_at: str | None


def undo_edit(book: Book, edit_id: int, *, now: str) -> str:
    """Put back what stood before a change, and return what the change was, in words.

    Raises
    ------
    NotFound
        If there is no such change, or it is undone already.
    ChangedMeanwhile
        If what it changed was changed again since; nothing is put back.
    """
    with book.writing() as connection:
        return kept.undo(connection, edit_id, now=now)


def edit_line(book: Book, edit_id: int) -> EditLine:
    """Return a change; NotFound if there is none of that number."""
    with book.reading() as connection:
        row = connection.execute(_SELECT.where(edit.c.id == edit_id)).mappings().one_or_none()
    if row is None:
        raise NotFound(f"the book knows no change {edit_id}", hint="The settings page leads to the last changes.")
    return _line(row)


def last_edits(book: Book, *, most: int = 20) -> tuple[EditLine, ...]:
    """Return the last changes, the newest first, `LINES_MOST` at most."""
    with book.reading() as connection:
        found = connection.execute(_SELECT.order_by(edit.c.id.desc()).limit(min(most, LINES_MOST))).mappings()
        return tuple(_line(row) for row in found)


_SELECT = sa.select(edit.c.id, edit.c.what, edit.c.made_at, edit.c.undone_at)


def _line(row: Any) -> EditLine:
    return EditLine(edit_id=row["id"], what=row["what"], made_at=row["made_at"], undone_at=row["undone_at"])
