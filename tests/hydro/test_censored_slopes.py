"""Slopes with bounds: without bounds the Theil–Sen slope to the last bit, with them the root of the score."""

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from gwnet.errors import ShapeError, TooFewLevelsError
from gwnet.hydro.trends.censored_slopes import pair_slopes
from gwnet.hydro.trends.kendall import score_variance
from gwnet.hydro.trends.theil_sen import limit_ranks, theil_sen
from gwnet.hydro.trends.year_signs import correlated_variance, year_score, year_signs

NUMBERS = st.floats(-50, 50, allow_nan=False).map(lambda value: round(value, 2))


@settings(deadline=None)
@given(
    st.integers(2, 60).flatmap(lambda n: arrays(float, n, elements=NUMBERS)),
    st.sampled_from(["interpolated", "rounded"]),
)
def test_without_bounds_it_is_theil_sen_to_the_last_bit(values, ranks):
    variance = score_variance(values, np.arange(float(values.size)))
    slopes = pair_slopes(values)
    other = theil_sen(values, ranks=ranks)
    assert slopes.limits(variance, ranks=ranks) == (other.slope, other.lower, other.upper)
    assert (slopes.first.size, slopes.open_count) == (other.slope_count, 0)


def test_slopes_of_seasons_are_put_together():
    """Slopes within each season, all sorted as one; limits stand at the ranks of their number."""
    random = np.random.default_rng(1)
    table = random.normal(size=(12, 4)).round(2)
    table[random.uniform(size=table.shape) < 0.2] = np.nan
    years = np.cumsum(random.integers(1, 3, 12)).astype(float)
    own = [
        (season[b] - season[a]) / (years[b] - years[a])
        for season in table.T
        for a in range(12)
        for b in range(a + 1, 12)
        if np.isfinite(season[[a, b]]).all()
    ]
    slopes = pair_slopes(table, years)
    assert slopes.first == pytest.approx(np.sort(own))
    ranks = limit_ranks(len(own), 300.0)
    limits = [np.interp(rank, np.arange(1, len(own) + 1), np.sort(own)) for rank in ranks]
    assert slopes.limits(300.0) == pytest.approx((np.median(own), *limits))


def test_limits_at_half_ranks_are_between_their_neighbours():
    """Of three slopes −1, −0.75 and −0.5 and no variance the limits have the ranks 1.5 and 2.5."""
    assert pair_slopes([5.0, 4.0, 3.5]).limits(0.0) == (-0.75, -0.875, -0.625)


def test_spacing_of_the_years_counts():
    assert pair_slopes([[1.0], [2.0], [4.0]], [2000, 2002, 2004]).limits(0.0)[0] == 0.75
    assert pair_slopes([[1.0], [math.nan], [4.0]]).limits(0.0)[0] == 1.5


@settings(deadline=None)
@given(
    st.integers(4, 25).flatmap(
        lambda n: st.tuples(arrays(float, n, elements=NUMBERS), arrays(int, n, elements=st.sampled_from([0, 0, -1, 1])))
    )
)
def test_the_slope_is_where_the_score_changes_its_sign(series):
    values, bound = series
    variance = correlated_variance(year_signs(values, bound=bound))
    slope, lower, upper = pair_slopes(values, bound=bound).limits(variance)
    assume(math.isfinite(slope))
    step = 1e-6
    assert year_score(year_signs(values, bound=bound, slope=slope - step)) >= 0
    assert year_score(year_signs(values, bound=bound, slope=slope + step)) <= 0
    assert lower <= slope <= upper


def test_a_well_that_falls_dry_goes_on_falling():
    """Level 50 − 0.5 t, dry below 47: numbers alone and bounds taken as numbers are both too flat where noise is cut."""
    random = np.random.default_rng(7)
    slopes = []
    for _ in range(60):
        level = 50 - 0.5 * np.arange(12) + random.normal(0, 0.8, 12)
        dry = level < 46.5
        shown = np.where(dry, 46.5, level)
        censored = pair_slopes(shown, bound=np.where(dry, -1, 0)).limits(0.0)[0]
        alone = theil_sen(np.where(dry, np.nan, level)).slope
        substituted = theil_sen(shown).slope
        slopes.append((censored, alone, substituted))
    censored, alone, substituted = np.median(slopes, axis=0)
    assert abs(censored + 0.5) < min(abs(alone + 0.5), abs(substituted + 0.5))
    assert censored == pytest.approx(-0.5, abs=0.04)


def test_many_bounds_leave_slope_and_limits_open():
    mostly = pair_slopes([5.0, 4.0, 4.0, 4.0, 4.0], bound=[0, -1, -1, -1, -1])
    assert mostly.open_count == 10
    assert mostly.limits(4.0)[1] == -math.inf
    some = pair_slopes([5.0, 4.5, 4.0, 3.5, 3.0, 3.0], bound=[0, 0, 0, 0, -1, -1])
    assert math.isfinite(some.limits(4.0)[0])


def test_what_is_no_series_is_refused():
    with pytest.raises(ShapeError, match="ascend"):
        pair_slopes([1.0, 2.0], [1.0, 1.0])
    with pytest.raises(TooFewLevelsError, match="two times"):
        pair_slopes([[1.0, np.nan], [np.nan, 2.0]])
