"""How the bed stands now: as it was set for what the machine burnt last, whatever batch and place in the order that had."""

from __future__ import annotations

import sqlalchemy as sa

from evenburn.adapters.storage.book.tables import batch, burn, piece, step
from evenburn.core.planning.batch import Setting

SET_DECIMALS = 2  # of thickness and stand-off: what is set apart


def set_last(connection: sa.Connection, *, machine_id: str, lens: str) -> Setting | None:
    """Return thickness and stand-off as the last burn on a machine left them, from the logbook. [mm]

    None where nothing was burnt on it, where another lens was in it then, or where the logbook does not know how that piece
    was burnt: then nobody can say how far the bed has to go.
    """
    last = connection.execute(
        sa.select(piece.c.id, piece.c.document, step.c.done_at, batch.c.document["lens"].as_string())
        .select_from(step.join(piece, piece.c.id == step.c.piece_id).join(batch, batch.c.id == piece.c.batch_id))
        .where(step.c.name == "burnt", batch.c.document["machine"].as_string() == machine_id)
        .order_by(step.c.done_at.desc(), piece.c.position.desc(), piece.c.id.desc())
        .limit(1)
    ).one_or_none()
    if last is None or last[3] != lens:
        return None
    recipe = connection.execute(
        sa.select(burn.c.recipe)
        .where(burn.c.piece_id == last.id, burn.c.burnt_at == last.done_at, burn.c.removed_at.is_(None))
        .order_by(burn.c.id.desc())
        .limit(1)
    ).scalar_one_or_none()
    if recipe is None:
        return None
    thickness_mm = float(last.document["blank"]["thickness_mm"])
    return round(thickness_mm, SET_DECIMALS), round(float(recipe["stand_off_mm"]), SET_DECIMALS)
