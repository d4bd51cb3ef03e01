"""Kendall over seasons and wells: against single blocks, all orders and pyMannKendall on random tables."""

import itertools
import math

import numpy as np
import pymannkendall
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from gwnet.errors import AnalysisError, ShapeError, TooFewLevelsError
from gwnet.hydro.trends import seasonal_kendall as module
from gwnet.hydro.trends.kendall import mann_kendall
from gwnet.hydro.trends.seasonal_kendall import (
    partial_kendall,
    regional_kendall,
    score_covariance,
    seasonal_kendall,
    seasonal_slope,
)
from gwnet.hydro.trends.theil_sen import theil_sen

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
    assert found.counts.tolist() == [one.count for one in alone]
    assert found.score == sum(one.score for one in alone)


@pytest.mark.parametrize("seed", range(4))
def test_covariance_is_that_of_all_orders(seed):
    """Whole rows change places: seasons of one year stay together."""
    table = np.random.default_rng(seed).integers(0, 4, (5, 3)).astype(float)
    scores = np.array([score_covariance(table[list(order)])[0] for order in itertools.permutations(range(5))])
    assert score_covariance(table)[1] == pytest.approx(scores.T @ scores / len(scores), rel=1e-12)


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
    assert seasonal_slope(table).slope == other.slope


@settings(max_examples=150, deadline=None)
@given(tables(WHOLE, rows=(6, 20)), st.integers(0, 5), st.integers(0, 1))
def test_equal_to_pymannkendall_correlated_test(table, row, column):
    table[row, column] = math.nan
    assume(enough(np.delete(table, row, axis=0)))
    found = seasonal_kendall(table, incomplete="drop")
    assume(found.variance_correlated > 0)
    other = pymannkendall.correlated_seasonal_test(table.ravel(), period=table.shape[1])
    assert found.score == other.s
    assert found.variance_correlated == pytest.approx(float(other.var_s), rel=1e-9)
    assert found.z_correlated == pytest.approx(float(other.z), rel=1e-9)


@settings(max_examples=150, deadline=None)
@given(tables(GAPS))
def test_equal_to_pymannkendall_regional_test(table):
    assume(enough(table))
    other = pymannkendall.regional_test(table)
    found = regional_kendall(table)
    assert (found.score, found.variance) == (other.s, pytest.approx(float(other.var_s), rel=1e-12))
    assert found.z == pytest.approx(float(other.z), rel=1e-12)


@settings(max_examples=150, deadline=None)
@given(tables(WHOLE, rows=(5, 30), columns=(2, 2)))
def test_equal_to_pymannkendall_partial_test(table):
    assume(enough(table))
    found = partial_kendall(table[:, 0], table[:, 1], ties=False)
    assume(found.variance > 1e-6)
    other = pymannkendall.partial_test(table)
    assert found.score == pytest.approx(float(other.s), rel=1e-9, abs=1e-9)
    assert found.variance == pytest.approx(float(other.var_s), rel=1e-9)
    assert found.p_value == pytest.approx(float(other.p), rel=1e-6, abs=1e-12)


def test_ties_make_the_variance_of_a_partial_test_smaller():
    values, other = [1.0, 1.0, 2.0, 3.0, 3.0], [1.0, 2.0, 5.0, 4.0, 3.0]
    assert partial_kendall(values, other).variance < partial_kendall(values, other, ties=False).variance
    apart = [1.0, 1.5, 2.0, 3.0, 2.5]
    assert partial_kendall(apart, other).variance == partial_kendall(apart, other, ties=False).variance


@settings(deadline=None)
@given(tables(WHOLE, rows=(3, 12)), st.sampled_from(["interpolated", "rounded"]))
def test_slope_of_one_season_is_that_of_the_series(table, ranks):
    one, series = seasonal_slope(table[:, :1], ranks=ranks), theil_sen(table[:, 0], ranks=ranks)
    assert (one.slope, one.lower, one.upper) == (series.slope, series.lower, series.upper)
    assert one.intercept == one.intercept_common == pytest.approx(series.intercept, rel=1e-12, abs=1e-12)


def test_wells_that_move_as_one_count_as_one():
    """Three copies of one well: three times its score, and nine times its variance with covariance."""
    well = np.array([3.0, 1.0, 4.0, 1.5, 5.0, 9.0, 2.0, 6.0])
    alone, found = mann_kendall(well, continuity=False, method="normal"), regional_kendall(np.column_stack([well] * 3))
    assert (found.score, found.variance) == (3 * alone.score, pytest.approx(3 * alone.variance))
    assert found.variance_correlated == pytest.approx(9 * alone.variance)
    assert found.z_correlated == pytest.approx(alone.z)
    assert found.p_value < found.p_value_correlated
    assert found.heterogeneity == pytest.approx(0.0, abs=1e-9)


def test_wells_that_move_against_each_other_cancel_out():
    well = np.array([3.0, 1.0, 4.0, 1.5, 5.0, 9.0, 2.0, 6.0])
    found = regional_kendall(np.column_stack([well, -well]))
    assert (found.score, found.variance_correlated, found.p_value_correlated) == (0, 0.0, 1.0)
    assert found.heterogeneity > 0


def test_regional_test_by_seasons_takes_each_season_of_each_well_as_a_block():
    cube = np.random.default_rng(2).normal(size=(9, 4, 3))
    found = regional_kendall(cube)
    assert found.scores.tolist() == seasonal_kendall(cube.reshape(9, 12)).scores.tolist()
    bounded = regional_kendall(cube, bound=-1)
    assert bounded.score == 0


def test_spacing_of_the_years_counts():
    assert seasonal_slope([[1.0], [2.0], [4.0]], [2000, 2002, 2004]).slope == 0.75
    assert seasonal_slope([[1.0], [math.nan], [4.0]]).slope == 1.5


def test_covariance_among_seasons_widens_the_limits():
    random = np.random.default_rng(8)
    table = np.cumsum(random.normal(size=20))[:, None] + random.normal(size=(20, 6)) * 0.1
    plain, allowed = seasonal_slope(table), seasonal_slope(table, correlated=True)
    assert allowed.lower < plain.lower < plain.slope == allowed.slope < plain.upper < allowed.upper


def test_refusals_say_what_was_found():
    with pytest.raises(ShapeError, match=r"shape \(3,\)"):
        seasonal_kendall([1, 2, 3])
    with pytest.raises(ShapeError, match=r"shape \(3,\)"):
        seasonal_slope([1, 2, 3])
    with pytest.raises(ShapeError, match="ascend"):
        seasonal_slope([[1.0], [2.0]], [2001, 2000])
    with pytest.raises(TooFewLevelsError, match="1 values in 2 blocks"):
        seasonal_kendall([[1.0, math.nan], [math.nan, math.nan]])
    with pytest.raises(TooFewLevelsError, match="2 values in 2 seasons"):
        seasonal_slope([[1.0, math.nan], [math.nan, 2.0]])
    with pytest.raises(AnalysisError, match="'fill'"):
        seasonal_kendall([[1.0], [2.0]], incomplete="fill")
    with pytest.raises(ShapeError, match=r"given \(2,\)"):
        partial_kendall([1, 2, 3], [1, 2])
    with pytest.raises(TooFewLevelsError, match="found 3 times"):
        partial_kendall([1, 2, 3], [1, 1, 1])
