"""Maps as GeoPackage, against the format's own validator and a reader that is not ours."""

import datetime as dt
import hashlib
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely

from gwnet.analysis.maps.features import MapFeatures
from gwnet.analysis.maps.potentiometric import make_map
from gwnet.analysis.maps.same_day import same_day_set
from gwnet.errors import OutputError, SettingsError
from gwnet.exchange.geopackage import map_geopackage

from ..analysis.frames import field, wells

DAY = dt.date(2026, 3, 17)


def made_map(**options):
    site, taken = field()
    taken.loc[taken["well"] == "MW-03", ["usable", "unusable_reason"]] = [False, "dry"]
    nowhere = wells(("MW-99", np.nan, np.nan, {}))
    control = same_day_set(
        taken, pd.concat([site, nowhere], ignore_index=True), aquifer="upper", date=DAY, time_zone="UTC+01:00"
    )
    return make_map(
        control, aquifer="upper", date=DAY, **{"crs": "EPSG:25832", "vertical_datum": "DHHN2016", **options}
    )


@pytest.fixture(scope="module")
def drawn():
    return made_map()


@pytest.fixture(scope="module")
def package(drawn, tmp_path_factory):
    return written(tmp_path_factory.mktemp("gpkg") / "map.gpkg", drawn)


def written(path, result):
    path.write_bytes(map_geopackage(result))
    return path


def test_layers_and_their_columns(package):
    layers = dict(pyogrio.list_layers(package))
    assert layers == {
        "control": "Point",
        "contours": "LineString",
        "arrows": "LineString",
        "boundary": "Polygon",
    }
    fields = {name: list(pyogrio.read_info(package, layer=name)["fields"]) for name in layers}
    assert {"well", "water_elevation_m", "uncertainty_m", "used", "reason", "source"} <= set(fields["control"])
    assert {"elevation_m", "inferred"} <= set(fields["contours"])
    assert {"azimuth_deg", "gradient"} <= set(fields["arrows"])
    assert all(pyogrio.read_info(package, layer=name)["crs"] == "EPSG:25832" for name in layers)


def test_control_read_back(package, drawn):
    read = pyogrio.read_dataframe(package, layer="control").set_index("well")
    assert len(read) == 15
    assert not read.loc["MW-03", "used"]
    assert read.loc["MW-03", "reason"] == "dry: the level is only a bound"
    assert read.loc["MW-99", "reason"] == "no measurement on the date"
    assert read.loc["MW-99", "geometry"] is None or read.loc["MW-99", "geometry"].is_empty
    used = drawn.used.set_index("well")
    assert set(read.loc[used.index, "source"]) == {"manual"}
    for well in used.index:
        assert read.loc[well, "water_elevation_m"] == used.loc[well, "water_elevation_m"]
        assert read.loc[well, "used"]
        assert (read.loc[well, "geometry"].x, read.loc[well, "geometry"].y) == (
            used.loc[well, "easting"],
            used.loc[well, "northing"],
        )
    assert str(read["measured_at_utc"].dtype).endswith("UTC]")
    assert read.loc["MW-01", "measured_at_utc"].isoformat() == "2026-03-17T08:00:00+00:00"


def test_contours_arrows_and_boundary_read_back(package, drawn):
    contours = pyogrio.read_dataframe(package, layer="contours")
    assert contours["elevation_m"].tolist() == [line.level_m for line in drawn.contours]
    assert contours["inferred"].astype(bool).tolist() == [line.inferred for line in drawn.contours]
    assert (
        np.asarray(contours.geometry.iloc[0].coords).tolist()
        == np.column_stack([drawn.contours[0].x, drawn.contours[0].y]).tolist()
    )
    arrows = pyogrio.read_dataframe(package, layer="arrows")
    assert arrows["azimuth_deg"].tolist() == [arrow.azimuth_deg for arrow in drawn.arrows]
    tail, tip = np.asarray(arrows.geometry.iloc[0].coords)
    turn = np.degrees(np.arctan2(tip[0] - tail[0], tip[1] - tail[1])) % 360
    assert turn == pytest.approx(drawn.arrows[0].azimuth_deg)
    boundary = pyogrio.read_dataframe(package, layer="boundary")
    assert boundary.loc[0, ["aquifer", "date", "vertical_datum"]].tolist() == ["upper", "2026-03-17", "DHHN2016"]
    assert boundary.geometry.iloc[0].exterior.is_ring


