"""Step tests against SciPy's rank-sum test, all orders of the values, and a change that is known from history."""

from itertools import permutations

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy import stats

from gwnet.errors import AnalysisError, ShapeError, TooFewLevelsError
from gwnet.hydro.trends.step_test import pettitt, two_segments

TIED = st.integers(0, 5).map(float)


def statistic(values):
    """Return U_t by its definition, for every t."""
    signs = np.sign(np.subtract.outer(values, values).T)
    return [signs[:t, t:].sum() for t in range(1, values.size)]


@settings(deadline=None, max_examples=40)
@given(st.integers(3, 6).flatmap(lambda n: arrays(float, n, elements=TIED)))
def test_pettitt_by_definition_and_by_all_orders(values):
    found = pettitt(values)
    sums = np.array(statistic(values))
    assert found.statistic == np.abs(sums).max()
    assert sums[found.last_before] == found.score
    orders = [np.abs(statistic(np.array(order))).max() for order in permutations(values)]
    assert found.p_value == pytest.approx(np.mean(np.array(orders) >= found.statistic))
    assert found.method == "exact"


def test_the_nile_fell_after_1898():
    """Annual flow at Aswan 1871–1970: the change after 1898 is that of Cobb (1978, Biometrika 65, 243–251)."""
    flow = sm.datasets.nile.load_pandas().data
    found = pettitt(flow["volume"].to_numpy())
    assert flow["year"].iloc[found.last_before] == 1898
    assert found.score < 0
    assert found.p_value == 0.0001
    approximate = pettitt(flow["volume"].to_numpy(), method="approximate")
    # Pettitt (1979): 2 exp(−6 K²/(n³ + n²))
    assert approximate.p_value == pytest.approx(2 * np.exp(-6 * found.statistic**2 / (100**3 + 100**2)))
    assert approximate.p_value < 1e-5


def test_drawn_orders_come_near_the_formula_and_are_the_same_each_time():
    values = np.random.default_rng(2).normal(size=40)
    values[20:] += 0.6
    drawn, formula = pettitt(values), pettitt(values, method="approximate")
    assert drawn.p_value == pytest.approx(formula.p_value, rel=0.35)
    assert pettitt(values) == drawn


def test_a_widening_makes_steps_less_sure():
    values = np.concatenate([np.arange(10.0), np.arange(10.0) + 6])
    assert pettitt(values, widening=3.0).p_value > pettitt(values).p_value
    for call in (lambda: pettitt(values, widening=0.5), lambda: two_segments(values, 10, widening=0.5)):
        with pytest.raises(AnalysisError, match="1 or more"):
            call()


def test_seasons_and_bounds_take_part_together():
    table = np.array([[5.0, 9.0], [5.1, 9.2], [4.9, np.nan], [4.0, 8.0], [3.9, 8.1], [4.0, 8.2]])
    bound = np.zeros(table.shape, dtype=int)
    bound[3:, 0] = -1
    found = pettitt(table, bound=bound)
    assert found.last_before == 2
    assert found.statistic == 9 + 6


@settings(deadline=None)
@given(
    st.tuples(st.integers(7, 12), st.integers(7, 12)).flatmap(
        lambda sizes: st.tuples(*(arrays(float, size, elements=TIED) for size in sizes))
    )
)
def test_two_segments_equal_scipy_mannwhitneyu(parts):
    before, after = parts
    if np.ptp(np.concatenate(parts)) == 0:
        return
    found = two_segments(np.concatenate(parts), before.size)
    other = stats.mannwhitneyu(after, before, use_continuity=False, method="asymptotic")
    assert found.score == 2 * other.statistic - before.size * after.size
    assert found.p_value == pytest.approx(other.pvalue)
    assert found.method == "normal"


def test_few_rows_have_exact_probabilities_as_scipy_has():
    before, after = [1.0, 2.0, 1.5, 2.5], [5.0, 2.2, 6.0, 5.5, 4.0]
    found = two_segments([*before, *after], 4)
    other = stats.mannwhitneyu(after, before, method="exact")
    assert (found.method, found.p_value) == ("exact", pytest.approx(other.pvalue))
    assert found.shift == pytest.approx(np.median(np.subtract.outer(after, before)))
    assert found.lower <= found.shift <= found.upper


def test_a_gap_keeps_its_place_and_rows_without_a_value_do_not_count():
    found = two_segments([1.0, 2.0, np.nan, np.nan, 5.0, 6.0, 7.0], 3)
    assert (found.before, found.after, found.score, found.shift) == (2, 3, 6, 4.5)


def test_what_cannot_be_compared_is_refused():
    with pytest.raises(TooFewLevelsError, match="before and after"):
        two_segments([1.0, 2.0], 0)
    with pytest.raises(TooFewLevelsError, match="three rows"):
        pettitt([1.0, np.nan, 2.0])
    with pytest.raises(AnalysisError, match="Unknown method"):
        pettitt([1.0, 2.0, 3.0], method="none")
    with pytest.raises(AnalysisError, match="too many"):
        pettitt(np.arange(9.0), method="exact")
    with pytest.raises(ShapeError, match="row for each time"):
        pettitt(np.zeros((2, 2, 2)))


def test_all_orders_of_seven_rows_are_gone_through_and_of_eight_some_are_drawn():
    assert pettitt(np.arange(7.0)).method == "exact"
    assert pettitt(np.arange(8.0)).method == "drawn"
    with pytest.raises(AnalysisError, match="8 rows are too many; expected 7"):
        pettitt(np.arange(8.0), method="exact")
