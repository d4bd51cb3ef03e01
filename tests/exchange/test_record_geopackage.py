"""The record as GeoPackage, against the format's validator and readers that are not ours."""

import shutil
import sqlite3
from xml.etree import ElementTree

import geopandas
import numpy as np
import pandas as pd
import pyogrio
import pytest

import gwnet
from gwnet.exchange import record_geopackage
from gwnet.units import metres_per

from .test_geopackage import validated

WELLS = ["N1-U", "W-01", "W-06", "P-1"]


@pytest.fixture(scope="module")
def net(demo_record):
    with gwnet.open(demo_record) as net:
        yield net


@pytest.fixture(scope="module")
def package(net, tmp_path_factory):
    return net.export("geopackage", tmp_path_factory.mktemp("gpkg") / "record.gpkg", wells=WELLS)


def test_the_validator_accepts_it_and_refuses_a_damaged_copy(package, tmp_path):
    done = validated(package)
    assert done.returncode == 0, done.stdout + done.stderr
    damaged = shutil.copy(package, tmp_path / "damaged.gpkg")
    with sqlite3.connect(damaged) as database:
        database.execute("UPDATE gpkg_contents SET srs_id = 4711 WHERE table_name = 'wells'")
    database.close()
    assert validated(damaged).returncode != 0


def test_another_reader_finds_wells_in_their_places_with_dates_as_dates(package, net):
    read = geopandas.read_file(package, layer="wells").set_index("well")
    wells = net.wells().set_index("well").loc[read.index]
    assert sorted(read.index) == sorted(WELLS)
    assert read.crs.to_epsg() == 25832
    assert np.allclose(read.geometry.x, wells["easting"])
    assert np.allclose(read["screen_top_m"], wells["screen_top_m"], equal_nan=True)
    kinds = dict(zip(*(pyogrio.read_info(package, layer="wells")[part] for part in ("fields", "dtypes")), strict=True))
    assert kinds["drilled_on"].startswith("datetime64[D]")
    assert pd.Timestamp(read["drilled_on"].iloc[0]).date() == wells["drilled_on"].iloc[0]
    assert geopandas.read_file(package, layer="measuring_points").geometry.notna().all()


def test_another_reader_finds_the_levels_that_are_printed(package, net):
    read = pyogrio.read_dataframe(package, layer="levels")
    levels = net.levels(WELLS)
    for column in ("water_elevation_m", "uncertainty_m", "depth_to_water_m"):
        assert np.array_equal(read[column], levels[column], equal_nan=True)
    assert read["usable"].tolist() == levels["usable"].tolist()
    assert (pd.to_datetime(read["measured_at_utc"], utc=True) == levels["measured_at_utc"]).all()
    assert {"construction", "thresholds", "logger_downloads", "rounds"} <= set(pyogrio.list_layers(package)[:, 0])


def test_styles_and_descriptions_are_in_it(package):
    styles = pyogrio.read_dataframe(package, layer="layer_styles").set_index("f_table_name")
    assert {"wells", "measuring_points"} <= set(styles.index)
    style = ElementTree.fromstring(styles.loc["wells", "styleSLD"])
    assert style.tag == "{http://www.opengis.net/sld}StyledLayerDescriptor"
    assert [label.text for label in style.iter("{http://www.opengis.net/ogc}PropertyName")] == ["well"]
    described = pyogrio.read_dataframe(package, layer="column_descriptions")
    for layer in ("wells", "levels", "construction"):
        fields = set(pyogrio.read_info(package, layer=layer)["fields"])
        assert set(described.loc[described["table_name"] == layer, "column_name"]) == fields
    with sqlite3.connect(package) as database:
        words = dict(database.execute("SELECT table_name, description FROM gpkg_contents"))
    database.close()
    assert words["levels"] == "A reduced level, worked out from the readings."
    assert record_geopackage.write_geopackage.__doc__


def test_feet_are_asked_for_by_name(net, tmp_path):
    path = net.export("geopackage", tmp_path / "feet.gpkg", wells=["W-01"], unit="ft")
    read = pyogrio.read_dataframe(path, layer="levels")
    assert np.allclose(
        read["water_elevation_ft"] * metres_per("ft"), net.levels(["W-01"])["water_elevation_m"], equal_nan=True
    )
    units = pyogrio.read_dataframe(path, layer="column_descriptions").set_index(["table_name", "column_name"])["unit"]
    assert units["levels", "water_elevation_ft"] == "ft"
