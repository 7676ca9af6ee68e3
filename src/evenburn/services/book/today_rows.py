"""What the book tells of a batch for Today: one question for all its pieces, the rest only of those that a page shows."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import sqlalchemy as sa

from evenburn.adapters.storage.book.tables import blank, piece, plan, step
from evenburn.core.planning.batch import Setting
from evenburn.services.book.plan_piece import PlanSummary, set_ups_from, summary_from
from evenburn.services.book.timetable import Line


def lines_of(connection: sa.Connection, batch_id: str) -> list[Line]:
    """Return all pieces of a batch in their order; documents of pieces are not read for it."""
    rows = connection.execute(
        sa.select(
            piece.c.id,
            piece.c.name,
            plan.c.time_s,
            plan.c.inputs_sha256,
            plan.c.document["stops"].as_integer(),
            sa.cast(plan.c.document["set_ups"], sa.Text),
            plan.c.document["change_overs"].as_integer(),
            step.c.done_at,
        )
        .select_from(
            piece.outerjoin(plan, plan.c.piece_id == piece.c.id).outerjoin(
                step, sa.and_(step.c.piece_id == piece.c.id, step.c.name == "burnt")
            )
        )
        .where(piece.c.batch_id == batch_id, piece.c.removed_at.is_(None))
        .order_by(piece.c.position, piece.c.id)
    ).all()
    read: dict[str | None, tuple[Setting, ...]] = {None: ()}  # the same few settings over and over
    lines = []
    for id_, name, time_s, sha256, stops, text, change_overs, burnt_at in rows:
        if text not in read:
            read[text] = set_ups_from(json.loads(text) or ())
        counted = len(read[text]) if change_overs is None else change_overs
        lines.append(Line(id_, name, time_s, sha256, stops or 0, read[text], counted, burnt_at))
    return lines


def pieces_of(connection: sa.Connection, ids: Sequence[int]) -> dict[int, dict[str, Any]]:
    """Return the rows of pieces by their numbers."""
    rows = connection.execute(sa.select(piece).where(piece.c.id.in_(ids))).mappings()
    return {row["id"]: dict(row) for row in rows}


def summaries_of(connection: sa.Connection, ids: Sequence[int]) -> dict[int, PlanSummary]:
    """Return what lists tell of the plans of pieces."""
    rows = connection.execute(sa.select(plan.c.piece_id, plan.c.document).where(plan.c.piece_id.in_(ids)))
    return {id_: summary_from(document) for id_, document in rows}


def woods_on_shelf(connection: sa.Connection) -> frozenset[str]:
    """Return the woods of which the shelf has blanks."""
    rows = connection.execute(
        sa.select(blank.c.wood_id).where(blank.c.left_count > 0, blank.c.removed_at.is_(None)).distinct()
    )
    return frozenset(str(wood_id) for wood_id in rows.scalars())


def ticks_of(connection: sa.Connection, ids: Sequence[int]) -> dict[int, dict[str, str]]:
    """Return of each piece when its steps were ticked."""
    found: dict[int, dict[str, str]] = {}
    for id_, name, done_at in connection.execute(
        sa.select(step.c.piece_id, step.c.name, step.c.done_at).where(step.c.piece_id.in_(ids))
    ):
        found.setdefault(id_, {})[name] = done_at
    return found
