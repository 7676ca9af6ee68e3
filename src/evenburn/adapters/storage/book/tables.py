"""The book's tables, for SQLite and PostgreSQL alike.

What is looked for or sorted by has a column of its own; the rest of a thing stands in its `document`, in the form of the file
that a person could have written for it (machine.toml, a wood, a piece of batch.toml, card.json, reading.json, curve.json), so
that the same readers check both. Times are ISO 8601 in UTC. A row that a person may change carries a `version`, which each
change raises by one: a later save of an older one is told, and nothing is overwritten in silence. Nothing a person removes
is gone at once: `removed_at` hides it, and undo brings it back.
"""

from __future__ import annotations

import sqlalchemy as sa

BOOK = sa.MetaData(
    naming_convention={
        "ix": "ix_%(column_0_label)s",
        "uq": "uq_%(table_name)s_%(column_0_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)
ID = 64  # of the ids that a person sees
TIME = 32
NAME = 240


def _changeable() -> list[sa.Column[object]]:
    """Return the columns of a row that a person may change and take away."""
    return [
        sa.Column("version", sa.Integer, nullable=False, server_default="1"),
        sa.Column("changed_at", sa.String(TIME), nullable=False),
        sa.Column("removed_at", sa.String(TIME), nullable=True, index=True),
    ]


setting = sa.Table(
    "setting",
    BOOK,
    sa.Column("name", sa.String(ID), primary_key=True),
    sa.Column("value", sa.JSON, nullable=False),
)

machine = sa.Table(
    "machine",
    BOOK,
    sa.Column("id", sa.String(ID), primary_key=True),
    sa.Column("document", sa.JSON, nullable=False),
    *_changeable(),
)

wood = sa.Table(
    "wood",
    BOOK,
    sa.Column("id", sa.String(ID), primary_key=True),
    sa.Column("name", sa.String(NAME), nullable=False),
    sa.Column("document", sa.JSON, nullable=False),
    sa.Column("curve_id", sa.Integer, nullable=True),  # the curve it works with; no key, for curves point back
    *_changeable(),
)

card = sa.Table(
    "card",
    BOOK,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("wood_id", sa.ForeignKey("wood.id"), nullable=False, index=True),
    sa.Column("kind", sa.String(ID), nullable=False),
    sa.Column("made_at", sa.String(TIME), nullable=False),
    sa.Column("document", sa.JSON, nullable=False),
)

file = sa.Table(
    "file",
    BOOK,
    sa.Column("sha256", sa.String(64), primary_key=True),
    sa.Column("media_type", sa.String(ID), nullable=False),
    sa.Column("bytes", sa.BigInteger, nullable=False),
    sa.Column("added_at", sa.String(TIME), nullable=False),
)

artwork = sa.Table(
    "artwork",
    BOOK,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("sha256", sa.ForeignKey("file.sha256"), nullable=False, index=True),
    sa.Column("name", sa.String(NAME), nullable=False),
    sa.Column("added_at", sa.String(TIME), nullable=False),
    sa.Column("removed_at", sa.String(TIME), nullable=True),
)

batch = sa.Table(
    "batch",
    BOOK,
    sa.Column("id", sa.String(ID), primary_key=True),
    sa.Column("position", sa.Integer, nullable=False),
    sa.Column("document", sa.JSON, nullable=False),
    *_changeable(),
)

piece = sa.Table(
    "piece",
    BOOK,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("batch_id", sa.ForeignKey("batch.id"), nullable=False),
    sa.Column("slug", sa.String(ID), nullable=False),
    sa.Column("position", sa.Integer, nullable=False),
    sa.Column("wood_id", sa.ForeignKey("wood.id"), nullable=False, index=True),
    sa.Column("name", sa.String(NAME), nullable=False),
    sa.Column("document", sa.JSON, nullable=False),
    *_changeable(),
    sa.Index("ix_piece_order", "batch_id", "position"),
)

step = sa.Table(
    "step",
    BOOK,
    sa.Column("piece_id", sa.ForeignKey("piece.id"), primary_key=True),
    sa.Column("name", sa.String(ID), primary_key=True),
    sa.Column("done_at", sa.String(TIME), nullable=False),
)

plan = sa.Table(
    "plan",
    BOOK,
    sa.Column("piece_id", sa.ForeignKey("piece.id"), primary_key=True),
    sa.Column("inputs_sha256", sa.String(64), nullable=False),
    sa.Column("planned_at", sa.String(TIME), nullable=False),
    sa.Column("time_s", sa.Float, nullable=False),
    sa.Column("document", sa.JSON, nullable=False),
    sa.Column("folder", sa.String(NAME), nullable=False),
)

photograph = sa.Table(
    "photograph",
    BOOK,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("sha256", sa.ForeignKey("file.sha256"), nullable=False, index=True),
    sa.Column("name", sa.String(NAME), nullable=False),
    sa.Column("received_at", sa.String(TIME), nullable=False),
    sa.Column("card_id", sa.ForeignKey("card.id"), nullable=True, index=True),
    sa.Column("piece_id", sa.ForeignKey("piece.id"), nullable=True, index=True),
    sa.Column("removed_at", sa.String(TIME), nullable=True),
)

reading = sa.Table(
    "reading",
    BOOK,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("card_id", sa.ForeignKey("card.id"), nullable=False, index=True),
    sa.Column("read_at", sa.String(TIME), nullable=False),
    sa.Column("document", sa.JSON, nullable=False),
)

curve = sa.Table(
    "curve",
    BOOK,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("wood_id", sa.ForeignKey("wood.id"), nullable=False, index=True),
    sa.Column("made_at", sa.String(TIME), nullable=False),
    sa.Column("document", sa.JSON, nullable=False),
    sa.Column("source", sa.JSON, nullable=False),  # ids of the readings it was fitted to
)

blank = sa.Table(
    "blank",
    BOOK,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("wood_id", sa.ForeignKey("wood.id"), nullable=False, index=True),
    sa.Column("name", sa.String(NAME), nullable=False),
    sa.Column("left_count", sa.Integer, sa.CheckConstraint("left_count >= 0", name="left"), nullable=False),
    sa.Column("document", sa.JSON, nullable=False),
    *_changeable(),
)

burn = sa.Table(
    "burn",
    BOOK,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("piece_id", sa.ForeignKey("piece.id"), nullable=False, index=True),
    sa.Column("mark_id", sa.String(ID), nullable=False),
    sa.Column("wood_id", sa.ForeignKey("wood.id"), nullable=False, index=True),
    sa.Column("burnt_at", sa.String(TIME), nullable=False, index=True),
    sa.Column("recipe", sa.JSON, nullable=False),
    sa.Column("predicted", sa.JSON, nullable=False),
    sa.Column("outcome", sa.JSON, nullable=True),
    sa.Column("grade", sa.Integer, nullable=True),
    sa.Column("note", sa.Text, nullable=False, server_default=""),
    *_changeable(),
)

edit = sa.Table(
    "edit",
    BOOK,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("made_at", sa.String(TIME), nullable=False),
    sa.Column("what", sa.String(NAME), nullable=False),  # in words, for the line that offers undo
    sa.Column("rows", sa.JSON, nullable=False),  # [{table, key, before, after}], null where there was or is none
    sa.Column("undone_at", sa.String(TIME), nullable=True),
)

delivery = sa.Table(
    "delivery",
    BOOK,
    sa.Column("token_sha256", sa.String(64), primary_key=True),  # never the token itself
    sa.Column("made_at", sa.String(TIME), nullable=False),
    sa.Column("expires_at", sa.String(TIME), nullable=False),
    sa.Column("aim", sa.JSON, nullable=False),  # {card_id} or {piece_id}
    sa.Column("used_at", sa.String(TIME), nullable=True),
)
