"""Parsed tables to the record: conversion, codes, keys, overlaps, corrections and level events."""

import datetime as dt

import numpy as np
import pytest
from sqlalchemy import select

from gwnet.ingest.tables.convert import convert
from gwnet.ingest.tables.event_rules import check_against_wells
from gwnet.ingest.tables.events import events_on_record, record_events
from gwnet.ingest.tables.instruction import Instruction, Tally
from gwnet.ingest.tables.kept import keep_absent
from gwnet.ingest.tables.load import load
from gwnet.ingest.tables.lookup import Codes, ids, when_measured
from gwnet.ingest.tables.overlaps import refuse_overlaps
from gwnet.ingest.tables.parsed_events import convert_events
from gwnet.ingest.tables.recording import is_same, live_rows, not_compared, record_rows, row_keys
from gwnet.ingest.tables.row_rules import check_rows
from gwnet.ingest.tables.verdicts import RULE, note_disagreements, retire_verdicts
from gwnet.store.contract import BY_NAME
from gwnet.store.models.verdicts import Verdict
from gwnet.store.models.wells import WellRecord

from .conftest import NOW, TABLES, Loader
from .parsing import parsed_table, problems

TOMORROW = NOW + dt.timedelta(days=1)
INSTRUCTION = Instruction("Rea")
CORRECTION = Instruction("Rea", correct=True, reason="checked again")


@pytest.fixture
def recorded(tmp_path):
    """Give the store of a record with a site, two wells, their points and a round."""
    folder = tmp_path / "tables"
    folder.mkdir()
    loader = Loader(str(tmp_path / "record.sqlite"), folder)
    for name, text in TABLES.items():
        (folder / f"{name}.csv").write_text(text)
    loader.load(folder)
    yield loader.net.store
    loader.net.close()


@pytest.fixture
def connection(recorded):
    with recorded.writing("load", "Rea", now_utc=TOMORROW) as connection:
        yield connection


@pytest.fixture
def codes(connection):
    codes = Codes(connection)
    codes.refresh()
    return codes


def test_a_table_is_converted_as_its_columns_are_declared(codes):
    text = (
        "site,well,access,valid_from,valid_until,elevation [ft],height_above_ground\n"
        "S,MW-1,,2018-01-01,2020-07-01T12:00Z,328.084,0.7\n"
    )
    converted = convert(parsed_table("measuring_points", text), codes)
    row = {name: values[0] for name, values in converted.columns.items()}
    assert row["well_id"] == codes.ids["well"][(1, "MW-1")]
    assert row["access"] == "main"
    assert row["elevation_m"] == pytest.approx(100.0000032, abs=1e-7)
    assert row["height_above_ground_m"] == 0.7
    assert row["valid_from_utc"] == dt.datetime(2017, 12, 31, 23, tzinfo=dt.UTC)
    assert row["valid_until_utc"] == dt.datetime(2020, 7, 1, 12, tzinfo=dt.UTC)
    assert row["surveyed_on"] is None


def test_limits_of_thresholds_and_lists_of_rounds_are_converted(codes):
    head = "site,well,threshold,kind,depth_to_water,consecutive\n"
    columns = convert(parsed_table("thresholds", f"{head}S,MW-1,low,lower,9.5,\n"), codes).columns
    assert (columns["quantity"], columns["value_m"].tolist(), columns["consecutive"]) == (
        ["depth_to_water"],
        [9.5],
        [1],
    )
    parsed = parsed_table("rounds", "site,round,starts_on,wells\nS,R1,2024-03-12,MW-2; MW-9\n")
    assert convert(parsed, codes).columns["wells"] == ['["MW-2", "MW-9"]']
    assert problems(parsed) == [(2, "wells", "well-unknown")]


def test_a_code_that_is_not_on_record_is_rejected_with_the_nearest_one(codes):
    parsed = parsed_table("thresholds", "site,well,threshold,kind,depth_to_water\nS,MW-11,low,lower,9.5\n")
    well = parsed.table.column("well")
    assert ids(parsed, codes, well, np.array([1])).tolist() == [-1]
    assert parsed.rejections[0].fix in {"Did you mean MW-1?", "Did you mean MW-1 or MW-2?"}
    assert problems(parsed) == [(2, "well", "well-unknown")]


