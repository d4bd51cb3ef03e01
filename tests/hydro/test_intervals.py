import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gwnet.errors import ShapeError
from gwnet.hydro.reduction.intervals import in_force


def test_start_is_inside_and_end_is_outside():
    result = in_force([1, 1], [0.0, 10.0], [10.0, np.nan], [1, 1, 1, 1], [0.0, 9.999, 10.0, 1e9])
    assert result.index.tolist() == [0, 0, 1, 1]


def test_times_may_be_instants_with_an_open_end():
    start = np.array(["2020-01-01", "2021-01-01"], "datetime64[us]")
    end = np.array(["2021-01-01", "NaT"], "datetime64[us]")
    times = np.array(["2019-12-31", "2020-07-01", "2030-01-01"], "datetime64[us]")
    assert in_force([5, 5], start, end, [5, 5, 5], times).index.tolist() == [-1, 0, 1]


def test_none_and_two_in_force_give_no_position():
    result = in_force([1, 1], [0.0, 5.0], [10.0, 15.0], [1, 1, 2], [7.0, 20.0, 7.0])
    assert result.index.tolist() == [-1, -1, -1]
    assert result.count.tolist() == [2, 0, 0]


def test_the_one_still_in_force_is_found_when_a_later_one_has_ended():
    assert in_force([1, 1], [0.0, 5.0], [np.nan, 6.0], [1], [8.0]).index.tolist() == [0]


def test_no_intervals_at_all():
    assert in_force([], [], [], [1, 2], [0.0, 1.0]).index.tolist() == [-1, -1]


def test_unequal_columns_are_refused():
    with pytest.raises(ShapeError, match="expected equal shapes"):
        in_force([1], [0.0, 1.0], [1.0, 2.0], [1], [0.5])


interval = st.tuples(st.integers(0, 3), st.integers(0, 30), st.one_of(st.none(), st.integers(1, 20)))
query = st.tuples(st.integers(0, 4), st.integers(-2, 50))


@given(st.lists(interval, max_size=12), st.lists(query, max_size=12))
def test_equals_looking_at_every_interval(intervals, queries):
    group = [g for g, _, _ in intervals]
    start = np.array([float(s) for _, s, _ in intervals])
    end = np.array([np.nan if length is None else float(s + length) for _, s, length in intervals])
    result = in_force(group, start, end, [g for g, _ in queries], np.array([float(t) for _, t in queries]))
    for number, (wanted, time) in enumerate(queries):
        holds = [
            i
            for i, (g, s, length) in enumerate(intervals)
            if g == wanted and s <= time and (length is None or time < s + length)
        ]
        assert result.count[number] == len(holds)
        assert result.index[number] == (holds[0] if len(holds) == 1 else -1)
