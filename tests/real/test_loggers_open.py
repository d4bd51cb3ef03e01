"""Loggers measured elsewhere: absolute sensors less their barometers, pressures to heads, barometric efficiency.

- 2-minute absolute logger with its barometer, 2016: R package hydrorecipes 0.0.3 (Kennel, 2020).
- Multilevel wells of the eastern Snake River Plain aquifer, 2007 to 2023: U.S. Geological Survey, R data package mlms
  1.0.2; public domain.
- Meadow wells and barometer near Chester, California, 2019 to 2020: Cal Poly San Luis Obispo study (MIT licence).

The numbers compared with are in ``reference_results.csv`` beside the data, made with pandas, numpy and scipy alone, and in
the multilevel data themselves.
"""

import csv
import datetime as dt
import re

import numpy as np
import pandas as pd
import pytest

from gwnet.constants import CONVENTIONAL_WATER_DENSITY_KG_M3, STANDARD_GRAVITY_M_S2
from gwnet.hydro.loggers.barometric import align_air_pressure, clark_efficiency, regression_efficiency, without_air
from gwnet.hydro.loggers.dense_series import daily_statistics, find_gaps, interpolate_at, thin, usual_interval_s
from gwnet.hydro.reduction.water import water_column, water_density
from gwnet.units import from_pascals, metres_per, to_celsius, to_pascals

pytestmark = pytest.mark.shared

#: The reference took 0.70307 m of water to 1 psi; exactly it is 0.703069580.
REFERENCE_M_PER_PSI = 0.70307

SERIES = ("2-minute absolute logger", "ESRP multilevel heads", "CM0W", "CM3W")


@pytest.fixture(scope="module")
def reference(open_data):
    """Give the reference values by series, definition and statistic."""
    with (open_data / "reference_results.csv").open(encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["series"] in SERIES]
    return {(row["series"], row["definition"], row["statistic"]): float(row["value"]) for row in rows}


@pytest.fixture(scope="module")
def absolute(open_data):
    """Give times, and absolute and air pressure in pascals, of the 2-minute logger."""
    table = pd.read_csv(open_data / "absolute_logger_with_baro_2min.csv", parse_dates=["datetime_utc"])
    pressures = (to_pascals(table[name].to_numpy(), "dbar") for name in ("pressure_abs_dbar", "barometric_dbar"))
    return table["datetime_utc"].to_numpy().astype("datetime64[us]"), *pressures


SLOPE_OF_CHANGES = "slope of d(level) on d(baro), consecutive readings"
SLOPE_OF_LEVELS = "slope of level on baro, levels as they are"


@pytest.mark.parametrize(("rows", "every"), [("all rows", 1), ("every 30th row from the first (hourly)", 30)])
def test_barometric_efficiency_of_the_absolute_logger(reference, absolute, rows, every):
    _, sensor, air = (values[::every] for values in absolute)
    series = "2-minute absolute logger"
    air_m = from_pascals(air, "mH2O")
    level_m = from_pascals(without_air(sensor, air), "mH2O")
    for of_changes, statistic in ((True, SLOPE_OF_CHANGES), (False, SLOPE_OF_LEVELS)):
        slope = reference[series, rows, statistic]
        raw = regression_efficiency(from_pascals(sensor, "mH2O"), air_m, of_changes=of_changes)
        assert -raw.efficiency == pytest.approx(slope, rel=1e-6)
        found = regression_efficiency(level_m, air_m, of_changes=of_changes)
        assert found.efficiency == pytest.approx(1 - slope, rel=1e-6)
        if of_changes:
            assert raw.correlation == pytest.approx(reference[series, rows, "r of that regression"], rel=1e-6)
            assert found.count == len(air) - 1


def test_clark_agrees_with_the_regression_of_hourly_changes(absolute):
    """No number to compare with in print: both methods see the same hourly changes and must tell much the same."""
    _, sensor, air = (values[::30] for values in absolute)
    level_m, air_m = from_pascals(without_air(sensor, air), "mH2O"), from_pascals(air, "mH2O")
    by_changes = regression_efficiency(level_m, air_m, of_changes=True).efficiency
    assert clark_efficiency(level_m, air_m).efficiency == pytest.approx(by_changes, abs=0.05)


