"""What is kept and joined of channels, and daily values at their limits, from arrays alone."""

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.loggers import channels
from gwnet.analysis.loggers.channels import Held, LoggerRecord, deployments_in
from gwnet.analysis.loggers.daily import daily_extremes, daily_values, local_days

from .logger_frames import moments, stamp

NAN = float("nan")


def test_results_are_kept_up_to_so_many_samples_the_newest_always():
    held, made = Held(10), []

    def ask(key, size):
        return held.once(key, lambda: made.append(key) or (None if size is None else [key] * size))

    for key, size in (("a", 4), ("none", None), ("b", 6), ("a", 4), ("b", 6)):
        ask(key, size)
    assert made == ["a", "none", "b"]  # ten together are not too many
    assert ask("c", 1) == ["c"]
    ask("b", 6)
    assert made == ["a", "none", "b", "c"]
    ask("a", 4)  # had to go, since eleven are too many; made anew it sends nothing away but what is oldest
    assert made == ["a", "none", "b", "c", "a"]
    ask("b", 6)
    assert made[-1] == "b"
    ask("large", 99)
    ask("large", 99)
    assert made.count("large") == 1
    ask("none", None)
    assert made.count("none") == 2
    ask("nine", 9)
    ask("eight", 8)
    ask("nine", 9)  # of two that are too many together the older goes
    assert made.count("nine") == 2


@pytest.mark.parametrize(
    ("quantity", "unit", "value", "si"),
    [
        # 1 inch = 0.0254 m and 1 lbf/in2 = 6894.757293168361 Pa: NIST SP 811 (2008), B.8
        ("absolute pressure", "psi", 2.0, 13_789.514586336722),
        ("water pressure", "kPa", 2.0, 2000.0),
        ("air pressure", "hPa", 2.0, 200.0),
        ("sea-level pressure", "hPa", 2.0, 200.0),
        ("water column", "ft", 2.0, 0.6096),
        ("depth to water", "cm", 2.0, 0.02),
        ("water elevation", "ft", 2.0, 0.6096),
        ("water temperature", "degF", 50.0, 10.0),
        ("air temperature", "degF", 50.0, 10.0),
        ("conductivity", "uS/cm", 2.0, 2.0),
    ],
)
def test_values_are_in_si_units(quantity, unit, value, si):
    assert channels._in_si(np.array([value]), quantity, unit)[0] == pytest.approx(si, rel=1e-12)


def segment(hours, first, overlapping):
    size = np.arange(len(hours))
    return channels._Segment(
        moments(*hours), first + size, moments(*hours) + np.timedelta64(1, "s"), first + size + 0.5, overlapping
    )


def test_segments_are_one_series_and_the_earlier_stays_at_one_instant():
    found = channels._joined([segment([3, 4, 6], 10.0, 2), segment([0, 4, 5, 6, 7], 20.0, 3)])
    assert found.true.tolist() == moments(0, 3, 4, 5, 6, 7).tolist()
    assert found.value.tolist() == [20.0, 10.0, 11.0, 22.0, 12.0, 24.0]
    assert found.as_read.tolist() == [20.5, 10.5, 11.5, 22.5, 12.5, 24.5]
    assert (found.file_time - found.true).tolist() == [dt.timedelta(seconds=1)] * 6
    assert found.overlapping == 2 + 3 + 2


def logger_record(*, series=(), deployments=()):
    table = pd.DataFrame(list(deployments), columns=["instrument", "site", "well"])
    zones = {"S": "Europe/Berlin", "T": "UTC+03:00"}
    of_site = lambda site: SimpleNamespace(settings={"time_zone": zones[site]})  # noqa: E731
    instruments = pd.DataFrame({"instrument": ["L", "M"], "accuracy_m": [0.25, NAN]})
    record = LoggerRecord(SimpleNamespace(deployments=table, of_site=of_site, instruments=instruments))
    names = ["series_id", "instrument", "quantity", "unit", "sample_count", "packed_count"]
    vars(record)["series"] = pd.DataFrame(list(series), columns=names)
    return record


