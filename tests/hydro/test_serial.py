"""Serial correlation: against pyMannKendall and the definitions on random series."""

import math

import numpy as np
import pymannkendall
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from gwnet.errors import AnalysisError, ShapeError, TooFewLevelsError
from gwnet.hydro.trends.kendall import mann_kendall
from gwnet.hydro.trends.serial import (
    autocorrelation,
    hamed_rao,
    pre_whitened,
    rank_von_neumann,
    trend_free_pre_whitened,
    yue_wang,
)

SEEDS = st.integers(0, 2**31)


def made(seed, gaps):
    """Return a series with trend, serial correlation and, if asked for, gaps and rounding."""
    random = np.random.default_rng(seed)
    count = int(random.integers(8, 80))
    noise = random.normal(size=count)
    for i in range(1, count):
        noise[i] += 0.5 * noise[i - 1]
    series = 100.0 + 0.02 * np.arange(count) + noise
    if gaps:
        series = np.round(series, 1)
        series[random.random(count) < 0.15] = math.nan
    return series


def same(found, other):
    assert found.score == other.s
    assert found.variance == pytest.approx(float(other.var_s), rel=1e-8)
    if found.variance > 0:
        assert found.z == pytest.approx(float(other.z), rel=1e-8)
        assert found.p_value == pytest.approx(float(other.p), rel=1e-6, abs=1e-14)


def theirs(function, series, lag):
    """Return the other outcome; a variance below 0 makes its root complain."""
    with np.errstate(invalid="ignore"):
        return function(series, lag=lag)


@settings(max_examples=120, deadline=None)
@given(SEEDS, st.booleans(), st.sampled_from([None, 1, 3]))
def test_corrected_variances_equal_pymannkendall(seed, gaps, lags):
    series = made(seed, gaps)
    assume(np.isfinite(series).sum() > 5)
    same(hamed_rao(series, lags=lags), theirs(pymannkendall.hamed_rao_modification_test, series, lags))
    same(yue_wang(series, lags=lags), theirs(pymannkendall.yue_wang_modification_test, series, lags))


@settings(max_examples=120, deadline=None)
@given(SEEDS, st.booleans())
def test_pre_whitening_equals_pymannkendall(seed, gaps):
    """Rounded values may tie after whitening but for the last bit; the other test has them unrounded."""
    series = made(seed, gaps=False)
    if gaps:
        series[2::7] = math.nan
    same(pre_whitened(series), pymannkendall.pre_whitening_modification_test(series))
    same(trend_free_pre_whitened(series), pymannkendall.trend_free_pre_whitening_modification_test(series))


@settings(deadline=None)
@given(arrays(float, st.integers(4, 40), elements=st.floats(-100, 100).map(lambda value: round(value, 1))))
def test_autocorrelation_by_its_definition(series):
    assume(np.ptp(series) > 0)
    departure = series - series.mean()
    for lag, found in enumerate(autocorrelation(series, 3)):
        expected = (departure[lag:] * departure[: series.size - lag]).sum() / (departure**2).sum()
        assert found == pytest.approx(expected, abs=1e-10)


def test_long_series_are_correlated_by_fourier_transform():
    series = np.cumsum(np.random.default_rng(4).normal(size=3000)) + 100.0
    departure = series - series.mean()
    found = autocorrelation(series, 2999)
    for lag in (1, 17, 365, 2000, 2999):
        expected = (departure[lag:] @ departure[: 3000 - lag]) / (departure @ departure)
        assert found[lag] == pytest.approx(expected, abs=1e-12)


def test_a_gap_stays_in_its_place():
    """Departures 1, −1, gap, 1, −1: the neighbours 1 −1 and 1 −1 give −2 of 4; across the gap at lag 2 comes −1."""
    assert autocorrelation([2.0, 0.0, math.nan, 2.0, 0.0], 2).tolist() == [1.0, -0.5, -0.25]


def test_values_that_do_not_vary_have_no_autocorrelation():
    assert np.isnan(autocorrelation([3.0, 3.0, 3.0], 1)).all()
    line = np.arange(8) * 0.5
    assert hamed_rao(line).variance_ratio == 1.0
    assert hamed_rao(line).p_value == mann_kendall(line, method="normal").p_value
    assert pre_whitened([4.0] * 6).p_value == 1.0


def test_positive_correlation_makes_a_trend_less_sure():
    random = np.random.default_rng(11)
    series = np.zeros(60)
    for i in range(1, 60):
        series[i] = 0.8 * series[i - 1] + random.normal()
    found = hamed_rao(series)
    assert found.lag1 > 0.4
    assert found.variance_ratio > 1
    assert found.p_value > mann_kendall(series).p_value
    assert rank_von_neumann(series) < 1.0


def test_the_sum_over_all_lags_is_minus_one_half():
    assert autocorrelation([3.0, 1.0, 4.0, 1.0, 5.0], 4)[1:].sum() == pytest.approx(-0.5)
    assert yue_wang([3.0, 1.0, 4.0, 1.5, 5.0, 9.0]).variance_ratio < 1


def test_a_variance_that_is_not_positive_gives_no_probability():
    found = yue_wang([0.0, 5.0, 0.5, 5.5, 1.0, 6.0, 1.5, 6.5], lags=1)
    assert found.variance_ratio < 0
    assert math.isnan(found.z)
    assert math.isnan(found.p_value)


def test_refusals_say_what_was_found():
    with pytest.raises(AnalysisError, match="lag is 4; expected 0 to 3"):
        autocorrelation([1, 2, 3, 4], 4)
    with pytest.raises(ShapeError, match="one-dimensional"):
        autocorrelation([[1, 2]], 1)
    with pytest.raises(TooFewLevelsError, match="found 1"):
        rank_von_neumann([1.0, math.nan])
    with pytest.raises(TooFewLevelsError, match="3 values or more; found 2"):
        hamed_rao([1.0, 2.0])
    with pytest.raises(AnalysisError, match="level is 5"):
        hamed_rao([1.0, 2.0, 3.0], alpha=5)
