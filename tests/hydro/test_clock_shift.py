import numpy as np
import pytest

from gwnet.errors import ReductionError, ShapeError
from gwnet.hydro.loggers import clock_shift
from gwnet.hydro.loggers.clock_shift import ClockOperation, correct_times, find_clock_jumps, find_clock_shift

HOUR = np.timedelta64(3_600_000_000, "us")
HALF = HOUR // 2
START = np.datetime64("2024-02-01T00:00", "us")
NAT = np.datetime64("NaT", "us")


def weather(count, seed=1):
    """Air pressure: a wandering value with a daily swing, 30 minutes apart."""
    random = np.random.default_rng(seed)
    tide = 60 * np.sin(2 * np.pi * np.arange(count) / 24) + 40 * np.sin(2 * np.pi * np.arange(count) / 48)
    return START + np.arange(count) * HALF, 100_000 + np.cumsum(random.normal(size=count) * 12) + tide


def water(count, seed=2):
    """A slow water level as pressure, with the noise of a sensor."""
    random = np.random.default_rng(seed)
    return 30_000 + 4_000 * np.sin(np.arange(count) / 500) + random.normal(size=count) * 5


@pytest.mark.parametrize("hours", [-25, -8, -1, 0, 1, 2, 5.5, 11, 24])
def test_a_wrong_zone_is_stated(hours):
    when, air = weather(3000)
    clock = when - np.timedelta64(int(hours * 3600), "s")
    found = find_clock_shift(clock, air + water(3000), when, air)
    assert found.determined
    assert found.shift_s == hours * 3600
    assert 0.2 <= found.correlation <= 1.0


def test_unequal_intervals_and_offset_minutes_are_brought_to_one_grid():
    when, air = weather(6000)
    hourly = np.arange(7, 5900, 4)
    clock = when[hourly] + np.timedelta64(7 * 60, "s") + 3 * HOUR
    moved = np.interp((when[hourly] + np.timedelta64(7 * 60, "s")).astype(float), when.astype(float), air)
    found = find_clock_shift(clock, moved, when, air, step_s=1800)
    assert found.determined
    assert found.shift_s == -3 * 3600


def test_gaps_and_missing_values_are_left_out_and_not_bridged():
    when, air = weather(3000)
    level = air + water(3000)
    level[400:900] = np.nan
    keep = np.ones(3000, dtype=bool)
    keep[1500:2000] = False
    found = find_clock_shift(when[keep] - HOUR, level[keep], when, air)
    assert (found.determined, found.shift_s) == (True, 3600.0)
    assert found.pairs < 2000


def test_one_wild_sample_does_not_decide():
    when, air = weather(3000)
    level = air + water(3000)
    level[700] -= 40_000
    assert find_clock_shift(when + 2 * HOUR, level, when, air).shift_s == -7200


def test_a_vented_sensor_tells_nothing():
    when, air = weather(3000)
    found = find_clock_shift(when, water(3000), when, air)
    assert not found.determined
    assert np.isnan(found.shift_s)
    assert "too little" in found.why


@pytest.mark.parametrize("amplitude", [1e-3, 1.0, 1e6])
def test_what_only_repeats_daily_says_nothing(amplitude):
    when = START + np.arange(2000) * HOUR
    daily = amplitude * np.sin(2 * np.pi * np.arange(2000) / 24)
    found = find_clock_shift(when, daily, when, daily)
    assert not found.determined


@pytest.mark.parametrize("most", [20, 400])
def test_correlations_at_all_shifts_are_those_of_the_pairs(most):
    """Few shifts are summed one by one, many by Fourier transform; gaps and a mean that is not 0 on both sides."""
    random = np.random.default_rng(9)
    own, other = 3.0 + random.normal(size=900), 2.0 - random.normal(size=900)
    own[100:120] = other[40:45] = np.nan
    correlation, pairs = clock_shift._correlations(own, other, 0, most)
    for lag in (-most, -7, 0, 3, most):
        first, second = (own[: 900 - lag], other[lag:]) if lag >= 0 else (own[-lag:], other[: 900 + lag])
        known = ~np.isnan(first) & ~np.isnan(second)
        expected = np.corrcoef(first[known], second[known])[0, 1]
        places = [most + lag, most - lag]
        assert pairs[places].tolist().count(known.sum()) >= 1
        assert np.isclose(correlation[places], expected, atol=1e-9).any()


def test_a_short_overlap_tells_nothing_and_says_why():
    when, air = weather(3000)
    found = find_clock_shift(when[:250], air[:250], when, air)
    assert not found.determined
    assert "pairs" in found.why
    nothing_shared = find_clock_shift(when[:100], air[:100], when[2000:], air[2000:])
    assert not nothing_shared.determined
    for few in (when[:1], when[:0]):
        assert not find_clock_shift(few, air[: few.size], when, air).determined
        assert not find_clock_shift(when, air, few, air[: few.size], step_s=1800).determined


