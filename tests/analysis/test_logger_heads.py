import datetime as dt

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.loggers.channels import Held, loggers_of
from gwnet.analysis.loggers.correction_history import OUT_REASONS
from gwnet.analysis.loggers.efficiency import estimate_efficiencies
from gwnet.analysis.loggers.heads import interpolate_heads, work_out_heads
from gwnet.constants import NORMAL_95
from gwnet.hydro.reduction.water import normal_gravity, water_density
from gwnet.store.save import samples as save_samples

from .logger_record import HOUR, Loggers, hours, utc
from .record import RECORDED_ON, Record, moment

G = 9.80665
POINT = 100.0
LATER = RECORDED_ON + dt.timedelta(days=10)


def air_of(count, seed=1):
    return 101_000 + np.cumsum(np.random.default_rng(seed).normal(size=count)) * 15


class Installed:
    """A well with an absolute sensor and a barometer, and water at a known level."""

    def __init__(self, address, count=1500, zone="UTC+01:00", site=None, **well):
        self.record = Record(address, time_zone=zone, **(site or {}))
        self.loggers = Loggers(self.record)
        self.when = hours(count)
        self.air = air_of(count)
        self.water = 91.0 + 0.5 * np.sin(np.arange(count) / 200)
        self.record.well("W", point=(POINT, 0.5), **well)
        self.record.tape("T")
        self.loggers.instrument("L", accuracy_m=0.005)
        self.loggers.instrument("B", "barometer")

    def install(self, *, sensor=88.0, depth=12.1, barometer="B", density=1000.0, gravity=G, clock=None, **columns):
        """Install the sensor at an elevation, and store what it and the barometer would read."""
        self.loggers.install("L", "W", depth=depth, barometer=barometer, **columns)
        self.loggers.install("B", None)
        pressure = self.air + (self.water - sensor) * density * gravity
        self.loggers.samples("L", "absolute pressure", "kPa", self.when if clock is None else clock, pressure / 1000)
        self.loggers.samples("B", "air pressure", "hPa", self.when, self.air / 100)
        return self

    def read(self, *places, off=0.0, **columns):
        """Read the water by hand at some hours; off is the error of the reading."""
        return [
            self.record.event(
                "W",
                str(self.when[place])[:19],
                [("depth_to_water", round(POINT - float(self.water[place]) + off, 6))],
                **columns,
            )
            for place in places
        ]

    def heads(self, wells=None, start=None, end=None, **asked):
        with self.loggers.snapshot(**asked) as record:
            return work_out_heads(record, wells, start, end)


@pytest.fixture
def installed(tmp_path):
    made = Installed(tmp_path / "a.sqlite")
    yield made
    made.record.store.close()


@pytest.fixture
def anywhere(store_url):
    made = Installed(store_url)
    yield made
    made.record.store.close()


def test_an_absolute_sensor_gives_the_water_on_both_databases(anywhere):
    made = anywhere.install()
    made.read(100, 800, 1400)
    (one,) = made.heads()
    assert (one.site, one.well, one.access, one.instrument, one.barometer) == ("S", "W", "main", "L", "B")
    np.testing.assert_array_equal(one.time_utc, made.when)
    np.testing.assert_allclose(one.water_elevation_m, made.water, atol=2e-6)
    np.testing.assert_allclose(one.sensor_level_m, made.water - 88.0, atol=2e-6)
    assert not one.out.any()
    assert one.manual["offset_m"].round(5).tolist() == [88.0] * 3
    assert one.downloads == ("L absolute pressure.csv",)
    assert any("less the air pressure of B" in step for step in one.steps)


def test_density_goes_by_the_temperature_and_gravity_by_the_place(tmp_path):
    made = Installed(tmp_path / "a.sqlite", latitude=52.0, longitude=10.0, ground_elevation_m=400.0)
    density, gravity = float(water_density(14.0)), float(normal_gravity(52.0, 400.0))
    made.install(density=density, gravity=gravity)
    made.loggers.samples("L", "water temperature", "degF", made.when[::24], np.full(made.when[::24].size, 57.2))
    (one,) = made.heads()
    np.testing.assert_allclose(one.sensor_level_m, made.water - 88.0, atol=2e-6)
    assert one.level.gravity_m_s2 == pytest.approx(gravity)


