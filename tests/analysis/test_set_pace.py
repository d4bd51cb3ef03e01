"""How fast heads moved against the time that a set took; constructed frames."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.maps.same_day import Span, same_day_set, span_of
from gwnet.analysis.maps.set_pace import moving_text, rates_of, set_text

from .frames import levels, wells

DAY = dt.date(2026, 3, 17)
SITE = wells(("A", 0, 0, {}), ("B", 100, 0, {}), ("C", 0, 100, {}))


def control_of(frame, window_days=2):
    return same_day_set(frame, SITE, aquifer="upper", date=DAY, time_zone="UTC", window_days=window_days)


def moved(**uncertainty):
    """A falls 0.5 m in two days, B stands; C has one level, and one far away in time."""
    return levels(
        ("A", "2026-03-15T10:00", 10.5, uncertainty),
        ("A", "2026-03-17T10:00", 10.0, uncertainty),
        ("B", "2026-03-16T10:00", 9.0, uncertainty),
        ("B", "2026-03-18T22:00", 9.0, uncertainty),
        ("C", "2026-01-01T10:00", 4.0, uncertainty),
        ("C", "2026-03-18T22:00", 8.0, uncertainty),
    )


def test_rates_are_the_wells_own_less_what_their_uncertainty_explains():
    frame = moved(uncertainty_m=0.03)
    rates = rates_of(frame, control_of(frame), DAY)
    assert rates.index.tolist() == ["A", "B"]
    assert rates["A"] == pytest.approx((0.5 - 0.03 * 2**0.5) / 2.0)
    assert rates["B"] == 0.0


def test_levels_whose_uncertainty_is_not_known_give_the_whole_rate():
    frame = moved(uncertainty_m=float("nan"))
    assert rates_of(frame, control_of(frame), DAY)["A"] == pytest.approx(0.25)


def test_levels_that_may_not_be_used_and_near_repeats_tell_no_rate():
    frame = levels(
        ("A", "2026-03-17T08:00", 10.0, {}),
        ("A", "2026-03-17T08:30", 12.0, {}),
        ("B", "2026-03-16T08:00", 3.0, {"unusable_reason": "pumping"}),
        ("B", "2026-03-17T08:00", 9.0, {}),
        ("C", "2026-03-17T08:00", 9.0, {}),
    )
    assert rates_of(frame, control_of(frame), DAY).empty


def test_a_warning_when_half_an_interval_passed_in_the_time_of_the_set():
    """A falls 0.25 m a day; the set takes 60 hours, in which that is 0.625 m."""
    frame = moved(uncertainty_m=0.0)
    control = control_of(frame)
    span = span_of(control)
    assert span.hours == 60.0
    rates = rates_of(frame, control, DAY)
    assert moving_text(rates, span, 1.3, "m") == ""
    assert moving_text(rates, span, 0.5, "m") == (
        "Levels moved too fast for a set that took 60 hours: A by up to 0.25 m a day within 30 days of the date, more "
        "than half a contour interval in that time; measure within 24 hours."
    )
    assert "0.82 ft a day" in moving_text(rates, span, 0.5, "ft")


def test_the_rule_in_words():
    assert set_text(DAY, 0).startswith("One level a well on 2026-03-17, local time: of several the usable one nearest")
    assert "within 1 day of 2026-03-17" in set_text(DAY, 1)
    assert "within 2.5 days of" in set_text(DAY, 2.5)


def test_levels_within_thirty_days_of_noon_of_the_date_give_a_rate_on_both_sides():
    before = levels(
        ("A", "2026-02-15T14:00", 9.0, {"uncertainty_m": 0.0}), ("A", "2026-03-17T10:00", 10.0, {"uncertainty_m": 0.0})
    )
    after = levels(
        ("A", "2026-03-17T10:00", 10.0, {"uncertainty_m": 0.0}), ("A", "2026-04-16T11:00", 9.0, {"uncertainty_m": 0.0})
    )
    late = levels(
        ("A", "2026-03-17T10:00", 10.0, {"uncertainty_m": 0.0}), ("A", "2026-04-16T14:00", 9.0, {"uncertainty_m": 0.0})
    )
    assert rates_of(before, control_of(before), DAY)["A"] == pytest.approx(1.0 / (29 + 20 / 24))
    assert rates_of(after, control_of(after), DAY)["A"] == pytest.approx(1.0 / (30 + 1 / 24))
    assert rates_of(late, control_of(late), DAY).empty


def rates_at(*rows, used=("A", "B", "C")):
    """Return the rates of levels whose uncertainty is nothing, by wells of which some are used."""
    frame = levels(*[(well, when, head, {"uncertainty_m": 0.0, **more}) for well, when, head, more in rows])
    control = pd.DataFrame({"site": "S", "well": ["A", "B", "C", "G"], "kind": ["well"] * 3 + ["stage"]})
    return rates_of(frame, control.assign(used=control["well"].isin([*used, "G"])), DAY)


@pytest.mark.parametrize(
    ("when", "rate"),
    [
        ("2026-03-17T11:00", 24.0),  # an hour is enough
        ("2026-03-17T10:59", None),
        ("2026-03-17T11:30", 16.0),
        ("2026-04-16T13:00", 1.0 / (30.0 + 3.0 / 24.0)),  # thirty days after noon of the date in UTC
        ("2026-04-16T13:01", None),
    ],
)
def test_levels_an_hour_apart_within_thirty_days_give_a_rate(when, rate):
    rates = rates_at(("A", "2026-03-17T10:00", 10.0, {}), ("A", when, 9.0, {}))
    assert rates.to_dict() == ({} if rate is None else {"A": pytest.approx(rate, rel=1e-9)})


def test_only_successive_levels_of_one_used_well_give_a_rate():
    """B has one level, a day after the last of A; G is a gauge; C has no elevation at one of its levels."""
    rows = [
        ("A", "2026-03-15T10:00", 10.0, {}),
        ("A", "2026-03-16T10:00", 10.5, {}),
        ("A", "2026-03-17T22:00", 10.2, {}),
        ("B", "2026-03-18T22:00", 13.0, {}),
        ("C", "2026-03-15T10:00", 10.0, {}),
        ("C", "2026-03-17T10:00", np.nan, {}),
        ("G", "2026-03-15T10:00", 10.0, {}),
        ("G", "2026-03-17T10:00", 12.0, {}),
    ]
    assert rates_at(*rows).to_dict() == {"A": pytest.approx(0.5)}
    assert rates_at(*rows, used=("B", "C")).empty


RATES = pd.Series({"A": 0.6, "B": 0.5, "C": 0.25, "D": 0.2})


@pytest.mark.parametrize(
    ("span", "interval_m", "expected"),
    [
        (Span(12.0, 1, 0, ""), 0.5, ("12 hours", "10 hours", 0)),  # 0.3 m of A alone are more than 0.25 m
        (Span(12.0, 1, 0, ""), 0.6, None),  # 0.3 m are half an interval and no more
        (Span(36.0, 2, 0, ""), 0.625, ("36 hours", "12 hours", 2)),  # 0.9, 0.75 and 0.375 m
        (Span(24.0, 2, 0, ""), 0.5, ("24 hours", "10 hours", 1)),  # 0.25 m of C are half an interval and no more
        (Span(24.0, 2, 1, ""), 0.5, ("48 hours", "10 hours", 3)),  # a level without a time may be of either day
        (Span(np.nan, 2, 2, ""), 0.5, ("48 hours", "10 hours", 3)),
        (Span(np.nan, 1, 0, ""), 0.5, ("24 hours", "10 hours", 1)),
        (Span(0.0, 1, 0, ""), 0.5, None),
    ],
)
def test_more_than_half_an_interval_in_the_time_of_the_set_is_too_fast(span, interval_m, expected):
    """Half an interval of 0.5 m at 0.6 m a day is passed in 10 hours."""
    text = moving_text(RATES, span, interval_m, "m")
    if expected is None:
        assert text == ""
        return
    took, allowed, others = expected
    allowed = allowed if interval_m == 0.5 else f"{0.5 * interval_m / 0.6 * 24:.0f} hours"
    also = f" (so did {others} more)" if others else ""
    assert text == (
        f"Levels moved too fast for a set that took {took}: A by up to 0.60 m a day within 30 days of the date{also}, "
        f"more than half a contour interval in that time; measure within {allowed}."
    )


def test_without_rates_nothing_moved():
    assert moving_text(RATES.iloc[:0], Span(36.0, 2, 0, ""), 0.1, "m") == ""
