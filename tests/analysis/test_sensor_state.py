"""Samples that cannot be water above a sensor: no heads, and bounds from the sensor's elevation and the limit; constructed records."""

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.levels.bounds import BELOW_SCREEN, SENSOR_OUT
from gwnet.analysis.levels.serving import judge_levels, used_levels
from gwnet.analysis.levels.table import levels
from gwnet.analysis.loggers.correction_history import AT_LIMIT, CONTRADICTED, LIFTED, NO_WATER, OUT_REASONS, STUCK
from gwnet.analysis.loggers.daily import daily_values
from gwnet.analysis.loggers.explain import explain_head
from gwnet.analysis.loggers.heads import interpolate_heads
from gwnet.analysis.loggers.levels import LevelRequest, add_loggers, levels_for_sets
from gwnet.analysis.loggers.sensor_state import describe_state, find_bounds, find_sensor_state
from gwnet.analysis.thresholds.record import threshold_states
from gwnet.constants import OUT_OF_WATER_M
from gwnet.records import Selection

from .test_logger_heads import Installed

SENSOR = 90.9
BOUND = SENSOR + OUT_OF_WATER_M


@pytest.fixture
def made(tmp_path):
    """Return water that swings about a sensor at 90.9 m: out of it for about half of 1500 hours."""
    made = Installed(tmp_path / "a.sqlite", count=1500)
    made.dry = made.water < SENSOR - 0.05
    made.wet = made.water > SENSOR + 0.05
    yield made
    made.record.store.close()


def install(made, **columns):
    """Install the sensor; in air it reads the pressure of the air."""
    true = made.water
    made.water = np.maximum(true, SENSOR)
    made.install(sensor=SENSOR, depth=100.0 - SENSOR, **columns)
    made.water = true
    return made


def reasons(one):
    return np.array(OUT_REASONS, dtype=object)[one.out]


def test_a_sensor_out_of_water_gives_no_head_and_the_highest_that_the_water_can_be_as_a_bound(made):
    (one,) = install(made).heads()
    assert np.isnan(one.water_elevation_m[made.dry]).all()
    np.testing.assert_allclose(one.bound_m[made.dry], BOUND, atol=1e-6)
    assert set(reasons(one)[made.dry]) == {NO_WATER}
    np.testing.assert_allclose(one.water_elevation_m[made.wet], made.water[made.wet], atol=1e-3)
    assert np.isnan(one.bound_m[made.wet]).all()
    # the water was at or below every bound
    assert (made.water[~np.isnan(one.bound_m)] <= one.bound_m[~np.isnan(one.bound_m)]).all()
    assert np.array_equal(np.isnan(one.bound_m), np.isnan(one.bound_uncertainty_m))
    (sentence,) = (step for step in one.steps if NO_WATER in step)
    assert f"{int((~np.isnan(one.bound_m)).sum())} of them show" in sentence
    assert describe_state(np.zeros(3, dtype=np.uint8), np.full(3, np.nan)) == ()


def test_no_bound_of_a_recession_is_below_the_water_and_no_threshold_is_crossed_before_it_is(tmp_path):
    """Water that falls 0.24 m a day past a sensor at 90.9 m; the last 0.03 m above it count as out of water."""
    made = Installed(tmp_path / "a.sqlite", count=480)
    made.water = SENSOR + 1.0005 - 0.003 * np.arange(480)
    levels_m = {"beneath": SENSOR + 0.02, "above": SENSOR + 0.05, "at the limit": BOUND}
    for name, value in levels_m.items():
        made.record.add(
            "threshold",
            well_id=made.record.wells["W"],
            threshold=name,
            kind="lower",
            quantity="water_elevation",
            value_m=value,
            consecutive=1,
        )
    install(made)
    (one,) = made.heads()
    bounds = ~np.isnan(one.bound_m)
    near = bounds & (made.water > SENSOR)
    assert near.sum() == 10
    assert (made.water[bounds] <= one.bound_m[bounds]).all()
    np.testing.assert_allclose(one.bound_m[bounds], BOUND, atol=1e-6)
    with made.loggers.snapshot(site="S") as record:
        states = {state.threshold: state for state in threshold_states(record)}
    made.record.store.close()
    days = (made.when + np.timedelta64(1, "h")).astype("datetime64[D]")
    true = pd.Series(made.water).groupby(days).mean()
    assert states["beneath"].state == "cannot be judged"
    assert "the water is at or below" in str(states["beneath"].reason)
    for name in ("above", "at the limit"):
        (crossing,) = states[name].crossings
        # The very day of the true water, as no threshold here is below what the sensor can show.
        assert crossing.first == true.index[true <= levels_m[name]][0].date()