def test_gravity_of_projected_coordinates_is_that_of_their_latitude(tmp_path):
    made = Installed(tmp_path / "a.sqlite", easting=500_000.0, northing=5_761_000.0).install()
    assert made.heads()[0].level.gravity_m_s2 == pytest.approx(float(normal_gravity(52.0)), abs=1e-5)


def test_a_temperature_that_water_cannot_have_gives_no_level(installed):
    installed.install()
    temperature = np.full(1500, 8.0)
    temperature[700:720] = -0.2
    installed.loggers.samples("L", "water temperature", "degC", installed.when, temperature)
    (one,) = installed.heads()
    assert set(one.out[700:720]) == {OUT_REASONS.index("no density")}
    assert np.isnan(one.water_elevation_m[700:720]).all()
    assert np.isfinite(one.water_elevation_m[:700]).all()


@pytest.mark.slow
def test_a_chosen_density_precedes_the_temperature(installed):
    installed.install(density=1025.0)
    installed.loggers.samples("L", "water temperature", "degC", installed.when, np.full(1500, 8.0))
    installed.loggers.correct("L", "absolute pressure", "density", kg_m3=1025.0)
    np.testing.assert_allclose(installed.heads()[0].sensor_level_m, installed.water - 88.0, atol=2e-6)


def test_a_gap_of_the_barometer_leaves_a_gap_and_no_guess(installed):
    installed.loggers.install("L", "W", depth=12.1, barometer="B")
    installed.loggers.install("B", None)
    pressure = installed.air + (installed.water - 88.0) * 1000 * G
    keep = (np.arange(1500) < 600) | (np.arange(1500) > 640)
    installed.loggers.samples("L", "absolute pressure", "Pa", installed.when, pressure)
    installed.loggers.samples("B", "air pressure", "Pa", installed.when[keep], installed.air[keep])
    (one,) = installed.heads()
    assert set(one.out[600:641]) == {OUT_REASONS.index("no air pressure")}
    assert (one.out[~((np.arange(1500) >= 600) & (np.arange(1500) <= 640))] == 0).all()


def test_without_a_barometer_an_absolute_sensor_has_no_level(installed):
    installed.install(barometer=None)
    (one,) = installed.heads()
    assert set(one.out) == {OUT_REASONS.index("no air pressure")}
    assert np.isnan(one.water_elevation_m).all()
    assert any("no barometer is named" in step for step in one.steps)


def test_a_barometer_higher_up_is_brought_to_the_well(tmp_path):
    made = Installed(tmp_path / "a.sqlite", ground_elevation_m=100.0)
    made.record.well("HILL", ground_elevation_m=150.0)
    made.loggers.install("L", "W", depth=12.1, barometer="B")
    made.loggers.install("B", "HILL")
    at_well = made.air * np.exp(50.0 * G / (287.05287 * 288.15))
    made.loggers.samples("L", "absolute pressure", "Pa", made.when, at_well + (made.water - 88.0) * 1000 * G)
    made.loggers.samples("B", "air pressure", "Pa", made.when, made.air)
    (one,) = made.heads()
    assert one.well == "W"
    np.testing.assert_allclose(one.sensor_level_m, (made.water - 88.0) * G / one.level.gravity_m_s2, atol=2e-6)
    np.testing.assert_allclose(one.level.air_pa, at_well, rtol=1e-12)


def test_vented_sensors_and_those_that_record_a_column_or_a_depth_need_no_air(installed):
    for quantity, unit, value in (
        ("water pressure", "hPa", (installed.water - 88.0) * 1000 * G / 100),
        ("water column", "cm", (installed.water - 88.0) * 100),
        ("depth to water", "ft", (POINT - installed.water) / 0.3048),
        ("water elevation", "m", installed.water),
    ):
        code = quantity.upper()
        installed.loggers.instrument(code, "vented pressure logger")
        installed.loggers.install(code, "W", depth=12.0)
        installed.loggers.samples(code, quantity, unit, installed.when, value)
    installed.read(50, 1400)
    found = installed.heads()
    assert len(found) == 4
    for one in found:
        np.testing.assert_allclose(one.water_elevation_m, installed.water, atol=2e-6, err_msg=one.quantity)


