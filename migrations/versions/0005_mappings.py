"""Mappings of other people's tables, and the files that were imported by each.

Revision ID: 0005
Revises: 0004

This file is a frozen copy: it imports nothing of the program, so that it still makes the same tables when the
program has moved on.
"""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade():
    """Make the two tables; their guards are made by the program."""
    op.create_table(
        "import_mapping",
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
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
            name="ck_import_mapping_interval_forward",
        ),
        sa.CheckConstraint(
            "retired_at_utc IS NULL OR retired_at_utc >= recorded_at_utc",
            name="ck_import_mapping_retired_after_recorded",
        ),
        sa.CheckConstraint(
            "(retired_at_utc IS NULL) = (retired_by IS NULL)", name="ck_import_mapping_retired_by_somebody"
        ),
        sa.ForeignKeyConstraint(
            ["source_file_id"], ["source_file.id"], name="fk_import_mapping_source_file_id_source_file"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_import_mapping"),
    )
    live = sa.text("retired_at_utc IS NULL")
    op.create_index(
        "uq_import_mapping_live", "import_mapping", ["name"], unique=True, sqlite_where=live, postgresql_where=live
    )
    op.create_table(
        "mapped_source",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("source_file_id", sa.Integer(), nullable=False),
        sa.Column("import_mapping_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["source_file_id"], ["source_file.id"], name="fk_mapped_source_source_file_id_source_file"
        ),
        sa.ForeignKeyConstraint(
            ["import_mapping_id"], ["import_mapping.id"], name="fk_mapped_source_import_mapping_id_import_mapping"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_mapped_source"),
    )
    op.create_index(
        "uq_mapped_source_file_mapping", "mapped_source", ["source_file_id", "import_mapping_id"], unique=True
    )
