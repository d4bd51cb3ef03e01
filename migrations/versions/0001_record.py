"""The record: sites, wells, measuring points, instruments, rounds, levels, loggers, verdicts, reviews, sources.

Revision ID: 0001
Revises: none

This file is a frozen copy: it imports nothing of the program, so that it still makes the same tables when the
program has moved on.
"""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

LIVE = "retired_at_utc IS NULL"

#: Tables whose rows are retired, never deleted.
KEPT = (
    "adjustment",
    "aquifer_record",
    "construction_part",
    "context_value",
    "deployment",
    "instrument_record",
    "level_event",
    "level_reading",
    "level_record",
    "measuring_point",
    "report_issue",
    "review",
    "round_record",
    "sample",
    "site_record",
    "source_file",
    "stage_reading",
    "tape_check",
    "threshold",
    "verdict",
    "well_record",
)

#: Tables whose rows are never altered either.
FIXED = ("level_event", "level_reading", "sample", "source_file")


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


def live_index(name, table, columns, condition=LIVE):
    """Unique index over the live rows."""
    where = sa.text(condition)
    op.create_index(name, table, columns, unique=True, sqlite_where=where, postgresql_where=where)


def guard_sqlite():
    """Refuse overlaps and deletion on SQLite."""
    for moment, clause in (
        ("insert", "BEFORE INSERT"),
        ("update", "BEFORE UPDATE OF well_id, access, valid_from_utc, valid_until_utc, retired_at_utc"),
    ):
        op.execute(f"""
            CREATE TRIGGER tr_measuring_point_no_overlap_{moment} {clause} ON measuring_point
            WHEN NEW.retired_at_utc IS NULL
            BEGIN
                SELECT RAISE(ABORT, 'measuring points overlap')
                WHERE EXISTS (
                    SELECT 1 FROM measuring_point AS other
                    WHERE other.well_id = NEW.well_id AND other.access = NEW.access
                      AND other.retired_at_utc IS NULL AND other.id IS NOT NEW.id
                      AND (other.valid_until_utc IS NULL OR other.valid_until_utc > NEW.valid_from_utc)
                      AND (NEW.valid_until_utc IS NULL OR NEW.valid_until_utc > other.valid_from_utc)
                );
            END""")
    for table in KEPT:
        op.execute(f"""
            CREATE TRIGGER tr_{table}_kept BEFORE DELETE ON {table}
            BEGIN SELECT RAISE(ABORT, 'rows of {table} are never deleted'); END""")
    for table in FIXED:
        op.execute(f"""
            CREATE TRIGGER tr_{table}_fixed BEFORE UPDATE ON {table}
            BEGIN SELECT RAISE(ABORT, 'rows of {table} are never altered'); END""")


def guard_postgresql():
    """Refuse overlaps and deletion on PostgreSQL."""
    op.execute("CREATE EXTENSION IF NOT EXISTS btree_gist")
    op.execute("""
        ALTER TABLE measuring_point ADD CONSTRAINT ex_measuring_point_no_overlap
        EXCLUDE USING gist (
            well_id WITH =, access WITH =, tstzrange(valid_from_utc, valid_until_utc, '[)') WITH &&
        ) WHERE (retired_at_utc IS NULL)""")
    op.execute("""
        CREATE FUNCTION gwnet_kept() RETURNS trigger LANGUAGE plpgsql AS $$
        BEGIN
            RAISE EXCEPTION 'rows of % are never %', TG_TABLE_NAME,
                CASE TG_OP WHEN 'DELETE' THEN 'deleted' ELSE 'altered' END;
        END $$""")
    for table in KEPT:
        op.execute(
            f"CREATE TRIGGER tr_{table}_kept BEFORE DELETE ON {table} FOR EACH ROW EXECUTE FUNCTION gwnet_kept()"
        )
    for table in FIXED:
        op.execute(
            f"CREATE TRIGGER tr_{table}_fixed BEFORE UPDATE ON {table} FOR EACH ROW EXECUTE FUNCTION gwnet_kept()"
        )