def test_the_sensor_is_where_its_manual_readings_have_it_and_none_of_them_anchors_air(made):
    """A hanging depth that is 0.3 m off; readings at water above the sensor, and one while it hung in air."""
    install(made)
    wet, dry = np.flatnonzero(made.wet), np.flatnonzero(made.dry)
    made.read(int(wet[20]), int(wet[200]), int(dry[100]), off=-0.3)
    (one,) = made.heads()
    assert one.manual["offset_m"].notna().sum() == 2
    np.testing.assert_allclose(one.bound_m[made.dry], BOUND + 0.3, atol=1e-6)


def test_a_reading_that_met_water_above_a_sensor_in_air_leaves_no_bound(made):
    install(made)
    middle = int(np.flatnonzero(made.dry)[100])
    made.water[middle] = SENSOR + 1.0
    made.read(middle)
    (one,) = made.heads()
    run = made.dry.copy()
    run[middle] = True
    assert set(reasons(one)[run]) == {CONTRADICTED}
    assert np.isnan(one.bound_m[run]).all()
    assert np.isnan(one.water_elevation_m[run]).all()


def test_a_sensor_that_was_lifted_for_a_moment_gives_neither_head_nor_bound(made):
    made.water = np.full(1500, SENSOR + 2.0) + 0.001 * np.sin(np.arange(1500))
    true = made.water.copy()
    made.water[700:702] = SENSOR
    made.install(sensor=SENSOR, depth=100.0 - SENSOR)
    made.water = true
    (one,) = made.heads()
    assert set(reasons(one)[700:702]) == {LIFTED}
    assert np.isnan(one.bound_m).all()
    assert (one.out != 0).sum() == 2


def test_a_sensor_at_its_lowest_limit_bounds_the_water_by_what_it_read(made):
    """A sensor that cannot read less than 0.2 m of water."""
    made.loggers.instrument("P")
    made.loggers.install("P", "W", depth=100.0 - SENSOR)
    column = np.maximum(made.water - SENSOR, 0.2)
    made.loggers.samples("P", "water column", "m", made.when, column)
    (one,) = made.heads()
    at_limit = column == 0.2
    assert at_limit.sum() > 100
    assert set(reasons(one)[at_limit]) == {AT_LIMIT}
    np.testing.assert_allclose(one.bound_m[at_limit], SENSOR + 0.2)
    assert (one.out[~at_limit] == 0).all()


def test_a_depth_rests_at_its_lowest_limit_when_it_is_greatest(made):
    made.loggers.instrument("P")
    made.loggers.install("P", "W")
    depth = np.minimum(100.0 - made.water, 9.1)
    made.loggers.samples("P", "depth to water", "m", made.when, depth)
    (one,) = made.heads()
    assert set(reasons(one)[depth == 9.1]) == {AT_LIMIT}
    np.testing.assert_allclose(one.bound_m[depth == 9.1], 90.9)
    assert (one.out[depth < 9.1] == 0).all()


def test_an_absolute_sensor_stuck_at_one_value_gives_neither_head_nor_bound(made):
    made.water += 2.0
    stuck = slice(400, 600)
    pressure = made.air + (made.water - SENSOR) * 9806.65
    pressure[stuck] = pressure[400]
    made.loggers.install("L", "W", depth=100.0 - SENSOR, barometer="B")
    made.loggers.install("B", None)
    made.loggers.samples("L", "absolute pressure", "Pa", made.when, pressure)
    made.loggers.samples("B", "air pressure", "Pa", made.when, made.air)
    (one,) = made.heads()
    assert set(reasons(one)[stuck]) == {STUCK}
    assert np.isnan(one.bound_m).all()
    assert (one.out != 0).sum() == 200


