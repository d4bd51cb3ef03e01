"""Loggers measured elsewhere, loaded into a record as their files are and turned into heads.

- Meadow wells and barometer near Chester, California, 2019 to 2020: Cal Poly San Luis Obispo study (MIT licence).
- 2-minute absolute logger with its barometer, 2016: R package hydrorecipes 0.0.3 (Kennel, 2020).
- Multilevel wells of the eastern Snake River Plain aquifer, 2007 to 2023: U.S. Geological Survey, R data package mlms
  1.0.2; public domain.

The numbers compared with are in ``reference_results.csv`` beside the data and in the multilevel data themselves.
"""

import csv
import datetime as dt
import re

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.loggers.heads import work_out_heads
from gwnet.network import Network, init
from gwnet.store.snapshot import Snapshot
from gwnet.units import from_pascals, metres_per, pascals_per

from ..analysis.logger_record import Loggers
from ..analysis.record import Record

pytestmark = pytest.mark.shared

#: The reference took 0.70307 m of water to 1 psi: 1000 kg/m3 under this gravity.
REFERENCE_GRAVITY = pascals_per("psi") / (1000.0 * 0.70307)

NOW = dt.datetime(2020, 12, 1, tzinfo=dt.UTC)

SITES = "site,name,crs,vertical_datum,length_unit,time_zone\nM,Meadow,EPSG:32610,local,m,UTC-07:00\n"
WELLS = "site,well,latitude,longitude\n" + "".join(f"M,{well},40.3,-121.2\n" for well in ("CM0W", "CM3W", "CM4W"))
INSTRUMENTS = "instrument,kind\n" + "".join(
    f"{code},absolute pressure logger\n" for code in ("CM0W-1", "CM0W-2", "CM3W-1", "CM3W-2", "CM4W-1", "CM4W-2")
)
DEPLOYMENTS = """site,well,instrument,installed_at,removed_at,barometer
M,,BARO,2019-04-01T00:00,,
M,CM0W,CM0W-1,2019-04-01T00:00,2020-08-18T09:00,BARO
M,CM0W,CM0W-2,2020-08-18T09:00,,BARO
M,CM3W,CM3W-1,2019-12-01T00:00,,BARO
M,CM3W,CM3W-2,2019-12-01T00:00,,BARO
M,CM4W,CM4W-1,2019-05-01T00:00,2020-04-26T09:00,
M,CM4W,CM4W-2,2020-04-26T09:00,,BARO
"""

FILES = {
    "BARO": ["BARO_control_download_2020-08.csv", "BARO_control_download_2020-11.csv"],
    "CM0W-1": [f"CM0W_download_{month}.csv" for month in ("2019-12", "2020-07", "2020-08")],
    "CM0W-2": ["CM0W_download_2020-11.csv"],
    "CM3W-1": ["CM3W_download_2020-07.csv"],
    "CM4W-2": [f"CM4W_download_{month}.csv" for month in ("2020-07", "2020-08", "2020-11")],
}


def write(folder, **tables):
    """Write tables as CSV files and return their folder."""
    folder.mkdir()
    for name, text in tables.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def meadow(open_data, tmp_path_factory):
    """Give the meadow as a loaded record; CM3W-2 is CM3W-1 with the heading's zone an hour off."""
    folder, raw = tmp_path_factory.mktemp("meadow"), open_data / "raw" / "control_meadow"
    tables = write(
        folder / "tables",
        sites=SITES,
        wells=WELLS,
        instruments=INSTRUMENTS + "BARO,barometer\n",
        deployments=DEPLOYMENTS,
    )
    right = (raw / FILES["CM3W-1"][0]).read_bytes()
    (folder / "wrong_zone.csv").write_bytes(right.replace(b"GMT-08:00", b"GMT-07:00"))
    init(folder / "meadow.sqlite")
    with Network(folder / "meadow.sqlite") as net:
        assert net.load([tables], by="test", now_utc=NOW).rejections == ()
        for instrument, names in FILES.items():
            said = {"quantity": "air pressure"} if instrument == "BARO" else {}
            load(net, [raw / name for name in names], instrument, **said)
        load(net, [folder / "wrong_zone.csv"], "CM3W-2")
        gauge = [raw / f"CM4W_download_{month}.txt" for month in ("2019-07", "2019-09", "2019-12", "2020-04")]
        load(net, gauge, "CM4W-1", quantity="water pressure", zone="UTC-07:00")
        for instrument in ("CM0W-2", "CM3W-1"):
            net.loggers.correct(
                instrument,
                "density",
                kg_m3=1000.0,
                gravity_m_s2=REFERENCE_GRAVITY,
                reason="as the reference",
                by="test",
                now_utc=NOW,
            )
        yield net


