"""Shifts of clocks against a correlation worked out pair by pair, and every limit that decides whether one is known."""

import bisect

import numpy as np
import pandas as pd
import pytest

from gwnet.errors import ReductionError
from gwnet.hydro.loggers import clock_shift
from gwnet.hydro.loggers.clock_shift import ClockOperation, correct_times, find_clock_jumps, find_clock_shift

HALF = np.timedelta64(1_800_000_000, "us")
HOUR = 2 * HALF
US = np.timedelta64(1, "us")
START = np.datetime64("2024-02-01T00:00", "us")
NAT = np.datetime64("NaT", "us")
NAN = float("nan")


def changes_on_grid(when, values, step_s, *, daily):
    """Return the changes by the number of the step, linear between samples no more than a gap apart, cut and centred."""
    series = pd.Series(values, pd.DatetimeIndex(when)).dropna()
    apart = pd.Series(when).diff().dt.total_seconds().dropna()
    gap_s = max(2 * step_s, 1.5 * apart.mode().min())
    seconds = (series.index.as_unit("us").asi8 / 1e6).tolist()
    levels = {}
    for number in range(int(seconds[0] // step_s), int(seconds[-1] // step_s) + 2):
        at = number * step_s
        before, after = bisect.bisect_right(seconds, at) - 1, bisect.bisect_left(seconds, at)
        if before >= 0 and after < len(seconds) and seconds[after] - seconds[before] <= gap_s:
            levels[number] = np.interp(at, seconds[before : after + 1], series.iloc[before : after + 1])
    changes = pd.Series({number: levels[number + 1] - levels[number] for number in levels if number + 1 in levels})
    group = changes.index % round(86_400 / step_s) if daily else np.zeros(len(changes))
    changes = changes - changes.groupby(group).transform("mean")
    scale = 1.482602218505602 * changes.abs().median() or changes.std(ddof=0)
    return changes.clip(-6 * scale, 6 * scale)


def correlations(own, other, most):
    """Return correlation and count by shift in steps."""
    found = {}
    for lag in range(-most, most + 1):
        moved = other.set_axis(other.index - lag)
        both = own.index.intersection(moved.index)
        found[lag] = (np.corrcoef(own[both], moved[both])[0, 1], len(both))
    return found


def weather(count, seed=1):
    rng = np.random.default_rng(seed)
    return 100_000 + np.cumsum(rng.normal(size=count) * 12) + 70 * np.sin(2 * np.pi * np.arange(count) / 24)


def noise(count, size, seed=2):
    return np.cumsum(np.random.default_rng(seed).normal(size=count)) * size


AIR = weather(760)
AT = START + np.arange(760) * HALF


def plain():
    own = AIR[20:420] + noise(400, 5)
    return AT[20:420] + 3 * HALF, own, AT, AIR, {"longest_lag_s": 9000.0}


def with_gaps():
    when, own, _, _, options = plain()
    own[[50, 120, 121, 300]] = NAN  # one missing sample is bridged, two are not
    keep = np.r_[0:200, 201:400]
    return when[keep], own[keep], np.delete(AT, [240, 400, 401]), np.delete(AIR, [240, 400, 401]), options


def one_wild_sample():
    when, own, _, _, options = plain()
    own[200] += 3e4
    return when, own, AT, AIR, options


def another_interval():
    """Samples every 2 hours from 7 minutes past, brought to half an hour; a gap of 4 hours and one of 3 hours 50."""
    hours = np.delete(np.arange(7 * 60, 380 * 3600, 7200), [30, 90])
    when = START + hours.astype("timedelta64[s]") - np.where(hours > 300_000, np.timedelta64(600, "s"), 0 * US)
    own = np.interp(when.astype(float), AT.astype(float), AIR) + noise(when.size, 6)
    return when, own, AT, AIR, {"longest_lag_s": 9000.0, "step_s": 1800.0}


def the_longer_interval():
    """Hourly beside half-hourly samples are compared by the hour."""
    pick = slice(1, 700, 2)
    return AT[pick] - HOUR, AIR[pick] + noise(350, 5), AT, AIR, {"longest_lag_s": 4 * 3600.0}


def odd_step():
    """Seventeen minutes do not divide the day, so that its mean course cannot be taken off."""
    return AT[:500], AIR[:500] + noise(500, 5), AT, AIR, {"longest_lag_s": 8200.0, "step_s": 1020.0}


@pytest.mark.parametrize(
    ("case", "step_s", "daily"),
    [
        (plain, 1800, True),
        (with_gaps, 1800, True),
        (one_wild_sample, 1800, True),
        (another_interval, 1800, True),
        (the_longer_interval, 3600, True),
        (odd_step, 1020, False),
    ],
)
def test_shifts_are_those_of_correlations_pair_by_pair(case, step_s, daily):
    when, own, reference_when, reference, options = case()
    found = find_clock_shift(when, own, reference_when, reference, **options)
    assert found.step_s == step_s
    most = int(options["longest_lag_s"] // step_s)
    expected = correlations(
        changes_on_grid(when, own, step_s, daily=daily),
        changes_on_grid(reference_when, reference, step_s, daily=daily),
        most,
    )
    best = max(expected, key=lambda lag: expected[lag][0])
    assert found.correlation == pytest.approx(expected[best][0], rel=1e-9)
    assert found.pairs == expected[best][1]
    assert found.determined
    assert found.shift_s == best * step_s
    rivals = [lag for lag in expected if lag != best and (lag == 0 or abs(lag - best) * step_s > 5400)]
    second = max(expected[lag][0] for lag in rivals)
    assert found.why == f"correlation {expected[best][0]:.2f}, next best {second:.2f}"


@pytest.mark.parametrize(("count", "daily"), [(336, True), (335, False)])
def test_the_course_of_the_day_is_taken_off_seven_days_of_changes(count, daily):
    """336 changes of half an hour are seven days; own and reference alike."""
    first = slice(0, count + 1)
    own = AIR[first] + noise(count + 1, 5)
    found = find_clock_shift(AT[first], own, AT[first], AIR[first], longest_lag_s=7200.0)
    series = [changes_on_grid(AT[first], values, 1800, daily=daily) for values in (own, AIR[first])]
    assert found.correlation == pytest.approx(correlations(*series, 4)[0][0], rel=1e-9)
    assert found.pairs == count


def test_changes_at_one_time_of_day_are_centred_on_their_mean():
    """Changes every 6 hours; one slot of the day has one value only, which leaves nothing, one step of 0.5 s too many."""
    rng = np.random.default_rng(3)
    changes = rng.normal(size=40) + np.tile([5.0, -3.0], 20)
    changes[[1, 5, 9, 13, 17, 21, 25, 29, 37]] = NAN
    slots = pd.Series(changes).groupby(np.arange(40) % 4)
    found = clock_shift._without_daily_course(changes, 21_600.0)
    np.testing.assert_allclose(found, changes - slots.transform("mean"), rtol=1e-12, atol=1e-12)
    assert found[33] == 0.0
    for uneven in (21_600.1, 21_599.9):
        found = clock_shift._without_daily_course(changes, uneven)
        np.testing.assert_allclose(found, changes - np.nanmean(changes), rtol=1e-12, atol=1e-12)
    daily = np.tile([0.1, -0.3, 0.7, -0.5], 9)
    daily[7] = NAN
    found = clock_shift._without_daily_course(daily, 21_600.0)
    np.testing.assert_array_equal(found, np.where(np.isnan(daily), NAN, 0.0))
    assert np.isnan(clock_shift._without_daily_course(np.full(9, NAN), 21_600.0)).all()


@pytest.mark.parametrize("size", [1e-9, 1.0, 1e9])
@pytest.mark.parametrize("few", [True, False])
def test_correlations_at_every_lag_are_those_of_the_pairs(monkeypatch, few, size):
    """Both ways of summing, lags without any overlap, with one pair and with two, a reference that begins elsewhere."""
    monkeypatch.setattr(clock_shift, "_FEW_SHIFTS", 250 if few else 0)
    rng = np.random.default_rng(9)
    own, other = 3.0 + rng.normal(size=40), 2.0 - rng.normal(size=25)
    own[[10, 11, 38]] = other[3] = NAN
    correlation, pairs = clock_shift._correlations(own * size, other / size, 4, 60)
    for place, lag in enumerate(range(-56, 65)):
        both = [(own[k], other[k + lag]) for k in range(40) if 0 <= k + lag < 25]
        both = np.array([pair for pair in both if not np.isnan(pair).any()]).reshape(-1, 2)
        assert pairs[place] == len(both)
        expected = np.corrcoef(both.T)[0, 1] if len(both) > 1 else NAN
        assert correlation[place] == pytest.approx(expected, abs=1e-9, nan_ok=True)


def test_a_series_that_rests_where_the_two_meet_has_no_correlation():
    """Of one series and of the other the part that meets at the longest shifts is one number, exact but for rounding."""
    rng = np.random.default_rng(5)
    still = np.r_[np.full(30, 0.1) * 3.1, rng.normal(size=60) + 0.3]
    moving = rng.normal(size=90)
    # at shifts of 66 and more the first 24 samples of one series or fewer meet the last of the other
    for own, other, places in ((still, moving, slice(-15, None)), (moving, still, slice(15))):
        correlation, pairs = clock_shift._correlations(own, other, 0, 80)
        assert np.isnan(correlation[places]).all()
        assert (pairs[places] >= 10).all()
        assert np.isnan(correlation).sum() < 60


def test_the_size_of_changes_is_robust_and_never_zero_while_they_differ():
    """1.4826 times the median size; the standard deviation where more than half are 0."""
    assert clock_shift._scale(np.array([-3.0, 1.0, -2.0, 50.0, 2.0])) == pytest.approx(1.482602218505602 * 2.0)
    assert clock_shift._scale(np.array([0.0, 0.0, 0.0, 4.0, -2.0])) == pytest.approx(np.std([0, 0, 0, 4, -2]))


def judged(best, others=(), *, pairs=1024, few=(), step=1800.0, least=0.0):
    """Return the verdict on shifts of -10 to 10 steps with correlations at some and number of pairs."""
    lags = np.arange(-10, 11)
    correlation, counts = np.full(21, least), np.full(21, pairs)
    for lag, value in (best, *others):
        correlation[lag + 10] = value
    for lag, count in few:
        counts[lag + 10] = count
    return clock_shift._judged(correlation, counts, lags * step, step)


@pytest.mark.parametrize(
    ("arguments", "shift_steps", "why"),
    [
        # four times the spread of a chance correlation, 1 / sqrt(pairs), and exactly so: 4 / 32 = 0.125
        (((4, 0.625), [(-6, 0.5)]), 4, "correlation 0.62, next best 0.50"),
        (((4, 0.625), [(-6, 0.5)], 1023), None, "another shift agrees nearly as well (0.50 against 0.62)"),
        # 0.1 at least, however many pairs
        (((4, 0.61), [(-6, 0.5)], 10**6), 4, "correlation 0.61, next best 0.50"),
        (((4, 0.59), [(-6, 0.5)], 10**6), None, "another shift agrees nearly as well (0.50 against 0.59)"),
        # shifts within 90 minutes belong to the peak
        (((4, 0.6), [(1, 0.59), (7, 0.59)]), 4, "correlation 0.60, next best 0.00"),
        (((4, 0.6), [(8, 0.59)]), None, "another shift agrees nearly as well (0.59 against 0.60)"),
        (((-4, 0.6), [(-8, 0.59)]), None, "another shift agrees nearly as well (0.59 against 0.60)"),
        # but no shift at all is always compared with, unless it is the best
        (((1, 0.6), [(0, 0.59)]), None, "the clock as it is agrees nearly as well (0.59 against 0.60)"),
        (((0, 0.6), [(1, 0.59)]), 0, "correlation 0.60, next best 0.00"),
        # the end of the shifts tried
        (((10, 0.6), []), None, "the best shift is the longest tried"),
        (((-10, 0.6), []), None, "the best shift is the longest tried"),
        (((9, 0.6), []), 9, "correlation 0.60, next best 0.00"),
        (((-9, 0.6), []), -9, "correlation 0.60, next best 0.00"),
        # the least correlation is 0.2
        (((4, 0.2), []), 4, "correlation 0.20, next best 0.00"),
        (((4, 0.1999), []), None, "the changes agree too little at any shift (best correlation 0.20)"),
    ],
)
def test_what_decides_whether_a_shift_is_known(arguments, shift_steps, why):
    found = judged(arguments[0], arguments[1], pairs=arguments[2] if len(arguments) > 2 else 1024)
    assert found.why == why
    assert found.determined == (shift_steps is not None)
    np.testing.assert_equal(found.shift_s, NAN if shift_steps is None else shift_steps * 1800.0)
    assert found.correlation == arguments[0][1]
    assert found.pairs == (arguments[2] if len(arguments) > 2 else 1024)
    assert found.step_s == 1800.0


def test_one_step_belongs_to_the_peak_where_steps_are_longer_than_90_minutes():
    assert judged((4, 0.6), [(5, 0.59), (3, 0.59)], step=7200.0).shift_s == 4 * 7200.0
    assert not judged((4, 0.6), [(6, 0.59)], step=7200.0).determined
    assert not judged((4, 0.6), [(6, 0.59)], step=3600.0).determined


def test_300_pairs_are_enough_at_a_shift_and_fewer_say_nothing():
    assert judged((4, 0.6), pairs=300).shift_s == 4 * 1800.0
    short = judged((4, 0.6), pairs=299)
    assert (short.determined, short.pairs, short.step_s) == (False, 0, 1800.0)
    assert short.why == "only 299 pairs of changes; 300 are needed"
    assert np.isnan([short.shift_s, short.correlation]).all()
    # a shift at which fewer pairs meet is neither the best nor a rival
    assert judged((4, 0.6), [(-8, 0.9)], few=[(-8, 299)]).shift_s == 4 * 1800.0
    assert judged((4, 0.6), [(-8, 0.9)], few=[(-8, 300)]).shift_s == -8 * 1800.0


def test_why_nothing_is_known_is_true():
    assert judged((0, NAN), least=NAN).why == "one of the two series does not change, or does nothing but repeat daily"
    only = judged((4, 0.6), few=[(lag, 299) for lag in range(-10, 11) if not 2 < lag < 6])
    assert only.why == "no shift far enough from the best has enough pairs of changes to compare it with"
    for when, other in ((AT[:1], AT), (AT, AT[:1])):
        found = find_clock_shift(when, AIR[: when.size], other, AIR[: other.size], step_s=1800.0)
        assert found.why == "fewer than two samples in one of the series"
        assert (found.step_s, found.pairs) == (1800.0, 0)
    found = find_clock_shift(AT[:2], AIR[:2], AT[:2], AIR[:2])
    assert found.why == "only 1 pairs of changes; 300 are needed"
    apart = find_clock_shift(AT[:99], AIR[:99], AT[200:], AIR[200:], longest_lag_s=3600.0)
    assert apart.why == "only 0 pairs of changes; 300 are needed"
    rare = find_clock_shift(AT, AIR, AT, AIR, longest_lag_s=1799.0)
    assert rare.why == "the samples are 1800 s apart, more than the longest shift of 1799 s"
    assert "300 are needed" not in find_clock_shift(AT, AIR, AT, AIR, longest_lag_s=1800.0).why


def test_shifts_are_tried_in_steps_of_one_second():
    at = START + np.arange(400) * np.timedelta64(1_000_000, "us")
    found = find_clock_shift(at - np.timedelta64(2_000_000, "us"), AIR[:400], at, AIR[:400], longest_lag_s=5.0)
    assert (found.step_s, found.pairs) == (1.0, 399)


@pytest.mark.parametrize("faulty", [{"step_s": 0.0}, {"step_s": -1.0}, {"longest_lag_s": 0.0}, {"longest_lag_s": NAN}])
def test_shifts_that_cannot_be_tried_are_refused(faulty):
    with pytest.raises(ReductionError, match="in steps of"):
        find_clock_shift(AT, AIR, AT, AIR, **{"step_s": 1800.0, "longest_lag_s": 7200.0, **faulty})


def test_shifts_up_to_26_hours_are_tried_unless_said():
    for hours, known in ((25.5, True), (26.0, False)):
        found = find_clock_shift(AT[100:660] - hours * HOUR.astype(int) * US, AIR[100:660], AT, AIR)
        assert found.determined == known
        assert known or found.why == "the best shift is the longest tried"


def hours_after(start, count):
    return start + np.arange(count) * HOUR


def edges(starts=(), days=1.0, count=100):
    when = hours_after(START, count)
    return clock_shift._window_edges(when, np.array(starts, dtype="datetime64[us]"), days)


def test_windows_are_of_one_length_near_to_the_one_wanted():
    """Hourly samples 0 to 99: four of 24.75 hours, and one sample past the first start in each."""
    assert edges() == [0, 25, 50, 75, 100]
    assert edges(days=2.0) == [0, 50, 100]
    assert edges(days=20.0) == [0, 100]
    assert edges([START + 30 * HOUR]) == [0, 30, 53, 76, 100]


def test_a_start_within_half_a_window_of_another_edge_begins_none():
    half = START + 12 * HOUR
    assert edges([half]) == [0, 12, 34, 56, 78, 100]
    assert edges([half - US]) == edges()
    last = START + 99 * HOUR + US - 12 * HOUR
    assert edges([last]) == [0, 22, 44, 66, 88, 100]
    assert edges([last + US]) == edges()
    assert edges([START, START - 30 * HOUR, START + 99 * HOUR, START + 200 * HOUR]) == edges()
    # each against the last that was kept, in order of time
    both = [START + 41 * HOUR, START + 30 * HOUR]
    assert edges(both) == edges([START + 30 * HOUR])
    assert edges([START + 42 * HOUR, START + 30 * HOUR]) == [0, 30, 42, 71, 100]


def test_the_reference_reaches_over_the_longest_shift_and_a_day():
    """26 hours and 24 more on both sides of hours 100 to 120."""
    reference = hours_after(START, 200)
    assert clock_shift._near(reference, hours_after(START + 100 * HOUR, 21)) == slice(50, 170)
    assert clock_shift._near(reference, hours_after(START + 100 * HOUR - US, 2)) == slice(50, 151)
    assert clock_shift._near(reference, reference[:0]) == slice(0, 0)


@pytest.mark.parametrize("place", [801, 1201, 1400])
def test_a_jump_is_found_at_its_sample(place):
    """Three windows of 14 days; the clock is put back by 90 minutes, with a spike on either side that says nothing."""
    air = weather(2016, seed=11)
    when = START + np.arange(2016) * HALF
    clock = np.where(np.arange(2016) >= place, when + 3 * HALF, when)
    level = air.copy()
    level[[place - 150, place + 170]] += [900.0, -700.0]
    (found,) = find_clock_jumps(clock, level, when, air)
    assert found.moment_utc == clock[place]
    assert (found.before.shift_s, found.after.shift_s, found.jump_s) == (0.0, -5400.0, -5400.0)
    windows = [clock[0], *clock[np.searchsorted(clock, clock[0] + (clock[-1] - clock[0] + US) * np.r_[1, 2] // 3)]]
    first = windows[0] if place < 1000 else windows[1]
    assert found.earliest_utc in windows
    assert first <= found.earliest_utc < clock[place] <= found.latest_utc


def test_a_jump_lies_between_the_windows_that_differ():
    """A file begins at the jump: windows of 16 and 12 days meet there, and the limits are those of the two."""
    air = weather(1344, seed=11)
    when = START + np.arange(1344) * HALF
    clock = np.where(np.arange(1344) >= 768, when + 2 * HALF, when)
    (found,) = find_clock_jumps(clock, air, when, air, starts_utc=clock[[768]])
    assert (found.earliest_utc, found.moment_utc, found.latest_utc) == (clock[0], clock[768], clock[-1])
    assert found.before.pairs == 768 - 1
    assert find_clock_jumps(clock[:0], air[:0], when, air) == []


def test_drift_is_shared_out_by_the_time_since_its_start():
    """A clock 120 s fast after 8 hours; half a second more or less is kept to the microsecond."""
    when = START + np.array([0, 1, 3, 6, 8, 9]) * HOUR
    found = correct_times(when, [ClockOperation(when[0], when[4], -120.5, grows=True)])
    expected = np.array([0, -120.5 / 8, -120.5 * 3 / 8, -120.5 * 6 / 8, 0, 0])
    np.testing.assert_array_equal(found.time_utc - when, np.round(expected * 1e6).astype("timedelta64[us]"))
    open_ended = correct_times(when, [ClockOperation(NAT, NAT, 5.0)])
    assert ((open_ended.time_utc - when) == np.timedelta64(5, "s")).all()
    with pytest.raises(ReductionError, match="A clock drift of -28800 s"):
        correct_times(when, [ClockOperation(when[0], when[4], -28_800.0, grows=True)])
    correct_times(when[:2], [ClockOperation(when[0], when[4], -28_799.0, grows=True)])
