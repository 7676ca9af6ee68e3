"""What was done to a piece, or to another thing of the book, from the changes that the book writes down."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.tables import edit

MOST_EDITS = 2000  # looked through for one piece, the newest
SHOWN = 30


@dataclass(frozen=True, slots=True, kw_only=True)
class EditOfPiece:
    """A change that touched a piece; `undone_at` is None where it holds."""

    edit_id: int
    what: str
    made_at: str
    undone_at: str | None


def edits_of_piece(connection: sa.Connection, piece_id: int, *, most: int = SHOWN) -> tuple[EditOfPiece, ...]:
    """Return what was done to a piece, its ticks too, the newest first."""
    found = connection.execute(_of_piece(piece_id, ticks=True).order_by(edit.c.id.desc()).limit(most)).all()
    return tuple(
        EditOfPiece(edit_id=row.id, what=row.what, made_at=row.made_at, undone_at=row.undone_at) for row in found
    )


def changes_since(book: Book, key: int | str, *, version: int, kind: str = "piece") -> tuple[str, ...]:
    """Return in words what was done to a piece, or a thing of another kind, since a version of it was seen, the earliest first."""
    with book.reading() as connection:
        found = connection.execute(_of_piece(key, kind=kind, rows=True).order_by(edit.c.id)).all()
    return tuple(
        row.what + (", taken back" if row.undone_at else "")
        for row in found
        if any(
            (one["table"], one["key"]) == (kind, key) and int((one["after"] or {}).get("version", 0)) > version
            for one in row.rows
        )
    )


def _of_piece(piece_id: int | str, *, kind: str = "piece", rows: bool = False, ticks: bool = False) -> sa.Select[Any]:
    """Return the question for the changes that touched a piece or another thing; rows are told apart by how they are written."""
    newest = sa.select(sa.func.max(edit.c.id)).scalar_subquery()
    text = sa.cast(edit.c.rows, sa.Text)
    written = json.dumps({"table": kind, "key": piece_id})[1:-1]
    touched: sa.ColumnElement[bool] = text.like(f"%{written},%")
    if ticks:
        written = json.dumps({"table": "step", "key": [piece_id]})[1:-2]
        touched = touched | text.like(f"%{written},%")
    columns = [edit.c.id, edit.c.made_at, edit.c.what, edit.c.undone_at, *([edit.c.rows] if rows else [])]
    return sa.select(*columns).where(edit.c.id > newest - MOST_EDITS, touched)
