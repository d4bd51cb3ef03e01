"""Maps, gradients, hydrographs, reports, checks and the demo from the command line, on the demo network's record."""

import csv
import datetime as dt
import io
import json
import math

import geopandas
import pyogrio
import pytest
import shapely
from PIL import Image
from pypdf import PdfReader

import gwnet
from gwnet.cli import DONE, DONE_WITH_FINDINGS, STOPPED, WRONG_USAGE
from gwnet.errors import SettingsError

DAY = "2026-02-17"


@pytest.fixture
def demo(demo_store, gwnet_here, monkeypatch):
    """Return the function that runs the command line on a copy of the demo network's record."""
    monkeypatch.setenv("GWNET_DB", str(demo_store))
    return gwnet_here


def one(ran):
    assert ran.code == DONE, ran.err
    (record,) = json.loads(ran.out)
    return record


@pytest.mark.slow
def test_a_map_writes_its_three_files_and_tells_gradient_and_error(demo, tmp_path):
    told = one(demo("map", "--aquifer", "upper", "--date", DAY, "--out", tmp_path / "m", "--format", "json"))
    assert sorted(path.name for path in (tmp_path / "m").iterdir()) == ["map.gpkg", "map.pdf", "map.png"]
    assert told["determined"] is True
    assert told["gradient"] > told["gradient_uncertainty"] > 0
    assert 0 <= told["azimuth_degrees"] < 360
    assert told["azimuth_uncertainty_degrees"] > 0
    assert told["cross_validation_error_m"] > 0
    layers = {str(name) for name, _ in pyogrio.list_layers(tmp_path / "m" / "map.gpkg")}
    assert layers >= {"control", "contours", "arrows", "boundary"}
    assert len(PdfReader(tmp_path / "m" / "map.pdf").pages) == 1


@pytest.mark.slow
def test_a_map_lists_every_exclusion_with_its_reason(demo, tmp_path):
    told = one(demo("map", "--aquifer", "upper", "--date", DAY, "--out", tmp_path, "--format", "json"))
    control = pyogrio.read_dataframe(tmp_path / "map.gpkg", layer="control")
    unused = control[~control["used"].astype(bool)]
    elsewhere = unused["reason"].str.contains("aquifer")
    left = unused[~elsewhere]
    assert (len(left), int(elsewhere.sum())) == (told["excluded"], told["other_aquifers"])
    assert told["excluded"] > 0
    assert (left["reason"] != "").all()
    for well in left["well"]:
        assert f"{well}: " in told["exclusions"]


@pytest.mark.slow
def test_a_map_with_features_and_a_chosen_method(demo, tmp_path):
    line = shapely.LineString([(371_000, 6_050_350), (371_594, 6_050_543), (372_308, 6_050_803)])
    fault = shapely.LineString([(371_600, 6_051_900), (371_640, 6_051_300), (371_560, 6_050_400)])
    river, walls = tmp_path / "river.geojson", tmp_path / "site.gpkg"
    geopandas.GeoDataFrame({"name": ["Orle"]}, geometry=[line], crs="EPSG:25832").to_crs(4326).to_file(river)
    geopandas.GeoDataFrame(geometry=[fault], crs="EPSG:25832").to_file(walls, layer="faults")
    geopandas.GeoDataFrame(geometry=[line.buffer(10)], crs="EPSG:25832").to_file(walls, layer="buildings")
    asked = ("map", "--aquifer", "upper", "--date", DAY, "--out", tmp_path / "m", "--format", "json")
    features = ("--barriers", f"{walls}:faults", "--rivers", river, "--base-layers", walls, "--base", "50")
    told = one(demo(*asked, "--method", "auto", *features))
    assert "Chosen by leave-one-out error" in told["method"]
    control = pyogrio.read_dataframe(tmp_path / "m" / "map.gpkg", layer="control")
    assert control.loc[control["kind"] == "river", "well"].str.startswith("Orle ").sum() > 2
    boundary = pyogrio.read_dataframe(tmp_path / "m" / "map.gpkg", layer="boundary")
    assert len(boundary) == 2
    assert not boundary.intersects(fault).any()
    assert told["used"] == int(control["used"].sum())


