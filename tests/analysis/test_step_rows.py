"""Rows of steps of wells and verdicts of trends, each rule by itself; constructed tables.

Project defaults as documented: six years for a step without a date, two years before and after a known one.
"""

import datetime as dt
import math

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.series import trend_steps, trends
from gwnet.analysis.series.trend_changes import Step, find_step
from gwnet.analysis.series.trend_tests import TrendResult, segments_of
from gwnet.errors import SettingsError
from gwnet.hydro.trends.false_discovery import adjusted_p_values
from gwnet.hydro.trends.step_test import pettitt

from .trend_rows import record as record_of_levels
from .trend_rows import wells_of, yearly
from .trend_tables import table

NAN = np.nan


def noisy(years, seed=2):
    return (
        40.0 + np.random.default_rng(seed).normal(0, 0.2, (years, 4)) - 0.9 * (np.arange(years) >= years // 2)[:, None]
    )


def test_the_most_likely_step_is_that_of_the_search():
    record = table(noisy(12))
    row, step = trend_steps._most_likely(record), find_step(record)
    years = record.years
    before = int((years < step.year).sum())
    assert (row["moment"], row["at"]) == ("most likely", f"{step.year}-01-01")
    assert (row["years_before"], row["years_after"]) == (before, 12 - before)
    assert row["statistic"] == pettitt(record.values).statistic
    assert (row["p"], row["shift_m"], row["shift_lower_m"], row["shift_upper_m"]) == (step.p, *step.shift)


@pytest.mark.parametrize(("first", "last", "bounds", "note"), [
    (2004, 2006, 0, "date between 2004 and 2006 (95 %); correlation from one year to the next 0.35: p and limits allow for it "
     "and for the search"),
    (2005, 2005, 1, "date at the beginning of 2005 (95 %); correlation from one year to the next 0.35: p and limits allow for "
     "it and for the search; 1 of 24 values are bounds"),
])  # fmt: skip
def test_a_searched_step_says_its_dates(first, last, bounds, note):
    bound = np.zeros((6, 4))
    bound[0, :bounds] = -1
    row = trend_steps._searched(table(noisy(6), bound), Step(2005, first, last, 0.01, (1.0, 0.5, 1.5), 0.354), 17, 6)
    assert (row["note"], row["years_before"], row["years_after"], row["statistic"]) == (note, 4, 2, 17)


@pytest.mark.parametrize(("values", "bound", "note"), [
    ([1.0, 2.0, 3.0, 4.0, 5.0], 0, "too few years: 5 with a value, 6 needed"),
    ([1.0, 2.0, 3.0, 4.0, 5.0, 6.0], -1, "every value is a bound: no step can be seen"),
])  # fmt: skip
def test_records_without_a_step(values, bound, note):
    assert trend_steps._most_likely(table(values, bound)) == {"moment": "most likely", "at": "", "note": note}


def test_over_half_of_bounds_a_step_is_that_of_pettitt():
    bound = [0, 0, 0, -1, -1, -1, -1]
    record = table([44.0, 43.5, 43.8, 41.0, 41.0, 41.0, 41.0], bound)
    row = trend_steps._most_likely(record)
    result, _ = segments_of(record, 3)
    step = pettitt(record.values, bound=record.bound, widening=result.widening)
    assert (row["at"], row["years_before"], row["years_after"]) == ("2004-01-01", 3, 4)
    assert (row["statistic"], row["p"]) == (step.statistic, step.p_value)
    plain = [number if math.isfinite(number) else NAN for number in result.slope]
    assert [row["shift_m"], row["shift_lower_m"], row["shift_upper_m"]] == pytest.approx(plain, nan_ok=True)
    assert row["note"].endswith("bounds leave the shift or its limits open") == any(np.isnan(plain))


def quarterly_days(years):
    return [np.datetime64(f"{year}-{month:02d}-15") for year in years for month in (2, 5, 8, 11)]


@pytest.mark.parametrize(("day", "before", "after"), [
    # a year with levels on both sides belongs to neither; one on a day of the moment is after it
    ("2005-06-01", 4, 3), ("2005-02-15", 4, 4), ("2005-02-16", 4, 3), ("2005-11-15", 4, 3), ("2005-11-16", 5, 3),
    ("2005-01-01", 4, 4), ("2005-12-31", 5, 3),
])  # fmt: skip
def test_years_before_and_after_a_known_moment(day, before, after):
    record = table(noisy(8), days=quarterly_days(range(2001, 2009)))
    row = trend_steps._at(record, "new measuring point", dt.date.fromisoformat(day))
    assert (row["moment"], row["at"]) == ("new measuring point", day)
    assert (row["years_before"], row["years_after"]) == (before, after)
    rows = [*range(before), *range(8 - after, 8)]
    result, _ = segments_of(table(record.values[rows], years=record.years[rows]), before)
    assert (row["statistic"], row["p"], row["shift_m"]) == (int(result.s), result.p, result.slope[0])


def test_a_moment_in_a_year_without_levels():
    years = [2001, 2002, 2003, 2006, 2007]
    record = table(noisy(5), years=years, days=quarterly_days(years))
    row = trend_steps._at(record, "m", dt.date(2004, 7, 1))
    assert (row["years_before"], row["years_after"]) == (3, 2)


@pytest.mark.parametrize(
    ("day", "before"), [("2003-01-05", 2), ("2003-07-15", 2), ("2003-07-16", 3), ("2003-12-31", 3)]
)
def test_a_year_with_one_level_is_before_or_after(day, before):
    record = table([40.0, 40.1, 40.3, 40.2, 40.4])
    row = trend_steps._at(record, "m", dt.date.fromisoformat(day))
    assert (row["years_before"], row["years_after"]) == (before, 5 - before)


def test_rows_of_wells_have_their_site_and_moments_in_order():
    frame = record_of_levels(*yearly("A", [40.0, 40.1, 40.3, 40.2, 40.4]), *yearly("B", [1.0, 2.0]))
    days = [dt.date(2004, 1, 1), dt.date(2003, 1, 1), dt.date(2003, 1, 1)]
    moments = pd.DataFrame({"site": "S", "well": ["A", "A", "Z"], "moment": ["later", "sooner", "other"], "day": days})
    found = trend_steps.trend_steps(frame, wells_of(frame), moments, method="kendall")
    assert found[["site", "well", "moment", "at"]].to_numpy().tolist() == [
        ["S", "A", "most likely", ""], ["S", "A", "sooner", "2003-01-01"], ["S", "A", "later", "2004-01-01"],
        ["S", "B", "most likely", ""],
    ]  # fmt: skip
    assert found["p_adjusted"].to_numpy(float) == pytest.approx(
        adjusted_p_values(found["p"].to_numpy(float)), nan_ok=True
    )


@pytest.mark.parametrize(("first_after", "note"), [
    (1, "too few years: 1 before and 4 after, 2 of each needed"), (4, "too few years: 4 before and 1 after, 2 of each needed"),
    (2, None), (3, None),
])  # fmt: skip
def test_two_years_beside_a_known_moment(first_after, note):
    row = trend_steps._compared(table(noisy(5)), first_after, "m", "2003-01-01")
    assert ("p" in row) == (note is None)
    if note:
        assert row["note"] == note
    assert (row["years_before"], row["years_after"]) == (first_after, 5 - first_after)
    apart = table([[1.0, NAN], [2.0, NAN], [NAN, 3.0], [NAN, 4.0]])
    assert trend_steps._compared(apart, 2, "m", "")["note"] == "no season has levels before and after it"


@pytest.mark.parametrize(("slope", "bound", "note"), [
    ((1.0, 0.5, 1.5), -1, "a"), ((1.0, -math.inf, 1.5), -1, "a; bounds leave the shift or its limits open"),
    ((1.0, 0.5, math.inf), 0, "a; too few years leave the shift or its limits open"),
])  # fmt: skip
def test_a_shift_that_stays_open_is_noted(slope, bound, note):
    result = TrendResult(slope=slope, notes=["a"])
    assert trend_steps._note(result, table([1.0, 2.0], [bound, 0])) == note
    expected = [number if math.isfinite(number) else NAN for number in slope]
    assert list(trend_steps._shift(result).values()) == pytest.approx(expected, nan_ok=True)


def test_the_longest_gap_has_a_row():
    record = table([40.0, 40.1, 40.2, 39.0, 38.9], years=[2001, 2002, 2003, 2020, 2021])
    (row,) = trend_steps._at_gap(record)
    assert (row["moment"], row["at"], row["years_before"], row["years_after"]) == ("long gap", "2020-07-15", 3, 2)
    assert trend_steps._at_gap(table(noisy(5))) == []


def verdicts(p, **more):
    columns = {"p": p, "s": 5, "method": "seasonal", "note": "", "course": "", "slope_m_per_year": 0.1, **more}
    return trends._with_verdicts(
        pd.DataFrame({name: np.broadcast_to(np.array(v), len(p)) for name, v in columns.items()})
    )


def test_verdicts_of_a_table_depend_on_all_of_its_wells():
    """Benjamini and Hochberg (1995), held to a library in the tests of ``gwnet.hydro``."""
    p = [0.04, NAN, 0.03, 0.001, 0.9]
    found = verdicts(p, s=[5, 0, -5, -7, 3], note=["a", "b", "", "c", "d"])
    adjusted = adjusted_p_values(np.array(p))
    assert found["p_adjusted"].tolist() == pytest.approx(adjusted.tolist(), nan_ok=True)
    assert found["wells_adjusted"].tolist() == [4, 0, 4, 4, 4]
    assert found["direction"].tolist() == [
        "no significant trend", "insufficient data", "no significant trend", "falling", "no significant trend",
    ]  # fmt: skip
    words = "significant by itself (p {}), not after allowing for 4 wells"
    assert found["note"].tolist() == ["a; " + words.format("0.04"), "b", words.format("0.03"), "c", "d"]


@pytest.mark.parametrize(
    ("p", "is_noted"), [([0.05, 0.9], True), ([0.0501, 0.9], False), ([0.05], False), ([0.025, 0.9], False)]
)
def test_a_verdict_that_the_other_wells_change_is_noted(p, is_noted):
    """Probabilities of 0.05 and, times two wells, of 0.05 are significant."""
    assert bool(verdicts(p)["note"].iloc[0]) == is_noted


@pytest.mark.parametrize(("p", "more", "direction"), [
    (0.05, {"s": 5}, "rising"), (0.0501, {"s": 5}, "no significant trend"), (0.05, {"s": -5}, "falling"),
    (0.05, {"s": 0}, "falling"),
    (0.05, {"s": 5, "method": "step"}, "higher after"), (0.05, {"s": -5, "method": "step"}, "lower after"),
    (0.05, {"s": NAN, "method": "regression", "slope_m_per_year": 0.1}, "rising"),
    (0.05, {"s": 5, "method": "regression", "slope_m_per_year": -0.1}, "falling"),
    (0.05, {"s": 5, "slope_m_per_year": -0.1}, "rising"),
    (0.05, {"course": "fell until 2010, rising since"}, "fell until 2010, rising since"),
    (0.9, {"course": "fell until 2010, rising since"}, "fell until 2010, rising since"),
    (0.05, {"course": None}, "rising"),
])  # fmt: skip
def test_directions(p, more, direction):
    assert verdicts([p], **more)["direction"].tolist() == [direction]


def test_numbers_of_a_result():
    result = TrendResult(s=-5, var_s=28.0, tau=-0.5, z=-0.0, p_independent=0.4, p=0.5, slope=(0.1, -math.inf, 0.3))
    found = trends.numbers(result)
    assert list(found.values()) == pytest.approx([-5, 28.0, -0.5, 0.0, 0.4, 0.5, 0.1, NAN, 0.3], nan_ok=True)
    assert math.copysign(1.0, found["z"]) == 1.0
    step = trends.numbers(TrendResult(s=3.0, slope=(1.0, 0.5, 1.5), step=True))
    assert np.isnan([step[name] for name in step if name.startswith("slope")]).all()


@pytest.mark.parametrize(("days", "seasons", "differ"), [
    (["2001-01-31", "2002-03-01"], 4, False), (["2001-01-31", "2002-03-01"], 12, True),
    (["2001-03-31", "2002-04-01"], 4, True), (["2001-12-31", "2002-10-01"], 4, False),
    (["2001-02-01", "2001-05-01", "2002-02-01"], 4, True), (["2001-02-01", "2001-05-01", "2002-06-01", "2002-01-01"], 4, False),
    (["2001-02-01", "2001-11-01", "2002-02-01", "2002-11-01"], 4, False), (["1999-11-15", "2013-11-15"], 4, False),
    (["1968-02-01", "1969-01-01", "1969-02-01"], 4, False), (["2001-02-01", "2001-05-01"], 4, False),
])  # fmt: skip
def test_years_of_different_seasons(days, seasons, differ):
    record = table([1.0, 2.0], days=sorted(days))
    assert trends._seasons_differ(record, seasons) == differ


@pytest.mark.parametrize(("method", "seasons", "parts"), [("seasonal", 4, 4), ("seasonal", 12, 12), ("kendall", 12, 1)])
def test_parts_of_the_year(method, seasons, parts):
    assert trends.parts_of_year(method, seasons) == parts


@pytest.mark.parametrize(("method", "seasons", "words"), [
    ("all", 4, "Method 'all' tests the values of single wells; expected kendall or seasonal here."),
    ("regression", 4, "Method 'regression' tests the values of single wells"),
    ("pearson", 4, "There is no method 'pearson' for trends; expected kendall or seasonal."),
    ("kendall", 6, "A year cannot be divided into 6 seasons; expected 12 or 4."),
])  # fmt: skip
def test_methods_and_seasons_that_are_not_known(method, seasons, words):
    with pytest.raises(SettingsError, match=words.replace(".", r"\.")):
        trends.parts_of_year(method, seasons)
