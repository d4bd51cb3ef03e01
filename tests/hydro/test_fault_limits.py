"""Spikes, ends and steps of series against loops over the samples that follow the rules as they are written down.

Levels are whole numbers, so that many of them are exactly at a limit. The numbers of the rules (15, 25 and 3 times, half,
12, 24 and 96 samples, a day) are project defaults, common practice, no source.
"""

import itertools
import statistics

import numpy as np
import pytest

from gwnet.hydro.loggers.faults import (
    confirm_steps,
    find_odd_ends,
    find_saw_tooth,
    find_spikes,
    find_steps,
    usual_change,
)

HOUR = np.timedelta64(3_600_000_000, "us")
US = np.timedelta64(1, "us")
START = np.datetime64("2024-02-01T00:00", "us")
NAN = float("nan")


def present(values):
    return [place for place, value in enumerate(values) if not np.isnan(value)]


def noise_of(levels):
    """Return the usual change at each sample: of the block of 96, those beside it, and the whole."""
    sizes = [abs(after - before) for before, after in itertools.pairwise(levels)]
    count = max(len(sizes) // 96, 1)
    blocks = [statistics.median(sizes[96 * number : 96 * number + 96]) for number in range(count)]
    around = [max(blocks[max(number - 1, 0) : number + 2]) for number in range(count)]
    return [max(around[min(place // 96, count - 1)], statistics.median(sizes)) for place in range(len(levels))]


def limits_of(levels, times):
    steps = sorted(b - a for a, b in itertools.pairwise(sorted(set(levels))))
    resolution = steps[(len(steps) - 1) // 10] if steps else 0.0
    return [times * max(noise, resolution) for noise in noise_of(levels)]


def spikes_of(values):
    here = present(values)
    levels = [values[place] for place in here]
    limits = limits_of(levels, 15)
    found, taken = [], set()
    for width in (1, 2, 3):
        for start in range(len(levels) - width - 1):
            inside, end = levels[start + 1 : start + width + 1], start + width + 1
            low, high = sorted([levels[start], levels[end]])
            away = min(inside) - high if min(inside) > high else low - max(inside)
            if away <= limits[start + 1] or high - low >= away / 2 or taken & set(range(start, end + 1)):
                continue
            taken |= set(range(start + 1, end))
            off = [level - (low + high) / 2 for level in inside]
            found.append((here[start + 1], here[end - 1], max(off, key=abs), limits[start + 1]))
    return sorted(found)


def columns(found):
    return list(zip(found.first.tolist(), found.last.tolist(), found.size.tolist(), found.limit.tolist(), strict=True))


def jagged(seed, count=260):
    """Return whole numbers that go up and down by 1 or 2, with blocks of 1 to 4 that stand off by about 15 or 30."""
    rng = np.random.default_rng(seed)
    step = 1 + seed % 2
    levels = 200.0 + step * (np.arange(count) % 2)
    for place in rng.integers(0, count, 24):
        width = int(rng.integers(1, 5))
        levels[place : place + width] += rng.choice([-1, 1]) * step * (rng.integers(13, 19) + 15 * rng.integers(0, 2))
        levels[place + width :] += step * rng.integers(-9, 10)
    levels[rng.integers(0, count, 6)] = NAN
    return levels / (1 if seed % 4 < 2 else 128)


@pytest.mark.parametrize("count", [2, 3, 60, 96, 97, 98, 193, 288, 289, 400])
def test_the_usual_change_is_the_largest_of_three_blocks_and_the_whole(count):
    levels = np.random.default_rng(count).integers(0, 9, count) * np.repeat([1.0, 9.0, 3.0, 2.0, 2.0], 96)[:count]
    np.testing.assert_array_equal(usual_change(levels), noise_of(levels))
    beside = np.insert(levels, [0, 1], NAN)
    np.testing.assert_array_equal(usual_change(beside), np.insert(noise_of(levels), [0, 1], NAN))
    assert np.isnan(usual_change([NAN, 3.0])).all()


@pytest.mark.parametrize("seed", range(14))
def test_spikes_are_those_of_the_rule(seed):
    values = jagged(seed)
    found = columns(find_spikes(values))
    assert found == spikes_of(values)
    assert len(found) >= 4


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        # 15 times the usual change of 1 is no spike, 16 is one
        ([0, 1, 0, 1, 16, 1, 0, 1], []),
        ([0, 1, 0, 1, 17, 1, 0, 1], [(4, 4, 16.0, 15.0)]),
        ([40, 41, 40, 41, 24, 41, 40, 41, 40], [(4, 4, -17.0, 15.0)]),
        # neighbours may differ by less than half of it
        ([0, 1, 0, 1, 29, 10, 9, 10, 9], [(4, 4, 23.5, 15.0)]),
        ([0, 1, 0, 1, 29, 11, 10, 11, 10], []),
        ([0, 1, 0, 1, 31, 11, 10, 11, 10], []),
        ([0, 1, 0, 1, 32, 11, 10, 11, 10], [(4, 4, 26.0, 15.0)]),
        # three samples, not four; the largest of them is stated
        ([0, 1, 0, 1, 20, 24, 22, 1, 0, 1, 0, 1], [(4, 6, 23.0, 15.0)]),
        ([0, 1, 0, 1, 0, 1, 20, 24, 22, 21, 1, 0, 1, 0, 1], []),
        # the second and the last but one
        ([0, 30, 0, 1, 0, 1, 0, 1, 0], [(1, 1, 30.0, 15.0)]),
        ([0, 1, 0, 1, 0, 1, 0, 30, 0], [(7, 7, 30.0, 15.0)]),
        ([0, 1, 0, 1, 0, 1, 0, 1, 30, 30], []),
        ([0, 1, 0, 1, 0, 1, 0, 1, 30, 31, 0], [(8, 9, 30.5, 15.0)]),
        # two beside each other share a neighbour
        ([0, 1, 0, 1, 30, 1, 30, 1, 0, 1, 0, 1, 0, 1], [(4, 4, 29.0, 15.0), (6, 6, 29.0, 15.0)]),
    ],
)
def test_spikes_at_their_limits(values, expected):
    assert columns(find_spikes(np.array(values, dtype=float))) == expected
    assert spikes_of(np.array(values, dtype=float)) == expected


@pytest.mark.parametrize(("place", "expected"), [(191, [(191, 191, 20.0, 15.0)]), (192, [])])
def test_the_limit_of_a_spike_is_that_of_its_first_sample(place, expected):
    """Changes of 1 in three blocks of 96 and of 8 in two more: from sample 192 on, the block beside counts as well."""
    level = np.r_[np.arange(288) % 2, 8.0 * (np.arange(192) % 2)]
    level[place - 1 : place + 2] = [0.0, 20.0, 0.0]
    assert columns(find_spikes(level)) == expected


def test_nothing_has_no_spikes_and_no_ends():
    assert columns(find_spikes([])) == columns(find_spikes([NAN])) == []
    assert columns(find_odd_ends(np.empty(0, "M8[us]"), [], longest_gap_s=1.0)) == []


@pytest.mark.parametrize(("more", "is_gap"), [(0, False), (1, True), (7000, True)])
def test_a_gap_is_longer_than_said_by_a_microsecond(more, is_gap):
    when = START + np.arange(60) * HOUR
    when[30:] += HOUR + more * US
    level = np.arange(60) % 2 + np.where(np.arange(60) == 30, 40.0, 0.0)
    assert find_odd_ends(when, level, longest_gap_s=7200.0).first.tolist() == ([30] if is_gap else [])
    stepped = np.arange(60) % 2 + np.where(np.arange(60) >= 30, 40.0, 0.0)
    assert find_steps(when, stepped, longest_gap_s=7200.0).place.tolist() == ([] if is_gap else [30])


def odd_ends_of(when, values, gap_s):
    here = present(values)
    levels, times = [values[place] for place in here], [when[place] for place in here]
    limits = limits_of(levels, 15)
    breaks = [n for n in range(1, len(here)) if (times[n] - times[n - 1]) / np.timedelta64(1, "s") > gap_s]
    found = []
    for first, end in itertools.pairwise([0, *breaks, len(here)]):
        if end - first < 24:
            continue
        for inward, beyond in ((list(range(first, end)), first - 1), (list(range(first, end))[::-1], end)):
            for width in (1, 2, 3):
                beside = [levels[n] for n in inward[width : width + 12]]
                away = [levels[n] - beside[0] for n in inward[:width]]
                moves = max(abs(b - a) for a, b in itertools.pairwise(beside))
                one_side = all(a > 0 for a in away) or all(a < 0 for a in away)
                if not one_side or min(map(abs, away)) <= max(limits[inward[0]], 3 * moves):
                    continue
                near = 0 <= beyond < len(here) and abs(times[beyond] - times[inward[0]]) <= 24 * HOUR
                if not near or abs(levels[beyond] - levels[inward[0]]) >= abs(levels[beyond] - beside[0]):
                    places = sorted(here[n] for n in inward[:width])
                    found.append((places[0], places[-1], max(away, key=abs), limits[inward[0]]))
                break
    return sorted(found)


def runs(seed):
    """Return runs of 23 to 40 samples with ends that stand off, and gaps of a few hours or a day."""
    rng = np.random.default_rng(seed)
    times, levels, at = [], [], START
    for _ in range(6):
        count = int(rng.choice([23, 24, 25, 40]))
        part = 100.0 + np.arange(count) % 2 + (rng.integers(0, 9, count) == 0) * rng.integers(0, 9)
        for end in (slice(0, int(rng.integers(0, 5))), slice(count - int(rng.integers(0, 5)), count)):
            part[end] += rng.choice([-1, 1]) * rng.integers(12, 26)
        levels += part.tolist()
        times += (at + np.arange(count) * HOUR).tolist()
        at += count * HOUR + int(rng.choice([1, 2, 3, 22, 23, 24])) * HOUR
    values = np.array(levels) / (1 if seed % 2 else 128)
    values[rng.integers(0, values.size, 3)] = NAN
    return np.array(times, dtype="datetime64[us]"), values


@pytest.mark.parametrize("seed", range(16))
def test_odd_ends_are_those_of_the_rule(seed):
    when, values = runs(seed)
    for gap_s in (7199.0, 7200.0):
        assert columns(find_odd_ends(when, values, longest_gap_s=gap_s)) == odd_ends_of(when, values, gap_s)


@pytest.mark.parametrize("count", [0, 1, 23, 24])
def test_ends_of_runs_of_24_samples_are_looked_at(count):
    when = START + np.arange(count) * HOUR
    level = np.arange(count) % 2 + 30.0 * (np.arange(count) > count - 2)
    found = find_odd_ends(when, level, longest_gap_s=3600.0)
    assert found.first.tolist() == ([23] if count == 24 else [])


@pytest.mark.parametrize(
    ("hours_to_next", "next_level", "sound"),
    [(24, 21.0, True), (24 + 1 / 3600, 21.0, False), (5, 12.0, True), (5, 11.0, False), (5, 10.0, False)],
)
def test_an_end_is_sound_where_the_next_run_goes_on_from_it_within_a_day(hours_to_next, next_level, sound):
    """The run is near 0 and 1 and ends at 21, beside a 1; so 11 is as near to both."""
    level = np.r_[np.arange(30) % 2, 21.0, next_level]
    when = START + np.r_[np.arange(31) * HOUR, 30 * HOUR + int(hours_to_next * 3600) * 1_000_000 * US]
    found = find_odd_ends(when, level, longest_gap_s=7200.0)
    assert found.first.tolist() == ([] if sound else [30])
    back = find_odd_ends(START + (when[-1] - when)[::-1], level[::-1], longest_gap_s=7200.0)
    assert back.last.tolist() == ([] if sound else [1])


def steps_of(when, values, gap_s):
    here = present(values)
    levels = [values[place] for place in here]
    limits = limits_of(levels, 25)
    sizes = [abs(after - before) for before, after in itertools.pairwise(levels)]
    found = []
    for n, size in enumerate(sizes):
        beside = max(sizes[max(n - 2, 0) : n] + sizes[n + 1 : n + 3], default=0.0)
        soon = (when[here[n + 1]] - when[here[n]]) / np.timedelta64(1, "s") <= gap_s
        if size <= limits[n + 1] or size <= 3 * beside or not soon:
            continue
        before, after = levels[max(n - 11, 0) : n + 1], levels[n + 1 : n + 13]
        slopes = [
            (statistics.median(late) - statistics.median(early)) / 6
            for early, late in ((before[:-6], before[-6:]), (after[:6], after[6:]))
            if early and late
        ]
        slope = sum(slopes) / len(slopes) if slopes else 0.0
        lasting = statistics.median(after) - statistics.median(before) - 12 * slope
        if lasting * (levels[n + 1] - levels[n]) > 0 and abs(lasting) >= 0.5 * size:
            found.append((here[n + 1], lasting, limits[n + 1]))
    return found


def stepped(seed, count=200):
    """Return whole numbers on a slope that step by about 25 or 75, some of which come back in part."""
    rng = np.random.default_rng(seed)
    levels = 500.0 + np.arange(count) % 2 + (seed % 3 - 1) * (np.arange(count) // 3)
    when = START + np.arange(count) * HOUR
    for place in rng.integers(1, count, 9):
        size = rng.choice([-1, 1]) * (rng.integers(22, 29) + 50 * rng.integers(0, 2))
        levels[place:] += size
        levels[place - 1] += rng.choice([0, 0, 8, 9])
        levels[place + int(rng.integers(3, 14)) :] -= rng.choice([0, size // 2, size // 2 - 1])
        when[place:] += rng.choice([0, 0, 1, 2]) * HOUR
    levels[rng.integers(0, count, 4)] = NAN
    return when, levels / (1 if seed % 2 else 128)


@pytest.mark.parametrize("seed", range(24))
def test_steps_are_those_of_the_rule(seed):
    when, values = stepped(seed)
    for gap_s in (7199.0, 7200.0):
        found = find_steps(when, values, longest_gap_s=gap_s)
        columns = list(zip(found.place.tolist(), found.size.tolist(), found.limit.tolist(), strict=True))
        expected = steps_of(when, values, gap_s)
        assert [place for place, *_ in columns] == [place for place, *_ in expected]
        np.testing.assert_allclose(np.array(columns), np.array(expected), rtol=1e-12)


@pytest.mark.parametrize(("count", "places"), [(0, []), (1, []), (2, []), (3, []), (4, [3])])
def test_series_of_a_few_samples_may_step(count, places):
    level = np.array([0.0, 0.01, 0.0, 5.0])[:count]
    found = find_steps(START + np.arange(count) * HOUR, level, longest_gap_s=3600.0)
    assert (found.place.tolist(), found.size.size, found.limit.size) == (places, len(places), len(places))


@pytest.mark.parametrize(
    ("size", "beside", "stays"), [(25, 1, False), (26, 1, True), (75, 25, False), (76, 25, True), (75, 24, True)]
)
@pytest.mark.parametrize("away", [-2, -1, 1, 2, 3, -3])
def test_a_step_is_25_times_the_usual_change_and_three_times_those_two_samples_away(size, beside, stays, away):
    """A change of 25 three samples away does not count; it is no step of its own beside a larger one."""
    changes = np.tile([1.0, -1.0], 40)
    changes[40], changes[40 + away] = size, beside * (1 if changes[40 + away] > 0 else -1)
    level = np.r_[0.0, np.cumsum(changes)]
    found = find_steps(START + np.arange(81) * HOUR, level, longest_gap_s=3600.0)
    far = abs(away) == 3 and size > 25
    assert (41 in found.place.tolist()) == (stays or far)


@pytest.mark.parametrize("sign", [-1.0, 1.0])
@pytest.mark.parametrize(
    ("values", "places", "sizes", "teeth"),
    [
        # together 12 against 4 that the level moved: three times as much, and just less
        ([5, 9, 9, 9, 9, 9], [1, 2, 3, 4], [3, 3, 3, 3], True),
        ([5, 9, 9, 9, 9, 9], [1, 2, 3, 4], [3, 3, 3, 2.99], False),
        ([5, NAN, 9, 9, 9, NAN, 9], [1, 2, 3, 5], [3, 3, 3, 3], True),
        # nothing before the first or after the last: no net change is known
        ([NAN, 9, 9, 9, 7, 9], [1, 2, 3, 4], [0.2, 0.2, 0.2, 0.2], True),
        ([5, 9, 9, 9, NAN, NAN], [1, 2, 3, 4], [0.2, 0.2, 0.2, 0.2], True),
        ([5, 9, 9, 9, 9, 9], [0, 2, 3, 4], [0.2, 0.2, 0.2, 0.2], True),
        # four of one way, whatever goes the other way
        ([5, 7, 7, 7, 7, 7, 5], [1, 2, 3, 4, 5], [3, 3, -8, 3, 3], True),
        ([5, 7, 7, 7, 7, 7, 5], [1, 2, 3, 4, 5], [3, 3, -8, -3, 3], False),
    ],
)
def test_teeth_of_a_saw_at_their_limits(sign, values, places, sizes, teeth):
    found = find_saw_tooth(sign * np.array(values), places, sign * np.array(sizes, dtype=float))
    assert found.tolist() == ([n for n, size in enumerate(sizes) if size > 0] if teeth else [])
    assert found.dtype == np.int64


def test_of_two_saws_the_falling_one_is_named():
    level = np.array([5.0, 9, 9, 5, 9, 5, 9, 5, 9])
    places, sizes = [1, 2, 3, 4, 5, 6, 7, 8], [4.0, -4, 4, -4, 4, -4, 4, -4]
    assert find_saw_tooth(level, places, sizes).tolist() == [1, 3, 5, 7]
    assert find_saw_tooth(level, places, np.zeros(8)).tolist() == []


@pytest.mark.parametrize(
    ("step", "offsets", "tolerance", "verdict"),
    [
        # the tolerance, exact in binary numbers: 1/8 m
        (0.25, [10.0, 9.875], 0.125, 1),  # half of it: within the tolerance both ways, and the sensor comes first
        (0.5, [10.0, 9.625], 0.125, 1),
        (0.5, [10.0, 9.375], 0.125, 1),
        (0.5, [10.0, 9.34375], 0.125, 0),
        (0.5, [10.0, 9.65625], 0.125, 0),
        (0.5, [10.0, 10.125], 0.125, -1),
        (0.5, [10.0, 9.875], 0.125, -1),
        (0.5, [10.0, 10.15625], 0.125, 0),
        # a quarter of the step where that is more
        (2.0, [10.0, 8.5], 0.125, 1),
        (2.0, [10.0, 8.53125], 0.125, 0),
        (-2.0, [10.0, 11.5], 0.125, 1),
        (-2.0, [10.0, 11.46875], 0.125, 0),
        (2.0, [10.0, 9.5], 0.125, -1),
    ],
)
def test_steps_are_confirmed_within_the_tolerance_or_a_quarter(step, offsets, tolerance, verdict):
    days = ["2024-05-01", "2024-06-01"]
    moved, by = confirm_steps(["2024-05-15"], [step], days, offsets, tolerance_m=tolerance)
    assert (moved.tolist(), by.tolist()) == ([verdict], [offsets[1] - offsets[0]])


def test_other_steps_after_one_reading_and_up_to_the_next_are_taken_off():
    """Steps in any order; one at the moment of the first reading is before it, one at the second counts."""
    times = ["2024-06-01", "2024-05-20", "2024-05-01", "2024-05-10", "2024-06-02"]
    sizes = [0.5, 0.25, 4.0, 0.125, 8.0]
    readings = ["2024-07-01", "2024-06-01", "2024-05-01", "2024-04-01"]
    moved, by = confirm_steps(times, sizes, readings, [-5.0, 3.0, 3.875, 8.0], tolerance_m=0.01)
    between = 3.0 - 3.875
    expected = [between + 0.375, between + 0.625, 3.875 - 8.0, between + 0.75, -5.0 - 3.0]
    assert by.tolist() == expected
    assert moved.tolist() == [1, 1, 1, 1, 1]
