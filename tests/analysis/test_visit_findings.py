"""Checks of single visits: depths, bottoms, recovery, silting, rounds, tapes, repeated readings; constructed.

Sources of the limits are beside each; the others are project defaults as documented.
"""

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.checks import visits

from .check_events import events_of, given, quarters

CHECK = {check.rule: check for check in visits.CHECKS.checks}
FOOT = 0.3048


def explained(events, **rules):
    """Give events whose misfits slips explain: by rule the positions of events."""
    rows = {row: SimpleNamespace(rule=rule) for rule, places in rules.items() for row in places}
    events._once["misfits"] = SimpleNamespace(explained=rows)
    return events


def told(events, rule):
    if "misfits" not in events._once:
        explained(events)
    return [(one.severity, one.row, one.rows, one.message, one.limits) for one in CHECK[rule].run(events)]


def rows_told(events, rule):
    return [one[2] or (one[1],) for one in told(events, rule)]


def reduced(noticed, *, rule, check=-1, well=0, order=None):
    events = events_of(quarters(len(noticed)), well=well)
    if order is not None:
        events.order = np.array(order)
    events.reduced = SimpleNamespace(
        findings={rule: np.array(noticed)}, tape=SimpleNamespace(check=np.broadcast_to(check, len(noticed)))
    )
    return events


@pytest.mark.parametrize(("rule", "severity", "words"), [
    ("no measuring point in force", "serious", "No measuring point of that access was in force at that time."),
    ("two measuring points in force", "serious",
     "More than one measuring point of that access was in force at that time."),
    ("measuring point in another datum", "serious",
     "The measuring point's vertical datum is not the site's; no shift is made."),
    ("product without density", "serious", "Product floats on the water and its relative density is not on record."),
    ("water below the screen", "serious",
     "Water is below the bottom of the screen, in closed pipe: the aquifer's head is at or below that bottom."),
    ("dry without a depth", "serious",
     "The well was dry, and neither screen, sounding nor depth as built is on record."),
])  # fmt: skip
def test_what_a_well_lacks_is_one_finding_of_it(rule, severity, words):
    events = reduced([True, False, True, True, False, True], rule=rule, well=[0, 0, 0, 1, 1, 2], check=3)
    assert told(events, rule) == [
        (severity, 0, (0, 2), f"{words} This concerns 2 levels from 2020-02-15 to 2020-08-15.", {}),
        (severity, 3, (3,), words, {}),
        (severity, 5, (5,), words, {}),
    ]
    # findings are in the order of the record, events in that of the site
    events = reduced([True, False, False], rule=rule, order=[2, 1, 0])
    assert rows_told(events, rule) == [(2,)]


def test_readings_beyond_a_tape_check_are_one_finding_a_check():
    """Readings of two wells with check 2, of one with check 0, and of two wells without a check."""
    events = reduced(
        [True] * 6, rule="beyond the tape check", well=[0, 0, 0, 1, 1, 1], check=[2, 0, -1, 2, -1, -1]
    )  # fmt: skip
    found = told(events, "beyond the tape check")
    assert [(one[0], one[2]) for one in found] == [("note", (0, 3)), ("note", (1,)), ("note", (2,)), ("note", (4, 5))]
    assert found[1][3] == "The reading lies beyond the depths of the last tape check; its end value was used."


def test_only_water_below_the_screen_is_no_doubt_of_the_level():
    assert {check.rule for check in visits.CHECKS.checks if not check.doubts_level} == {
        "water below the screen", visits.SILTING,
    }  # fmt: skip


def test_repeats_that_disagree_are_a_finding_each():
    events = reduced([False, True, True], rule="repeats disagree", order=[0, 2, 1])
    events.reduced.repeats = SimpleNamespace(spread_m=np.array([0.0, 0.0214, 0.0318]))
    events.inputs.tolerance_m = np.array([0.001, 0.006, 0.0075])
    assert told(events, "repeats disagree") == [
        ("serious", 1, (), "The repeats differ by 0.032 m; the site allows 0.007 m.",
         {"tolerance_m": 0.0075, "spread_m": 0.0318}),
        ("serious", 2, (), "The repeats differ by 0.021 m; the site allows 0.006 m.",
         {"tolerance_m": 0.006, "spread_m": 0.0214}),
    ]  # fmt: skip


def heights(depth, below, **more):
    count = len(depth)
    usual = {"water_elevation_m": 100.0, "depth_to_water_m": depth, "depth_below_ground_m": below}
    return events_of(quarters(count), **{**usual, **more})


