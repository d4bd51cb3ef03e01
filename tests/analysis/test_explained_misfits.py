"""Which slip explains a misfit: every kind with its words, and at its limits; numbers worked out by hand, constructed.

A depth that is too large by d makes the level too low by d: to take back what a slip added is the move of the level.
Limits are project defaults as documented: a coarse slip moves a level by over 8 spreads, leaves at most 2 spreads and a
tenth of what it moves.
"""

import numpy as np
import pytest

from gwnet.analysis.checks.explanations import explain_misfits, is_in_feet

from .check_events import events_of, given, points_of

FOOT = 0.3048  # international foot: NIST SP 811 (2008), appendix B.6


def booked(value, written=None, unit="m", quantity="depth_to_water"):
    """Return one booked number as it was written."""
    text = written or str(value)
    return {
        "value": value,
        "written": text,
        "decimals": len(text.partition(".")[2]),
        "unit": unit,
        "metres": {"m": 1.0, "ft": FOOT, "cm": 0.01, "us-ft": 1200 / 3937}[unit],
        "sense": 1.0 if quantity == "water_elevation" else -1.0,
        "quantity": quantity,
    }


def explained(number, misfit, spread=0.1, *, own=None, own_spread=0.07, **more):
    """Return what explains the misfit of one event: of its own record alone where `own` is given; None for nothing."""
    fit = {"residual_m": misfit, "spread_m": spread, "own_spread_m": own_spread}
    fit["own_residual_m"] = 0.0 if own is None else own
    events = events_of(["2020-06-01T12:00"], fit=fit, booked=number, **{"point": -1, **more})
    events = given(events, may_be_in_feet=np.array([True]), may_be_in_metres=np.array([True]))
    alone = np.array([own is not None])
    found = explain_misfits(events, np.array([0]), ~alone, alone).get(0)
    return None if found is None else (found.rule, found.severity, found.words, found.moved_m, found.left_m)


DIGITS, DECIMAL, UNIT, SIGN = (
    "fits with two digits exchanged",
    "fits with the decimal point moved",
    "fits in another unit",
    "fits with the other sign",
)
AMOUNT, POINT = "off by a round amount", "fits another measuring point"
ONE_DIGIT = ": one digit may be wrong"


@pytest.mark.parametrize(("number", "misfit", "rule", "severity", "words", "moved"), [
    (booked(3.47), 0.28, DIGITS, "warning", "two digits may be exchanged: 3.74 instead of 3.47 m", -0.27),
    (booked(34.7), -8.98, DIGITS, "warning", "two digits may be exchanged: 43.7 instead of 34.7 m", None),
    (booked(12.6, unit="ft"), -1.1, DIGITS, "warning", "two digits may be exchanged: 16.2 instead of 12.6 ft", None),
    (booked(214.3, quantity="water_elevation"), 89.9, DIGITS, "warning",
     "two digits may be exchanged: 124.3 instead of 214.3 m", -90.0),
    (booked(14.25, unit="ft"), 39.1, DECIMAL, "serious",
     "the decimal point may be misplaced: 142.5 instead of 14.25 ft", -9 * 14.25 * FOOT),
    (booked(1.4), 138.7, DECIMAL, "serious", "the decimal point may be misplaced: 140 instead of 1.4 m", -99 * 1.4),
    (booked(55.5), -49.9, DECIMAL, "serious", "the decimal point may be misplaced: 5.55 instead of 55.5 m", 0.9 * 55.5),
    (booked(555.0, "555"), -549.5, DECIMAL, "serious",
     "the decimal point may be misplaced: 5.55 instead of 555 m", 0.99 * 555),
    (booked(22.2), -15.4, UNIT, "serious", "22.2 may be in feet and not in m", 22.2 * (1 - FOOT)),
    (booked(22.2, unit="ft"), 15.4, UNIT, "serious", "22.2 may be in metres and not in ft", -22.2 * (1 - FOOT)),
    (booked(-3.3), 6.7, SIGN, "serious", "-3.3 m may have the wrong sign", -6.6),
    (booked(-3.3, quantity="water_elevation"), -6.5, SIGN, "serious", "-3.3 m may have the wrong sign", 6.6),
    (booked(4.44), -0.97, AMOUNT, "serious", "it would fit 1 m higher" + ONE_DIGIT, 1.0),
    (booked(4.44), 0.97, AMOUNT, "serious", "it would fit 1 m lower" + ONE_DIGIT, -1.0),
    (booked(4.44), 9.9, AMOUNT, "serious", "it would fit 10 m lower" + ONE_DIGIT, -10.0),
    (booked(4.44), 0.105, AMOUNT, "warning", "it would fit 0.1 m lower" + ONE_DIGIT, -0.1),
    (booked(4.44, unit="ft"), -0.31, AMOUNT, "serious", "it would fit 1 ft higher" + ONE_DIGIT, FOOT),
    (booked(4.44, unit="us-ft"), -3.0, AMOUNT, "serious", "it would fit 10 ft higher" + ONE_DIGIT, 10 * FOOT),
    (booked(4.44, unit="ft"), -0.031, AMOUNT, "warning", "it would fit 0.1 ft higher" + ONE_DIGIT, 0.1 * FOOT),
    (booked(444.0, "444", unit="cm"), -0.97, AMOUNT, "serious", "it would fit 1 m higher" + ONE_DIGIT, 1.0),
])  # fmt: skip
def test_a_slip_is_named_with_what_it_moves_and_leaves(number, misfit, rule, severity, words, moved):
    found = explained(number, misfit, 0.08)
    if moved is None:
        factor = number["metres"] * number["sense"]
        moved = factor * (float(words.split(": ")[1].split()[0]) - number["value"])
        assert (found is None) == (abs(misfit + moved) > 0.1 * abs(moved))
        if found is None:
            return
    assert found[:3] == (rule, severity, words)
    assert found[3:] == pytest.approx((moved, abs(misfit + moved)), rel=1e-9)