@pytest.mark.slow
def test_a_person_confirms_the_bound_or_keeps_the_samples_as_levels(made):
    (before,) = install(made).heads()
    made.loggers.correct("L", "absolute pressure", "exclusion", "2024-01-01", "2025-01-01", cause="out of water")
    (confirmed,) = made.heads()
    np.testing.assert_array_equal(confirmed.bound_m[made.dry], before.bound_m[made.dry])
    number = made.loggers.correct("L", "absolute pressure", "keep", "2024-01-01", "2025-01-01")
    assert number
    (kept,) = made.heads()
    assert set(reasons(kept)) == {"out of water"}  # an exclusion goes before what is kept
    made.loggers.instrument("K")
    made.loggers.install("K", "W", depth=100.0 - SENSOR)
    made.loggers.samples("K", "water column", "m", made.when, np.maximum(made.water - SENSOR, -0.02))
    made.loggers.correct("K", "water column", "keep", "2024-01-01", "2025-01-01")
    one = next(each for each in made.heads() if each.instrument == "K")
    assert (one.out == 0).all()
    assert one.state.intervals[0][1].first.size == 0


def test_a_step_of_cable_or_zero_does_not_make_air_of_water(made):
    """Cable slipped 0.4 m down: it reads 0.4 m more, and the correction takes that off; then a zero that fell 1 m."""
    column = np.full(1500, 0.3) + 0.01 * np.sin(np.arange(1500))
    for code, change in (("SLIP", 0.4), ("ZERO", -1.0)):
        made.loggers.instrument(code)
        made.loggers.install(code, "W", depth=9.0)
        read = column.copy()
        read[700:] += change
        made.loggers.samples(code, "water column", "m", made.when, read)
        made.loggers.correct(code, "water column", "step", str(made.when[700])[:19], amount_m=-change)
    found = {one.instrument: one for one in made.heads()}
    assert (found["SLIP"].out == 0).all()
    assert (found["ZERO"].out == 0).all()


def test_between_a_head_and_a_bound_the_level_is_a_bound_and_nothing_bridges_the_air(made):
    (one,) = install(made).heads()
    edge = int(np.flatnonzero(np.diff((~np.isnan(one.bound_m)).astype(int)) == 1)[0])
    half = one.time_utc[edge] + np.timedelta64(30, "m")
    table = interpolate_heads([one], [one.time_utc[edge], half, one.time_utc[edge + 1]])
    assert table["bound"].tolist() == ["", "<=", "<="]
    assert table["water_elevation_m"].iloc[1] == pytest.approx((one.water_elevation_m[edge] + BOUND) / 2)


def test_a_day_with_a_bound_among_its_samples_is_a_bound_at_most(made):
    (one,) = install(made).heads()
    days = daily_values([one], "UTC+01:00").set_index("day")
    local = (one.time_utc + np.timedelta64(1, "h")).astype("datetime64[D]").astype(str)
    true = pd.Series(made.water).groupby(local).mean()
    partly = days[(days["bounds"] > 0) & (days["bounds"] < days["samples"])]
    wholly = days[days["bounds"] == days["samples"]]
    numbers = days[days["bounds"] == 0]
    assert len(partly)
    assert len(wholly) > 10
    assert (days["bound"] == np.where(days["bounds"] > 0, "<=", "")).all()
    np.testing.assert_allclose(wholly["water_elevation_m"], BOUND, atol=1e-6)
    assert (true[partly.index] <= partly["water_elevation_m"] + 1e-6).all()
    np.testing.assert_allclose(numbers["water_elevation_m"], true[numbers.index], atol=1e-3)
    assert days.loc[days["bounds"] > 0, "minimum_m"].isna().all()
    assert wholly["maximum_m"].isna().all()
    assert partly["maximum_m"].notna().all()


