"""Signs of pairs of years against the table of blocks by blocks."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from gwnet.errors import ShapeError
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