def test_sides_and_ground_below_heads_are_polygons(tmp_path):
    """A barrier parts the field in two; the ground stands at 39.5 m, below the heads of its west."""
    wall = shapely.LineString([(451_000, 5_399_000), (451_050, 5_403_000)])
    site, taken = field(24)
    control = same_day_set(
        taken, site.assign(ground_elevation_m=39.5), aquifer="upper", date=DAY, time_zone="UTC+01:00"
    )
    result = make_map(
        control,
        aquifer="upper",
        date=DAY,
        crs="EPSG:25832",
        features=MapFeatures(barriers=(wall,)),
        check_ground=True,
    )
    file = written(tmp_path / "map.gpkg", result)
    boundary = pyogrio.read_dataframe(file, layer="boundary")
    assert len(boundary) == 2
    assert not boundary.intersects(wall).any()
    flowing = pyogrio.read_dataframe(file, layer="above_ground")
    assert flowing.area.sum() == pytest.approx(result.above_ground.area)
    assert set(flowing["aquifer"]) == {"upper"}
    assert validated(file).returncode == 0


def test_the_format_s_version(package):
    """GeoPackage 1.3 (OGC 12-128r17), requirement 2: application id GPKG and user version 10300."""
    with sqlite3.connect(package) as database:
        assert database.execute("PRAGMA application_id").fetchone()[0] == 0x47504B47
        assert database.execute("PRAGMA user_version").fetchone()[0] == 10300
    database.close()


@pytest.mark.slow
def test_same_map_same_bytes(drawn, package, tmp_path):
    """Also from other processes, with another order of hashing and another number of threads."""
    again = written(tmp_path / "again.gpkg", drawn)
    assert digest(again) == digest(package)
    program = (
        "import sys; sys.path.insert(0, sys.argv[2]); import datetime as dt; "
        "from frames import field; from gwnet.analysis.maps.potentiometric import make_map; "
        "from gwnet.analysis.maps.same_day import same_day_set; from gwnet.exchange.geopackage import map_geopackage; "
        "site, taken = field(); day = dt.date(2026, 3, 17); "
        "control = same_day_set(taken, site, aquifer='upper', date=day, time_zone='UTC+01:00'); "
        "result = make_map(control, aquifer='upper', date=day, crs='EPSG:25832'); "
        "open(sys.argv[1], 'wb').write(map_geopackage(result))"
    )
    frames = Path(__file__).resolve().parents[1] / "analysis"
    root = frames.parents[1]
    digests = []
    for seed in ("1", "2"):
        target = tmp_path / f"{seed}.gpkg"
        subprocess.run(
            [sys.executable, "-c", program, str(target), str(frames)],
            check=True,
            cwd=root,
            env={"PYTHONHASHSEED": seed, "OPENBLAS_NUM_THREADS": seed, "PYTHONPATH": str(root), "PATH": ""},
        )
        digests.append(digest(target))
    assert digests[0] == digests[1]


def digest(path):
    return hashlib.sha256(path.read_bytes()).hexdigest()


def validated(path):
    pytest.importorskip(
        "osgeo_utils", reason="the GeoPackage validator is not installed (gdal-utils, without its dependencies)"
    )
    return subprocess.run(
        [sys.executable, "-m", "osgeo_utils.samples.validate_gpkg", "--extra", "--warning-as-error", str(path)],
        capture_output=True,
        text=True,
        check=False,
    )


def test_validator_accepts_it(package):
    """The validator that the GDAL project publishes, with warnings as errors."""
    done = validated(package)
    assert done.returncode == 0, done.stdout + done.stderr


def test_validator_accepts_empty_layers(tmp_path):
    """An interval larger than the range gives no contour; the layer is there all the same."""
    path = written(tmp_path / "empty.gpkg", made_map(interval_m=1000.0))
    assert pyogrio.read_info(path, layer="contours")["features"] == 0
    done = validated(path)
    assert done.returncode == 0, done.stdout + done.stderr


def test_validator_refuses_a_damaged_copy(package, tmp_path):
    """So that its silence above means something."""
    damaged = tmp_path / "damaged.gpkg"
    shutil.copy(package, damaged)
    database = sqlite3.connect(damaged)
    database.execute("PRAGMA application_id = 1")
    database.commit()
    database.close()
    assert validated(damaged).returncode != 0


def test_another_reader_lists_it(package):
    """Debian's ogrinfo, an older release than the library that wrote the file."""
    program = shutil.which("ogrinfo")
    if program is None:
        pytest.skip("no ogrinfo: install gdal-bin to run this test")
    done = subprocess.run([program, "-so", str(package), "control"], capture_output=True, text=True, check=True)
    assert "Feature Count: 15" in done.stdout
    assert "Warning" not in done.stderr


def test_a_geopackage_that_cannot_be_made_is_an_error_of_output(drawn, monkeypatch):
    def fails(*args, **kwargs):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(pyogrio, "write_dataframe", fails)
    with pytest.raises(OutputError, match="cannot be written: No space left on device"):
        map_geopackage(drawn)


def test_a_map_without_coordinate_system_is_refused():
    with pytest.raises(SettingsError, match="no coordinate system"):
        map_geopackage(made_map(crs=""))


def test_an_unknown_coordinate_system_is_refused():
    with pytest.raises(SettingsError, match="'EPSG:1' is not known"):
        map_geopackage(made_map(crs="EPSG:1"))
