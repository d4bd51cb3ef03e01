"""Thresholds on the change of a level within some days, and on the gradient between two wells.

Revision ID: 0008
Revises: 0007

This file is a frozen copy: it imports nothing of the program, so that it still makes the same tables when the
program has moved on.
"""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade():
    """Add the columns; thresholds on record keep theirs."""
    op.add_column("threshold", sa.Column("days", sa.Integer()))
    op.add_column("threshold", sa.Column("gradient", sa.Double()))
    name = "fk_threshold_other_well_id_well"
    if op.get_bind().dialect.name == "sqlite":  # no constraint can be added to a table that is there
        op.execute(f"ALTER TABLE threshold ADD COLUMN other_well_id INTEGER CONSTRAINT {name} REFERENCES well (id)")
    else:
        op.add_column("threshold", sa.Column("other_well_id", sa.Integer()))
        op.create_foreign_key(name, "threshold", "well", ["other_well_id"], ["id"])
