"""Slopes with bounds: without bounds the Theil–Sen slope to the last bit, with them the root of the score."""

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from gwnet.errors import ShapeError, TooFewLevelsError
from gwnet.hydro.trends.censored_slopes import censored_theil_sen, pair_slopes
from gwnet.hydro.trends.kendall import mann_kendall, score_variance
from gwnet.hydro.trends.seasonal_kendall import seasonal_slope
from gwnet.hydro.trends.theil_sen import theil_sen
from gwnet.hydro.trends.year_signs import year_score, year_signs

NUMBERS = st.floats(-50, 50, allow_nan=False).map(lambda value: round(value, 2))


@settings(deadline=None)
@given(
    st.integers(2, 60).flatmap(lambda n: arrays(float, n, elements=NUMBERS)),
    st.sampled_from(["interpolated", "rounded"]),
)
def test_without_bounds_it_is_theil_sen_to_the_last_bit(values, ranks):
    variance = score_variance(values, np.arange(float(values.size)))
    found = censored_theil_sen(values, variance=variance, ranks=ranks)
    other = theil_sen(values, ranks=ranks)
    assert (found.slope, found.lower, found.upper) == (other.slope, other.lower, other.upper)
    assert (found.slope_count, found.open_count) == (other.slope_count, 0)


@pytest.mark.parametrize("correlated", [True, False])
def test_without_bounds_seasons_have_their_slope_and_limits(correlated):
    random = np.random.default_rng(1)
    table = random.normal(size=(12, 4)).round(2)
    table[random.uniform(size=table.shape) < 0.2] = np.nan
    years = np.arange(2001.0, 2013.0)
    other = seasonal_slope(table, years, correlated=correlated)
    if correlated:
        found = censored_theil_sen(table, years)
    else:
        variance = sum(mann_kendall(season[~np.isnan(season)]).variance for season in table.T)
        found = censored_theil_sen(table, years, variance=variance)
    assert (found.slope, found.slope_count) == (other.slope, other.slope_count)
    assert (found.lower, found.upper) == (pytest.approx(other.lower), pytest.approx(other.upper))


@settings(deadline=None)
@given(
    st.integers(4, 25).flatmap(
        lambda n: st.tuples(arrays(float, n, elements=NUMBERS), arrays(int, n, elements=st.sampled_from([0, 0, -1, 1])))
    )
)
def test_the_slope_is_where_the_score_changes_its_sign(series):
    values, bound = series
    found = censored_theil_sen(values, bound=bound)
    assume(math.isfinite(found.slope))
    step = 1e-6
    assert year_score(year_signs(values, bound=bound, slope=found.slope - step)) >= 0
    assert year_score(year_signs(values, bound=bound, slope=found.slope + step)) <= 0
    assert found.lower <= found.slope <= found.upper


def test_a_well_that_falls_dry_goes_on_falling():
    """Level 50 − 0.5 t, dry below 47: numbers alone and bounds taken as numbers are both too flat where noise is cut."""
    random = np.random.default_rng(7)
    slopes = []
    for _ in range(60):
        level = 50 - 0.5 * np.arange(12) + random.normal(0, 0.8, 12)
        dry = level < 46.5
        shown = np.where(dry, 46.5, level)
        censored = censored_theil_sen(shown, bound=np.where(dry, -1, 0)).slope
        alone = theil_sen(np.where(dry, np.nan, level)).slope
        substituted = theil_sen(shown).slope
        slopes.append((censored, alone, substituted))
    censored, alone, substituted = np.median(slopes, axis=0)
    assert abs(censored + 0.5) < min(abs(alone + 0.5), abs(substituted + 0.5))
    assert censored == pytest.approx(-0.5, abs=0.04)


def test_many_bounds_leave_slope_and_limits_open():
    mostly = censored_theil_sen([5.0, 4.0, 4.0, 4.0, 4.0], bound=[0, -1, -1, -1, -1])
    assert mostly.open_count == 10
    assert mostly.lower == -math.inf
    some = censored_theil_sen([5.0, 4.5, 4.0, 3.5, 3.0, 3.0], bound=[0, 0, 0, 0, -1, -1])
    assert math.isfinite(some.slope)


def test_what_is_no_series_is_refused():
    with pytest.raises(ShapeError, match="ascend"):
        pair_slopes([1.0, 2.0], [1.0, 1.0])
    with pytest.raises(TooFewLevelsError, match="two times"):
        pair_slopes([[1.0, np.nan], [np.nan, 2.0]])
