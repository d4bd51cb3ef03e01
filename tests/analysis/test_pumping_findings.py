"""What looks wrong in a pumping test: each rule at its limits, on frames alone."""

import itertools
import math

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.pumping import findings
from gwnet.analysis.pumping.findings import find_in_test

from .gathered import gathered, level_rows


def found(rule, *arguments, **more):
    """Return the findings of a rule in a test: well, message and what can be done."""
    test = gathered(*arguments, **more)
    return [(each.well, each.message, each.fix) for each in findings.RULES[rule][1](test) if each.rule == rule]


def messages(rule, *arguments, **more):
    return [message for _, message, _ in found(rule, *arguments, **more)]


def test_an_ordinary_test_has_no_finding():
    assert find_in_test(gathered()) == []
    # half a minute is within what a crew needs to write it down
    assert find_in_test(gathered(rates=[("PW", 0.5, 8.0), ("PW", 600.5, 3.0)])) == []
    assert find_in_test(gathered(rates=[("PW", -0.5, 8.0), ("PW", 599.5, 0.0)])) == []
    late = find_in_test(gathered(rates=[("PW", 5, 8.0), ("PW", 5, 9.0)]))
    assert [each.rule for each in late] == [findings.RATE_GAP, findings.RATE_OVERLAP]


def test_a_well_needs_a_level_up_to_the_start():
    levels = [("O1", 0, 6.0), ("O1", 5, 6.1), ("O2", 1, 4.0), ("O2", 7, 4.1), ("PW", 3, 9.0)]
    said = "has {} of test PT-1, the first {} min after the start, and no level in the 24 h before it."
    assert found(findings.NO_STATIC, levels) == [
        ("O2", f"O2 {said.format('2 readings', 1)}", "Load the level that was read before the pump started."),
        ("PW", f"PW {said.format('1 reading', 3)}", "Load the level that was read before the pump started."),
    ]
    given = level_rows(("O1", 5, np.nan)).assign(given_drawdown_m=0.3)
    assert found(findings.NO_STATIC, given) == []


@pytest.mark.parametrize(
    ("rates", "more", "is_said"),
    [
        ([], {}, True),
        ([("PW", 0, 0.0)], {}, True),
        ([("O1", 0, 5.0)], {}, True),
        ([("PW", 0, 0.4)], {}, False),
        ([], {"kind": "slug"}, False),
        ([], {"levels": [("PW", -5, 5.0), ("PW", 0, 5.0)]}, False),  # planned, not made
        ([], {"levels": [("PW", -5, 5.0), ("PW", 0.5, 5.0)]}, True),
    ],
)
def test_a_test_with_readings_needs_a_rate_above_0(rates, more, is_said):
    assert messages(findings.NO_RATE, rates=rates, **more) == ["Test PT-1 has no rate of PW above 0."] * is_said


@pytest.mark.parametrize(
    ("rates", "said"),
    [
        ([("PW", 0.6, 8.0)], ["No rate of PW is on record for the first 0.6 min of test PT-1."]),
        ([("PW", -0.6, 8.0)], ["A rate of PW begins 0.6 min before the start of test PT-1."]),
        ([("O1", 30, 8.0)], []),
        (
            [("PW", 0, 8.0), ("PW", 600.6, 0.7), ("PW", 700, 0.0)],
            ["PW is said to pump 0.7 L/s from minute 600.6 of test PT-1; the pump stopped at minute 600."],
        ),
        ([("PW", 0, 8.0), ("PW", 30, 9.0), ("PW", 0.4, 9.0)], []),
    ],
)
def test_rates_begin_with_the_pump_and_end_with_it(rates, said):
    assert messages(findings.RATE_GAP, rates=rates) == said


def test_two_rates_from_one_moment():
    rates = [("PW", 5, 8.0), ("PW", 5, 9.5), ("PW", 6, 9.0), ("O1", 6, 1.0)]
    [said] = messages(findings.RATE_OVERLAP, rates=rates)
    assert said == "Rates of 8 and 9.5 L/s of PW both begin at minute 5 of test PT-1."


