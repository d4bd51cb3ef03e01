"""Intervals in which a sensor did not measure the water, each at its limits, with all that is said of them.

The numbers of the rules (10 times as many, 10 steps, 3 samples, 2 hours, 3 times chance) are project defaults, common
practice, no source.
"""

import itertools
import math

import numpy as np
import pytest

from gwnet.hydro.loggers import unusable_intervals
from gwnet.hydro.loggers.unusable_intervals import (
    find_flat,
    find_frozen,
    find_intervals,
    find_odd_intervals,
    find_out_of_water,
    find_over_range,
    find_pinned,
    least_step,
)

HOUR = np.timedelta64(3_600_000_000, "us")
START = np.datetime64("2024-02-01T00:00", "us")
NAN = float("nan")


def columns(found):
    """Return first, last, count, duration and value of each interval."""
    fields = (found.first, found.last, found.count, found.duration_s, found.value)
    assert [field.dtype.kind for field in fields] == list("iiiff")
    return list(zip(*(field.tolist() for field in fields), strict=True))


def hourly(count):
    return START + np.arange(count) * HOUR


def test_a_run_is_said_with_samples_time_and_median():
    where = np.array([1, 0, 1, 1, 1, 1, 0, 1, 1], dtype=bool)
    level = np.array([9.0, 50.0, 4.0, NAN, 2.0, 7.0, 90.0, 1.0, 3.0])
    when = START + np.array([0, 1, 2, 3, 5, 9, 10, 11, 13]) * HOUR
    every = [(0, 0, 1, 0.0, 9.0), (2, 5, 3, 25_200.0, 4.0), (7, 8, 2, 7200.0, 2.0)]
    assert columns(find_intervals(when, level, where)) == every
    assert columns(find_intervals(when, level, where, least_count=3)) == every[1:2]
    assert columns(find_intervals(when, level, where, least_s=7200.0)) == every[1:]
    assert columns(find_intervals(when, level, where, least_s=7200.5)) == every[1:2]


def flat_of(level, least_s):
    """Return the runs of equal hourly samples that are three times as long as chance makes the longest."""
    same = [a == b for a, b in itertools.pairwise(level)]
    runs, start = [], None
    for place, equal in enumerate([*same, False]):
        if equal and start is None:
            start = place
        elif not equal and start is not None:
            runs.append((start, place))
            start = None
    if not runs:
        return []
    first, last = max(runs, key=lambda run: run[1] - run[0])
    outside = same[:first] + same[last:]
    blocks = [np.mean(same[n : n + 96]) for n in range(0, len(same) - 95, 96)] or [np.mean(same)]
    share = min(float(np.median(blocks)), float(np.mean(outside)) if outside else 1.0, 0.9)
    least = max(3, math.ceil(3 * (math.log(len(same)) / -math.log(share) if share > 0 else 1.0)))
    return [
        (first, last, last - first + 1, (last - first) * 3600.0, level[first])
        for first, last in runs
        if last - first + 1 >= least and (last - first) * 3600.0 >= least_s
    ]


def resting(count, share, rests, seed):
    """Return whole numbers of which a share equals the one before, and which rest for some samples at places."""
    rng = np.random.default_rng(seed)
    level = np.cumsum(np.where(rng.uniform(size=count) < share, 0, rng.choice([-1, 1], count))).astype(float)
    for place, width in rests:
        level[place : place + width] = level[place]
        level[place + width :] += 100 * width
    return level


@pytest.mark.parametrize(
    ("count", "share", "rests"),
    [
        (60, 0.0, [(20, 3), (40, 4)]),
        (60, 0.0, [(20, 2)]),
        (90, 0.2, [(10, 14), (50, 6)]),
        (97, 0.3, [(30, 25)]),
        (150, 0.3, [(30, 60)]),
        (193, 0.5, [(100, 80), (20, 12)]),
        (193, 0.1, [(5, 11), (100, 9)]),
        (300, 0.6, [(120, 36), (200, 34)]),
        (400, 0.97, [(100, 180)]),
        (200, 1.0, []),
    ],
)
@pytest.mark.parametrize("seed", range(3))
def test_flat_runs_are_three_times_longer_than_chance(count, share, rests, seed):
    level = resting(count, share, rests, seed)
    for least_s in (0.0, 4 * 3600.0, 10 * 3600.0):
        found = columns(find_flat(hourly(count), level, least_s=least_s))
        assert found == flat_of(level.tolist(), least_s)


def test_three_equal_samples_are_flat_where_no_others_are_equal():
    level = np.r_[np.arange(20.0), 30.0, 30.0, 30.0, np.arange(40.0, 50.0)]
    assert columns(find_flat(hourly(33), level, least_s=7200.0)) == [(20, 22, 3, 7200.0, 30.0)]
    assert columns(find_flat(hourly(33), level, least_s=7201.0)) == []
    assert columns(find_flat(hourly(32), np.delete(level, 21), least_s=0.0)) == []
    # half a step of the resolution apart is the same
    level[21] += 0.5
    assert columns(find_flat(hourly(33), level, least_s=0.0, resolution=1.0)) == [(20, 22, 3, 7200.0, 30.0)]
    assert columns(find_flat(hourly(33), level, least_s=0.0, resolution=0.99)) == []


@pytest.mark.parametrize("count", [0, 1, 2])
def test_a_few_samples_are_none_of_it(count):
    when, level = hourly(count), np.zeros(count)
    assert columns(find_flat(when, level, least_s=0.0)) == []
    assert columns(find_pinned(when, level)) == []
    assert columns(find_pinned(when, level * NAN)) == []
    assert columns(find_odd_intervals(when)) == []


