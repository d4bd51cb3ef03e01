"""Hydrographs of wells with loggers alone, and bounds of sensors out of water; constructed series."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from gwnet.figures.hydrograph.draw import common_span, draw_hydrograph, hydrograph_plot_data
from gwnet.figures.hydrograph.logger_line import MARK_APART_MM, LoggerLine, LoggerSeries, draw_bounds
from gwnet.figures.hydrograph.marks import SENSOR_BOUND, key_entries

from . import frames
from .frames import SITE
from .measure import words_of

SINCE, TO = np.datetime64("2016-06-01", "us"), np.datetime64("2016-09-01", "us")


def logged(low=40.0, swing=3.0):
    """Return a year of heads, and a summer in which the sensor at 38 m was out of water."""
    times = np.datetime64("2016-01-01", "us") + np.arange(366 * 24) * np.timedelta64(1, "h")
    values = low + swing * np.sin(np.arange(times.size) / 900) ** 2
    values[(times >= SINCE) & (times < TO)] = np.nan
    return LoggerSeries(times, values, np.zeros(times.size, dtype=bool), bounds=((SINCE, TO, 38.0, 38.2),))


def drawn(series, **options):
    nobody = frames.levels("GW-01", *frames.quarterly(1)).iloc[:0]
    return hydrograph_plot_data(nobody, "GW-01", site=SITE, series=series, **options)


@pytest.mark.parametrize("unit", ["m", "ft"])
def test_the_axis_of_a_well_with_loggers_alone_holds_its_heads_and_bounds(unit):
    series = logged()
    span = common_span([frames.levels("GW-01", *frames.quarterly(1)).iloc[:0]], series={"GW-01": series}, unit=unit)
    data = drawn(series, span=span, unit=unit)
    assert data.low_m <= 38.0
    assert data.high_m >= np.nanmax(series.water_elevation_m)
    assert data.high_m - data.low_m < 8.0
    assert data.first <= data.logger.days[0]
    assert data.last >= data.logger.days[-1]
    assert "No manual reading on record in this time." in data.notes
    assert "no level on record" not in words_of(draw_hydrograph(data))


def test_wells_with_loggers_alone_share_the_span_of_their_group_whatever_they_are_called():
    quiet, lively = logged(swing=0.1), logged(swing=6.0)
    assert common_span([], series={"A": quiet, "B": lively}).height_m >= 8.0
    assert common_span([], series={"A": replace(quiet, bounds=())}).height_m < 2.0


def test_a_bound_is_drawn_at_its_elevation_over_its_time_and_named_in_the_key():
    data = drawn(logged())
    (bound,) = data.logger.bounds_m.tolist()
    assert bound == [38.0, 38.2]
    assert (data.logger.bounds[0, 1] - data.logger.bounds[0, 0]) == pytest.approx(92.0)
    figure = draw_hydrograph(data)
    assert SENSOR_BOUND.label in words_of(figure)
    ends = [line.get_ydata().tolist() for line in figure.axes[0].lines]
    assert [38.0, 38.2] in ends
    entries = [entry.label for entry in key_entries([drawn(replace(logged(), bounds=()))])]
    assert SENSOR_BOUND.label not in entries


def test_a_bound_is_cut_to_the_time_that_is_drawn():
    start = dt.date(2016, 7, 17)
    data = drawn(logged(), start=start)
    assert data.logger.bounds[0, 0] == (start - dt.date(1970, 1, 1)).days
    # local midnight, two hours before that of UTC, after 46 of 92 days
    assert data.logger.bounds_m[0] == pytest.approx([38.0 + 0.2 * (46 * 24 - 2) / (92 * 24), 38.2], abs=1e-6)
    assert not drawn(logged(), start=dt.date(2016, 10, 1)).logger.bounds.size


def test_marks_of_bounds_close_together_are_not_drawn_over_each_other():
    """Thirty bounds of an hour, a day apart, on an axis of 3 mm a day."""
    days = 17_000.0 + np.arange(30)
    line = LoggerLine(bounds=np.stack([days, days + 1 / 24], axis=1), bounds_m=np.full((30, 2), 38.0))
    figure = draw_hydrograph(drawn(logged()))
    axes = figure.axes[0]
    before = len(axes.lines)
    draw_bounds(axes, line, SENSOR_BOUND.options(approved=False), per_day_mm=3.0, factor=1.0)
    added = axes.lines[before:]
    marks = np.concatenate([each.get_xdata() for each in added if each.get_linestyle() == "None"])
    assert len(added) - 30 == marks.size
    assert np.diff(np.sort(marks)).min() * 3.0 >= MARK_APART_MM / 2
    assert pd.Series(marks).is_monotonic_increasing


def doubted(values_m):
    """Return heads of which a tenth is kept out by an open finding, at other elevations."""
    series = logged()
    times = series.time_utc[5000:5800]
    return replace(series, doubtful_utc=times, doubtful_m=np.full(times.size, values_m))


def test_what_an_open_finding_keeps_out_is_dotted_and_named_and_the_axis_is_not_made_for_it():
    data = drawn(doubted(300.0))
    assert data.high_m < 60.0
    assert data.logger.doubtful_m.size == 800
    assert "logger, kept out by an open finding" in words_of(draw_hydrograph(data))
    plain = drawn(logged())
    assert plain.high_m == data.high_m
    assert "logger, kept out by an open finding" not in words_of(draw_hydrograph(plain))


def test_where_everything_is_kept_out_the_axis_shows_it():
    series = doubted(41.0)
    nothing = replace(series, water_elevation_m=np.full(series.time_utc.size, np.nan), bounds=())
    data = drawn(nothing)
    assert data.low_m < 41.0 < data.high_m


def test_what_is_kept_out_is_cut_to_the_time_that_is_drawn():
    series = doubted(41.0)
    day = series.doubtful_utc[400].astype("datetime64[D]").item()
    data = drawn(series, start=day, end=day)
    assert 23 <= data.logger.doubtful_m.size <= 25
