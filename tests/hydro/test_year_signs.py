"""Signs of pairs of years against the table of blocks by blocks, and the block bootstrap that draws from them."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from gwnet.errors import AnalysisError, ShapeError, TooFewLevelsError
from gwnet.hydro.trends.block_bootstrap import block_bootstrap, block_length
from gwnet.hydro.trends.seasonal_kendall import score_covariance
from gwnet.hydro.trends.year_signs import correlated_variance, year_score, year_scores, year_signs

TABLES = st.tuples(st.integers(2, 14), st.integers(1, 6)).flatmap(
    lambda shape: st.tuples(
        arrays(float, shape, elements=st.integers(0, 6).map(float) | st.just(float("nan"))),
        arrays(int, shape, elements=st.sampled_from([0, 0, 0, -1, 1])),
    )
)


@settings(deadline=None)
@given(TABLES)
def test_score_and_variance_are_those_of_all_blocks(table):
    values, bound = table
    scores, covariance = score_covariance(values, bound=bound)
    signs = year_signs(values, bound=bound)
    assert year_score(signs) == scores.sum()
    assert correlated_variance(signs) == pytest.approx(covariance.sum(), abs=1e-9)
    assert np.array_equal(signs, -signs.T)
    assert year_scores(signs).sum() == 0


def test_a_slope_is_taken_away_from_numbers_and_bounds():
    years = np.array([2000, 2001, 2005, 2006])
    values = 3.0 - 0.5 * years + np.array([0.0, 0.1, 0.0, -0.1])
    level = year_signs(values, years=years, slope=-0.5, bound=[0, 0, 0, -1])
    assert level[0].tolist() == [0.0, 1.0, 0.0, -1.0]
    assert year_score(year_signs(values, years=years)) == -6


def test_many_blocks_are_summed_in_parts(monkeypatch):
    table = np.random.default_rng(0).normal(size=(9, 40))
    whole = year_signs(table)
    monkeypatch.setattr("gwnet.hydro.trends.year_signs.HELD", 200)
    assert np.array_equal(year_signs(table), whole)


def test_years_must_fit():
    with pytest.raises(ShapeError, match="row for each year"):
        year_signs([1.0, 2.0], years=[1.0])


def test_a_bootstrap_of_independent_years_has_the_variance_of_s():
    """Blocks of one year drawn with replacement: S varies as (n−1)/n and ties let it, near n (n−1) (2n+5)/18."""
    values = np.random.default_rng(4).normal(size=30)
    signs = year_signs(values)
    found = block_bootstrap(year_score(signs), signs, block=1, resamples=4000)
    assert found.deviation == pytest.approx(np.sqrt(30 * 29 * 65 / 18), rel=0.06)


def test_the_same_record_has_the_same_p():
    values = np.cumsum(np.random.default_rng(5).normal(size=(25, 4)), axis=0)
    signs = year_signs(values, slope=0.2)
    first = block_bootstrap(100, signs, block=3)
    assert block_bootstrap(100, signs.copy(), block=3) == first
    assert block_bootstrap(-100, signs, block=3).p_value == first.p_value
    assert block_bootstrap(0, signs, block=3).p_value == 1.0


def test_longer_blocks_keep_what_goes_together():
    series = np.zeros(60)
    random = np.random.default_rng(6)
    for k in range(1, 60):
        series[k] = 0.8 * series[k - 1] + random.normal()
    signs = year_signs(series)
    short, long = (block_bootstrap(0, signs, block=block).deviation for block in (1, 10))
    assert long > 1.3 * short


def test_block_lengths():
    assert block_length(30, 0.0) == 1
    assert block_length(9, 0.9) == 3
    assert block_length(100, 0.5) > block_length(100, 0.2)
    with pytest.raises(AnalysisError, match="correlation"):
        block_length(30, 1.0)


@pytest.mark.parametrize(
    ("signs", "block", "error"),
    [
        (np.zeros((2, 2)), 1, TooFewLevelsError),
        (np.zeros((4, 4)), 5, AnalysisError),
        (np.zeros((4, 4)), 0, AnalysisError),
        (np.zeros((4, 3)), 1, ShapeError),
    ],
)
def test_what_cannot_be_drawn_is_refused(signs, block, error):
    with pytest.raises(error):
        block_bootstrap(0, signs, block=block)
