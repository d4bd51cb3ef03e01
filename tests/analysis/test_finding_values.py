"""Values that findings keep: metres to a micrometre, what is estimated to a tenth of a millimetre; constructed."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from gwnet.analysis.checks import places, quantities, steps, visits
from gwnet.analysis.checks.rules import CHECKS
from gwnet.hydro.checks.steps import Steps

from .check_events import events_of, given, points_of, quarters

CHECK = {check.rule: check for check in CHECKS}


def values_of(events, rule):
    """Return the values of the first finding of a rule."""
    events._once.setdefault("misfits", SimpleNamespace(explained={}))
    return next(iter(CHECK[rule].run(events))).limits


@pytest.mark.parametrize(("rule", "columns", "values"), [
    (visits.ABOVE_POINT, {"depth_to_water_m": -1 / 3}, {"depth_to_water_m": -0.333333}),
    (visits.ABOVE_GROUND, {"depth_below_ground_m": -2 / 3}, {"depth_below_ground_m": -0.666667}),
    (visits.BELOW_BOTTOM, {"depth_below_ground_m": 32 / 3}, {"depth_below_ground_m": 10.666667, "bottom_m": 9.333333}),
    (visits.SILTING, {"sounded_depth_m": 19 / 3},
     {"sounded_depth_m": 6.333333, "total_depth_m": 9.333333, "covered_share": 0.2381}),
    (visits.DEEPER, {"sounded_depth_m": 32 / 3}, {"sounded_depth_m": 10.666667, "total_depth_m": 9.333333}),
])  # fmt: skip
def test_metres_are_kept_to_a_micrometre(rule, columns, values):
    """A well of 9 1/3 m with a screen from 3 to 7 1/5 m, of which 13/63 lie below 6 1/3 m."""
    well = {"total_depth_m": 28 / 3, "screen_top_m": 3.0, "screen_bottom_m": 22 / 3}
    if rule == visits.SILTING:
        values["covered_share"] = round((22 / 3 - 19 / 3) / (22 / 3 - 3.0), 4)
    events = events_of(["2020-01-01"], wells=[well], water_elevation_m=90.0, **columns)
    found = values_of(events, rule)
    assert {name: found[name] for name in values} == values


def test_hours_repeats_and_elevations_are_kept_rounded():
    events = events_of(["2020-01-01T00:00", "2020-01-01T10:07:24"], status=["pumping", "static"])
    assert values_of(events, visits.RECOVERY)["hours"] == 10.12
    events = events_of(["2020-01-01"])
    repeats = SimpleNamespace(spread_m=np.array([1 / 30]))
    events.reduced = SimpleNamespace(findings={"repeats disagree": np.array([True])}, repeats=repeats)
    events.inputs.tolerance_m = np.array([1 / 150])
    assert values_of(events, "repeats disagree") == {"tolerance_m": 0.006667, "spread_m": 0.033333}
    events = events_of(["2020-01-01"], wells=[{"total_depth_m": 28 / 3}], booked={"value": 290 / 3})
    assert values_of(events, quantities.ELEVATION_AS_DEPTH) == {"depth_m": 96.666667, "total_depth_m": 9.333333}


def test_differences_of_wells_are_kept_rounded():
    points = points_of((0, {"elevation_m": 100.5 + 1 / 3}))
    found = values_of(events_of(["2020-01-01"], points=points), places.GROUND)
    assert found["difference_m"] == 0.3333
    assert found["limit_m"] == round(math.sqrt(0.03**2 + 0.03**2 + 0.1**2), 4) == 0.1086
    day = [f"2020-01-{k:02d}" for k in range(1, 13)]
    level = np.concatenate([np.full(12, 50.0), [*[49.0] * 11, 50.0 + 1 / 3]])
    wells = [{"cluster": "K", "screen_top_m": 5.0}, {"cluster": "K", "screen_top_m": 9.0}]
    events = events_of([*day, *day], well=np.repeat([0, 1], 12), wells=wells, water_elevation_m=level)
    found = values_of(events, places.ORDER)
    assert (found["difference_m"], found["share"]) == (0.333333, 0.9167)
    repeats = [[5.12, 5.13, np.nan]] * 2
    events = events_of(["2020-01-01"] * 2, well=[0, 1], repeats=repeats, fit={"residual_m": [0.0, 2 / 3]})
    assert values_of(events, places.COPIED)["spreads"] == 6.67
    events = events_of(
        ["2020-01-01"] * 2, well=[0, 1], booked={"value": [4.0, 4.0 + 2 / 3]}, fit={"residual_m": [2 / 3, -2 / 3]}
    )
    assert values_of(events, places.EXCHANGED)["misfit_m"] == 0.666667


def test_a_well_apart_is_kept_to_a_tenth_of_a_millimetre():
    x = np.array([0, 430, 210, 30, 390, 820, 790.0])
    y = np.array([0, 60, 190, 410, 450, 20, 430.0])
    off = np.array([0.01, -0.02, 1 / 3, 0.015, -0.01, 0.02, 0.0])
    wells = [{"easting": a, "northing": b} for a, b in zip(x, y, strict=True)]
    events = events_of(quarters(3) * 7, well=np.repeat(np.arange(7), 3), wells=wells,
                       water_elevation_m=np.repeat(50.0 + off, 3))  # fmt: skip
    found = values_of(given(events, limits={**events.limits, "apart_m": 0.2 + 1 / 30000}), places.APART)
    assert found["offset_m"] == round(found["offset_m"], 4)
    assert found["limit_m"] == 0.2


def test_steps_are_kept_to_a_tenth_of_a_millimetre(monkeypatch):
    monkeypatch.setattr(steps, "moves_against_neighbours", lambda *_, **__: None)
    monkeypatch.setattr(
        steps, "steps_at", lambda rows, *_: Steps(np.full(rows.size, 1 / 3), np.full(rows.size, 1 / 30))
    )
    points = points_of((0, {}), (0, {"valid_from_utc": "2020-04-01"}))
    events = given(events_of(quarters(2), points=points, point=[0, 1]), neighbours=np.zeros((1, 9), int))
    found = values_of(events, steps.AT_POINT)
    assert (found["step_m"], found["standard_error_m"]) == (0.3333, 0.0333)
    tape = [1, 2] * 5 + [1, 1]
    events = events_of(quarters(2) * 6, well=np.repeat(np.arange(6), 2), instrument_id=tape, depth_to_water_m=7.0,
                       instrument=[f"T-{k}" for k in tape], wells=[{"easting": 50.0 * k} for k in range(6)])  # fmt: skip
    found = values_of(events, steps.WITH_TAPE)
    assert (found["shift_m"], found["standard_error_m"], found["slope"]) == (
        0.3333, round(1 / 30 / math.sqrt(5), 4), round(1 / 21, 6),
    )  # fmt: skip