def test_programs_give_dates_as_text(demo_store):
    with gwnet.open(demo_store) as net:
        drawn = net.map("upper", DAY, method="spline")
        assert drawn.result.date == dt.date(2026, 2, 17)
        assert drawn.result.set_text.startswith("One level a well within 1 day of 2026-02-17")
        with pytest.raises(SettingsError, match=r"Not a date"):
            net.map("upper", "17.2.2026")


@pytest.mark.slow
def test_a_given_variogram_is_taken_in_the_unit_asked_for(demo, tmp_path):
    asked = ("map", "--aquifer", "upper", "--date", DAY, "--out", tmp_path / "m", "--format", "json")
    metric = one(demo(*asked, "--variogram", "exponential,1.2,500,0.1"))
    assert "exponential covariance, as given" in metric["method"]
    feet = f"exponential,{1.2 / 0.3048**2!r},{500 / 0.3048!r},{0.1 / 0.3048**2!r}"
    imperial = one(demo(*asked, "--variogram", feet, "--unit", "ft"))
    error = imperial["cross_validation_error_ft"] * 0.3048
    assert error == pytest.approx(metric["cross_validation_error_m"], abs=1e-5)


@pytest.mark.parametrize(
    ("arguments", "code", "told"),
    [
        (("--variogram", "round,1,2,0"), WRONG_USAGE, "Unknown covariance model 'round'"),
        (("--barriers", "none.gpkg"), STOPPED, "none.gpkg: There is no such file"),
        (("--method", "magic"), WRONG_USAGE, "'magic'"),
    ],
)
def test_features_that_cannot_be_used_say_so(demo, tmp_path, arguments, code, told):
    ran = demo("map", "--aquifer", "upper", "--date", DAY, *arguments, "--out", tmp_path / "m")
    assert ran.code == code
    assert told in ran.err
    assert not (tmp_path / "m").exists()


@pytest.mark.slow
def test_a_map_in_feet_takes_its_interval_in_feet(demo, tmp_path):
    """Every contour is a multiple of 2 ft, and the file says so in feet."""
    asked = ("map", "--aquifer", "upper", "--date", DAY, "--out", tmp_path, "--format", "json")
    told = one(demo(*asked, "--interval", "2", "--unit", "ft"))
    assert told["interval_ft"] == pytest.approx(2)
    contours = pyogrio.read_dataframe(tmp_path / "map.gpkg", layer="contours", read_geometry=False)
    steps = contours["elevation_ft"] / 2.0
    assert (steps - steps.round()).abs().max() < 1e-6


@pytest.mark.slow
def test_a_well_left_out_by_request_is_named(demo, tmp_path):
    asked = ("map", "--aquifer", "upper", "--date", DAY, "--out", tmp_path, "--format", "json")
    assert "W-09: " not in one(demo(*asked))["exclusions"]
    assert "W-09: " in one(demo(*asked, "--exclude", "W-09"))["exclusions"]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("--aquifer", "middle", "--date", DAY), "'middle'"),
        (("--aquifer", "upper", "--date", "1999-01-01"), "3"),
    ],
)
def test_a_map_that_cannot_be_made_leaves_no_file(demo, tmp_path, arguments, told):
    ran = demo("map", *arguments, "--out", tmp_path / "m")
    assert ran.code == STOPPED
    assert told in ran.err
    assert not (tmp_path / "m").exists() or list((tmp_path / "m").iterdir()) == []