def load(net, files, instrument, **said):
    result = net.loggers.load(files, instrument=instrument, by="test", now_utc=NOW, **said)
    assert [file.error for file in result.files if file.error is not None] == []


@pytest.fixture(scope="module")
def reference(open_data):
    with (open_data / "reference_results.csv").open(encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["series"] in ("CM0W", "CM3W")]
    return {(row["series"], row["statistic"]): float(row["value"]) for row in rows}


@pytest.mark.slow
@pytest.mark.parametrize(("well", "instrument"), [("CM0W", "CM0W-2"), ("CM3W", "CM3W-1")])
def test_water_above_the_meadow_sensors(meadow, reference, well, instrument):
    """Rows without a stamp of the barometer's own are left out, as the reference did."""
    with meadow.store.reading() as connection:
        (one,) = [found for found in work_out_heads(Snapshot(connection), [well]) if found.instrument == instrument]
    matched = (one.level.air_away_s == 0) & ~np.isnan(one.sensor_level_m)
    assert matched.sum() == reference[well, "matched readings"]
    for statistic, worked_out in (("mean", np.mean), ("min", np.min), ("max", np.max)):
        expected = reference[well, f"water column above sensor {statistic}"]
        assert worked_out(one.sensor_level_m[matched]) == pytest.approx(expected, abs=1e-9)
    moments = [
        statistic for series, statistic in reference if series == well and statistic.startswith("water column at")
    ]
    assert len(moments) == 5
    for statistic in moments:
        local = np.datetime64(re.search(r"at (\S+ \S+) logger time", statistic)[1], "us")
        place = int(np.searchsorted(one.time_utc, local + np.timedelta64(7, "h")))
        assert one.time_utc[place] == local + np.timedelta64(7, "h")
        assert one.sensor_level_m[place] == pytest.approx(reference[well, statistic], abs=1e-9)


def test_the_zone_that_does_not_fit_the_barometer_is_found_and_the_one_that_does_is_not(meadow):
    table = meadow.loggers.findings()
    clocks = table[table["rule"] == "clock"]
    assert clocks["instrument"].tolist() == ["CM3W-2"]
    assert "only when moved by +1 h" in clocks["message"].iloc[0]
    assert "--seconds 3600" in clocks["suggestion"].iloc[0]


def test_the_jump_of_1_8_psi_is_found_and_is_back_at_the_next_sample(meadow):
    """It drops by 1.8138 psi and rises by 1.8192 psi half an hour later: the sensor was out of the water."""
    table = meadow.loggers.findings(["CM3W"])
    row = table[(table["rule"] == "spike") & (table["instrument"] == "CM3W-1")]
    assert row["start_utc"].tolist() == [pd.Timestamp("2020-04-26T18:00Z")]
    size = float(re.search(r"([+-][\d.]+) m off", row["message"].iloc[0])[1])
    assert size / 0.70307 == pytest.approx(-1.8165, abs=0.01)
    steps = table[table["rule"].isin(["step", "slipped cable"]) & (table["instrument"] == "CM3W-1")]
    assert (steps["start_utc"] != pd.Timestamp("2020-04-26T18:30Z")).all()


def test_the_sensor_that_bottomed_out_is_found_in_all_its_spells(meadow):
    table = meadow.loggers.findings(["CM4W"])
    rows = table[(table["rule"] == "bottomed out") & (table["instrument"] == "CM4W-1")]
    series = meadow.loggers.heads(["CM4W"], excluded=True)
    mine = series[series["instrument"] == "CM4W-1"]
    at_end = np.isclose(mine["sensor_level_m"], mine["sensor_level_m"].min(), atol=1e-6)
    assert at_end.sum() == 1821 + 2151 + 4394 + 6709 - 2  # the last two files share an hour
    told = np.zeros(len(mine), dtype=bool)
    for row in rows.itertuples():
        told |= ((mine["measured_at_utc"] >= row.start_utc) & (mine["measured_at_utc"] <= row.end_utc)).to_numpy()
    np.testing.assert_array_equal(told, at_end)


