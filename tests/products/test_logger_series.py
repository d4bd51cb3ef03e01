"""Heads of loggers made ready for figures; a constructed record of one well with two loggers and a barometer."""

from itertools import pairwise

import numpy as np
import pandas as pd
import pytest

from gwnet.products.logger_series import coverage, logger_series
from gwnet.store.snapshot import Snapshot

from ..analysis.logger_record import HOUR, START, Loggers, hours
from ..analysis.record import Record


@pytest.fixture(scope="module")
def loggers(tmp_path_factory):
    """S-1 hung from hour 0 to 480 with a gap of two days and a spell left out; S-2 after it. A has manual readings."""
    record = Record(tmp_path_factory.mktemp("series") / "r.sqlite")
    record.well("A", point=(100.0, 0.5), ground_elevation_m=99.5)
    record.well("B", point=(100.0, 0.5), ground_elevation_m=99.5)
    made = Loggers(record)
    for code in ("S-1", "S-2"):
        made.instrument(code, kind="vented pressure logger")
    made.instrument("B-1", kind="barometer")
    made.install("S-1", "A", end="2024-01-21")
    made.install("S-2", "A", start="2024-01-21")
    made.install("B-1", "")
    kept = (np.arange(480) < 100) | (np.arange(480) >= 148)
    level = 5.0 + 0.001 * np.arange(480)
    made.samples("S-1", "water column", "m", hours(480)[kept], level[kept])
    made.samples("S-2", "water column", "m", hours(200, START + 490 * HOUR), np.full(200, 3.0))
    air = hours(300)
    made.samples("B-1", "air pressure", "hPa", np.delete(air, np.arange(120, 130)), np.full(290, 1000.0))
    made.correct("S-1", "water column", "exclusion", "2024-01-10", "2024-01-12", cause="frozen")
    made.correct("S-1", "water column", "exclusion", "2024-01-15T05:00", "2024-01-15T06:00", cause="spike")
    first = record.event("A", "2024-01-02T00:00", [("depth_to_water", 9.976)])
    second = record.event("A", "2024-01-18T00:00", [("depth_to_water", 9.592)])
    record.event("A", "2024-01-25T00:00", [("depth_to_water", 9.0)])
    record.event("B", "2024-01-05T00:00", [("depth_to_water", 9.0)])
    for event in (first, second):
        record.add("review", level_event_id=event, state="approved")
    return made


@pytest.fixture(scope="module")
def series(loggers):
    with loggers.reading() as connection:
        made = logger_series(Snapshot(connection, site="S"), ["A", "B"])
    assert set(made) == {"A"}
    return made["A"]


def test_times_rise_and_the_line_is_broken_at_gaps_between_loggers_and_where_samples_are_left_out(series):
    assert (np.diff(series.time_utc) > np.timedelta64(0, "s")).all()
    drawn = ~np.isnan(series.water_elevation_m)
    pieces = np.flatnonzero(np.diff(np.concatenate([[False], drawn, [False]]).astype(int)) == 1)
    # before and after the gap, the frozen run, the spike; and the second logger
    assert len(pieces) == 5
    ends = np.flatnonzero(np.diff(np.concatenate([[False], drawn, [False]]).astype(int)) == -1)
    for start, end in zip(pieces, ends, strict=True):
        assert (np.diff(series.time_utc[start:end]) == HOUR).all()


def test_heads_are_approved_between_the_approved_readings_of_one_logger(series):
    state = series.approved & ~np.isnan(series.water_elevation_m)
    when = series.time_utc[state]
    assert when[0] == START + 24 * HOUR
    assert when[-1] == START + 17 * 24 * HOUR


def test_runs_of_a_day_or_more_are_marked_shorter_ones_are_not(series):
    assert series.left_out == ((pd.Timestamp("2024-01-10", tz="UTC"), pd.Timestamp("2024-01-11T23:00", tz="UTC")),)
    assert [(code, until is None) for code, _, until in series.installed] == [("S-1", False), ("S-2", True)]


def test_the_caption_tells_what_holds_each_logger(series):
    first, second = series.notes
    assert first.startswith("Logger S-1: held by 2 manual readings, each within 0 mm of what the others give")
    assert second == "Logger S-2: held by 1 manual reading."


def test_coverage_gives_every_run_and_every_reading(loggers):
    with loggers.reading() as connection:
        told = coverage(Snapshot(connection, site="S"))
        loggers_only = coverage(Snapshot(connection, site="S"), loggers_only=True)
        one = coverage(Snapshot(connection, site="S"), ["B"])
    runs = told.runs
    first = runs[runs["instrument"] == "S-1"]
    assert first["left_out"].sum() == 2
    assert (~first["left_out"]).sum() == 4
    spans = [(row.start_utc, row.end_utc) for row in first.sort_values("start_utc").itertuples()]
    assert all(to < since for (_, to), (since, _) in pairwise(spans))
    barometer = runs[runs["instrument"] == "B-1"]
    assert barometer["well"].tolist() == ["", ""]
    assert barometer["end_utc"].iloc[0] == pd.Timestamp(START + 119 * HOUR, tz="UTC")
    assert told.hands["well"].tolist() == ["A", "A", "A", "B"]
    assert set(loggers_only.hands["well"]) == {"A"}
    assert set(one.runs["instrument"]) == {"B-1"}
    assert set(one.deployments["instrument"]) == {"B-1"}


def test_a_barometer_in_a_well_has_its_samples_in_the_row_of_that_well(tmp_path):
    record = Record(tmp_path / "r.sqlite")
    record.well("A", point=(100.0, 0.5))
    made = Loggers(record)
    made.instrument("B-1", kind="barometer")
    made.install("B-1", "A")
    made.samples("B-1", "absolute pressure", "hPa", hours(50), np.full(50, 1000.0))
    with made.reading() as connection:
        (run,) = coverage(Snapshot(connection, site="S")).runs.itertuples()
    assert (run.well, run.instrument, run.left_out) == ("A", "B-1", False)
    assert run.end_utc == pd.Timestamp(START + 49 * HOUR, tz="UTC")
    record.store.close()
