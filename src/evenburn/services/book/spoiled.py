"""Which pieces are spoiled: burnt, and the burn graded so in the logbook. They lead to doing them again, and to nothing after."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import sqlalchemy as sa

from evenburn.adapters.storage.book.tables import burn, piece, step

SPOILED = 1  # the grade


def spoiled_in(connection: sa.Connection, batch_id: str) -> dict[int, int]:
    """Return piece id → the burn that spoiled it, of all pieces of a batch."""
    return _spoiled(connection, piece.c.batch_id == batch_id)


def spoiled_of(connection: sa.Connection, ids: Sequence[int]) -> dict[int, int]:
    """Return piece id → the burn that spoiled it, of these pieces."""
    return _spoiled(connection, piece.c.id.in_(ids))


def spoiled_by_batch(connection: sa.Connection) -> dict[str, int]:
    """Return batch id → how many of its pieces are spoiled; those without any are left out."""
    which = _which(piece.c.batch_id, piece.c.id).where(piece.c.removed_at.is_(None)).distinct().subquery()
    rows = connection.execute(sa.select(which.c.batch_id, sa.func.count()).group_by(which.c.batch_id))
    return {str(batch_id): int(count) for batch_id, count in rows}


def _spoiled(connection: sa.Connection, where: sa.ColumnElement[bool]) -> dict[int, int]:
    rows = connection.execute(_which(piece.c.id, sa.func.min(burn.c.id)).where(where).group_by(piece.c.id))
    return {int(piece_id): int(burn_id) for piece_id, burn_id in rows}


def _which(*columns: sa.ColumnElement[Any]) -> sa.Select[Any]:
    """Select of pieces whose last burn, the one that is ticked, has a mark that was graded as spoiled."""
    ticked = sa.and_(step.c.piece_id == piece.c.id, step.c.name == "burnt")
    of_tick = sa.and_(burn.c.piece_id == piece.c.id, burn.c.burnt_at == step.c.done_at)
    joined = piece.join(step, ticked).join(burn, of_tick)
    return sa.select(*columns).select_from(joined).where(burn.c.grade == SPOILED, burn.c.removed_at.is_(None))