def test_local_times_become_instants_and_those_that_never_were_are_rejected(codes):
    head = "site,gauge,date,time,water_elevation\n"
    rows = ("2024-07-01,12:00", "2024-07-01,", "2024-03-31,02:30", "2024-10-27,02:30")
    parsed = parsed_table("stages", head + "".join(f"S,G1,{row},99\n" for row in rows))
    when = when_measured(parsed, np.ones(4, dtype=np.int64), codes)
    assert [str(value)[:16] for value in when.utc[:2]] == ["2024-07-01T10:00", "2024-07-01T10:00"]
    assert when.time_known.tolist() == [True, False, True, True]
    assert when.offset_minutes[:2].tolist() == [120, 120]
    assert problems(parsed) == [(4, "time", "time-does-not-exist"), (5, "time", "time-exists-twice")]


@pytest.mark.slow
def test_rows_are_added_passed_over_refused_and_corrected(connection, codes):
    text = "site,well,easting,northing,total_depth\nS,MW-1,500000,5300000,20\nS,MW-2,500100,5300000,26\nS,MW-3,1,2,3\n"
    parsed = parsed_table("wells", text)
    tally = record_rows(connection, parsed, codes, INSTRUCTION, None)
    assert (tally.added, tally.unchanged, tally.corrected) == (1, 1, 0)
    assert problems(parsed) == [(3, None, "already-recorded")]
    assert "total depth [m]: 25 on record, 26 here" in parsed.rejections[0].message
    codes.refresh()
    parsed = parsed_table("wells", text)
    tally = record_rows(connection, parsed, codes, CORRECTION, None)
    assert (tally.added, tally.corrected) == (0, 3 - tally.unchanged)
    depths = select(WellRecord.total_depth_m).where(WellRecord.retired_at_utc.is_(None)).order_by(WellRecord.well_id)
    assert connection.scalars(depths).all() == [20.0, 26.0, 3.0]


def test_a_correction_keeps_the_columns_that_its_file_lacks(connection, codes):
    parsed = parsed_table("wells", "site,well,easting,northing\nS,MW-2,500101,5300000\n")
    keep_absent(connection, parsed, codes)
    assert parsed.values["total_depth"].tolist() == [25.0]
    assert parsed.values["aquifer"].tolist() == ["upper"]
    assert parsed.kept_units["total_depth"].tolist() == ["m"]
    assert not_compared(parsed, CORRECTION) == set()
    assert {"total_depth_m", "aquifer_id"} <= not_compared(parsed, INSTRUCTION)


def test_keys_of_rows_are_those_of_the_live_rows(connection, codes):
    table = BY_NAME["measuring_points"]
    parsed = parsed_table("measuring_points", TABLES["measuring_points"])
    keys = row_keys(parsed, convert(parsed, codes).columns, codes)
    assert set(keys) == set(live_rows(connection, table))


def test_measuring_points_of_one_access_do_not_overlap(connection, codes):
    text = "site,well,valid_from,valid_until,elevation\nS,MW-1,2019-01-01,,100.6\nS,MW-2,2010-01-01,2018-01-01,101\n"
    parsed = parsed_table("measuring_points", text)
    columns = convert(parsed, codes).columns
    live = live_rows(connection, BY_NAME["measuring_points"])
    assert refuse_overlaps(parsed, columns, [0, 1], live, Tally()) == [1]
    assert problems(parsed) == [(2, "valid_from", "measuring-points-overlap")]


@pytest.mark.parametrize(
    ("value", "other", "same"),
    [(None, float("nan"), True), (0.1 + 0.2, 0.3, True), (1.0, 1.001, False), ("a", None, False), ("a", "a", True)],
)
def test_values_are_the_same_to_the_last_digits(value, other, same):
    assert is_same(value, other) is same


EVENTS = "site,well,date,time,depth_to_water,depth_to_water_2\n"


def events_table(rows):
    parsed = parsed_table("level_events", EVENTS + rows)
    check_rows(parsed)
    return parsed


