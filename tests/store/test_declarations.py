"""The declared tables and the models of the record agree: no column is in one and not in the other."""

import inspect

import pytest

from gwnet.store.columns import KINDS, Column
from gwnet.store.contract import BY_NAME, NUMBER_ALLOWED, NUMBER_REQUIRED, ORDER, READINGS, STATUSES, TABLES
from gwnet.store.models.base import KEYS_AT_ONCE, Recorded, some_at_a_time
from gwnet.store.models.context import ContextValue, StageReading
from gwnet.store.models.instruments import Deployment, InstrumentRecord, TapeCheck
from gwnet.store.models.levels import LevelReading, LevelRecord
from gwnet.store.models.measuring_points import MeasuringPoint
from gwnet.store.models.pumping import PumpingRate, PumpingReading, PumpingTest, PumpingTestRecord
from gwnet.store.models.register import RegisterEntry
from gwnet.store.models.rounds import RoundRecord
from gwnet.store.models.sites import AquiferRecord, SiteRecord
from gwnet.store.models.thresholds import Threshold
from gwnet.store.models.verdicts import Review, Verdict
from gwnet.store.models.wells import ConstructionPart, WellRecord
from gwnet.store.pumping_tables import PUMPING_RATES, PUMPING_READINGS, PUMPING_TESTS, TEST_QUANTITIES
from gwnet.store.recorded import IDENTITIES, OF_SITE, live_key, record_of, recorded_columns

MODELS = {
    "sites": SiteRecord,
    "aquifers": AquiferRecord,
    "wells": WellRecord,
    "construction": ConstructionPart,
    "measuring_points": MeasuringPoint,
    "instruments": InstrumentRecord,
    "tape_checks": TapeCheck,
    "deployments": Deployment,
    "rounds": RoundRecord,
    "level_events": LevelRecord,
    "thresholds": Threshold,
    "stages": StageReading,
    "context": ContextValue,
    "register": RegisterEntry,
    "pumping_tests": PumpingTestRecord,
    "pumping_rates": PumpingRate,
    "pumping_readings": PumpingReading,
}

#: Columns of the record that no single column of a file holds.
WORKED_OUT = {
    "level_events": {"level_event_id", "local_offset_minutes"},
    "thresholds": {"quantity", "value_m"},
    "stages": {"measured_at_utc", "time_known"},
    "pumping_rates": {"from_utc", "from_elapsed_min"},
    "pumping_readings": {"measured_at_utc"},
}

#: What an empty cell takes from another table: the well of a rate is the pumped well of its test.
OF_ANOTHER_TABLE = {("pumping_rates", "well")}

BOOKKEEPING = set(inspect.get_annotations(Recorded)) | {"source_file_id"}


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
def test_every_column_of_the_record_is_declared_and_every_declared_one_is_there(table):
    model = MODELS[table.name]
    assert record_of(table) is model.__table__
    held = {column.name for column in model.__table__.c} - BOOKKEEPING
    declared = {column.stored_as for column in recorded_columns(table)}
    # the times in which a row holds are bookkeeping unless the table declares them
    assert held | (declared & BOOKKEEPING) == declared | WORKED_OUT.get(table.name, set())


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
def test_what_may_not_be_missing_in_the_record_is_required_or_has_a_default(table):
    record = record_of(table)
    for column in recorded_columns(table):
        if not record.c[column.stored_as].nullable and (table.name, column.name) not in OF_ANOTHER_TABLE:
            assert column.required or column.default is not None or column.kind == "list", column


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
def test_rows_are_kept_apart_by_what_the_key_says(table):
    of_key = {column.stored_as for column in table.columns if column.key}
    worked_out = {"measured_at_utc", "level_event_id", "from_utc", "from_elapsed_min"}
    assert set(live_key(table.record)) <= of_key | worked_out


def test_every_column_has_a_known_kind_and_one_line_of_meaning():
    for table in TABLES:
        for column in table.columns:
            assert column.kind in KINDS
            assert "\n" not in column.meaning
            assert bool(column.choices) == (column.kind in {"choice", "flag"})


def test_tables_come_after_those_that_they_refer_to():
    makers = {table.identity: table.name for table in TABLES if table.identity}
    for table in TABLES:
        for column in table.columns:
            if column.of:
                assert ORDER[makers[column.of]] <= ORDER[table.name]
    assert set(makers) == set(IDENTITIES)
    assert {"well", "gauging_round", "gauge", "context_series", "pumping_test"} == OF_SITE


def test_a_row_that_says_when_in_one_of_two_ways_is_kept_apart_by_both():
    assert live_key("pumping_reading") == ("pumping_test_id", "well_id", "measured_at_utc", "elapsed_min")
    assert live_key("threshold") == ("well_id", "threshold", "valid_from_utc")
    assert {"site_id", "code"} <= set(PumpingTest.__table__.c.keys())


def test_readings_are_stored_in_the_order_of_their_key():
    keys = [column.name for column in LevelReading.__table__.primary_key]
    assert keys == ["level_record_id", "quantity", "ordinal"]
    assert [reading[1:] for reading in READINGS] == sorted(reading[1:] for reading in READINGS)
    assert set(STATUSES) > NUMBER_ALLOWED > NUMBER_REQUIRED


@pytest.mark.parametrize(
    ("column", "in_frame", "stored"),
    [
        (Column("depth", "length", "D."), "depth_m", "depth_m"),
        (Column("diameter", "number", "D.", unit="mm"), "diameter_mm", "diameter_mm"),
        (Column("discharge", "number", "D.", unit="L/s"), "discharge_l_s", "discharge_l_s"),
        (Column("removed_at", "timestamp", "R.", stored="valid_until_utc"), "removed_at_utc", "valid_until_utc"),
        (Column("round", "code", "R.", of="gauging_round"), "round", "gauging_round_id"),
    ],
)
def test_names_in_frames_and_in_the_record_follow_from_kind_and_unit(column, in_frame, stored):
    assert (column.frame_name, column.stored_as) == (in_frame, stored)


def test_a_correction_needs_the_columns_of_the_key_alone():
    names, groups = BY_NAME["stages"].required(keys_only=True)
    assert names == ("site", "gauge")
    assert groups == ((("measured_at",), ("date",)),)
    assert BY_NAME["wells"].required(keys_only=True) == (("site", "well"), ())
    assert BY_NAME["wells"].required()[1] == ((("easting", "northing"), ("longitude", "latitude")),)


def test_tables_of_pumping_tests_are_among_those_that_can_be_loaded():
    assert TABLES[-3:] == (PUMPING_TESTS, PUMPING_RATES, PUMPING_READINGS)
    assert [way[0] for way in PUMPING_READINGS.ways] == list(TEST_QUANTITIES)


def test_verdicts_and_reviews_are_of_events_or_findings():
    assert {"level_event_id", "gauging_round_id", "well_id"} <= set(Verdict.__table__.c.keys())
    assert {"level_event_id", "verdict_id"} <= set(Review.__table__.c.keys())


def test_keys_of_long_conditions_come_in_pieces_that_statements_take():
    keys = list(range(2 * KEYS_AT_ONCE + 1))
    pieces = list(some_at_a_time(keys))
    assert [len(piece) for piece in pieces] == [KEYS_AT_ONCE, KEYS_AT_ONCE, 1]
    assert [key for piece in pieces for key in piece] == keys
    assert not list(some_at_a_time([]))