@pytest.mark.parametrize(
    ("rates", "stop_min", "said"),
    [
        ([("PW", 0, 8.0), ("PW", 599.4, 0.0)], 600.0, ["minute 599.4 to the end"]),
        ([("PW", 0, 8.0), ("PW", 50, 0.0), ("PW", 60, 8.0), ("PW", 90, 7.0)], 600.0, ["minute 50 to minute 60"]),
        ([("PW", 0, 8.0), ("O1", 50, 0.0)], 600.0, []),
        ([("PW", 0, 8.0), ("PW", 50, 1.0)], 600.0, []),
    ],
)
def test_a_pump_that_stood_still(rates, stop_min, said):
    expected = [f"The rate of PW is 0 from {each} of test PT-1." for each in said]
    assert messages(findings.ZERO_RATE, rates=rates, stop_min=stop_min) == expected


TAKEN = "unless it is superposed the analyses take the pumping of PW in this test alone."


@pytest.mark.parametrize(
    ("others", "said"),
    [
        ([("PT-1", "O1", "upper", 5, 90, 2.0), ("PT-1", "O1", "upper", 90, 200, 3.0)],
         [f"O1 is pumped during test PT-1 of PW, from minute 5 to minute 200; {TAKEN}"]),
        ([("PT-2", "P2", "", -1500, -1439, 2.0)],
         [f"P2 is pumped during test PT-1 of PW in test PT-2, from minute -1500 to minute -1439; {TAKEN}"]),
        ([("PT-2", "P2", "upper", -1500, -1440, 2.0)], []),  # ends where the day before the start begins
        ([("PT-2", "P2", "upper", 299, math.inf, 2.0)],
         [f"P2 is pumped during test PT-1 of PW in test PT-2, from minute 299 with no end on record; {TAKEN}"]),
        ([("PT-2", "P2", "upper", 300, 400, 2.0)], []),  # begins with the last level
        ([("PT-2", "P2", "lower", 5, 90, 2.0)], []),
        ([("PT-3", "PW", "upper", -900, -100, 2.0)],
         [f"PW is pumped during test PT-1 of PW in test PT-3, from minute -900 to minute -100; {TAKEN}"]),
        ([("PT-3", "PW", "upper", -900, 0.5, 2.0)], []),
    ],
)  # fmt: skip
def test_another_pump_in_the_aquifer_from_the_first_level_to_the_last(others, said):
    assert messages(findings.OTHER_PUMPS, others=others) == said
    for well, _, fix in found(findings.OTHER_PUMPS, others=others):
        assert fix.startswith(f"Superpose it (--superpose {well})")


@pytest.mark.parametrize(
    ("aquifers", "other", "named"),
    [(["upper"] * 3, "lower", False), (["", "upper", "upper"], "lower", True), (["upper"] * 3, "", True)],
)
def test_a_well_of_unknown_aquifer_may_be_of_this_one(aquifers, other, named):
    test = gathered(others=[("PT-2", "P2", other, 5, 90, 2.0)], wells={"aquifer": aquifers})
    assert (len(test.pumped_beside()) == 1) is named


@pytest.mark.parametrize(
    ("span", "is_said"), [((-50, 0), False), ((-50, 0.5), True), ((599, 700), True), ((600, 700), False)]
)
def test_two_tests_at_one_well_at_one_time(span, is_said):
    others = [("PT-3", "PW", "upper", *span, 2.0), ("PT-4", "O1", "upper", 5, 90, 2.0)]
    expected = (
        f"Test PT-3 has rates of PW, from minute {span[0]:g} to minute {span[1]:g} of test PT-1, which has its own "
        "rates then; one pump has one rate."
    )
    assert messages(findings.SAME_WELL, others=others) == [expected] * is_said


