"""Wells as GeoJSON, against the standard's rules and a reader that is not ours."""

import json

import geopandas
import numpy as np
import pyogrio
import pytest

import gwnet
from gwnet.exchange import geojson
from gwnet.units import metres_per


@pytest.fixture(scope="module")
def net(demo_record):
    with gwnet.open(demo_record) as net:
        yield net


@pytest.fixture(scope="module")
def written(net, tmp_path_factory):
    return net.export("geojson", tmp_path_factory.mktemp("geojson") / "wells.geojson")


def test_the_file_keeps_the_rules_of_rfc_7946(written):
    collection = json.loads(written.read_text(encoding="utf-8"))
    assert collection["type"] == "FeatureCollection"
    assert "crs" not in collection  # RFC 7946, section 4
    identifiers = [feature["id"] for feature in collection["features"]]
    assert len(set(identifiers)) == len(identifiers) > 20
    for feature in collection["features"]:
        assert set(feature) == {"type", "id", "geometry", "properties"}
        if feature["geometry"] is not None:
            longitude, latitude = feature["geometry"]["coordinates"]
            assert -180 <= longitude <= 180
            assert -90 <= latitude <= 90


def test_another_reader_finds_the_wells_where_they_are_with_their_newest_levels(written, net):
    read = geopandas.read_file(written).set_index("well")
    wells = net.wells().set_index("well")
    assert read.crs.to_epsg() == 4326
    assert sorted(read.index) == sorted(wells.index)
    back = read.to_crs(net.sites()["crs"].iloc[0])
    given = wells["easting"].notna()
    assert given.any()
    # eight digits of a degree are about a millimetre
    assert np.abs(back.geometry.x[given] - wells["easting"][given]).max() < 0.002
    assert np.abs(back.geometry.y[given] - wells["northing"][given]).max() < 0.002
    levels = net.levels()
    usable = (
        levels[levels["usable"] & (levels["well"] == "W-01")] if "W-01" in wells.index else levels[levels["usable"]]
    )
    newest = usable.sort_values("measured_at_utc").iloc[-1]
    row = read.loc[newest["well"]]
    if row["last_bound"] == "":
        assert row["last_water_elevation_m"] == pytest.approx(newest["water_elevation_m"], abs=1e-6)


def test_a_well_without_coordinates_has_no_place_and_feet_are_asked_for_by_name(net, written, tmp_path):
    in_feet = pyogrio.read_dataframe(net.export("geojson", tmp_path / "feet.geojson", unit="ft")).set_index("well")
    in_metres = pyogrio.read_dataframe(written).set_index("well")
    assert "ground_elevation_m" not in in_feet
    factor = metres_per("ft")
    assert np.allclose(
        in_feet["ground_elevation_ft"] * factor, in_metres["ground_elevation_m"], atol=1e-5, equal_nan=True
    )


def test_a_damaged_file_is_refused_by_the_other_reader(written, tmp_path):
    broken = tmp_path / "broken.geojson"
    broken.write_text(written.read_text().replace('"coordinates": [', '"coordinates": ["', 1))
    with pytest.raises((RuntimeError, ValueError)):
        pyogrio.read_dataframe(broken)
    assert geojson.write_geojson.__doc__
