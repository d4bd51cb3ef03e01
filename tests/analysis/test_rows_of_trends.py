"""Rows of trends, of level changes and of moments on record: which columns a well has and why; constructed."""

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.series import trends as module
from gwnet.analysis.series.level_changes import COLUMNS, level_changes
from gwnet.analysis.series.trend_changes import find_level_changes
from gwnet.analysis.series.trend_context import context_trends
from gwnet.analysis.series.trend_moments import find_moments
from gwnet.analysis.series.trend_pooled import pooled_trends
from gwnet.analysis.series.trend_steps import trend_steps
from gwnet.analysis.series.trend_tests import find_trend
from gwnet.analysis.series.trend_thresholds import threshold_dates
from gwnet.analysis.series.trends import numbers, trends

from .trend_rows import quarterly, record, wells_of, yearly
from .trend_tables import table


def noise(count, seed=1):
    return np.random.default_rng(seed).normal(0, 0.1, count)


@pytest.mark.parametrize(("years", "note"), [(9, "too few years: 9 with a value, 10 needed"), (10, "no step found")])
def test_a_well_without_a_step_has_one_row(years, note):
    frame = record(*quarterly("A", 40 + noise(4 * years)))
    (row,) = level_changes(frame, wells_of(frame)).to_dict("records")
    assert (row["number"], row["note"], row["first"], row["last"]) == (0, note, "2001-02-15", f"{2000 + years}-11-15")
    assert pd.isna([row["year"], row["shift_m"], row["year_earliest"]]).all()


def test_steps_of_a_well_are_numbered_with_their_dates_and_limits():
    values = 40 + noise(80) - 2.0 * ((np.arange(80) >= 24) & (np.arange(80) < 52))
    frame = record(*quarterly("A", values))
    found = level_changes(frame, wells_of(frame))
    changes = find_level_changes(table(values.reshape(20, 4)))
    assert tuple(found.columns) == COLUMNS
    assert found["number"].tolist() == [1, 2]
    assert found["year"].tolist() == [one.year for one in changes]
    assert found[["year_earliest", "year_latest"]].to_numpy().tolist() == [[one.first, one.last] for one in changes]
    shifts = found[["shift_m", "shift_lower_m", "shift_upper_m"]].to_numpy()
    assert shifts == pytest.approx(np.array([one.shift for one in changes]), abs=0.02)
    assert found["note"].tolist() == ["", ""]
    assert str(found["year"].dtype) == "Int64"


def test_levels_of_a_year_or_a_season_by_the_method():
    frame = record(*quarterly("A", 40 + noise(48) - 1.0 * (np.arange(48) >= 24)))
    by_year = level_changes(frame, wells_of(frame), method="kendall")
    assert by_year.loc[0, "first"] == "2001-02-15"
    assert by_year["note"].tolist() in (["no step found"], [""])
    nothing = level_changes(frame, pd.DataFrame({"site": ["S"], "well": ["Z"]})).iloc[0]
    assert (nothing["number"], nothing["first"], nothing["note"]) == (0, "", "no level that can be used")


def test_numbers_of_tables_are_numbers_where_no_well_has_any():
    frame, one = record(*yearly("A", [40.0, 40.1])), pd.DataFrame({"site": ["S"], "well": ["A"], "aquifer": ["upper"]})
    none = pd.DataFrame(columns=["site", "well", "moment", "day"])
    limits = one.assign(threshold="stop", kind="lower", elevation_m=30.0)
    context = pd.DataFrame(columns=["site", "series", "quantity", "date", "value"])
    for table_, text in (
        (threshold_dates(frame, limits), "site well threshold kind last state season horizon note"),
        (pooled_trends(frame, one), "site aquifer method first last direction note left_out"),
        (trend_steps(frame, one, none), "site well moment at note"),
        (level_changes(frame, one), "site well first last note"),
        (context_trends(frame, one, context), "site well first last direction inputs note"),
        (trends(frame, one), "site well method first last direction note left_out course"),
    ):
        words = [name for name in table_.columns if not pd.api.types.is_numeric_dtype(table_[name])]
        # dates are text
        assert {name for name in words if not name.endswith(("reached_on", "earliest", "latest"))} == set(text.split())


UTC = "datetime64[us, UTC]"


def moments_of(points, deployments, zone="UTC+01:00"):
    """Return the moments of measuring points (well, access, from) and deployments (well, installed)."""
    points = pd.DataFrame(points, columns=["well", "access", "valid_from_utc"]).assign(site="S")
    deployments = pd.DataFrame(deployments, columns=["well", "installed_at_utc"]).assign(site="S")
    for frame, name in ((points, "valid_from_utc"), (deployments, "installed_at_utc")):
        frame[name] = pd.to_datetime(frame[name], utc=True, format="ISO8601").astype(UTC)
    sites = pd.DataFrame({"site": ["S"], "time_zone": [zone]})
    found = find_moments(SimpleNamespace(measuring_points=points, deployments=deployments, sites=sites))
    return found.to_numpy().tolist()


