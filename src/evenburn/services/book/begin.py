"""Long work on a whole batch: take the demo in, and plan all that is stale."""

from __future__ import annotations

import sqlalchemy as sa

from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.tables import piece
from evenburn.core.errors import InvalidInput
from evenburn.services.book.aside import Run, here
from evenburn.services.book.plan_piece import plan_all
from evenburn.services.book.take_in import TakenIn, take_in_demo
from evenburn.services.progress import Progress, no_progress


def begin_with_demo(book: Book, *, now: str, progress: Progress = no_progress, run: Run = here) -> TakenIn:
    """Take the demo batch in, its card read, and plan all its pieces; raises as `take_in_demo` and `plan_batch_pieces`."""
    taken = take_in_demo(book, now=now, progress=progress, run=run)
    plan_batch_pieces(book, taken.batch_id, now=now, progress=progress, run=run)
    return taken


def plan_batch_pieces(book: Book, batch_id: str, *, now: str, progress: Progress = no_progress, run: Run = here) -> int:
    """Plan every piece of a batch whose plan is missing or stale and return how many it were.

    Raises
    ------
    InvalidInput
        After all others were planned: each piece that could not be, by its name; where lines of the machine stop them, those.
    NotFound
        If the batch is not in the book.
    """
    planned = plan_all(book, batch_id, now=now, progress=progress, run=run)
    with book.reading() as connection:
        rows = connection.execute(
            sa.select(piece.c.id, piece.c.name)
            .where(piece.c.batch_id == batch_id, piece.c.removed_at.is_(None))
            .order_by(piece.c.position, piece.c.id)
        ).all()
    if planned.faults:
        from evenburn.services.prove import MACHINE_TOML

        for fault in planned.faults.values():
            if isinstance(fault, InvalidInput) and fault.source == MACHINE_TOML:
                raise fault  # the same of every piece, and no piece's to mend
        raise InvalidInput(
            {name: planned.faults[id_].message for id_, name in rows if id_ in planned.faults},
            hint="All others are planned. Mend these on their own sheets, then plan again.",
        )
    return planned.planned
