"""Steps where the measuring point or the tape changed: which changes count, and what is said of them; constructed.

The numbers of steps are tested with `gwnet.hydro.checks.steps`; here they are given. Limits are project defaults as
documented: 4 standard errors and 0.03 m at a new measuring point; 3 errors, 0.006 m (0.02 ft, USGS TM 1-A1, p. 6-8 and
37) and 5 wells with another tape.
"""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.checks import steps
from gwnet.hydro.checks.steps import Steps

from .check_events import events_of, given, points_of, quarters

CHECK = {check.rule: check for check in steps.CHECKS.checks}


@pytest.fixture
def step_at(monkeypatch):
    """Give what steps are by position, as (size, error), and keep what they were asked with."""
    asked = SimpleNamespace(sizes={}, rows=[], what=[], moves=[])

    def steps_of(rows, well, time_d, moves, sound, what):
        asked.rows.append(rows.tolist())
        asked.what.append(what.tolist())
        found = np.array([asked.sizes.get(row, (0.0, 0.01)) for row in rows.tolist()])
        return Steps(found[:, 0], found[:, 1])

    def moves_of(*arrays, least):
        asked.moves.append((*arrays, least))

    monkeypatch.setattr(steps, "steps_at", steps_of)
    monkeypatch.setattr(steps, "moves_against_neighbours", moves_of)
    return asked


POINTS = points_of(
    (0, {}),
    (0, {"valid_from_utc": "2021-03-04"}),
    (0, {"access": "tube"}),
    (1, {}),
    (1, {"valid_from_utc": "2021-06-05"}),
)


def at_points(point, well=0, **columns):
    events = events_of(quarters(len(point)), well=well, points=POINTS, point=point, **columns)
    return given(events, neighbours=np.arange(20).reshape(2, 10))


def test_a_step_at_a_new_measuring_point_has_its_size_and_error(step_at):
    step_at.sizes = {2: (0.5, 0.01), 5: (-0.9, 0.05)}
    events = at_points([0, 0, 1, 3, 3, 4, 4], [0, 0, 0, 1, 1, 1, 1], water_elevation_m=np.arange(7.0))
    found = list(CHECK[steps.AT_POINT].run(events))
    assert [(one.severity, one.row, one.rows, one.message) for one in found] == [
        ("warning", 2, (),
         "Since the measuring point of 2021-03-04 the well is 0.500 m higher against its neighbours than before "
         "(standard error 0.010 m)."),
        ("warning", 5, (),
         "Since the measuring point of 2021-06-05 the well is 0.900 m lower against its neighbours than before "
         "(standard error 0.050 m), which is about 1 m."),
    ]  # fmt: skip
    assert found[1].limits == {"step_m": -0.9, "standard_error_m": 0.05, "step_spreads": 4.0, "least_step_m": 0.03}
    assert (step_at.rows, step_at.what) == ([[2, 5]], [[0, 0, 1, 3, 3, 4, 4]])
    # the eight nearest neighbours (project default)
    assert step_at.moves[0][5].tolist() == [list(range(8)), list(range(10, 18))]
    assert step_at.moves[0][3].tolist() == list(range(7))
    assert step_at.moves[0][6] == 8.0


@pytest.mark.parametrize(("size", "error", "is_told"), [
    (0.03, 0.001, False), (0.0301, 0.001, True), (-0.0301, 0.001, True),
    (0.25, 0.0625, False), (0.2501, 0.0625, True), (0.0625, np.nan, False),
])  # fmt: skip
def test_which_steps_at_points_count(step_at, size, error, is_told):
    step_at.sizes = {1: (size, error)}
    assert bool(list(CHECK[steps.AT_POINT].run(at_points([0, 1])))) == is_told


@pytest.mark.parametrize(("point", "more", "rows"), [
    ([0, 1, 1, 0], {}, [[1, 3]]),
    # levels that serve for no other, and levels without a point, are passed over
    ([0, 1, 1, 1], {"usable": [True, False, True, True]}, [[2]]),
    ([0, -1, 1, 1], {}, [[2]]),
    ([0, -1, 0, 0], {}, []),
    ([0, 1, 0, 0], {"usable": [True, False, True, True]}, []),
    # neither the first level of a well nor one of another access
    ([0, 0, 3, 4], {"well": [0, 0, 1, 1]}, [[3]]),
    ([0, 2, 2, 0], {"access": ["main", "tube", "tube", "main"]}, []),
    ([0, 0, 0, 0], {}, []),
])  # fmt: skip
def test_where_a_measuring_point_changed(step_at, point, more, rows):
    assert list(CHECK[steps.AT_POINT].run(at_points(point, **more))) == []
    assert step_at.rows == rows


def with_tapes(changed, *, unchanged=1, gap_d=0, first=1, second=2, **columns):
    """Return wells with three levels each, the last ones with another tape, so many days after the first well's."""
    wells, times, tape = [], [], []
    for well in range(changed + unchanged):
        days = [0, 100, 200 + gap_d * (well == changed - 1)]
        wells += [well] * 3
        times += [str(np.datetime64("2020-01-01") + day) for day in days]
        tape += [first, first, second if well < changed else first]
    rows = [{"easting": 100.0 * k, "northing": 7.0 * k * k} for k in range(changed + unchanged)]
    names = {1: "T-1", 2: "T-2", 3: "Electric tape"}
    columns = {"depth_to_water_m": 20.0, "water_elevation_m": 50.0, **columns}
    events = events_of(
        times, well=wells, wells=rows, instrument_id=tape, instrument=[names.get(one, "") for one in tape], **columns
    )
    events.inputs.instruments = pd.DataFrame({"kind": ["electric tape"]})
    return events


