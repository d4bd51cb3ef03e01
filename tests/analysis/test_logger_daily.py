import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from gwnet.analysis.loggers.daily import daily_extremes, daily_values, local_days
from gwnet.analysis.loggers.explain import explain_head, explain_level
from gwnet.analysis.loggers.tables import HEAD_COLUMNS, heads_table, span_of
from gwnet.clock import local_text
from gwnet.errors import ClockError, NotFoundError, SettingsError
from gwnet.store.snapshot import Snapshot

from .logger_record import HOUR, START
from .record import Record
from .test_logger_heads import Installed

PER_SAMPLE = ("time_utc", "water_elevation_m", "uncertainty_m", "bound_m", "bound_uncertainty_m")


@pytest.fixture(scope="module")
def installed(tmp_path_factory):
    made = Installed(tmp_path_factory.mktemp("daily") / "a.sqlite").install()
    made.read(100, 1400)
    made.loggers.correct("L", "absolute pressure", "exclusion", "2024-01-10T00:00", "2024-01-10T05:00", cause="spike")
    made.loggers.correct("L", "absolute pressure", "exclusion", "2024-01-20T00:00", "2024-01-20T12:00", cause="flat")
    yield made
    made.record.store.close()


@pytest.fixture(scope="module")
def one(installed):
    (found,) = installed.heads()
    return found


def test_daily_values_are_of_local_days_and_of_enough_samples(one):
    found = daily_values([one], "UTC+01:00").set_index("day")
    mine = (one.time_utc + HOUR).astype("datetime64[D]") == np.datetime64("2024-01-05")
    row = found.loc["2024-01-05"]
    assert (row["well"], row["samples"]) == ("W", 24)
    assert row["water_elevation_m"] == pytest.approx(one.water_elevation_m[mine].mean())
    assert row["minimum_m"] == one.water_elevation_m[mine].min()
    assert row["maximum_m"] == one.water_elevation_m[mine].max()
    assert row["uncertainty_m"] == pytest.approx(one.uncertainty_m[mine].mean())
    assert found.loc["2024-01-10", "samples"] == 24 - 5
    assert "2024-01-20" not in found.index
    assert "2024-01-21" in found.index


def test_the_day_on_which_a_sensor_was_changed_has_one_value(one):
    cut = 251  # half past ten on the eleventh day
    parts = [
        replace(one, **{name: getattr(one, name)[span] for name in PER_SAMPLE})
        for span in (slice(0, cut), slice(cut, None))
    ]
    assert daily_values(parts, "UTC").equals(daily_values([one], "UTC"))


def test_a_logger_that_samples_once_a_day_has_daily_values(one):
    sparse = replace(one, **{n: getattr(one, n)[::24] for n in PER_SAMPLE})
    found = daily_values([sparse], {"S": "UTC"})
    assert len(found) == np.isfinite(sparse.water_elevation_m).sum()
    assert (found["samples"] == 1).all()


def test_no_logger_has_no_days():
    assert daily_values([], "UTC").empty
    assert local_days(np.empty(0, "datetime64[us]"), "UTC").size == 0


def test_the_table_of_heads_leaves_out_what_does_not_serve_unless_asked(one):
    served, everything = (heads_table([one], {"S": "UTC+01:00"}, excluded=excluded) for excluded in (False, True))
    assert tuple(served.columns) == HEAD_COLUMNS
    assert (len(everything), len(served)) == (1500, 1500 - 17)
    assert set(everything["unusable_reason"]) == {"", "spike", "flat"}
    assert served["measured_at"].iloc[0] == "2024-01-01T01:00+01:00"
    assert heads_table([], {}, excluded=True).empty


def test_local_text_has_seconds_only_where_there_are_some():
    when = START + np.array([0, 90], dtype="timedelta64[s]")
    assert local_text(when, "Europe/Vienna").tolist() == ["2024-01-01T01:00:00+01:00", "2024-01-01T01:01:30+01:00"]
    assert local_text(when[:1], "UTC").tolist() == ["2024-01-01T00:00+00:00"]