def test_water_above_the_measuring_point_is_one_finding_a_well():
    events = heights([-0.25, -0.5, 0.1, -0.125, -0.3], -0.75, well=[0, 0, 0, 1, 2])
    assert told(explained(events, **{"fits with the other sign": [4]}), visits.ABOVE_POINT) == [
        ("serious", 0, (0, 1),
         "Water is up to 0.500 m above the measuring point, and the well is not reported as flowing. This concerns 2 "
         "levels from 2020-02-15 to 2020-05-15.", {"depth_to_water_m": -0.5}),
        ("serious", 3, (3,),
         "Water is 0.125 m above the measuring point, and the well is not reported as flowing.",
         {"depth_to_water_m": -0.125}),
    ]  # fmt: skip


@pytest.mark.parametrize(("more", "above_point", "above_ground"), [
    ({}, [0], [1]),
    ({"status": "flowing"}, [], []),
    ({"status": "affected by surface water"}, [], []),
    ({"status": "pumping"}, [0], [1]),
    ({"bound": ">="}, [], []),
    ({"water_elevation_m": np.nan}, [], []),
])  # fmt: skip
def test_water_above_the_point_or_the_ground(more, above_point, above_ground):
    """Depths below the point −0.1 m, 0.2 m, 0 m and below the ground −0.6 m, −0.3 m, 0 m."""
    events = heights([-0.1, 0.2, 0.0], [-0.6, -0.3, 0.0], well=[0, 1, 2], **more)
    assert [rows for (rows,) in rows_told(events, visits.ABOVE_POINT)] == above_point
    assert [rows for (rows,) in rows_told(events, visits.ABOVE_GROUND)] == above_ground


def test_water_above_ground_inside_the_casing_has_its_height():
    events = heights([0.25, 0.125, 0.0, 0.0625], [-0.25, -0.375, -0.5, -0.0625], well=[0, 0, 1, 0])
    assert told(explained(events, **{"fits in another unit": [2], "off by a round amount": [3]}), visits.ABOVE_GROUND) == [
        ("note", 0, (0, 1, 3),
         "Water is up to 0.375 m above ground, inside the casing, and the well is not reported as flowing. This concerns "
         "3 levels from 2020-02-15 to 2020-11-15.", {"depth_below_ground_m": -0.375}),
    ]  # fmt: skip
    # a depth that is not known is not above the point
    assert rows_told(heights([np.nan, 0.0], [-0.25, -0.5], well=[0, 1]), visits.ABOVE_GROUND) == [(0,), (1,)]


def bottoms(below, *, built=10.0, sounded=np.nan, **more):
    return heights(np.array(below) + 0.5, below, sounded_depth_m=sounded, wells=[{"total_depth_m": built}] * 3, **more)


def test_water_below_the_bottom_by_what_a_sounding_may_miss():
    """0.5 ft, rounded to 0.15 m: USGS SJ-600027, p. 16."""
    assert rows_told(bottoms([10.1499, 10.1501, np.nan]), visits.BELOW_BOTTOM) == [(1,)]
    ids = bottoms([11.0, 12.5, 9.0], well=[0, 0, 1])
    assert told(ids, visits.BELOW_BOTTOM) == [
        ("serious", 0, (0, 1),
         "Water was read at up to 12.500 m below ground, and the bottom lies at 10.000 m as built. This concerns 2 levels "
         "from 2020-02-15 to 2020-05-15.",
         {"depth_below_ground_m": 12.5, "bottom_m": 10.0, "bottom_tolerance_m": 0.15}),
    ]  # fmt: skip


def test_the_newest_sounding_is_the_bottom_until_the_next():
    """Two bottoms of a well are two findings; what a slip explains and what is an elevation are none."""
    events = bottoms([9.0, 9.0, 9.0, 9.5, 9.0, 15.0], sounded=[8.0, np.nan, 9.5, np.nan, 8.5, np.nan])
    found = told(explained(events, **{"fits with the decimal point moved": [5]}), visits.BELOW_BOTTOM)
    assert [(one[2], one[4]["bottom_m"]) for one in found] == [((0, 1), 8.0), ((4,), 8.5)]
    assert "the bottom lies at 8.000 m as sounded." in found[0][3]
    booked = {"value": [95.5], "metres": 1.0}
    events = heights([95.5], [95.0], wells=[{"total_depth_m": 10.0}], booked=booked)
    assert rows_told(events, visits.BELOW_BOTTOM) == []
    booked = {"value": [80.5], "metres": 1.0}
    events = heights([80.5], [80.0], wells=[{"total_depth_m": 10.0}], booked=booked)
    assert rows_told(events, visits.BELOW_BOTTOM) == [(0,)]