@pytest.fixture(scope="module")
def two_minutes(open_data, tmp_path_factory):
    """Give the 2-minute logger and its barometer as a record, and their table."""
    table = pd.read_csv(open_data / "absolute_logger_with_baro_2min.csv", parse_dates=["datetime_utc"])
    record = Record(tmp_path_factory.mktemp("two") / "a.sqlite")
    made = Loggers(record)
    record.well("W")
    made.instrument("L")
    made.instrument("B", "barometer")
    made.instrument("B60", "barometer")
    made.install("L", "W", "2016-08-01", barometer="B")
    when = table["datetime_utc"].to_numpy().astype("datetime64[us]")
    made.samples("L", "absolute pressure", "dbar", when, table["pressure_abs_dbar"])
    made.samples("B", "air pressure", "dbar", when, table["barometric_dbar"])
    made.samples("B60", "air pressure", "dbar", when[::30], table["barometric_dbar"][::30])
    yield made, table
    record.store.close()


def test_the_two_minute_logger_less_its_barometer(two_minutes):
    made, table = two_minutes
    with made.reading() as connection:
        (one,) = work_out_heads(Snapshot(connection))
    expected = from_pascals((table["pressure_abs_dbar"] - table["barometric_dbar"]).to_numpy() * 1e4, "mH2O")
    np.testing.assert_allclose(one.sensor_level_m, expected, rtol=0, atol=1e-9)
    assert len(one) == 36_721


@pytest.mark.slow
def test_heads_of_the_multilevel_wells(open_data, tmp_path):
    """Ports of one well as sensors that hang at the transducer; total heads are rounded to 0.01 to 0.1 ft."""
    folder = open_data / "esrp_multilevel"
    table = pd.read_csv(folder / "heads.csv").merge(pd.read_csv(folder / "ports.csv"), on=["well", "port"])
    table = table.merge(pd.read_csv(folder / "wells.csv"), on="well")
    table = table[table["total_head_ft_navd88"].notna() & (table["well"] == "MIDDLE 2051")]
    table = table[~table["replicate"]].drop_duplicates(["port", "measured_utc"])
    foot = metres_per("ft")
    record = Record(tmp_path / "a.sqlite")
    made = Loggers(record)
    point = (float(table["land_surface_elev_ft_navd88"].iloc[0]) + 2.76) * foot
    record.well("W", latitude=43.54, longitude=-113.01)
    record.point("W", point, start="2007-01-01")
    made.instrument("B", "barometer")
    when = pd.to_datetime(table["measured_utc"], utc=True).dt.tz_localize(None).to_numpy().astype("datetime64[us]")
    table = table.assign(when=when)
    air = table.drop_duplicates("when").sort_values("when")
    made.samples("B", "air pressure", "psi", air["when"].to_numpy(), air["barometric_pressure_psi"])
    expected = []
    for port, rows in table.groupby("port"):
        rows = rows.sort_values("when")
        rows = rows[
            rows["barometric_pressure_psi"].to_numpy()
            == air.set_index("when")["barometric_pressure_psi"].loc[rows["when"]].to_numpy()
        ]
        code = f"P{port}"
        made.instrument(code)
        hung = (rows["inlet_elev_ft_navd88"] - rows["transducer_to_inlet_ft"]).iloc[0] * foot
        made.install(code, "W", "2007-01-01", depth=point - hung, barometer="B")
        made.samples(code, "absolute pressure", "psi", rows["when"].to_numpy(), rows["fluid_pressure_abs_psi"])
        made.samples(code, "water temperature", "degC", rows["when"].to_numpy(), rows["fluid_temp_degC"])
        made.correct(code, "absolute pressure", "density", temperature="series", gravity_m_s2=9.80665)
        expected.append(rows)
    with made.reading() as connection:
        found = {one.instrument: one for one in work_out_heads(Snapshot(connection))}
    compared = 0
    for rows in expected:
        one = found[f"P{rows['port'].iloc[0]}"]
        assert one.anchored.by_hanging_depth.all()
        np.testing.assert_allclose(
            one.water_elevation_m / foot, rows["total_head_ft_navd88"], rtol=0, atol=0.08, err_msg=one.instrument
        )
        compared += len(one)
    assert compared > 400
    record.store.close()
