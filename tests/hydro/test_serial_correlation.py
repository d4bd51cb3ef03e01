"""SerialCorrelation: exact variances of S by simulation and by summing over all pairs of pairs; the correction for bias."""

import math

import numpy as np
import pytest

from gwnet.errors import AnalysisError
from gwnet.hydro.trends.serial_correlation import (
    corrected_lag1,
    estimate_serial_correlation,
    segments_ratio,
    variance_ratio,
)


def autoregressive(random, rows, count, correlation):
    made = np.empty((rows, count))
    made[:, 0] = random.normal(size=rows)
    for k in range(1, count):
        made[:, k] = correlation * made[:, k - 1] + math.sqrt(1 - correlation**2) * random.normal(size=rows)
    return made


def scores(series):
    first, second = np.triu_indices(series.shape[1], 1)
    return np.sign(series[:, second] - series[:, first]).sum(axis=1)


def pairs_of_pairs(count, correlation):
    """Return the variance of S by its definition: the covariance of the signs of all pairs of pairs."""
    first, second = np.triu_indices(count, 1)

    def carried(a, b):
        return correlation ** np.abs(a - b)

    i, j, k, m = first[:, None], second[:, None], first[None], second[None]
    shared = carried(j, m) - carried(j, k) - carried(i, m) + carried(i, k)
    spread = np.sqrt(2 - 2 * carried(first, second))
    return 2 / np.pi * np.arcsin(np.clip(shared / (spread[:, None] * spread), -1, 1)).sum()


@pytest.mark.parametrize("count", [3, 8, 20])
@pytest.mark.parametrize("correlation", [0.05, 0.5, 0.95])
def test_the_ratio_is_the_sum_over_all_pairs_of_pairs(count, correlation):
    """0.05, 0.5 and 0.95 are correlations at which ratios are kept."""
    independent = count * (count - 1) * (2 * count + 5) / 18
    assert variance_ratio(count, correlation) == pytest.approx(pairs_of_pairs(count, correlation) / independent)


@pytest.mark.parametrize(
    ("count", "correlation"), [(60, 0.5), (60, 0.9), pytest.param(90, 0.5, marks=pytest.mark.slow)]
)
def test_beyond_what_is_summed_the_ratio_is_that_of_all_pairs_within_what_is_stated(count, correlation):
    independent = count * (count - 1) * (2 * count + 5) / 18
    exact = pairs_of_pairs(count, correlation) / independent
    assert variance_ratio(count, correlation) == pytest.approx(exact, rel=0.03)


@pytest.mark.parametrize("correlation", [0.05, 0.5, 0.9])
def test_the_ratio_of_an_endless_series_is_its_limit(correlation):
    """The limit 1 + 2 Σ ρ_S(k), with Spearman's correlation (6/π) arcsin(ρ^k/2) of a normal series (Pearson, 1907)."""
    lag = np.arange(1.0, 3000.0)
    limit = 1.0 + 12.0 / np.pi * np.arcsin(correlation**lag / 2.0).sum()
    assert variance_ratio(10**9, correlation) == pytest.approx(limit, rel=1e-6)


@pytest.mark.slow
@pytest.mark.parametrize("count", [10, 40, 100])
@pytest.mark.parametrize("correlation", [0.2, 0.6, 0.8])
def test_the_ratio_is_that_of_simulated_series(count, correlation):
    found = scores(autoregressive(np.random.default_rng(count), 4000, count, correlation))
    independent = count * (count - 1) * (2 * count + 5) / 18
    # the variance of 4,000 draws is uncertain by 2.2 % at one standard deviation
    assert variance_ratio(count, correlation) == pytest.approx(found.var() / independent, rel=0.1)


def test_no_correlation_and_two_values_widen_nothing():
    assert variance_ratio(30, 0.0) == 1.0
    assert variance_ratio(2, 0.5) == 1.0
    with pytest.raises(AnalysisError, match=r"0\.96"):
        variance_ratio(30, 0.96)


@pytest.mark.parametrize("correlation", [0.0, 0.4])
def test_the_correction_takes_the_bias_away(correlation):
    """Residuals about a fitted line lose about (2 + 4 ρ)/n of their lag-1 correlation (Marriott and Pope, 1954)."""
    count, time = 60, np.arange(60)
    series = autoregressive(np.random.default_rng(1), 2000, count, correlation)
    line = np.polynomial.polynomial.polyfit(time, series.T, 1)
    residual = series - (line[0][:, None] + line[1][:, None] * time)
    lag1 = (residual[:, 1:] * residual[:, :-1]).sum(axis=1) / (residual**2).sum(axis=1)
    assert lag1.mean() < correlation - 0.02
    assert (count * lag1.mean() + 2) / (count - 4) == pytest.approx(correlation, abs=0.015)
    assert corrected_lag1(float(lag1.mean()), count) == pytest.approx(correlation, abs=0.015)


def test_the_correction_stays_within_what_a_record_can_show():
    assert corrected_lag1(-0.5, 20) == 0.0
    assert corrected_lag1(0.9, 12) == 0.6
    assert corrected_lag1(0.9, 40) == pytest.approx(0.8)
    assert corrected_lag1(0.99, 1000) == 0.95
    assert corrected_lag1(math.nan, 20) == 0.0


def test_too_few_years_are_taken_as_persistent_unless_they_do_not_vary():
    few = estimate_serial_correlation(np.array([1.0, -1.0, 1.0, -1.0]))
    assert few.assumed
    assert few.corrected == 0.4
    assert few.variance_ratio == variance_ratio(4, 0.4)
    enough = estimate_serial_correlation(np.array([1.0, -1.0, 1.0, -1.0, 1.0, -1.0]))
    assert not enough.assumed
    assert enough.variance_ratio == 1.0
    assert math.isnan(estimate_serial_correlation(np.zeros(9)).lag1)


def test_two_segments_of_simulated_series_vary_as_the_ratio_says():
    years = np.array([0.0, 1, 2, 3, 4, 10, 11, 12, 13])
    series = autoregressive(np.random.default_rng(3), 6000, 14, 0.6)[:, years.astype(int)]
    ranks = series.argsort(axis=1).argsort(axis=1)
    difference = ranks[:, 5:].mean(axis=1) - ranks[:, :5].mean(axis=1)
    independent = (9 * 10 / 12) * (1 / 5 + 1 / 4)
    assert segments_ratio(years, 5, 0.6) == pytest.approx(difference.var() / independent, rel=0.1)
    assert segments_ratio(years, 5, 0.0) == pytest.approx(1.0)
