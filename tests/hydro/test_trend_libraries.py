"""Random series of 4 to 5,000 values, with ties and gaps, against SciPy and pyMannKendall (MIT licence)."""

import numpy as np
import pymannkendall
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from gwnet.hydro.trends.censored_slopes import pair_slopes
from gwnet.hydro.trends.kendall import mann_kendall
from gwnet.hydro.trends.seasonal_kendall import seasonal_kendall
from gwnet.hydro.trends.theil_sen import theil_sen

#: Counts spread evenly over their logarithm, so that most series are short and some have thousands of values.
COUNTS = st.floats(np.log(4), np.log(5000)).map(lambda size: int(np.exp(size)))
SHORTER = st.floats(np.log(4), np.log(1500)).map(lambda size: int(np.exp(size)))
KINDS = st.sampled_from(["noise", "walk", "trend", "tied", "few classes", "season"])
SEEDS = st.integers(0, 2**32 - 1)


def series(count, kind, seed, gaps=False):
    random = np.random.default_rng(seed)
    noise = random.normal(0, 1, count)
    value = {
        "noise": noise,
        "walk": np.cumsum(noise),
        "trend": noise + 3.0 * np.arange(count) / count,
        "tied": np.round(noise, 1),
        "few classes": np.round(noise / 2),
        "season": np.round(np.sin(np.arange(count) / 2) + 0.3 * noise, 2),
    }[kind]
    if gaps:
        value = np.where(random.uniform(size=count) < 0.2, np.nan, value)
        value[random.choice(count, 4, replace=False)] = random.normal(0, 1, 4).round(1)
    return value


@settings(max_examples=150, deadline=None)
@given(COUNTS, KINDS, SEEDS, st.booleans())
def test_kendalltau(count, kind, seed, gaps):
    value = series(count, kind, seed, gaps)
    here = ~np.isnan(value)
    if np.ptp(value[here]) == 0.0:
        return
    found = mann_kendall(value, continuity=False, method="normal")
    other = stats.kendalltau(np.flatnonzero(here), value[here], method="asymptotic")
    assert found.tau_b == pytest.approx(other.statistic, rel=1e-12, abs=1e-15)
    assert found.p_value == pytest.approx(other.pvalue, rel=1e-9)


@pytest.mark.slow
@settings(max_examples=60, deadline=None)
@given(COUNTS, KINDS, SEEDS, st.booleans())
def test_original_test(count, kind, seed, gaps):
    value = series(count, kind, seed, gaps)
    found, other = mann_kendall(value, method="normal"), pymannkendall.original_test(value)
    assert (found.score, found.tau_a) == (other.s, pytest.approx(other.Tau, rel=1e-12))
    assert found.variance == pytest.approx(other.var_s, rel=1e-12)
    assert (found.z, found.p_value) == (pytest.approx(other.z, rel=1e-12), pytest.approx(other.p, rel=1e-9, abs=1e-15))
    assert theil_sen(value).slope == other.slope


@settings(max_examples=100, deadline=None)
@given(SHORTER, KINDS, SEEDS, st.booleans(), st.sampled_from([0.8, 0.95]))
def test_theilslopes(count, kind, seed, gaps, confidence):
    value = series(count, kind, seed, gaps)
    here = np.flatnonzero(~np.isnan(value))
    found = theil_sen(value, confidence=confidence, ranks="rounded")
    other = stats.theilslopes(value[here], here, alpha=confidence)
    assert found.slope == other.slope
    # where a rank lies beyond the slopes SciPy gives the outermost one; here there is no limit then
    assert found.lower in (other.low_slope, -np.inf)
    assert found.upper in (other.high_slope, np.inf)
    assert found.lower == other.low_slope or here.size < 8
    assert found.intercept == pytest.approx(other.intercept, rel=1e-9, abs=1e-9)


@pytest.mark.filterwarnings("ignore:invalid value:RuntimeWarning")  # pyMannKendall divides by a variance of 0
@settings(max_examples=60, deadline=None)
@given(st.integers(3, 40), st.sampled_from([4, 12]), KINDS, SEEDS, st.booleans())
def test_seasonal_tests(years, period, kind, seed, gaps):
    value = series(years * period, kind, seed, gaps)
    table = value.reshape(years, period)
    if ((~np.isnan(table)).sum(axis=0) < 2).any():
        return
    found, other = seasonal_kendall(table), pymannkendall.seasonal_test(value, period=period)
    assert found.score == other.s
    assert found.variance == pytest.approx(other.var_s)
    assert found.z == pytest.approx(other.z) or found.variance == 0.0
    assert pair_slopes(table).limits(0.0)[0] == other.slope
    if not gaps:
        both = pymannkendall.correlated_seasonal_test(value, period=period)
        assert found.variance_correlated == pytest.approx(both.var_s, rel=1e-9, abs=1e-6)
