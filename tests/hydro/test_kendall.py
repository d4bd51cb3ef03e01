"""Mann–Kendall: against all pairs, against all orders, and against SciPy and pyMannKendall on random series."""

import itertools
import math

import numpy as np
import pymannkendall
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy import stats

from gwnet.errors import AnalysisError, ShapeError, TooFewLevelsError
from gwnet.hydro.trends import inversions
from gwnet.hydro.trends.kendall import exact_upper_tail, mann_kendall, normal_probabilities, value_limits

#: Few different values, so that ties are common; NaN stands for a gap.
TIED = st.integers(-3, 3).map(float)
LEVELS = st.floats(-1e3, 1e3, allow_nan=False).map(lambda value: round(value, 2))


def series(elements, least=2, most=40):
    return st.integers(least, most).flatmap(lambda n: arrays(float, n, elements=elements))


def all_pairs(values, times=None, bound=0):
    """Return S by the definition, pair by pair."""
    low, high = value_limits(values, bound)
    times = range(len(low)) if times is None else times
    score = 0
    for i, j in itertools.permutations(range(len(low)), 2):
        if times[i] < times[j]:
            score += int(high[i] < low[j]) - int(low[i] > high[j])
    return score


@pytest.mark.slow
@settings(deadline=None)
@given(series(TIED | LEVELS | st.just(math.nan)), st.data())
def test_score_is_that_of_all_pairs(values, data):
    times = data.draw(arrays(float, values.size, elements=st.integers(0, 9).map(float)))
    bound = data.draw(arrays(int, values.size, elements=st.sampled_from([-1, 0, 0, 1])))
    assume(np.isfinite(values).sum() >= 2)
    assert mann_kendall(values).score == all_pairs(values)
    assert mann_kendall(values, times).score == all_pairs(values, times)
    assert mann_kendall(values, times, bound=bound).score == all_pairs(values, times, bound)


@pytest.mark.slow
@settings(deadline=None)
@given(st.integers(65, 400), st.integers(0, 2**31), st.integers(1, 500))
def test_long_series_are_counted_by_parts(count, seed, classes):
    random = np.random.default_rng(seed)
    values, times = random.integers(0, classes, count).astype(float), random.integers(0, count, count).astype(float)
    wrong = np.triu(values[:, None] > values[None, :], 1)
    assert inversions.count_inversions(values) == wrong.sum()
    ranks = inversions.ranks_in_order(values)
    found = [
        pair for larger, smaller in inversions.list_inversions(ranks, 50) for pair in zip(larger, smaller, strict=True)
    ]
    assert set(found) == {(ranks[i], ranks[j]) for i, j in np.argwhere(wrong)}
    assert len(found) == wrong.sum()
    signs = np.sign(times[None, :] - times[:, None]) * np.sign(values[None, :] - values[:, None])
    assert mann_kendall(values, times).score == int(signs.sum()) // 2


@pytest.mark.slow
@settings(max_examples=200, deadline=None)
@given(series(TIED | LEVELS, least=4, most=200), st.data())
def test_equal_to_scipy_kendalltau(values, data):
    times = data.draw(st.none() | arrays(float, values.size, elements=st.integers(0, 30).map(float)))
    found = mann_kendall(values, times, continuity=False, method="normal")
    other = stats.kendalltau(np.arange(values.size) if times is None else times, values, method="asymptotic")
    assert found.tau_b == pytest.approx(float(other.statistic), abs=1e-12, nan_ok=True)
    if not math.isnan(other.statistic):
        assert found.p_value == pytest.approx(float(other.pvalue), rel=1e-9)


@settings(deadline=None)
@given(st.integers(2, 33), st.integers(0, 2**31))
def test_exact_probabilities_equal_scipy(count, seed):
    values = np.random.default_rng(seed).permutation(count)
    other = stats.kendalltau(np.arange(count), values, method="exact")
    assert mann_kendall(values, method="exact").p_value == pytest.approx(float(other.pvalue), rel=1e-9)


@pytest.mark.slow
@settings(max_examples=200, deadline=None)
@given(series(TIED | LEVELS | st.just(math.nan), least=4, most=200))
def test_equal_to_pymannkendall(values):
    assume(np.unique(values[np.isfinite(values)]).size > 1)
    other = pymannkendall.original_test(values)
    found = mann_kendall(values, method="normal")
    assert found.score == other.s
    assert found.variance == pytest.approx(float(other.var_s), rel=1e-12)
    assert (found.z, found.tau_a) == (
        pytest.approx(float(other.z), rel=1e-12),
        pytest.approx(float(other.Tau), rel=1e-12),
    )
    assert found.p_value == pytest.approx(float(other.p), rel=1e-9, abs=1e-15)