@pytest.mark.slow
def test_the_gradient_of_three_wells_is_their_plane(demo):
    """The plane through three levels, solved here by Cramer's rule from what the record itself gives."""
    names = ["W-01", "W-07", "W-09"]
    told = one(demo("gradient", "--wells", ",".join(names), "--date", DAY, "--format", "json"))
    places = {row["well"]: row for row in csv.DictReader(io.StringIO(demo("wells", "--format", "csv").out))}
    asked = [part for name in names for part in ("--well", name)]
    table = demo("levels", *asked, "--from", DAY, "--to", DAY, "--format", "csv").out
    heads = {row["well"]: float(row["water_elevation_m"]) for row in csv.DictReader(io.StringIO(table))}
    (x1, y1, z1), (x2, y2, z2), (x3, y3, z3) = (
        (float(places[name]["easting"]), float(places[name]["northing"]), heads[name]) for name in names
    )
    area = (x2 - x1) * (y3 - y1) - (x3 - x1) * (y2 - y1)
    east = ((z2 - z1) * (y3 - y1) - (z3 - z1) * (y2 - y1)) / area
    north = ((x2 - x1) * (z3 - z1) - (x3 - x1) * (z2 - z1)) / area
    assert told["gradient"] == pytest.approx(math.hypot(east, north), rel=1e-4)
    assert told["azimuth_degrees"] == pytest.approx(math.degrees(math.atan2(-east, -north)) % 360, abs=0.01)


def test_two_wells_have_no_gradient(demo):
    ran = demo("gradient", "--wells", "W-01,W-07", "--date", DAY)
    assert ran.code == STOPPED
    assert "3" in ran.err


@pytest.mark.parametrize("ending", ["png", "pdf", "svg"])
def test_a_hydrograph_is_drawn_as_its_ending_says(demo, tmp_path, ending):
    file = tmp_path / f"h.{ending}"
    ran = demo("hydrograph", "W-07", "--out", file, "--from", "2024-01-01")
    assert (ran.code, ran.out) == (DONE, f"{file}\n"), ran.err
    start = file.read_bytes()[:300]
    assert {"png": b"\x89PNG", "pdf": b"%PDF", "svg": b"<?xml"}[ending] in start
    if ending == "png":
        with Image.open(file) as picture:
            assert min(picture.size) > 600


@pytest.mark.slow
def test_a_hydrograph_with_an_unknown_ending_or_well_writes_nothing(demo, tmp_path):
    for arguments in (("W-07", "--out", "h.bmp"), ("W-77", "--out", "h.png"), ("W-07", "--out", "no/h.png")):
        ran = demo("hydrograph", *arguments)
        assert ran.code == STOPPED, arguments
        assert ran.err.startswith("gwnet: ")
    assert [path.suffix for path in tmp_path.iterdir() if not path.name.startswith("demo.")] == []


@pytest.mark.slow
def test_checks_exit_3_with_findings_and_0_without(demo):
    found = demo("check", "--format", "json")
    assert found.code == DONE_WITH_FINDINGS
    assert {"site", "well", "rule", "message"} <= set(json.loads(found.out)[0])
    quiet = demo("check", "--round", "2018-Q1", "--format", "json")
    assert (quiet.code, json.loads(quiet.out)) == (DONE, [])


@pytest.mark.slow
def test_a_report_names_its_files_the_pdf_first(demo, tmp_path):
    own = tmp_path / "short.toml"
    own.write_text('title = "Short"\nsections = ["levels", "map_wells"]\nweb_page = true\n', encoding="utf-8")
    ran = demo("report", own, "--period", "2025-Q4", "--out", tmp_path / "r")
    assert ran.code == DONE, ran.err
    files = ran.out.splitlines()
    assert files[0].endswith(".pdf")
    assert any(name.endswith(".manifest.json") for name in files)
    assert sorted(files) == sorted(str(path) for path in (tmp_path / "r").iterdir())


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("monthly", "--period", "2025-Q4"), "monthly"),
        (("quarterly", "--period", "2025-Q5"), "2025-Q5"),
        (("quarterly", "--period", "2025-Q4", "--site", "X"), "'X'"),
    ],
)
def test_a_report_that_cannot_be_made_says_why(demo, tmp_path, arguments, told):
    ran = demo("report", *arguments, "--out", tmp_path / "r")
    assert ran.code == STOPPED
    assert told in ran.err
    assert not (tmp_path / "r").exists() or list((tmp_path / "r").iterdir()) == []


