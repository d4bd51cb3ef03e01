"""Values between samples, samples to draw and times to the nearest, each against a loop over the samples."""

import itertools

import numpy as np
import pytest

from gwnet.errors import ReductionError
from gwnet.hydro.loggers.dense_series import (
    daily_statistics,
    find_gaps,
    interpolate_at,
    seconds_to_nearest,
    thin,
    usual_interval_s,
)

START = np.datetime64("2024-05-01T00:00", "us")
US = np.timedelta64(1, "us")
SECOND = 1_000_000 * US
NAN = float("nan")
NAT = np.datetime64("NaT", "us")


def value_at(asked, when, values, gap_s):
    """Return the sample at a moment, or what lies on the line between those beside it, gap permitting."""
    samples = [(t, v) for t, v in zip(when, values, strict=True) if not np.isnan(v)]
    for t, v in samples:
        if t == asked:
            return v
    for (t0, v0), (t1, v1) in itertools.pairwise(samples):
        if t0 < asked < t1 and (t1 - t0) / SECOND <= gap_s:
            return v0 + (asked - t0) / (t1 - t0) * (v1 - v0)
    return NAN


@pytest.mark.parametrize("seed", range(4))
def test_values_between_samples_are_on_the_line(seed):
    rng = np.random.default_rng(seed)
    when = START + np.cumsum(rng.choice([1, 2, 3, 7], 12)) * SECOND
    values = rng.normal(size=12) * 7 + 3
    values[rng.integers(0, 12, 3)] = NAN
    asked = [START + half * SECOND // 2 for half in range(100)]
    for gap_s in (0.0, 2.0, 3.0, 9.0):
        expected = [value_at(moment, when, values, gap_s) for moment in asked]
        np.testing.assert_allclose(interpolate_at(asked, when, values, longest_gap_s=gap_s), expected, rtol=1e-12)
    np.testing.assert_array_equal(interpolate_at(when, when, values, longest_gap_s=0.0), values)


def test_one_sample_has_its_own_moment_only():
    asked = [START - US, START, START + US, NAT]
    np.testing.assert_array_equal(interpolate_at(asked, [START], [4.0], longest_gap_s=9.0), [NAN, 4.0, NAN, NAN])


@pytest.mark.parametrize(
    ("steps", "interval"), [([5], 5.0), ([7, 3], 3.0), ([3, 7], 3.0), ([9, 2, 9, 4, 2, 9], 9.0), ([2, 9, 9, 2], 2.0)]
)
def test_the_usual_interval_is_the_shorter_of_two_that_are_as_frequent(steps, interval):
    assert usual_interval_s(START + np.cumsum([0, *steps]) * SECOND) == interval


def test_a_gap_of_no_length_may_be_asked_for():
    """Zero is allowed: then every two samples are apart."""
    found = find_gaps(START + np.arange(3) * SECOND, [1.0, 2.0, 3.0], longest_gap_s=0.0)
    assert found.duration_s.tolist() == [1.0, 1.0]


def drawn(when, values, start, end, columns):
    """Return the samples to draw: of each unbroken piece in each column first, last and the first of both extremes."""
    numbers = [place for place, value in enumerate(values) if not np.isnan(value)]
    inside = [place for place in numbers if start <= when[place] <= end]
    kept = {place for place in numbers if when[place] < start and all(when[n] >= start for n in numbers if n > place)}
    kept |= {place for place in numbers if when[place] > end and all(when[n] <= end for n in numbers if n < place)}
    groups = {}
    for place in inside:
        column = min((when[place] - start).astype(int) * columns // (end - start).astype(int), columns - 1)
        groups.setdefault((column, int(np.isnan(values[:place]).sum())), []).append(place)
    for group in groups.values():
        extremes = (pick(group, key=lambda place: values[place]) for pick in (min, max))
        kept |= {group[0], group[-1], *extremes}
    order = sorted(kept)
    for before, after in itertools.pairwise(order):
        missing = [place for place in range(before, after) if np.isnan(values[place])]
        kept |= set(missing[:1])
    return sorted(kept)


@pytest.mark.parametrize("seed", range(20))
def test_samples_to_draw_are_those_and_no_more(seed):
    rng = np.random.default_rng(seed)
    when = START + np.cumsum(rng.integers(0, 4, 80)) * US
    values = rng.integers(0, 5, 80).astype(float)
    values[rng.integers(0, 80, [0, 2, 12][seed % 3])] = NAN
    start = START + int(rng.integers(-9, 30)) * US
    end = start + int(rng.integers(1, 160)) * US
    for columns in (1, 2, 3, 7, 40):
        found = thin(when, values, start_utc=start, end_utc=end, columns=columns)
        assert found.tolist() == drawn(when, values, start, end, columns)


@pytest.mark.parametrize("left", [-9, 9])
def test_a_figure_beside_the_record_shows_the_sample_nearest_to_it(left):
    when = START + np.arange(4) * US
    start = START + left * US
    found = thin(when, [1.0, 2.0, 3.0, NAN], start_utc=start, end_utc=start + US, columns=2)
    assert found.tolist() == [0 if left < 0 else 2]


def test_times_of_one_figure_may_not_fall():
    when = START + np.array([2, 5, 3]) * US
    with pytest.raises(ReductionError, match="fall"):
        thin(when, [1.0, 2.0, 3.0], start_utc=START, end_utc=START + US, columns=1)


def test_the_nearest_of_other_moments_may_be_before_or_after():
    others = np.array([2, 5, 11])
    asked = np.array([14, 0, 2, 3, 4, 5, 6, 8, 9, 11])
    found = seconds_to_nearest(START + asked * SECOND, START + others * SECOND)
    assert found.tolist() == [float(min(abs(others - moment))) for moment in asked]
    assert seconds_to_nearest(START + asked * SECOND, START + others[:1] * SECOND)[0] == 12.0
    assert seconds_to_nearest(START + asked[:2] * SECOND, START + others[:0] * SECOND).tolist() == [np.inf, np.inf]


def test_a_steady_day_has_its_value_to_the_last_bit():
    """The sum of three times 0.1 is not 0.3; and no mean exceeds the largest value of its day."""
    days = np.repeat(np.array(["2024-05-01", "2024-05-02"], "M8[D]"), 3)
    found = daily_statistics(days, [0.1, 0.1, 0.1, 5.0, 1.0, 3.6], least_count=3)
    assert found.mean.tolist() == [0.1, pytest.approx(3.2, rel=1e-15)]
    assert (found.minimum.tolist(), found.maximum.tolist()) == ([0.1, 1.0], [0.1, 5.0])
    assert found.count.tolist() == [3, 3]
    empty = daily_statistics(days, np.full(6, NAN), least_count=1)
    assert empty.count.tolist() == [0, 0]
    assert np.isnan([empty.mean, empty.minimum, empty.maximum]).all()
    none = daily_statistics(days[:0], [], least_count=1)
    assert [field.size for field in (none.day, none.count, none.mean, none.minimum, none.maximum)] == [0] * 5