@pytest.mark.slow
def test_drift_is_removed_between_manual_readings_and_reported(installed):
    drift = 0.05 * np.arange(1500) / (365.25 * 24)
    installed.install()
    installed.read(0, 500, 1000, 1499)
    made = Installed(installed.record.store.name.replace("a.sqlite", "b.sqlite"))
    made.water = installed.water + drift
    made.install()
    made.water = installed.water
    made.read(0, 500, 1000, 1499)
    (one,) = made.heads()
    np.testing.assert_allclose(one.water_elevation_m, installed.water, atol=2e-5)
    assert one.installations.drift_m_per_year[0] == pytest.approx(0.05, rel=1e-3)
    made.loggers.correct("L", "absolute pressure", "anchoring", method="constant")
    (held,) = made.heads()
    assert np.ptp(held.water_elevation_m - installed.water) == pytest.approx(np.ptp(drift), abs=1e-4)
    assert held.manual["residual_m"].abs().max() > 0.003


def test_a_manual_reading_left_out_anchors_nothing_and_is_still_compared(installed):
    installed.install()
    installed.read(100, 1400)
    (wrong,) = installed.read(700, off=0.3)
    assert np.nanmax(np.abs(installed.heads()[0].water_elevation_m - installed.water)) > 0.29
    installed.loggers.correct("L", "absolute pressure", "anchoring", leave_out=[wrong])
    (one,) = installed.heads()
    np.testing.assert_allclose(one.water_elevation_m, installed.water, atol=2e-6)
    assert one.manual["used"].tolist() == [True, False, True]


@pytest.mark.parametrize(
    "columns",
    [{"status": "dry"}, {"status": "obstructed"}, {"quality": "suspect"}, {"time_known": False}, {"access": "other"}],
)
def test_readings_not_of_the_water_anchor_nothing(installed, columns):
    installed.install(depth=None)
    installed.read(700, **columns)
    (one,) = installed.heads()
    assert set(one.out) == {OUT_REASONS.index("not anchored")}


@pytest.mark.slow
def test_a_rejected_reading_anchors_nothing(installed):
    installed.install(depth=None)
    (event,) = installed.read(700)
    assert not installed.heads()[0].out.any()
    installed.record.add("review", level_event_id=event, state="rejected", reason="wrong well")
    assert set(installed.heads()[0].out) == {OUT_REASONS.index("not anchored")}


def test_the_hanging_depth_serves_where_no_manual_reading_does_and_is_less_certain(installed):
    installed.install(depth=12.1, sensor=88.0)
    (alone,) = installed.heads()
    np.testing.assert_allclose(alone.water_elevation_m, installed.water - 0.1, atol=2e-6)  # cable 0.1 m longer than so
    assert alone.anchored.by_hanging_depth.all()
    assert any("hanging depth of 12.1 m alone" in step for step in alone.steps)
    installed.read(100, 1400)
    (anchored,) = installed.heads()
    assert not anchored.anchored.by_hanging_depth.any()
    assert anchored.uncertainty_m.max() < alone.uncertainty_m.min()


def test_the_uncertainty_is_the_root_sum_of_squares_of_its_parts_and_grows_away_from_the_readings(installed):
    installed.install()
    installed.read(100, 500, off=0.0)
    installed.read(900, off=-0.02)
    (one,) = installed.heads()
    total = np.sqrt(sum(np.square(part) for part in one.anchored.parts.values()))
    np.testing.assert_allclose(one.uncertainty_m, total)
    assert (one.anchored.parts["sensor_m"] == 0.005).all()
    assert one.anchored.parts["manual_m"].min() > 0.005
    since = one.anchored.parts["since_m"]
    assert (since[100:901] == 0).all()
    assert (np.diff(since[901:]) > 0).all()
    rate = abs(one.installations.drift_m_per_year[0]) / (365.25 * 24)
    assert since[1400] == pytest.approx(500 * rate)
    assert (np.diff(since[:101]) < 0).all()
    assert since[0] == pytest.approx(100 * rate)
    left = one.manual["leave_one_out_residual_m"].to_numpy()
    assert one.anchored.parts["hold_m"][0] == pytest.approx(NORMAL_95 / 2 * np.sqrt(np.mean(left**2)))


def test_air_between_samples_of_the_barometer_adds_to_the_uncertainty(installed):
    installed.loggers.install("L", "W", depth=12.1, barometer="B")
    half = installed.when + HOUR // 2
    installed.loggers.samples("L", "absolute pressure", "Pa", half, installed.air + 30_000)
    installed.loggers.samples("B", "air pressure", "Pa", installed.when, installed.air)
    (one,) = installed.heads()
    assert one.anchored.parts["air_m"][5] == pytest.approx(50.0 / 9806.65)