@pytest.mark.parametrize(("number", "misfit", "spread", "rule"), [
    # moved by 2.25 m, a multiple of 1/8: over 8 spreads
    (booked(0.25, "0.250"), 2.25, 0.28125, None),
    (booked(0.25, "0.250"), 2.25, 0.2812, DECIMAL),
    (booked(-0.5625), 1.125, 0.140625, None),
    (booked(-0.5625), 1.125, 0.1406, SIGN),
    # a fine one of less than 8 spreads counts
    (booked(3.47), 0.27, 0.2, DIGITS),
    # what is left: a tenth of 0.27 m, and 2 spreads
    (booked(3.47), 0.27 + 0.0265, 0.1, DIGITS),
    (booked(3.47), 0.27 + 0.0275, 0.1, None),
    (booked(4.44), 1.0 + 0.0625, 0.03125, AMOUNT),
    (booked(4.44), 1.0 + 0.0630, 0.03125, None),
])  # fmt: skip
def test_what_a_slip_must_move_and_may_leave(number, misfit, spread, rule):
    found = explained(number, misfit, spread)
    assert (found and found[0]) == rule


UPPER = points_of((0, {"elevation_m": 100.0, "height_above_ground_m": np.nan, "valid_until_utc": "2010-01-01"}),
                  (0, {"elevation_m": 100.9, "height_above_ground_m": np.nan, "valid_from_utc": "2010-01-01"}))  # fmt: skip


def beside(before_m):
    """Return two points of a well, the first so much lower than the one in force at the event."""
    return {"points": UPPER.assign(elevation_m=[100.0, 100.0 + before_m]), "point": 1}


@pytest.mark.parametrize(("number", "misfit", "more", "rule"), [
    # digits move by 0.9 m and have rank 0, one metre rank 0.5 of the 0.2 m that may be left
    (booked(1.2), 0.96, {}, DIGITS),
    # a point 0.9 m lower against one metre: equal ranks, so that the least misfit decides
    (booked(1.1), 0.96, beside(0.9), AMOUNT),
    (booked(1.1), 0.94, beside(0.9), POINT),
    # 9 m by the decimal point, rank 0, against 8.95 m by a point
    (booked(1.0), 8.96, beside(8.95), DECIMAL),
    # 15.432 m by the unit and 6.6 m by the sign, both rank 0.25, against points
    (booked(22.2, unit="ft"), 22.2 * (1 - FOOT) - 0.06, beside(22.2 * (1 - FOOT) - 0.1), UNIT),
    (booked(-3.3), 6.6 - 0.06, beside(6.6 - 0.1), SIGN),
    # ... which the rank does not outweigh where the point leaves nothing and the slip half of what it may
    (booked(22.2, unit="ft"), 22.2 * (1 - FOOT) - 0.16, beside(22.2 * (1 - FOOT) - 0.16), POINT),
])  # fmt: skip
def test_of_two_slips_the_likelier_one_is_named(number, misfit, more, rule):
    assert explained(number, misfit, **more)[0] == rule


