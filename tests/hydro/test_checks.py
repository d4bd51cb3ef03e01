"""Limits from a record: against scipy's estimates, and small constructed records."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from gwnet.errors import ShapeError
from gwnet.hydro.checks.robust_limits import jumps, readings_around
from gwnet.hydro.checks.spreads import following_spread, group_spread, nested_spread

RANDOM = np.random.default_rng(20260217)


def test_centre_and_deviation_equal_scipys_by_group():
    """scipy.stats.median_abs_deviation with scale="normal" is 1.4826 MAD."""
    values = RANDOM.normal(50.0, 3.0, 400)
    values[RANDOM.random(400) < 0.1] = np.nan
    group = RANDOM.integers(0, 9, 400)
    found = group_spread(values, group)
    for one in range(9):
        rows = group == one
        assert found.centre[rows] == pytest.approx(np.nanmedian(values[rows]))
        told = stats.median_abs_deviation(values[rows], scale="normal", nan_policy="omit")
        assert found.deviation[rows] == pytest.approx(told)
        assert (found.count[rows] == np.isfinite(values[rows]).sum()).all()


def test_deviation_estimates_the_standard_deviation_of_normal_values():
    found = group_spread(RANDOM.normal(0.0, 2.0, 200_000), np.zeros(200_000, dtype=int))
    assert found.deviation[0] == pytest.approx(2.0, rel=0.02)


def test_half_of_the_values_may_be_wrong_without_moving_the_limits_far():
    """The breakdown point of median and MAD is one half (Hampel, 1974, from memory)."""
    values = np.concatenate([np.linspace(9.0, 11.0, 21), np.full(19, 1e6)])
    found = group_spread(values, np.zeros(values.size, dtype=int))
    assert found.centre[0] < 12.0
    assert found.deviation[0] < 3.0


@given(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=60), st.randoms())
@settings(max_examples=60, deadline=None)
def test_order_of_values_does_not_matter(values, random):
    shuffled = values.copy()
    random.shuffle(shuffled)
    one = group_spread(values, np.zeros(len(values), dtype=int))
    other = group_spread(shuffled, np.zeros(len(values), dtype=int))
    assert one.centre[0] == other.centre[0]
    assert one.deviation[0] == other.deviation[0]


def test_left_out_values_get_limits_but_give_none():
    found = group_spread([1.0, 2.0, 3.0, 1000.0], [0, 0, 0, 0], use=[True, True, True, False])
    assert found.centre.tolist() == [2.0] * 4


def test_the_narrowest_group_that_is_large_enough_counts():
    values = [1.0, 1.1, 5.0, 5.1, 5.2]
    found = nested_spread(values, [[0, 0, 1, 1, 1], [0, 0, 0, 0, 0]], least=3)
    assert found.count.tolist() == [5, 5, 3, 3, 3]
    assert found.centre[-1] == 5.1
    assert np.isnan(nested_spread(values, [[0, 0, 1, 1, 1]], least=4).centre).all()


def test_arrays_of_different_lengths_are_refused():
    with pytest.raises(ShapeError, match=r"values \(2,\), group \(1,\)"):
        group_spread([1.0, 2.0], [0])


@given(st.lists(st.tuples(st.integers(0, 3), st.booleans()), max_size=40))
@settings(max_examples=80, deadline=None)
def test_readings_around_equal_a_plain_search(rows):
    rows = sorted(rows, key=lambda row: row[0])
    well, sound = [row[0] for row in rows], [row[1] for row in rows]
    found = readings_around(np.array(well, dtype=int), np.array(sound, dtype=bool))
    for place in range(len(rows)):
        before = [i for i in range(place) if well[i] == well[place] and sound[i]]
        after = [i for i in range(place + 1, len(rows)) if well[i] == well[place] and sound[i]]
        assert found.before[place] == (before[-1] if before else -1)
        assert found.after[place] == (after[0] if after else -1)


def monthly(changes, start=100.0):
    """Return arrays of one well read every thirty days, from its changes."""
    level = start + np.concatenate([[0.0], np.cumsum(changes)])
    n = level.size
    return np.zeros(n, int), np.arange(n) * 30.0, np.zeros(n, int), level, np.ones(n, bool)


def test_limits_of_jumps_are_median_and_deviation_of_the_wells_changes():
    changes = RANDOM.normal(0.02, 0.1, 60)
    well, time, season, level, sound = monthly(changes)
    found = jumps(well, time, season, level, sound, spreads=6.0)
    # 48 changes make the limits of a change in the third of four blocks, and of the first the 32 of two blocks
    near = changes[:32]
    off = np.abs(near - np.median(near))
    half = 6.0 * max(stats.median_abs_deviation(near, scale="normal"), np.quantile(off, 0.8) / stats.norm.ppf(0.9))
    assert found.upper_m[5] == pytest.approx(np.median(near) + half)
    assert found.lower_m[5] == pytest.approx(np.median(near) - half)
    assert not found.jump.any()


def test_a_blunder_is_one_jump_and_the_return_from_it_none():
    well, time, season, level, sound = monthly(RANDOM.normal(0.0, 0.05, 40))
    level[20] += 1.0
    assert np.flatnonzero(jumps(well, time, season, level, sound).jump).tolist() == [20]


def test_a_lasting_step_is_one_jump():
    well, time, season, level, sound = monthly(RANDOM.normal(0.0, 0.05, 40))
    level[20:] += 1.0
    assert np.flatnonzero(jumps(well, time, season, level, sound).jump).tolist() == [20]


def test_too_few_changes_tell_nothing():
    well, time, season, level, sound = monthly([0.0] * 6)
    level[3] += 50.0
    found = jumps(well, time, season, level, sound, least=8)
    assert np.isnan(found.upper_m).all()
    assert not found.jump.any()


def test_changes_over_longer_times_have_limits_of_their_own():
    """Daily changes are small, yearly ones large: neither is held against the other."""
    days = np.arange(40) * 1.0
    years = 400.0 + np.arange(20) * 365.0
    time = np.concatenate([days, years])
    level = np.concatenate([RANDOM.normal(10.0, 0.01, 40), RANDOM.normal(10.0, 1.0, 20)])
    n = time.size
    found = jumps(np.zeros(n, int), time, np.zeros(n, int), level, np.ones(n, bool))
    assert found.upper_m[20] < 0.2
    assert found.upper_m[50] > 1.0


def test_a_wells_history_is_its_own():
    quiet, lively = monthly(RANDOM.normal(0.0, 0.01, 30)), monthly(RANDOM.normal(0.0, 1.0, 30))
    both = [np.concatenate([a, b]) for a, b in zip(quiet, lively, strict=True)]
    both[0] = np.repeat([0, 1], 31)
    found = jumps(*both)
    assert found.upper_m[10] < 0.2 < found.upper_m[50]


def test_the_spread_near_a_value_follows_quiet_and_restless_times():
    values = np.concatenate([RANDOM.normal(0.0, 0.01, 100), RANDOM.normal(0.0, 1.0, 100)])
    found = following_spread(values, np.zeros((1, 200), int))
    assert found.deviation[180] == pytest.approx(1.0, rel=0.4)
    assert found.deviation[10] < 0.5 * found.deviation[180]


def test_the_centre_near_a_value_follows_slow_change():
    values = np.linspace(0.0, 10.0, 320) + RANDOM.normal(0.0, 0.05, 320)
    found = following_spread(values, np.zeros((1, 320), int))
    assert found.centre[8] == pytest.approx(0.5, abs=0.3)
    assert found.centre[310] == pytest.approx(9.5, abs=0.3)


def test_a_third_of_the_values_may_be_wrong_without_widening_the_spread_far():
    values = RANDOM.normal(0.0, 0.1, 48)
    values[::3] += 50.0
    assert following_spread(values, np.zeros((1, 48), int)).deviation.max() < 1.0


def test_a_short_group_has_one_spread_and_too_short_a_one_none():
    values, groups = RANDOM.normal(0.0, 1.0, 12), np.repeat([[0, 1]], 6, axis=1).reshape(1, 12)
    found = following_spread(values, np.stack([groups[0], np.zeros(12, int)]), least=8)
    assert len(set(found.deviation)) == 1
    assert np.isnan(following_spread(values, groups, least=8).deviation).all()


def test_nothing_is_nothing():
    none = np.empty(0)
    whole = none.astype(int)
    assert jumps(whole, none, whole, none, none.astype(bool)).jump.size == 0
    assert following_spread(none, np.empty((1, 0), int)).centre.size == 0
