"""Projected dates of thresholds: straight lines whose dates can be worked out by hand; constructed."""

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.levels.serving import used_levels
from gwnet.analysis.series.trend_records import well_records
from gwnet.analysis.series.trend_tests import find_trend
from gwnet.analysis.series.trend_thresholds import COLUMNS, threshold_dates
from gwnet.network import Network

from .trend_rows import dry, quarterly, record, yearly


def limit(elevation, kind="lower", well="A"):
    return pd.DataFrame(
        {"site": ["S"], "well": [well], "threshold": ["warning"], "kind": [kind], "elevation_m": [elevation]}
    )


def date(frame, *limits, **options):
    found = threshold_dates(frame, pd.concat(limits), method="kendall", **options)
    assert tuple(found.columns) == COLUMNS
    return found.iloc[0]


def days(row, name):
    return (pd.Timestamp(row[name]) - pd.Timestamp("2000-01-01")).days


def falling(years=11, slope=-0.2, noise=0.0):
    random = np.random.default_rng(1)
    return record(*yearly("A", 40 + slope * np.arange(years) + noise * random.normal(size=years)))


def test_a_straight_line_reaches_its_threshold_when_it_must():
    """38 m on 15 June 2011, 0.2 m a year down: 37 m five years later, about 15 June 2016."""
    row = date(falling(), limit(37.0))
    assert row["state"] == "on this trend"
    assert row["level_m"] == pytest.approx(38.0, abs=0.01)
    assert abs((pd.Timestamp(row["reached_on"]) - pd.Timestamp("2016-06-15")).days) < 20
    assert days(row, "latest") - days(row, "earliest") < 3
    assert row["note"] == ""
    assert row["horizon"].startswith("2061-06")


def test_an_upper_threshold_is_reached_by_rising_water():
    row = date(falling(slope=0.2), limit(43.0, kind="upper"))
    assert row["state"] == "on this trend"
    assert abs((pd.Timestamp(row["reached_on"]) - pd.Timestamp("2016-06-15")).days) < 20


def test_the_limits_of_the_line_meet_the_threshold_at_the_limits_of_the_date():
    """Figure and table agree: the band of the line is at the threshold on both dates."""
    frame = falling(years=20, noise=0.3)
    row = date(frame, limit(33.0))
    assert row["earliest"] < row["reached_on"] < row["latest"]
    used, _ = used_levels(frame)
    line = find_trend(well_records(used, 1)["S", "A"], well_records(used, 4)["S", "A"]).line
    when = np.array([2000.0 + days(row, name) / 365.25 for name in ("earliest", "reached_on", "latest")])
    middle, lower, upper = line.band(when)
    assert (lower[0], middle[1], upper[2]) == pytest.approx((33.0, 33.0, 33.0), abs=0.002)


def seasonal_fall(years=15, swing=0.5, seed=4):
    random = np.random.default_rng(seed)
    k = np.arange(4 * years)
    return record(
        *quarterly("A", 40 - 0.05 * k + swing * np.tile([1, 0, -1, 0], years) + random.normal(0, 0.1, k.size))
    )


def test_once_a_year_is_the_trend_and_the_line_still_knows_the_seasons():
    frame = seasonal_fall()
    by_year, by_season = (threshold_dates(frame, limit(35.0), method=name).iloc[0] for name in ("kendall", "seasonal"))
    of_line = ["state", "level_m", "season", "reached_on", "season_reached_on", "earliest", "latest"]
    assert by_year[of_line].tolist() == by_season[of_line].tolist()
    assert by_year["season"] == "July to September"
    assert by_year["p"] != by_season["p"]


def test_three_dates_of_one_threshold():
    """0.2 m a year down, summer 0.5 m below the mean: two and a half years before the line."""
    found = threshold_dates(seasonal_fall(), limit(35.0))
    row = found.iloc[0]
    assert row["season"] == "July to September"
    assert days(row, "reached_on") - days(row, "season_reached_on") == pytest.approx(2.5 * 365.25, abs=90)
    assert row["level_earliest"] <= row["level_reached_on"] <= row["level_latest"]
    assert row["level_reached_on"] <= row["reached_on"]
    assert row["season_earliest"] < row["season_reached_on"] < row["season_latest"]
    # the first level beyond comes in a low season, before the line is there
    assert pd.Timestamp(row["level_reached_on"]).month in (5, 8, 11)


def test_a_level_beyond_on_record_has_its_day():
    row = threshold_dates(seasonal_fall(), limit(37.0)).iloc[0]
    frame = seasonal_fall()
    beyond = frame[frame["water_elevation_m"] <= 37.0].iloc[0]["day"].date().isoformat()
    assert row["level_reached_on"] == row["level_earliest"] == row["level_latest"] == beyond
    assert f"the first of {beyond}" in row["note"]