@pytest.mark.parametrize(("below", "more", "words"), [
    ([11.0] * 2, {}, ""),
    ([11.0] * 3, {}, " These are 3 of 3 levels of the well: the depth of the bottom may be wrong."),
    ([11.0] * 3 + [5.0] * 3, {}, " These are 3 of 6 levels of the well: the depth of the bottom may be wrong."),
    ([11.0] * 3 + [5.0] * 4, {}, ""),
    ([11.0] * 3 + [5.0] * 4, {"checked": [True] * 6 + [False]},
     " These are 3 of 6 levels of the well: the depth of the bottom may be wrong."),
    ([11.0] * 3 + [5.0] * 4, {"well": [0, 0, 0, 0, 0, 0, 1]},
     " These are 3 of 6 levels of the well: the depth of the bottom may be wrong."),
])  # fmt: skip
def test_half_of_the_levels_below_a_bottom_put_it_in_doubt(below, more, words):
    """Three levels and half of those of the well (project default)."""
    checked = np.array(more.pop("checked", [True] * len(below)))
    events = given(bottoms(below, **more), checked=checked)
    ((_, _, _, message, _),) = told(events, visits.BELOW_BOTTOM)
    assert message.endswith(f"{words}") if words else "These are" not in message


def test_a_static_level_within_a_day_of_pumping():
    """24 hours: US EPA RCRA guidance of 1992, p. 7-4."""
    times = ["2024-05-15T10:00", "2024-05-15T22:30", "2024-05-16T09:59", "2024-05-16T10:00", "2024-05-20T08:00",
             "2024-05-20T20:00", "2024-05-20T21:00", "2024-05-20T22:00"]  # fmt: skip
    events = events_of(
        times, well=[0, 0, 0, 0, 1, 1, 1, 2],
        status=["pumping", "static", "static", "static", "recovering", "static", "dry", "static"],
        time_known=[True, True, True, True, True, False, True, True],
    )  # fmt: skip
    assert told(events, visits.RECOVERY) == [
        ("warning", 1, (), "The well was pumped or recovering 12.5 h before; a level is taken as static after 24 h.",
         {"hours": 12.5, "recovery_hours": 24.0}),
        ("warning", 2, (), "The well was pumped or recovering 24.0 h before; a level is taken as static after 24 h.",
         {"hours": 23.98, "recovery_hours": 24.0}),
    ]  # fmt: skip


def soundings(sounded, *, built=12.0, screen=(6.0, 10.0), **limits):
    well = {"total_depth_m": built, "screen_top_m": screen[0], "screen_bottom_m": screen[1]}
    return events_of(quarters(len(sounded)), sounded_depth_m=sounded, wells=[well], limits=limits)


def test_each_further_loss_of_depth_is_told_with_the_screen_that_it_covers():
    """Steps of 0.5 m; a screen from 6 to 10 m of which the part below the sounding is covered, serious from 20 % on."""
    found = told(soundings([11.5, 11.25, 9.5, 9.2, 9.19, 5.0]), visits.SILTING)
    assert [one[:4] for one in found] == [
        ("note", 0, (), "The bottom was sounded at 11.500 m below ground, 0.500 m above the depth as built; the screen is "
         "free."),
        ("warning", 2, (), "The bottom was sounded at 9.500 m below ground, 2.500 m above the depth as built; 12% of the "
         "screen is covered."),
        ("serious", 5, (), "The bottom was sounded at 5.000 m below ground, 7.000 m above the depth as built; 100% of the "
         "screen is covered."),
    ]  # fmt: skip
    assert found[1][4] == {"sounded_depth_m": 9.5, "total_depth_m": 12.0, "covered_share": 0.125, "silting_m": 0.5}
    assert found[0][4]["covered_share"] == 0.0
    assert [one[0] for one in told(soundings([9.0]), visits.SILTING)] == ["serious"]
    assert [one[0] for one in told(soundings([9.0], covered_share=0.25), visits.SILTING)] == ["serious"]
    assert [one[0] for one in told(soundings([9.0], covered_share=0.26), visits.SILTING)] == ["warning"]
    unknown = told(soundings([9.0], screen=(np.nan, np.nan)), visits.SILTING)
    assert [(one[0], one[4]["covered_share"]) for one in unknown] == [("note", 0.0)]
    assert unknown[0][3].endswith("above the depth as built; the screen is free.")


def test_a_sounding_deeper_than_built():
    """0.3 m, here 0.3125 and 0.25."""
    assert told(soundings([12.25, 12.3125, np.nan]), visits.DEEPER) == [
        ("warning", 1, (), "The bottom was sounded at 12.312 m below ground, 0.312 m below the depth as built.",
         {"sounded_depth_m": 12.3125, "total_depth_m": 12.0, "deeper_m": 0.3}),
    ]  # fmt: skip
    assert rows_told(soundings([12.25, 12.3125], deeper_m=0.25), visits.DEEPER) == [(1,)]


