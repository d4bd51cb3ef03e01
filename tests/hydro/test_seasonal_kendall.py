"""Kendall over seasons and wells: against single blocks, all orders and pyMannKendall on random tables."""

import itertools
import math

import numpy as np
import pymannkendall
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from gwnet.errors import ShapeError, TooFewLevelsError
from gwnet.hydro.trends import seasonal_kendall as module
from gwnet.hydro.trends.censored_slopes import pair_slopes
from gwnet.hydro.trends.kendall import mann_kendall, normal_probabilities
from gwnet.hydro.trends.seasonal_kendall import score_covariance, seasonal_kendall

TIED = st.integers(-3, 3).map(float)
LEVELS = st.floats(-1e3, 1e3, allow_nan=False).map(lambda value: round(value, 2))
WHOLE = TIED | LEVELS
GAPS = TIED | LEVELS | st.just(math.nan)


def tables(elements, rows=(4, 15), columns=(2, 6)):
    return st.tuples(st.integers(*rows), st.integers(*columns)).flatmap(lambda s: arrays(float, s, elements=elements))


def enough(table):
    """Whether each block has values that differ."""
    return all(np.unique(column[np.isfinite(column)]).size > 1 for column in table.T)


@settings(deadline=None)
@given(tables(GAPS), st.data())
def test_each_block_has_the_score_and_variance_of_its_own_test(table, data):
    assume((np.isfinite(table).sum(axis=0) > 1).all())
    bound = data.draw(arrays(int, table.shape, elements=st.sampled_from([-1, 0, 0, 1])))
    found = seasonal_kendall(table, bound=bound)
    alone = [mann_kendall(table[:, k], bound=bound[:, k], method="normal") for k in range(table.shape[1])]
    assert found.scores.tolist() == [one.score for one in alone]
    assert found.variances == pytest.approx([one.variance for one in alone], rel=1e-12)
    assert found.score == sum(one.score for one in alone)


@pytest.mark.parametrize("seed", range(4))
def test_covariance_is_that_of_all_orders(seed):
    """Whole rows change places: seasons of one year stay together."""
    table = np.random.default_rng(seed).integers(0, 4, (5, 3)).astype(float)
    scores = np.array([score_covariance(table[list(order)])[0] for order in itertools.permutations(range(5))])
    assert score_covariance(table)[1] == pytest.approx(scores.T @ scores / len(scores), rel=1e-12)


def test_trends_of_two_years_differ_as_others_do():
    """Two seasons rise and two fall: Z is 1, 1, -1 and -1, so that Σ Z² − m Z̄² is 4 with 3 degrees of freedom.

    Formula of van Belle and Hughes (1984), Water Resources Research 20(1), 127-136; from memory.
    """
    found = seasonal_kendall([[1.0, 1.0, 2.0, 2.0], [2.0, 2.0, 1.0, 1.0]])
    assert found.variances.tolist() == [1.0] * 4
    assert found.heterogeneity == pytest.approx(4.0)
    assert found.heterogeneity_p == pytest.approx(0.26146, abs=1e-5)


def test_blocks_of_rows_add_up(monkeypatch):
    table = np.random.default_rng(5).integers(0, 9, (40, 3)).astype(float)
    whole = score_covariance(table)
    monkeypatch.setattr(module, "HELD", 300)
    parts = score_covariance(table)
    assert whole[0].tolist() == parts[0].tolist()
    assert whole[1].tolist() == parts[1].tolist()


@settings(max_examples=150, deadline=None)
@given(tables(GAPS))
def test_equal_to_pymannkendall_seasonal_test(table):
    assume(enough(table))
    other = pymannkendall.seasonal_test(table.ravel(), period=table.shape[1])
    found = seasonal_kendall(table)
    assert found.score == other.s
    assert found.variance == pytest.approx(float(other.var_s), rel=1e-12)
    assert (found.z, found.tau_a) == (pytest.approx(float(other.z), rel=1e-12), pytest.approx(float(other.Tau)))
    assert found.p_value == pytest.approx(float(other.p), rel=1e-9, abs=1e-15)
    assert pair_slopes(table).limits(0.0)[0] == other.slope


@pytest.mark.slow
@settings(max_examples=150, deadline=None)
@given(tables(WHOLE, rows=(6, 20)))
def test_equal_to_pymannkendall_correlated_test(table):
    assume(enough(table))
    found = seasonal_kendall(table)
    assume(found.variance_correlated > 0)
    other = pymannkendall.correlated_seasonal_test(table.ravel(), period=table.shape[1])
    assert found.score == other.s
    assert found.variance_correlated == pytest.approx(float(other.var_s), rel=1e-9)
    z = normal_probabilities(found.score, found.variance_correlated, continuity=False)[0]
    assert z == pytest.approx(float(other.z), rel=1e-9)


@settings(max_examples=150, deadline=None)
@given(tables(GAPS))
def test_equal_to_pymannkendall_regional_test(table):
    assume(enough(table))
    other = pymannkendall.regional_test(table)
    found = seasonal_kendall(table)
    assert (found.score, found.variance) == (other.s, pytest.approx(float(other.var_s), rel=1e-12))
    assert found.z == pytest.approx(float(other.z), rel=1e-12)


def test_wells_that_move_as_one_count_as_one():
    """Three copies of one well: three times its score, and nine times its variance with covariance."""
    well = np.array([3.0, 1.0, 4.0, 1.5, 5.0, 9.0, 2.0, 6.0])
    alone, found = mann_kendall(well, continuity=False, method="normal"), seasonal_kendall(np.column_stack([well] * 3))
    assert (found.score, found.variance) == (3 * alone.score, pytest.approx(3 * alone.variance))
    assert found.variance_correlated == pytest.approx(9 * alone.variance)
    assert normal_probabilities(found.score, found.variance_correlated, continuity=False)[0] == pytest.approx(alone.z)
    assert found.heterogeneity == pytest.approx(0.0, abs=1e-9)


def test_wells_that_move_against_each_other_cancel_out():
    well = np.array([3.0, 1.0, 4.0, 1.5, 5.0, 9.0, 2.0, 6.0])
    found = seasonal_kendall(np.column_stack([well, -well]))
    assert (found.score, found.variance_correlated) == (0, 0.0)
    assert found.heterogeneity > 0


def test_refusals_say_what_was_found():
    with pytest.raises(ShapeError, match=r"shape \(3,\)"):
        seasonal_kendall([1, 2, 3])
    with pytest.raises(TooFewLevelsError, match="1 values in 2 blocks"):
        seasonal_kendall([[1.0, math.nan], [math.nan, math.nan]])
