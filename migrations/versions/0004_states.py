"""States of the record, chained by digests over what each added or retired.

Revision ID: 0004
Revises: 0003

This file is a frozen copy: it imports nothing of the program, so that it still makes the same tables when the
program has moved on.
"""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def make_states():
    """Make the tables of states and of their parts."""
    op.create_table(
        "state",
        sa.Column("serial", sa.Integer(), nullable=False, autoincrement=False),
        sa.Column("recorded_at_utc", sa.DateTime(timezone=True), nullable=False),
        sa.Column("clock_utc", sa.DateTime(timezone=True)),
        sa.Column("recorded_by", sa.Text(), nullable=False),
        sa.Column("act", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text()),
        sa.Column("program", sa.Text(), nullable=False),
        sa.Column("previous_digest", sa.Text()),
        sa.Column("digest", sa.Text(), nullable=False),
        sa.CheckConstraint("serial >= 1", name="ck_state_serial_counts"),
        sa.CheckConstraint("length(digest) = 64", name="ck_state_digest_whole"),
        sa.PrimaryKeyConstraint("serial", name="pk_state"),
    )
    op.create_index("uq_state_recorded_at", "state", ["recorded_at_utc"], unique=True)
    op.create_table(
        "state_part",
        sa.Column("state_serial", sa.Integer(), nullable=False, autoincrement=False),
        sa.Column("ordinal", sa.Integer(), nullable=False, autoincrement=False),
        sa.Column("table_name", sa.Text(), nullable=False),
        sa.Column("act", sa.Text(), nullable=False),
        sa.Column("described", sa.Text(), nullable=False),
        sa.Column("row_count", sa.Integer(), nullable=False),
        sa.Column("row_keys", sa.LargeBinary(), nullable=False),
        sa.Column("row_hashes", sa.LargeBinary(), nullable=False),
        sa.Column("digest", sa.Text(), nullable=False),
        sa.CheckConstraint("length(digest) = 64", name="ck_state_part_digest_whole"),
        sa.ForeignKeyConstraint(["state_serial"], ["state.serial"], name="fk_state_part_state_serial_state"),
        sa.PrimaryKeyConstraint("state_serial", "ordinal", name="pk_state_part"),
    )


def upgrade():
    """Make the tables of states; their guards, and those of all other tables, are made by the program."""
    make_states()
