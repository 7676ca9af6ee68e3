"""Put pieces of a batch into another order: one before another, one place on, or all for the fewest settings of the focus."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import sqlalchemy as sa

from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.rows import Change, change, row_of
from evenburn.adapters.storage.book.tables import batch, piece, plan, step
from evenburn.core.errors import InvalidInput
from evenburn.core.planning.batch import set_up_order
from evenburn.services.book.bed_now import set_last
from evenburn.services.book.plan_piece import set_ups_from
from evenburn.services.book.saved import Saved
from evenburn.services.book.take_in import POSITION_STEP

WAYS = ("earlier", "later", "first", "last")

_WAY_SAID = {"earlier": "one place earlier", "later": "one place later", "first": "to the front", "last": "to the end"}


def move_piece(book: Book, piece_id: int, *, before_id: int | None, now: str) -> Saved:
    """Move a piece to stand before another of its batch.

    Parameters
    ----------
    before_id : None for the end of the batch.

    Raises
    ------
    NotFound
        If the piece is not in the book.
    InvalidInput
        If the other is none of its batch.
    """
    with book.writing() as connection:
        row = row_of(connection, piece, piece_id)
        order = [line for line in _order(connection, row["batch_id"]) if line["id"] != piece_id]
        places = [line["id"] for line in order]
        if before_id is not None and before_id not in places:
            raise InvalidInput({"before": f"piece {before_id} is not in this batch"}, hint="Look at the list anew.")
        at = len(order) if before_id is None else places.index(before_id)
        order.insert(at, row)
        where = f"before {order[at + 1]['name']}" if at + 1 < len(order) else "to the end"
        return _kept(connection, row, order, at=at, what=f"{row['name']} moved {where}", now=now)


def shift_piece(book: Book, piece_id: int, *, way: str, now: str) -> Saved:
    """Move a piece one place earlier or later in its batch, or to its front or end.

    Parameters
    ----------
    way : one of `WAYS`.

    Raises
    ------
    NotFound
        If the piece is not in the book.
    InvalidInput
        If it is the first or last already.
    """
    if way not in WAYS:
        raise InvalidInput({"way": f"is “{way[:20]}”; allowed are {', '.join(WAYS)}"})
    with book.writing() as connection:
        row = row_of(connection, piece, piece_id)
        order = _order(connection, row["batch_id"])
        at = [line["id"] for line in order].index(piece_id)
        to = {"earlier": at - 1, "later": at + 1, "first": 0, "last": len(order) - 1}[way]
        if to == at or not 0 <= to < len(order):
            raise InvalidInput({"way": f"{row['name']} is the {'first' if to <= 0 else 'last'} already"})
        moved = order.pop(at)
        order.insert(to, moved)
        return _kept(connection, row, order, at=to, what=f"{row['name']} moved {_WAY_SAID[way]}", now=now)


def order_for_set_ups(book: Book, batch_id: str, *, now: str) -> Saved:
    """Put what is not burnt yet into the order with the fewest settings of the stand-off; what is burnt stays in front.

    The first is what finds the focus as the last burn left it, where there is such a piece.

    Raises
    ------
    NotFound
        If the batch is not in the book.
    InvalidInput
        If it is in that order already.
    """
    with book.writing() as connection:
        about = row_of(connection, batch, batch_id)
        lines = _order(connection, batch_id)
        burnt = set(
            connection.execute(
                sa.select(step.c.piece_id)
                .join(piece, piece.c.id == step.c.piece_id)
                .where(piece.c.batch_id == batch_id, step.c.name == "burnt")
            ).scalars()
        )
        told = connection.execute(
            sa.select(plan.c.piece_id, plan.c.document["set_ups"])
            .join(piece, piece.c.id == plan.c.piece_id)
            .where(piece.c.batch_id == batch_id)
        )
        set_ups = {int(id_): set_ups_from(pairs) for id_, pairs in told}
        left = [line for line in lines if line["id"] not in burnt]
        before = set_last(connection, machine_id=about["document"]["machine"], lens=about["document"]["lens"])
        best = set_up_order([set_ups.get(line["id"], ()) for line in left], before=before)
        order = [line for line in lines if line["id"] in burnt] + [left[i] for i in best]
        if [line["id"] for line in order] == [line["id"] for line in lines]:
            raise InvalidInput({"order": "the pieces stand in the order with the fewest settings already"})
        what = f"“{about['document']['name']}” put in the order with the fewest settings"
        made = change(connection, _renumbered(order), what=what, now=now)
    return Saved(edit_id=made.edit_id, what=what, key=batch_id, version=about["version"])


def _order(connection: sa.Connection, batch_id: str) -> list[dict[str, Any]]:
    rows = connection.execute(
        sa.select(piece.c.id, piece.c.name, piece.c.position, piece.c.version)
        .where(piece.c.batch_id == batch_id, piece.c.removed_at.is_(None))
        .order_by(piece.c.position, piece.c.id)
    ).mappings()
    return [dict(row) for row in rows]


def _kept(
    connection: sa.Connection, row: dict[str, Any], order: Sequence[dict[str, Any]], *, at: int, what: str, now: str
) -> Saved:
    """Keep the new place of one piece: between its neighbours where there is room, else all are numbered anew."""
    low = order[at - 1]["position"] if at else 0
    high = order[at + 1]["position"] if at + 1 < len(order) else low + 2 * POSITION_STEP
    middle = (low + high) // 2
    if low < middle < high:
        changes = [Change(table=piece, key=row["id"], values={"position": middle}, version=row["version"])]
    else:
        changes = _renumbered(order)
    made = change(connection, changes, what=what, now=now)
    moved = next((c for c in changes if c.key == row["id"]), None)
    return Saved(edit_id=made.edit_id, what=what, key=row["id"], version=row["version"] + (moved is not None))


def _renumbered(order: Sequence[dict[str, Any]]) -> list[Change]:
    return [
        Change(table=piece, key=line["id"], values={"position": place * POSITION_STEP}, version=line["version"])
        for place, line in enumerate(order, start=1)
        if line["position"] != place * POSITION_STEP
    ]