def test_windows_without_the_reference_are_passed_over():
    when, air = weather(3000)
    assert find_clock_jumps(when, air, when[:1000], air[:1000]) == []


def test_a_shift_beyond_those_tried_is_not_guessed():
    when, air = weather(3000)
    found = find_clock_shift(when - 40 * HOUR, air + water(3000), when, air)
    assert not found.determined


def test_a_clock_that_jumps_with_summer_time():
    when, air = weather(3000)
    place = 1400
    clock = np.where(np.arange(3000) >= place, when + HOUR, when)
    (found,) = find_clock_jumps(clock, air + water(3000), when, air)
    assert found.jump_s == -3600
    assert (found.before.shift_s, found.after.shift_s) == (0.0, -3600.0)
    assert found.earliest_utc < clock[place] <= found.latest_utc
    assert abs(found.moment_utc - clock[place]) < 6 * HOUR


def test_a_clock_set_wrong_for_a_while_jumps_twice():
    when, air = weather(6000)
    wrong = (np.arange(6000) >= 2000) & (np.arange(6000) < 4100)
    clock = np.where(wrong, when - 2 * HOUR, when)
    keep = np.append(True, clock[1:] > np.maximum.accumulate(clock)[:-1])
    found = find_clock_jumps(clock[keep], (air + water(6000))[keep], when, air)
    assert [one.jump_s for one in found] == [7200.0, -7200.0]


def test_a_steady_clock_does_not_jump():
    when, air = weather(4000)
    assert find_clock_jumps(when - HOUR, air + water(4000), when, air) == []
    assert find_clock_jumps(when[:1], air[:1], when, air) == []


def test_operations_add_up_and_are_meant_by_the_clock_of_the_file():
    when = START + np.arange(5) * HOUR
    shift = ClockOperation(when[2], NAT, 600.0)
    drift = ClockOperation(when[0], when[4], -3600.0, grows=True)
    expected = np.array([0, -900, -1800 + 600, -2700 + 600, 600])
    for operations in ([shift, drift], [drift, shift]):
        found = correct_times(when, operations)
        assert ((found.time_utc - when) / np.timedelta64(1, "s")).tolist() == expected.tolist()
        assert not found.overlaps.any()


def test_a_shift_onto_time_that_is_held_is_reported():
    when = START + np.arange(6) * HOUR
    found = correct_times(when, [ClockOperation(when[3], when[5], -2 * 3600.0)])
    assert found.overlaps.tolist() == [False, False, False, True, True, False]
    assert (np.diff(found.time_utc[~found.overlaps]) > np.timedelta64(0)).all()


def test_no_operation_changes_nothing():
    when = START + np.arange(3) * HOUR
    np.testing.assert_array_equal(correct_times(when, []).time_utc, when)
    assert correct_times(when[:0], []).time_utc.size == 0


@pytest.mark.parametrize(
    "operation",
    [
        ClockOperation(START, NAT, 60.0, grows=True),
        ClockOperation(NAT, START, 60.0, grows=True),
        ClockOperation(START, START + HOUR, -3600.0, grows=True),
        ClockOperation(START, START, 1.0, grows=True),
    ],
)
def test_a_drift_without_a_length_or_that_runs_backwards_is_refused(operation):
    with pytest.raises(ReductionError, match="clock drift"):
        correct_times(START + np.arange(3) * HOUR, [operation])


def test_bad_input_is_refused():
    when, air = weather(100)
    with pytest.raises(ShapeError):
        find_clock_shift(when, air[:-1], when, air)
    with pytest.raises(ReductionError, match="rise"):
        find_clock_shift(when[::-1], air, when, air)
    with pytest.raises(ReductionError, match="steps"):
        find_clock_shift(when, air, when, air, step_s=0)


def test_two_samples_that_change_places_overlap():
    """The first is put an hour later, so that the second no longer comes after it."""
    when = START + np.arange(2) * HALF
    back = ClockOperation(NAT, when[1], 3600.0, grows=False)
    assert correct_times(when, [back]).overlaps.tolist() == [False, True]
    assert correct_times(when[:1], [back]).overlaps.tolist() == [False]


def test_a_shift_that_fits_hardly_better_than_none_is_not_determined():
    """The case: 0.430 at half an hour against 0.405 at none was reported as a wrong clock."""
    when, air = weather(4000)
    noise = np.cumsum(np.random.default_rng(8).normal(size=4000) * 12)
    both = 0.5 * air + 0.6 * np.append(air[0], air[:-1]) + noise
    found = find_clock_shift(when, both, when, air)
    assert not found.determined
    assert "the clock as it is agrees nearly as well" in found.why
    sure = find_clock_shift(when, np.append(air[0], air[:-1]) + noise, when, air)
    assert (sure.determined, sure.shift_s) == (True, -1800.0)
