"""Percentiles against NumPy, ranks against SciPy, and bounds against every number that they may stand for."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import percentileofscore, rankdata

from gwnet.errors import SettingsError, ShapeError
from gwnet.hydro.seasons.percentiles import DEFINITIONS, percentiles, standing

LEVELS = st.lists(st.integers(-500, 500).map(lambda n: n / 100.0), min_size=1, max_size=40)
PERCENTS = [0.0, 3.0, 10.0, 25.0, 50.0, 75.0, 90.0, 99.0, 100.0]


@given(values=LEVELS, definition=st.sampled_from(sorted(DEFINITIONS)))
def test_numbers_have_numpys_percentiles(values, definition):
    found = percentiles(values, PERCENTS, definition=definition)
    assert found.value == pytest.approx(np.percentile(values, PERCENTS, method=definition), abs=1e-12)
    assert not found.bound.any()


@given(values=LEVELS, level=st.integers(-500, 500).map(lambda n: n / 100.0))
def test_a_level_stands_at_its_middle_rank_as_scipy_ranks(values, level):
    rank = rankdata([level, *values])[0]
    count = len(values) + 1
    weibull, linear = standing(level, values), standing(level, values, definition="linear")
    assert weibull.percentile == pytest.approx(100 * rank / (count + 1))
    assert linear.percentile == pytest.approx(100 * (rank - 1) / (count - 1))
    assert (weibull.lower, weibull.upper, weibull.count) == (weibull.percentile, weibull.percentile, count)
    # scipy counts ties by halves too, among the others alone
    assert linear.percentile == pytest.approx(percentileofscore(values, level, kind="mean"))


@given(
    values=st.lists(st.integers(0, 20).map(float), min_size=1, max_size=12),
    marks=st.lists(st.sampled_from([-1, 0, 0, 1]), min_size=12, max_size=12),
    fill=st.lists(st.integers(0, 30).map(float), min_size=12, max_size=12),
    definition=st.sampled_from(sorted(DEFINITIONS)),
)
def test_a_percentile_with_bounds_holds_whatever_the_bounds_stand_for(values, marks, fill, definition):
    bound = np.array(marks[: len(values)])
    true = np.array(values) + bound * np.array(fill[: len(values)])
    found = percentiles(values, PERCENTS, bound=bound, definition=definition)
    real = np.percentile(true, PERCENTS, method=definition)
    for value, side, number in zip(found.value, found.bound, real, strict=True):
        if side == 0:
            assert value == pytest.approx(number, abs=1e-12)
        elif math.isfinite(value):
            assert number <= value + 1e-12 if side < 0 else number >= value - 1e-12


@given(
    others=st.lists(st.integers(0, 20).map(float), min_size=1, max_size=12),
    marks=st.lists(st.sampled_from([-1, 0, 0]), min_size=13, max_size=13),
    fill=st.lists(st.integers(0, 30).map(float), min_size=13, max_size=13),
    level=st.integers(0, 20).map(float),
)
def test_a_standing_with_bounds_holds_whatever_the_bounds_stand_for(others, marks, fill, level):
    bound, own = np.array(marks[: len(others)]), marks[-1]
    found = standing(level, others, level_bound=own, bound=bound)
    true = standing(level + own * fill[-1], np.array(others) + bound * np.array(fill[: len(others)]))
    assert found.lower - 1e-9 <= found.percentile <= found.upper + 1e-9
    # the true rank may share ties, which move it by half a rank at most for each
    ties = 100 * len(others) / 2 / (len(others) + 2) * bool(bound.any() or own)
    assert found.lower - ties - 1e-9 <= true.percentile <= found.upper + ties + 1e-9


def test_a_bound_below_all_levels_leaves_nothing_open():
    found = standing(9.0, [10.0, 11.0, 12.0], level_bound=-1)
    assert (found.percentile, found.lower, found.upper) == (20.0, 20.0, 20.0)
    low = percentiles([9.0, 10.0, 11.0, 12.0, 13.0], [0, 50, 100], bound=[-1, 0, 0, 0, 0])
    assert low.value.tolist() == [9.0, 11.0, 13.0]
    assert low.bound.tolist() == [-1, 0, 0]


def test_a_bound_above_some_levels_leaves_ranks_open():
    found = standing(10.0, [9.0, 11.5, 12.0], bound=[0, -1, 0])
    assert (found.lower, found.percentile, found.upper) == (40.0, 50.0, 60.0)


def test_without_values_or_level_there_is_nothing():
    nothing = percentiles([np.nan], [10, 50])
    assert np.isnan(nothing.value).all()
    assert nothing.count == 0
    assert math.isnan(standing(math.nan, [1.0, 2.0]).percentile)
    assert math.isnan(standing(1.0, []).percentile)
    assert standing(1.0, []).count == 1


def test_gaps_are_left_out():
    assert percentiles([1.0, np.nan, 3.0], [50]).value == 2.0
    assert standing(2.0, [1.0, np.nan, 3.0]).percentile == 50.0


@pytest.mark.parametrize(
    ("call", "error"),
    [
        (lambda: percentiles([1.0], [50], definition="hazen"), SettingsError),
        (lambda: standing(1.0, [1.0], definition="hazen"), SettingsError),
        (lambda: percentiles([1.0], [101]), SettingsError),
        (lambda: percentiles([[1.0]], [50]), ShapeError),
        (lambda: percentiles([1.0], [50], bound=[0, 0]), ShapeError),
    ],
)
def test_what_makes_no_sense_is_refused(call, error):
    with pytest.raises(error):
        call()
