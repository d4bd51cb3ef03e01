"""A database of each released revision keeps every row when it is upgraded, and is read as one made today."""

import datetime as dt

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import inspect, text

from gwnet.errors import SchemaBehindError, StoreError
from gwnet.network import upgrade
from gwnet.store import revision
from gwnet.store.fetch import history, levels, programme, registry, reviews
from gwnet.store.fetch import samples as fetch_samples
from gwnet.store.models.schema import METADATA
from gwnet.store.session import open_store

from .conftest import RELEASED, load_dump
from .released.rows import FIRST, RECORDED, ROWS

#: Revisions of the version that is not released yet.
NOT_RELEASED = {"0004", "0005", "0006", "0007", "0008", "0009"}

#: Tables that have another name today.
RENAMED = {"adjustment": "correction"}

#: Columns that have another name today, or none: a series of the first revision belonged to a deployment.
NEW_NAMES = {"take": "segment", "deployment_id": None}


@pytest.fixture
def old(request, store_url):
    """Give a function that loads the dump of a revision and opens it."""
    opened = []

    def load(name):
        load_dump(store_url, name)
        opened.append(open_store(store_url))
        return opened[0]

    yield load
    for store in opened:
        store.close()


def rows_of(store, table):
    with store.reading() as connection:
        return [dict(row) for row in connection.execute(text(f"SELECT * FROM {table} ORDER BY 1, 2")).mappings()]


def by_new_names(row):
    named = {NEW_NAMES.get(name, name): value for name, value in row.items()}
    named.pop(None, None)
    return named


def ordered(rows):
    return sorted(rows, key=lambda row: [str(value) for value in row.values()])


@pytest.mark.slow
@pytest.mark.parametrize("name", ROWS)
def test_every_row_survives_the_upgrade(name, old, store_url):
    store = old(name)
    before = {table: rows_of(store, table) for table in ROWS[name]()}
    assert {table: len(rows) for table, rows in before.items()} == {
        table: len(rows) for table, rows in ROWS[name]().items()
    }
    if name != revision.HEAD:
        with pytest.raises(SchemaBehindError, match="gwnet upgrade"):
            revision.guard(store)
    assert upgrade(store_url) == (name, revision.HEAD)
    for table, rows in before.items():
        after = rows_of(store, RENAMED.get(table, table))
        wanted = [by_new_names(row) for row in rows]
        # columns that are new are empty, but for the segment of a series
        new = set(after[0]) - set(wanted[0])
        assert {row[column] for row in after for column in new - {"segment"}} <= {None}
        kept = ordered({column: row[column] for column in wanted[0]} for row in after)
        if table == "sample_pack":  # samples from before packs, or of which one was lost, get theirs
            assert all(row in kept for row in ordered(wanted))
        else:
            assert kept == ordered(wanted), table
    with store.reading() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, METADATA) == []
        assert [table for table in inspect(connection).get_table_names() if table.endswith(tuple(ROWS))] == []