ROUNDS = [
    {"round": "R1", "starts_on": dt.date(2020, 2, 15), "ends_on": dt.date(2020, 2, 17)},
    {"round": "R2", "starts_on": dt.date(2020, 5, 10), "ends_on": None},
]


def of_rounds(days, codes, well=0, **limits):
    return events_of([f"{day}T18:00" for day in days], well=well, round=codes, rounds=ROUNDS, limits=limits)


def test_levels_outside_the_days_of_their_round():
    """A round without an end is one day."""
    days = [
        "2020-02-14",
        "2020-02-13",
        "2020-02-15",
        "2020-02-17",
        "2020-02-20",
        "2020-05-10",
        "2020-05-11",
        "2020-05-09",
    ]
    events = of_rounds(days, ["R1"] * 5 + ["R2", "R2", ""])
    assert told(events, visits.WINDOW) == [
        ("note", 0, (0, 1, 4),
         "Measured up to 3 days after the last day of round R1 (2020-02-15 to 2020-02-17). This concerns 3 levels from "
         "2020-02-13 to 2020-02-20.", {"days": 3.0, "window_days": 0.0}),
        ("note", 6, (6,), "Measured 1 day after the last day of round R2 (2020-05-10 to 2020-05-10).",
         {"days": 1.0, "window_days": 0.0}),
    ]  # fmt: skip
    events = of_rounds(["2020-02-13", "2020-05-08"], ["R1", "R2"], window_days=2.0)
    assert told(events, visits.WINDOW) == []
    events = of_rounds(["2020-02-12"], ["R1"], window_days=2.0)
    assert (
        told(events, visits.WINDOW)[0][3]
        == "Measured 3 days before the first day of round R1 (2020-02-15 to 2020-02-17)."
    )


def with_tapes(
    days, check, *, check_days=("2019-01-10", "2020-03-01"), instrument_id=1, value=5.0, kind="electric tape"
):
    events = events_of(
        [f"{day}T12:00" for day in days], well=0, instrument_id=instrument_id,
        instrument=[f"T-{number}" for number in np.broadcast_to(instrument_id, len(days))],
        booked={"value": value},
    )  # fmt: skip
    events.inputs.instruments = pd.DataFrame(
        {"instrument_id": [1, 2], "kind": [kind, "steel tape"], "length_unit": None}
    )
    tape = SimpleNamespace(
        check=np.broadcast_to(check, len(days)), check_day=np.array(check_days, dtype="datetime64[D]")
    )
    events.reduced = SimpleNamespace(tape=tape)
    return events


def test_a_tape_is_due_a_year_after_its_check():
    """Twelve months: USGS TM 1-A1 (Cunningham and Schalk, 2011), p. 8 and 35."""
    days = ["2020-01-10", "2020-01-11", "2020-02-01", "2020-03-02", "2021-03-02", "2020-02-15"]
    events = with_tapes(days, [0, 0, 0, 1, 1, 0], instrument_id=[1, 1, 1, 1, 1, 2])
    assert told(events, visits.TAPE_DUE) == [
        ("warning", 1, (1, 2),
         "Tape T-1 was last checked on 2019-01-10, 366 to 387 days before; a check is due every 365 days (2 readings, "
         "2020-01-11 to 2020-02-01).",
         {"instrument": "T-1", "readings": 2, "tape_check_days": 365.0, "last_check": "2019-01-10", "age_days": 387.0}),
        ("warning", 5, (5,),
         "Tape T-2 was last checked on 2019-01-10, 401 days before; a check is due every 365 days (1 reading).",
         {"instrument": "T-2", "readings": 1, "tape_check_days": 365.0, "last_check": "2019-01-10", "age_days": 401.0}),
        ("warning", 4, (4,),
         "Tape T-1 was last checked on 2020-03-01, 366 days before; a check is due every 365 days (1 reading).",
         {"instrument": "T-1", "readings": 1, "tape_check_days": 365.0, "last_check": "2020-03-01", "age_days": 366.0}),
    ]  # fmt: skip