def test_the_best_quantity_with_samples_gives_the_level():
    record = logger_record(
        series=[
            (1, "L", "water elevation", "m", 9, 9),
            (2, "L", "water column", "m", 1, 1),
            (3, "L", "absolute pressure", "Pa", 0, 0),
            (4, "M", "absolute pressure", "Pa", 5, 5),
            (5, "M", "water temperature", "degC", 5, 5),
            (6, "N", "water temperature", "degC", 5, 5),
        ]
    )
    assert [record.level_quantity(name) for name in ("L", "M", "N", "O")] == [
        "water column",
        "absolute pressure",
        "",
        "",
    ]


def test_facts_of_an_instrument():
    record = logger_record(deployments=[("L", "S", "A"), ("M", "T", ""), ("L", "T", "B"), ("N", "S", "C")])
    assert record.zone_of_instrument("L") == "UTC+03:00"
    assert [record.zone_of_instrument(name) for name in ("N", "X")] == ["Europe/Berlin", "UTC"]
    np.testing.assert_equal([record.instrument_number(name, "accuracy_m") for name in "LMX"], [0.25, NAN, NAN])
    wells = [deployments_in(record.record, some)["well"].tolist() for some in (None, ["B", "C", ""], [])]
    assert wells == [["A", "B", "C"], ["B", "C"], []]


@pytest.mark.parametrize(
    ("low", "high", "asked"),
    [
        # three days beyond the span, and as far as the clock may be off: 4000 s
        (10, 20, [10 - 72 - 4000 / 3600, 20 + 72 + 4000 / 3600]),
        (None, None, [None, None]),
    ],
)
def test_samples_are_fetched_so_far_that_a_wrong_clock_still_meets_the_span(monkeypatch, low, high, asked):
    """The level's clock holds for the temperature too; packs serve only where they hold every sample."""
    calls = []
    hours = np.arange(0, 40)
    ms = moments(*hours).astype("datetime64[ms]").astype(np.int64)

    def samples(_, number, first, last, *, known_on, is_packed):
        calls.append((number, first, last, is_packed))
        return ms, hours * 1.0

    monkeypatch.setattr(channels.fetch_samples, "samples", samples)
    record = logger_record(
        series=[(1, "L", "water temperature", "degC", 9, 9), (2, "L", "water column", "m", 9, 8)],
        deployments=[("L", "S", "A")],
    )
    record.record.connection = record.record.known_on = None
    rows = [
        ("clock shift", pd.NaT, pd.NaT, {"seconds": 3600.0}, 2, "L", "water column"),
        ("clock shift", stamp(9), pd.NaT, {"seconds": -400.0}, 2, "L", "water column"),
        ("scale", pd.NaT, stamp(12), {"factor": 2.0}, 1, "L", "water temperature"),
    ]
    names = ["kind", "start_utc", "end_utc", "parameters", "series_id", "instrument", "quantity"]
    vars(record)["corrections"] = pd.DataFrame(rows, columns=names)
    bounds = [None if hour is None else stamp(hour) for hour in (low, high)]
    temperature = record.channel("L", "water temperature", *bounds)
    true = hours + np.where(hours >= 9, 3200, 3600) / 3600
    inside = np.ones(40, dtype=bool) if low is None else (true >= low) & (true < high)
    np.testing.assert_allclose((temperature.time_utc - moments(0)) / np.timedelta64(1, "h"), true[inside], rtol=1e-9)
    np.testing.assert_array_equal(temperature.value, (hours * np.where(true < 12, 2.0, 1.0))[inside])
    np.testing.assert_array_equal(temperature.as_read, hours[inside])
    assert temperature.file_time_utc.tolist() == moments(*hours[inside]).tolist()
    assert (temperature.unit, temperature.quantity, temperature.overlapping, len(temperature)) == (
        *("degC", "water temperature", 0),
        inside.sum(),
    )
    edges = [
        None if hour is None else int(moments(hour)[0].astype("datetime64[ms]").astype(np.int64)) for hour in asked
    ]
    assert [call[0] for call in calls] == [1]
    assert calls[0][3] is True
    assert [edge if edge is None else pytest.approx(edge, abs=1) for edge in edges] == list(calls[0][1:3])
    record.channel("L", "water temperature", *bounds)
    assert len(calls) == 1
    record.channel("L", "water column", *bounds)
    assert calls[1][0] == 2
    assert calls[1][3] is False
    assert record.channel("L", "water elevation", *bounds) is None
    if low is not None:
        assert record.channel("L", "water column", stamp(500), stamp(600)) is None