def test_a_sensor_rests_at_its_end_for_three_samples_and_two_hours():
    """With nothing near, as little as that is enough."""
    level = np.array([40.0, 41.0, 42.0, -2.5, -2.5, -2.5, 40.0])
    assert columns(find_pinned(hourly(7), level)) == [(3, 5, 3, 7200.0, -2.5)]
    assert columns(find_pinned(START + np.arange(7) * (HOUR // 2), level)) == []
    dense = np.r_[level[:3], np.full(5, -2.5), 40.0]
    assert len(columns(find_pinned(START + np.arange(9) * (HOUR // 2), dense))) == 1
    level[4] = 41.0
    assert columns(find_pinned(START + np.arange(7) * 3 * HOUR, level)) == []
    # the same number of samples, but neither of the two runs of two has three
    level[[3, 4, 5, 6]] = [-2.5, -2.5, 41.0, -2.5]
    assert columns(find_pinned(START + np.arange(7) * 3 * HOUR, level)) == []


@pytest.mark.parametrize(
    ("beside", "pinned"),
    [
        # 20 samples at the end are no more than ten times the mean of 2 at each of ten steps
        (20, False),
        (19, True),
    ],
)
@pytest.mark.parametrize("place", [0.75, 1.0, 10.0, 10.5])
def test_samples_up_to_ten_steps_and_a_half_above_the_end_are_beside_it(beside, pinned, place):
    level = np.r_[np.full(beside, place), np.full(20, 0.0), 30.0]
    assert bool(columns(find_pinned(hourly(level.size), level, resolution=1.0))) == pinned


@pytest.mark.parametrize("place", [10.75, 11.0])
def test_samples_farther_above_are_not(place):
    level = np.r_[np.full(99, place), np.full(20, 0.0), 30.0]
    assert columns(find_pinned(hourly(120), level, resolution=1.0)) == [(99, 118, 20, 19 * 3600.0, 0.0)]


def test_samples_half_a_step_above_the_end_are_at_it():
    level = np.r_[30.0, np.zeros(15), np.full(6, 0.5), 30.0]
    assert columns(find_pinned(hourly(23), level, resolution=1.0)) == [(1, 21, 21, 20 * 3600.0, 0.0)]


@pytest.mark.parametrize(
    ("values", "step"),
    [
        ([], 0.0),
        ([NAN, 3.0], 0.0),
        ([0.5, 0.5 + 1.5e-9], 1.5e-9),
        ([0.0, 1e-9], 0.0),  # dust: a billionth of 1, or of the largest value
        ([1000.0, 1000.0 + 1e-7, 1001.0, 1002.5], 1.0),
        ([-1000.0, -1000.0 + 1e-7, -1001.0], 1.0),
        # of 20 and of 21 steps the tenth percentile is the second and the third
        (np.cumsum(np.arange(0.0, 21.0)), 2.0),
        (np.cumsum(np.arange(0.0, 22.0)), 3.0),
        (np.cumsum(np.arange(0.0, 11.0)), 1.0),
        (np.cumsum(np.arange(0.0, 12.0)), 2.0),
    ],
)
def test_the_least_step_is_the_tenth_percentile(values, step):
    assert least_step(values) == pytest.approx(step, rel=1e-6)


def test_two_samples_in_a_row_are_out_of_water_or_frozen_and_one_is_over_range():
    column = np.array([0.02, 1.0, 0.0299, 0.01, 1.0, 0.02, 0.03])
    assert columns(find_out_of_water(hourly(7), column)) == [(2, 3, 2, 3600.0, pytest.approx(0.01995))]
    wider = find_out_of_water(hourly(7), column, half_width_m=np.array([0.0, 0, 0, 0, 0, 0.05, 0.031]))
    assert wider.first.tolist() == [2, 5]
    cold = np.array([0.5, 0.01, 0.0, -0.5, 0.5, -3.0, NAN, -1.0, 0.9, -1.0])
    assert columns(find_frozen(hourly(10), cold)) == [(2, 3, 2, 3600.0, -0.25), (5, 7, 2, 7200.0, -2.0)]
    over = np.array([10.0, 10.5, 10.0, NAN, 11.0, 12.0])
    assert columns(find_over_range(hourly(6), over, range_m=10.0)) == [(1, 1, 1, 0.0, 10.5), (4, 5, 2, 3600.0, 11.5)]


def test_a_share_of_the_range_may_be_allowed_on_top(monkeypatch):
    monkeypatch.setattr(unusable_intervals, "OVER_RANGE_SHARE", 0.25)
    found = find_over_range(hourly(4), [7.5, 9.9, 10.0, 10.1], range_m=8.0)
    assert found.first.tolist() == [3]


def test_another_interval_at_the_start_inside_and_at_the_end():
    """Ten or more steps in a row; the interval is in seconds, the count that of the samples."""
    steps = np.r_[
        np.full(10, 15), np.full(30, 60), np.full(9, 30), 60, np.full(11, 120), np.full(9, 60), np.full(12, 30)
    ]
    when = START + np.r_[0, np.cumsum(steps)] * np.timedelta64(60_000_000, "us")
    found = columns(find_odd_intervals(when))
    assert found == [
        (0, 10, 11, 10 * 900.0, 900.0),
        (50, 61, 12, 11 * 7200.0, 7200.0),
        (70, 82, 13, 12 * 1800.0, 1800.0),
    ]
