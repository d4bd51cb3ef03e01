"""States of thresholds: every field, every remark, the limits of each rule, and the rows of their tables."""

import datetime as dt
import math

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.thresholds.record import crossings_table, limits_in_force, states_table, wells_of
from gwnet.analysis.thresholds.states import (
    CROSSED,
    NOT_CROSSED,
    UNCONFIRMED,
    UNJUDGED,
    Crossing,
    Extreme,
    LaneCount,
    Remark,
    ThresholdState,
    find_states,
)

from .threshold_rows import FIRST, LAST, ZONE, at, change, days, frame, gradient, level, limit, one


@pytest.mark.parametrize(
    ("force", "first", "last"),
    [
        ({}, FIRST, LAST),
        # the last instant before midnight of 1 January, local time
        ({"valid_until_utc": at("2025-12-31 23:00")}, None, None),
        ({"valid_until_utc": at("2025-12-31 23:00:01")}, FIRST, FIRST),
        ({"valid_from_utc": at("2026-03-31 21:59")}, LAST, LAST),
        ({"valid_from_utc": at("2026-03-31 23:00")}, None, None),
        ({"valid_from_utc": at("2026-01-31 23:00"), "valid_until_utc": at("2026-02-10 23:00")}, dt.date(2026, 2, 1), dt.date(2026, 2, 10)),
    ],
)  # fmt: skip
def test_a_state_covers_the_days_on_which_its_threshold_is_in_force(force, first, last):
    limits = limit(**force)
    for name in ("valid_from_utc", "valid_until_utc"):
        limits[name] = pd.to_datetime(limits[name], utc=True)
    found = find_states(limits, frame(), pd.DataFrame(), ["A"], FIRST, LAST, ZONE)
    assert [(state.first, state.last) for state in found] == ([] if first is None else [(first, last)])


def test_levels_on_the_first_and_on_the_last_day_are_of_the_period():
    read = frame(level("2025-12-31", 9.0), level("2026-01-01", 9.2), level("2026-03-31", 9.1), level("2026-04-01", 8.0))
    state = one(limit(), read)
    assert state.counts["manual"] == LaneCount(beyond=2)
    assert state.extreme.value_m == 9.1
    assert state.crossings[0].levels_in_period == 2
    assert state.crossings[0].levels == 3
    assert state.lane("manual", dt.date(2026, 3, 31))["value_m"].tolist() == [9.1]
    assert one(limit(), None, days("2025-12-31", 9.0, 9.2)).counts["logger"].beyond == 1


def test_states_are_listed_by_consequence_well_elevation_name_and_time():
    limits = pd.concat(
        [
            limit(9.0, threshold="low"),
            limit(9.5, threshold="high"),
            limit(9.5, threshold="early"),
            change(0.3, threshold="pace"),
            limit(9.0, well="B", threshold="low"),
            limit(11.0, threshold="passed"),
            limit(9.0, well="C", threshold="elsewhere"),
        ]
    )
    read = frame(level("2026-01-10", 10.0), level("2026-02-05", 10.1), level("2026-02-05", 10.0, well="B"))
    limits["limit_m"] = limits["limit_m"].fillna(limits["elevation_m"])
    found = find_states(limits, read, pd.DataFrame(), ["B", "A"], FIRST, LAST, ZONE)
    assert [(state.state, state.well, state.threshold) for state in found] == [
        (CROSSED, "A", "passed"),
        (NOT_CROSSED, "B", "low"),
        (NOT_CROSSED, "A", "early"),
        (NOT_CROSSED, "A", "high"),
        (NOT_CROSSED, "A", "low"),
        (NOT_CROSSED, "A", "pace"),
    ]


@pytest.mark.parametrize("asked", [None, 0, 1])
def test_a_rule_without_a_number_asks_for_one_level(asked):
    state = one(limit(consecutive=asked), frame(level("2026-01-10", 9.0)))
    assert (state.state, state.consecutive) == (CROSSED, 1)


