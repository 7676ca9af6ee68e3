"""Runs migrations on the connection that `opening` hands over; there is no other way in."""

from __future__ import annotations

from alembic import context

from evenburn.adapters.storage.book.tables import BOOK

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=BOOK,
    render_as_batch=True,  # SQLite cannot alter most things in place
    transactional_ddl=True,
)
with context.begin_transaction():
    context.run_migrations()
