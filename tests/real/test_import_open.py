"""Open tables come in as proposed, with few lines edited, and their published elevations come out row by row.

Sources: eastern Snake River Plain aquifer (U.S. Geological Survey, R data package inldata 1.2.5, public domain); Land
Berlin groundwater station 1 (dl-de/by-2-0); Land Nordrhein-Westfalen (dl-de/zero-2-0); Cowdery and others 2008, USGS
SIR 2007-5200 (R package smwrData); a well of Connecticut (USGS, groundwater time-series modelling challenge, Collenteur
and others 2024); multilevel wells of the Snake River Plain (USGS, R data package mlms 1.0.2, public domain). Each is
read from the folder of open data.
"""

import csv
import datetime as dt

import pandas as pd
import pytest

from gwnet.ingest.mapping.load import import_files
from gwnet.ingest.mapping.mapping import parse_mapping
from gwnet.ingest.mapping.trial import try_files
from gwnet.network import Network, init

pytestmark = pytest.mark.shared

NOW = dt.datetime(2026, 11, 28, tzinfo=dt.UTC)

#: For each set its files, and the lines that are edited: their beginning, and what they become.
SETS = {
    "aquifer": (
        ["esrp/wells.csv", "esrp/levels.csv"],
        {
            "time_zone": 'time_zone = { value = "America/Denver" }',
            '"1" =': '"1" = "static"',
            '"3" =': '"3" = "static"',
            '"P" =': '"P" = "pumping"',
            '"5" =': '"5" = "affected by surface water"',
        },
    ),
    "station": (
        ["raw/berlin_station_1.csv"],
        {"crs": 'crs = { value = "EPSG:25833" }', "time_zone": 'time_zone = { value = "Europe/Berlin" }'},
    ),
    "two wells": (
        ["raw/nrw_two_wells_sample.csv"],
        {
            "crs": 'crs = { value = "EPSG:25832" }',
            "vertical_datum": 'vertical_datum = { value = "NHN" }',
            "time_zone": 'time_zone = { value = "Europe/Berlin" }',
            '{ well = "279576511"': '{ well = "279576511", easting = 350000, northing = 5700000 },',
            '{ well = "070167217"': '{ well = "070167217", easting = 350100, northing = 5700000 },',
        },
    ),
    "daily depths": (
        ["glacial_ridge_daily.csv"],
        {
            "crs": 'crs = { value = "EPSG:26915" }',
            "vertical_datum": 'vertical_datum = { value = "local" }',
            "time_zone": 'time_zone = { value = "America/Chicago" }',
            **{
                f'{{ well = "{well}"': f'{{ well = "{well}", easting = {200_000 + n}, northing = 5300000, '
                f"ground_elevation = {1000 + n} }},"
                for n, well in enumerate(("G01-R", "G12-R", "G20S-R", "G22S-R", "G25-R"))
            },
        },
    ),
    "one well": (
        ["connecticut_bedrock_daily.csv"],
        {
            "crs": 'crs = { value = "EPSG:26918" }',
            "vertical_datum": 'vertical_datum = { value = "local" }',
            "time_zone": 'time_zone = { value = "America/New_York" }',
            "{ well =": '{ well = "connecticut_bedrock_daily", easting = 724000, northing = 4632000 },',
        },
    ),
    "ports": (
        ["esrp_multilevel/heads.csv", "esrp_multilevel/wells.csv"],
        {"time_zone": 'time_zone = { value = "America/Denver" }'},
    ),
}


def edited(text, edits):
    """Return a mapping with lines edited, and how many were."""
    lines = text.splitlines()
    count = 0
    for place, line in enumerate(lines):
        for start, new in edits.items():
            if "# CHECK" in line and line.strip().startswith(start):
                lines[place] = new
                count += 1
    return "\n".join(lines) + "\n", count


@pytest.fixture(scope="module")
def come_in(open_data, tmp_path_factory):
    """Give a function that imports a set as proposed and edited: network, result, number of edited lines."""
    opened = {}

    def of(name):
        if name not in opened:
            files, edits = SETS[name]
            paths = [str(open_data / file) for file in files]
            if not all((open_data / file).exists() for file in files):
                pytest.skip(f"{files} are not in the open data")
            text, count = edited(try_files(paths).mapping.text, edits)
            address = tmp_path_factory.mktemp("import") / "record.sqlite"
            init(address)
            net = Network(address)
            result = import_files(net.store, paths, parse_mapping(text, name), now_utc=NOW, by="test")
            opened[name] = net, result, count
        return opened[name]

    yield of
    for net, _, _ in opened.values():
        net.close()


@pytest.mark.slow
@pytest.mark.parametrize("name", SETS)
def test_a_set_comes_in_with_at_most_ten_edited_lines(come_in, name):
    _, result, count = come_in(name)
    assert result.loaded.written
    assert result.loaded.rejections == ()
    assert count <= 10
    assert count == len(SETS[name][1])


