"""``gwnet levels --loggers`` on a record of loggers alone, from its files on: no level was ever read by hand."""

import csv
import datetime as dt
import io
import json

import pytest

from gwnet.cli import DONE, STOPPED

from ..ingest.test_logger_load import PLAIN

TABLES = {
    "sites": "site,crs,vertical_datum,length_unit,time_zone\nS,EPSG:25832,local,m,UTC+01:00\n",
    "wells": "site,well,easting,northing\nS,MW-1,500000,5300000\nS,MW-2,500100,5300000\n",
    "measuring_points": "site,well,valid_from,elevation,height_above_ground,accuracy\n"
    "S,MW-1,2020-01-01,100,0.5,0.01\nS,MW-2,2020-01-01,101,0.5,0.01\n",
    "instruments": "instrument,kind,serial\nL1,vented pressure logger,77\nL2,vented pressure logger,78\n",
    "deployments": "site,well,instrument,installed_at,hanging_depth\n"
    "S,MW-1,L1,2024-01-01 00:00,15\nS,MW-2,L2,2024-01-01 00:00,15\n",
}
ROUNDS = "site,round,starts_on,ends_on,wells\nS,2024-Q1,2024-01-02,2024-01-04,MW-1;MW-2\n"

#: Water column of both loggers [m] and the pressure of it [kPa] at 1000 kg/m³ and 9.80665 m/s².
COLUMN_M = 4.0
PRESSURE_KPA = 9.80665 * COLUMN_M


@pytest.fixture
def record(tmp_path, gwnet_here):
    """Load the record of two loggers, without rounds; return the function that runs the command line."""
    for name, text in TABLES.items():
        (tmp_path / f"{name}.csv").write_text(text)
    (tmp_path / "rounds.csv").write_text(ROUNDS)
    (tmp_path / "plain.toml").write_text(PLAIN)
    times = [dt.datetime(2024, 1, 1, tzinfo=dt.UTC) + dt.timedelta(hours=hour) for hour in range(5 * 24)]
    for serial in ("77", "78"):
        lines = [f"Serial: {serial}", "Time,Pressure", *(f"{time:%Y-%m-%d %H:%M},{PRESSURE_KPA:.4f}" for time in times)]
        (tmp_path / f"{serial}.csv").write_text("\n".join(lines) + "\n")
    assert gwnet_here("init").code == DONE
    ran = gwnet_here("load", *(f"{name}.csv" for name in TABLES), "--by", "Ana")
    assert ran.code == DONE, ran.err
    ran = gwnet_here("logger", "load", "77.csv", "78.csv", "--layout", "plain.toml", "--by", "Ana")
    assert ran.code == DONE, ran.err
    return gwnet_here


@pytest.fixture
def with_round(record):
    """Add a round, in which nobody read a level."""
    assert record("load", "rounds.csv", "--by", "Ana").code == DONE
    return record


def rows(ran):
    assert ran.code == DONE, ran.err
    return list(csv.DictReader(io.StringIO(ran.out)))


@pytest.mark.slow
def test_a_round_that_nobody_read_has_the_heads_of_its_middle_noon(with_round):
    found = rows(with_round("levels", "--loggers", "round", "--format", "csv"))
    told = [(row["well"], row["measured_at"], row["round"], row["method"]) for row in found]
    assert told == [(well, "2024-01-03T12:00+01:00", "2024-Q1", "logger") for well in ("MW-1", "MW-2")]
    # the sensors hang at 85 m and 86 m; gravity at the site differs from the conventional one by less than 0.1 %
    assert [float(row["water_elevation_m"]) for row in found] == pytest.approx([89.0, 90.0], abs=0.001 * COLUMN_M)
    assert [json_row["well"] for json_row in json.loads(_json(with_round, "round"))] == ["MW-1", "MW-2"]
    assert "2024-01-03T12:00+01:00" in with_round("levels", "--loggers", "round").out


def _json(run, how):
    ran = run("levels", "--loggers", how, "--format", "json")
    assert ran.code == DONE, ran.err
    return ran.out


def test_heads_of_one_well_in_feet(with_round):
    (metres,) = rows(with_round("levels", "--loggers", "round", "--well", "MW-2", "--format", "csv"))
    (feet,) = rows(with_round("levels", "--loggers", "round", "--well", "MW-2", "--format", "csv", "--unit", "ft"))
    assert feet["well"] == "MW-2"
    assert float(feet["water_elevation_ft"]) == pytest.approx(float(metres["water_elevation_m"]) / 0.3048, abs=1e-5)


@pytest.mark.slow
def test_daily_means_with_a_round_and_within_it(with_round):
    found = rows(with_round("levels", "--loggers", "daily", "--well", "MW-1", "--format", "csv"))
    assert [row["measured_at"] for row in found] == [f"2024-01-0{day}" for day in range(1, 6)]
    within = with_round("levels", "--loggers", "daily", "--well", "MW-1", "--round", "2024-Q1", "--format", "csv")
    assert [row["measured_at"] for row in rows(within)] == ["2024-01-02", "2024-01-03", "2024-01-04"]
    assert len(json.loads(_json(with_round, "daily"))) == 10


def test_without_rounds_nothing_at_rounds_but_daily_means(record):
    ran = record("levels", "--loggers", "round")
    assert (ran.code, ran.out) == (DONE, "")
    assert "No level" in ran.err
    assert _json(record, "round").strip() == "[]"
    assert rows(record("levels", "--loggers", "round", "--from", "2024-01-02", "--format", "csv")) == []
    assert len(rows(record("levels", "--loggers", "daily", "--format", "csv", "--unit", "ft"))) == 10
    assert record("levels", "--loggers", "round", "--round", "2024-Q1").code == STOPPED
