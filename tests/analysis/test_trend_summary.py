"""One row a well, ranked by urgency; bends and steps of single wells; constructed."""

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.levels.serving import used_levels
from gwnet.analysis.series.trend_changes import find_bend, find_step
from gwnet.analysis.series.trend_records import well_records
from gwnet.analysis.series.trend_summary import COLUMNS, trend_summary
from gwnet.analysis.series.trend_thresholds import threshold_dates
from gwnet.analysis.series.trends import trends
from gwnet.network import Network

from .trend_rows import dry, quarterly, record, wells_of

K = np.arange(160)


def noise(count=160, seed=1, spread=0.3):
    return np.random.default_rng(seed).normal(0, spread, count)


def limits(*rows):
    columns = ["site", "well", "threshold", "kind", "elevation_m"]
    return pd.DataFrame([("S", *row) for row in rows], columns=columns)


def turned():
    """Falls by 0.4 m a year until mid-1998, rises by 0.35 m since: the newest level is 7 m above the line's end."""
    return 40 - 0.1 * np.minimum(K, 58) + 0.0875 * np.maximum(K - 58, 0) + noise()


def of_well(values, first=1984):
    used, _ = used_levels(record(*quarterly("A", values, first)))
    return well_records(used, 4)["S", "A"]


def test_a_record_that_turned_is_not_called_falling():
    bend = find_bend(of_well(turned()))
    assert bend.is_turn
    assert bend.first <= 1999
    assert bend.last >= 1998
    assert bend.before[0] == pytest.approx(-0.4, abs=0.05)
    assert bend.since[0] == pytest.approx(0.35, abs=0.05)
    frame = record(*quarterly("A", turned(), 1984))
    row = trends(frame, wells_of(frame)).iloc[0]
    assert row["direction"] == row["course"] == f"fell until {bend.year}, rising since"
    assert "curvature p below 0.0001" in row["note"]
    dates = threshold_dates(frame, limits(("A", "low", "lower", 20.0))).iloc[0]
    assert dates["reached_on"] == ""
    assert "no date from a straight line" in dates["note"] or "no significant trend" in dates["note"]


@pytest.mark.parametrize(
    ("values", "words"),
    [
        (40 - 0.02 * K + noise(seed=3), None),
        (40 + noise(seed=4), None),
        (40 - 0.02 * K - 0.1 * np.maximum(K - 80, 0) + noise(seed=5), "falling, faster since"),
        (40 - 0.1 * np.minimum(K, 60) + noise(seed=6), "fell until"),
        (40 + 0.1 * np.maximum(K - 100, 0) + noise(seed=7), "rising since"),
    ],
)
def test_bends_in_words(values, words):
    bend = find_bend(of_well(values))
    if words is None:
        assert bend is None
    else:
        assert words in bend.words


@pytest.mark.slow
def test_bends_are_seldom_seen_in_straight_records():
    """Half of the years' noise goes over to the next; 60 records of 20 years."""
    random, seen = np.random.default_rng(12), 0
    for _ in range(60):
        made = random.normal(size=80)
        for k in range(1, 80):
            made[k] = 0.5**0.25 * made[k - 1] + np.sqrt(1 - 0.5**0.5) * made[k]
        bend = find_bend(of_well(40 + made))
        seen += bend is not None and bend.is_turn
    assert seen <= 6


def test_a_step_has_its_date_with_limits():
    step = find_step(of_well(40 + np.where(K < 80, 0.0, -1.0) + noise(seed=8)))
    assert (step.first, step.year, step.last) == (2004, 2004, 2004)
    assert step.shift[1] < -1.0 < step.shift[2]
    assert step.p < 0.001
    assert find_step(of_well(40 + noise(seed=9))).p > 0.05
    assert find_step(of_well([40.0, 40.1, 40.2, 40.1])) is None