def test_every_field_of_a_state_and_of_its_crossing():
    read = frame(
        level("2025-12-20", 9.6),
        level("2026-01-01", 9.8, review="provisional"),
        level("2026-01-20", 9.5, uncertainty_m=0.04),
        level("2026-02-01", 10.3, "<="),
        level("2026-02-10", 10.2),
        level("2026-02-20", 9.0, status="pumping"),
    )
    state = one(limit(consecutive=2, basis=None, action="Stop pumping."), read)
    peak = Extreme(9.5, "2026-01-20T12:00+01:00", 0.5, "manual", "", 0.04)
    expected = Crossing(
        source="manual",
        first=dt.date(2025, 12, 20),
        last=dt.date(2026, 1, 20),
        ended_by=dt.date(2026, 2, 10),
        levels=3,
        levels_in_period=2,
        in_a_row=3,
        confirmed_on=dt.date(2026, 1, 1),
        peak=peak,
        is_provisional=True,
    )
    assert state.crossings == (expected,)
    assert (state.well, state.threshold, state.kind, state.level_m, state.consecutive) == (
        "A",
        "warning",
        "lower",
        10.0,
        2,
    )
    assert (state.first, state.last, state.state, state.extreme) == (FIRST, LAST, CROSSED, peak)
    assert (state.reason, state.caution, state.basis, state.action) == (Remark(), Remark(), "", "Stop pumping.")
    assert state.counts == {"manual": LaneCount(2, 1, 1, 1), "logger": LaneCount()}
    assert state.counts["manual"].judged == 3
    assert (state.form, state.days, state.other_well, state.elevation_m) == ("level", 0, "", 10.0)
    assert math.isnan(state.distance_m)
    assert math.isnan(state.gradient)
    assert (state.in_a_row("manual"), state.in_a_row("logger"), state.is_provisional) == (3, 0, True)
    assert one(limit(action=None)).action == ""
    of_gradient = one(gradient(0.5), None)
    assert (of_gradient.other_well, of_gradient.distance_m, of_gradient.days) == ("B", 200.0, 0)
    assert math.isnan(of_gradient.elevation_m)


def test_what_is_left_out_of_a_state_is_of_no_other_form():
    bare = dict.fromkeys(("well", "threshold", "kind", "state"), "")
    parts = {"reason": Remark(), "caution": Remark(), "crossings": (), "counts": {}, "extreme": None}
    state = ThresholdState(**bare, **parts, level_m=1.0, consecutive=1, first=FIRST, last=LAST, levels=frame())
    assert (state.form, state.days, state.basis, state.action, state.other_well) == ("level", 0, "", "", "")


@pytest.mark.parametrize(("margin", "within"), [(0.03, True), (-0.03, True), (0.0301, False), (-0.0301, False)])
def test_a_margin_as_large_as_the_half_width_is_within_it(margin, within):
    assert Extreme(9.0, "", margin, "manual", "", 0.03).is_within_uncertainty is within


def test_readings_in_a_row_are_counted_across_gaps_and_days_of_a_logger_are_not():
    read = frame(level("2026-01-05", 9.0), level("2026-02-05", 9.0), level("2026-03-05", 9.0))
    assert one(limit(consecutive=3), read).crossings[0].confirmed_on == dt.date(2026, 3, 5)
    (crossing,) = one(limit(consecutive=3), logged=days("2026-01-05", 9.0, None, 9.0, 9.0, 9.0, None, 9.0)).crossings
    assert (crossing.in_a_row, crossing.confirmed_on, crossing.levels) == (3, dt.date(2026, 1, 9), 5)
    (crossing,) = one(limit(consecutive=4), logged=days("2026-01-05", 9.0, None, 9.0, 9.0, 9.0, None, 9.0)).crossings
    assert crossing.confirmed_on is None


def dry(*places):
    return [level(place, 10.3, "<=") for place in places]