@pytest.mark.parametrize("name", ROWS)
def test_what_was_recorded_is_read_as_before(name, old, store_url):
    store = old(name)
    upgrade(store_url)
    with store.reading() as connection:
        site = registry.choose_site(registry.sites(connection), None)
        assert site[["site", "name", "length_unit", "self_review", "check_limits"]].tolist() == [
            *("S", "Meadow", "ft", True, '{"spike": 0.1}')
        ]
        assert registry.aquifers(connection)["name"].tolist() == ["Upper gravel"]
        wells = registry.wells(connection)
        columns = ["well", "aquifer", "easting", "longitude", "screen_top_m", "screen_bottom_m", "hazards", "notes"]
        expected = [
            ["MW-1", "upper", 500000.5, None, 12.0, 18.0, "", ""],
            ["MW-2", "", None, 9.0, None, None, "ditch", "ü"],
        ]
        assert wells[columns].astype(object).where(wells[columns].notna(), None).to_numpy().tolist() == expected
        assert wells["drilled_on"].tolist() == [None, dt.date(2010, 5, 1)]
        earlier = registry.wells(connection, RECORDED)
        assert earlier["easting"].iloc[0] == 500000.0
        points = registry.measuring_points(connection)
        assert points[["elevation_m", "source", "source_row"]].to_numpy().tolist() == [
            [100.7, "wells.csv", 2.0],
            [100.65, "wells.csv", 2.0],
        ]
        assert points["valid_until_utc"].tolist()[0] == FIRST + dt.timedelta(days=10)
        records = levels.level_records(connection)
        assert records[["event", "status", "round", "instrument"]].to_numpy().tolist() == [
            ["", "static", "2024-Q1", "T1"],
            ["7", "pumping", "", ""],
        ]
        assert records["discharge_l_s"].iloc[1] == 0.5
        read = levels.readings(connection, records["record_id"].to_numpy())
        assert read[["ordinal", "value", "unit", "written"]].to_numpy().tolist() == [
            [1, 3.25, "m", "3,25"],
            [2, 10.7, "ft", "10.7"],
        ]
        assert levels.reviews(connection)["state"].tolist() == ["approved"]
        assert reviews.findings_with_decisions(connection)["decision"].tolist() == ["accepted"]
        assert programme.instruments(connection)["kind"].tolist() == [
            *("absolute pressure logger", "barometer", "electric tape")
        ]
        assert programme.tape_checks(connection)["reference_reading_m"].tolist() == [29.99]
        assert programme.rounds(connection)["wells"].tolist() == [["MW-1"]]
        assert programme.thresholds(connection)[["quantity", "value_m", "consecutive"]].to_numpy().tolist() == [
            ["depth_to_water", 9.5, 2]
        ]
        assert programme.stages(connection)["water_elevation_m"].tolist() == [99.125]
        assert programme.context(connection)[["date", "value"]].to_numpy().tolist() == [[dt.date(2024, 3, 1), 3.5]]
        deployments = fetch_samples.deployments(connection)
        assert deployments[["well", "instrument", "barometer"]].to_numpy().tolist() == [
            ["", "L2", ""],
            ["MW-1", "L1", "L2"],
            ["MW-1", "L1", ""],
        ]
        corrections = fetch_samples.corrections(connection)
        assert corrections[["instrument", "kind", "parameters"]].to_numpy().tolist() == [
            ["L1", "step", {"amount_m": 0.1}]
        ]
        changes = history.changes(connection)
        assert changes[["subject", "item", "was", "now"]].to_numpy().tolist() == [
            ["level", "discharge at 2024-03-02 09:00+01:00", "nothing", "0.5 L/s"],
            ["level", "quality at 2024-03-02 09:00+01:00", "good", "nothing"],
            ["level", "status at 2024-03-02 09:00+01:00", "dry", "pumping"],
            ["well", "easting", "500000", "500000.5"],
            ["well", "northing", "nothing", "5300000.25"],
        ]
        times, values = fetch_samples.samples(connection, 2)
        assert values.tolist() == [2.0, 2.125, 2.25, 2.375, 2.5]
        assert (times[1:] - times[:-1]).tolist() == [60_000] * 4
        if name != "0001":
            assert registry.register_entries(connection)["text"].tolist() == ["Clean the well"]
            assert fetch_samples.conflicts(connection)["given"].tolist() == [9.0]


def test_old_series_become_segments_and_their_samples_have_downloads(old, store_url):
    store = old("0001")
    upgrade(store_url)
    with store.reading() as connection:
        series = fetch_samples.series(connection)
        assert series[["instrument", "quantity", "segment", "sample_count"]].to_numpy().tolist() == [
            ["L1", "water pressure", 1, 5],
            ["L1", "water pressure", 2, 5],
            ["L2", "air pressure", 1, 6],
            ["L2", "battery", 1, 0],
        ]
        downloads = fetch_samples.downloads(connection)
        assert downloads["recorded_by"].tolist() == ["Ana", "Ana", "upgrade"]
        assert downloads["recorded_at_utc"].iloc[1] == RECORDED + dt.timedelta(days=100)
        _, values = fetch_samples.samples(connection, 2, known_on=RECORDED + dt.timedelta(days=200))
        assert values.tolist() == [2.0, 2.125, 2.25, 2.375, 2.5]
        earlier, _ = fetch_samples.samples(connection, 2, known_on=RECORDED + dt.timedelta(days=50))
        assert earlier.tolist() == []


def test_nothing_can_be_deleted_or_altered_after_the_upgrade(old, store_url):
    store = old("0001")
    upgrade(store_url)
    for table in ("sample", "correction", "logger_series", "sample_run", "download"):
        with pytest.raises(StoreError, match=f"rows of {table} are never deleted"), store.altering() as connection:
            connection.execute(text(f"DELETE FROM {table}"))
    for change in ("sample SET value = 0", "logger_series SET unit = 'm'", "sample_run SET last_ms = 1"):
        with pytest.raises(StoreError, match="never altered"), store.altering() as connection:
            connection.execute(text(f"UPDATE {change}"))


@pytest.mark.slow
def test_foreign_keys_hold_after_the_upgrade(old, store_url):
    store = old("0001")
    upgrade(store_url)
    if store.is_sqlite:
        with store.reading() as connection:
            assert connection.execute(text("PRAGMA foreign_key_check")).all() == []
    with pytest.raises(StoreError, match=r"(?i)foreign key"), store.altering() as connection:
        connection.execute(text("INSERT INTO sample_run VALUES (99, 1, 2, 1, 2)"))


def test_there_is_a_dump_of_every_released_revision():
    assert set(revision.REVISIONS) - NOT_RELEASED <= set(ROWS) <= set(revision.REVISIONS)
    assert set(revision.REVISIONS) >= NOT_RELEASED
    sizes = {path.name: path.stat().st_size for path in RELEASED.glob("*.sql")}
    assert len(sizes) == 2 * len(ROWS)
    assert max(sizes.values()) < 80_000, "a dump is to stay small"