@pytest.mark.parametrize(("number", "own", "own_spread", "rule"), [
    (booked(14.25, unit="ft"), 39.2, 0.07, DECIMAL),
    (booked(14.25, unit="ft"), 39.22, 0.07, DECIMAL),
    (booked(14.25, unit="ft"), 39.24, 0.07, None),
    (booked(14.25, unit="ft"), 39.24, 0.08, DECIMAL),
    (booked(3.47), 0.27, 0.07, None),
    (booked(4.44), 1.0, 0.07, None),
])  # fmt: skip
def test_against_its_own_record_alone_only_coarse_slips_explain(number, own, own_spread, rule):
    """39.091 m are moved, and twice the spread of the well's own readings may be left."""
    found = explained(number, 0.0, own=own, own_spread=own_spread)
    assert (found and found[0]) == rule
    if rule:
        assert found[3:] == pytest.approx((-9 * 14.25 * FOOT, own - 9 * 14.25 * FOOT), rel=1e-9)


@pytest.mark.parametrize(("feet", "metres", "unit", "is_unit"), [
    (True, False, "m", True), (False, True, "m", False), (True, False, "ft", False), (False, True, "ft", True),
])  # fmt: skip
def test_a_unit_explains_where_the_record_knows_it(feet, metres, unit, is_unit):
    number, sign = booked(22.2, unit=unit), -1.0 if unit == "m" else 1.0
    events = events_of(["2020-06-01T12:00"], booked=number, fit={"residual_m": sign * 22.2 * (1 - FOOT)}, point=-1)
    events = given(events, may_be_in_feet=np.array([feet]), may_be_in_metres=np.array([metres]))
    found = explain_misfits(events, np.array([0]), np.array([True]), np.array([False]))
    assert (0 in found) == is_unit


def test_levels_explained_alike_have_the_same_alternative():
    number = [booked(22.2, unit="ft"), booked(33.3, unit="ft"), booked(-3.3), booked(4.44), booked(4.44)]
    columns = {name: np.array([one[name] for one in number]) for name in number[0]}
    misfit = np.array([22.2 * (1 - FOOT), 33.3 * (1 - FOOT), 6.6, 1.0, -1.0])
    events = events_of(
        [f"2020-06-0{d}T12:00" for d in range(1, 6)], booked=columns, fit={"residual_m": misfit}, point=-1
    )
    events = given(events, may_be_in_feet=np.ones(5, bool), may_be_in_metres=np.ones(5, bool))
    # the first row is not asked about
    found = explain_misfits(events, np.array([1, 2, 3, 4]), np.ones(5, bool), np.zeros(5, bool))
    assert [(row, one.rule) for row, one in found.items()] == [(1, UNIT), (2, SIGN), (3, AMOUNT), (4, AMOUNT)]
    assert len({one.alternative for one in found.values()}) == 4
    found |= explain_misfits(events, np.array([0]), np.ones(5, bool), np.zeros(5, bool))
    assert found[0].alternative == found[1].alternative


def test_feet_are_the_international_and_the_us_survey_foot():
    """1 ft = 0.3048 m and 1200/3937 m: NIST SP 811 (2008), appendix B.6."""
    metres = np.array([0.3048, 1200 / 3937, 1.0, 0.01, 0.001, 0.30479, 0.30481, 0.3048 + 0.8e-5])
    events = events_of(["2020-06-01T12:00"] * 8, booked={"metres": metres})
    assert is_in_feet(events).tolist() == [True, True, False, False, False, False, False, True]


# points of two wells, out of order: A has three of its main access and one each of three others, B two of one tube
POINTS = points_of(
    (1, {"elevation_m": 90.0, "access": "tube"}),
    (0, {"elevation_m": 101.9, "valid_from_utc": "2018-01-01"}),
    (0, {"elevation_m": 100.0, "valid_until_utc": "2010-01-01"}),
    (0, {"elevation_m": 100.7, "valid_from_utc": "2010-01-01", "valid_until_utc": "2018-01-01"}),
    (0, {"elevation_m": 103.1, "access": "tube", "valid_from_utc": "2015-06-01T12:00"}),
    (0, {"elevation_m": 106.2, "access": "old", "valid_until_utc": "2012-06-01T12:00"}),
    (
        0,
        {
            "elevation_m": 104.4,
            "access": "third",
            "valid_from_utc": "2016-01-01",
            "valid_until_utc": "2016-06-01T12:00",
        },
    ),
    (1, {"elevation_m": 91.4, "access": "tube", "valid_from_utc": "2018-01-01"}),
)