@pytest.mark.slow
def test_a_level_as_known_before_its_survey_was_corrected(demo, demo_store):
    """The demo books one measuring point 0.300 m too high and corrects it last; both can be asked for."""
    with gwnet.open(demo_store) as net:
        just_before = net.newest_recording() - dt.timedelta(microseconds=1)
    asked = ("levels", "--well", "L-02", "--round", "2024-Q1", "--format", "json")
    after, before = one(demo(*asked)), one(demo(*asked, "--known-on", just_before.isoformat()))
    assert before["depth_to_water_m"] == after["depth_to_water_m"]
    assert before["water_elevation_m"] - after["water_elevation_m"] == pytest.approx(0.3, abs=1e-6)
    assert "Re-levelling" in demo("explain", "L-02", after["measured_at"]).out


def test_the_demo_is_never_built_over_another(gwnet_here, tmp_path):
    """That it is built whole in an empty folder is seen where the package is installed from its wheel."""
    there = tmp_path / "gwnet-demo" / "gwnet.sqlite"
    there.parent.mkdir()
    there.write_bytes(b"precious")
    ran = gwnet_here("demo")
    assert ran.code == STOPPED
    assert "gwnet demo DIR" in ran.err
    assert there.read_bytes() == b"precious"
    assert list(there.parent.iterdir()) == [there]


@pytest.mark.slow
def test_a_demo_that_is_stopped_leaves_nothing(gwnet_here, tmp_path, monkeypatch):
    def stop(*_arguments, **_options):
        raise KeyboardInterrupt

    monkeypatch.setattr("gwnet.network.reports.Reports.__call__", stop)
    assert gwnet_here("demo", "here/deep").code == STOPPED
    assert list((tmp_path / "here").iterdir()) == []


@pytest.mark.slow
def test_gradients_by_round_with_their_rose(demo, tmp_path):
    ran = demo("gradient", "--aquifer", "upper", "--rounds", "--rose", tmp_path / "r.png", "--format", "csv")
    assert ran.code == DONE, ran.err
    rows = list(csv.DictReader(io.StringIO(ran.out)))
    assert len(rows) == 33
    assert {row["determined"] for row in rows} == {"true"}
    assert rows[0]["round"] == "2018-Q1"
    with Image.open(tmp_path / "r.png") as picture:
        assert picture.width > 1000


@pytest.mark.slow
def test_a_velocity_states_what_was_put_in(demo):
    asked = ("gradient", "--date", DAY, "--format", "json", "--conductivity", "20..60 m/d", "--porosity", "0.22")
    row = one(demo(*asked, "--wells", "W-01,W-02,W-04,W-06R,W-11,W-12,N1-U", "--unit", "ft"))
    assert row["velocity_lowest_ft_per_day"] < row["velocity_ft_per_day"] < row["velocity_highest_ft_per_day"]
    assert "20..60 m/d" in row["velocity_from"]


def test_of_three_wells_whose_gradient_is_not_significant_only_upper_limits_are_stated(demo):
    asked = ("gradient", "--date", DAY, "--format", "json", "--conductivity", "20..60 m/d", "--porosity", "0.22")
    row = one(demo(*asked, "--wells", "W-01,W-04,N1-U"))
    assert row["gradient"] is None
    assert row["velocity_m_per_day"] is None
    assert row["velocity_highest_m_per_day"] == pytest.approx(60 * row["gradient_upper_limit"] / 0.22, rel=1e-4)
    assert "taken from the 17 levels of 2026-02-17" in row["note"]