@pytest.mark.slow
def test_every_published_elevation_of_the_aquifer_comes_out(come_in, open_data):
    net, _, _ = come_in("aquifer")
    with (open_data / "esrp" / "levels.csv").open(encoding="utf-8") as file:
        published = list(csv.DictReader(file))
    levels = net.levels(unit="ft")
    days = levels["measured_at"].str[:10]
    mine = pd.DataFrame({"well": levels["well"], "day": days, "elevation": levels["water_elevation_ft"].round(2)})
    mine = mine.sort_values(["well", "day", "elevation"]).reset_index(drop=True)
    theirs = pd.DataFrame(
        [(row["site_id"], row["local_date"], float(row["water_elev_ft_navd88"])) for row in published],
        columns=["well", "day", "elevation"],
    ).sort_values(["well", "day", "elevation"], ignore_index=True)
    assert len(mine) == len(theirs) == 61_348
    assert mine["well"].tolist() == theirs["well"].tolist()
    assert mine["day"].tolist() == theirs["day"].tolist()
    assert (mine["elevation"] - theirs["elevation"]).abs().max() <= 0.01 + 1e-9


def test_every_published_elevation_of_the_two_wells_comes_out_and_the_dry_row_is_dry(come_in, open_data):
    net, result, _ = come_in("two wells")
    text = (open_data / "raw" / "nrw_two_wells_sample.csv").read_text()
    levels = net.levels().set_index(["well", "measured_at"])
    for row in csv.DictReader(text.splitlines(), delimiter=";"):
        level = levels.loc[(row["messstelle_id"], row["datum_messung"])]
        if row["hinweis"] == "trocken":
            assert level["status"] == "dry"
            continue
        assert level["water_elevation_m"] == pytest.approx(float(row["wasserstd_m"].replace(",", ".")), abs=1e-9)
        assert level["depth_below_ground_m"] == pytest.approx(float(row["flurabstd_m"].replace(",", ".")), abs=1e-9)
    assert [change.elevation for table in result.applied.tables for change in table.changes] == ["52.29", "48.35"]


def test_every_elevation_of_the_station_comes_out_with_its_screen_and_point(come_in):
    net, _, _ = come_in("station")
    levels = net.levels()
    assert (len(levels), levels["water_elevation_m"].iloc[0]) == (43, pytest.approx(33.48))
    well = net.wells().iloc[0]
    assert well[["screen_top_m", "screen_bottom_m", "ground_elevation_m"]].tolist() == [37.34, 39.34, 49.2]


def test_every_depth_of_the_daily_wells_comes_out(come_in, open_data):
    net, _, _ = come_in("daily depths")
    table = pd.read_csv(open_data / "glacial_ridge_daily.csv")
    levels = net.levels(unit="ft")
    assert len(levels) == len(table)
    assert (levels["status"] == "not measured").sum() == table["depth_below_land_surface_ft"].isna().sum()
    both = table.merge(levels, left_on=["well", "date"], right_on=["well", "measured_at"])
    known = both[both["depth_below_land_surface_ft"].notna()]
    assert (known["depth_below_land_surface_ft"] - known["depth_below_ground_ft"]).abs().max() < 1e-6


def test_every_head_of_the_one_well_comes_out(come_in, open_data):
    net, _, _ = come_in("one well")
    table = pd.read_csv(open_data / "connecticut_bedrock_daily.csv")
    both = table.merge(net.levels(), left_on="date", right_on="measured_at")
    known = both[both["head_m"].notna()]
    assert len(both) == len(table)
    assert (known["head_m"] - known["water_elevation_m"]).abs().max() < 1e-9


def test_every_total_head_of_the_ports_comes_out(come_in, open_data):
    net, _, _ = come_in("ports")
    table = pd.read_csv(open_data / "esrp_multilevel" / "heads.csv")
    table["code"] = table["well"] + "-" + table["port"].astype(str)
    levels = net.levels(unit="ft")
    levels["at"] = levels["measured_at_utc"].dt.strftime("%Y-%m-%dT%H:%MZ")
    both = table.merge(levels, left_on=["code", "measured_utc"], right_on=["well", "at"], validate="one_to_one")
    assert len(both) == len(table) == 6_058
    known = both[both["total_head_ft_navd88"].notna()]
    assert (known["total_head_ft_navd88"] - known["water_elevation_ft"]).abs().max() < 1e-6
    unknown = both[both["total_head_ft_navd88"].isna()]
    assert len(unknown) == 16
    assert unknown["water_elevation_ft"].isna().all()
    assert set(unknown["status"]) == {"not measured"}
    assert net.wells()["well"].nunique() == 189


def test_all_files_of_the_ports_can_be_named_together(open_data):
    files = [open_data / "esrp_multilevel" / f"{name}.csv" for name in ("heads", "wells", "ports", "zones", "visits")]
    if not all(file.exists() for file in files):
        pytest.skip("the multilevel wells are not in the open data")
    trial = try_files([str(file) for file in files])
    events = trial.columns.set_index("target").loc["level_events.water_elevation [ft]"]
    assert (events["rows"], events["filled"]) == (6_058, 6_042)
    assert trial.rejections == []
    assert [check.partition("time_zone")[1] for check in trial.checks] == ["time_zone"]
    assert sum("it is not used" in reason for reason in trial.proposal.reasons) == 3


def test_a_table_of_wells_with_units_in_its_cells(open_data):
    trial = try_files([str(open_data / "raw" / "control_meadow" / "well_dimensions.csv")])
    row = trial.columns.set_index("target").loc["wells.total_depth [m]"]
    assert row["first_values"] == "3.048, 1.9177"