@pytest.mark.slow
@settings(max_examples=40, deadline=None)
@given(series(TIED, least=2, most=5), st.data())
def test_variance_and_exact_probabilities_are_those_of_all_orders(values, data):
    bound = data.draw(arrays(int, values.size, elements=st.sampled_from([-1, 0, 0, 1])))
    times = data.draw(arrays(float, values.size, elements=st.integers(0, 4).map(float)))
    for when, side in ((None, np.zeros(values.size, int)), (None, bound), (times, bound)):
        found = mann_kendall(values, when, bound=side)
        scores = [
            mann_kendall(values[list(order)], when, bound=side[list(order)], method="normal").score
            for order in itertools.permutations(range(values.size))
        ]
        assert found.variance == pytest.approx(np.mean(np.square(scores)), rel=1e-12)
        if found.method == "exact":
            scores = np.array(scores)
            assert found.p_rise == pytest.approx(np.mean(scores >= found.score), rel=1e-12)
            assert found.p_fall == pytest.approx(np.mean(scores <= found.score), rel=1e-12)
        if side is not bound:
            assert found.method == "exact"


def test_one_limit_below_all_numbers_ranks_as_a_tie_below_them():
    """A well that falls dry at one depth: its bounds tie with each other and lie below every level above them."""
    values, bound = [9.0, 8.5, 8.8, 8.0, 8.0, 8.2, 8.0], [0, 0, 0, -1, -1, 0, -1]
    found, tied = mann_kendall(values, bound=bound), mann_kendall(values)
    assert (found.score, found.variance, found.p_value) == (tied.score, tied.variance, tied.p_value)


def test_a_bound_above_a_level_tells_nothing():
    """At or below 9 m and 8 m cannot be ordered; nor can at or below 9 m and 9 m itself."""
    assert mann_kendall([9.0, 8.0], bound=[-1, 0]).score == 0
    assert mann_kendall([9.0, 9.0], bound=[-1, 0]).score == 0
    assert mann_kendall([9.0, 9.1], bound=[-1, 0]).score == 1
    assert mann_kendall([9.0, 9.1], bound=[0, 1]).score == 1
    assert mann_kendall([9.0, 8.0], bound=[0, 1]).score == 0


@settings(deadline=None)
@given(series(LEVELS, least=3), st.floats(-5, 5))
def test_turning_the_values_round_turns_the_trend_round(values, shift):
    found, turned = mann_kendall(values), mann_kendall(-values)
    assert (turned.score, turned.variance, turned.p_rise) == (-found.score, found.variance, found.p_fall)
    moved = mann_kendall(values[::-1], -np.arange(values.size) + shift)
    assert (moved.score, moved.p_value) == (mann_kendall(values, np.arange(values.size)).score, found.p_value)


def test_values_that_are_all_tied_show_nothing():
    found = mann_kendall([5.0] * 12)
    assert (found.score, found.variance, found.z, found.p_value) == (0, 0.0, 0.0, 1.0)
    assert math.isnan(found.tau_b)


def test_exact_for_ten_and_normal_beyond_and_when_both_are_tied():
    assert mann_kendall(np.arange(10)).method == "exact"
    assert mann_kendall(np.arange(11)).method == "normal"
    assert mann_kendall([1, 1, 2, 3], [0, 0, 1, 2]).method == "normal"


def test_probabilities_of_the_tails_meet():
    rise = exact_upper_tail(3, (1,) * 7)
    assert rise + exact_upper_tail(-1, (1,) * 7) == pytest.approx(1.0)
    assert exact_upper_tail(99, (1,) * 7) == 0.0
    assert normal_probabilities(0, 10.0)[1] == 1.0


def test_refusals_say_what_was_found():
    with pytest.raises(TooFewLevelsError, match="found 1"):
        mann_kendall([1.0, math.nan])
    with pytest.raises(ShapeError, match=r"values \(3,\), times \(2,\)"):
        mann_kendall([1, 2, 3], [1, 2])
    with pytest.raises(ShapeError, match="one-dimensional"):
        mann_kendall([[1, 2], [3, 4]])
    with pytest.raises(ShapeError, match="bound"):
        mann_kendall([1, 2, 3], bound=[0, 1])
    with pytest.raises(AnalysisError, match="'quick'"):
        mann_kendall([1, 2, 3], method="quick")
    with pytest.raises(AnalysisError, match="both tied"):
        mann_kendall([1, 1, 2, 3], [0, 0, 1, 2], method="exact")


def test_pairs_in_order_are_counted_one_by_one():
    """Of limits 1, 2, 3 against 1, 0, 3 at times 0, 1, 1: only the first is below the last of a later time."""
    pairs = inversions.count_ordered(np.array([1.0, 2.0, 3.0]), np.array([1.0, 0.0, 3.0]), np.array([0.0, 1.0, 1.0]))
    assert pairs == 1
    assert inversions.count_ordered(np.array([2.0, 1.0]), np.array([2.0, 1.0]), np.array([0.0, 1.0])) == 0
