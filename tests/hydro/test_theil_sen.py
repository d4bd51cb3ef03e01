"""Theil–Sen slope: against all pairs to the last bit, and against SciPy and pyMannKendall on random series."""

import math

import numpy as np
import pymannkendall
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy import stats

from gwnet.errors import AnalysisError, ShapeError, TooFewLevelsError
from gwnet.hydro.trends import theil_sen as module
from gwnet.hydro.trends.slope_ranks import ranked_slopes
from gwnet.hydro.trends.theil_sen import limit_ranks, pairwise_slopes, theil_sen

TIED = st.integers(-3, 3).map(float)
LEVELS = st.floats(-1e3, 1e3, allow_nan=False).map(lambda value: round(value, 2))

#: Ways to make a series of levels; the last is one line, where all slopes differ by rounding alone.
VALUES = {
    "noise": lambda random, n: random.normal(0, 1, n),
    "tied": lambda random, n: random.integers(0, 4, n) * 0.01,
    "rounded": lambda random, n: np.round(random.normal(100, 1, n), 2),
    "walk": lambda random, n: np.cumsum(random.normal(0, 1, n)),
    "line": lambda random, n: np.arange(n) * 0.1,
    "level": lambda random, n: np.full(n, 7.5),
    "far off": lambda random, n: 4e15 + random.integers(0, 4, n).astype(float),
}
TIMES = {
    "steps": lambda random, n: np.arange(n, dtype=float),
    "tied": lambda random, n: np.sort(random.integers(0, n, n)).astype(float),
    "years": lambda random, n: 2000 + np.sort(random.uniform(0, 30, n)),
    "months": lambda random, n: 1990 + np.arange(n) / 12,
    "close": lambda random, n: 2000 + np.cumsum(random.choice([1e-9, 1.0], n)),
    # so large beside their differences that rounding spoils every bound of the slopes
    "far off": lambda random, n: 1e15 + np.arange(n),
    "two": lambda random, n: np.repeat([0.0, 1.0], [n - 1, 1]),
}


@pytest.mark.parametrize("times", TIMES)
@pytest.mark.parametrize("values", VALUES)
@pytest.mark.parametrize("count", [3, 20, 150, 700])
def test_counted_slopes_are_those_of_all_pairs_to_the_last_bit(values, times, count):
    random = np.random.default_rng(count)
    value, when = VALUES[values](random, count), TIMES[times](random, count)
    order = np.lexsort((value, when))
    value, when = value[order], when[order]
    slopes = np.sort(pairwise_slopes(value, when))
    places = sorted({0, slopes.size // 50, slopes.size // 3, slopes.size // 2, slopes.size - 1})
    assert ranked_slopes(value, when, slopes.size, places) == {place: slopes[place] for place in places}


@pytest.mark.slow
@settings(deadline=None)
@given(
    st.integers(2, 120).flatmap(lambda n: st.tuples(*[arrays(float, n, elements=TIED | LEVELS)] * 2)),
    st.sampled_from([0.5, 0.9, 0.95, 0.9999]),
    st.sampled_from(["interpolated", "rounded"]),
)
def test_both_ways_agree(pair, confidence, ranks):
    values, times = pair
    assume(np.unique(times).size > 1)
    given_all = theil_sen(values, times, confidence=confidence, ranks=ranks)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "ALL_PAIRS", 0)
        assert theil_sen(values, times, confidence=confidence, ranks=ranks) == given_all


@pytest.mark.slow
@settings(max_examples=200, deadline=None)
@given(st.integers(4, 150).flatmap(lambda n: arrays(float, n, elements=TIED | LEVELS)), st.sampled_from([0.8, 0.95]))
def test_rounded_limits_equal_scipy_theilslopes(values, confidence):
    """Where a rank lies beyond the slopes SciPy gives the outermost slope; here there is no limit then."""
    found = theil_sen(values, confidence=confidence, ranks="rounded")
    other = stats.theilslopes(values, alpha=confidence)
    assert (found.slope, found.intercept) == (other.slope, pytest.approx(other.intercept, rel=1e-12, abs=1e-12))
    outermost = pairwise_slopes(values, np.arange(values.size, dtype=float))
    assert max(found.lower, outermost.min()) == other.low_slope
    assert min(found.upper, outermost.max()) == other.high_slope


@pytest.mark.slow
@pytest.mark.parametrize("count", [1500, 5000])
def test_long_series_equal_scipy(count):
    random = np.random.default_rng(count)
    values = np.round(np.cumsum(random.normal(0, 0.01, count)) + 100, 2)
    found = theil_sen(values, ranks="rounded")
    other = stats.theilslopes(values)
    assert (found.slope, found.lower, found.upper) == (other.slope, other.low_slope, other.high_slope)


@pytest.mark.slow
@settings(max_examples=200, deadline=None)
@given(st.integers(4, 150).flatmap(lambda n: arrays(float, n, elements=TIED | LEVELS | st.just(math.nan))))
def test_slope_and_intercept_equal_pymannkendall_with_gaps(values):
    assume(np.isfinite(values).sum() > 1)
    other = pymannkendall.sens_slope(values)
    found = theil_sen(values)
    assert found.slope == other.slope
    assert found.intercept == pytest.approx(other.intercept, rel=1e-12, abs=1e-12)


@settings(deadline=None)
@given(st.integers(3, 60).flatmap(lambda n: arrays(float, n, elements=LEVELS)))
def test_slope_lies_between_its_limits_which_widen_with_confidence(values):
    narrow, wide = theil_sen(values, confidence=0.8), theil_sen(values, confidence=0.99)
    assert wide.lower <= narrow.lower <= narrow.slope <= narrow.upper <= wide.upper


def test_a_line_is_found_and_one_wild_value_does_not_matter():
    values = 101.25 - 0.5 * np.arange(20)
    assert theil_sen(values).slope == -0.5
    values[7] = 1e6
    assert theil_sen(values).slope == -0.5
    assert theil_sen(values).intercept == pytest.approx(101.25, abs=0.5)


def test_too_few_slopes_have_no_limits():
    found = theil_sen([1.0, 2.0, 4.0])
    assert (found.lower, found.upper, found.slope) == (-math.inf, math.inf, 1.5)


def test_rounded_ranks_are_whole():
    assert limit_ranks(45, 125.0, ranks="rounded") == (12.0, 34.0)


def test_refusals_say_what_was_found():
    with pytest.raises(TooFewLevelsError, match="3 at one time"):
        theil_sen([1, 2, 3], [5, 5, 5])
    with pytest.raises(TooFewLevelsError, match="found 1"):
        theil_sen([1.0, math.nan])
    with pytest.raises(ShapeError, match=r"times \(2,\)"):
        theil_sen([1, 2, 3], [1, 2])
    with pytest.raises(ShapeError, match="one-dimensional"):
        theil_sen([[1, 2]])
    with pytest.raises(AnalysisError, match=r"95; expected"):
        theil_sen([1, 2, 3], confidence=95)
    with pytest.raises(AnalysisError, match="'nearest'"):
        theil_sen([1, 2, 3], ranks="nearest")
