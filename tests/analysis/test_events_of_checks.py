"""What checks look up of level events: which are compared, levels as read, units, booked numbers, neighbours; constructed."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.checks import events as module

from .check_events import events_of, points_of, quarters

FOOT = 0.3048


def worked_out(events, *names):
    """Let events work out what the constructed ones are given."""
    for name in names:
        events.__dict__.pop(name, None)
    return events


def test_levels_as_read_also_where_they_are_bounds():
    nan = np.nan
    events = events_of(
        quarters(6), bound=["", "<=", "<=", "<=", ">=", "<="], water_elevation_m=[90.5, 91.0, 91.0, 91.0, 91.0, nan]
    )
    # in the order of the record: the site's own is the other way round
    events.order = np.arange(6)[::-1]
    events.reduced = SimpleNamespace(
        repeats=SimpleNamespace(depth_m=np.array([nan, 2.0, 2.5, 3.0, 3.5, 4.0])),
        tape=SimpleNamespace(correction_m=np.array([0.0, 0.25, 0.25, 0.25, 0.25, 0.125])),
        point_elevation_m=np.array([100.0, 100.0, 101.0, 102.0, 103.0, 104.0]),
        ground_elevation_m=np.array([99.0, 98.0, 97.0, 96.0, 95.0, 94.0]),
    )
    events.inputs.depth_below_ground_m = np.array([nan, nan, 5.0, nan, nan, nan])
    events.inputs.water_elevation_m = np.array([nan, nan, nan, 88.5, nan, nan])
    worked_out(events, "level_m", "checked")
    # elevation of the frame; point less depth and correction twice … and an elevation that was given, below ground
    assert events.read_level_m.tolist() == pytest.approx(
        [90.5, 103 - 3.75, 88.5, 97.0 - 5.0, 100 - 2.25, nan], nan_ok=True
    )
    assert events.checked.tolist() == [True] * 5 + [False]
    assert events.level_m.tolist() == pytest.approx([90.5, 99.25, 88.5, 92.0, 97.75, nan], nan_ok=True)


@pytest.mark.parametrize(("columns", "checked", "sound"), [
    ({}, True, True), ({"status": "flowing"}, True, True), ({"status": "pumping"}, False, False),
    ({"quality": "suspect"}, False, False), ({"quality": "poor"}, False, False), ({"usable": False}, True, False),
    ({"water_elevation_m": np.nan}, False, False), ({"status": "dry"}, False, False),
    ({"status": "pumping", "usable": False}, False, False),
])  # fmt: skip
def test_which_levels_are_compared_and_which_serve_for_others(columns, checked, sound):
    events = events_of(["2020-01-01"], **{"water_elevation_m": 90.0, **columns})
    events.read_level_m = events["water_elevation_m"]
    worked_out(events, "checked", "sound")
    assert (events.checked.tolist(), events.sound.tolist()) == ([checked], [sound])


UNITS = [
    ("m", ["m", "m"], [], [False, False], [True, True]),
    ("ft", ["m", "m"], [], [True, True], [True, True]),
    ("m", ["m", "ft"], [], [True, True], [True, True]),
    ("ft", ["ft", "ft"], [], [True, True], [False, False]),
    ("ft", ["ft", ""], [], [True, True], [False, False]),
    ("ft", ["ft", "cm"], [], [True, True], [True, True]),
    ("m", ["m", "m"], [("ft", 1)], [True, True], [True, True]),
    ("m", ["m", "m"], [("ft", 9)], [False, False], [True, True]),
    ("ft", ["ft", "ft"], [("m", 1), (None, 1)], [True, True], [True, True]),
]


@pytest.mark.parametrize(("site", "booked", "tapes", "feet", "metres"), UNITS)
def test_a_unit_is_known_where_the_site_a_number_or_a_tape_in_use_has_it(site, booked, tapes, feet, metres):
    events = events_of(quarters(2), unit=site, instrument_id=1, booked={"unit": booked})
    events.inputs.instruments = pd.DataFrame(
        {"instrument_id": [n for _, n in tapes], "length_unit": [u for u, _ in tapes]}, dtype=object
    )
    assert (events.may_be_in_feet.tolist(), events.may_be_in_metres.tolist()) == (feet, metres)


def test_or_where_the_note_of_an_event_has_the_word():
    notes = ["", "read in FEET", "one foot", "5 ft", "drifted", None, "metres", "a meter stick", "perimeter", "m"]
    events = events_of(quarters(10), unit="m", notes=notes, booked={"unit": ""})
    events.inputs.instruments["length_unit"] = pd.Series(dtype=object)
    assert events.may_be_in_feet.tolist() == [False, True, True, True, *[False] * 6]
    events = events_of(quarters(10), unit="ft", notes=notes, booked={"unit": ""})
    events.inputs.instruments["length_unit"] = pd.Series(dtype=object)
    assert events.may_be_in_metres.tolist() == [*[False] * 6, True, True, False, False]


@pytest.mark.parametrize(("unit", "metres", "plain", "signed"), [
    ("m", 1.23456, "1.235 m", "+1.235 m"), ("m", -0.5, "-0.500 m", "-0.500 m"),
    ("ft", 1.0, "3.28 ft", "+3.28 ft"), ("ft", -10 * FOOT, "-10.00 ft", "-10.00 ft"),
])  # fmt: skip
def test_lengths_are_written_in_the_unit_of_the_site(unit, metres, plain, signed):
    events = events_of(["2020-01-01"], unit=unit)
    assert (events.length(metres), events.length(metres, signed=True)) == (plain, signed)


READINGS = [
    # of each: record, quantity, ordinal, number, unit, text
    (0, "depth_to_water", 1, 5.25, "m", "5.25"),
    (0, "depth_to_water", 2, 5.26, "m", "5.26"),
    (1, "depth_to_water", 1, 5.5, "ft", "5,500 "),
    (1, "depth_below_ground", 1, 4.5, "cm", "4.5"),
    (2, "depth_below_ground", 1, 4.0, "m", "4"),
    (2, "water_elevation", 1, 88.125, "m", "88.125"),
    (3, "sounded_depth", 1, 12.0, "m", "12.0"),
    (5, "water_elevation", 2, 88.0, "m", "88.0"),
    (4, "depth_to_water", 1, 5.0, "m", "5."),
]


def test_the_number_that_a_level_rests_on_is_the_first_of_its_rank():
    """An elevation before a depth below ground before a depth to water; first readings only; decimals as written."""
    events = events_of(quarters(6))
    columns = ["record_id", "quantity", "ordinal", "value", "unit", "written"]
    events.inputs.readings = pd.DataFrame(READINGS, columns=columns)
    events.records["record_id"] = [4, 3, 2, 1, 0, 5]
    found = worked_out(events, "booked").booked
    depth = "depth_to_water"
    assert found.quantity.tolist() == [depth, "", "water_elevation", "depth_below_ground", depth, ""]
    assert found.value.tolist() == pytest.approx([5.0, np.nan, 88.125, 4.5, 5.25, np.nan], nan_ok=True)
    assert found.decimals.tolist() == [0, 0, 3, 1, 2, 0]
    assert found.metres.tolist() == pytest.approx([1.0, np.nan, 1.0, 0.01, 1.0, np.nan], nan_ok=True)
    assert found.sense.tolist() == [-1.0, -1.0, 1.0, -1.0, -1.0, -1.0]
    assert found.written.tolist() == ["5.", "", "88.125", "4.5", "5.25", ""]
    assert found.unit.tolist() == ["m", "", "m", "cm", "m", ""]
    events.inputs.readings = events.inputs.readings.iloc[2:3]
    found = worked_out(events, "booked").booked
    assert (found.decimals.tolist()[3], found.value.tolist()[3]) == (3, 5.5)


def test_neighbours_are_the_nearest_of_the_aquifer():
    aquifers = ["upper", "lower", "upper", "", None, "upper", "lower"]
    rows = [{"aquifer": name, "easting": 100.0 * k, "northing": 10.0 * k * k} for k, name in enumerate(aquifers)]
    events = events_of(["2020-01-01"], wells=rows)
    near = [[one for one in row if one >= 0] for row in events.neighbours.tolist()]
    assert near == [[2, 5], [6], [0, 5], [], [], [2, 0], [1]]
    rows[2]["easting"], rows[2]["northing"] = 350.0, 1000.0
    assert events_of(["2020-01-01"], wells=rows).neighbours[0][:2].tolist() == [5, 2]


def test_a_point_that_is_not_in_force_has_no_numbers():
    points = points_of((0, {"elevation_m": 90.0}), (0, {"elevation_m": 91.0}))
    events = events_of(quarters(3), points=points, point=[1, -1, 0])
    assert events.of_point("elevation_m").tolist() == pytest.approx([91.0, np.nan, 90.0], nan_ok=True)
    assert events.of_point("elevation_m", np.array([0, 0, -1])).tolist() == pytest.approx([90, 90, np.nan], nan_ok=True)
    events.reduced.point = SimpleNamespace(index=np.array([0, 1, -1]))
    events.order = np.array([2, 1, 0])
    assert worked_out(events, "point").point.tolist() == [-1, 1, 0]
    assert module.Events.points.func(events) is points