@pytest.mark.parametrize(
    ("rows", "consecutive", "state"),
    [
        # two bounds one after another could hide what the rule confirms, wherever numbers stand
        ([*dry("2026-01-05", "2026-01-06"), level("2026-01-07", 10.5)], 2, UNJUDGED),
        ([level("2026-01-04", 10.5), *dry("2026-01-05", "2026-01-06")], 2, UNJUDGED),
        ([*dry("2026-01-05", "2026-01-06"), level("2026-01-07", 10.5)], 3, NOT_CROSSED),
        ([*dry("2026-01-05"), level("2026-01-06", 10.5), *dry("2026-01-07")], 2, NOT_CROSSED),
        # a level that is left out does not part them
        ([*dry("2026-01-05"), level("2026-01-06", 9.0, status="pumping"), *dry("2026-01-07"), level("2026-01-08", 11.0)], 2, UNJUDGED),
        (dry("2026-01-05"), 2, UNJUDGED),
        ([level("2026-01-04", 10.5), level("2026-01-05", 10.6)], 1, NOT_CROSSED),
        ([level("2026-01-04", 10.5), level("2026-01-05", 9.6)], 2, UNCONFIRMED),
    ],
)  # fmt: skip
def test_bounds_in_a_row_leave_a_threshold_open(rows, consecutive, state):
    found = one(limit(consecutive=consecutive), frame(*rows))
    assert found.state == state
    said = state == UNJUDGED
    last = max((row["day"] for row in rows if row["bound"]), default=None)
    text = f"on {last:%Y-%m-%d} only a bound is known: the water is at or below 10.300 m, " if said else ""
    assert str(found.reason) == (text + "on this side of the threshold or beyond it" if said else "")


@pytest.mark.parametrize(
    ("given", "read", "reason"),
    [
        (
            limit(10.5, "upper"),
            frame(level("2026-01-05", 10.3, ">=")),
            "on 2026-01-05 only a bound is known: the water is at or above 10.300 m, on this side of the threshold or beyond it",
        ),
        (
            gradient(0.5),
            frame(level("2026-01-05", 10.4), level("2026-01-05", 10.1, "<=", well="B")),
            "on 2026-01-05 only a bound is known: the difference of head from the other well is at or above 0.300 m, "
            "on this side of the threshold or beyond it",
        ),
        (
            limit(9.5, lowest_shown_m=9.73),
            frame(level("2026-01-05", 9.8, "<=")),
            "the threshold lies 0.230 m below the lowest level that the well can show (9.730 m): "
            "where the well falls dry, it cannot be judged",
        ),
        (
            limit(np.nan),
            frame(level("2026-01-05", 9.8)),
            "the threshold has no elevation: no measuring point or ground elevation is on record",
        ),
        (
            gradient(np.nan, distance_m=np.nan),
            frame(level("2026-01-05", 9.8)),
            "the distance to B is not known: a well has no place on record, or both have one",
        ),
        (
            limit(),
            frame(*(level(f"2026-01-0{day}", 9.0, status=word) for day, word in ((5, "pumping"), (6, "obstructed"), (7, "pumping")))),
            "no level of the period serves: 1 obstructed, 2 pumping",
        ),
        (limit(), frame(), "no level in the period"),
    ],
)  # fmt: skip
def test_why_a_threshold_cannot_be_judged(given, read, reason):
    state = one(given, read)
    assert (state.state, str(state.reason), state.extreme) == (UNJUDGED, reason, None)


@pytest.mark.parametrize(
    ("given", "is_cautioned"),
    [
        (limit(9.72, lowest_shown_m=9.73), True),
        (limit(9.73, lowest_shown_m=9.73), False),
        (limit(9.72, "upper", lowest_shown_m=9.73), False),
        (limit(9.72), False),
    ],
)
def test_a_lower_threshold_below_what_the_well_shows_is_said(given, is_cautioned):
    assert bool(one(given).caution) is is_cautioned