def test_vertical_gradients_one_row_a_pair_and_round(demo, tmp_path):
    asked = ("gradient", "--vertical", "--cluster", "N1", "--from", "2025-01-01", "--figure", tmp_path / "v.pdf")
    ran = demo(*asked, "--format", "csv")
    assert ran.code == DONE, ran.err
    rows = list(csv.DictReader(io.StringIO(ran.out)))
    assert [row["direction"] for row in rows] == ["downward", "downward", "upward", "not determined", "downward"]
    assert {(row["upper_well"], row["lower_well"]) for row in rows} == {("N1-U", "N1-L")}
    assert (tmp_path / "v.pdf").stat().st_size > 5_000


def test_local_gradients_one_row_a_well(demo):
    ran = demo("gradient", "--aquifer", "upper", "--date", "2025-08-19", "--local", "--format", "json")
    rows = json.loads(ran.out)
    assert len(rows) == 19
    assert all(row["neighbours"].count(",") == 4 for row in rows)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--vertical", "--rose", "x.png"), "--rose does not go with --vertical"),
        (("--wells", "A,B,C"), "--date is missing"),
        (("--rounds",), "--aquifer is missing"),
        (("--wells", "A,B,C", "--date", DAY, "--exclude", "A"), "--exclude does not go with --wells"),
    ],
)
def test_gradients_asked_wrongly(demo, arguments, said):
    ran = demo("gradient", *arguments)
    assert ran.code == WRONG_USAGE
    assert said in ran.err


@pytest.mark.slow
def test_a_change_with_its_volume(demo, tmp_path):
    asked = ("map", "--aquifer", "upper", "--date", DAY, "--change-from", "2025-02-18", "--storage", "0.12")
    told = one(demo(*asked, "--out", tmp_path / "c", "--format", "json"))
    assert sorted(path.name for path in (tmp_path / "c").iterdir()) == ["change.gpkg", "change.pdf", "change.png"]
    assert told["mean_change_m"] < -told["mean_change_uncertainty_m"] < 0
    assert told["water_m3"] == pytest.approx(0.12 * told["mean_change_m"] * told["area_m2"], rel=1e-4)


@pytest.mark.slow
def test_a_pair_of_maps(demo, tmp_path):
    asked = ("map", "--aquifer", "upper", "--date", DAY, "--paired-with", "2025-08-19", "--out", tmp_path / "p")
    rows = json.loads(demo(*asked, "--format", "json").out)
    assert [row["date"] for row in rows] == ["2025-08-19", DAY]
    assert rows[0]["interval_m"] == rows[1]["interval_m"]
    assert len(list((tmp_path / "p").iterdir())) == 4


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--change-from", "2025-02-18", "--paired-with", "2025-08-19"), "not both"),
        (("--storage", "0.1"), "give --change-from as well"),
        (("--change-from", "2025-02-18", "--base", "3"), "--base goes with maps of levels"),
    ],
)
def test_maps_asked_wrongly(demo, tmp_path, arguments, said):
    ran = demo("map", "--aquifer", "upper", "--date", DAY, "--out", tmp_path / "x", *arguments)
    assert ran.code == WRONG_USAGE
    assert said in ran.err
    assert not (tmp_path / "x").exists()


@pytest.mark.slow
def test_wells_ranked_by_worth(demo, tmp_path):
    ran = demo("worth", "--aquifer", "upper", "--date", "2025-08-19", "--out", tmp_path / "w", "--format", "json")
    rows = json.loads(ran.out)
    assert [row["rank"] for row in rows] == list(range(1, 20))
    assert sorted(path.name for path in (tmp_path / "w").iterdir()) == [
        "places.csv",
        "worth.csv",
        "worth.pdf",
        "worth.png",
    ]
    assert "error largest at A" in ran.err
