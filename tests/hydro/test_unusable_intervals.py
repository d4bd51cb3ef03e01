import numpy as np
import pytest

from gwnet.hydro.loggers.unusable_intervals import (
    find_flat,
    find_frozen,
    find_intervals,
    find_odd_intervals,
    find_out_of_water,
    find_over_range,
    find_pinned,
    has_no_water,
    least_step,
    least_water_m,
)

HOUR = np.timedelta64(3_600_000_000, "us")
NAN = float("nan")
START = np.datetime64("2024-02-01T00:00", "us")
HALF_A_DAY = 43_200.0


def times(count):
    return START + np.arange(count) * HOUR


def moving(count, resolution, seed=4):
    random = np.random.default_rng(seed)
    return np.round((10 + np.cumsum(random.normal(size=count)) * 0.01) / resolution) * resolution


@pytest.mark.parametrize("resolution", [0.0001, 0.001, 0.01])
def test_a_frozen_value_is_found_at_any_resolution(resolution):
    level = moving(3000, resolution)
    level[1000:1200] = level[1000]
    found = find_flat(times(3000), level, least_s=HALF_A_DAY, resolution=resolution)
    assert found.first.size == 1
    assert abs(int(found.first[0]) - 1000) <= 3
    assert abs(int(found.count[0]) - 200) <= 6


def test_a_coarse_sensor_over_quiet_water_is_not_flat():
    slow = np.round((10 + 0.3 * np.sin(np.arange(5000) / 300)) / 0.02) * 0.02
    assert find_flat(times(5000), slow, least_s=HALF_A_DAY, resolution=0.02).first.size == 0


def test_a_series_that_never_moves_is_flat():
    found = find_flat(times(500), np.full(500, -2.5), least_s=HALF_A_DAY)
    assert (found.count.tolist(), found.value.tolist()) == ([500], [-2.5])
    assert find_flat(times(1), [1.0], least_s=0.0).first.size == 0


def test_a_missing_value_ends_no_spell():
    level = moving(3000, 0.001)
    level[1000:1200] = 7.0
    level[1100] = np.nan
    assert find_flat(times(3000), level, least_s=HALF_A_DAY).count.tolist() == [199]


def test_a_sensor_that_bottomed_out_twice():
    level = moving(3000, 0.01)
    level[200:400] = level[2500:2700] = -2.5
    found = find_pinned(times(3000), level)
    assert found.first.tolist() == [200, 2500]
    assert found.value.tolist() == [-2.5, -2.5]


def test_a_level_that_falls_and_rises_is_not_pinned():
    for resolution in (0.001, 0.01, 0.02):
        level = np.round((5 + 0.5 * np.cos(np.arange(4000) / 600)) / resolution) * resolution
        assert find_pinned(times(4000), level).first.size == 0


def test_ten_times_more_samples_at_the_end_than_beside_it_are_pinned():
    """Two samples at each of the ten values above the least: more than twenty must stand at the least."""
    beside = np.repeat(np.arange(1, 11) * 0.1, 2)
    for count, pinned in ((20, []), (21, [21])):
        level = np.concatenate([[3.0], beside, np.zeros(count)])
        assert find_pinned(times(level.size), level).count.tolist() == pinned


def test_a_sensor_out_of_water():
    random = np.random.default_rng(5)
    column = 1.0 + 0.1 * np.sin(np.arange(2000) / 90)
    column[700:800] = random.normal(size=100) * 0.003
    column[1500] = 0.0
    found = find_out_of_water(times(2000), column)
    assert (found.first.tolist(), found.last.tolist()) == ([700], [799])


def test_the_least_water_is_the_half_width_or_the_limit():
    assert least_water_m([0.0, 0.03, 0.08, np.nan]).tolist() == [0.03, 0.03, 0.08, 0.03]
    column = np.array([0.0299, 0.03, 0.0799, 0.08])
    assert has_no_water(column).tolist() == [True, False, False, False]
    assert has_no_water(column, 0.08).tolist() == [True, True, True, False]


def test_frozen_water_and_too_much_of_it():
    temperature = np.full(100, 4.0)
    temperature[30:40] = -0.05
    temperature[60] = 0.0
    temperature[80] = np.nan
    found = find_frozen(times(100), temperature)
    assert (found.first.tolist(), found.last.tolist()) == ([30], [39])
    assert find_over_range(times(100), np.arange(100.0), range_m=89.5).first.tolist() == [90]


def test_another_interval_and_no_other():
    when = np.concatenate([times(100), times(100)[-1] + np.arange(1, 101) * (HOUR // 4)])
    when = np.concatenate([when, when[-1] + np.arange(1, 201) * HOUR])
    found = find_odd_intervals(when)
    assert (found.first.tolist(), found.last.tolist(), found.value.tolist()) == ([99], [199], [900.0])
    assert find_odd_intervals(times(50)).first.size == 0
    assert find_odd_intervals(times(2)).first.size == 0


@pytest.mark.parametrize(("shorter", "expected"), [(9, []), (10, [99])])
def test_another_interval_lasts_for_ten_steps_at_least(shorter, expected):
    when = np.concatenate([times(100), times(100)[-1] + np.arange(1, shorter + 1) * (HOUR // 4)])
    when = np.concatenate([when, when[-1] + np.arange(1, 201) * HOUR])
    assert find_odd_intervals(when).first.tolist() == expected


@pytest.mark.parametrize("values", [[], [NAN, NAN], [NAN, 1.0]])
def test_fewer_than_two_samples_are_not_flat(values):
    assert find_flat(times(len(values)), values, least_s=0.0).first.size == 0


def test_spells_need_as_many_samples_and_as_much_time_as_asked():
    where = np.zeros(50, dtype=bool)
    where[[3, 10, 11, 12, 30, 31, 32, 33, 34]] = True
    level = np.arange(50.0)
    assert find_intervals(times(50), level, where).first.tolist() == [3, 10, 30]
    assert find_intervals(times(50), level, where, least_count=3).first.tolist() == [10, 30]
    assert find_intervals(times(50), level, where, least_s=4 * 3600.0).duration_s.tolist() == [4 * 3600.0]


def test_the_least_step_is_not_the_dust_of_a_conversion():
    written = np.array([4.04, 4.02, 4.00, 3.98, -2.50])
    assert least_step(written) == pytest.approx(0.02)
    assert least_step(written * 6894.757293168361) == pytest.approx(0.02 * 6894.757293168361)
    assert least_step([1.0, 1.0, np.nan]) == 0.0


def test_the_resolution_that_is_given_decides_what_stands_at_the_end():
    """With steps of 0.4 m the values up to 0.2 m above the least are the least; their own least step is 0.1 m."""
    level = np.concatenate([np.tile([5.0, 5.1, 5.2], 40), np.tile([1.0, 1.1], 100)])
    assert find_pinned(times(320), level).first.size == 0
    assert find_pinned(times(320), level, resolution=0.4).count.tolist() == [200]
