"""Loggers: series without deployment, downloads, runs of samples, conflicts; the register of comments and promises.

A deployment can be corrected and samples cannot, so a series no longer belongs to one. Every sample belongs to one
download by its run; a download can be withdrawn. Samples lose their foreign key, which cost five times the time of
storing them: their runs, stored with them, carry it.

Revision ID: 0002
Revises: 0001

This file is a frozen copy: it imports nothing of the program, so that it still makes the same tables when the
program has moved on.
"""

import datetime as dt

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

LIVE = "retired_at_utc IS NULL"

#: Tables whose guards are new: rows are never deleted; those of the second are never altered either.
KEPT = ("download", "logger_series", "register_entry", "sample_conflict", "sample_run", "source_piece")
FIXED = ("logger_series", "sample_conflict", "sample_run", "source_piece")


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


#: The take of each series of revision 0001: its place among those of one instrument and quantity.
TAKE = "row_number() OVER (PARTITION BY instrument_id, quantity ORDER BY id)"


def rebuild_sqlite():
    """Make logger_series, adjustment and sample anew: SQLite cannot drop a column that a foreign key uses.

    The old series are put aside first, which takes the foreign keys of the other two along, so that nothing ever
    refers to a row that is not there.
    """
    op.drop_index("uq_logger_series_key", "logger_series")
    op.drop_index("ix_adjustment_series_id", "adjustment")
    for table in ("logger_series", "adjustment", "sample"):
        op.rename_table(table, f"{table}_0001")
    make_series()
    op.execute(
        "INSERT INTO logger_series (id, instrument_id, quantity, unit, take)"
        f" SELECT id, instrument_id, quantity, unit, {TAKE} FROM logger_series_0001"
    )
    op.create_table(
        "adjustment",
        sa.Column("series_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("parameters", sa.Text(), nullable=False),
        *recorded(),
        sa.ForeignKeyConstraint(["series_id"], ["logger_series.id"], name="fk_adjustment_series_id_logger_series"),
        *recorded_constraints("adjustment"),
    )
    names = ", ".join(("series_id", "kind", "parameters", *(column.name for column in recorded())))
    op.execute(f"INSERT INTO adjustment ({names}) SELECT {names} FROM adjustment_0001")
    op.create_index("ix_adjustment_series_id", "adjustment", ["series_id"], unique=False)
    op.create_table(
        "sample",
        sa.Column("series_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("time_ms", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("value", sa.Double(), nullable=True),
        sa.Column("flag", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("series_id", "time_ms", name="pk_sample"),
        sqlite_with_rowid=False,
    )
    op.execute(
        "INSERT INTO sample (series_id, time_ms, value, flag)"
        " SELECT series_id, time_ms, value, flag FROM sample_0001 ORDER BY series_id, time_ms"
    )


def drop_old_sqlite():
    """Drop what was put aside, those that refer to the series first."""
    for table in ("sample", "adjustment", "logger_series"):
        op.drop_table(f"{table}_0001")


def make_series():
    """Make the table of series as it is from now on."""
    op.create_table(
        "logger_series",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("instrument_id", sa.Integer(), nullable=False),
        sa.Column("quantity", sa.Text(), nullable=False),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("take", sa.Integer(), nullable=False),
        sa.CheckConstraint("take >= 1", name="ck_logger_series_take_counts"),
        sa.ForeignKeyConstraint(["instrument_id"], ["instrument.id"], name="fk_logger_series_instrument_id_instrument"),
        sa.PrimaryKeyConstraint("id", name="pk_logger_series"),
    )
    op.create_index("uq_logger_series_key", "logger_series", ["instrument_id", "quantity", "take"], unique=True)


def alter_postgresql():
    """Alter logger_series and sample in place; the deployments of old series stay beside until they are used."""
    op.drop_index("uq_logger_series_key", "logger_series")
    op.drop_constraint("fk_sample_series_id_logger_series", "sample")
    op.execute("CREATE TEMPORARY TABLE logger_series_0001 ON COMMIT DROP AS SELECT id, deployment_id FROM logger_series")
    op.drop_constraint("fk_logger_series_deployment_id_deployment", "logger_series")
    op.drop_column("logger_series", "deployment_id")
    op.add_column("logger_series", sa.Column("take", sa.Integer(), nullable=True))
    op.execute(
        f"UPDATE logger_series SET take = numbered.take FROM (SELECT id, {TAKE} AS take FROM logger_series) AS numbered"
        " WHERE numbered.id = logger_series.id"
    )
    op.alter_column("logger_series", "take", nullable=False)
    op.create_check_constraint("ck_logger_series_take_counts", "logger_series", "take >= 1")
    op.create_index("uq_logger_series_key", "logger_series", ["instrument_id", "quantity", "take"], unique=True)


def make_downloads():
    """Make the tables of downloads, runs, packs (copies for reading, which may be deleted), conflicts and pieces."""
    op.create_table(
        "download",
        sa.Column("series_id", sa.Integer(), nullable=False),
        sa.Column("layout", sa.Text(), nullable=False),
        sa.Column("layout_text", sa.Text(), nullable=True),
        sa.Column("zone", sa.Text(), nullable=False),
        sa.Column("first_ms", sa.BigInteger(), nullable=True),
        sa.Column("last_ms", sa.BigInteger(), nullable=True),
        *(
            sa.Column(f"{name}_count", sa.Integer(), nullable=False)
            for name in ("row", "added", "same", "repeated", "conflict", "missing", "event")
        ),
        *recorded(),
        sa.ForeignKeyConstraint(["series_id"], ["logger_series.id"], name="fk_download_series_id_logger_series"),
        *recorded_constraints("download"),
    )
    op.create_index("ix_download_series_id", "download", ["series_id"], unique=False)
    op.create_index("ix_download_source_file_id", "download", ["source_file_id"], unique=False)
    op.create_table(
        "sample_run",
        sa.Column("series_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("first_ms", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("last_ms", sa.BigInteger(), nullable=False),
        sa.Column("download_id", sa.Integer(), nullable=False),
        sa.Column("sample_count", sa.Integer(), nullable=False),
        sa.CheckConstraint("last_ms >= first_ms", name="ck_sample_run_forward"),
        sa.CheckConstraint("sample_count >= 1", name="ck_sample_run_not_empty"),
        sa.ForeignKeyConstraint(["download_id"], ["download.id"], name="fk_sample_run_download_id_download"),
        sa.ForeignKeyConstraint(["series_id"], ["logger_series.id"], name="fk_sample_run_series_id_logger_series"),
        sa.PrimaryKeyConstraint("series_id", "first_ms", name="pk_sample_run"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "sample_pack",
        sa.Column("series_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("first_ms", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("last_ms", sa.BigInteger(), nullable=False),
        sa.Column("step_ms", sa.BigInteger(), nullable=True),
        sa.Column("sample_count", sa.Integer(), nullable=False),
        sa.Column("download_id", sa.Integer(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["download_id"], ["download.id"], name="fk_sample_pack_download_id_download"),
        sa.ForeignKeyConstraint(["series_id"], ["logger_series.id"], name="fk_sample_pack_series_id_logger_series"),
        sa.PrimaryKeyConstraint("series_id", "first_ms", name="pk_sample_pack"),
    )
    op.create_table(
        "source_piece",
        sa.Column("source_file_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("ordinal", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(
            ["source_file_id"], ["source_file.id"], name="fk_source_piece_source_file_id_source_file"
        ),
        sa.PrimaryKeyConstraint("source_file_id", "ordinal", name="pk_source_piece"),
    )
    if op.get_bind().dialect.name != "sqlite":
        # what is compressed already, or small beside the rows that it copies, is not worth the time
        op.execute("ALTER TABLE sample_pack ALTER COLUMN content SET STORAGE EXTERNAL")
        op.execute("ALTER TABLE source_piece ALTER COLUMN content SET STORAGE EXTERNAL")
    op.create_table(
        "sample_conflict",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("series_id", sa.Integer(), nullable=False),
        sa.Column("time_ms", sa.BigInteger(), nullable=False),
        sa.Column("value", sa.Double(), nullable=False),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("download_id", sa.Integer(), nullable=False),
        sa.Column("source_row", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(["download_id"], ["download.id"], name="fk_sample_conflict_download_id_download"),
        sa.ForeignKeyConstraint(["series_id"], ["logger_series.id"], name="fk_sample_conflict_series_id_logger_series"),
        sa.PrimaryKeyConstraint("id", name="pk_sample_conflict"),
    )
    op.create_index("ix_sample_conflict_download_id", "sample_conflict", ["download_id"], unique=False)


def adopt_old_samples():
    """Give the samples that are there already a download for each series, recorded with its deployment."""
    moment = dt.datetime.now(dt.timezone.utc)
    if op.get_bind().dialect.name == "sqlite":
        moment = moment.replace(tzinfo=None)
    now = sa.bindparam("now", moment, type_=sa.DateTime(timezone=True))
    adopt = """
        INSERT INTO download (series_id, layout, zone, first_ms, last_ms, row_count, added_count, same_count,
            repeated_count, conflict_count, missing_count, event_count, recorded_at_utc, recorded_by, reason)
        SELECT old.id, '', 'UTC', held.first_ms, held.last_ms, held.number, held.number, 0, 0, 0, 0, 0,
            coalesce(hung.recorded_at_utc, :now), coalesce(hung.recorded_by, 'upgrade'),
            'on record before downloads were kept'
        FROM logger_series_0001 AS old
        JOIN (SELECT series_id, min(time_ms) AS first_ms, max(time_ms) AS last_ms, count(*) AS number
              FROM sample GROUP BY series_id) AS held ON held.series_id = old.id
        LEFT JOIN deployment AS hung ON hung.id = old.deployment_id
        ORDER BY old.id"""
    op.execute(sa.text(adopt).bindparams(now))
    op.execute(
        "INSERT INTO sample_run (series_id, first_ms, last_ms, download_id, sample_count)"
        " SELECT series_id, first_ms, last_ms, id, added_count FROM download"
    )


def make_register():
    """Make the register of comments and promises."""
    op.create_table(
        "register_entry",
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("raised_on", sa.Date(), nullable=False),
        sa.Column("raised_by", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("due_on", sa.Date(), nullable=True),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("answer", sa.Text(), nullable=True),
        *recorded(),
        sa.CheckConstraint("kind IN ('comment', 'promise')", name="ck_register_entry_kind_known"),
        sa.CheckConstraint("state IN ('open', 'answered', 'closed')", name="ck_register_entry_state_known"),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name="fk_register_entry_site_id_site"),
        *recorded_constraints("register_entry"),
    )
    where = sa.text(LIVE)
    op.create_index(
        "uq_register_entry_live",
        "register_entry",
        ["site_id", "code"],
        unique=True,
        sqlite_where=where,
        postgresql_where=where,
    )


def name_site_of_issues():
    """Let an issued report say which site it is of; none can have been issued before."""
    op.execute(
        "ALTER TABLE report_issue ADD COLUMN site_id INTEGER"
        " CONSTRAINT fk_report_issue_site_id_site REFERENCES site (id)"
    )
    op.drop_index("uq_report_issue_live", "report_issue")
    where = sa.text(LIVE)
    op.create_index(
        "uq_report_issue_live",
        "report_issue",
        ["site_id", "definition", "period", "sha256"],
        unique=True,
        sqlite_where=where,
        postgresql_where=where,
    )


def guard_sqlite():
    """Refuse deletion and alteration on SQLite; tables that were made anew lost their guards."""
    for table in (*KEPT, "adjustment", "sample"):
        op.execute(f"""
            CREATE TRIGGER tr_{table}_kept BEFORE DELETE ON {table}
            BEGIN SELECT RAISE(ABORT, 'rows of {table} are never deleted'); END""")
    for table in (*FIXED, "sample"):
        op.execute(f"""
            CREATE TRIGGER tr_{table}_fixed BEFORE UPDATE ON {table}
            BEGIN SELECT RAISE(ABORT, 'rows of {table} are never altered'); END""")


def guard_postgresql():
    """Refuse deletion and alteration on PostgreSQL."""
    for table in KEPT:
        op.execute(
            f"CREATE TRIGGER tr_{table}_kept BEFORE DELETE ON {table} FOR EACH ROW EXECUTE FUNCTION gwnet_kept()"
        )
    for table in FIXED:
        op.execute(
            f"CREATE TRIGGER tr_{table}_fixed BEFORE UPDATE ON {table} FOR EACH ROW EXECUTE FUNCTION gwnet_kept()"
        )


def upgrade():
    """Change the tables of loggers, keep every row, make the new tables and their guards."""
    on_sqlite = op.get_bind().dialect.name == "sqlite"
    if on_sqlite:
        rebuild_sqlite()
    else:
        alter_postgresql()
    make_downloads()
    adopt_old_samples()
    make_register()
    name_site_of_issues()
    if on_sqlite:
        drop_old_sqlite()
        guard_sqlite()
    else:
        guard_postgresql()