@pytest.mark.parametrize(
    ("passed", "rows", "count"),
    [
        ("falling", [(1, 6.0), (2, 6.1), (3, 6.2)], 0),
        ("falling", [(1, 6.0), (2, 6.0)], 1),
        ("falling", [(1, 6.0), (2, 5.9), (3, 6.2), (4, 6.1)], 2),
        ("rising", [(1, 6.2), (2, 6.1)], 0),
        ("rising", [(1, 6.2), (2, 6.2)], 1),
        ("rising", [(1, 6.2), (2, 6.3)], 1),
        ("falling", [(59, 6.5), (60, 6.0), (61, 6.2)], 0),  # the rate changes at minute 60
        ("falling", [(599, 6.5), (600, 6.0)], 0),  # the pump stops at minute 600
        ("falling", [(58, 6.5), (59.5, 6.0)], 1),
        ("", [(1, 6.0), (2, 5.9)], 0),
    ],
)
def test_the_water_passes_set_depths_in_their_order(passed, rows, count):
    levels = level_rows(*[("O1", minute, depth) for minute, depth in rows], passed=passed)
    said = messages(findings.PASSING_ORDER, levels, rates=[("PW", 0, 8.0), ("PW", 60, 4.0)])
    assert len(said) == count
    if count:
        (first, one), (second, other) = next(
            pair
            for pair in itertools.pairwise(rows)
            if (pair[1][1] <= pair[0][1] if passed == "falling" else pair[1][1] >= pair[0][1])
        )
        assert said[0] == (
            f"The water in O1, {passed}, is said to pass {one:.3f} m at minute {first:g} of test PT-1 and {other:.3f} m "
            f"at minute {second:g}."
        )


@pytest.mark.parametrize(
    ("rows", "width", "said"),
    [
        ([(10, 7.0), (20, 6.979)], 0.001, "0.021 m from minute 10 to minute 20"),
        ([(10, 7.0), (20, 6.981)], 0.001, None),  # 2 cm of readings by hand
        ([(10, 7.0), (20, 6.9)], 0.08, None),  # the root of 0.08² + 0.08² is 0.113
        ([(10, 7.0), (20, 6.88)], 0.08, "0.120 m from minute 10 to minute 20"),
        ([(10, 7.0), (20, 6.979)], np.nan, "0.021 m from minute 10 to minute 20"),
        ([(0, 7.0), (20, 6.5)], 0.001, None),
        ([(0.5, 7.0), (20, 6.5)], 0.001, "0.500 m from minute 0.5 to minute 20"),
        ([(300, 7.0), (600, 6.5)], 0.001, "0.500 m from minute 300 to minute 600"),
        ([(10, 7.0), (600.5, 6.5)], 0.001, None),
        ([(60, 7.0), (70, 6.5)], 0.001, "0.500 m from minute 60 to minute 70"),
        ([(59, 7.0), (60, 6.5)], 0.001, None),  # the rate falls at minute 60
        ([(199, 7.0), (201, 6.5)], 0.001, "0.500 m from minute 199 to minute 201"),  # and rises at minute 200
        ([(50, 7.0), (70, 6.5), (80, 6.8), (90, 6.2), (95, 6.0)], 0.001, "0.600 m from minute 80 to minute 90"),
    ],
)
def test_levels_do_not_rise_while_the_pump_runs(rows, width, said):
    levels = level_rows(*[("O1", minute, depth) for minute, depth in rows], half_width_m=width)
    expected = [] if said is None else [f"The level of O1 rises by {said} of test PT-1, while the pump runs."]
    rates = [("PW", 0, 8.0), ("PW", 60, 4.0), ("PW", 200, 9.0), ("O2", 20, 3.0), ("O2", 30, 1.0)]
    assert messages(findings.RISES, levels, rates=rates) == expected
    assert messages(findings.RISES, levels, rates=rates, kind="slug") == []
    as_depths = levels.assign(water_elevation_m=np.nan)
    assert messages(findings.RISES, as_depths, rates=rates) == expected
    as_given = as_depths.assign(given_drawdown_m=levels["depth_to_water_m"], depth_to_water_m=np.nan)
    assert messages(findings.RISES, as_given, rates=rates) == expected


