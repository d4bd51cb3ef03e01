"""Correction for autocorrelation: against pyMannKendall and the definitions on random series."""

import math

import numpy as np
import pymannkendall
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from gwnet.errors import AnalysisError, ShapeError, TooFewLevelsError
from gwnet.hydro.trends.hamed_rao import autocorrelation, hamed_rao
from gwnet.hydro.trends.kendall import mann_kendall
from gwnet.hydro.trends.theil_sen import theil_sen

SEEDS = st.integers(0, 2**31)


def corrected(values):
    """Return the correction of a series at even steps, and its plain test."""
    plain = mann_kendall(values, method="normal")
    residuals = values - theil_sen(values).slope * np.arange(1, values.size + 1)
    return hamed_rao(residuals, plain.score, plain.variance), plain


def correlated_series(seed, count, correlation=0.5):
    """Return a series with trend and serial correlation."""
    random = np.random.default_rng(seed)
    noise = random.normal(size=count)
    for i in range(1, count):
        noise[i] += correlation * noise[i - 1]
    return 100.0 + 0.02 * np.arange(count) + noise


@settings(max_examples=120, deadline=None)
@given(SEEDS, st.integers(8, 80), st.booleans())
def test_the_corrected_variance_equals_that_of_pymannkendall(seed, count, ties):
    series = correlated_series(seed, count)
    if ties:
        series = np.round(series, 1)
    with np.errstate(invalid="ignore"):
        other = pymannkendall.hamed_rao_modification_test(series)
    correction, plain = corrected(series)
    assert plain.score == other.s
    assert plain.variance * correction.ratio == pytest.approx(float(other.var_s), rel=1e-8)
    if correction.ratio > 0:
        assert correction.z == pytest.approx(float(other.z), rel=1e-8)
        assert correction.p_value == pytest.approx(float(other.p), rel=1e-6, abs=1e-14)


@settings(deadline=None)
@given(arrays(float, st.integers(4, 40), elements=st.floats(-100, 100).map(lambda value: round(value, 1))))
def test_autocorrelation_by_its_definition(series):
    assume(np.ptp(series) > 0)
    departure = series - series.mean()
    for lag, value in enumerate(autocorrelation(series)):
        expected = (departure[lag:] * departure[: series.size - lag]).sum() / (departure**2).sum()
        assert value == pytest.approx(expected, abs=1e-10)


def test_long_series_are_correlated_by_fourier_transform():
    series = np.cumsum(np.random.default_rng(4).normal(size=3000)) + 100.0
    departure = series - series.mean()
    correlations = autocorrelation(series)
    assert correlations.size == 3000
    for lag in (1, 17, 365, 2000, 2999):
        expected = (departure[lag:] @ departure[: 3000 - lag]) / (departure @ departure)
        assert correlations[lag] == pytest.approx(expected, abs=1e-12)


def test_a_gap_stays_in_its_place():
    """Departures 1, −1, gap, 1, −1: the neighbours 1 −1 and 1 −1 give −2 of 4; across the gap at lag 2 comes −1."""
    assert autocorrelation([2.0, 0.0, math.nan, 2.0, 0.0])[:3].tolist() == [1.0, -0.5, -0.25]


def test_values_that_do_not_vary_have_no_autocorrelation():
    assert np.isnan(autocorrelation([3.0, 3.0, 3.0])).all()
    correction, plain = corrected(np.arange(8) * 0.5)
    assert (correction.ratio, correction.lags) == (1.0, 0)
    assert math.isnan(correction.lag1)
    assert correction.p_value == plain.p_value


def test_positive_correlation_makes_a_trend_less_sure():
    correction, plain = corrected(correlated_series(11, 60, 0.8))
    assert correction.lag1 > 0.4
    assert correction.ratio > 1
    assert correction.p_value > plain.p_value


def test_the_sum_over_all_lags_is_minus_one_half():
    assert autocorrelation([3.0, 1.0, 4.0, 1.0, 5.0])[1:].sum() == pytest.approx(-0.5)


def test_only_lags_beyond_chance_count():
    """Of ranks 1 to 6 in turns high and low r_1 = −0.5 is within 1.96/√6 = 0.80 but not within 0.67/√6 = 0.28."""
    residuals = [4.0, 1.0, 5.0, 2.0, 6.0, 3.0]
    assert hamed_rao(residuals, 1, 28.0).lags == 0
    assert hamed_rao(residuals, 1, 28.0, alpha=0.5).lags > 0


def test_a_variance_that_is_not_positive_gives_no_probability():
    correction = hamed_rao([8.0, 0.0, 10.0, 2.0, 6.0, 7.0, 1.0, 9.0, 5.0, 3.0, 11.0, 4.0], 10, 200.0)
    assert (correction.lag1, correction.lags) == (pytest.approx(-0.701, abs=1e-3), 1)
    assert correction.ratio < 0
    assert math.isnan(correction.z)
    assert math.isnan(correction.p_value)


def test_refusals_say_what_was_found():
    with pytest.raises(ShapeError, match="one-dimensional"):
        autocorrelation([[1, 2]])
    with pytest.raises(TooFewLevelsError, match="found 1"):
        autocorrelation([1.0, math.nan])
    with pytest.raises(TooFewLevelsError, match="three values or more; found 2"):
        hamed_rao([1.0, 2.0], 1, 1.0)
    with pytest.raises(AnalysisError, match="level is 5"):
        hamed_rao([1.0, 2.0, 3.0], 3, 3.0, alpha=5)