def test_a_threshold_within_the_limits_may_have_been_passed_already():
    random = np.random.default_rng(3)
    frame = record(*yearly("A", 40 - 0.2 * np.arange(15) + random.normal(0, 0.3, 15)))
    line = date(frame, limit(30.0))["level_m"]
    row = date(frame, limit(line - 0.05))
    assert row["state"] == "may have been passed already"
    assert row["earliest"] < row["last"] < row["latest"]
    assert "with a probability of" in row["note"]
    assert date(frame, limit(line + 1.5))["state"] == "already passed"


@pytest.mark.parametrize(("slope", "elevation", "kind", "state"), [
    (-0.2, 41.0, "upper", "not on this trend"),
    (0.2, 37.0, "lower", "not on this trend"),
])  # fmt: skip
def test_directions(slope, elevation, kind, state):
    row = date(falling(slope=slope), limit(elevation, kind))
    assert row["state"] == state
    assert (row["reached_on"], row["earliest"], row["latest"]) == ("", "", "")


@pytest.mark.parametrize(("slope", "kind"), [(-0.2, "lower"), (0.2, "upper")])
def test_a_threshold_that_was_passed_has_the_date(slope, kind):
    """39 m is passed five years before the newest level, 41 m likewise."""
    row = date(falling(slope=slope), limit(40.0 + 5 * slope, kind))
    assert row["state"] == "already passed"
    assert abs((pd.Timestamp(row["reached_on"]) - pd.Timestamp("2006-06-15")).days) < 20


@pytest.mark.parametrize(("slope", "noise", "elevation"), [(0.0, 0.0, 37.0), (-0.01, 0.4, 38.0)])
def test_no_date_without_a_significant_trend(slope, noise, elevation):
    row = date(falling(slope=slope, noise=noise), limit(elevation))
    assert row["state"] == "no significant trend"
    assert [row[name] for name in ("reached_on", "earliest", "latest", "season_latest", "level_latest")] == [""] * 5
    assert "no date" in row["note"]


def test_dates_beyond_the_length_of_the_record_are_stated():
    near, far, farthest = (date(falling(), limit(elevation)) for elevation in (37.0, 34.0, -40.0))
    assert "farther off" not in near["note"]
    assert "farther off than the record is long (10.0 years)" in far["note"]
    assert far["reached_on"].startswith("2031")
    assert farthest["reached_on"] == ""
    assert "does not reach the threshold before the horizon" in farthest["note"]


def test_the_newest_level_beyond_a_threshold_is_stated():
    levels = [40 - 0.1 * k for k in range(10)]
    row = date(record(*yearly("A", [*levels, 37.0])), limit(38.3))
    assert "a level beyond the threshold is on record, the first of 2011-06-15" in row["note"]
    assert row["reached_on"] > row["last"] > row["level_reached_on"][:4]


def test_wells_without_a_trend_have_their_rows():
    frame = record(*yearly("A", [1.0, 2.0]), *yearly("G", [1, 2, 3, None, None, None, None, 4, 5, 6]))
    found = threshold_dates(
        frame, pd.concat([limit(0.5), limit(0.5, well="G"), limit(0.5, well="Z")]), method="kendall"
    )
    assert found["state"].tolist() == ["no trend worked out"] * 3
    assert "too few years" in found["note"].iloc[0]
    assert "compared instead of a trend" in found["note"].iloc[1]
    assert found["note"].iloc[2] == "no level that can be used"
    nowhere = date(falling(), limit(float("nan")))
    assert nowhere["note"] == "the threshold has no elevation"


def test_a_well_that_falls_dry_is_projected_from_its_bounds():
    rows = [*yearly("A", [45.0, 44.0, 43.2, 42.1, 41.0]), dry("A", "2006-06-15", 40.6), dry("A", "2007-06-15", 40.6)]
    row = date(record(*rows), limit(38.0))
    assert row["state"] == "on this trend"
    assert row["slope_m_per_year"] == pytest.approx(-1.0, abs=0.1)
    assert row["reached_on"][:4] in ("2008", "2009")


@pytest.mark.slow
def test_the_network_projects_the_thresholds_in_force(demo_record):
    with Network(demo_record) as net:
        found, feet = net.trends.thresholds(), net.trends.thresholds(["W-03"], unit="ft")
    assert {"W-03", "W-08"} <= set(found["well"])
    first = found[found["well"] == "W-03"].iloc[0]
    assert feet["threshold_elevation_ft"].iloc[0] == pytest.approx(first["threshold_elevation_m"] / 0.3048)
