"""What a summary makes of a trend, a season and thresholds: urgency, doubts, since when; each rule by itself, constructed."""

import math
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.series import trend_summary
from gwnet.analysis.series.trend_changes import find_bend, find_level_changes
from gwnet.analysis.series.trend_summary import NEWEST_BEYOND

from .trend_tables import table

TREND = {
    "site": "S", "well": "A", "direction": "no significant trend", "first": "2001-02-15", "last": "2020-11-15", "n": 80,
    "n_bounds": 0, "note": "", "p_independent": 0.5, "slope_m_per_year": 0.1, "slope_lower_m_per_year": -0.2,
    "slope_upper_m_per_year": 0.3,
}  # fmt: skip
SEASON = {
    "n": 80, "highest_in_year": "04-02", "newest": "2020-11-15", "newest_bound": "", "newest_m": 40.5, "percentile": 50.0,
}  # fmt: skip
THRESHOLD = {"threshold": "stop", "reached_on": "2030-01-01", "earliest": "2028-01-01", "latest": "2040-01-01"}


def found_of(trend=(), season=(), state=None, record=None):
    threshold = None if state is None else {**THRESHOLD, "state": state}
    return trend_summary._Found({**TREND, **dict(trend)}, {**SEASON, **dict(season)}, threshold, record)


@pytest.mark.parametrize(("more", "urgency", "to_do", "because"), [
    ({"state": NEWEST_BEYOND}, 0, "watch", "newest level beyond stop"),
    ({"state": "already passed"}, 0, "watch", "stop passed"),
    ({"state": "may have been passed already"}, 1, "watch", "stop may have been passed"),
    ({"state": "on this trend"}, 2, "watch", "stop ahead"),
    ({"state": "on this trend", "trend": {"direction": "falling"}}, 2, "watch", "stop ahead"),
    ({"trend": {"direction": "falling"}}, 3, "watch", "falling"),
    ({"trend": {"direction": "fell until 2010, rising since"}}, 3, "watch", "fell until 2010, rising since"),
    ({"trend": {"direction": "insufficient data", "note": "too few years: 2"}}, 4, "look at record", "too few years: 2"),
    ({"trend": {"direction": "falling", "note": "a; no level from 2003 to 2009"}}, 3, "look at record",
     "falling; no level from 2003 to 2009"),
    ({"state": NEWEST_BEYOND, "trend": {"note": "always dry"}}, 0, "look at record", "newest level beyond stop; always dry"),
    ({"season": {"percentile": 10.0}}, 5, "watch", "newest level at percentile 10 of its month"),
    ({"season": {"percentile": 10.01}}, 6, "nothing", ""),
    ({"season": {"percentile": 90.0}}, 5, "watch", "newest level at percentile 90 of its month"),
    ({"season": {"percentile": 89.99}}, 6, "nothing", ""),
    ({"season": {"percentile": math.nan}}, 6, "nothing", ""),
    ({"trend": {"note": "too few years: 2"}, "season": {"percentile": 5.0}}, 4, "look at record", "too few years: 2"),
])  # fmt: skip
def test_urgency_and_what_to_do(more, urgency, to_do, because):
    """Percentiles of 10 and 90 are extreme (project default)."""
    row = trend_summary._row(found_of(**more))
    assert (row["urgency"], row["to_do"], row["because"]) == (urgency, to_do, because)


def test_a_row_has_what_it_rests_on():
    row = trend_summary._row(found_of(state="on this trend", trend={"n_bounds": 1}))
    assert {name: row[name] for name in ("threshold", "threshold_state", "reached_on", "earliest", "latest")} == {
        "threshold": "stop", "threshold_state": "on this trend", "reached_on": "2030-01-01", "earliest": "2028-01-01",
        "latest": "2040-01-01",
    }  # fmt: skip
    assert [row[name] for name in ("slope_m_per_year", "slope_lower_m_per_year", "slope_upper_m_per_year")] == [
        0.1,
        -0.2,
        0.3,
    ]
    assert row["data"] == "80 values, 1 bound, 2001–2020"
    assert (row["newest_m"], row["newest"], row["highest_in_year"], row["since"]) == (
        40.5,
        "2020-11-15",
        "04-02",
        "2001",
    )
    plain = trend_summary._row(found_of(trend={"n_bounds": 2}))
    assert plain["data"] == "80 values, 2 bounds, 2001–2020"
    assert {plain[name] for name in ("threshold", "threshold_state", "reached_on", "earliest", "latest")} == {""}
    assert trend_summary._row(found_of(trend={"n": 0}))["data"] == "no level that can be used"


@pytest.mark.parametrize(("note", "direction", "doubts"), [
    ("always dry from 1; always flowing; dry or flowing at every visit; no level that can be used; other", "rising",
     ["always dry from 1", "always flowing", "dry or flowing at every visit", "no level that can be used"]),
    ("the record is short against its memory: p", "rising", ["the record is short against its memory"]),
    ("the record is short against its memory: p", "falling", ["the record is short against its memory"]),
    ("the record is short against its memory: p", "no significant trend", []),
    ("2 values are too few", "rising", []),
])  # fmt: skip
def test_what_a_note_says_against_a_record(note, direction, doubts):
    assert trend_summary._doubts(found_of(trend={"note": note, "direction": direction}), "") == doubts


