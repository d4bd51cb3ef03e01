"""The table of reduced levels is filled from the record as it is; constructed record."""

import datetime as dt

import pandas as pd
import pytest
from sqlalchemy import text

from gwnet.analysis.levels import reduced_table
from gwnet.analysis.levels.frame import levels_frame
from gwnet.analysis.levels.inputs import gather
from gwnet.analysis.levels.reduce import reduce_levels
from gwnet.analysis.levels.reduced_table import refresh_reduced_levels
from gwnet.analysis.levels.table import levels
from gwnet.store.snapshot import Snapshot
from gwnet.store.work import newest_state
from gwnet.version import __version__

from .record import Record


@pytest.fixture
def record(tmp_path):
    made = Record(tmp_path / "record.sqlite")
    made.well("A", point=(100.0, 0.5))
    yield made
    made.store.close()


def rows_of(record):
    with record.store.reading() as connection:
        return connection.execute(text("SELECT * FROM reduced_level ORDER BY event_id")).mappings().all()


def test_depth_below_the_measuring_point_becomes_an_elevation(record):
    record.event("A", "2024-03-12T10:00", [("depth_to_water", 4.25)])
    assert refresh_reduced_levels(record.store) == 1
    row = rows_of(record)[0]
    assert (row["well"], row["water_elevation_m"], row["bound"]) == ("A", 95.75, "")
    with record.store.reading() as connection:
        inputs = gather(Snapshot(connection))
        assert levels_frame(inputs, reduce_levels(inputs))["water_elevation_m"].tolist() == [95.75]


def test_a_new_level_empties_the_table_and_a_record_without_levels_has_none(record):
    assert refresh_reduced_levels(record.store) == 0
    record.event("A", "2024-03-12T10:00", [("depth_to_water", 4.25)])
    refresh_reduced_levels(record.store)
    record.event("A", "2024-06-12T10:00", [("depth_to_water", 4.5)])
    assert rows_of(record) == []
    assert refresh_reduced_levels(record.store) == 2


def test_a_row_has_the_level_and_the_state_that_it_is_of(record):
    record.event("A", "2024-03-12T10:00", [("depth_to_water", 4.25)])
    record.event("A", "2024-04-12T10:00", status="dry")
    assert refresh_reduced_levels(record.store) == 2
    with record.store.reading() as connection:
        table, newest = levels(Snapshot(connection)), newest_state(connection)
    first, second = (dict(row) for row in rows_of(record))
    for row, level in zip((first, second), table.to_dict("records"), strict=True):
        for name in ("event_id", "site", "well", "aquifer", "access", "status", "unusable_reason", "review", "finding"):
            assert row[name] == level[name]
        for name in ("depth_to_water_m", "water_elevation_m", "uncertainty_m", "bound_elevation_m"):
            assert row[name] == (None if pd.isna(level[name]) else level[name])
    assert (str(first["day"]), first["usable"], second["usable"]) == ("2024-03-12", 1, 0)
    assert (first["state_serial"], first["version"]) == (newest["serial"], __version__)
    assert (first["bound_elevation_m"], second["water_elevation_m"]) == (None, None)


@pytest.mark.parametrize(("serials", "asked", "stored"), [([1, 2, 2, 2], 4, 2), (range(1, 99), 7, 7), ([5, 5], 2, 5)])
def test_levels_of_a_state_that_has_passed_are_worked_out_again(record, monkeypatch, serials, asked, stored):
    """At most three times while others may write: before and after each the state is asked for; then under the lock."""
    record.event("A", "2024-03-12T10:00", [("depth_to_water", 4.25)])
    states = [{"serial": serial, "recorded_at_utc": dt.datetime(2026, 1, 1, tzinfo=dt.UTC)} for serial in serials]
    given = iter(states)
    seen = []

    def newest(_):
        seen.append(next(given))
        return seen[-1]

    monkeypatch.setattr(reduced_table, "newest_state", newest)
    assert refresh_reduced_levels(record.store) == 1
    assert len(seen) == asked
    assert rows_of(record)[0]["state_serial"] == stored
