"""Pumping tests, their rates of pumping, and the levels that were read for them.

Revision ID: 0006
Revises: 0005

This file is a frozen copy: it imports nothing of the program, so that it still makes the same tables when the
program has moved on.
"""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def recorded():
    """Columns of the two times."""
    return (
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
    )


def recorded_constraints(table):
    """Constraints of the two times."""
    return (
        sa.CheckConstraint(
            "valid_from_utc IS NULL OR valid_until_utc IS NULL OR valid_until_utc > valid_from_utc",
            name=f"ck_{table}_interval_forward",
        ),
        sa.CheckConstraint(
            "retired_at_utc IS NULL OR retired_at_utc >= recorded_at_utc", name=f"ck_{table}_retired_after_recorded"
        ),
        sa.CheckConstraint("(retired_at_utc IS NULL) = (retired_by IS NULL)", name=f"ck_{table}_retired_by_somebody"),
        sa.ForeignKeyConstraint(["source_file_id"], ["source_file.id"], name=f"fk_{table}_source_file_id_source_file"),
        sa.PrimaryKeyConstraint("id", name=f"pk_{table}"),
    )


def refers(table, column, other):
    """Foreign key of a column."""
    return sa.ForeignKeyConstraint([column], [f"{other}.id"], name=f"fk_{table}_{column}_{other}")


def live_index(name, table, columns, condition=""):
    """Unique index over the live rows."""
    where = sa.text("retired_at_utc IS NULL" + (f" AND {condition}" if condition else ""))
    op.create_index(name, table, columns, unique=True, sqlite_where=where, postgresql_where=where)


def upgrade():
    """Make the four tables; their guards are made by the program."""
    op.create_table(
        "pumping_test",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        refers("pumping_test", "site_id", "site"),
        sa.PrimaryKeyConstraint("id", name="pk_pumping_test"),
    )
    op.create_index("uq_pumping_test_site_code", "pumping_test", ["site_id", "code"], unique=True)
    make_tests()
    make_rates()
    make_readings()


def make_tests():
    """Make the table of tests."""
    op.create_table(
        "pumping_test_record",
        sa.Column("pumping_test_id", sa.Integer(), nullable=False),
        sa.Column("well_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("starts_at_utc", sa.DateTime(timezone=True), nullable=False),
        sa.Column("stops_at_utc", sa.DateTime(timezone=True)),
        sa.Column("intake_depth_m", sa.Double()),
        sa.Column("aquifer_thickness_m", sa.Double()),
        sa.Column("purpose", sa.Text()),
        sa.Column("crew", sa.Text()),
        sa.Column("notes", sa.Text()),
        *recorded(),
        sa.CheckConstraint(
            "stops_at_utc IS NULL OR stops_at_utc > starts_at_utc", name="ck_pumping_test_record_stops_after_start"
        ),
        refers("pumping_test_record", "pumping_test_id", "pumping_test"),
        refers("pumping_test_record", "well_id", "well"),
        *recorded_constraints("pumping_test_record"),
    )
    live_index("uq_pumping_test_record_live", "pumping_test_record", ["pumping_test_id"])


def make_rates():
    """Make the table of rates."""
    op.create_table(
        "pumping_rate",
        sa.Column("pumping_test_id", sa.Integer(), nullable=False),
        sa.Column("well_id", sa.Integer(), nullable=False),
        sa.Column("from_utc", sa.DateTime(timezone=True)),
        sa.Column("from_elapsed_min", sa.Double()),
        sa.Column("rate_l_s", sa.Double(), nullable=False),
        sa.Column("method", sa.Text()),
        sa.Column("volume_l", sa.Double()),
        sa.Column("seconds_s", sa.Double()),
        sa.Column("notes", sa.Text()),
        *recorded(),
        sa.CheckConstraint("rate_l_s >= 0", name="ck_pumping_rate_rate_not_negative"),
        sa.CheckConstraint(
            "(from_utc IS NULL) <> (from_elapsed_min IS NULL)", name="ck_pumping_rate_from_given_once"
        ),
        refers("pumping_rate", "pumping_test_id", "pumping_test"),
        refers("pumping_rate", "well_id", "well"),
        *recorded_constraints("pumping_rate"),
    )
    key = ["pumping_test_id", "well_id"]
    live_index("uq_pumping_rate_live", "pumping_rate", [*key, "from_utc"], "from_utc IS NOT NULL")
    live_index(
        "uq_pumping_rate_live_elapsed", "pumping_rate", [*key, "from_elapsed_min"], "from_elapsed_min IS NOT NULL"
    )


def make_readings():
    """Make the table of readings."""
    op.create_table(
        "pumping_reading",
        sa.Column("pumping_test_id", sa.Integer(), nullable=False),
        sa.Column("well_id", sa.Integer(), nullable=False),
        sa.Column("measured_at_utc", sa.DateTime(timezone=True)),
        sa.Column("elapsed_min", sa.Double()),
        sa.Column("depth_to_water_m", sa.Double()),
        sa.Column("drawdown_m", sa.Double()),
        sa.Column("set_depth_m", sa.Double()),
        sa.Column("passed", sa.Text()),
        sa.Column("access", sa.Text(), nullable=False),
        sa.Column("instrument_id", sa.Integer()),
        sa.Column("observer", sa.Text()),
        sa.Column("quality", sa.Text()),
        sa.Column("notes", sa.Text()),
        *recorded(),
        sa.CheckConstraint(
            "(measured_at_utc IS NULL) <> (elapsed_min IS NULL)", name="ck_pumping_reading_time_given_once"
        ),
        sa.CheckConstraint(
            "(set_depth_m IS NULL) = (passed IS NULL)", name="ck_pumping_reading_passed_with_set_depth"
        ),
        refers("pumping_reading", "pumping_test_id", "pumping_test"),
        refers("pumping_reading", "well_id", "well"),
        refers("pumping_reading", "instrument_id", "instrument"),
        *recorded_constraints("pumping_reading"),
    )
    key = ["pumping_test_id", "well_id"]
    live_index("uq_pumping_reading_live", "pumping_reading", [*key, "measured_at_utc"], "measured_at_utc IS NOT NULL")
    live_index("uq_pumping_reading_live_elapsed", "pumping_reading", [*key, "elapsed_min"], "elapsed_min IS NOT NULL")
