"""Levels as they are worked out, for readers that speak SQL; the views are made by the program.

Revision ID: 0007
Revises: 0006

This file is a frozen copy: it imports nothing of the program, so that it still makes the same tables when the
program has moved on.
"""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade():
    """Make the table; it is filled when a level is next recorded or reviewed, or by ``gwnet refresh``."""
    op.create_table(
        "reduced_level",
        sa.Column("event_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("site", sa.Text(), nullable=False),
        sa.Column("well", sa.Text(), nullable=False),
        sa.Column("aquifer", sa.Text(), nullable=False),
        sa.Column("access", sa.Text(), nullable=False),
        sa.Column("measured_at_utc", sa.DateTime(timezone=True), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("status", sa.Text(), nullable=False),
        sa.Column("depth_to_water_m", sa.Double()),
        sa.Column("water_elevation_m", sa.Double()),
        sa.Column("uncertainty_m", sa.Double()),
        sa.Column("bound", sa.Text(), nullable=False),
        sa.Column("bound_elevation_m", sa.Double()),
        sa.Column("usable", sa.Boolean(), nullable=False),
        sa.Column("unusable_reason", sa.Text(), nullable=False),
        sa.Column("review", sa.Text(), nullable=False),
        sa.Column("finding", sa.Text(), nullable=False),
        sa.Column("state_serial", sa.Integer(), nullable=False),
        sa.Column("known_on_utc", sa.DateTime(timezone=True), nullable=False),
        sa.Column("computed_at_utc", sa.DateTime(timezone=True), nullable=False),
        sa.Column("version", sa.Text(), nullable=False),
        sa.Column("row_sha256", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["event_id"], ["level_event.id"], name="fk_reduced_level_event_id_level_event"),
        sa.PrimaryKeyConstraint("event_id", name="pk_reduced_level"),
    )