@pytest.mark.parametrize(("widths", "is_said"), [((0.001, 0.2, 0.001), False), ((0.2, 0.001, 0.001), True)])
def test_a_rise_is_judged_by_its_own_two_readings(widths, is_said):
    levels = level_rows(("O1", 10, 7.0), ("O1", 20, 7.0), ("O1", 30, 6.9)).assign(half_width_m=widths)
    expected = "The level of O1 rises by 0.100 m from minute 20 to minute 30 of test PT-1, while the pump runs."
    assert messages(findings.RISES, levels) == [expected] * is_said


@pytest.mark.parametrize(
    ("distance", "said"),
    [
        (10_000.0, None),
        (10_001.0, "O1 lies 10.0 km from PW, the pumped well."),
        (0.5, None),
        (0.0, "O1 has the coordinates of PW, the pumped well."),
        (math.nan, "The distance of O1 from PW is not known: one of them has no coordinates."),
    ],
)
def test_distances_that_cannot_be(distance, said):
    wells = {"distance_m": [0.0, distance, 50_000.0]}
    assert messages(findings.FAR, wells=wells) == ([] if said is None else [said])
    other = level_rows(("O1", -5, 6.0), ("O1", 20, 6.5), source="logger V")
    assert messages(findings.FAR, other, wells=wells) == []


@pytest.mark.parametrize(
    ("more", "is_said"),
    [
        ({}, True),
        ({"stop_min": 600.0}, False),
        ({"kind": "slug"}, False),
        ({"levels": [("PW", 0, 5.0)]}, False),
        ({"rates": [("PW", 0, 8.0), ("PW", 500, 0.0)]}, False),
        ({"rates": [("PW", 0, 8.0), ("O1", 500, 0.0)]}, True),
    ],
)
def test_the_end_of_pumping_is_on_record(more, is_said):
    expected = "It is not on record when the pump of test PT-1 stopped, so pumping and recovery are not distinguished."
    assert messages(findings.NO_STOP, **{"stop_min": math.inf, **more}) == [expected] * is_said


@pytest.mark.parametrize("is_elevation", [True, False])
def test_levels_below_the_bottom_of_the_well(is_elevation):
    """A depth below the measuring point is half a metre more than one below ground; where none is known it serves."""
    above = 0.5 if is_elevation else 0.0
    rows = [("O1", -5, 32.0 + above), ("O1", 3, 32.25 + above), ("O1", 4, 90.0), ("O2", 5, np.nan), ("PW", 6, 40.0)]
    levels = level_rows(*rows)
    if not is_elevation:
        levels["water_elevation_m"] = np.nan
    assert messages(findings.BELOW, levels) == [
        f"2 readings of O1 in test PT-1, the first {32.25 + above:.3f} m at minute 3, below the bottom of the well, "
        "32.00 m below ground."
    ]
    assert messages(findings.BELOW, levels.assign(source="logger V")) == []


@pytest.mark.parametrize(("second", "is_said"), [(7.0201, True), (7.0199, False), (6.979, True)])
def test_two_depths_at_one_moment(second, is_said):
    levels = level_rows(("O1", 5, 7.0), ("O1", 5, second), ("O1", 6, 9.0), ("O2", 5, 1.0))
    expected = f"Depths of 7.000 and {second:.3f} m are on record of O1 at minute 5 of test PT-1."
    assert messages(findings.TWICE, levels) == [expected] * is_said
    mixed = levels.assign(source=["manual", "level event", "manual", "manual"])
    assert messages(findings.TWICE, mixed) == []
    assert messages(findings.TWICE, pd.concat([levels[:1], level_rows(("O1", 5, np.nan))])) == []