@pytest.mark.parametrize("later_min", [0, 30])
def test_of_two_sensors_in_a_well_the_one_in_the_water_gives_the_day(made, later_min):
    """Hourly samples half an hour apart are of one time as well."""
    install(made)
    made.loggers.instrument("LOW")
    made.loggers.install("LOW", "W")
    made.loggers.samples("LOW", "water elevation", "m", made.when + np.timedelta64(later_min, "m"), made.water)
    days = daily_values(made.heads(), "UTC")
    assert (days["bound"] == "").all()


def test_levels_seasons_trends_thresholds_and_maps_take_the_bound_by_one_rule(made):
    install(made)
    with made.loggers.snapshot(site="S") as record:
        table = add_loggers(record, levels(record), Selection(), "daily")
        moment = pd.Timestamp(made.when[int(np.flatnonzero(made.dry)[100])], tz="UTC")
        day = pd.Timedelta(days=1)
        (of_set,) = levels_for_sets(record, [LevelRequest(("W",), moment, moment - day, moment + day)])
    bounds = table[table["bound"] == "<="]
    assert set(bounds["finding"]) == {SENSOR_OUT}
    assert not bounds["usable"].any()
    assert bounds["depth_to_water_m"].isna().all()
    np.testing.assert_allclose(bounds["bound_elevation_m"], bounds["water_elevation_m"])
    assert judge_levels(bounds, "statistics")["serves"].all()
    assert judge_levels(bounds, "threshold")["serves"].all()
    on_map = judge_levels(bounds, "map")
    assert not on_map["serves"].any()
    assert set(on_map["reason"]) == {"sensor out of water: the level is only a bound"}
    used, _ = used_levels(table)
    assert np.isneginf(used.loc[bounds.index, "low"]).all()
    assert (of_set["bound"].tolist(), of_set["usable"].tolist()) == (["<="], [False])
    assert of_set["water_elevation_m"].iloc[0] == pytest.approx(BOUND)


def test_the_bound_is_the_shallower_of_sensor_and_screen_and_heads_below_the_screen_are_bounds(tmp_path):
    made = Installed(tmp_path / "b.sqlite", screen=(6.0, 8.3))
    made.loggers.install("L", "W", depth=9.1)
    made.loggers.samples("L", "water column", "m", made.when, np.maximum(made.water - SENSOR, 0.0))
    with made.loggers.snapshot(site="S") as record:
        rows = add_loggers(record, levels(record), Selection(), "daily")
    made.record.store.close()
    screen_bottom = 100.0 - 0.5 - 8.3
    out = rows[rows["finding"] == SENSOR_OUT]
    below = rows[rows["finding"] == BELOW_SCREEN]
    assert len(out) > 10
    assert len(below)
    np.testing.assert_allclose(out["bound_elevation_m"], screen_bottom)
    np.testing.assert_allclose(below["bound_elevation_m"], screen_bottom)
    assert (below["water_elevation_m"] < screen_bottom).all()
    assert (rows.loc[rows["finding"] == "", "water_elevation_m"] >= screen_bottom).all()


@pytest.mark.slow
def test_a_bound_is_explained(made):
    install(made)
    place = int(np.flatnonzero(made.dry)[100])
    time = str(made.when[place] + np.timedelta64(1, "h"))[:16]
    with made.loggers.snapshot() as record:
        (explanation,) = explain_head(record, "W", time)
    steps = {step.what: step for step in explanation.steps}
    assert steps["water elevation"].value == f"<= {BOUND:.3f} m"
    assert NO_WATER in steps["used as a level"].value
    assert "a bound, as of a dry well" in steps["used as a level"].value
    assert "uncertainty (95 %)" in steps


def test_state_and_bounds_can_be_worked_out_by_themselves(made):
    (one,) = install(made).heads()
    with made.loggers.snapshot() as record:
        from gwnet.analysis.loggers.channels import loggers_of

        state = find_sensor_state(loggers_of(record), "L", one.level, least_m=0.03)
    assert np.array_equal(state.out, one.state.out)
    out, bound, half_width = find_bounds(state, one.level, one.anchored)
    assert np.array_equal(out, one.out)
    assert np.array_equal(bound, one.bound_m, equal_nan=True)
    assert np.array_equal(half_width, one.bound_uncertainty_m, equal_nan=True)