def test_wells_are_ranked_by_what_is_urgent():
    frame = record(
        *quarterly("FALLS", 40 - 0.05 * K[:80] + noise(80, 1, 0.1)),
        *quarterly("SOON", 40 - 0.05 * K[:80] + noise(80, 2, 0.1)),
        *quarterly("PASSED", 40 - 0.05 * K[:80] + noise(80, 3, 0.1)),
        *quarterly("QUIET", 40 + np.tile(np.linspace(-0.3, 0.3, 8), 10)[:80]),
        *quarterly("LOW", [*(40 + noise(79, 5, 0.1)), 39.0]),
        *(dry("DRY", day, 30.0) for _, day, _ in quarterly("DRY", [0.0] * 40)),
    )
    asked = limits(
        ("SOON", "warning", "lower", 35.0), ("PASSED", "stop", "lower", 38.0), ("QUIET", "low", "lower", 30.0)
    )
    table = trend_summary(frame, wells_of(frame), asked)
    assert tuple(table.columns) == COLUMNS
    assert table["well"].tolist() == ["PASSED", "SOON", "FALLS", "DRY", "LOW", "QUIET"]
    assert table["rank"].tolist() == [1, 2, 3, 4, 5, 6]
    row = table.set_index("well")
    assert row["to_do"].to_dict() == {
        "PASSED": "watch",
        "SOON": "watch",
        "FALLS": "watch",
        "DRY": "look at record",
        "LOW": "watch",
        "QUIET": "nothing",
    }
    assert (row.loc["SOON", "threshold"], row.loc["SOON", "threshold_state"]) == ("warning", "on this trend")
    assert row.loc["SOON", "earliest"] <= row.loc["SOON", "reached_on"] <= row.loc["SOON", "latest"]
    assert row.loc["PASSED", "because"] == "newest level beyond stop"
    assert row.loc["FALLS", "since"] == "2001"
    assert row.loc["DRY", "because"].startswith("always dry")
    assert row.loc["LOW", "percentile"] < 10
    assert row.loc["QUIET", "data"] == "80 values, 2001–2020"


def test_a_newest_level_beyond_a_threshold_is_urgent_without_a_trend():
    frame = record(*quarterly("A", [*(40 + noise(39, 5, 0.1)), 39.0]), *quarterly("B", 40 + noise(40, 6, 0.1)))
    asked = limits(("A", "low", "lower", 39.2), ("A", "lowest", "lower", 38.0), ("B", "low", "lower", 39.2))
    table = trend_summary(frame, wells_of(frame), asked)
    row = table.iloc[0]
    assert (row["well"], row["direction"], row["to_do"]) == ("A", "no significant trend", "watch")
    assert (row["threshold"], row["threshold_state"]) == ("low", "newest level beyond")
    assert row["because"] == "newest level beyond low"
    assert table.iloc[1]["threshold"] == ""


def test_since_when_is_the_year_of_a_bend_or_step():
    frame = record(
        *quarterly("TURN", turned(), 1984),
        *quarterly("STEP", 40 + np.where(K < 80, 0.0, -1.0) + noise(seed=8, spread=0.2), 1984),
    )
    row = trend_summary(frame, wells_of(frame), limits()).set_index("well")
    assert row.loc["TURN", "since"] in ("1998", "1999")
    assert row.loc["TURN", "direction"].startswith("fell until")
    assert row.loc["STEP", "since"] == "2004"
    assert "step of -1.0" in row.loc["STEP", "because"]
    assert row.loc["STEP", "to_do"] == "look at record"


@pytest.mark.slow
def test_the_network_summarizes_the_demo(demo_record):
    with Network(demo_record) as net:
        table, feet = net.trends.summary(), net.trends.summary(["W-03"], unit="ft")
        assert sorted(table["well"]) == sorted(net.wells()["well"])
    assert set(table["to_do"]) <= {"nothing", "watch", "look at record"}
    own = table.set_index("well").loc["W-03"]
    assert feet["newest_ft"].iloc[0] == pytest.approx(own["newest_m"] / 0.3048)