def test_a_deployment_has_its_own_samples_and_a_corrected_one_moves_them(installed):
    installed.record.well("V", point=(50.0, 0.5))
    first = installed.loggers.install("L", "W", end="2024-01-20", depth=12.0, barometer="B")
    installed.loggers.install("L", "V", start="2024-01-20", depth=12.0, barometer="B")
    installed.loggers.samples("L", "absolute pressure", "Pa", installed.when, installed.air + 30_000)
    installed.loggers.samples("B", "air pressure", "Pa", installed.when, installed.air)
    changed = np.datetime64("2024-01-20", "us")
    by_well = {one.well: one for one in installed.heads()}
    assert by_well["W"].time_utc[-1] < changed <= by_well["V"].time_utc[0]
    assert len(by_well["W"]) + len(by_well["V"]) == 1500
    installed.record.retire("deployment", first, LATER)
    installed.record.add(
        "deployment",
        site_id=installed.record.site_id,
        well_id=installed.record.wells["W"],
        instrument_id=installed.record.instruments["L"],
        valid_from_utc=moment("2024-01-01"),
        valid_until_utc=moment("2024-01-15"),
        barometer_id=installed.record.instruments["B"],
        hanging_depth_m=12.0,
        recorded_at_utc=LATER,
    )
    assert {one.well: len(one) for one in installed.heads()}["W"] == 14 * 24
    before = {one.well: len(one) for one in installed.heads(known_on=RECORDED_ON + dt.timedelta(days=1))}
    assert before["W"] == 19 * 24


@pytest.mark.slow
def test_a_clock_shift_brings_the_samples_to_true_time(installed):
    installed.install(clock=installed.when - 2 * HOUR)
    installed.read(100, 1400)
    assert np.nanmax(np.abs(installed.heads()[0].doubtful_m[:1000] - installed.water[:1000])) > 0.001
    installed.loggers.correct("L", "absolute pressure", "clock shift", seconds=7200)
    (one,) = installed.heads()
    np.testing.assert_array_equal(one.time_utc, installed.when)
    np.testing.assert_allclose(one.water_elevation_m, installed.water, atol=2e-6)


def test_a_clock_set_by_years_is_found_again(installed):
    installed.install(clock=installed.when - np.timedelta64(3652, "D"))
    assert installed.heads() == []
    installed.loggers.correct("L", "absolute pressure", "clock shift", seconds=3652 * 86_400.0)
    np.testing.assert_array_equal(installed.heads()[0].time_utc, installed.when)


def test_a_clock_of_the_barometer_is_corrected_too(installed):
    installed.loggers.install("L", "W", depth=12.1, barometer="B")
    installed.loggers.samples(
        "L", "absolute pressure", "Pa", installed.when, installed.air + (installed.water - 88.0) * 1000 * G
    )
    installed.loggers.samples("B", "air pressure", "Pa", installed.when + 3 * HOUR, installed.air)
    installed.loggers.correct("B", "air pressure", "clock shift", seconds=-3 * 3600)
    np.testing.assert_allclose(installed.heads()[0].sensor_level_m, installed.water - 88.0, atol=2e-6)


def test_samples_that_a_clock_brings_onto_others_are_left_out_and_counted(installed):
    installed.install()
    installed.loggers.correct("L", "absolute pressure", "clock shift", "2024-01-10", "2024-01-11", seconds=-7200)
    (one,) = installed.heads()
    assert len(one) == 1500 - 2
    assert (np.diff(one.time_utc) > np.timedelta64(0)).all()
    assert any("2 samples left out" in step for step in one.steps)


def test_steps_exclusions_and_factors_do_what_they_say(installed):
    installed.install()
    installed.read(100, 400)
    before = installed.heads()[0].water_elevation_m
    installed.loggers.correct("L", "absolute pressure", "step", "2024-02-01", "2024-02-11", amount_m=0.25)
    installed.loggers.correct("L", "absolute pressure", "exclusion", "2024-02-20", "2024-02-21", cause="flat")
    (one,) = installed.heads()
    inside = (one.time_utc >= np.datetime64("2024-02-01")) & (one.time_utc < np.datetime64("2024-02-11"))
    gone = (one.time_utc >= np.datetime64("2024-02-20")) & (one.time_utc < np.datetime64("2024-02-21"))
    np.testing.assert_allclose(one.water_elevation_m[inside], before[inside] + 0.25)
    np.testing.assert_allclose(one.water_elevation_m[~inside & ~gone], before[~inside & ~gone])
    assert gone.sum() == 24
    assert set(one.out[gone]) == {OUT_REASONS.index("flat")}
    assert np.isfinite(one.sensor_level_m[gone]).all()
    installed.loggers.correct("L", "absolute pressure", "scale", factor=0.5)
    assert installed.heads()[0].level.channel.value[0] == pytest.approx(one.level.channel.value[0] / 2)


