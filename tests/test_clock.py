import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gwnet.clock import moment_text, offset_minutes, to_utc, zone_of
from gwnet.errors import ClockError


def times(*texts):
    return np.array(texts, dtype="datetime64[us]")


def test_summer_and_winter_time():
    made = to_utc(times("2024-01-15T12:00", "2024-07-15T12:00"), "Europe/Vienna")
    assert made.utc.tolist() == times("2024-01-15T11:00", "2024-07-15T10:00").tolist()
    assert made.offset_minutes.tolist() == [60, 120]


def test_a_time_that_never_was():
    made = to_utc(
        times("2024-03-31T01:59", "2024-03-31T02:00", "2024-03-31T02:59", "2024-03-31T03:00"), "Europe/Vienna"
    )
    assert made.skipped.tolist() == [False, True, True, False]
    assert np.isnat(made.utc).tolist() == [False, True, True, False]


def test_a_time_that_was_twice():
    made = to_utc(
        times("2024-10-27T01:59", "2024-10-27T02:00", "2024-10-27T02:59", "2024-10-27T03:00"), "Europe/Vienna"
    )
    assert made.twice.tolist() == [False, True, True, False]


def test_a_fixed_offset_knows_no_clock_change():
    made = to_utc(times("2024-03-31T02:30"), "UTC-07:00")
    assert made.utc.tolist() == times("2024-03-31T09:30").tolist()
    assert not made.skipped.any()


def test_missing_times_stay_missing():
    made = to_utc(times("NaT", "2024-01-01"), "America/Denver")
    assert np.isnat(made.utc).tolist() == [True, False]
    assert np.isnat(to_utc(times("NaT"), "America/Denver").utc).all()


@pytest.mark.parametrize("name", ["Mars/Olympus", "UTC+25:00", "", "../etc/passwd"])
def test_unknown_zones_are_refused(name):
    with pytest.raises(ClockError, match="IANA name"):
        zone_of(name)


zones = st.sampled_from(["Europe/Vienna", "America/Denver", "Australia/Lord_Howe", "Asia/Kolkata", "Africa/Casablanca"])
moments = st.datetimes(dt.datetime(1920, 1, 1), dt.datetime(2035, 12, 31))  # noqa: DTZ001 (wall clock)


@given(moments, zones)
def test_equals_the_standard_library(moment, name):
    rule = ZoneInfo(name)
    moment = moment.replace(second=0, microsecond=0)
    made = to_utc(times(moment.isoformat()), name)
    first, second = moment.replace(tzinfo=rule, fold=0), moment.replace(tzinfo=rule, fold=1)
    offset = first.utcoffset()
    if offset.total_seconds() % 60 or second.utcoffset().total_seconds() % 60:
        return
    back = first.astimezone(dt.UTC).astimezone(rule).replace(tzinfo=None)
    assert made.skipped[0] == (back != moment)
    if back == moment:
        assert made.twice[0] == (offset != second.utcoffset())
        if not made.twice[0]:
            assert made.utc[0].item() == (moment - offset)


@given(moments, zones)
def test_offset_of_an_instant_equals_the_standard_library(moment, name):
    moment = moment.replace(second=0, microsecond=0)
    expected = moment.replace(tzinfo=dt.UTC).astimezone(ZoneInfo(name)).utcoffset().total_seconds()
    if expected % 60 == 0:
        assert offset_minutes(times(moment.isoformat()), name)[0] * 60 == expected


def test_an_instant_is_named_with_the_offset_of_its_zone():
    moment = dt.datetime(2026, 7, 1, 22, 30, 15, tzinfo=dt.UTC)
    assert moment_text(moment, "Europe/Vienna") == "2026-07-02 00:30:15 UTC+02:00"
    assert moment_text(moment, "America/Los_Angeles", timespec="minutes") == "2026-07-01 15:30 UTC-07:00"
    assert moment_text(moment, "UTC") == "2026-07-01 22:30:15 UTC"
    assert (
        moment_text(moment.replace(microsecond=5), "UTC+05:30", timespec="auto")
        == "2026-07-02 04:00:15.000005 UTC+05:30"
    )
