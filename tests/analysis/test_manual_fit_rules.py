"""Manual readings that do not fit the others of their installation, at each limit; constructed frames."""

import numpy as np
import pytest

from gwnet.analysis.loggers.manual_fit import find_misfits

from .heads_of_arrays import HOUR, NAN, START, installations_of, manual_of

PLACE = ("S", "W", "L", "water column")
LIMITS = {"logger_residual_m": 0.05, "logger_drift_share": 0.25}
STEADY = installations_of((0.0, 1.0, 0.0), (0.0, 1.0, 0.0))


def found(residuals, *, installations=STEADY, readings=None, **more):
    rows = readings or [{"leave_one_out_residual_m": residual, "offset_m": 90.0} for residual in residuals]
    return list(find_misfits(PLACE, manual_of(*rows), installations, LIMITS, **more))


def off(number, by):
    return (
        f"The manual reading of 2024-01-0{number}T10:00+01:00 (event {number}) is {by} m off what the others give: "
        "slip, drift, clock, barometer, itself."
    )


@pytest.mark.parametrize(
    ("residuals", "uncertainty", "stepped", "number", "by"),
    [
        ([0.01, 0.051, -0.02], 0.01, 0.0, 2, "+0.051"),
        ([0.01, 0.05, -0.02], 0.01, 0.0, None, ""),
        ([0.06, 0.07, -0.08], 0.01, 0.0, 3, "-0.080"),
        # one and a half times the half-width of the reading
        ([0.01, 0.76, -0.02], 0.5, 0.0, 2, "+0.760"),
        ([0.01, 0.75, -0.02], 0.5, 0.0, None, ""),
        # a quarter more than a step
        ([0.01, 0.51, -0.02], 0.01, 0.4, 2, "+0.510"),
        ([0.01, 0.5, -0.02], 0.01, 0.4, None, ""),
        # of two readings either may be the wrong one
        ([0.3, -0.4], 0.01, 0.0, None, ""),
        ([0.3, NAN, -0.4], 0.01, 0.0, None, ""),
        ([0.3, NAN, -0.4, 0.01], 0.01, 0.0, 3, "-0.400"),
    ],
)
def test_the_reading_farthest_off_is_named_where_three_or_more_can_be_compared(
    residuals, uncertainty, stepped, number, by
):
    rows = [{"leave_one_out_residual_m": value, "offset_m": 90.0, "uncertainty_m": uncertainty} for value in residuals]
    made = found(None, readings=rows, stepped_m=stepped)
    if number is None:
        assert made == []
        return
    (one,) = made
    assert (one.site, one.well, one.instrument, one.quantity, one.rule) == (*PLACE, "manual reading")
    assert one.message == off(number, by)
    moment = np.datetime64(f"2024-01-0{number}T09:00", "us")
    assert (one.start_utc, one.end_utc) == (moment, moment)
    suggested = ("", {}) if stepped else ("anchoring", {"leave_out": [number]})
    assert (one.kind, one.parameters) == suggested


def test_each_installation_is_judged_by_itself():
    rows = [
        {"leave_one_out_residual_m": value, "offset_m": 90.0, "installation": number // 3}
        for number, value in enumerate([0.06, -0.3, 0.2, 0.1, 0.0, -0.2])
    ]
    assert [one.message for one in found(None, readings=rows)] == [off(2, "-0.300"), off(6, "-0.200")]
    assert found(None, readings=rows[:2] + rows[3:5]) == []


def test_readings_with_a_known_cause_are_left_out_and_the_others_compared_anew():
    """The second offset is explained; of the others the fifth is off the line between its neighbours."""
    line = {1: 90.0, 2: 95.0, 3: 90.05, 5: 90.6, 6: 90.1, 7: 90.12}
    rows = [
        {
            "offset_m": offset,
            "measured_at_utc": f"2024-01-0{day}T09:00",
            "leave_one_out_residual_m": 0.0,
            "event_id": day,
            "measured_at": f"2024-01-0{day}T10:00+01:00",
        }
        for day, offset in line.items()
    ]
    rows.insert(3, {**rows[2], "event_id": 4, "offset_m": NAN, "measured_at_utc": "2024-01-04T09:00"})
    between = 90.05 + (90.1 - 90.05) * 2 / 3  # on day 5 between days 3 and 6
    # in any order of the rows
    for order in (rows, rows[::-1]):
        (one,) = found(None, readings=order, explained={2})
        assert one.message == off(5, f"{90.6 - between:+.3f}")
        assert one.parameters == {"leave_out": [5]}
    assert found(None, readings=rows) == []
    # a single one of another installation has nothing to be compared with
    assert len(found(None, readings=[*rows, {"offset_m": 95.0, "installation": 1, "event_id": 9}], explained={2})) == 1
    # three that are left can be compared, two cannot
    assert len(found(None, readings=rows[:1] + rows[4:], explained={1})) == 1
    assert found(None, readings=rows[:1] + rows[5:], explained={1}) == []


@pytest.mark.parametrize(
    ("offsets", "reach", "on_record", "stepped", "words"),
    [
        # 0.3 m of 1.0 m
        ([90.0, 90.3, 90.1], 1.0, 0.25, 0.0, "0.300 m, 30% of the movement of the water (-0.125 m/year)"),
        ([90.0, 90.3, 90.1], 1.0, 0.24, 0.0, None),
        ([90.0, 90.3, 90.1], 1.0, NAN, 0.0, None),
        ([90.0, 90.25], 1.0, 0.9, 0.0, "0.250 m, 25% of the movement of the water (-0.125 m/year)"),
        ([90.0, 90.25], 1.001, 0.9, 0.0, None),
        # at least what readings may be off by: 0.05 m
        ([0.0, 0.05], 0.125, 0.9, 0.0, "0.050 m, 40% of the movement of the water (-0.125 m/year)"),
        ([0.0, 0.0499], 0.125, 0.9, 0.0, None),
        # or a quarter more than a step
        ([0.0, 0.25], 0.5, 0.9, 0.2, "0.250 m, 50% of the movement of the water (-0.125 m/year)"),
        ([0.0, 0.2499], 0.5, 0.9, 0.2, None),
        ([90.0, NAN], 1.0, 0.9, 0.0, None),
    ],
)
def test_offsets_that_spread_over_a_quarter_of_the_movement_are_drift(offsets, reach, on_record, stepped, words):
    drift = installations_of((0.0, 1.0, 0.0), (-0.125, reach, on_record))
    rows = [{"offset_m": offset, "installation": 1} for offset in offsets] + [{"offset_m": -500.0, "installation": 0}]
    made = found(None, readings=rows, installations=drift, stepped_m=stepped)
    if words is None:
        assert made == []
        return
    (one,) = made
    assert (one.rule, one.kind) == ("drift", "")
    assert one.message == f"The offsets of the manual readings spread over {words}: too much to rely on?"
    assert (one.start_utc, one.end_utc) == (START + HOUR, START + 6 * HOUR)


def test_drift_that_explained_readings_made_is_none():
    drift = installations_of((0.1, 1.0, 0.9))
    rows = [{"offset_m": 90.0}, {"offset_m": 90.5}, {"offset_m": 90.01}]
    assert [one.rule for one in found(None, readings=rows, installations=drift)] == ["drift"]
    assert found(None, readings=rows, installations=drift, explained=[2]) == []
