"""``gwnet thresholds`` on a small constructed record, from its files on."""

import json

import pytest

from gwnet.cli import DONE

TABLES = {
    "sites": "site,crs,vertical_datum,length_unit,time_zone\nMM,EPSG:25832,local,m,UTC+01:00\n",
    "wells": "site,well,easting,northing\nMM,MW-1,451200,5400100\n",
    "measuring_points": "site,well,valid_from,elevation,height_above_ground\nMM,MW-1,2000-01-01,101.250,0.5\n",
    "thresholds": "site,well,threshold,kind,depth_to_water,consecutive,action\nMM,MW-1,warning,lower,4.00,2,Call\n",
    "level_events": "site,well,date,status,depth_to_water\n"
    "MM,MW-1,2024-03-15,static,4.10\nMM,MW-1,2024-06-15,static,4.20\nMM,MW-1,2024-09-15,static,3.00\n",
}


@pytest.fixture
def record(tmp_path, gwnet_here):
    for name, text in TABLES.items():
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
    assert gwnet_here("init").code == DONE
    ran = gwnet_here("load", *(f"{name}.csv" for name in TABLES), "--by", "Ana")
    assert ran.code == DONE, ran.err
    return gwnet_here


def test_states_and_crossings_are_printed(record):
    ran = record("thresholds", "--from", "2024-06-01", "--format", "json")
    assert ran.code == DONE, ran.err
    row = json.loads(ran.out)[0]
    assert (row["state"], row["readings_beyond"], row["readings_judged"]) == ("crossed", 1, 2)
    assert (row["threshold_elevation_m"], row["action"]) == (97.25, "Call")
    (crossing,) = json.loads(record("thresholds", "--crossings", "--format", "json").out)
    assert (crossing["first"], crossing["ended_by"], crossing["confirmed_on"]) == (
        "2024-03-15",
        "2024-09-15",
        "2024-06-15",
    )
    assert "threshold_elevation_ft" in record("thresholds", "--unit", "ft", "--format", "csv").out


def test_a_period_without_a_crossing_says_so(record):
    assert "No threshold was crossed." in record("thresholds", "--crossings", "--from", "2024-09-01").err
    assert "not crossed" in record("thresholds", "--from", "2024-09-01").out