def test_an_excluded_sample_anchors_nothing(installed):
    installed.install(depth=None)
    installed.read(700)
    day = str(installed.when[700])[:10]
    next_day = str(installed.when[724])[:10]
    installed.loggers.correct("L", "absolute pressure", "exclusion", day, next_day, cause="frozen")
    assert set(installed.heads()[0].out) == {OUT_REASONS.index("not anchored"), OUT_REASONS.index("frozen")}


def test_a_restart_anchors_anew_on_either_side(installed):
    moved = 700
    level = installed.water.copy()
    level[moved:] += 0.4
    installed.water, true = level, installed.water
    installed.install()
    installed.water = true
    installed.read(100, 600, 800, 1400)
    installed.loggers.correct("L", "absolute pressure", "restart", str(installed.when[moved])[:19])
    (one,) = installed.heads()
    np.testing.assert_allclose(one.water_elevation_m, true, atol=2e-6)
    assert one.installations.readings.tolist() == [2, 2]
    assert one.manual["installation"].tolist() == [0, 0, 1, 1]


@pytest.mark.slow
def test_the_response_to_air_pressure_stays_unless_it_is_removed_on_purpose(installed):
    true = installed.water.copy()
    air_m = installed.air / (1000 * G)
    installed.water = true - 0.4 * (air_m - air_m.mean())
    installed.install()
    installed.read(100, 1400)
    assert np.abs(installed.heads()[0].water_elevation_m - installed.water).max() < 1e-5
    with installed.loggers.snapshot() as record:
        (row,) = estimate_efficiencies(record).itertuples()
    assert (row.pairs, row.every_hours) == (1499, 1.0)
    assert row.clark == pytest.approx(0.4, abs=0.02)
    assert row.regression_of_changes == pytest.approx(0.4, abs=0.02)
    assert np.isnan(row.applied_efficiency)
    installed.loggers.correct("L", "absolute pressure", "efficiency", value=0.4)
    np.testing.assert_allclose(installed.heads()[0].water_elevation_m, true, atol=2e-5)
    with installed.loggers.snapshot() as record:
        (again,) = estimate_efficiencies(record).itertuples()
    assert again.applied_efficiency == 0.4
    assert again.clark == row.clark  # of the levels before it was taken out


def test_a_vented_sensor_is_compared_with_the_barometer_of_its_deployment(installed):
    air_m = installed.air / (1000 * G)
    installed.water = installed.water - 0.6 * (air_m - air_m.mean())
    installed.loggers.instrument("V", "vented pressure logger")
    installed.loggers.install("V", "W", depth=12.0, barometer="B")
    installed.loggers.instrument("D", "vented pressure logger")
    installed.loggers.install("D", "W", depth=12.0)
    for code in ("V", "D"):
        installed.loggers.samples(code, "water pressure", "Pa", installed.when, (installed.water - 88.0) * 1000 * G)
    installed.loggers.samples("B", "air pressure", "Pa", installed.when, installed.air)
    with installed.loggers.snapshot() as record:
        (row,) = estimate_efficiencies(record).itertuples()
    assert (row.instrument, row.barometer) == ("V", "B")
    assert row.clark == pytest.approx(0.6, abs=0.02)


@pytest.mark.slow
def test_an_earlier_known_on_gives_the_earlier_heads(anywhere):
    made = anywhere.install()
    made.read(100, 1400)
    before = made.heads()[0].water_elevation_m
    number = made.loggers.correct("L", "absolute pressure", "step", "2024-02-01", amount_m=0.5, now=LATER)
    assert np.nanmax(np.abs(made.heads()[0].water_elevation_m - before)) > 0.2
    np.testing.assert_array_equal(made.heads(known_on=LATER - dt.timedelta(hours=1))[0].water_elevation_m, before)
    with made.record.act(LATER + dt.timedelta(days=1)) as connection:
        save_samples.take_back(connection, number, "Ben", "not so")
    np.testing.assert_array_equal(made.heads()[0].water_elevation_m, before)
    assert np.abs(made.heads(known_on=LATER)[0].water_elevation_m - before).max() > 0.2


