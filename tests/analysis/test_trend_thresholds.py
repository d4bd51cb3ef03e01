"""Projected dates of thresholds: straight lines whose dates can be worked out by hand; constructed."""

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.series.trend_thresholds import COLUMNS, threshold_dates
from gwnet.network import Network

from .trend_rows import dry, record, yearly


def limit(elevation, kind="lower", well="A"):
    return pd.DataFrame(
        {"site": ["S"], "well": [well], "threshold": ["warning"], "kind": [kind], "elevation_m": [elevation]}
    )


def date(frame, *limits, **options):
    found = threshold_dates(frame, pd.concat(limits), method="kendall", **options)
    assert tuple(found.columns) == COLUMNS
    return found.iloc[0]


def falling(years=11, slope=-0.2, noise=0.0):
    random = np.random.default_rng(1)
    return record(*yearly("A", 40 + slope * np.arange(years) + noise * random.normal(size=years)))


def test_a_straight_line_reaches_its_threshold_when_it_must():
    """38 m on 15 June 2011, 0.2 m a year down: 37 m five years later, about 15 June 2016."""
    row = date(falling(), limit(37.0))
    assert row["state"] == "on this trend"
    assert row["level_m"] == pytest.approx(38.0, abs=0.01)
    assert abs((pd.Timestamp(row["reached_on"]) - pd.Timestamp("2016-06-15")).days) < 20
    assert row["earliest"] == row["latest"] == row["reached_on"]
    assert row["note"] == ""


def test_an_upper_threshold_is_reached_by_rising_water():
    row = date(falling(slope=0.2), limit(43.0, kind="upper"))
    assert row["state"] == "on this trend"
    assert abs((pd.Timestamp(row["reached_on"]) - pd.Timestamp("2016-06-15")).days) < 20


def test_limits_of_the_slope_are_limits_of_the_date():
    row = date(falling(years=20, noise=0.3), limit(33.0))
    assert row["earliest"] < row["reached_on"] < row["latest"]
    years = (33.0 - row["level_m"]) / row["slope_lower_m_per_year"]
    assert (pd.Timestamp(row["earliest"]) - pd.Timestamp(row["last"])).days == pytest.approx(years * 365.25, abs=1)


@pytest.mark.parametrize(("slope", "elevation", "kind", "state"), [
    (-0.2, 41.0, "upper", "not on this trend"),
    (0.2, 37.0, "lower", "not on this trend"),
    (-0.2, 39.0, "lower", "already passed"),
    (0.2, 39.0, "upper", "already passed"),
])  # fmt: skip
def test_directions_and_thresholds_passed(slope, elevation, kind, state):
    row = date(falling(slope=slope), limit(elevation, kind))
    assert row["state"] == state
    assert (row["reached_on"], row["latest"]) == ("", "")


def test_a_level_line_reaches_nothing():
    row = date(falling(slope=0.0), limit(37.0))
    assert row["state"] == "not on this trend"
    assert row["reached_on"] == ""


def test_the_note_speaks_of_dates_only_where_there_are_some():
    alike = date(record(*yearly("A", [40.0] * 10)), limit(37.0))
    assert (alike["reached_on"], alike["earliest"], alike["latest"]) == ("", "", "")
    assert alike["note"] == "no significant trend (p 1)"
    assert "the dates may be chance" in date(falling(slope=-0.01, noise=0.4), limit(38.0))["note"]


def test_dates_beyond_the_length_of_the_record_are_stated():
    near, far, farthest = (date(falling(), limit(elevation)) for elevation in (37.0, 34.0, -40.0))
    assert "farther off" not in near["note"]
    assert "farther off than the record is long (10.0 years)" in far["note"]
    assert far["reached_on"].startswith("2031")
    assert farthest["reached_on"] == ""
    assert "not within 200 years" in farthest["note"]


def test_a_trend_that_is_not_significant_has_open_dates_and_says_so():
    row = date(falling(slope=-0.01, noise=0.4), limit(38.0))
    assert "no significant trend" in row["note"]
    assert row["latest"] == ""
    assert row["earliest"] != ""


def test_the_newest_level_beyond_a_threshold_is_stated():
    levels = [40 - 0.1 * k for k in range(10)]
    row = date(record(*yearly("A", [*levels, 37.0])), limit(38.5))
    assert "newest level is beyond the threshold" in row["note"]
    assert row["state"] == "on this trend"


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


def test_the_network_projects_the_thresholds_in_force(demo_record):
    with Network(demo_record) as net:
        found, feet = net.trends.thresholds(), net.trends.thresholds(["W-03"], unit="ft")
    assert {"W-03", "W-08"} <= set(found["well"])
    first = found[found["well"] == "W-03"].iloc[0]
    assert feet["threshold_elevation_ft"].iloc[0] == pytest.approx(first["threshold_elevation_m"] / 0.3048)