def test_a_tape_without_a_check_is_a_note():
    events = with_tapes(["2020-03-02", "2020-01-10", "2020-01-10", "2021-01-11"], [-1, -1, -1, 1])
    assert told(events, visits.TAPE_DUE) == [
        ("note", 1, (1, 2, 0),
         "Tape T-1 has no check on record; a check is due every 365 days (3 readings, 2020-01-10 to 2020-03-02).",
         {"instrument": "T-1", "readings": 3, "tape_check_days": 365.0}),
    ]  # fmt: skip
    # visits without a reading, and other instruments than tapes, need no check
    assert told(with_tapes(["2020-01-10"], -1, value=np.nan), visits.TAPE_DUE) == []
    assert told(with_tapes(["2020-01-10"], -1, kind="logger"), visits.TAPE_DUE) == []
    # the first day of a computer's calendar, and the first check of the table
    early = with_tapes(["1972-01-02"], 0, check_days=("1970-01-01",))
    assert "was last checked on 1970-01-01, 731 days before" in told(early, visits.TAPE_DUE)[0][3]


def repeated(readings, *, rounds=None, metres=1.0, quantity="depth_to_water", access="main", checked=True):
    """Return readings of wells in rounds R0, R1 …: one row a well, one column a round."""
    table = np.array(readings)
    wells, count = table.shape
    names = [f"R{k}" for k in range(count)] if rounds is None else rounds
    events = events_of(
        quarters(count) * wells, well=np.repeat(np.arange(wells), count), round=names * wells,
        booked={"value": table.ravel(), "metres": np.broadcast_to(metres, table.shape).ravel(),
                "quantity": np.broadcast_to(quantity, table.shape).ravel()},
        access=np.broadcast_to(access, table.shape).ravel(),
    )  # fmt: skip
    return given(events, checked=np.broadcast_to(checked, table.shape).ravel())


def moving(wells=6, rounds=8, same=()):
    """Return readings that differ each time, but in the last round where a well repeats the one before."""
    table = 5.0 + 0.01 * ((7 * np.arange(wells)[:, None] + 3 * np.arange(rounds)[None, :]) % 31)
    table[list(same), -1] = table[list(same), -2]
    return table


def test_last_readings_again_in_a_round():
    """Three wells at least; the limit of chance is that of `gwnet.hydro.checks.visits.repeated_readings`."""
    found = told(repeated(moving(same=(0, 2, 3, 5))), visits.LAST_AGAIN)
    ((severity, row, rows, message, values),) = found
    assert (severity, row, rows) == ("warning", 7, (7, 23, 31, 47))
    # chance: (4 + 0.5) / (42 + 1) of all; per well (k − same + 10 p) / (7 − 1 + 10), mean plus four deviations
    p = 10 * 4.5 / 43 / 16
    chance = 6 * p + 4 * np.sqrt(6 * p * (1 - p))
    assert message == (
        f"4 of 6 wells of round R7 repeat their last reading exactly; by chance at most {int(chance)} would (A, C, D, F)."
    )
    assert values == {"same": 4, "read": 6, "chance": round(chance, 2)}


ALL = (0, 1, 2, 3, 4, 5)


@pytest.mark.parametrize(("change", "more", "is_found"), [
    ((0, 0.0), {}, True),
    ((0, 0.9e-6), {}, True),
    ((0, 1.1e-6), {}, False),
])  # fmt: skip
def test_equal_is_to_a_thousandth_of_a_millimetre(change, more, is_found):
    """Four of six repeat: with three the limit is not passed."""
    table = moving(same=(0, 2, 3, 5))
    table[:, -1] += np.where(np.isin(np.arange(6), (0, 2)), change[1], 0.0)
    assert bool(told(repeated(table, **more), visits.LAST_AGAIN)) == is_found


def last(usual, other):
    """Return one value for all readings but those of the last round."""
    table = np.full((6, 8), usual, dtype=object)
    table[:, -1] = other
    return table


@pytest.mark.parametrize(("more", "is_found"), [
    ({}, True),
    ({"rounds": [*(f"R{k}" for k in range(7)), ""]}, False),
    ({"quantity": last("depth_to_water", "depth_below_ground")}, False),
    ({"access": last("main", "tube")}, False),
    ({"checked": last(True, False).astype(bool)}, False),
    ({"metres": last(1.0, 0.3048).astype(float)}, False),
    ({"checked": last(False, True).astype(bool)}, False),
])  # fmt: skip
def test_what_is_compared_with_the_last_reading(more, is_found):
    assert bool(told(repeated(moving(same=ALL), **more), visits.LAST_AGAIN)) == is_found


def test_the_same_depth_in_feet_is_the_same_reading():
    table, metres = moving(same=ALL), np.ones((6, 8))
    metres[:, -1], table[:, -1] = FOOT, table[:, -1] / FOOT
    assert told(repeated(table, metres=metres), visits.LAST_AGAIN)[0][4]["same"] == 6