def test_level_events_are_recorded_once_and_repeats_that_disagree_are_noted(connection, codes):
    rows = "S,MW-1,2024-03-12,09:40,3.25,3.55\nS,MW-2,2024-03-12,10:00,4.5,\n"
    tally = record_events(connection, events_table(rows), codes, INSTRUCTION, None)
    assert tally.added == 2
    assert connection.scalars(select(Verdict.rule)).all() == [RULE]
    tally = record_events(connection, events_table(rows), codes, INSTRUCTION, None)
    assert (tally.added, tally.unchanged) == (0, 2)
    known = events_on_record(connection, events_table(rows), codes)
    assert known[0]["readings"][("depth_to_water", 2)] == (3.55, "m", "3.55")
    changed = events_table(rows.replace("4.5", "4.6"))
    tally = record_events(connection, changed, codes, INSTRUCTION, None)
    assert problems(changed) == [(3, None, "already-recorded")]


def test_readings_are_checked_against_their_wells(connection, codes):
    rows = "S,MW-1,2017-03-12,09:40,3.25,\nS,MW-2,2024-03-12,10:00,97.5,\nS,MW-2,2024-03-13,10:00,3.5,\n"
    parsed = events_table(rows)
    check_against_wells(connection, convert_events(parsed, codes))
    assert problems(parsed) == [
        (2, None, "access-without-point"),
    ]
    assert any("deeper than the well as built" in warning for warning in parsed.raw.warnings)


def test_events_are_kept_apart_by_time_access_and_number(codes):
    events = convert_events(events_table("S,MW-1,2024-03-12,09:40,3.25,\nS,MW-1,2024-03-12,,3.3,\n"), codes)
    assert events.key(0) != events.key(1)
    assert events.key(0)[1:] == ("main", "2024-03-12T08:40:00.000000", True, "")
    assert events.metres("depth_to_water").tolist() == [3.25, 3.3]
    assert events.units_at("depth_to_water", 0) == "m"


def test_verdicts_of_repeats_are_retired_with_their_event(connection, codes):
    record_events(connection, events_table("S,MW-1,2024-03-12,09:40,3.25,\n"), codes, INSTRUCTION, None)
    event = np.array([1])
    repeats = np.array([[3.25, 3.5, np.nan]])
    assert note_disagreements(connection, event, repeats, np.array([0.01]), np.array([0]), ["m"], INSTRUCTION) == 1
    assert note_disagreements(connection, event, repeats, np.array([0.5]), np.array([0]), ["m"], INSTRUCTION) == 0
    retire_verdicts(connection, event, CORRECTION)
    assert connection.scalars(select(Verdict.retired_by)).all() == ["Rea"]


def test_a_load_lands_whole_and_the_same_file_changes_nothing(recorded, tmp_path):
    path = tmp_path / "level_events.csv"
    path.write_text(f"{EVENTS}S,MW-1,2024-03-12,09:40,3.25,\n")
    first = load(recorded, [path], now_utc=TOMORROW, by="Rea")
    assert [(done.table, done.added) for done in first.files] == [("level_events", 1)]
    again = load(recorded, [path], now_utc=TOMORROW, by="Rea")
    assert not again.written
    assert again.files[0].note.startswith("already loaded")


def test_identities_of_a_table_are_made_at_once(loader):
    """A state describes rows of one statement in one part, and a part for each of many wells would cost a third."""
    with loader.net.store.reading() as connection:
        query = "SELECT row_count FROM state_part WHERE table_name = 'well'"
        assert connection.exec_driver_sql(query).scalars().all() == [2]


def test_the_end_of_an_installation_is_no_correction(loader):
    rows = "site,well,instrument,installed_at,removed_at,hanging_depth\nS,MW-1,T1,2024-01-10,{},{}\n"
    loader.text(rows.format("", "8.0"), "deployments.csv")
    problem = loader.rejected(rows.format("2024-03-01 10:00", "8.5"), "deployments.csv")
    assert [one.problem for one in problem] == ["already-recorded"]
    [ended] = loader.text(rows.format("2024-03-01 10:00", "8.0"), "deployments.csv").files
    assert "row 2: the installation of T1 on record ends at 2024-03-01 10:00" in str(ended.warnings)
    with loader.net.store.reading() as connection:
        query = "SELECT valid_until_utc IS NULL, retired_reason FROM deployment ORDER BY id"
        found = connection.exec_driver_sql(query).all()
    assert [tuple(row) for row in found] == [(1, "the installation ended"), (0, None)]
    # once it has ended, another end is a correction
    [problem] = loader.rejected(rows.format("2024-03-02 10:00", "8.0"), "deployments.csv")
    assert problem.problem == "already-recorded"
