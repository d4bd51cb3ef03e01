"""States of thresholds over a period: constructed lanes, each answer worked out by hand."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.thresholds.compared import changes_within, differences_of, held_levels
from gwnet.analysis.thresholds.lanes import form_of, lanes_of
from gwnet.analysis.thresholds.record import CROSSING_COLUMNS, STATE_COLUMNS, crossings_table, states_table
from gwnet.analysis.thresholds.states import (
    CROSSED,
    NOT_CROSSED,
    UNCONFIRMED,
    UNJUDGED,
    Crossing,
    LaneCount,
    Remark,
    find_states,
)

from .threshold_rows import FIRST, LAST, ZONE, change, days, frame, gradient, level, limit, one


def test_a_crossing_in_the_middle_of_the_period_is_not_hidden_by_a_newer_level():
    read = frame(level("2026-01-10", 10.4), level("2026-02-10", 9.7), level("2026-03-10", 10.2))
    state = one(limit(), read)
    assert state.state == CROSSED
    (crossing,) = state.crossings
    assert (crossing.first, crossing.last, crossing.ended_by) == (
        dt.date(2026, 2, 10),
        dt.date(2026, 2, 10),
        dt.date(2026, 3, 10),
    )
    assert crossing.confirmed_on == dt.date(2026, 2, 10)
    assert crossing.peak.margin_m == pytest.approx(0.3)
    assert state.counts["manual"] == LaneCount(beyond=1, not_beyond=2)
    assert not state.is_provisional


def test_days_of_a_logger_are_a_lane_of_their_own():
    logged = days("2025-12-30", 10.2, 9.9, 9.8, 9.7, 10.1, 9.95)
    state = one(limit(consecutive=2), frame(level("2026-01-02", 10.05)), logged)
    assert state.state == CROSSED
    first, second = state.crossings
    assert (first.source, first.first, first.last, first.ended_by) == (
        "logger",
        dt.date(2025, 12, 31),
        dt.date(2026, 1, 2),
        dt.date(2026, 1, 3),
    )
    assert (first.levels, first.levels_in_period, first.in_a_row, first.confirmed_on) == (3, 2, 3, dt.date(2026, 1, 1))
    assert (second.first, second.ended_by, second.is_confirmed) == (dt.date(2026, 1, 4), None, False)
    assert first.is_provisional
    assert (state.counts["logger"].beyond, state.counts["logger"].judged) == (3, 4)
    assert state.counts["manual"] == LaneCount(not_beyond=1)


def test_the_peak_of_a_day_is_its_lowest_head_with_its_time():
    state = one(limit(), logged=days("2026-02-01", 9.9, 9.8, 9.95, spread=0.03))
    peak = state.crossings[0].peak
    assert (peak.value_m, peak.at, peak.source) == (pytest.approx(9.77), "2026-02-02T03:00+01:00", "logger")
    assert state.extreme == peak


def test_an_upper_threshold_has_its_peak_at_the_highest_head():
    state = one(limit(kind="upper"), logged=days("2026-02-01", 9.9, 10.1, 9.8))
    assert state.crossings[0].peak.value_m == pytest.approx(10.2)
    assert state.crossings[0].peak.margin_m == pytest.approx(0.2)


def test_fewer_in_a_row_than_the_rule_asks_for_are_not_yet_confirmed():
    state = one(limit(consecutive=2), frame(level("2026-01-10", 10.4), level("2026-03-10", 9.9, review="provisional")))
    assert state.state == UNCONFIRMED
    assert state.crossings[0].ended_by is None
    assert state.in_a_row("manual") == 1
    assert not state.extreme.is_within_uncertainty
    assert one(limit(9.91), frame(level("2026-03-10", 9.9))).extreme.is_within_uncertainty
    assert state.is_provisional


def test_readings_before_the_period_count_for_the_rule():
    state = one(limit(consecutive=2), frame(level("2025-11-10", 9.9), level("2026-02-10", 9.8)))
    assert state.state == CROSSED
    assert (state.crossings[0].levels, state.crossings[0].levels_in_period) == (2, 1)
    assert state.crossings[0].first == dt.date(2025, 11, 10)


def test_a_crossing_that_ended_before_the_period_is_not_of_it():
    state = one(limit(), frame(level("2025-11-10", 9.9), level("2026-02-10", 10.2)))
    assert (state.state, state.crossings) == (NOT_CROSSED, ())
    assert state.extreme.margin_m == pytest.approx(-0.2)


def test_levels_after_the_period_are_not_looked_at():
    state = one(limit(), frame(level("2026-02-10", 10.2), level("2026-04-02", 9.0)))
    assert state.state == NOT_CROSSED
    assert state.levels["day"].max() == pd.Timestamp("2026-02-10")


def test_a_day_without_data_breaks_days_in_a_row_but_not_the_crossing():
    state = one(limit(consecutive=3), logged=days("2026-02-01", 9.9, 9.9, None, 9.9, 9.9))
    (crossing,) = state.crossings
    assert (crossing.levels, crossing.in_a_row, crossing.is_confirmed) == (4, 2, False)
    assert state.state == UNCONFIRMED


def test_a_dry_bound_above_a_lower_threshold_leaves_it_open():
    state = one(limit(), frame(level("2026-01-10", 10.4), level("2026-02-10", 10.3, "<=")))
    assert state.state == UNJUDGED
    assert "2026-02-10 only a bound is known: the water is at or below 10.300 m" in str(state.reason)


def test_a_dry_bound_at_or_below_a_lower_threshold_proves_the_crossing():
    state = one(limit(), frame(level("2026-02-10", 9.9, "<=")))
    assert state.state == CROSSED
    assert state.crossings[0].peak.bound == "<="


def test_one_bound_cannot_make_two_in_a_row():
    state = one(limit(consecutive=2), frame(level("2026-01-10", 10.4), level("2026-02-10", 10.3, "<=")))
    assert state.state == NOT_CROSSED


def test_a_bound_between_crossings_neither_ends_nor_confirms():
    read = frame(level("2026-01-10", 9.9), level("2026-02-10", 10.3, "<="), level("2026-03-10", 9.9))
    state = one(limit(consecutive=2), read)
    (crossing,) = state.crossings
    assert (crossing.levels, crossing.in_a_row, state.state) == (2, 1, UNCONFIRMED)


def test_a_threshold_below_what_the_well_can_show_is_said_once_and_for_all():
    shown = limit(9.5, lowest_shown_m=9.73)
    state = one(shown, frame(level("2026-02-10", 9.8, "<=")))
    assert state.state == UNJUDGED
    assert state.reason == state.caution
    assert "0.230 m below the lowest level that the well can show (9.730 m)" in str(state.reason)
    assert "(31.92 ft)" in state.reason.text(lambda length: f"{length / 0.3048:.2f} ft")
    standing = one(shown, frame(level("2026-02-10", 10.8)))
    assert (standing.state, bool(standing.reason), standing.caution) == (NOT_CROSSED, False, state.caution)
    assert one(limit(9.9, lowest_shown_m=9.73), frame(level("2026-02-10", 10.8))).caution == Remark()


def test_no_level_and_levels_left_out_say_so():
    assert str(one(limit()).reason) == "no level in the period"
    state = one(limit(), frame(level("2026-02-10", 9.0, status="pumping"), level("2026-02-11", 9.0, status="pumping")))
    assert (state.state, str(state.reason)) == (UNJUDGED, "no level of the period serves: 2 pumping")
    assert state.counts["manual"] == LaneCount(left_out=2)
    assert set(state.levels["state"]) == {"left out"}


def test_a_threshold_without_an_elevation_cannot_be_judged():
    state = one(limit(np.nan), frame(level("2026-02-10", 9.0)))
    assert state.state == UNJUDGED
    assert "no measuring point or ground elevation" in str(state.reason)


def test_a_threshold_set_anew_has_a_state_before_and_one_after():
    change = pd.Timestamp("2026-02-01", tz=ZONE).tz_convert("UTC")
    limits = pd.concat([limit(10.0, valid_until_utc=change), limit(9.0, valid_from_utc=change)])
    limits = limits.astype(dict.fromkeys(("valid_from_utc", "valid_until_utc"), "datetime64[us, UTC]"))
    read = frame(level("2026-01-10", 9.8), level("2026-02-10", 9.8))
    states = find_states(limits, read, pd.DataFrame(), ["A"], FIRST, LAST, ZONE)
    assert [(state.level_m, state.first, state.last, state.state) for state in states] == [
        (10.0, FIRST, dt.date(2026, 1, 31), CROSSED),
        (9.0, dt.date(2026, 2, 1), LAST, NOT_CROSSED),
    ]
    late = find_states(limits, read, pd.DataFrame(), ["A"], dt.date(2026, 2, 1), LAST, ZONE)
    assert [state.level_m for state in late] == [9.0]


def test_the_worst_comes_first():
    limits = pd.concat([limit(9.0, threshold="stop"), limit(10.0), limit(np.nan, threshold="none")])
    states = find_states(limits, frame(level("2026-02-10", 9.8)), pd.DataFrame(), ["A"], FIRST, LAST, ZONE)
    assert [state.state for state in states] == [CROSSED, UNJUDGED, NOT_CROSSED]


def test_a_lane_starts_where_it_is_asked_for():
    state = one(limit(), frame(level("2025-11-10", 10.9), level("2026-02-10", 10.8)), days("2026-02-01", 10.1))
    assert len(state.lane("manual")) == 2
    assert state.lane("manual", FIRST)["value_m"].tolist() == [10.8]
    assert state.lane("logger")["extreme_m"].tolist() == [pytest.approx(10.0)]


def test_levels_of_loggers_among_the_readings_give_way_to_their_days():
    rows = frame(level("2026-02-10", 9.0, method="logger"), level("2026-02-11", 10.5))
    lanes = lanes_of(limit().iloc[0].to_dict(), rows, pd.DataFrame())
    assert lanes[["source", "value_m", "state"]].to_numpy().tolist() == [["manual", 10.5, "not beyond"]]


def test_tables_have_a_row_a_threshold_and_a_row_a_crossing():
    state = one(limit(consecutive=2), frame(level("2025-11-10", 9.9), level("2026-02-10", 9.8)))
    states, crossings = states_table([state], "S"), crossings_table([state], "S")
    assert (tuple(states.columns), tuple(crossings.columns)) == (STATE_COLUMNS, CROSSING_COLUMNS)
    assert states.loc[0, ["site", "well", "state", "readings_beyond"]].tolist() == ["S", "A", CROSSED, 1]
    assert crossings.loc[0, ["first", "ended_by", "confirmed_on", "levels", "review"]].tolist() == [
        "2025-11-10",
        "",
        "2026-02-10",
        2,
        "approved",
    ]
    assert isinstance(state.crossings[0], Crossing)


def test_a_rise_counts_from_the_lowest_level_of_the_days_before():
    read = frame(
        level("2025-12-20", 10.3), level("2026-01-05", 10.0), level("2026-01-12", 10.2), level("2026-02-02", 10.5)
    )
    state = one(change(0.4), read)
    assert (state.state, state.form, state.days) == (CROSSED, "change", 30)
    (crossing,) = state.crossings
    # 2 February is 28 days after the lowest level
    assert (crossing.first, crossing.peak.value_m) == (dt.date(2026, 2, 2), pytest.approx(0.5))
    assert crossing.peak.margin_m == pytest.approx(0.1)
    assert crossing.peak.uncertainty_m == pytest.approx(0.02 * 2**0.5)
    assert one(change(0.4, within=21), read).state == NOT_CROSSED


def test_a_fall_is_a_negative_change_from_the_highest_level():
    read = frame(level("2026-01-05", 10.6), level("2026-01-20", 10.1), level("2026-02-01", 10.2))
    state = one(change(-0.5, "lower"), read)
    assert [crossing.peak.value_m for crossing in state.crossings] == [pytest.approx(-0.5)]
    assert one(change(-0.51, "lower"), read).state == NOT_CROSSED


def test_levels_too_far_apart_do_not_say_how_fast_the_water_changed():
    read = frame(level("2025-11-10", 10.0), level("2026-02-10", 10.9))
    state = one(change(0.3), read)
    assert (state.state, str(state.reason)) == (
        UNJUDGED,
        "no level of the period serves: 1 no level in the 30 days before",
    )


def test_the_first_days_of_a_logger_prove_a_change_but_not_its_absence():
    still = one(change(0.3), None, days("2026-01-01", *[10.0] * 20))
    assert (still.counts["logger"].not_beyond, still.counts["logger"].left_out) == (5, 15)
    steep = one(change(0.3), None, days("2026-01-01", 10.0, 10.4))
    assert (steep.state, steep.counts["logger"].beyond) == (CROSSED, 1)


def test_a_dry_well_proves_a_fall_to_its_bound_and_no_less():
    read = frame(level("2026-01-05", 10.6), level("2026-01-25", 10.0, "<="))
    assert one(change(-0.6, "lower"), read).state == CROSSED
    open_ = one(change(-0.7, "lower"), read)
    assert open_.state == UNJUDGED
    assert "the change is at or below -0.600 m" in str(open_.reason)
    assert one(change(0.1), read).state == NOT_CROSSED


def test_a_gradient_takes_both_wells_of_one_day():
    read = frame(
        level("2026-01-10", 10.5),
        level("2026-02-10", 10.4),
        level("2026-03-10", 10.9),
        level("2026-01-10", 10.2, well="B"),
        level("2026-03-10", 10.1, well="B"),
    )
    state = one(gradient(0.5), read)
    (crossing,) = state.crossings
    assert (crossing.first, crossing.levels, crossing.peak.value_m) == (dt.date(2026, 3, 10), 1, pytest.approx(0.8))
    assert state.counts["manual"] == LaneCount(beyond=1, not_beyond=1, left_out=1)
    assert state.gradient == pytest.approx(0.0025)
    assert set(state.levels["reason"]) == {"", "no level of B that day"}


def test_a_gradient_cannot_be_judged_where_one_well_has_no_level_of_that_day():
    state = one(gradient(0.5), frame(level("2026-02-10", 10.4), level("2026-02-11", 10.1, well="B")))
    assert (state.state, str(state.reason)) == (UNJUDGED, "no level of the period serves: 1 no level of B that day")
    nowhere = one(gradient(np.nan, distance_m=np.nan), frame(level("2026-02-10", 10.4)))
    assert (nowhere.state, nowhere.reason) == (UNJUDGED, nowhere.caution)
    assert "distance to B is not known" in str(nowhere.reason)


def test_days_of_two_loggers_and_readings_against_days_make_gradients():
    logged = pd.concat([days("2026-01-01", 10.5, 10.6, 10.7), days("2026-01-02", 10.0, 10.3).assign(well="B")])
    state = one(gradient(0.6), frame(level("2026-01-03", 10.65)), logged)
    lane = state.lane("logger")
    assert lane["state"].tolist() == ["left out", "beyond", "not beyond"]
    assert lane["value_m"].tolist()[1:] == pytest.approx([0.6, 0.4])
    assert state.lane("manual")["value_m"].tolist() == pytest.approx([0.35])


def test_bounds_at_both_ends_of_a_gradient_say_nothing_unless_they_agree():
    read = frame(level("2026-02-10", 10.0, "<="), level("2026-02-10", 10.4, "<=", well="B"))
    assert (
        str(one(gradient(0.5), read).reason) == "no level of the period serves: 1 only bounds are known at both wells"
    )
    dry = frame(level("2026-02-10", 10.0, "<="), level("2026-02-10", 10.4, well="B"))
    assert one(gradient(-0.4, "lower"), dry).state == CROSSED
    assert one(gradient(-0.5, "lower"), dry).state == UNJUDGED


def test_held_levels_keep_the_extremes_of_days():
    held = held_levels(days("2026-01-01", 10.0, 10.4))
    assert held[["lowest_m", "highest_m"]].to_numpy().tolist() == [
        pytest.approx([9.9, 10.1]),
        pytest.approx([10.3, 10.5]),
    ]
    changed = changes_within(held, 5, "upper")
    assert (changed["value_m"].iloc[1], changed["highest_m"].iloc[1]) == (pytest.approx(0.4), pytest.approx(0.4))
    assert differences_of(held, held, "A")["value_m"].tolist() == [0.0, 0.0]
    assert [form_of({"quantity": name}) for name in ("change", "gradient", "depth_to_water", None)] == [
        "change",
        "gradient",
        "level",
        "level",
    ]
