"""How the bed stands: as the machine's last burn left it, in whatever batch, by what the logbook says."""

from __future__ import annotations

from pathlib import Path

import sqlalchemy as sa

from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.tables import batch, burn
from evenburn.core.planning.batch import Setting
from evenburn.services.book.bed_now import set_last
from evenburn.services.book.mark_step import mark_step
from evenburn.services.book.plan_piece import plan_all
from evenburn.services.book.take_in import TakenIn, take_in_batch
from evenburn.services.book.today import today
from service.book.conftest import LATER, NOW


def _set(book: Book, batch_id: str, *, lens: str | None = None) -> Setting | None:
    with book.reading() as connection:
        about = connection.execute(sa.select(batch.c.document).where(batch.c.id == batch_id)).scalar_one()
        return set_last(connection, machine_id=about["machine"], lens=lens or about["lens"])


def test_the_last_burn_counts_whatever_its_place_and_batch(book: Book, taken: TakenIn, batch_folder: Path) -> None:
    other = take_in_batch(book, batch_folder, now=NOW)
    with book.writing() as connection:  # taking a folder in twice brings its machine twice
        own = connection.execute(sa.select(batch.c.document).where(batch.c.id == taken.batch_id)).scalar_one()
        connection.execute(sa.update(batch).where(batch.c.id == other.batch_id).values(document=own))
    for one in (taken, other):
        plan_all(book, one.batch_id, now=NOW)
    assert _set(book, taken.batch_id) is None
    mark_step(book, taken.piece_ids[1], "burnt", done=True, now=NOW)
    tag = today(book, now=NOW).rows[1].set_ups[-1]
    assert _set(book, taken.batch_id) == tag
    mark_step(book, other.piece_ids[0], "burnt", done=True, now=LATER)
    plaque = today(book, now=NOW, batch_id=other.batch_id).rows[0].set_ups[-1]
    assert plaque != tag
    assert _set(book, taken.batch_id) == plaque
    first = today(book, now=LATER, batch_id=taken.batch_id).rows[0]
    assert (first.refocus, first.focusings) == (False, ())  # it is the same plaque


def test_where_nobody_knows_no_way_is_told(book: Book, taken: TakenIn) -> None:
    plan_all(book, taken.batch_id, now=NOW)
    mark_step(book, taken.piece_ids[1], "burnt", done=True, now=NOW)
    assert _set(book, taken.batch_id, lens="4 inch") is None
    with book.reading() as connection:
        assert set_last(connection, machine_id="another", lens="2 inch") is None
    with book.writing() as connection:
        connection.execute(sa.delete(burn))
    assert _set(book, taken.batch_id) is None
    (one,) = today(book, now=NOW).rows[0].focusings
    assert one.bed_down_mm is None