def test_levels_of_another_well_say_nothing():
    read, logged = frame(level("2026-01-10", 9.0, well="B")), days("2026-01-10", 9.0).assign(well="B")
    assert str(one(limit(), read, logged).reason) == "no level in the period"
    lone = frame(level("2026-01-10", 10.5), level("2026-01-10", 9.0, well="C"))
    assert str(one(gradient(0.4), lone).reason) == "no level of the period serves: 1 no level of B that day"


def test_only_thresholds_on_elevations_without_an_end_can_be_reached_by_a_trend():
    limits = pd.DataFrame(
        {
            "threshold": list("abcdef"),
            "quantity": ["depth_to_water", "change", "gradient", "water_elevation", "water_elevation", "change"],
            "valid_until_utc": pd.to_datetime([None, None, None, "2026-01-01", None, "2026-01-01"], utc=True),
            "well_id": [1, 1, 1, 1, 2, 2],
        }
    )
    assert limits_in_force(limits, pd.DataFrame({"well_id": [1, 3]}))["threshold"].tolist() == ["a"]
    assert limits_in_force(limits, pd.DataFrame({"well_id": [1, 2]}))["threshold"].tolist() == ["a", "e"]


def test_wells_of_thresholds_are_those_at_both_ends_of_gradients():
    assert wells_of(pd.DataFrame({"well": ["C", "A", "C"], "other_well": ["", "B", "A"]})) == ["A", "B", "C"]


def test_rows_of_the_tables_of_states_and_crossings():
    read = frame(level("2025-12-20", 9.6), level("2026-01-01", 9.8, review="provisional"), level("2026-02-10", 10.2))
    logged = days("2026-01-02", 10.2, 9.9)
    state = one(limit(9.9, lowest_shown_m=9.95, action="Stop."), read, logged)
    caution = "the threshold lies {} below the lowest level that the well can show ({}): where the well falls dry, it cannot be judged"
    expected = {
        "site": "S",
        "well": "A",
        "threshold": "warning",
        "kind": "lower",
        "threshold_elevation_m": 9.9,
        "consecutive": 1,
        "first": "2026-01-01",
        "last": "2026-03-31",
        "state": CROSSED,
        "reason": "",
        "readings_beyond": 1,
        "readings_judged": 2,
        "logger_days_beyond": 1,
        "logger_days_judged": 2,
        "extreme_m": 9.8,
        "extreme_at": "2026-01-01T12:00+01:00",
        "margin_m": pytest.approx(0.1),
        "caution": caution.format("0.050 m", "9.950 m"),
        "basis": "permit",
        "action": "Stop.",
        "form": "level",
        "limit_m": 9.9,
        "days": None,
        "other_well": "",
        "distance_m": None,
        "gradient": None,
    }
    (row,) = states_table([state], "S").to_dict("records")
    assert {key: None if value != value else value for key, value in row.items()} == expected
    assert states_table([state], "S", "ft")["caution"].item() == caution.format("0.164 ft", "32.644 ft")
    first, second = crossings_table([state], "S").to_dict("records")
    assert first == {
        "site": "S",
        "well": "A",
        "threshold": "warning",
        "kind": "lower",
        "threshold_elevation_m": 9.9,
        "source": "manual",
        "first": "2025-12-20",
        "last": "2026-01-01",
        "ended_by": "2026-02-10",
        "levels": 2,
        "levels_in_period": 1,
        "in_a_row": 2,
        "consecutive": 1,
        "confirmed_on": "2025-12-20",
        "peak_m": 9.8,
        "peak_at": "2026-01-01T12:00+01:00",
        "margin_m": pytest.approx(0.1),
        "review": "provisional",
        "form": "level",
        "limit_m": 9.9,
    }
    assert (second["source"], second["ended_by"]) == ("logger", "")
    empty = one(change(0.3, within=20))
    (row,) = states_table([empty], "S").to_dict("records")
    assert (row["days"], row["extreme_at"], row["reason"]) == (20.0, "", "no level in the period")
    assert math.isnan(row["extreme_m"] + row["margin_m"])