def test_the_clock_of_a_quantity_itself_goes_before_that_of_the_level(monkeypatch):
    ms = moments(5).astype("datetime64[ms]").astype(np.int64)
    monkeypatch.setattr(channels.fetch_samples, "samples", lambda *_, **__: (ms, np.ones(1)))
    record = logger_record(
        series=[(1, "L", "water temperature", "degC", 1, 1), (2, "L", "water column", "m", 1, 1)],
        deployments=[("L", "S", "A")],
    )
    record.record.connection = record.record.known_on = None
    rows = [
        ("clock shift", pd.NaT, pd.NaT, {"seconds": 7200.0}, 2, "L", "water column"),
        ("clock shift", pd.NaT, pd.NaT, {"seconds": -3600.0}, 1, "L", "water temperature"),
    ]
    names = ["kind", "start_utc", "end_utc", "parameters", "series_id", "instrument", "quantity"]
    vars(record)["corrections"] = pd.DataFrame(rows, columns=names)
    assert record.channel("L", "water temperature", None, None).time_utc.tolist() == moments(4).tolist()
    assert record.channel("L", "water column", None, None).time_utc.tolist() == moments(7).tolist()


@pytest.mark.parametrize("count", [1, 2])
def test_a_series_of_one_sample_is_a_channel(monkeypatch, count):
    ms = moments(*range(count)).astype("datetime64[ms]").astype(np.int64)
    monkeypatch.setattr(channels.fetch_samples, "samples", lambda *_, **__: (ms, np.full(count, 2.0)))
    record = logger_record(series=[(1, "L", "water column", "cm", count, 0), (2, "L", "water column", "cm", 0, 0)])
    record.record.connection = record.record.known_on = None
    names = ["kind", "start_utc", "end_utc", "parameters", "series_id", "instrument", "quantity"]
    vars(record)["corrections"] = pd.DataFrame([], columns=names)
    found = record.channel("L", "water column", None, None)
    assert (found.value.tolist(), found.overlapping) == ([0.02] * count, 0)


class Heads(SimpleNamespace):
    def levels(self):
        return self.level_m, self.half_width_m, self.is_bound


def daily_heads(hours, level, *, bound=(), half_width=0.02, **place):
    """Return heads of a well; those at the places given are bounds."""
    level = np.asarray(level, dtype=float)
    is_bound = np.isin(np.arange(level.size), bound)
    return Heads(
        **{"site": "S", "well": "A", "access": "", **place},
        time_utc=moments(*hours),
        level_m=level,
        is_bound=is_bound,
        half_width_m=np.full(level.size, half_width),
        water_elevation_m=np.where(is_bound, NAN, level),
    )