@pytest.mark.parametrize(("when", "well", "point", "misfit", "what"), [
    ("2014-06-01", 0, 3, 0.7, "the measuring point before that one"),
    ("2014-06-01", 0, 3, -1.2, "the measuring point after that one"),
    ("2009-06-01", 0, 2, -0.7, "the measuring point after that one"),
    ("2009-06-01", 0, 2, -6.2, "another access of the well"),
    ("2012-06-01T11:59", 0, 3, -5.5, "another access of the well"),
    ("2012-06-01T12:00", 0, 3, -5.5, None),
    ("2015-06-01T12:00", 0, 3, -2.4, "another access of the well"),
    ("2015-06-01T11:59", 0, 3, -2.4, None),
    ("2016-06-01T11:59", 0, 3, -2.4, None),
    ("2016-06-01T12:00", 0, 3, -2.4, "another access of the well"),
    ("2020-06-01", 0, 1, 1.2, "the measuring point before that one"),
    ("2020-06-01", 0, 4, 1.2, "another access of the well"),
    ("2020-06-01", 0, 1, -1.2, "another access of the well"),
    ("2017-06-01", 1, 0, -1.4, "the measuring point after that one"),
    ("2020-06-01", 1, 7, 1.4, "the measuring point before that one"),
    ("2020-06-01", 1, 0, -10.0, None),
    ("2020-06-01", 1, 0, -11.9, None),
    ("2020-06-01", 1, 0, 0.5, "the ground"),
    ("2014-06-01", 0, -1, 0.7, None),
])  # fmt: skip
def test_from_which_point_a_depth_may_have_been_read(when, well, point, misfit, what):
    """A depth of 7.77 m: the level moves by the other point's elevation less that of the one in force."""
    number = booked(7.77)
    events = events_of([when], well=well, booked=number, fit={"residual_m": misfit, "spread_m": 0.02},
                       points=POINTS, point=point)  # fmt: skip
    events = given(events, may_be_in_feet=np.array([False]), may_be_in_metres=np.array([False]))
    found = explain_misfits(events, np.array([0]), np.array([True]), np.array([False])).get(0)
    # 10 m is a round amount as well
    if what is None:
        assert found is None or found.rule == AMOUNT
    else:
        assert (found.rule, found.severity) == (POINT, "warning")
        assert found.words == f"it may have been read from {what}"
        assert found.moved_m == pytest.approx(-misfit, rel=1e-9)


@pytest.mark.parametrize(("quantity", "height", "misfit", "words"), [
    ("depth_to_water", 0.6, 0.6, "it may have been read from the ground"),
    ("depth_below_ground", 0.6, -0.6, "it may have been read from the measuring point"),
    ("water_elevation", 0.6, 0.6, None),
    ("water_elevation", 0.6, -0.6, None),
    # two points at nearly one height, 5 cm (project default), explain nothing
    ("depth_to_water", 0.05, 0.05, "it may have been read from the ground"),
    ("depth_to_water", 0.0499, 0.0499, None),
])  # fmt: skip
def test_a_depth_may_be_from_the_ground_or_the_other_way_round(quantity, height, misfit, words):
    points = points_of((0, {"height_above_ground_m": height}))
    found = explained(booked(5.55, quantity=quantity), misfit, 0.02, points=points, point=0)
    assert (found and found[2]) == words


def test_three_accesses_leave_open_which_other_one_was_meant():
    three = points_of((0, {"elevation_m": 100.0}), (0, {"elevation_m": 100.7, "access": "tube"}),
                      (0, {"elevation_m": 101.9, "access": "tube 2"}))  # fmt: skip
    assert explained(booked(5.55), -0.7, 0.02, points=three, point=0) is None
    assert explained(booked(5.55), -0.7, 0.02, points=three[:2], point=0)[0] == POINT


def test_the_other_access_is_that_of_each_event():
    """Two events of one well and one of another: what stands at one place is not taken at another."""
    events = events_of(
        ["2020-06-01", "2020-06-02", "2020-06-03"], well=[0, 1, 1], booked=booked(5.55), point=[0, 1, 2],
        fit={"residual_m": [-0.7, 0.3, -0.3], "spread_m": 0.02},
        points=points_of((0, {"elevation_m": 100.0}), (1, {"elevation_m": 100.5}),
                         (1, {"elevation_m": 100.2, "access": "tube"}), (0, {"elevation_m": 100.7, "access": "tube"})),
    )  # fmt: skip
    events = given(events, may_be_in_feet=np.zeros(3, bool), may_be_in_metres=np.zeros(3, bool))
    found = explain_misfits(events, np.arange(3), np.ones(3, bool), np.zeros(3, bool))
    assert [found[row].moved_m for row in range(3)] == pytest.approx([0.7, -0.3, 0.3], rel=1e-9)
    assert {found[row].words for row in range(3)} == {"it may have been read from another access of the well"}
