"""Smooth lines and decompositions: against statsmodels, and by what must hold; constructed."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.nonparametric.smoothers_lowess import lowess as statsmodels_lowess
from statsmodels.tsa.seasonal import STL

from gwnet.errors import SettingsError, ShapeError, TooFewLevelsError
from gwnet.hydro.seasons.smoothing import decompose, fill_gaps, longest_stretch, lowess


def monthly(years=9, seed=3):
    random = np.random.default_rng(seed)
    t = np.arange(12 * years)
    return 40 + 0.01 * t + 0.5 * np.sin(2 * np.pi * t / 12) + random.normal(0, 0.1, t.size)


@pytest.mark.parametrize("robust", [False, True])
def test_a_decomposition_equals_that_of_statsmodels(robust):
    found = decompose(monthly(), 12, robust=robust)
    other = STL(monthly(), period=12, seasonal=13, robust=robust).fit()
    assert np.array_equal(found.trend, other.trend)
    assert np.array_equal(found.seasonal, other.seasonal)
    assert np.array_equal(found.remainder, other.resid)


@given(seed=st.integers(0, 1000), gaps=st.lists(st.integers(1, 106), max_size=20), shift=st.floats(-50, 50))
@settings(max_examples=20)
def test_parts_add_up_whatever_is_missing(seed, gaps, shift):
    value = monthly(seed=seed) + shift
    value[gaps] = np.nan
    found = decompose(value, 12)
    assert found.trend + found.seasonal + found.remainder == pytest.approx(found.observed)
    assert np.array_equal(found.filled, np.isnan(value))
    assert np.array_equal(found.observed[~found.filled], value[~found.filled])


@given(seed=st.integers(0, 100), place=st.integers(14, 90), length=st.integers(1, 8))
@settings(max_examples=30)
def test_a_filled_gap_follows_its_season_and_its_neighbours(seed, place, length):
    value = monthly(seed=seed)
    whole = value.copy()
    value[place : place + length] = np.nan
    filled, where = fill_gaps(value, 12)
    assert where.sum() == length
    assert np.abs(filled - whole)[where].max() < 0.8
    regular = np.tile(np.arange(12.0), 9)
    holed = regular.copy()
    holed[place : place + length] = np.nan
    assert np.array_equal(fill_gaps(holed, 12)[0], regular)


def test_an_outlier_keeps_little_weight_and_stays_in_the_remainder():
    value = monthly()
    value[50] += 5.0
    found = decompose(value, 12)
    assert found.weight[50] < 0.05
    assert found.remainder[50] > 4.0
    assert (decompose(value, 12, robust=False).weight == 1.0).all()


@pytest.mark.parametrize(
    ("values", "longest", "broken", "expected"),
    [
        ([1.0, 2.0, 3.0], 0, False, slice(0, 3)),
        ([np.nan, 1.0, 2.0, np.nan], 0, False, slice(1, 3)),
        ([1.0, np.nan, np.nan, 2.0, 3.0, 4.0], 1, False, slice(3, 6)),
        ([1.0, 2.0, np.nan, 3.0, 4.0], 0, False, slice(3, 5)),
        ([1.0, 2.0, 3.0, 4.0, 5.0], 3, [0, 1, 0, 0, 0], slice(2, 5)),
        ([np.nan, np.nan], 1, False, slice(0, 0)),
    ],
)
def test_the_longest_stretch(values, longest, broken, expected):
    assert longest_stretch(values, longest, broken=broken) == expected


@given(values=st.lists(st.one_of(st.just(np.nan), st.floats(0, 1)), min_size=1, max_size=40), longest=st.integers(0, 4))
def test_no_stretch_has_a_longer_gap_and_none_is_longer(values, longest):
    part = longest_stretch(values, longest)
    chosen = np.array(values)[part]
    holes = "".join("x" if np.isnan(value) else "." for value in chosen)
    assert "x" * (longest + 1) not in holes
    runs = ("".join("x" if np.isnan(value) else "." for value in values)).split("x" * (longest + 1))
    assert len(chosen) == max(len(run.strip("x")) for run in runs)


def test_lowess_equals_statsmodels_in_any_order_and_with_gaps():
    random = np.random.default_rng(1)
    x, y = random.uniform(0, 10, 60), random.normal(0, 1, 60)
    y[7] = np.nan
    found = lowess(x, y, fraction=0.4, robust_steps=2)
    here = ~np.isnan(y)
    other = statsmodels_lowess(y[here], x[here], frac=0.4, it=2, delta=0.0, return_sorted=False)
    assert np.array_equal(found[here], other)
    assert np.isnan(found[7])


@pytest.mark.parametrize(
    ("call", "error"),
    [
        (lambda: decompose(monthly(2), 12), TooFewLevelsError),
        (lambda: decompose(np.append(monthly(), np.nan), 12), TooFewLevelsError),
        (lambda: decompose(monthly(), 12, seasonal_span=4), SettingsError),
        (lambda: fill_gaps([1.0, np.nan, 1.0, np.nan, 1.0], 2), TooFewLevelsError),
        (lambda: lowess([1.0], [1.0, 2.0]), ShapeError),
        (lambda: lowess([1.0, 2.0], [1.0, 2.0], fraction=0.0), SettingsError),
    ],
)
def test_what_cannot_be_done_is_refused(call, error):
    with pytest.raises(error):
        call()