def test_a_change_is_a_doubt_unless_the_direction_says_it():
    found = found_of(trend={"direction": "fell until 2010, rising since"})
    assert trend_summary._doubts(found, "fell until 2010, rising since") == []
    assert trend_summary._doubts(found, "step of 1 m") == ["step of 1 m"]


def noise(years, seed=1):
    return np.random.default_rng(seed).normal(0, 0.1, (years, 4))


def test_since_when_is_the_newest_step_or_else_the_bend():
    when = np.arange(80).reshape(20, 4) / 4
    stepped = table(40.0 - 2.0 * (when >= 6) + 1.5 * (when >= 13) + noise(20))
    changes = find_level_changes(stepped)
    assert trend_summary._since(found_of(record=stepped)) == ("2014", f"{changes[0].words}, {changes[1].words}")
    turned = table(40.0 + 0.3 * np.abs(when - 10.0) + noise(20))
    bend = find_bend(turned)
    assert trend_summary._since(found_of(record=turned)) == (str(bend.year), bend.words)
    plain = table(40.0 + noise(20))
    assert trend_summary._since(found_of(record=plain)) == ("2001", "")
    assert trend_summary._since(found_of(record=stepped, trend={"p_independent": math.nan})) == ("2001", "")
    assert trend_summary._since(found_of()) == ("2001", "")
    # not across a gap of over a third of the record
    apart = table(stepped.values, years=[*range(2001, 2011), *range(2031, 2041)])
    assert trend_summary._since(found_of(record=apart)) == ("2001", "")


@pytest.mark.parametrize(("newest", "bound", "kind", "limit", "is_beyond"), [
    (40.0, "", "lower", 40.0, True), (40.01, "", "lower", 40.0, False), (39.9, "", "lower", 40.0, True),
    (39.9, "<=", "lower", 40.0, True), (39.9, ">=", "lower", 40.0, False),
    (40.0, "", "upper", 40.0, True), (39.99, "", "upper", 40.0, False), (41.0, "", "upper", 40.0, True),
    (41.0, ">=", "upper", 40.0, True), (41.0, "<=", "upper", 40.0, False),
])  # fmt: skip
def test_a_newest_level_surely_beyond_a_threshold(newest, bound, kind, limit, is_beyond):
    row = {"kind": kind, "threshold_elevation_m": limit}
    season = {"n": 5, "newest_m": newest, "newest_bound": bound}
    assert trend_summary._is_beyond(season, row) == is_beyond
    assert not trend_summary._is_beyond({**season, "n": 0}, row)
    assert not trend_summary._is_beyond(None, row)


def test_the_threshold_that_matters_first():
    rows = [
        ("A", "later", "on this trend", "2031-01-01"), ("A", "soon", "on this trend", "2030-01-01"),
        ("B", "trend", "on this trend", "2030-01-01"), ("B", "maybe", "may have been passed already", ""),
        ("C", "maybe", "may have been passed already", "2019-01-01"), ("C", "passed", "already passed", ""),
        ("D", "passed", "already passed", "2015-01-01"), ("D", "newest", NEWEST_BEYOND, ""),
        ("E", "none", "not on this trend", ""), ("F", "open", "on this trend", ""), ("F", "dated", "on this trend", "2099-01-01"),
    ]  # fmt: skip
    dates = pd.DataFrame(rows, columns=["well", "threshold", "state", "reached_on"]).assign(site="S")
    found = trend_summary._first_thresholds(dates)
    assert {well: row["threshold"] for (_, well), row in found.items()} == {
        "A": "soon", "B": "maybe", "C": "passed", "D": "newest", "F": "dated",
    }  # fmt: skip


def test_rows_are_in_order_of_urgency_date_and_well(monkeypatch):
    rows = {
        "A": (3, "", "x"), "C": (2, "2030-01-01", "x"), "B": (2, "2030-01-01", "x"), "D": (2, "", "x"),
        "E": (2, "2029-01-01", "x"),
    }  # fmt: skip
    keys = [{"site": "S", "well": well} for well in rows]
    wells = pd.DataFrame(keys)
    monkeypatch.setattr(trend_summary, "trends", lambda *_, **__: wells)
    monkeypatch.setattr(trend_summary, "season_summary", lambda *_, **__: wells.assign(n=0))
    dates = pd.DataFrame(columns=["site", "well", "state", "reached_on"])
    monkeypatch.setattr(trend_summary, "threshold_dates", lambda *_, **__: dates)
    monkeypatch.setattr(trend_summary, "used_levels", lambda *_, **__: (None, None))
    monkeypatch.setattr(trend_summary, "well_records", lambda *_: {})
    monkeypatch.setattr(
        trend_summary,
        "_row",
        lambda found: {
            "well": found.trend["well"], "urgency": rows[found.trend["well"]][0],
            "earliest": rows[found.trend["well"]][1],
        },
    )  # fmt: skip
    made = trend_summary.trend_summary(SimpleNamespace(), wells, None)
    assert made["well"].tolist() == ["E", "B", "C", "D", "A"]
    assert made["rank"].tolist() == [1, 2, 3, 4, 5]