def test_spans_are_of_local_days_both_included():
    first, last = span_of("2024-03-31", "2024-03-31", "Europe/Vienna")
    assert (first, last) == (
        dt.datetime(2024, 3, 30, 23, tzinfo=dt.UTC),
        dt.datetime(2024, 3, 31, 22, tzinfo=dt.UTC),
    )
    moment = dt.datetime(2024, 3, 31, 12, tzinfo=dt.UTC)
    assert span_of(moment, moment, "UTC") == (moment, moment + dt.timedelta(microseconds=1))
    assert span_of(None, None, "UTC") == (None, None)
    assert span_of(dt.date(2024, 4, 26), None, "Africa/Cairo")[0] == dt.datetime(2024, 4, 25, 22, tzinfo=dt.UTC)
    with pytest.raises(SettingsError, match="Not a date"):
        span_of("soon", None, "UTC")
    with pytest.raises(SettingsError, match="no zone"):
        span_of("2024-03-31T12:00", None, "UTC")


def steps_of(installed, time, explain=explain_head, **asked):
    with installed.loggers.snapshot() as record:
        (explanation,) = explain(record, "W", time, **asked)
    return explanation.title, {step.what: (step.value, step.source) for step in explanation.steps}


def test_a_head_is_explained_back_to_its_file(installed, one):
    title, steps = steps_of(installed, "2024-01-15T13:20")
    place = int(np.searchsorted(one.time_utc, np.datetime64("2024-01-15T12:00")))
    assert title == "S W, logger L at 2024-01-15T13:00:00 (UTC+01:00)"
    assert steps["sample"][0].endswith("kPa of absolute pressure")
    assert "L absolute pressure.csv" in steps["sample"][1]
    assert steps["less air pressure"] == (f"{installed.air[place]:.1f} Pa", "of B, at that very moment")
    assert steps["water elevation"][0] == f"{one.water_elevation_m[place]:.3f} m"
    assert "2024-01-05" in steps["added"][1]
    assert "2024-02-28" in steps["added"][1]
    assert steps["uncertainty (95 %)"][0] == f"± {one.uncertainty_m[place]:.3f} m"
    assert steps["used as a level"][0] == "yes"


def test_lengths_are_explained_in_the_unit_asked_for(installed, one):
    _, steps = steps_of(installed, "2024-01-15T13:00", unit="ft")
    place = int(np.searchsorted(one.time_utc, np.datetime64("2024-01-15T12:00")))
    assert steps["water elevation"][0] == f"{one.water_elevation_m[place] / 0.3048:.3f} ft"
    assert " ft, offset " in steps["added"][1]


def test_an_excluded_sample_says_by_whom_and_why(installed):
    _, steps = steps_of(installed, "2024-01-10T03:00")
    assert steps["used as a level"][0] == "no: spike"
    assert "by Ben: seen in the field" in steps["used as a level"][1]


def test_a_manual_reading_is_explained_first_and_a_logger_where_there_is_none(installed):
    _, by_hand = steps_of(installed, "2024-01-05", explain_level)
    assert "reading 1: depth to water" in by_hand
    _, by_logger = steps_of(installed, "2024-01-06", explain_level)
    assert "less air pressure" in by_logger
    with installed.loggers.snapshot() as record:
        with pytest.raises(NotFoundError, match="There is no level event of well 'W' at '2031-01-01'"):
            explain_level(record, "W", "2031-01-01")
        with pytest.raises(NotFoundError, match="within a day"):
            explain_head(record, "W", "2031-01-01")
        with pytest.raises(ClockError, match="Not a date"):
            explain_head(record, "W", "yesterday")


def test_a_record_without_loggers_has_no_head_to_explain(tmp_path):
    record = Record(tmp_path / "a.sqlite")
    record.well("W", point=(100.0, 0.5))
    with record.store.reading() as connection, pytest.raises(NotFoundError, match="within a day"):
        explain_head(Snapshot(connection), "W", "2024-01-01")
    record.store.close()


def test_extremes_of_a_day_have_the_time_of_their_sample(one):
    found = daily_extremes([one], "UTC+01:00").set_index("day")
    mine = (one.time_utc + HOUR).astype("datetime64[D]") == np.datetime64("2024-01-05")
    heads, times = one.water_elevation_m[mine], one.time_utc[mine]
    row = found.loc["2024-01-05"]
    assert (row["lowest_m"], row["highest_m"]) == (heads.min(), heads.max())
    for name, place in (("lowest_at", heads.argmin()), ("highest_at", heads.argmax())):
        assert row[name] == local_text(times[[place]], "UTC+01:00")[0]
    assert daily_extremes([], "UTC").empty