def test_a_step_with_another_tape_is_one_finding_of_its_wells(step_at):
    step_at.sizes = {row: (0.2 + 0.001 * row, 0.01) for row in (2, 5, 8, 11, 14)}
    (one,) = CHECK[steps.WITH_TAPE].run(with_tapes(5, gap_d=30))
    # the same error of each: the mean of 0.202, 0.205, 0.208, 0.211 and 0.214 m, and 0.01 m over the root of 5
    assert (one.severity, one.row, one.rows) == ("warning", 2, (2, 5, 8, 11, 14))
    assert one.message == (
        "With tape T-2 instead of T-1, first used from 2020-07-19 to 2020-08-18, the levels of 5 wells stepped by +0.208 "
        "m (standard error 0.004 m), +10.4 mm per metre of depth, against wells that kept their tape: check both tapes."
    )
    assert one.limits == {
        "shift_m": 0.208, "standard_error_m": round(0.01 / 5**0.5, 4), "slope": 0.0104, "wells": 5, "tape_spreads": 3.0,
        "tape_step_m": 0.006,
    }  # fmt: skip
    assert step_at.what == [[1, 1, 2] * 5 + [1, 1, 1]]
    # each of them is held against the one well that kept its tape
    neighbours = step_at.moves[0][5]
    assert neighbours.shape == (6, 8)
    assert neighbours[:5].tolist() == [[5, *[-1] * 7]] * 5
    assert (neighbours[5] == -1).all()
    assert step_at.moves[0][6] == 8.0
    assert "first used on 2020-07-19, the levels" in next(CHECK[steps.WITH_TAPE].run(with_tapes(5))).message


@pytest.mark.parametrize(("size", "error", "make", "is_told"), [
    (0.0061, 0.001, {}, True),
    (0.006, 0.001, {}, False),
    # three errors of the mean, 0.01 m over the root of 5
    (0.0135, 0.01, {}, True),
    (0.0133, 0.01, {}, False),
    (0.2, 0.01, {"changed": 4}, False),
    (0.2, 0.01, {"unchanged": 0}, False),
    # half a year after the first well: 183 days (project default)
    (0.2, 0.01, {"gap_d": 183}, True),
    (0.2, 0.01, {"gap_d": 184}, False),
    (0.2, 0.01, {"second": 3}, False),
    (0.2, 0.01, {"second": np.nan}, False),
    (0.2, 0.01, {"first": 3}, False),
    (0.2, 0.01, {"changed": 0}, False),
    (0.2, 0.01, {"usable": False}, False),
])  # fmt: skip
def test_which_steps_with_tapes_are_told(step_at, size, error, make, is_told):
    step_at.sizes = dict.fromkeys(range(30), (size, error))
    assert bool(list(CHECK[steps.WITH_TAPE].run(with_tapes(**{"changed": 5, **make})))) == is_told


def test_a_well_that_goes_back_and_forth_counts_once_and_each_direction_alone(step_at):
    step_at.sizes = dict.fromkeys(range(60), (0.2, 0.01))
    tape = np.tile([1, 2, 1, 2, 2], 5)
    times = [f"2020-0{month}-15" for month in (1, 2, 3, 4, 5)] * 5
    events = events_of(
        [*times, *times], well=np.repeat(np.arange(10), 5), instrument_id=[*tape, *[1] * 25], depth_to_water_m=20.0,
        instrument=[f"T-{one}" for one in (*tape, *[1] * 25)], wells=[{"easting": 50.0 * k} for k in range(10)],
    )  # fmt: skip
    events.inputs.instruments = pd.DataFrame({"kind": []})
    found = list(CHECK[steps.WITH_TAPE].run(events))
    assert [one.rows for one in found] == [(1, 6, 11, 16, 21), (2, 7, 12, 17, 22)]
    assert [one.message.split(",")[0] for one in found] == [
        "With tape T-2 instead of T-1", "With tape T-1 instead of T-2",
    ]  # fmt: skip


def test_the_first_well_may_be_the_one_that_kept_its_tape(step_at):
    step_at.sizes = dict.fromkeys(range(30), (0.2, 0.01))
    events = with_tapes(5)
    # the same events, of wells one further on
    events.well = (events.well + 1) % 6
    assert len(list(CHECK[steps.WITH_TAPE].run(events))) == 1
    assert step_at.moves[0][5][1:, 0].tolist() == [0] * 5


def test_wells_are_held_against_those_of_their_aquifer_that_kept_their_tape(step_at):
    """Wells 0 to 4 change; 5 is of the aquifer, 6 of another and 7 of none, as is 4."""
    aquifers = ["upper"] * 4 + [""] + ["upper", "lower", ""]
    step_at.sizes = dict.fromkeys(range(30), (0.2, 0.01))
    events = with_tapes(5, unchanged=3)
    events.wells["aquifer"] = aquifers
    list(CHECK[steps.WITH_TAPE].run(events))
    assert step_at.moves[0][5][:, 0].tolist() == [5, 5, 5, 5, -1, -1, -1, -1]
    assert (step_at.moves[0][5][:, 1:] == -1).all()
    events.wells["aquifer"] = [None] * 8
    assert list(CHECK[steps.WITH_TAPE].run(events)) == []
    assert len(step_at.moves) == 1