def test_moments_are_all_points_and_sensors_but_the_first_on_their_local_day():
    points = [
        ("A", "main", "2012-05-01T12:00"), ("A", "main", "2005-01-01T12:00"), ("A", "tube", "2007-01-01T12:00"),
        ("A", "main", None), ("B", "main", "2001-12-31T23:30"), ("B", "main", "2001-01-01"), ("B", "main", "2009-03-01"),
    ]  # fmt: skip
    sensors = [
        ("A", "2012-05-01T00:00"),
        ("A", "2010-05-01"),
        ("", "2003-01-01"),
        ("", "2004-01-01"),
        ("C", "2004-01-01"),
    ]
    new, installed = "new measuring point", "sensor installed"
    assert moments_of(points, sensors) == [
        ["S", "A", new, dt.date(2012, 5, 1)], ["S", "A", installed, dt.date(2012, 5, 1)],
        ["S", "B", new, dt.date(2002, 1, 1)], ["S", "B", new, dt.date(2009, 3, 1)],
    ]  # fmt: skip
    assert moments_of(points[:2], [], "UTC-13:00")[0][3] == dt.date(2012, 4, 30)
    assert moments_of([], []) == []


def test_two_accesses_renewed_on_one_day_are_one_moment():
    points = [("A", way, day) for way in ("main", "tube") for day in ("2001-01-01", "2005-01-01")]
    assert moments_of(points, []) == [["S", "A", "new measuring point", dt.date(2005, 1, 1)]]


def test_a_row_has_the_numbers_of_its_test_and_the_sides_of_its_record():
    values = 40 + noise(40) - 0.02 * np.arange(40)
    frame = record(*quarterly("A", values))
    row = trends(frame, wells_of(frame)).iloc[0]
    result = find_trend(table(values.reshape(10, 4).round(6), shift=0.0))
    assert (row["method"], row["n"], row["n_bounds"], row["wells_adjusted"]) == ("seasonal", 40, 0, 1)
    assert (row["s"], row["tau"], row["var_s"]) == (result.s, pytest.approx(result.tau), pytest.approx(result.var_s))
    assert (row["first"], row["last"], row["course"]) == ("2001-02-15", "2010-11-15", "")
    assert row["slope_m_per_year"] == pytest.approx(numbers(result)["slope_m_per_year"])
    assert (row["p_adjusted"], row["site"]) == (row["p"], "S")
    nothing = trends(frame, pd.DataFrame({"site": ["S"], "well": ["Z"]})).iloc[0]
    assert (nothing["site"], nothing["well"], nothing["n"], nothing["n_bounds"]) == ("S", "Z", 0, 0)


def test_a_course_is_that_of_a_bend_that_turns(monkeypatch):
    turned, other = (SimpleNamespace(is_turn=turn, words="fell until 2010, rising since") for turn in (True, False))
    for bend, course in ((turned, turned.words), (other, ""), (None, "")):
        result = find_trend(table(40.0 + noise(8)))
        result.bend = bend
        monkeypatch.setattr(module, "find_trend", lambda *_, result=result: result)
        row = module._row(("S", "A"), "kendall", 4, table(40.0 + noise(8)), None)
        assert row["course"] == course


@pytest.mark.parametrize(("method", "p", "is_noted"), [
    ("kendall", 0.5, True), ("seasonal", 0.5, False), ("kendall", float("nan"), False),
])  # fmt: skip
def test_years_of_different_seasons_are_noted_for_yearly_values(monkeypatch, method, p, is_noted):
    own = table(40.0 + noise(8), days=[f"{2001 + k}-{2 + 3 * (k % 2):02d}-15" for k in range(8)])
    result = find_trend(table(40.0 + noise(8)))
    result.p, result.notes = p, ["a"]
    monkeypatch.setattr(module, "find_trend", lambda *_: result)
    row = module._row(("S", "A"), method, 4, own, None)
    assert row["note"] == (
        "a; years have levels of different seasons: see method seasonal as well" if is_noted else "a"
    )


def test_yearly_values_have_the_line_of_their_seasons(monkeypatch):
    asked = []
    monkeypatch.setattr(module, "find_trend", lambda own, fine: asked.append((own, fine)) or find_trend(own, fine))
    frame = record(*quarterly("A", 40 + noise(32)), *yearly("B", 40 + noise(6)))
    trends(frame, wells_of(frame), method="kendall", memory={("S", "A"): None})
    trends(frame, wells_of(frame), method="seasonal", seasons=12)
    shapes = [(own.values.shape, fine.values.shape) for own, fine in asked]
    assert shapes == [((8, 1), (8, 4)), ((6, 1), (6, 4)), ((8, 12), (8, 12)), ((6, 12), (6, 12))]