@pytest.mark.parametrize(
    ("hours", "days"),
    [
        # three quarters of the usual samples make a day: 18 of 24, 2 of 3 and 1 of 2, rounded down (project default)
        ([*range(18), 26], [18]),
        ([*range(17), 26], []),
        ([*range(18), *range(24, 48)], [18, 24]),
        ([0, 8, 16, 24, 32, 48], [3, 2]),
        ([0, 12, 24, 48], [2, 1, 1]),
        ([5], [1]),
        ([0, 24, 72], [1, 1, 1]),
    ],
)
def test_a_day_has_a_mean_of_three_quarters_of_its_samples(hours, days):
    found = daily_values([daily_heads(hours, np.arange(len(hours)) ** 2)], "UTC")
    level = pd.Series(np.arange(len(hours)) ** 2.0).groupby(np.array(hours) // 24)
    kept = level.size().isin(days).to_numpy()
    assert found["samples"].tolist() == days
    np.testing.assert_allclose(found["water_elevation_m"], level.mean()[kept], rtol=1e-12)
    np.testing.assert_array_equal(found["minimum_m"], level.min()[kept])
    np.testing.assert_array_equal(found["maximum_m"], level.max()[kept])
    assert found["bound"].tolist() == [""] * len(days)


def test_days_are_local_and_of_each_well_and_access():
    """At UTC+05:30 the day begins at 18:30; two sensors of a well count together, by the shorter interval."""
    hours = np.arange(48)
    parts = [
        daily_heads(hours[:24], np.arange(24.0), half_width=0.02),
        daily_heads(hours[24:], np.arange(24.0, 48.0), half_width=0.08),
        daily_heads(hours[:30], np.ones(30), access="port 2"),
        daily_heads(hours[:30], np.ones(30), well="B", site="R"),
    ]
    found = daily_values(parts, {"S": "UTC+05:30", "R": "UTC"})
    place = found[["site", "well", "access", "day", "samples"]].to_numpy().tolist()
    assert place == [
        ["R", "B", "", "2024-05-01", 24],
        ["S", "A", "", "2024-05-01", 19],
        ["S", "A", "", "2024-05-02", 24],
        ["S", "A", "port 2", "2024-05-01", 19],
    ]
    assert found["water_elevation_m"].tolist() == [1.0, 9.0, 30.5, 1.0]
    np.testing.assert_allclose(found["uncertainty_m"][2], (5 * 0.02 + 19 * 0.08) / 24, rtol=1e-12)
    assert daily_values([], "UTC").dtypes["samples"] == "int64"
    assert local_days(moments(18.4, 18.5, -5.51), "UTC+05:30").astype(str).tolist() == [
        "2024-05-01",
        "2024-05-02",
        "2024-04-30",
    ]


def test_a_day_with_a_bound_is_a_bound_without_a_lowest_head():
    hours = np.arange(72)
    level = hours % 24 * 1.0
    found = daily_values([daily_heads(hours, level, bound=[23, *range(24, 48)])], "UTC")
    assert found["bound"].tolist() == ["<=", "<=", ""]
    assert found["bounds"].tolist() == [1, 24, 0]
    assert found["samples"].tolist() == [24, 24, 24]
    assert found["water_elevation_m"].tolist() == [11.5] * 3
    np.testing.assert_array_equal(found["minimum_m"], [NAN, NAN, 0.0])
    np.testing.assert_array_equal(found["maximum_m"], [22.0, NAN, 23.0])
    extremes = daily_extremes([daily_heads(hours, level, bound=[23, *range(24, 48)])], "UTC")
    assert extremes["day"].dt.day.tolist() == [1, 3]
    assert extremes["highest_m"].tolist() == [22.0, 23.0]


@pytest.mark.parametrize(("hour", "bounds"), [(3.5, 0), (3.51, 1), (0.5, 0), (0.49, 1)])
def test_a_bound_counts_not_where_another_sensor_has_a_head_near_by(hour, bounds):
    """Within 1.5 intervals of the sensor with the bound at hour 2. A bound of the other, near to heads of the first, is none."""
    first = daily_heads(range(24), np.arange(24.0), bound=[2])
    second = daily_heads([2, hour] if hour > 2 else [hour, 2], [50.0, 50.0], bound=[int(hour < 2)] if hour < 2 else [0])
    found = daily_values([first, second], "UTC")
    assert found["bounds"].tolist() == [bounds]
    assert found["samples"].tolist() == [24 + bounds]


@pytest.mark.parametrize(("seconds", "bounds"), [(0.0, 0), (0.5, 1)])
def test_a_bound_of_a_sensor_with_one_sample_is_beside_a_head_of_its_own_moment(seconds, bounds):
    others = daily_heads(np.arange(24) + seconds / 3600, np.arange(24.0))
    found = daily_values([daily_heads([2], [9.0], bound=[0]), others], "UTC")
    assert found["bounds"].tolist() == [bounds]


def test_the_lowest_and_highest_head_of_a_day_and_when():
    """The first where one head stands several times; in local time, in order of time though the sensors are not."""
    early, late = daily_heads([1, 2, 3, 26], [5.0, 9.0, 5.0, 4.0]), daily_heads([20, 21], [9.0, 6.0])
    found = daily_extremes([late, early, daily_heads([4.5], [1.0], access="port 2")], "UTC+02:00")
    assert found.to_numpy().tolist() == [
        ["A", "", pd.Timestamp("2024-05-01"), 5.0, "2024-05-01T03:00+02:00", 9.0, "2024-05-01T04:00+02:00"],
        ["A", "", pd.Timestamp("2024-05-02"), 4.0, "2024-05-02T04:00+02:00", 4.0, "2024-05-02T04:00+02:00"],
        ["A", "port 2", pd.Timestamp("2024-05-01"), 1.0, "2024-05-01T06:30+02:00", 1.0, "2024-05-01T06:30+02:00"],
    ]
    assert daily_extremes([], "UTC").dtypes["lowest_m"] == "float64"
