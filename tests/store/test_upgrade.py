"""A database of an earlier revision keeps every row when it is upgraded."""

import datetime as dt

import pytest
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import inspect, text

from gwnet.errors import SchemaBehindError, StoreError
from gwnet.network import upgrade
from gwnet.store import revision
from gwnet.store.fetch import samples as fetch_samples
from gwnet.store.models.schema import METADATA
from gwnet.store.session import open_store

HUNG = dt.datetime(2024, 3, 1, 8, 0, tzinfo=dt.UTC)
RECORDED = dt.datetime(2024, 3, 2, 9, 0, tzinfo=dt.UTC)

#: Rows of revision 0001: two deployments of one logger, each with a series, and one series of no deployment.
ROWS = (
    ("site", {"id": 1, "code": "S"}),
    ("instrument", {"id": 1, "code": "L1"}),
    ("instrument", {"id": 2, "code": "L2"}),
    ("well", {"id": 1, "site_id": 1, "code": "MW-1"}),
    *(
        (
            "deployment",
            {
                "id": number,
                "site_id": 1,
                "well_id": 1,
                "instrument_id": 1,
                "hanging_depth_m": 12.5,
                "valid_from_utc": HUNG + dt.timedelta(days=100 * number),
                "recorded_at_utc": RECORDED + dt.timedelta(days=100 * number),
                "recorded_by": "Ana",
            },
        )
        for number in (1, 2)
    ),
    ("logger_series", {"id": 1, "instrument_id": 1, "deployment_id": 1, "quantity": "water pressure", "unit": "kPa"}),
    ("logger_series", {"id": 2, "instrument_id": 1, "deployment_id": 2, "quantity": "water pressure", "unit": "kPa"}),
    ("logger_series", {"id": 3, "instrument_id": 2, "deployment_id": None, "quantity": "air pressure", "unit": "hPa"}),
    ("logger_series", {"id": 4, "instrument_id": 2, "deployment_id": None, "quantity": "battery", "unit": "V"}),
    *(
        ("sample", {"series_id": series, "time_ms": 1_720_000_000_000 + 60_000 * step, "value": series + step / 8})
        for series in (1, 2, 3)
        for step in range(5)
    ),
    ("sample", {"series_id": 3, "time_ms": 1_730_000_000_000, "value": None, "flag": 2}),
    (
        "source_file",
        {
            "id": 1,
            "name": "level_events.csv",
            "sha256": "0" * 64,
            "size_bytes": 3,
            "content": b"abc",
            "layout": "level_events",
            "row_count": 1,
            "loaded_at_utc": RECORDED,
            "loaded_by": "Ana",
        },
    ),
    (
        "report_issue",
        {
            "id": 1,
            "definition": "quarterly",
            "definition_sha256": "1" * 64,
            "period": "2024-Q1",
            "known_on_utc": RECORDED,
            "sha256": "2" * 64,
            "printed_values": "[]",
            "recorded_at_utc": RECORDED,
            "recorded_by": "Ana",
        },
    ),
    (
        "level_event",
        {"id": 1, "well_id": 1, "access": "main", "measured_at_utc": HUNG, "time_known": True, "event": ""},
    ),
    (
        "level_record",
        {
            "id": 1,
            "level_event_id": 1,
            "status": "static",
            "local_offset_minutes": 60,
            "recorded_at_utc": RECORDED,
            "recorded_by": "Ana",
            "source_file_id": 1,
        },
    ),
    (
        "level_reading",
        {
            "level_record_id": 1,
            "quantity": "depth_to_water",
            "ordinal": 1,
            "value": 3.25,
            "unit": "m",
            "written": "3,25",
        },
    ),
    (
        "adjustment",
        {
            "id": 1,
            "series_id": 2,
            "kind": "step",
            "parameters": '{"amount_m": 0.1}',
            "valid_from_utc": HUNG,
            "recorded_at_utc": RECORDED,
            "recorded_by": "Ben",
            "reason": "slipped",
        },
    ),
)

#: Tables that have another name today.
RENAMED = {"adjustment": "correction"}

#: Every table with rows but that of the series, which changed.
KEPT = tuple(dict.fromkeys(table for table, _ in ROWS if table != "logger_series"))


