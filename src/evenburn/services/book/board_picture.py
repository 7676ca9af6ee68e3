"""The small picture of a planned piece that stands in lists: its board as predicted, drawn with the plan and kept beside it."""

from __future__ import annotations

from evenburn.adapters.storage.book.opening import Book, told
from evenburn.core.errors import NotFound
from evenburn.services.book.plan_piece import BOARDS, plan_of


def board_picture(book: Book, piece_id: int) -> bytes:
    """Return the picture of a piece's board as PNG.

    Raises
    ------
    NotFound
        If the piece is not in the book, or was not planned.
    StorageError
        If the picture cannot be read.
    """
    planned = plan_of(book, piece_id)
    drawn = [] if planned is None else sorted((planned.folder / BOARDS).glob("*.png"))
    if not drawn:
        raise NotFound(f"piece {piece_id} has no picture yet", hint="Plan it; the picture comes with the plan.")
    with told(book.name):
        return drawn[0].read_bytes()
