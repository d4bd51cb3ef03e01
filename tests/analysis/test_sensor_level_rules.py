"""From samples to the level at a sensor: numbers by hand, reasons and sentences of each way; constructed arrays."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.loggers import sensor_level as module
from gwnet.analysis.loggers.correction_history import OUT_REASONS
from gwnet.hydro.reduction.water import normal_gravity, water_density

from .heads_of_arrays import HOUR, NAN, START, channel_of, correction, hours, level_of

COUNT = 6
FIRST, END = pd.Timestamp("2024-01-01", tz="UTC"), pd.Timestamp("2024-02-01", tz="UTC")
ROW = SimpleNamespace(instrument="L", site="S", well="W", barometer="B", installed_at_utc=FIRST, removed_at_utc=END)
WELL = {"site": "S", "well": "W", "easting": NAN, "northing": NAN, "ground_elevation_m": NAN}


@pytest.fixture
def work_out(monkeypatch):
    """Give a function that works out the level of a channel, with air pressure and water temperature."""

    def work(
        channel,
        *,
        air=None,
        away=None,
        water=None,
        well=None,
        crs=None,
        latitude=NAN,
        files=(),
        response=None,
        asked=None,
    ):
        channels = {} if channel is None else {channel.quantity: channel}
        if water is not None:
            channels["water temperature"] = water
        wanted = [] if asked is None else asked

        def find(instrument, quantity, start, end):
            wanted.append((instrument, quantity, start, end))
            return channels.get(quantity)

        rows = pd.DataFrame(list(files), columns=["file", "added", "first_utc", "last_utc"])
        for name in ("first_utc", "last_utc"):
            rows[name] = pd.to_datetime(rows[name], utc=True, format="ISO8601")
        wells = pd.DataFrame([{**WELL, "well": "other", "ground_elevation_m": 9.0}, {**WELL, **(well or {})}])
        record = SimpleNamespace(wells=wells, of_site=lambda site: SimpleNamespace(settings={"crs": crs}))
        loggers = SimpleNamespace(channel=find, downloads_of=lambda channel: rows, record=record)
        pressure = np.full(COUNT, NAN) if air is None else np.asarray(air, dtype=float)
        made = SimpleNamespace(
            pressure_pa=pressure,
            away_s=np.zeros(COUNT) if away is None else np.asarray(away, dtype=float),
            gap_s=5400.0,
            half_width_pa=np.full(COUNT, 30.0),
            steps=("air as told",),
        )
        monkeypatch.setattr(module, "air_pressure", lambda loggers, row, when: made)
        monkeypatch.setattr(module, "describe_air", lambda air: ("air described",))
        monkeypatch.setattr(module, "latitude_of", lambda well, crs: latitude)
        if response is not None:
            monkeypatch.setattr(module, "remove_air_response", response)
        return module.sensor_level(loggers, ROW)

    return work


def reasons(level):
    return [OUT_REASONS[number] for number in level.out]


def samples(quantity, unit="Pa", files=""):
    return f"6 samples of {quantity} [{unit}], 2024-01-01 00:00 to 2024-01-01 05:00 UTC{files}"


STANDARD = (
    "density 1000 kg/m3, conventional: no water temperature is on record",
    "gravity 9.80665 m/s2, the standard one: no coordinates",
)


def test_an_absolute_sensor_is_its_pressure_less_the_air_over_density_and_gravity(work_out):
    """Of the six samples one has no value and two no air pressure; one of these was excluded."""
    pressure = 100_000.0 + 9806.65 * np.array([1.0, 2.0, NAN, 3.0, 4.0, 5.0])
    rows = [
        correction("exclusion", "2024-01-01T04:00", "2024-01-01T05:00", cause="other", number=3),
        correction("step", "2024-01-01T05:00", amount_m=0.25, number=4),
        correction("scale", "2023-01-01", "2023-02-01", factor=2.0, number=5),
        correction("density", number=6),
    ]
    air = [100_000.0, 99_000.0, NAN, NAN, NAN, 100_000.0]
    away = [0.0, 60.0, 120.0, 5400.0, 5401.0, 9000.0]
    files = [
        ("b.csv", 3, "2023-12-01", "2024-01-01T00:00"),
        ("a.csv", 1, "2024-01-01T05:00", "2024-03-01"),
        ("b.csv", 1, "2024-01-01T01:00", "2024-01-01T02:00"),
        ("early.csv", 3, "2023-12-01", "2023-12-31T23:59:59"),
        ("late.csv", 3, "2024-01-01T05:00:01", "2024-03-01"),
        ("same.csv", 0, "2024-01-01", "2024-03-01"),
        ("", 3, "2024-01-01", "2024-03-01"),
    ]
    level = work_out(
        channel_of(pressure, quantity="absolute pressure", unit="Pa", rows=rows), air=air, away=away, files=files
    )
    column = np.array([1.0, 2.0 + 1000.0 / 9806.65, NAN, NAN, NAN, 5.0])
    np.testing.assert_allclose(level.column_m, column, rtol=1e-12)
    np.testing.assert_allclose(level.level_m, np.append(column[:5], 5.25), rtol=1e-12)
    assert reasons(level) == ["", "", "no value", "no air pressure", "other", ""]
    np.testing.assert_array_equal(level.air_pa, air)
    np.testing.assert_array_equal(level.air_away_s, away)
    assert (level.air_gap_s, level.barometer, level.gravity_m_s2) == (5400.0, "B", 9.80665)
    np.testing.assert_array_equal(level.density_kg_m3, np.full(6, 1000.0))
    assert np.isnan(level.temperature_degc).all()
    assert (level.response_m.tolist(), level.response_half_width_m.tolist()) == ([0.0] * 6, [0.0] * 6)
    np.testing.assert_allclose(level.metres_per_pascal(), 1 / 9806.65, rtol=1e-12)
    # an hPa an hour is 100/3600 Pa/s, up to the longest gap, and 30 Pa of the stand-in
    moved = np.minimum(away, 5400.0) * 100.0 / 3600.0
    np.testing.assert_allclose(level.air_half_width_m(), np.sqrt(moved**2 + 30.0**2) / 9806.65, rtol=1e-12)
    own = ("(correction 5 by Ben: seen)", "(correction 3 by Ben: seen)", "(correction 4 by Ben: seen)")
    assert [step for step in level.steps if not step.endswith(own)] == [
        samples("absolute pressure", files=", from b.csv, a.csv"),
        "air as told",
        "2 samples without an air pressure have no level",
        *STANDARD,
    ]
    assert [step.rsplit("(", 1)[1] for step in level.steps if step.endswith(own)] == [words[1:] for words in own]
    assert level.steps[1].startswith("scale x 2 from")


def test_a_pressure_with_air_everywhere_or_of_a_vented_sensor_loses_nothing(work_out):
    pressure = 9806.65 * np.arange(1.0, 7.0)
    level = work_out(channel_of(pressure + 500.0, quantity="absolute pressure", unit="Pa"), air=np.full(6, 500.0))
    assert level.steps == (samples("absolute pressure"), "air as told", *STANDARD)
    vented = work_out(channel_of(pressure, quantity="water pressure", unit="Pa"), air=np.full(6, 500.0))
    np.testing.assert_allclose(vented.level_m, np.arange(1.0, 7.0), rtol=1e-12)
    assert vented.steps == (samples("water pressure"), *STANDARD)
    assert (vented.barometer, np.isnan(vented.air_pa).all(), vented.air_gap_s) == ("", True, 7200.0)
    assert vented.air_half_width_m().tolist() == [0.0] * 6


@pytest.mark.parametrize(
    ("quantity", "sign", "has_column", "more"),
    [
        ("water column", 1.0, True, ()),
        ("depth to water", -1.0, False, ("level: less the depth to water",)),
        ("water elevation", 1.0, False, ()),
    ],
)
def test_levels_that_are_no_pressure_are_taken_as_they_are(work_out, quantity, sign, has_column, more):
    values = np.array([1.0, 2.0, NAN, 4.0, 5.0, 6.0])
    level = work_out(replace(channel_of(values, quantity=quantity), overlapping=3))
    np.testing.assert_array_equal(level.level_m, sign * values)
    np.testing.assert_array_equal(level.column_m, values if has_column else np.full(6, NAN))
    assert reasons(level) == ["", "", "no value", "", "", ""]
    left_out = "3 samples left out: the corrected clock brings them onto others"
    assert level.steps == (samples(quantity, "m"), left_out, *more)
    assert (level.gravity_m_s2, level.density_kg_m3.tolist()) == (9.80665, [1000.0] * 6)


def test_the_quantities_are_asked_for_over_the_deployment_until_one_is_there(work_out):
    asked = []
    assert work_out(None, asked=asked) is None
    assert {row[0] for row in asked} == {"L"}
    assert {row[2:] for row in asked} == {(FIRST, END)}
    assert [row[1] for row in asked] == list(module.LEVEL_QUANTITIES)


# --- density and gravity ----------------------------------------------------------------------------------------------

PRESSURE = 50_000.0


def pressure_channel(**parameters):
    rows = [correction("density", **parameters)] if parameters else []
    return channel_of(np.full(COUNT, PRESSURE), quantity="water pressure", unit="Pa", rows=rows)


@pytest.mark.parametrize(
    ("chosen", "density", "temperature", "words"),
    [
        ({"kg_m3": 1012.5}, 1012.5, NAN, "density 1012.5 kg/m3, as chosen"),
        ({"temperature": 12.5}, float(water_density(12.5)), 12.5, "density 999.44 kg/m3 at 12.5 degC, as chosen"),
        ({"temperature": "series"}, 1000.0, NAN, STANDARD[0]),
        ({"kg_m3": 1012.5, "temperature": 12.5}, 1012.5, NAN, "density 1012.5 kg/m3, as chosen"),
    ],
)
def test_a_density_can_be_chosen(work_out, chosen, density, temperature, words):
    level = work_out(pressure_channel(**chosen))
    np.testing.assert_allclose(level.level_m, PRESSURE / (density * 9.80665), rtol=1e-12)
    np.testing.assert_array_equal(level.density_kg_m3, np.full(6, density))
    np.testing.assert_array_equal(level.temperature_degc, np.full(6, temperature))
    assert level.steps[1] == words


def test_the_density_goes_by_the_temperature_of_the_water_within_a_day(work_out):
    """Temperatures 24 h apart are interpolated between, those a second farther apart are not: there the median serves."""
    when = np.array([START, START + 24 * HOUR, START + 48 * HOUR + np.timedelta64(1, "s"), START + 49 * HOUR])
    channel = channel_of(
        np.full(COUNT, PRESSURE), quantity="water pressure", unit="Pa", when=START + np.arange(COUNT) * 8 * HOUR
    )
    water = SimpleNamespace(time_utc=when, value=np.array([8.0, 11.0, 30.0, 14.0]))
    asked = []
    level = work_out(channel, water=water, asked=asked)
    temperature = np.array([8.0, 9.0, 10.0, 11.0, 12.5, 12.5])
    np.testing.assert_allclose(level.temperature_degc, temperature, rtol=1e-12)
    np.testing.assert_allclose(level.density_kg_m3, water_density(temperature), rtol=1e-12)
    np.testing.assert_allclose(level.level_m, PRESSURE / (water_density(temperature) * 9.80665), rtol=1e-12)
    assert level.steps[1] == (
        "density by the water temperature (median 12.5 degC: 999.44 kg/m3); the median for 2 samples without a "
        "temperature within a day"
    )
    last = pd.Timestamp(START + 40 * HOUR, tz="UTC") + pd.Timedelta(microseconds=1)
    assert asked[-1] == ("L", "water temperature", FIRST, last)
    whole = work_out(pressure_channel(), water=SimpleNamespace(time_utc=hours(6), value=np.full(6, 12.5)))
    assert whole.steps[1] == "density by the water temperature (median 12.5 degC: 999.44 kg/m3)"


def test_a_temperature_at_which_water_has_no_density_leaves_no_level(work_out):
    water = SimpleNamespace(time_utc=hours(6), value=np.array([10.0, 50.0, 10.0, 10.0, -2.0, 10.0]))
    channel = channel_of([1.0, 2.0, NAN, 4.0, NAN, 6.0], quantity="water pressure", unit="Pa")
    assert reasons(work_out(channel, water=water)) == ["", "no density", "no value", "", "no value", ""]
    nothing = SimpleNamespace(time_utc=hours(6), value=np.full(6, NAN))
    assert work_out(channel, water=nothing).steps[1:] == STANDARD


@pytest.mark.parametrize(
    ("chosen", "crs", "latitude", "ground", "gravity", "words"),
    [
        ({"gravity_m_s2": 9.79}, "EPSG:25832", 48.25, 300.0, 9.79, "gravity 9.79 m/s2, as chosen"),
        ({}, "EPSG:25832", 48.25, 300.0, float(normal_gravity(48.25, 300.0)), "at latitude 48.250 and 300 m"),
        ({}, "EPSG:25832", 48.25, NAN, float(normal_gravity(48.25, 0.0)), "at latitude 48.250 and 0 m"),
        ({}, "EPSG:25832", NAN, 300.0, 9.80665, STANDARD[1]),
        ({}, None, 48.25, 300.0, 9.80665, STANDARD[1]),
    ],
)
def test_gravity_goes_by_latitude_and_height_where_they_are_known(
    work_out, chosen, crs, latitude, ground, gravity, words
):
    level = work_out(pressure_channel(**chosen), crs=crs, latitude=latitude, well={"ground_elevation_m": ground})
    assert level.gravity_m_s2 == pytest.approx(gravity, rel=1e-12)
    np.testing.assert_allclose(level.level_m, PRESSURE / (1000.0 * gravity), rtol=1e-12)
    assert level.steps[2].endswith(words)
    if "latitude" in words:
        assert level.steps[2] == f"gravity {gravity:.5f} m/s2 {words}"


@pytest.mark.parametrize("place", [{"site": "R"}, {"well": "V"}])
def test_a_well_of_another_site_or_name_gives_no_gravity(work_out, place):
    level = work_out(pressure_channel(), crs="EPSG:25832", latitude=48.25, well={"ground_elevation_m": 300.0, **place})
    assert level.steps[2] == STANDARD[1]


# --- response to air pressure -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("quantity", ["absolute pressure", "water pressure"])
def test_a_response_on_record_is_removed_by_the_air_pressure(work_out, quantity):
    """The response is not known at three samples, of which one has no value and one no air pressure."""
    asked = []

    def remove(loggers, row, settings, when, air_m, per_pascal):
        asked.append((row, settings, when, air_m, per_pascal))
        return SimpleNamespace(
            level_m=np.array([0.1, NAN, NAN, NAN, 0.2, 0.3]), half_width_m=np.array([0.01, NAN, NAN, 0.5, 0.02, 0.03])
        )

    values = np.array([150_000.0, 150_000.0, NAN, 150_000.0, 150_000.0, 150_000.0])
    air = np.array([1000.0, 2000.0, 3000.0, NAN, 5000.0, 6000.0])
    channel = channel_of(values, quantity=quantity, unit="Pa", rows=[correction("efficiency", value=0.5)])
    level = work_out(channel, air=air, response=remove)
    ((row, settings, when, air_m, per_pascal),) = asked
    assert (row, settings) == (ROW, {"value": 0.5})
    np.testing.assert_array_equal(when, hours(6))
    np.testing.assert_allclose(air_m, air / 9806.65, rtol=1e-12)
    assert per_pascal == pytest.approx(1 / 9806.65, rel=1e-12)
    no_air = "no air pressure"
    assert reasons(level) == ["", no_air, "no value", no_air, "", ""]
    np.testing.assert_array_equal(level.response_m, [0.1, NAN, NAN, NAN, 0.2, 0.3])
    assert level.response_half_width_m.tolist() == [0.01, 0.0, 0.0, 0.0, 0.02, 0.03]
    lacking = 1 if quantity == "absolute pressure" else 2
    words = "response to air pressure removed with a barometric efficiency of 0.5"
    assert f"{words}; {lacking} samples without the air pressure for it have no level" in level.steps
    assert ("air described" in level.steps) == (quantity == "water pressure")
    late = correction("efficiency", response=[0.25, 0.75], half_width=[0.01, 0.03], step_s=3600.0)
    whole = work_out(
        channel_of(values[:1].repeat(6), quantity=quantity, unit="Pa", rows=[late]),
        air=np.full(6, 1000.0),
        response=lambda *given: SimpleNamespace(level_m=np.zeros(6), half_width_m=np.zeros(6)),
    )
    assert "late response to air pressure removed: 0.25 at once, 0.75 ± 0.03 after 1 h" in whole.steps
    assert not whole.out.any()


def test_without_any_air_no_response_is_removed(work_out):
    channel = channel_of(
        np.full(6, 5000.0), quantity="water pressure", unit="Pa", rows=[correction("efficiency", value=0.5)]
    )
    level = work_out(channel, response=lambda *given: 1 / 0)
    assert level.steps[-1] == "air described"
    assert not level.out.any()


@pytest.mark.parametrize(
    ("numbers", "accuracy"),
    [
        ({"accuracy_m": 0.01, "resolution_m": 0.002}, 0.01),
        ({"accuracy_m": NAN, "resolution_m": 0.002}, 0.002),
        # a hundredth of a foot, asked of sensors in USGS TM 1-A1 (Cunningham and Schalk, 2011)
        ({"accuracy_m": NAN, "resolution_m": NAN}, 0.003048),
    ],
)
def test_the_accuracy_is_that_on_record_else_the_resolution_else_what_is_asked(numbers, accuracy):
    loggers = SimpleNamespace(instrument_number=lambda instrument, name: numbers[name])
    assert module.sensor_accuracy_m(loggers, "L") == accuracy


def test_air_half_widths_need_a_barometer():
    level = level_of(channel_of([1.0, 2.0]), air_half_width_pa=np.array([30.0, 40.0]), air_away_s=np.array([0.0, 0.0]))
    assert level.air_half_width_m().tolist() == [0.0, 0.0]
    np.testing.assert_allclose(replace(level, barometer="B").air_half_width_m(), [0.003, 0.004], rtol=1e-12)