def test_an_hourly_barometer_serves_a_two_minute_logger(absolute):
    when, _, air = absolute
    hourly = slice(None, None, 30)
    aligned = align_air_pressure(when, when[hourly], air[hourly], longest_gap_s=3600)
    np.testing.assert_array_equal(aligned[hourly], air[hourly])
    error_mm = 1000 * from_pascals(aligned - air, "mH2O")
    assert np.sqrt(np.mean(error_mm**2)) < 1.0
    assert np.abs(error_mm).max() < 10.0


def test_a_lost_barometer_leaves_a_gap_and_not_a_guess(absolute):
    when, _, air = absolute
    lost = (when >= np.datetime64("2016-09-01")) & (when < np.datetime64("2016-09-02"))
    aligned = align_air_pressure(when, when[~lost], air[~lost], longest_gap_s=3600)
    np.testing.assert_array_equal(np.isnan(aligned), lost)
    gaps = find_gaps(when, aligned, longest_gap_s=usual_interval_s(when))
    assert gaps.duration_s.tolist() == [86_400.0 + 120.0]


def test_thinning_the_absolute_logger_keeps_every_extreme(absolute):
    when, sensor, _ = absolute
    columns = 900
    kept = thin(when, sensor, start_utc=when[0], end_utc=when[-1], columns=columns)
    assert len(kept) <= 4 * columns
    column = pd.Series(((when - when[0]).astype(np.int64) * columns) // (when[-1] - when[0]).astype(np.int64))
    column = column.clip(upper=columns - 1)
    told = pd.Series(sensor).groupby(column).agg(["first", "last", "min", "max"])
    drawn = pd.Series(sensor[kept]).groupby(column.to_numpy()[kept]).agg(["first", "last", "min", "max"])
    pd.testing.assert_frame_equal(drawn, told)


def test_daily_statistics_agree_with_pandas(absolute):
    when, sensor, _ = absolute
    found = daily_statistics(when, sensor, least_count=720)
    grouped = pd.Series(sensor, index=when).resample("D").agg(["count", "mean", "min", "max"])
    np.testing.assert_array_equal(found.count, grouped["count"])
    full = found.count >= 720
    assert np.isnan(found.mean[~full]).all()
    np.testing.assert_allclose(found.mean[full], grouped["mean"][full], rtol=1e-14)
    np.testing.assert_array_equal(found.minimum[full], grouped["min"][full])
    np.testing.assert_array_equal(found.maximum[full], grouped["max"][full])


@pytest.fixture(scope="module")
def multilevel(open_data):
    folder = open_data / "esrp_multilevel"
    heads = pd.read_csv(folder / "heads.csv").merge(pd.read_csv(folder / "ports.csv"), on=["well", "port"])
    heads = heads.merge(pd.read_csv(folder / "wells.csv"), on="well")
    return heads[heads["pressure_head_ft"].notna()]


def water_of(multilevel):
    absolute, air = (
        to_pascals(multilevel[name].to_numpy(), "psi") for name in ("fluid_pressure_abs_psi", "barometric_pressure_psi")
    )
    return without_air(absolute, air)


def test_pressure_per_foot_of_the_multilevel_wells(reference, multilevel):
    """Median, least and most of psi per foot, as the reference has them; the median is that of water of 12.7 degC."""
    key = ("ESRP multilevel heads", "(fluid - barometric pressure) / pressure head over all rows with a head")
    rate = from_pascals(water_of(multilevel), "psi") / multilevel["pressure_head_ft"].to_numpy()
    for statistic, found in (("median", np.median(rate)), ("minimum", rate.min()), ("maximum", rate.max())):
        assert found == pytest.approx(reference[*key, f"psi per ft: {statistic}"], rel=1e-9)
    density = water_density(np.median(multilevel["fluid_temp_degC"]))
    ours = from_pascals(float(density) * STANDARD_GRAVITY_M_S2 * metres_per("ft"), "psi")
    assert round(ours, 4) == round(float(np.median(rate)), 4) == 0.4333


def test_pressure_heads_of_the_multilevel_wells(multilevel):
    """The source's 6,042 pressure heads: density by temperature, standard gravity.

    It rounds heads to 0.01 ft, and its heads are 0.003 % less throughout: it seems to take 2.3066 ft to 1 psi, where
    2.306659 is exact (inferred). Nothing else is between its numbers and ours.
    """
    density = water_density(multilevel["fluid_temp_degC"].to_numpy())
    column = water_column(water_of(multilevel), density_kg_m3=density, gravity_m_s2=STANDARD_GRAVITY_M_S2)
    column_ft = column / metres_per("ft")
    theirs = multilevel["pressure_head_ft"].to_numpy()
    assert len(theirs) == 6042
    np.testing.assert_allclose(column_ft, theirs, rtol=3.5e-5, atol=0.0075)
    exact = from_pascals(to_pascals(1.0, "psi"), "ftH2O")
    np.testing.assert_allclose(column_ft * 2.3066 / exact, theirs, rtol=0, atol=0.0075)


def test_total_heads_of_the_multilevel_wells(multilevel):
    """Elevation of the transducer plus pressure head; elevations and heads are rounded to 0.01 to 0.1 ft."""
    density = water_density(multilevel["fluid_temp_degC"].to_numpy())
    column = water_column(water_of(multilevel), density_kg_m3=density, gravity_m_s2=STANDARD_GRAVITY_M_S2)
    hung = multilevel["inlet_elev_ft_navd88"] - multilevel["transducer_to_inlet_ft"]
    total = hung.to_numpy() + column / metres_per("ft")
    np.testing.assert_allclose(total, multilevel["total_head_ft_navd88"], rtol=0, atol=0.08)


def read_export(path):
    """Return the UTC times, pressures in pascals and temperatures of one of the meadow's exports.

    Rows without a pressure are notes of the download. The offset from UTC stands in the heading of the time column.
    """
    with path.open(encoding="utf-8-sig", newline="") as file:
        _, heading, *rows = csv.reader(file)
    offset_h = int(re.search(r"GMT([+-]\d\d):00", heading[1])[1])
    unit = re.search(r"Abs Pres, (\w+)", heading[2])[1]
    rows = [row for row in rows if row[2]]
    local = [dt.datetime.strptime(row[1], "%m/%d/%y %I:%M:%S %p") for row in rows]  # noqa: DTZ007
    utc = np.array(local, dtype="datetime64[us]") - np.timedelta64(offset_h, "h")
    pressure = to_pascals(np.array([float(row[2]) for row in rows]), unit)
    temperature = to_celsius(
        np.array([float(row[3] or "nan") for row in rows]), re.search(r"Temp, (\S+)", heading[3])[1]
    )
    return utc, pressure, temperature


MEADOW = [
    (
        "CM0W",
        "CM0W_download_2020-11.csv",
        "BARO_control_download_2020-11.csv",
        "barometer BARO_control_download_2020-11.csv, equal timestamps only (both files say GMT-07:00)",
    ),
    (
        "CM3W",
        "CM3W_download_2020-07.csv",
        "BARO_control_download_2020-08.csv",
        "barometer BARO_control_download_2020-08.csv (GMT-07:00); well file says GMT-08:00, so 1 hour added to its times"
        " before matching; times below are GMT-07:00",
    ),
]


@pytest.mark.parametrize(("well", "file", "barometer", "definition"), MEADOW, ids=["CM0W", "CM3W"])
def test_water_above_the_meadow_sensors(open_data, reference, well, file, barometer, definition):
    folder = open_data / "raw" / "control_meadow"
    when, pressure, temperature = read_export(folder / file)
    air_when, air, _ = read_export(folder / barometer)
    assert usual_interval_s(when) == usual_interval_s(air_when) == 1800.0
    aligned = align_air_pressure(when, air_when, air, longest_gap_s=1800.0)
    column = water_column(
        without_air(pressure, aligned),
        density_kg_m3=CONVENTIONAL_WATER_DENSITY_KG_M3,
        gravity_m_s2=STANDARD_GRAVITY_M_S2,
    )
    told = column * REFERENCE_M_PER_PSI / from_pascals(to_pascals(1.0, "psi"), "mH2O")
    matched = np.isin(when, air_when)
    assert matched.sum() == reference[well, definition, "matched readings"]
    for statistic, found in (("mean", np.mean), ("min", np.min), ("max", np.max)):
        expected = reference[well, definition, f"water column above sensor {statistic}"]
        assert found(told[matched]) == pytest.approx(expected, abs=1e-9)
    moments = [key[2] for key in reference if key[:2] == (well, definition) and key[2].startswith("water column at ")]
    assert len(moments) == 5
    for statistic in moments:
        local = np.datetime64(re.search(r"at (\S+ \S+) logger time", statistic)[1], "us")
        there = interpolate_at(local + np.timedelta64(7, "h"), when, told, longest_gap_s=1800.0)
        assert float(there) == pytest.approx(reference[well, definition, statistic], abs=1e-9)
    assert np.nanmin(temperature) > -10
    assert np.nanmax(temperature) < 40
