import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from gwnet.errors import ReductionError, ShapeError
from gwnet.hydro.arrays import broadcast
from gwnet.hydro.loggers.dense_series import daily_statistics, find_gaps, interpolate_at, thin, usual_interval_s

START = np.datetime64("2024-05-01T00:00", "us")
HOUR = np.timedelta64(1, "h")
NAN = np.nan


def hours(*numbers):
    """Return instants so many hours after the start."""
    return START + (np.array(numbers, dtype=float) * 3.6e9).astype("timedelta64[us]")


def test_the_value_between_two_samples_lies_on_the_line():
    asked = hours(-1, 0, 0.25, 1, 1.5, 4, 5)
    found = interpolate_at(asked, hours(0, 1, 2, 4), [10.0, 14.0, 12.0, 20.0], longest_gap_s=7200)
    np.testing.assert_array_equal(found, [NAN, 10.0, 11.0, 14.0, 13.0, 20.0, NAN])


def test_a_longer_gap_is_not_bridged_and_its_ends_are():
    found = interpolate_at(hours(1, 2, 4), hours(0, 1, 4), [1.0, 2.0, 3.0], longest_gap_s=3 * 3600 - 1)
    np.testing.assert_array_equal(found, [2.0, NAN, 3.0])


def test_a_missing_sample_widens_the_gap():
    samples = [1.0, NAN, 3.0]
    assert interpolate_at(hours(1), hours(0, 1, 2), samples, longest_gap_s=7200)[0] == 2.0
    assert np.isnan(interpolate_at(hours(1), hours(0, 1, 2), samples, longest_gap_s=7199)[0])


def test_the_shape_of_what_is_asked_and_a_missing_moment_are_kept():
    asked = np.array([[START, np.datetime64("NaT")], [START + HOUR, START]])
    found = interpolate_at(asked, hours(0, 1), [1.0, 2.0], longest_gap_s=3600)
    np.testing.assert_array_equal(found, [[1.0, NAN], [2.0, 1.0]])
    assert np.isnan(interpolate_at(asked, hours(0, 1), [NAN, NAN], longest_gap_s=3600)).all()


@pytest.mark.parametrize("times", [hours(0, 2, 1), hours(0, 0, 1)])
def test_times_that_do_not_rise_are_refused(times):
    with pytest.raises(ReductionError, match="expected times that rise"):
        interpolate_at(START, times, [1.0, 2.0, 3.0], longest_gap_s=1.0)
    with pytest.raises(ReductionError, match="expected times that rise"):
        find_gaps(times, [1.0, 2.0, 3.0], longest_gap_s=1.0)


def test_shapes_that_do_not_fit_are_named():
    with pytest.raises(ShapeError, match=r"times of shape \(2,\) and values of shape \(3,\)"):
        find_gaps(hours(0, 1), [1.0, 2.0, 3.0], longest_gap_s=1.0)
    with pytest.raises(ShapeError, match=r"first_m \(2,\), second_m \(3,\)"):
        broadcast(first_m=[1, 2], second_m=[1, 2, 3])
    with pytest.raises(ShapeError, match=r"\(1,\) and the values \(2,\)"):
        daily_statistics(["2024-05-01"], [1.0, 2.0], least_count=1)


def test_a_sample_without_a_time_is_refused_with_its_place():
    with pytest.raises(ReductionError, match="at place 1"):
        find_gaps(np.array([START, np.datetime64("NaT")]), [1.0, 2.0], longest_gap_s=1.0)


@pytest.mark.parametrize("gap", [-1.0, NAN])
def test_a_gap_that_is_no_length_of_time_is_refused(gap):
    with pytest.raises(ReductionError, match=r"longest gap is (-1\.0|nan) s"):
        interpolate_at(START, hours(0), [1.0], longest_gap_s=gap)
    with pytest.raises(ReductionError, match=r"longest gap is (-1\.0|nan) s"):
        find_gaps(hours(0), [1.0], longest_gap_s=gap)


def test_the_usual_interval_is_the_most_frequent():
    assert usual_interval_s(hours(0, 0.5, 1.0, 1.25, 9)) == 1800.0
    assert np.isnan(usual_interval_s(hours(0)))


def test_gaps_lie_between_numbers():
    gaps = find_gaps(hours(0, 1, 2, 3, 7, 8), [NAN, 1.0, NAN, 2.0, 3.0, NAN], longest_gap_s=3600)
    np.testing.assert_array_equal(gaps.before, [1, 3])
    np.testing.assert_array_equal(gaps.after, [3, 4])
    np.testing.assert_array_equal(gaps.start_utc, hours(1, 3))
    np.testing.assert_array_equal(gaps.end_utc, hours(3, 7))
    np.testing.assert_array_equal(gaps.duration_s, [7200.0, 14400.0])
    just = find_gaps(hours(0, 1, 2, 3, 7, 8), [NAN, 1.0, NAN, 2.0, 3.0, NAN], longest_gap_s=7200)
    np.testing.assert_array_equal(just.duration_s, [14400.0])


def test_a_series_without_samples_has_no_gaps():
    assert find_gaps(hours(), [], longest_gap_s=1.0).before.size == 0
    assert find_gaps(hours(0, 9), [NAN, 1.0], longest_gap_s=1.0).before.size == 0


def test_thinning_keeps_one_break_where_the_line_is_broken():
    values = [1.0, NAN, NAN, 2.0, 2.5, 3.0, NAN]
    kept = thin(hours(*range(7)), values, start_utc=START, end_utc=START + 6 * HOUR, columns=1)
    assert kept.tolist() == [0, 1, 3, 5]


