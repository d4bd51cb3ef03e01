"""A site that works in feet is shown in feet by every command, unless metres are asked for."""

import csv
import io
import json
import re

import pytest

from gwnet.cli.options import unit_of_record
from gwnet.network import Network, core, init
from gwnet.store.session import open_store

HEADS = {
    "A": (0, 0, 47.50),
    "B": (400, 30, 46.90),
    "C": (30, 420, 46.40),
    "D": (420, 450, 45.95),
    "E": (210, 200, 46.7),
}

#: A length in metres: a number with its unit, a heading, or the name of a column.
METRES = re.compile(r"[0-9] m\b(?!/m)|\[m\]|\[m/|_m\b|_m_per_")


@pytest.fixture(scope="module")
def record(tmp_path_factory):
    """Give the address of a record in feet: five wells, two days of levels."""
    folder = tmp_path_factory.mktemp("feet")
    tables = folder / "tables"
    tables.mkdir()
    lines = {
        "sites": ["site,crs,vertical_datum,length_unit,time_zone", "P,EPSG:26912,NAVD 88,ft,America/Denver"],
        "aquifers": ["aquifer,confinement", "basin,unconfined"],
        "wells": ["site,well,easting,northing,aquifer,ground_elevation,total_depth"],
        "measuring_points": ["site,well,valid_from,elevation,height_above_ground,accuracy"],
        "thresholds": ["site,well,threshold,kind,water_elevation", "P,A,low,lower,40"],
        "level_events": ["site,well,date,time,depth_to_water,depth_to_water_2"],
    }
    for well, (x, y, head) in HEADS.items():
        lines["wells"].append(f"P,{well},{500000 + x},{4800000 + y},basin,97.5,80")
        lines["measuring_points"].append(f"P,{well},1990-01-01,100,2.5,0.05")
        for day, fall in {"2019-04-05": 0.0, "2019-10-05": 0.4}.items():
            depth = 100 - head + fall
            lines["level_events"].append(f"P,{well},{day},10:00,{depth:.2f},{depth + 0.01:.2f}")
    for name, rows in lines.items():
        (tables / f"{name}.csv").write_text("\n".join(rows) + "\n")
    init(folder / "feet.sqlite")
    with Network(folder / "feet.sqlite") as net:
        net.load([tables], by="A. Keeper")
    return folder / "feet.sqlite"


@pytest.mark.parametrize(
    "command",
    [
        "levels --format csv",
        "levels",
        "wells",
        "wells --format csv",
        "explain A 2019-10-05",
        "history A",
        "trend --format csv",
        "seasons --format csv",
        "review --what levels --format csv",
        "effects --format csv",
        "check --dry-run",
        "gradient --wells A,B,C --date 2019-10-05",
        "gradient --aquifer basin --rounds",
        "gradient --aquifer basin --date 2019-10-05 --local --nearest 3",
    ],
)
def test_no_command_shows_metres(gwnet_here, record, command):
    ran = gwnet_here(*command.split(), "--db", record)
    assert ran.code in (0, 3), ran.err
    assert not METRES.findall(ran.out + ran.err)


def test_metres_are_shown_on_request_and_for_a_site_in_metres(gwnet_here, record):
    ran = gwnet_here("levels", "--format", "csv", "--unit", "m", "--db", record)
    assert "water_elevation_m" in ran.out
    with Network(record) as net:
        assert unit_of_record(net) == unit_of_record(net, "P") == "ft"
    assert gwnet_here("levels", "--db", "nowhere.sqlite").code == 1


def test_the_unit_is_found_with_the_record_that_the_command_uses(gwnet_here, record, monkeypatch):
    opened = []
    monkeypatch.setattr(core, "open_store", lambda *args, **keys: opened.append(args) or open_store(*args, **keys))
    for options in ([], ["--unit", "m"]):
        opened.clear()
        assert gwnet_here("levels", "--db", record, *options).code == 0
        assert len(opened) == 1


def test_levels_in_feet_are_those_of_the_file(gwnet_here, record):
    ran = gwnet_here("levels", "--well", "A", "--format", "csv", "--db", record)
    rows = list(csv.DictReader(io.StringIO(ran.out)))
    assert [float(row["water_elevation_ft"]) for row in rows] == pytest.approx([47.495, 47.095], abs=1e-6)


def test_dry_runs_and_rejections_are_in_feet(gwnet_here, record, tmp_path):
    (tmp_path / "measuring_points.csv").write_text(
        "site,well,valid_from,elevation,height_above_ground,accuracy\nP,A,1990-01-01,100.25,2.5,0.05\n"
    )
    refused = gwnet_here("load", "measuring_points.csv", "--db", record)
    assert "elevation [ft]: 100 on record, 100.25 here" in refused.err
    shown = gwnet_here("load", "measuring_points.csv", "--correct", "--reason", "x", "--dry-run", "--db", record)
    assert "the farthest by 0.250 ft" in shown.out
    assert not METRES.findall(shown.out + shown.err)
    (tmp_path / "level_events.csv").write_text(
        "site,well,date,depth_to_water,depth_to_water_2\nP,A,2019-11-05,52.5,53.5\n"
    )
    gwnet_here("load", "level_events.csv", "--dry-run", "--db", record)


@pytest.mark.slow
def test_maps_and_their_layers_are_in_feet(gwnet_here, record, tmp_path):
    import pyogrio

    ran = gwnet_here(
        "map", "--aquifer", "basin", "--date", "2019-10-05", "--out", "map", "--db", record, "--format", "json"
    )
    (row,) = json.loads(ran.out)
    assert "interval_ft" in row
    control = pyogrio.read_dataframe(tmp_path / "map" / "map.gpkg", layer="control")
    assert control.set_index("well")["water_elevation_ft"]["A"] == pytest.approx(47.095, abs=1e-6)
    layers = [pyogrio.read_dataframe(tmp_path / "map" / "map.gpkg", layer=name) for name in ("contours", "boundary")]
    assert not [name for layer in (control, *layers) for name in layer.columns if name.endswith("_m")]
