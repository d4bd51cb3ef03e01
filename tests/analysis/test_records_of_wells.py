"""Records as trend tests take them: times, lines through them, gaps, and several side by side; constructed.

Years have 365.25 days; limits are project defaults as documented: a third of the record and a year and a half, eight
values.
"""

import numpy as np
import pandas as pd
import pytest
from statsmodels.nonparametric.smoothers_lowess import lowess

from gwnet.analysis.series.trend_records import (
    decimal_years,
    level_of_line,
    longest_gap,
    smooth_line,
    stack_records,
    well_records,
)

from .trend_tables import table

NAN = np.nan


@pytest.mark.parametrize(("day", "year"), [
    ("2000-01-01", 2000 + 0.5 / 365.25), ("1999-12-31", 2000 - 0.5 / 365.25), ("2003-12-31", 2000 + 1460.5 / 365.25),
])  # fmt: skip
def test_days_as_decimal_years(day, year):
    assert decimal_years(np.array([day], dtype="datetime64[D]"))[0] == pytest.approx(year, rel=1e-15)


def test_one_value_a_season_of_a_year_with_its_day_and_side():
    rows = [
        ("S", "B", "2003-05-10", 40.0, 40.0), ("S", "B", "2003-05-20", 41.0, 41.0), ("S", "A", "2005-11-15", 39.0, 39.0),
        ("S", "B", "2001-02-10", -np.inf, 38.0), ("S", "B", "2003-12-31", 44.0, np.inf), ("T", "B", "2003-05-11", 7.0, 7.0),
    ]  # fmt: skip
    used = pd.DataFrame(rows, columns=["site", "well", "day", "low", "high"]).assign(source="manual")
    used["day"] = pd.to_datetime(used["day"])
    memory = {("S", "B"): "of others"}
    found = well_records(used, 4, memory)
    assert sorted(found) == [("S", "A"), ("S", "B"), ("T", "B")]
    own = found["S", "B"]
    assert (own.site, own.well, own.years.tolist(), own.memory) == ("S", "B", [2001, 2003], "of others")
    assert own.values == pytest.approx(np.array([[38.0, NAN, NAN, NAN], [NAN, 40.5, NAN, 44.0]]), nan_ok=True)
    assert own.bound.tolist() == [[-1, 0, 0, 0], [0, 0, 0, 1]]
    when = decimal_years(np.array(["2001-02-10", "2003-05-15", "2003-12-31"], dtype="datetime64[D]"))
    assert own.when[[0, 1, 1], [0, 1, 3]] == pytest.approx(when, rel=1e-15)
    assert np.isnan(own.when).sum() == 5
    assert own.days.astype(str).tolist() == ["2001-02-10", "2003-05-10", "2003-05-20", "2003-12-31"]
    assert (own.count, own.bounds) == (3, 2)
    assert (found["T", "B"].memory, well_records(used, 4)["S", "B"].memory) == (None, None)
    assert well_records(used.iloc[:0], 4) == {}


@pytest.mark.parametrize(("values", "bound"), [
    # medians of values less 0.5 a year, each in the middle of its season; of bounds the middle of two ends
    ([[40.0, 42.0], [41.0, NAN], [43.0, 41.5]], 0),
    ([40.0, 39.0, 38.0, 37.0, 37.0], [0, 0, 0, -1, -1]),
    ([40.0, 39.0, 38.0, 37.0], [0, 0, -1, -1]),
    # bounds above the numbers: the lowest end is the third number, the highest a bound
    ([40.0, 39.0, 38.0, 41.0, 41.0], [0, 0, 0, -1, -1]),
    ([40.0, 39.0, 38.0, 37.0, 36.5], [0, 0, 0, 1, 1]),
    ([40.0, 39.0, 38.0, 37.0], [0, 0, 1, 1]),
    ([40.0, 39.0, 38.0, 37.0], [0, 1, 1, 1]),
    ([40.0, 39.0, 38.0, 37.0], [-1, -1, -1, 1]),
    ([40.0, 39.0, 38.0, 37.0], [-1, -1, 1, 1]),
])  # fmt: skip
def test_the_level_of_a_line_through_the_middle_of_a_record(values, bound):
    record = table(values, bound)
    seasons = record.values.shape[1]
    lows, highs, plain = [], [], []
    for i, year in enumerate(record.years):
        for k in range(seasons):
            if not np.isnan(record.values[i, k]):
                straight = record.values[i, k] - 0.5 * (year + (k + 0.5) / seasons)
                lows.append(-np.inf if record.bound[i, k] < 0 else straight)
                highs.append(np.inf if record.bound[i, k] > 0 else straight)
                plain.append(straight)
    ends = [end for end in (np.median(lows), np.median(highs)) if np.isfinite(end)]
    middle = np.mean(ends) if ends else np.median(plain)
    # 1 March 2004 is the 61st day of its year: 60 days after its beginning
    found = level_of_line(record, 0.5, np.datetime64("2004-03-01"))
    assert found == pytest.approx(middle + 0.5 * (2004 + 60 / 365.25), rel=1e-12)
    assert level_of_line(record, 0.5, np.datetime64("1969-01-01")) == pytest.approx(middle + 0.5 * 1969.0, rel=1e-12)


