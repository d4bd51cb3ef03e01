"""Lines of loggers in reports: thinned so that they look the same, well by well. Constructed series."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest

from gwnet.figures.hydrograph.logger_line import LoggerSeries
from gwnet.products.logger_lines import report_loggers, thinned
from gwnet.products.logger_series import coverage, logger_series
from gwnet.store.snapshot import Snapshot

from .test_logger_series import loggers  # noqa: F401  the constructed record of one well with two loggers

DAY = np.timedelta64(1, "D")


def line_of(count=40_000, seed=3):
    """A rough line of samples a quarter of an hour apart, with ten breaks and three spells that are approved."""
    random = np.random.default_rng(seed)
    times = np.datetime64("2024-01-01", "us") + np.arange(count) * np.timedelta64(15, "m")
    values = np.cumsum(random.normal(size=count)) * 0.01
    values[random.integers(1, count - 1, 10)] = np.nan
    approved = (np.arange(count) // (count // 6)) % 2 == 0
    return LoggerSeries(times, values, approved, installed=(("L", times[0], None),), notes=("held",))


def columns_of(line, columns, start, end):
    share = (line.time_utc - start) / (end - start)
    frame = pd.DataFrame({"column": np.floor(share * columns).astype(int), "value": line.water_elevation_m})
    frame["approved"] = line.approved
    frame = frame[(share >= 0) & frame["value"].notna()]
    return frame.groupby(["column", "approved"])["value"].agg(["min", "max", "first", "last"])


@pytest.mark.parametrize("shown_from", [None, "2024-06-01"])
def test_every_column_keeps_its_extremes_of_both_states_and_few_samples_are_left(shown_from):
    line = line_of()
    start = None if shown_from is None else np.datetime64(shown_from, "us")
    thin = thinned(line, start, columns=200)
    assert len(thin.time_utc) < 200 * 5 * (1 if start is None else 2)
    assert (np.diff(thin.time_utc) > np.timedelta64(0, "us")).all()
    for edge in filter(None, (line.time_utc[0], start)):
        wanted, got = (columns_of(one, 200, edge, line.time_utc[-1]) for one in (line, thin))
        pd.testing.assert_frame_equal(got, wanted)
    assert (thin.installed, thin.notes) == (line.installed, line.notes)


def test_a_line_stays_broken_where_it_was_and_nowhere_else():
    line = line_of()
    thin = thinned(line, columns=50)
    breaks = line.time_utc[np.isnan(line.water_elevation_m)]
    known = thin.time_utc[~np.isnan(thin.water_elevation_m)]
    between = thin.time_utc[np.isnan(thin.water_elevation_m)]
    for left, right in pairwise(known):
        broken = ((breaks > left) & (breaks < right)).any()
        assert ((between > left) & (between < right)).any() == broken


def test_no_sample_is_made_and_short_lines_stay_as_they_are():
    line = line_of(400)
    assert thinned(line, columns=100) is line
    assert thinned(replace(line, water_elevation_m=np.full(400, np.nan)), columns=20).time_utc.size == 400
    thin = thinned(line_of(), columns=30)
    full = dict(zip(line_of().time_utc.tolist(), line_of().water_elevation_m.tolist(), strict=True))
    assert all(
        np.array_equal(full[when], value, equal_nan=True)
        for when, value in zip(thin.time_utc.tolist(), thin.water_elevation_m.tolist(), strict=True)
    )


@pytest.mark.slow
def test_one_pass_gives_the_lines_the_runs_and_the_status_that_each_way_gives_alone(loggers):  # noqa: F811
    with loggers.reading() as connection:
        record = Snapshot(connection, site="S")
        found = report_loggers(record, ["A", "B"])
        bare = report_loggers(record, ["A", "B"], with_status=False)
        alone = logger_series(record, ["A", "B"])
        chart, again = coverage(record), coverage(record, runs=found.runs)
    assert set(found.lines) == set(bare.lines) == set(alone) == {"A"}
    for name in ("time_utc", "water_elevation_m", "approved"):
        np.testing.assert_array_equal(getattr(found.lines["A"], name), getattr(alone["A"], name))
    assert found.lines["A"].notes == alone["A"].notes
    assert bare.table is None
    assert found.table["instrument"].tolist() == ["S-1", "S-2"]
    assert bare.runs == found.runs
    pd.testing.assert_frame_equal(chart.runs, again.runs)
