"""States of the record.

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
    """Make the table of states."""
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


def upgrade():
    """Make the table of states."""
    make_states()