def upgrade():
    """Make all tables, their indexes and their guards."""
    op.create_table(
        "aquifer",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_aquifer"),
    )
    op.create_index("uq_aquifer_code", "aquifer", ["code"], unique=True)
    op.create_table(
        "instrument",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_instrument"),
    )
    op.create_index("uq_instrument_code", "instrument", ["code"], unique=True)
    op.create_table(
        "site",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_site"),
    )
    op.create_index("uq_site_code", "site", ["code"], unique=True)
    op.create_table(
        "source_file",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("size_bytes", sa.Integer(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.Column("layout", sa.Text(), nullable=False),
        sa.Column("row_count", sa.Integer(), nullable=False),
        sa.Column("loaded_at_utc", sa.DateTime(timezone=True), nullable=False),
        sa.Column("loaded_by", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_source_file"),
    )
    op.create_index("uq_source_file_sha256", "source_file", ["sha256"], unique=True)
    op.create_table(
        "aquifer_record",
        sa.Column("aquifer_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=True),
        sa.Column("confinement", sa.Text(), nullable=True),
        sa.Column("notes", sa.Text(), nullable=True),
        *recorded(),
        sa.ForeignKeyConstraint(["aquifer_id"], ["aquifer.id"], name="fk_aquifer_record_aquifer_id_aquifer"),
        *recorded_constraints("aquifer_record"),
    )
    live_index("uq_aquifer_record_live", "aquifer_record", ["aquifer_id"])
    op.create_table(
        "context_series",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name="fk_context_series_site_id_site"),
        sa.PrimaryKeyConstraint("id", name="pk_context_series"),
    )
    op.create_index("uq_context_series_site_code", "context_series", ["site_id", "code"], unique=True)
    op.create_table(
        "gauge",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name="fk_gauge_site_id_site"),
        sa.PrimaryKeyConstraint("id", name="pk_gauge"),
    )
    op.create_index("uq_gauge_site_code", "gauge", ["site_id", "code"], unique=True)
    op.create_table(
        "gauging_round",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name="fk_gauging_round_site_id_site"),
        sa.PrimaryKeyConstraint("id", name="pk_gauging_round"),
    )
    op.create_index("uq_gauging_round_site_code", "gauging_round", ["site_id", "code"], unique=True)
    op.create_table(
        "instrument_record",
        sa.Column("instrument_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("serial", sa.Text(), nullable=True),
        sa.Column("length_unit", sa.Text(), nullable=True),
        sa.Column("length_below_sensing_point_m", sa.Double(), nullable=True),
        sa.Column("resolution_m", sa.Double(), nullable=True),
        sa.Column("accuracy_m", sa.Double(), nullable=True),
        sa.Column("range_m", sa.Double(), nullable=True),
        sa.Column("notes", sa.Text(), nullable=True),
        *recorded(),
        sa.ForeignKeyConstraint(
            ["instrument_id"], ["instrument.id"], name="fk_instrument_record_instrument_id_instrument"
        ),
        *recorded_constraints("instrument_record"),
    )
    live_index("uq_instrument_record_live", "instrument_record", ["instrument_id"])
    op.create_table(
        "report_issue",
        sa.Column("definition", sa.Text(), nullable=False),
        sa.Column("definition_sha256", sa.Text(), nullable=False),
        sa.Column("period", sa.Text(), nullable=False),
        sa.Column("known_on_utc", sa.DateTime(timezone=True), nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("printed_values", sa.Text(), nullable=False),
        *recorded(),
        sa.CheckConstraint("length(sha256) = 64", name="ck_report_issue_sha256_whole"),
        *recorded_constraints("report_issue"),
    )
    live_index("uq_report_issue_live", "report_issue", ["definition", "period", "sha256"])
    op.create_table(
        "site_record",
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=True),
        sa.Column("crs", sa.Text(), nullable=False),
        sa.Column("vertical_datum", sa.Text(), nullable=False),
        sa.Column("length_unit", sa.Text(), nullable=False),
        sa.Column("time_zone", sa.Text(), nullable=False),
        sa.Column("repeat_tolerance_m", sa.Double(), nullable=True),
        sa.Column("same_day_window_days", sa.Double(), nullable=True),
        sa.Column("gauging_interval_days", sa.Double(), nullable=True),
        sa.Column("resurvey_interval_days", sa.Double(), nullable=True),
        sa.Column("tape_check_interval_days", sa.Double(), nullable=True),
        sa.Column("sounding_interval_days", sa.Double(), nullable=True),
        sa.Column("logger_visit_interval_days", sa.Double(), nullable=True),
        sa.Column("self_review", sa.Boolean(), nullable=True),
        sa.Column("check_limits", sa.Text(), nullable=True),
        sa.Column("operator", sa.Text(), nullable=True),
        sa.Column("notes", sa.Text(), nullable=True),
        *recorded(),
        sa.CheckConstraint(
            "repeat_tolerance_m IS NULL OR repeat_tolerance_m >= 0", name="ck_site_record_tolerance_not_negative"
        ),
        sa.CheckConstraint(
            "same_day_window_days IS NULL OR same_day_window_days >= 0", name="ck_site_record_window_not_negative"
        ),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name="fk_site_record_site_id_site"),
        *recorded_constraints("site_record"),
    )
    live_index("uq_site_record_live", "site_record", ["site_id"])
    op.create_table(
        "tape_check",
        sa.Column("instrument_id", sa.Integer(), nullable=False),
        sa.Column("checked_on", sa.Date(), nullable=False),
        sa.Column("tape_reading_m", sa.Double(), nullable=False),
        sa.Column("reference_reading_m", sa.Double(), nullable=False),
        sa.Column("checked_by", sa.Text(), nullable=True),
        sa.Column("notes", sa.Text(), nullable=True),
        *recorded(),
        sa.ForeignKeyConstraint(["instrument_id"], ["instrument.id"], name="fk_tape_check_instrument_id_instrument"),
        *recorded_constraints("tape_check"),
    )
    live_index("uq_tape_check_live", "tape_check", ["instrument_id", "checked_on", "tape_reading_m"])
    op.create_table(
        "well",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name="fk_well_site_id_site"),
        sa.PrimaryKeyConstraint("id", name="pk_well"),
    )
    op.create_index("uq_well_site_code", "well", ["site_id", "code"], unique=True)
    op.create_table(
        "construction_part",
        sa.Column("well_id", sa.Integer(), nullable=False),
        sa.Column("part", sa.Text(), nullable=False),
        sa.Column("top_depth_m", sa.Double(), nullable=False),
        sa.Column("bottom_depth_m", sa.Double(), nullable=False),
        sa.Column("diameter_mm", sa.Double(), nullable=True),
        sa.Column("material", sa.Text(), nullable=True),
        sa.Column("installed_on", sa.Date(), nullable=True),
        sa.Column("removed_on", sa.Date(), nullable=True),
        sa.Column("notes", sa.Text(), nullable=True),
        *recorded(),
        sa.CheckConstraint("bottom_depth_m >= top_depth_m", name="ck_construction_part_bottom_below_top"),
        sa.ForeignKeyConstraint(["well_id"], ["well.id"], name="fk_construction_part_well_id_well"),
        *recorded_constraints("construction_part"),
    )
    live_index("uq_construction_part_live", "construction_part", ["well_id", "part", "top_depth_m"])
    op.create_table(
        "context_value",
        sa.Column("context_series_id", sa.Integer(), nullable=False),
        sa.Column("on_date", sa.Date(), nullable=False),
        sa.Column("quantity", sa.Text(), nullable=False),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("value", sa.Double(), nullable=False),
        sa.Column("notes", sa.Text(), nullable=True),
        *recorded(),
        sa.ForeignKeyConstraint(
            ["context_series_id"], ["context_series.id"], name="fk_context_value_context_series_id_context_series"
        ),
        *recorded_constraints("context_value"),
    )
    live_index("uq_context_value_live", "context_value", ["context_series_id", "on_date"])
    op.create_table(
        "deployment",
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("well_id", sa.Integer(), nullable=True),
        sa.Column("instrument_id", sa.Integer(), nullable=False),
        sa.Column("hanging_depth_m", sa.Double(), nullable=True),
        sa.Column("barometer_id", sa.Integer(), nullable=True),
        sa.Column("notes", sa.Text(), nullable=True),
        *recorded(),
        sa.CheckConstraint("valid_from_utc IS NOT NULL", name="ck_deployment_hung_at_given"),
        sa.ForeignKeyConstraint(["barometer_id"], ["instrument.id"], name="fk_deployment_barometer_id_instrument"),
        sa.ForeignKeyConstraint(["instrument_id"], ["instrument.id"], name="fk_deployment_instrument_id_instrument"),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name="fk_deployment_site_id_site"),
        sa.ForeignKeyConstraint(["well_id"], ["well.id"], name="fk_deployment_well_id_well"),
        *recorded_constraints("deployment"),
    )
    live_index("uq_deployment_live", "deployment", ["instrument_id", "valid_from_utc"])
    op.create_table(
        "level_event",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("well_id", sa.Integer(), nullable=False),
        sa.Column("access", sa.Text(), nullable=False),
        sa.Column("measured_at_utc", sa.DateTime(timezone=True), nullable=False),
        sa.Column("time_known", sa.Boolean(), nullable=False),
        sa.Column("event", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["well_id"], ["well.id"], name="fk_level_event_well_id_well"),
        sa.PrimaryKeyConstraint("id", name="pk_level_event"),
    )
    op.create_index(
        "uq_level_event_key",
        "level_event",
        ["well_id", "measured_at_utc", "access", "time_known", "event"],
        unique=True,
    )
    op.create_table(
        "measuring_point",
        sa.Column("well_id", sa.Integer(), nullable=False),
        sa.Column("access", sa.Text(), nullable=False),
        sa.Column("elevation_m", sa.Double(), nullable=False),
        sa.Column("height_above_ground_m", sa.Double(), nullable=True),
        sa.Column("vertical_datum", sa.Text(), nullable=True),
        sa.Column("description", sa.Text(), nullable=True),
        sa.Column("surveyed_on", sa.Date(), nullable=True),
        sa.Column("surveyed_by", sa.Text(), nullable=True),
        sa.Column("survey_method", sa.Text(), nullable=True),
        sa.Column("accuracy_m", sa.Double(), nullable=True),
        sa.Column("change", sa.Text(), nullable=True),
        sa.Column("notes", sa.Text(), nullable=True),
        *recorded(),
        sa.CheckConstraint("accuracy_m IS NULL OR accuracy_m >= 0", name="ck_measuring_point_accuracy_not_negative"),
        sa.CheckConstraint("valid_from_utc IS NOT NULL", name="ck_measuring_point_valid_from_given"),
        sa.ForeignKeyConstraint(["well_id"], ["well.id"], name="fk_measuring_point_well_id_well"),
        *recorded_constraints("measuring_point"),
    )
    live_index("uq_measuring_point_live", "measuring_point", ["well_id", "access", "valid_from_utc"])
    op.create_table(
        "round_record",
        sa.Column("gauging_round_id", sa.Integer(), nullable=False),
        sa.Column("starts_on", sa.Date(), nullable=False),
        sa.Column("ends_on", sa.Date(), nullable=True),
        sa.Column("purpose", sa.Text(), nullable=True),
        sa.Column("wells", sa.Text(), nullable=False),
        sa.Column("crew", sa.Text(), nullable=True),
        sa.Column("notes", sa.Text(), nullable=True),
        *recorded(),
        sa.CheckConstraint("ends_on IS NULL OR ends_on >= starts_on", name="ck_round_record_ends_after_start"),
        sa.ForeignKeyConstraint(
            ["gauging_round_id"], ["gauging_round.id"], name="fk_round_record_gauging_round_id_gauging_round"
        ),
        *recorded_constraints("round_record"),
    )
    live_index("uq_round_record_live", "round_record", ["gauging_round_id"])
    op.create_table(
        "stage_reading",
        sa.Column("gauge_id", sa.Integer(), nullable=False),
        sa.Column("measured_at_utc", sa.DateTime(timezone=True), nullable=False),
        sa.Column("time_known", sa.Boolean(), nullable=False),
        sa.Column("water_elevation_m", sa.Double(), nullable=False),
        sa.Column("easting", sa.Double(), nullable=True),
        sa.Column("northing", sa.Double(), nullable=True),
        sa.Column("aquifer_id", sa.Integer(), nullable=True),
        sa.Column("notes", sa.Text(), nullable=True),
        *recorded(),
        sa.ForeignKeyConstraint(["aquifer_id"], ["aquifer.id"], name="fk_stage_reading_aquifer_id_aquifer"),
        sa.ForeignKeyConstraint(["gauge_id"], ["gauge.id"], name="fk_stage_reading_gauge_id_gauge"),
        *recorded_constraints("stage_reading"),
    )
    live_index("uq_stage_reading_live", "stage_reading", ["gauge_id", "measured_at_utc"])
    op.create_table(
        "threshold",
        sa.Column("well_id", sa.Integer(), nullable=False),
        sa.Column("threshold", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("quantity", sa.Text(), nullable=False),
        sa.Column("value_m", sa.Double(), nullable=False),
        sa.Column("consecutive", sa.Integer(), nullable=False),
        sa.Column("basis", sa.Text(), nullable=True),
        sa.Column("action", sa.Text(), nullable=True),
        *recorded(),
        sa.CheckConstraint("kind IN ('lower', 'upper')", name="ck_threshold_kind_known"),
        sa.CheckConstraint("consecutive >= 1", name="ck_threshold_consecutive_positive"),
        sa.ForeignKeyConstraint(["well_id"], ["well.id"], name="fk_threshold_well_id_well"),
        *recorded_constraints("threshold"),
    )
    live_index(
        "uq_threshold_live",
        "threshold",
        ["well_id", "threshold", "valid_from_utc"],
        "retired_at_utc IS NULL AND valid_from_utc IS NOT NULL",
    )
    live_index(
        "uq_threshold_live_open",
        "threshold",
        ["well_id", "threshold"],
        "retired_at_utc IS NULL AND valid_from_utc IS NULL",
    )
    op.create_table(
        "well_record",
        sa.Column("well_id", sa.Integer(), nullable=False),
        sa.Column("easting", sa.Double(), nullable=True),
        sa.Column("northing", sa.Double(), nullable=True),
        sa.Column("longitude", sa.Double(), nullable=True),
        sa.Column("latitude", sa.Double(), nullable=True),
        sa.Column("coordinate_accuracy_m", sa.Double(), nullable=True),
        sa.Column("aquifer_id", sa.Integer(), nullable=True),
        sa.Column("cluster", sa.Text(), nullable=True),
        sa.Column("purpose", sa.Text(), nullable=True),
        sa.Column("role", sa.Text(), nullable=True),
        sa.Column("ground_elevation_m", sa.Double(), nullable=True),
        sa.Column("ground_accuracy_m", sa.Double(), nullable=True),
        sa.Column("total_depth_m", sa.Double(), nullable=True),
        sa.Column("drilled_on", sa.Date(), nullable=True),
        sa.Column("decommissioned_on", sa.Date(), nullable=True),
        sa.Column("replaced_by", sa.Text(), nullable=True),
        sa.Column("access_notes", sa.Text(), nullable=True),
        sa.Column("hazards", sa.Text(), nullable=True),
        sa.Column("notes", sa.Text(), nullable=True),
        *recorded(),
        sa.CheckConstraint("total_depth_m IS NULL OR total_depth_m > 0", name="ck_well_record_total_depth_positive"),
        sa.ForeignKeyConstraint(["aquifer_id"], ["aquifer.id"], name="fk_well_record_aquifer_id_aquifer"),
        sa.ForeignKeyConstraint(["well_id"], ["well.id"], name="fk_well_record_well_id_well"),
        *recorded_constraints("well_record"),
    )
    live_index("uq_well_record_live", "well_record", ["well_id"])
    op.create_table(
        "level_record",
        sa.Column("level_event_id", sa.Integer(), nullable=False),
        sa.Column("gauging_round_id", sa.Integer(), nullable=True),
        sa.Column("status", sa.Text(), nullable=False),
        sa.Column("local_offset_minutes", sa.Integer(), nullable=False),
        sa.Column("instrument_id", sa.Integer(), nullable=True),
        sa.Column("method", sa.Text(), nullable=True),
        sa.Column("observer", sa.Text(), nullable=True),
        sa.Column("product_relative_density", sa.Double(), nullable=True),
        sa.Column("chosen_reading", sa.Integer(), nullable=True),
        sa.Column("discharge_l_s", sa.Double(), nullable=True),
        sa.Column("quality", sa.Text(), nullable=True),
        sa.Column("notes", sa.Text(), nullable=True),
        *recorded(),
        sa.CheckConstraint(
            "chosen_reading IS NULL OR chosen_reading BETWEEN 1 AND 3", name="ck_level_record_chosen_reading_known"
        ),
        sa.ForeignKeyConstraint(
            ["gauging_round_id"], ["gauging_round.id"], name="fk_level_record_gauging_round_id_gauging_round"
        ),
        sa.ForeignKeyConstraint(["instrument_id"], ["instrument.id"], name="fk_level_record_instrument_id_instrument"),
        sa.ForeignKeyConstraint(
            ["level_event_id"], ["level_event.id"], name="fk_level_record_level_event_id_level_event"
        ),
        *recorded_constraints("level_record"),
    )
    op.create_index("ix_level_record_gauging_round_id", "level_record", ["gauging_round_id"], unique=False)
    live_index("uq_level_record_live", "level_record", ["level_event_id"])
    op.create_table(
        "logger_series",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("instrument_id", sa.Integer(), nullable=False),
        sa.Column("deployment_id", sa.Integer(), nullable=True),
        sa.Column("quantity", sa.Text(), nullable=False),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["deployment_id"], ["deployment.id"], name="fk_logger_series_deployment_id_deployment"),
        sa.ForeignKeyConstraint(["instrument_id"], ["instrument.id"], name="fk_logger_series_instrument_id_instrument"),
        sa.PrimaryKeyConstraint("id", name="pk_logger_series"),
    )
    op.create_index(
        "uq_logger_series_key", "logger_series", ["instrument_id", "deployment_id", "quantity"], unique=True
    )
    op.create_table(
        "verdict",
        sa.Column("gauging_round_id", sa.Integer(), nullable=True),
        sa.Column("well_id", sa.Integer(), nullable=True),
        sa.Column("level_event_id", sa.Integer(), nullable=True),
        sa.Column("rule", sa.Text(), nullable=False),
        sa.Column("severity", sa.Text(), nullable=False),
        sa.Column("limits", sa.Text(), nullable=False),
        sa.Column("message", sa.Text(), nullable=False),
        *recorded(),
        sa.ForeignKeyConstraint(
            ["gauging_round_id"], ["gauging_round.id"], name="fk_verdict_gauging_round_id_gauging_round"
        ),
        sa.ForeignKeyConstraint(["level_event_id"], ["level_event.id"], name="fk_verdict_level_event_id_level_event"),
        sa.ForeignKeyConstraint(["well_id"], ["well.id"], name="fk_verdict_well_id_well"),
        *recorded_constraints("verdict"),
    )
    op.create_index("ix_verdict_gauging_round_id", "verdict", ["gauging_round_id"], unique=False)
    op.create_index("ix_verdict_level_event_id", "verdict", ["level_event_id"], unique=False)
    live_index(
        "uq_verdict_live",
        "verdict",
        ["level_event_id", "rule"],
        "retired_at_utc IS NULL AND level_event_id IS NOT NULL",
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
    op.create_index("ix_adjustment_series_id", "adjustment", ["series_id"], unique=False)
    op.create_table(
        "level_reading",
        sa.Column("level_record_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("quantity", sa.Text(), nullable=False),
        sa.Column("ordinal", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("value", sa.Double(), nullable=False),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("written", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["level_record_id"], ["level_record.id"], name="fk_level_reading_level_record_id_level_record"
        ),
        sa.PrimaryKeyConstraint("level_record_id", "quantity", "ordinal", name="pk_level_reading"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "review",
        sa.Column("level_event_id", sa.Integer(), nullable=True),
        sa.Column("verdict_id", sa.Integer(), nullable=True),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("remark", sa.Text(), nullable=True),
        *recorded(),
        sa.CheckConstraint("(level_event_id IS NULL) <> (verdict_id IS NULL)", name="ck_review_of_event_or_verdict"),
        sa.ForeignKeyConstraint(["level_event_id"], ["level_event.id"], name="fk_review_level_event_id_level_event"),
        sa.ForeignKeyConstraint(["verdict_id"], ["verdict.id"], name="fk_review_verdict_id_verdict"),
        *recorded_constraints("review"),
    )
    live_index("uq_review_live", "review", ["level_event_id"], "retired_at_utc IS NULL AND level_event_id IS NOT NULL")
    live_index("uq_review_live_verdict", "review", ["verdict_id"], "retired_at_utc IS NULL AND verdict_id IS NOT NULL")
    op.create_table(
        "sample",
        sa.Column("series_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("time_ms", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("value", sa.Double(), nullable=True),
        sa.Column("flag", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["series_id"], ["logger_series.id"], name="fk_sample_series_id_logger_series"),
        sa.PrimaryKeyConstraint("series_id", "time_ms", name="pk_sample"),
        sqlite_with_rowid=False,
    )

    if op.get_bind().dialect.name == "sqlite":
        guard_sqlite()
    else:
        guard_postgresql()