def test_a_download_that_was_recorded_later_is_not_known_before(installed):
    half = installed.when < installed.when[800]
    installed.loggers.install("L", "W", depth=12.1, barometer="B")
    for keep, recorded, name in ((half, RECORDED_ON, "one"), (~half, LATER, "two")):
        pressure = (installed.air + 30_000)[keep]
        installed.loggers.samples(
            "L", "absolute pressure", "Pa", installed.when[keep], pressure, file=name, recorded=recorded
        )
    installed.loggers.samples("B", "air pressure", "Pa", installed.when, installed.air)
    assert len(installed.heads()[0]) == 1500
    (then,) = installed.heads(known_on=LATER - dt.timedelta(seconds=1))
    assert len(then) == 800
    assert then.downloads == ("one",)


def test_the_span_asked_for_changes_no_number(installed):
    installed.install()
    installed.read(100, 1400)
    (whole,) = installed.heads()
    (part,) = installed.heads(start=utc(installed.when[300]), end=utc(installed.when[400]))
    np.testing.assert_array_equal(part.time_utc, installed.when[300:400])
    np.testing.assert_array_equal(part.water_elevation_m, whole.water_elevation_m[300:400])
    assert installed.heads(end=utc(installed.when[0])) == []


def test_heads_are_worked_out_once_for_a_snapshot(installed):
    installed.install()
    installed.read(100, 1400)
    with installed.loggers.snapshot() as record:
        (whole,) = work_out_heads(record)
        assert work_out_heads(record.of_site("S"), ["W"])[0] is whole
        (part,) = work_out_heads(record, ["W"], start=utc(installed.when[300]))
        assert part.anchored is whole.anchored
        assert loggers_of(record.of_site("S")) is loggers_of(record)


def test_the_oldest_results_are_let_go_when_they_hold_too_many_samples():
    held = Held(5)
    first = held.once("first", lambda: [1, 2, 3])
    assert held.once("first", list) is first
    held.once("none", lambda: None)
    held.once("second", lambda: [4, 5, 6])
    assert held.once("second", list) == [4, 5, 6]
    assert held.once("first", lambda: [7]) == [7]
    assert held.once("long", lambda: list(range(9))) == list(range(9))


def test_heads_at_moments_lie_between_samples_and_never_beyond(installed):
    installed.install()
    installed.read(100, 1400)
    (one,) = installed.heads()
    asked = [installed.when[0] - HOUR, installed.when[5], installed.when[5] + HOUR // 4, installed.when[-1] + HOUR]
    found = interpolate_heads([one], asked)
    assert len(found) == 2
    between = 0.75 * one.water_elevation_m[5] + 0.25 * one.water_elevation_m[6]
    np.testing.assert_allclose(found["water_elevation_m"], [one.water_elevation_m[5], between])
    assert found["nearest_s"].tolist() == [0.0, 900.0]
    assert interpolate_heads([], asked).empty


@pytest.mark.slow
def test_several_segments_of_one_quantity_are_one_series(installed):
    installed.loggers.install("L", "W", depth=12.1, barometer="B")
    installed.loggers.samples("B", "air pressure", "Pa", installed.when, installed.air)
    pressure = installed.air + 30_000
    installed.loggers.samples("L", "absolute pressure", "Pa", installed.when[:700] - HOUR, pressure[:700])
    installed.loggers.correct("L", "absolute pressure", "clock shift", seconds=3600)
    installed.loggers.new_segment("L", "absolute pressure", "hPa", 2)
    installed.loggers.samples("L", "absolute pressure", "hPa", installed.when[700:], pressure[700:] / 100)
    (one,) = installed.heads()
    np.testing.assert_array_equal(one.time_utc, installed.when)
    np.testing.assert_allclose(one.level.channel.value, pressure)


def test_a_moment_after_the_first_sample_is_nearest_to_it(installed):
    installed.install()
    installed.read(100, 1400)
    (one,) = installed.heads()
    quarter = HOUR // 4
    found = interpolate_heads([one], [installed.when[0] + quarter, installed.when[-1] - quarter])
    assert found["nearest_s"].tolist() == [900.0, 900.0]
    assert found["nearest_utc"].dt.tz_localize(None).tolist() == list(pd.to_datetime(installed.when[[0, -1]]))