def test_a_smooth_line_is_lowess_of_the_numbers_in_the_middle_of_their_seasons():
    """Cleveland (1979), two thirds of the values in each fit; against statsmodels."""
    values = np.array([[40.0, 41.5], [40.2, 41.0], [NAN, 40.5], [39.0, 40.1], [38.8, 39.0], [38.0, 38.9]])
    days, line = smooth_line(table(values, np.array([[0, 0], [0, 0], [0, 0], [0, 0], [0, 0], [0, -1]])))
    when = np.array([2001.25, 2001.75, 2002.25, 2002.75, 2003.75, 2004.25, 2004.75, 2005.25, 2005.75, 2006.25])
    numbers = np.delete(values[~np.isnan(values)], -1)
    assert days == pytest.approx((when - 1970.0) * 365.25, rel=1e-12)
    assert line == pytest.approx(lowess(numbers, when, frac=2 / 3, it=3, delta=0.0, return_sorted=False), abs=0.05)
    assert smooth_line(table(np.arange(8.0))) is not None
    assert smooth_line(table(np.arange(8.0), [0] * 7 + [-1])) is None


@pytest.mark.parametrize(("days", "gap"), [
    # a third of the record, 1,000 of 3,000 days
    ([0, 1000, 1999, 3000], (2, 3)), ([0, 1000, 2000, 3000], None), ([0, 1000, 2001, 3000], (1, 2)),
    ([0, 800, 900, 1000, 2000, 2001], (3, 4)),
    # a year and a half of 365.25 days: 547.875
    ([0, 200, 747], None), ([0, 200, 748], (1, 2)), ([0, 548], (0, 1)), ([0, 547], None), ([7], None),
    # the first of the longest
    ([0, 700, 1400], (0, 1)),
])  # fmt: skip
def test_the_longest_gap(days, gap):
    days = np.datetime64("2001-06-01") + np.array(days)
    years = np.unique(days.astype("datetime64[Y]").astype(int) + 1970)
    found = longest_gap(table(np.zeros(years.size), years=years, days=days))
    if gap is None:
        assert found is None
    else:
        assert (found.start, found.end) == (days[gap[0]], days[gap[1]])
        assert found.first_after == np.flatnonzero(years == days[gap[1]].astype("datetime64[Y]").astype(int) + 1970)[0]


def test_records_side_by_side():
    first = table([[1.0, 2.0], [3.0, NAN]], [[0, -1], [0, 0]], years=[2001, 2004])
    second = table([[5.0, 6.0], [7.0, 8.0]], [[0, 0], [1, 0]], years=[2002, 2004])
    years, values, bound = stack_records([first, second])
    assert years.tolist() == [2001, 2002, 2004]
    expected = [[1.0, 2.0, NAN, NAN], [NAN, NAN, 5.0, 6.0], [3.0, NAN, 7.0, 8.0]]
    assert values == pytest.approx(np.array(expected), nan_ok=True)
    assert bound.tolist() == [[0, -1, 0, 0], [0, 0, 0, 0], [0, 0, 1, 0]]
