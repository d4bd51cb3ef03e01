"""Statistics of calendar months, envelopes of days, records and seasons; constructed, and against NumPy and pandas."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gwnet.errors import AnalysisError, ShapeError
from gwnet.hydro.seasons.months import PERCENTS, daily_envelope, monthly_statistics, records

SERIES = st.lists(
    st.tuples(st.integers(1, 12), st.integers(0, 400).map(lambda n: n / 100)), min_size=1, max_size=120
).map(lambda rows: (np.array([row[0] for row in rows]), np.array([row[1] for row in rows])))


@pytest.mark.slow
@given(series=SERIES)
def test_statistics_of_a_month_are_those_of_its_values(series):
    month, value = series
    found = monthly_statistics(month, value, least_count=3)
    for m in range(1, 13):
        own = value[month == m]
        assert found.count[m - 1] == own.size
        if not own.size:
            assert np.isnan([found.minimum[m - 1], found.maximum[m - 1], found.mean[m - 1]]).all()
            continue
        assert (found.minimum[m - 1], found.maximum[m - 1]) == (own.min(), own.max())
        assert found.mean[m - 1] == pytest.approx(own.mean())
        if own.size >= 3:
            expected = np.percentile(own, PERCENTS, method="weibull")
            assert found.percentile[m - 1] == pytest.approx(expected, abs=1e-12)
        else:
            assert np.isnan(found.percentile[m - 1]).all()


def test_a_dry_month_makes_bounds_and_no_mean():
    value, bound = [10.0, 9.0, 11.0, 12.0], [0, -1, 0, 0]
    found = monthly_statistics([4, 4, 4, 4], value, bound=bound, least_count=4)
    assert (found.minimum[3], found.minimum_bound[3]) == (9.0, -1)
    assert (found.maximum[3], found.maximum_bound[3]) == (12.0, 0)
    assert found.percentile_bound[3].tolist() == [-1, -1, 0, 0, 0]
    assert found.percentile[3][2] == 10.5
    assert np.isnan(found.mean[3])
    assert found.bound_count[3] == 1


def test_an_envelope_of_daily_values_takes_one_value_a_year():
    days = pd.date_range("2001-01-01", "2012-12-31")
    value = days.year - 2000.0 + 0.1 * np.sin(np.arange(len(days)))
    found = daily_envelope(days.year, np.minimum(days.day_of_year, 365), value, percent=[50], half_window_days=3)
    assert (found.years == 12).all()
    assert found.percentile[:, 0] == pytest.approx(np.full(365, 6.5), abs=0.1)


def test_an_envelope_reaches_over_the_turn_of_the_year():
    found = daily_envelope([2001, 2002, 2003], [364, 2, 1], [1.0, 2.0, 3.0], percent=[0, 100], least_years=2)
    assert found.years[0] == 2  # 2002 with the last days of 2001, and 2003
    assert found.percentile[0].tolist() == [1.5, 3.0]
    assert found.years[364] == 2  # 2001 with the first days of 2002, and 2002 with those of 2003
    assert np.isnan(found.percentile[180]).all()


def test_an_envelope_equals_the_windows_cut_out_one_by_one():
    random = np.random.default_rng(4)
    days = pd.date_range("2001-01-01", "2013-12-31")[random.random(4748) < 0.3]
    days = days[~((days.month == 2) & (days.day == 29))]
    value = random.normal(0, 1, len(days))
    number = np.where(days.is_leap_year & (days.month > 2), days.day_of_year - 1, days.day_of_year)
    found = daily_envelope(days.year, number, value, percent=[25, 50], half_window_days=5, least_years=5)
    place = (days.year - 2001) * 365 + number
    for day in (1, 59, 200, 365):
        own = [value[np.abs(place - (k * 365 + day)) <= 5] for k in range(13)]
        medians = [np.median(one) for one in own if one.size]
        assert found.years[day - 1] == len(medians)
        assert found.percentile[day - 1] == pytest.approx(np.percentile(medians, [25, 50], method="weibull"))


@given(value=st.lists(st.integers(0, 30).map(float), min_size=1, max_size=20))
def test_records_of_numbers_are_the_extremes_at_their_first_place(value):
    found = records(value)
    assert (found.highest, found.lowest) == (max(value), min(value))
    assert (found.highest_at, found.lowest_at) == (value.index(max(value)), value.index(min(value)))
    assert (found.highest_bound, found.lowest_bound) == (0, 0)


@pytest.mark.parametrize(
    ("value", "bound", "lowest", "highest"),
    [
        ([41.0, 40.0, 42.0], [0, -1, 0], (40.0, 1, -1), (42.0, 2, 0)),
        ([41.0, 41.5, 42.0], [0, -1, 0], (41.0, 0, -1), (42.0, 2, 0)),  # dry above a number: lower or not
        ([41.0, 43.0, 42.0], [0, -1, 0], (41.0, 0, -1), (42.0, 2, 1)),
        ([41.0, 43.0, 42.0], [0, 1, 0], (41.0, 0, 0), (43.0, 1, 1)),
        ([41.0, 43.0], [-1, -1], (41.0, 0, -1), (43.0, 1, -1)),
    ],
)
def test_records_with_bounds(value, bound, lowest, highest):
    found = records(value, bound=bound)
    assert (found.lowest, found.lowest_at, found.lowest_bound) == lowest
    assert (found.highest, found.highest_at, found.highest_bound) == highest


def test_no_records_without_values():
    found = records([np.nan, np.nan])
    assert np.isnan([found.highest, found.lowest]).all()
    assert (found.highest_at, found.lowest_at) == (-1, -1)


@pytest.mark.parametrize(
    ("call", "error"),
    [
        (lambda: monthly_statistics([13], [1.0]), AnalysisError),
        (lambda: monthly_statistics([1, 2], [1.0]), ShapeError),
        (lambda: daily_envelope([2001], [366], [1.0]), AnalysisError),
        (lambda: daily_envelope([2001], [1, 2], [1.0]), ShapeError),
        (lambda: daily_envelope([2001], [1], [1.0], half_window_days=200), AnalysisError),
        (lambda: records([[1.0]]), ShapeError),
    ],
)
def test_what_makes_no_sense_is_refused(call, error):
    with pytest.raises(error):
        call()
