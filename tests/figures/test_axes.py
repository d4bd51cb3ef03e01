"""Steps, ticks of dates, local time and thinning."""

import datetime as dt
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gwnet.figures.base.axes import (
    date_ticks,
    day_number,
    day_of_number,
    local_days,
    nice_step,
    round_ticks,
    to_local_days,
)


@given(st.floats(1e-3, 1e6), st.integers(1, 40))
def test_a_nice_step_is_round_and_gives_no_more_steps_than_asked(span, most):
    step = nice_step(span, most)
    assert span / step <= most * (1 + 1e-6)
    mantissa = step / 10 ** np.floor(np.log10(step) + 1e-9)
    assert min(abs(mantissa - round_) for round_ in (1, 2, 5)) < 1e-6


def test_round_ticks_hold_both_ends():
    assert round_ticks(-0.4, 0.4, 0.2) == [-0.4, -0.2, 0.0, 0.2, 0.4]


def test_days_count_from_1970_also_before_it():
    assert day_number(dt.date(1970, 1, 2)) == 1
    assert day_number(dt.date(1925, 1, 15)) == -16422
    assert day_of_number(-16422.3) == dt.date(1925, 1, 14)


def test_local_times_keep_the_clock_that_was_read_and_dates_alone_stand_at_noon():
    days = local_days(["2024-07-01T12:00+02:00", "2024-07-01T12:00-05:00", "2024-07-01", "2024-07-01T12:00:00Z"])
    assert days.tolist() == [day_number(dt.date(2024, 7, 1)) + 0.5] * 4


def test_utc_becomes_local_time_with_summer_time():
    days = to_local_days(
        [pd.Timestamp("2024-07-01T10:00Z"), pd.Timestamp("2024-01-01T23:30Z"), pd.NaT], "Europe/Vienna"
    )
    assert days[0] == day_number(dt.date(2024, 7, 1)) + 0.5
    assert days[1] == pytest.approx(day_number(dt.date(2024, 1, 2)) + 0.5 / 24)
    assert np.isnan(days[2])


@pytest.mark.parametrize(
    ("first", "last", "most", "labels"),
    [
        ("1925-01-15", "2024-12-31", 10, [str(year) for year in range(1930, 2021, 10)]),
        ("2015-02-01", "2021-02-01", 10, ["2016", "2017", "2018", "2019", "2020", "2021"]),
        ("2023-11-20", "2024-06-10", 8, ["Dec\n2023", "Jan\n2024", "Feb", "Mar", "Apr", "May", "Jun"]),
        ("2024-02-27", "2024-03-06", 9, ["27 Feb\n2024", "28", "29", "1 Mar\n2024", "2", "3", "4", "5", "6"]),
    ],
)
def test_ticks_of_dates_suit_the_span(first, last, most, labels):
    ticks = date_ticks(day_number(dt.date.fromisoformat(first)), day_number(dt.date.fromisoformat(last)), most)
    assert [tick.label for tick in ticks if tick.label] == labels
    assert all(a.days < b.days for a, b in pairwise(ticks))


@given(st.integers(-30_000, 30_000), st.integers(1, 60_000), st.integers(2, 14))
def test_there_are_never_more_labels_than_room(first, span, most):
    labels = [tick for tick in date_ticks(first, first + span, most) if tick.label]
    assert len(labels) <= most + 1
    assert all(first <= tick.days <= first + span for tick in labels)
