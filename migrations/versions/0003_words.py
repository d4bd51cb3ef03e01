"""Names of tables and columns in the words of the field: corrections of logger series, segments of a quantity.

What was called an adjustment is a correction; what was called a take is a segment. No row changes.

Revision ID: 0003
Revises: 0002

This file is a frozen copy: it imports nothing of the program, so that it still makes the same tables when the
program has moved on.
"""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

COLUMNS = (
    *("series_id", "kind", "parameters", "id", "valid_from_utc", "valid_until_utc", "recorded_at_utc", "recorded_by"),
    *("reason", "retired_at_utc", "retired_by", "retired_reason", "source_row", "as_written", "source_file_id"),
)

#: Constraints of the table that takes a new name.
CONSTRAINTS = (
    *("pk_{0}", "fk_{0}_series_id_logger_series", "fk_{0}_source_file_id_source_file"),
    *("ck_{0}_ck_{0}_interval_forward", "ck_{0}_ck_{0}_retired_after_recorded", "ck_{0}_ck_{0}_retired_by_somebody"),
)


def rename_on_sqlite():
    """Make the table of corrections anew, so that its constraints carry its name; SQLite cannot rename them."""
    op.create_table(
        "correction",
        sa.Column("series_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("parameters", sa.Text(), nullable=False),
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("valid_from_utc", sa.DateTime(timezone=True)),
        sa.Column("valid_until_utc", sa.DateTime(timezone=True)),
        sa.Column("recorded_at_utc", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text()),
        sa.Column("retired_at_utc", sa.DateTime(timezone=True)),
        sa.Column("retired_by", sa.Text()),
        sa.Column("retired_reason", sa.Text()),
        sa.Column("source_row", sa.Integer()),
        sa.Column("as_written", sa.Text()),
        sa.Column("source_file_id", sa.Integer()),
        sa.CheckConstraint(
            "valid_from_utc IS NULL OR valid_until_utc IS NULL OR valid_until_utc > valid_from_utc",
            name="ck_correction_interval_forward",
        ),
        sa.CheckConstraint(
            "retired_at_utc IS NULL OR retired_at_utc >= recorded_at_utc", name="ck_correction_retired_after_recorded"
        ),
        sa.CheckConstraint("(retired_at_utc IS NULL) = (retired_by IS NULL)", name="ck_correction_retired_by_somebody"),
        sa.ForeignKeyConstraint(["series_id"], ["logger_series.id"], name="fk_correction_series_id_logger_series"),
        sa.ForeignKeyConstraint(["source_file_id"], ["source_file.id"], name="fk_correction_source_file_id_source_file"),
        sa.PrimaryKeyConstraint("id", name="pk_correction"),
    )
    names = ", ".join(COLUMNS)
    op.execute(f"INSERT INTO correction ({names}) SELECT {names} FROM adjustment")
    op.drop_table("adjustment")
    op.create_index("ix_correction_series_id", "correction", ["series_id"], unique=False)
    op.execute("""
        CREATE TRIGGER tr_correction_kept BEFORE DELETE ON correction
        BEGIN SELECT RAISE(ABORT, 'rows of correction are never deleted'); END""")


def rename_on_postgresql():
    """Rename the table with all that carries its name."""
    op.rename_table("adjustment", "correction")
    op.execute("ALTER INDEX ix_adjustment_series_id RENAME TO ix_correction_series_id")
    op.execute("ALTER TRIGGER tr_adjustment_kept ON correction RENAME TO tr_correction_kept")
    for name in CONSTRAINTS:
        op.execute(f"ALTER TABLE correction RENAME CONSTRAINT {name.format('adjustment')} TO {name.format('correction')}")


def upgrade():
    """Rename; every row stays as it is."""
    if op.get_bind().dialect.name == "sqlite":
        rename_on_sqlite()
    else:
        rename_on_postgresql()
    op.execute("ALTER TABLE logger_series RENAME COLUMN take TO segment")
