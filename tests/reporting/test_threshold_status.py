"""Standing of thresholds: constructed series, each answer worked out by hand."""

import datetime as dt

import pandas as pd
import pytest

from gwnet.hydro.reduction.thresholds import CROSSED, NO_READING, NOT_CROSSED, UNDETERMINED
from gwnet.reporting.definition.period import parse_period
from gwnet.reporting.threshold_status import threshold_statuses, with_logger_days

WELLS = pd.DataFrame({"well": ["A", "B"]})
PERIOD = parse_period("2026-Q1")


def levels(*rows, well="A"):
    frame = pd.DataFrame(
        [
            {
                "well": well,
                "measured_at": f"{day}T12:00:00+00:00",
                "day": pd.Timestamp(day),
                "measured_at_utc": pd.Timestamp(f"{day} 12:00", tz="UTC"),
                "water_elevation_m": value,
                "bound": bound,
                "usable": usable,
                "unusable_reason": "" if usable else "dry",
                "uncertainty_m": 0.02,
                "review": review,
                "status": "dry" if bound else "static",
                "event_id": number,
                "finding": "",
                "method": "",
            }
            for number, (day, value, bound, usable, review) in enumerate(rows)
        ]
    )
    frame["measured_at_utc"] = frame["measured_at_utc"].astype("datetime64[us, UTC]")
    return frame


def ok(day, value, review="approved"):
    return day, value, "", True, review


def dry(day, value, review="approved"):
    return day, value, "<=", False, review


def threshold(elevation=10.0, kind="lower", consecutive=1, start=None, end=None, well="A"):
    return pd.DataFrame(
        [
            {
                "well": well,
                "threshold": "warning",
                "kind": kind,
                "quantity": "water_elevation",
                "elevation_m": elevation,
                "consecutive": consecutive,
                "valid_from_utc": pd.NaT if start is None else pd.Timestamp(start, tz="UTC"),
                "valid_until_utc": pd.NaT if end is None else pd.Timestamp(end, tz="UTC"),
                "basis": "permit",
                "action": "",
            }
        ]
    )


def one(thresholds, frame):
    (status,) = threshold_statuses(thresholds, frame, WELLS, PERIOD)
    return status


def test_crossed_with_the_day_of_the_first_crossing():
    status = one(threshold(), levels(ok("2025-06-01", 10.5), ok("2025-11-01", 9.9), ok("2026-02-01", 9.8)))
    assert (status.state, status.run, status.since) == (CROSSED, 2, dt.date(2025, 11, 1))
    assert status.words() == "crossed"
    assert status.margin_m == pytest.approx(-0.2)


def test_a_crossing_by_provisional_readings_says_so():
    status = one(threshold(consecutive=2), levels(ok("2025-11-01", 9.9, "provisional"), ok("2026-02-01", 9.8)))
    assert status.words() == "crossed, provisional"
    assert not one(threshold(), levels(ok("2025-11-01", 10.9, "provisional"), ok("2026-02-01", 9.8))).provisional


def test_the_rule_counts_crossings_in_a_row():
    status = one(threshold(consecutive=3), levels(ok("2025-11-01", 9.9), ok("2026-02-01", 9.8)))
    assert (status.state, status.words()) == (NOT_CROSSED, "not crossed: 2 of 3 in a row")


def test_dry_well_proves_the_crossing_only_at_or_below_the_threshold():
    assert one(threshold(10.0), levels(dry("2026-02-01", 10.0))).state == CROSSED
    assert one(threshold(9.9), levels(dry("2026-02-01", 10.0))).state == UNDETERMINED
    assert one(threshold(10.1, kind="upper"), levels(dry("2026-02-01", 10.0))).state == NOT_CROSSED


def test_rejected_bounds_and_unusable_levels_do_not_count():
    frame = levels(
        ok("2026-01-10", 10.5),
        dry("2026-02-01", 9.0, "rejected"),
        ("2026-02-02", 8.0, "", False, "approved"),
    )
    status = one(threshold(), frame)
    assert (status.state, status.newest["measured_at"][:10]) == (NOT_CROSSED, "2026-01-10")


def test_no_reading_in_the_period():
    status = one(threshold(), levels(ok("2025-11-01", 9.0)))
    assert (status.state, status.newest, status.words()) == (NO_READING, None, "no reading")


def test_readings_before_the_threshold_was_set_do_not_count():
    frame = levels(ok("2025-11-01", 9.0), ok("2026-02-01", 9.0))
    assert one(threshold(consecutive=2, start="2026-01-01"), frame).state == NOT_CROSSED


def test_thresholds_out_of_force_are_not_listed():
    frame = levels(ok("2026-02-01", 9.0))
    assert threshold_statuses(threshold(end="2025-12-01"), frame, WELLS, PERIOD) == ()
    assert threshold_statuses(threshold(start="2026-05-01"), frame, WELLS, PERIOD) == ()
    assert threshold_statuses(threshold(well="Z"), frame, WELLS, PERIOD) == ()


def test_nearer_than_the_half_width_is_said():
    assert one(threshold(), levels(ok("2026-02-01", 10.015))).within_uncertainty
    assert not one(threshold(), levels(ok("2026-02-01", 10.03))).within_uncertainty
    assert not one(threshold(), levels(dry("2026-02-01", 10.0))).within_uncertainty


def test_order_is_that_of_wells_then_from_high_to_low():
    both = pd.concat([threshold(9.0, well="B"), threshold(9.0), threshold(11.0)])
    frame = pd.concat([levels(ok("2026-02-01", 10.0)), levels(ok("2026-02-01", 10.0), well="B")])
    got = threshold_statuses(both, frame, WELLS, PERIOD)
    assert [(status.well, status.level_m) for status in got] == [("A", 11.0), ("A", 9.0), ("B", 9.0)]


def daily(*rows):
    """Return daily levels of a logger."""
    return levels(*rows).assign(method="logger", event_id=-1, status="static")


def test_a_threshold_sees_the_loggers_of_wells_nobody_reads():
    days = daily(*(ok(f"2026-03-{day:02d}", 10.4 - 0.1 * day) for day in range(1, 11)))
    nobody = levels(ok("2026-01-10", 11.0)).iloc[:0]
    (status,) = threshold_statuses(threshold(consecutive=3), with_logger_days(nobody, days), WELLS, PERIOD)
    assert (status.state, status.run) == (CROSSED, 7)
    assert status.since == dt.date(2026, 3, 4)
    assert status.newest["water_elevation_m"] == pytest.approx(9.4)


def test_a_sensor_out_of_water_below_a_lower_threshold_crosses_it_and_above_it_says_nothing():
    days = daily(dry("2026-03-10", 9.9)).assign(finding="sensor out of water", unusable_reason="sensor out of water")
    nobody = days.iloc[:0]
    (crossed,) = threshold_statuses(threshold(10.0), with_logger_days(nobody, days), WELLS, PERIOD)
    (open_question,) = threshold_statuses(threshold(9.5), with_logger_days(nobody, days), WELLS, PERIOD)
    assert (crossed.state, open_question.state) == (CROSSED, UNDETERMINED)


def test_a_reading_by_hand_goes_before_the_logger_of_its_day():
    read = levels(ok("2026-03-10", 10.5), ("2026-03-12", 10.1, "", False, "rejected"))
    days = daily(ok("2026-03-10", 9.0), ok("2026-03-11", 10.6), ok("2026-03-12", 10.7))
    joined = with_logger_days(read, days)
    kept = joined.loc[joined["method"] == "logger", "day"].dt.day.tolist()
    assert kept == [11, 12]
    assert with_logger_days(read, days.iloc[:0]) is read
