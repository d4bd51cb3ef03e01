"""The table of reduced levels is filled from the record as it is; constructed record."""

import pytest
from sqlalchemy import text

from gwnet.analysis.levels.frame import levels_frame
from gwnet.analysis.levels.inputs import gather
from gwnet.analysis.levels.reduce import reduce_levels
from gwnet.analysis.levels.reduced_table import refresh_reduced_levels
from gwnet.store.snapshot import Snapshot

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
