"""The first version of the book.

Its tables are written out, not taken from `tables`: what a version was does not change with what the next one is.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "batch",
        sa.Column("id", sa.String(length=64), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("document", sa.JSON(), nullable=False),
        sa.Column("version", sa.Integer(), server_default="1", nullable=False),
        sa.Column("changed_at", sa.String(length=32), nullable=False),
        sa.Column("removed_at", sa.String(length=32), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_batch")),
    )
    with op.batch_alter_table("batch", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_batch_removed_at"), ["removed_at"], unique=False)

    op.create_table(
        "delivery",
        sa.Column("token_sha256", sa.String(length=64), nullable=False),
        sa.Column("made_at", sa.String(length=32), nullable=False),
        sa.Column("expires_at", sa.String(length=32), nullable=False),
        sa.Column("aim", sa.JSON(), nullable=False),
        sa.Column("used_at", sa.String(length=32), nullable=True),
        sa.PrimaryKeyConstraint("token_sha256", name=op.f("pk_delivery")),
    )
    op.create_table(
        "edit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.String(length=32), nullable=False),
        sa.Column("what", sa.String(length=240), nullable=False),
        sa.Column("rows", sa.JSON(), nullable=False),
        sa.Column("undone_at", sa.String(length=32), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_edit")),
    )
    op.create_table(
        "file",
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("media_type", sa.String(length=64), nullable=False),
        sa.Column("bytes", sa.BigInteger(), nullable=False),
        sa.Column("added_at", sa.String(length=32), nullable=False),
        sa.PrimaryKeyConstraint("sha256", name=op.f("pk_file")),
    )
    op.create_table(
        "machine",
        sa.Column("id", sa.String(length=64), nullable=False),
        sa.Column("document", sa.JSON(), nullable=False),
        sa.Column("version", sa.Integer(), server_default="1", nullable=False),
        sa.Column("changed_at", sa.String(length=32), nullable=False),
        sa.Column("removed_at", sa.String(length=32), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_machine")),
    )
    with op.batch_alter_table("machine", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_machine_removed_at"), ["removed_at"], unique=False)

    op.create_table(
        "setting",
        sa.Column("name", sa.String(length=64), nullable=False),
        sa.Column("value", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_setting")),
    )
    op.create_table(
        "wood",
        sa.Column("id", sa.String(length=64), nullable=False),
        sa.Column("name", sa.String(length=240), nullable=False),
        sa.Column("document", sa.JSON(), nullable=False),
        sa.Column("curve_id", sa.Integer(), nullable=True),
        sa.Column("version", sa.Integer(), server_default="1", nullable=False),
        sa.Column("changed_at", sa.String(length=32), nullable=False),
        sa.Column("removed_at", sa.String(length=32), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_wood")),
    )
    with op.batch_alter_table("wood", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_wood_removed_at"), ["removed_at"], unique=False)

    op.create_table(
        "artwork",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("name", sa.String(length=240), nullable=False),
        sa.Column("added_at", sa.String(length=32), nullable=False),
        sa.Column("removed_at", sa.String(length=32), nullable=True),
        sa.ForeignKeyConstraint(["sha256"], ["file.sha256"], name=op.f("fk_artwork_sha256_file")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_artwork")),
    )
    with op.batch_alter_table("artwork", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_artwork_sha256"), ["sha256"], unique=False)

    op.create_table(
        "blank",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("wood_id", sa.String(length=64), nullable=False),
        sa.Column("name", sa.String(length=240), nullable=False),
        sa.Column("left_count", sa.Integer(), nullable=False),
        sa.Column("document", sa.JSON(), nullable=False),
        sa.Column("version", sa.Integer(), server_default="1", nullable=False),
        sa.Column("changed_at", sa.String(length=32), nullable=False),
        sa.Column("removed_at", sa.String(length=32), nullable=True),
        sa.ForeignKeyConstraint(["wood_id"], ["wood.id"], name=op.f("fk_blank_wood_id_wood")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_blank")),
    )
    with op.batch_alter_table("blank", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_blank_removed_at"), ["removed_at"], unique=False)
        batch_op.create_index(batch_op.f("ix_blank_wood_id"), ["wood_id"], unique=False)

    op.create_table(
        "card",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("wood_id", sa.String(length=64), nullable=False),
        sa.Column("kind", sa.String(length=64), nullable=False),
        sa.Column("made_at", sa.String(length=32), nullable=False),
        sa.Column("document", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["wood_id"], ["wood.id"], name=op.f("fk_card_wood_id_wood")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_card")),
    )
    with op.batch_alter_table("card", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_card_wood_id"), ["wood_id"], unique=False)

    op.create_table(
        "curve",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("wood_id", sa.String(length=64), nullable=False),
        sa.Column("made_at", sa.String(length=32), nullable=False),
        sa.Column("document", sa.JSON(), nullable=False),
        sa.Column("source", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["wood_id"], ["wood.id"], name=op.f("fk_curve_wood_id_wood")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_curve")),
    )
    with op.batch_alter_table("curve", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_curve_wood_id"), ["wood_id"], unique=False)

    op.create_table(
        "piece",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("batch_id", sa.String(length=64), nullable=False),
        sa.Column("slug", sa.String(length=64), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("wood_id", sa.String(length=64), nullable=False),
        sa.Column("name", sa.String(length=240), nullable=False),
        sa.Column("document", sa.JSON(), nullable=False),
        sa.Column("version", sa.Integer(), server_default="1", nullable=False),
        sa.Column("changed_at", sa.String(length=32), nullable=False),
        sa.Column("removed_at", sa.String(length=32), nullable=True),
        sa.ForeignKeyConstraint(["batch_id"], ["batch.id"], name=op.f("fk_piece_batch_id_batch")),
        sa.ForeignKeyConstraint(["wood_id"], ["wood.id"], name=op.f("fk_piece_wood_id_wood")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_piece")),
    )
    with op.batch_alter_table("piece", schema=None) as batch_op:
        batch_op.create_index("ix_piece_order", ["batch_id", "position"], unique=False)
        batch_op.create_index(batch_op.f("ix_piece_removed_at"), ["removed_at"], unique=False)
        batch_op.create_index(batch_op.f("ix_piece_wood_id"), ["wood_id"], unique=False)

    op.create_table(
        "burn",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("piece_id", sa.Integer(), nullable=False),
        sa.Column("mark_id", sa.String(length=64), nullable=False),
        sa.Column("wood_id", sa.String(length=64), nullable=False),
        sa.Column("burnt_at", sa.String(length=32), nullable=False),
        sa.Column("recipe", sa.JSON(), nullable=False),
        sa.Column("predicted", sa.JSON(), nullable=False),
        sa.Column("outcome", sa.JSON(), nullable=True),
        sa.Column("grade", sa.Integer(), nullable=True),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("version", sa.Integer(), server_default="1", nullable=False),
        sa.Column("changed_at", sa.String(length=32), nullable=False),
        sa.Column("removed_at", sa.String(length=32), nullable=True),
        sa.ForeignKeyConstraint(["piece_id"], ["piece.id"], name=op.f("fk_burn_piece_id_piece")),
        sa.ForeignKeyConstraint(["wood_id"], ["wood.id"], name=op.f("fk_burn_wood_id_wood")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_burn")),
    )
    with op.batch_alter_table("burn", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_burn_burnt_at"), ["burnt_at"], unique=False)
        batch_op.create_index(batch_op.f("ix_burn_piece_id"), ["piece_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_burn_removed_at"), ["removed_at"], unique=False)
        batch_op.create_index(batch_op.f("ix_burn_wood_id"), ["wood_id"], unique=False)

    op.create_table(
        "photograph",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("name", sa.String(length=240), nullable=False),
        sa.Column("received_at", sa.String(length=32), nullable=False),
        sa.Column("card_id", sa.Integer(), nullable=True),
        sa.Column("piece_id", sa.Integer(), nullable=True),
        sa.Column("removed_at", sa.String(length=32), nullable=True),
        sa.ForeignKeyConstraint(["card_id"], ["card.id"], name=op.f("fk_photograph_card_id_card")),
        sa.ForeignKeyConstraint(["piece_id"], ["piece.id"], name=op.f("fk_photograph_piece_id_piece")),
        sa.ForeignKeyConstraint(["sha256"], ["file.sha256"], name=op.f("fk_photograph_sha256_file")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_photograph")),
    )
    with op.batch_alter_table("photograph", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_photograph_card_id"), ["card_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_photograph_piece_id"), ["piece_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_photograph_sha256"), ["sha256"], unique=False)

    op.create_table(
        "plan",
        sa.Column("piece_id", sa.Integer(), nullable=False),
        sa.Column("inputs_sha256", sa.String(length=64), nullable=False),
        sa.Column("planned_at", sa.String(length=32), nullable=False),
        sa.Column("time_s", sa.Float(), nullable=False),
        sa.Column("document", sa.JSON(), nullable=False),
        sa.Column("folder", sa.String(length=240), nullable=False),
        sa.ForeignKeyConstraint(["piece_id"], ["piece.id"], name=op.f("fk_plan_piece_id_piece")),
        sa.PrimaryKeyConstraint("piece_id", name=op.f("pk_plan")),
    )
    op.create_table(
        "reading",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("card_id", sa.Integer(), nullable=False),
        sa.Column("read_at", sa.String(length=32), nullable=False),
        sa.Column("document", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["card_id"], ["card.id"], name=op.f("fk_reading_card_id_card")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_reading")),
    )
    with op.batch_alter_table("reading", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_reading_card_id"), ["card_id"], unique=False)

    op.create_table(
        "step",
        sa.Column("piece_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=64), nullable=False),
        sa.Column("done_at", sa.String(length=32), nullable=False),
        sa.ForeignKeyConstraint(["piece_id"], ["piece.id"], name=op.f("fk_step_piece_id_piece")),
        sa.PrimaryKeyConstraint("piece_id", "name", name=op.f("pk_step")),
    )