@pytest.fixture
def old_store(store_url):
    """Give a database of revision 0001 with rows in it."""
    opened = open_store(store_url, create=True)
    with opened.writing() as connection:
        command.upgrade(revision.config(connection), "0001")
    with opened.writing() as connection:
        for table, row in ROWS:
            columns = ", ".join(row)
            marks = ", ".join(f":{name}" for name in row)
            values = {name: _stored(value, opened.is_sqlite) for name, value in row.items()}
            connection.execute(text(f"INSERT INTO {table} ({columns}) VALUES ({marks})"), values)
    yield opened
    opened.close()


def _stored(value, on_sqlite):
    return value.strftime("%Y-%m-%d %H:%M:%S.%f") if on_sqlite and isinstance(value, dt.datetime) else value


def _like(row, other):
    """Return a row with the columns of another; those that are new must be empty."""
    assert {value for name, value in row.items() if name not in other} <= {None}
    return {name: row[name] for name in other}


def rows_of(store, table):
    with store.reading() as connection:
        return [dict(row) for row in connection.execute(text(f"SELECT * FROM {table} ORDER BY 1, 2")).mappings()]


def test_every_row_survives_the_upgrade(old_store, store_url):
    with pytest.raises(SchemaBehindError, match="gwnet upgrade"):
        revision.guard(old_store)
    before = {table: rows_of(old_store, table) for table in KEPT}
    assert len(before["sample"]) == 16
    assert upgrade(store_url) == ("0001", revision.HEAD)
    after = {table: rows_of(old_store, RENAMED.get(table, table)) for table in KEPT}
    assert {table: [_like(row, before[table][0]) for row in rows] for table, rows in after.items()} == before
    with old_store.reading() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, METADATA) == []
        left = [name for name in inspect(connection).get_table_names() if name.endswith("0001")]
        assert left == []


def test_old_series_become_takes_and_their_samples_have_downloads(old_store, store_url):
    upgrade(store_url)
    with old_store.reading() as connection:
        series = fetch_samples.series(connection)
        assert series[["instrument", "quantity", "segment", "sample_count"]].to_numpy().tolist() == [
            ["L1", "water pressure", 1, 5],
            ["L1", "water pressure", 2, 5],
            ["L2", "air pressure", 1, 6],
            ["L2", "battery", 1, 0],
        ]
        downloads = fetch_samples.downloads(connection)
        assert downloads["recorded_by"].tolist() == ["Ana", "Ana", "upgrade"]
        assert downloads["recorded_at_utc"].iloc[0] == RECORDED + dt.timedelta(days=100)
        times, values = fetch_samples.samples(connection, 2, known_on=RECORDED + dt.timedelta(days=200))
        assert values.tolist() == [2.0, 2.125, 2.25, 2.375, 2.5]
        assert (times[1:] - times[:-1]).tolist() == [60_000] * 4
        earlier, _ = fetch_samples.samples(connection, 2, known_on=RECORDED + dt.timedelta(days=150))
        assert earlier.tolist() == []


def test_nothing_can_be_deleted_or_altered_after_the_upgrade(old_store, store_url):
    upgrade(store_url)
    for table in ("sample", "correction", "logger_series", "sample_run", "download"):
        with pytest.raises(StoreError, match=f"rows of {table} are never deleted"), old_store.writing() as connection:
            connection.execute(text(f"DELETE FROM {table}"))
    for change in ("sample SET value = 0", "logger_series SET unit = 'm'", "sample_run SET last_ms = 1"):
        with pytest.raises(StoreError, match="never altered"), old_store.writing() as connection:
            connection.execute(text(f"UPDATE {change}"))


def test_foreign_keys_hold_after_the_upgrade(old_store, store_url):
    upgrade(store_url)
    if old_store.is_sqlite:
        with old_store.reading() as connection:
            assert connection.execute(text("PRAGMA foreign_key_check")).all() == []
    with pytest.raises(StoreError, match=r"(?i)foreign key"), old_store.writing() as connection:
        connection.execute(text("INSERT INTO sample_run VALUES (99, 1, 2, 1, 2)"))
