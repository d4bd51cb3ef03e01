"""A database of an earlier revision keeps every row when it is upgraded."""

import datetime as dt

import pytest
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import inspect, text

from gwnet.errors import SchemaBehindError, StoreError
from gwnet.network import upgrade
from gwnet.store import fetch_samples, revision
from gwnet.store.schema import METADATA
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

KEPT = ("site", "instrument", "well", "deployment", "sample", "adjustment")


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


def rows_of(store, table):
    with store.reading() as connection:
        return [dict(row) for row in connection.execute(text(f"SELECT * FROM {table} ORDER BY 1, 2")).mappings()]


def test_every_row_survives_the_upgrade(old_store, store_url):
    with pytest.raises(SchemaBehindError, match="gwnet upgrade"):
        revision.guard(old_store)
    before = {table: rows_of(old_store, table) for table in KEPT}
    assert len(before["sample"]) == 16
    assert upgrade(store_url) == ("0001", revision.HEAD)
    assert {table: rows_of(old_store, table) for table in KEPT} == before
    with old_store.reading() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, METADATA) == []
        left = [name for name in inspect(connection).get_table_names() if name.endswith("0001")]
        assert left == []


def test_old_series_become_takes_and_their_samples_have_downloads(old_store, store_url):
    upgrade(store_url)
    with old_store.reading() as connection:
        series = fetch_samples.series(connection)
        assert series[["instrument", "quantity", "take", "sample_count"]].to_numpy().tolist() == [
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


@pytest.mark.parametrize("table", ["sample", "adjustment", "logger_series", "sample_run", "download"])
def test_nothing_can_be_deleted_after_the_upgrade(old_store, store_url, table):
    upgrade(store_url)
    with pytest.raises(StoreError, match="never deleted"), old_store.writing() as connection:
        connection.execute(text(f"DELETE FROM {table}"))


@pytest.mark.parametrize(
    "change", ["sample SET value = 0", "logger_series SET unit = 'm'", "sample_run SET last_ms = 1"]
)
def test_nothing_can_be_altered_after_the_upgrade(old_store, store_url, change):
    upgrade(store_url)
    with pytest.raises(StoreError, match=r"never altered"), old_store.writing() as connection:
        connection.execute(text(f"UPDATE {change}"))


def test_foreign_keys_hold_after_the_upgrade(old_store, store_url):
    upgrade(store_url)
    if old_store.is_sqlite:
        with old_store.reading() as connection:
            assert connection.execute(text("PRAGMA foreign_key_check")).all() == []
    with pytest.raises(StoreError, match=r"(?i)foreign key"), old_store.writing() as connection:
        connection.execute(text("INSERT INTO sample_run VALUES (99, 1, 2, 1, 2)"))