def test_thinning_keeps_the_sample_beyond_each_edge():
    kept = thin(hours(*range(9)), np.zeros(9), start_utc=START + 3 * HOUR, end_utc=START + 5 * HOUR, columns=1)
    assert kept.tolist() == [2, 3, 5, 6]
    none_inside = thin(hours(0, 9), [1.0, 2.0], start_utc=START + 3 * HOUR, end_utc=START + 5 * HOUR, columns=4)
    assert none_inside.tolist() == [0, 1]


def test_thinning_keeps_the_extremes_of_equal_times_and_refuses_falling_ones():
    values = [1.0, 9.0, -4.0, 2.0, 2.0]
    at = hours(0, 1, 1, 2, 3)
    assert thin(at, values, start_utc=START, end_utc=START + 3 * HOUR, columns=1).tolist() == [0, 1, 2, 4]
    with pytest.raises(ReductionError, match="fall"):
        thin(hours(1, 0), [1.0, 2.0], start_utc=START, end_utc=START + HOUR, columns=1)


@pytest.mark.parametrize(("end", "columns"), [(START, 10), (START - HOUR, 10), (START + HOUR, 0)])
def test_a_figure_without_width_is_refused(end, columns):
    with pytest.raises(ReductionError, match="cannot be drawn on"):
        thin(hours(0, 1), [1.0, 2.0], start_utc=START, end_utc=end, columns=columns)


levels = st.one_of(st.floats(-100, 100), st.sampled_from([NAN, 0.0, 1.0]))


def test_columns_are_split_at_the_first_microsecond_of_each():
    """Ten microseconds in three columns: 0 to 3, 4 to 6 and 7 to 10."""
    at = START + np.arange(11).astype("timedelta64[us]")
    kept = thin(at, np.zeros(11), start_utc=at[0], end_utc=at[-1], columns=3)
    assert kept.tolist() == [0, 3, 4, 6, 7, 10]


@st.composite
def drawn_series(draw):
    longest = draw(st.sampled_from([3, 5000]))
    steps = draw(st.lists(st.integers(1, longest), max_size=120))
    values = draw(arrays.arrays(float, len(steps), elements=levels))
    width, left = draw(st.integers(1, 40 * longest)), draw(st.integers(0, longest))
    return np.cumsum(np.array(steps, dtype=np.int64)), values, left, width, draw(st.integers(1, 40))


@given(drawn_series())
def test_thinning_keeps_first_last_and_extremes_of_every_column(case):
    offset, values, left, width, columns = case
    start = START + np.timedelta64(left, "us")
    kept = thin(
        START + offset.astype("timedelta64[us]"),
        values,
        start_utc=start,
        end_utc=start + np.timedelta64(width, "us"),
        columns=columns,
    )
    assert (np.diff(kept) > 0).all()
    column = [
        min((int(at) - left) * columns // width, columns - 1) if left <= at <= left + width else -1 for at in offset
    ]
    column = np.array(column, dtype=int)
    piece = np.cumsum(np.isnan(values))
    chosen = np.isin(np.arange(len(values)), kept)
    numbers = ~np.isnan(values)
    for number in set(column[numbers]) - {-1}:
        here = np.flatnonzero((column == number) & numbers)
        kept_here = here[chosen[here]]
        assert kept_here[0] == here[0]
        assert kept_here[-1] == here[-1]
        assert values[kept_here].min() == values[here].min()
        assert values[kept_here].max() == values[here].max()
        assert all(len(set(here[piece[here] == p]) & set(kept)) <= 4 for p in piece[here])
        assert set(piece[here]) == set(piece[kept_here])
    drawn = kept[numbers[kept]]
    for before, after in itertools.pairwise(drawn):
        assert np.isnan(values[before:after]).any() == np.isnan(values[kept[(kept > before) & (kept < after)]]).any()


def test_days_are_stated_in_full_and_thin_ones_have_no_mean():
    day = np.array(["2024-05-03", "2024-05-01", "2024-05-01", "2024-05-01"], "M8[D]")
    found = daily_statistics(day, [9.0, 1.0, NAN, 4.0], least_count=2)
    assert found.day.astype(str).tolist() == ["2024-05-01", "2024-05-02", "2024-05-03"]
    assert found.count.tolist() == [2, 0, 1]
    np.testing.assert_array_equal(found.mean, [2.5, NAN, NAN])
    np.testing.assert_array_equal(found.minimum, [1.0, NAN, NAN])
    np.testing.assert_array_equal(found.maximum, [4.0, NAN, NAN])


def test_no_samples_make_no_days_and_a_missing_day_is_refused():
    assert daily_statistics(np.empty(0, "M8[D]"), [], least_count=1).day.size == 0
    with pytest.raises(ReductionError, match="no day"):
        daily_statistics(np.array(["NaT"], "M8[D]"), [1.0], least_count=1)
    with pytest.raises(ReductionError, match="made of 0"):
        daily_statistics(["2024-05-01"], [1.0], least_count=0)


@given(st.lists(st.tuples(st.integers(0, 6), levels), min_size=1, max_size=60), st.integers(1, 4))
def test_daily_statistics_are_those_of_each_day_alone(samples, least):
    number, values = np.array([n for n, _ in samples]), np.array([v for _, v in samples])
    found = daily_statistics(np.datetime64("2024-05-01", "D") + number, values, least_count=least)
    for place, day in enumerate(range(number.min(), number.max() + 1)):
        alone = values[(number == day) & ~np.isnan(values)]
        assert found.count[place] == len(alone)
        if len(alone) < least:
            assert np.isnan([found.mean[place], found.minimum[place], found.maximum[place]]).all()
            continue
        assert found.minimum[place] == alone.min()
        assert found.maximum[place] == alone.max()
        assert found.mean[place] == pytest.approx(alone.mean(), abs=1e-9)
        assert alone.min() <= found.mean[place] <= alone.max()
