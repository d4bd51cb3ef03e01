"""Geometry of the user's own: read, brought into the site's system, and refused with what to do; constructed."""

import json
import math

import geopandas
import numpy as np
import pytest
import shapely

from gwnet.errors import SettingsError, UnreadableFileError
from gwnet.exchange import feature_files
from gwnet.exchange.feature_files import read_features

UTM = "EPSG:25832"
LINE = shapely.LineString([(500_000, 5_400_000), (501_000, 5_400_500)])


def saved(path, *shapes, layer="one", crs=UTM, **columns):
    geopandas.GeoDataFrame(columns or {"number": range(len(shapes))}, geometry=list(shapes), crs=crs).to_file(
        path, layer=layer
    )
    return path


def test_a_barrier_comes_in_the_site_s_system(tmp_path):
    """The same line in longitude and latitude; back to a millimetre."""
    file = tmp_path / "walls.geojson"
    geopandas.GeoSeries([LINE], crs=UTM).to_crs(4326).to_file(file, driver="GeoJSON", COORDINATE_PRECISION=10)
    features = read_features(UTM, barriers=file)
    assert np.asarray(features.barriers[0].coords) == pytest.approx(np.asarray(LINE.coords), abs=1e-3)
    assert features.sources == ("barriers from walls.geojson (1)",)
    assert math.isnan(features.base_m)


def test_parts_of_lines_are_barriers_each(tmp_path):
    both = shapely.MultiLineString([LINE, shapely.LineString([(0, 0), (1, 1)])])
    assert len(read_features(UTM, barriers=saved(tmp_path / "w.gpkg", both)).barriers) == 2


def test_a_layer_is_named_where_there_are_several(tmp_path):
    file = saved(tmp_path / "w.gpkg", LINE, layer="faults")
    saved(file, shapely.Point(1, 1), layer="wells")
    assert len(read_features(UTM, barriers=f"{file}:faults").barriers) == 1
    with pytest.raises(
        UnreadableFileError, match=r"several layers: faults, wells\. Name one, for example w.gpkg:faults"
    ):
        read_features(UTM, barriers=file)
    with pytest.raises(UnreadableFileError, match=r"no layer 'fault'\. Its layers: faults, wells"):
        read_features(UTM, barriers=f"{file}:fault")
    with pytest.raises(SettingsError, match="It holds Point, but barriers are lines"):
        read_features(UTM, barriers=f"{file}:wells")


def test_a_boundary_is_the_union_of_its_polygons(tmp_path):
    file = saved(tmp_path / "b.gpkg", shapely.box(0, 0, 2, 2), shapely.box(1, 0, 4, 2))
    assert read_features(UTM, boundary=file).boundary.area == pytest.approx(8.0)
    with pytest.raises(SettingsError, match="a boundary is a polygon"):
        read_features(UTM, boundary=saved(tmp_path / "l.gpkg", LINE))


def test_rivers_with_heads_of_every_kind(tmp_path):
    third = shapely.LineString([(0, 0, 41.0), (10, 0, 40.0)])
    file = saved(
        tmp_path / "r.gpkg",
        LINE,
        LINE,
        LINE,
        name=["Orle", "pond", None],
        head_m=[None, 39.5, None],
        head_start_m=[42.0, None, None],
        head_end_m=[41.0, None, None],
    )
    first, second, last = read_features(UTM, rivers=file).rivers
    assert (first.name, first.head_start_m, first.head_end_m) == ("Orle", 42.0, 41.0)
    assert (second.head_start_m, second.head_end_m) == (39.5, 39.5)
    assert (last.name, last.stated) == ("river 3", False)
    (high,) = read_features(UTM, rivers=saved(tmp_path / "z.gpkg", third)).rivers
    assert high.stated
    assert [corner[2] for corner in high.line.coords] == [41.0, 40.0]


def test_a_head_that_is_no_number(tmp_path):
    file = saved(tmp_path / "r.gpkg", LINE, name=["Orle"], head_m=["high"])
    with pytest.raises(SettingsError, match="head_m of Orle is 'high', not a number"):
        read_features(UTM, rivers=file)


def test_all_base_layers_of_a_file_unless_one_is_named(tmp_path):
    file = saved(tmp_path / "base.gpkg", shapely.box(0, 0, 1, 1), layer="buildings")
    saved(file, LINE, layer="roads")
    assert [name for name, _ in read_features(UTM, base_layers=[file]).layers] == ["buildings", "roads"]
    (only,) = read_features(UTM, base_layers=[f"{file}:roads"]).layers
    assert only[0] == "roads"
    assert only[1][0].equals(LINE)


def test_files_that_cannot_be_read_say_why(tmp_path, monkeypatch):
    with pytest.raises(UnreadableFileError, match=r"gone.gpkg: There is no such file\. Give FILE or FILE:LAYER"):
        read_features(UTM, barriers=tmp_path / "gone.gpkg")
    shape = tmp_path / "walls.shp"
    shape.write_text("x")
    with pytest.raises(UnreadableFileError, match=r"not from \.shp\. Save it as GeoPackage or GeoJSON"):
        read_features(UTM, barriers=shape)
    broken = tmp_path / "walls.gpkg"
    broken.write_bytes(b"SQLite format 3\0" + b"\0" * 200)
    with pytest.raises(UnreadableFileError, match="cannot be read as geometry"):
        read_features(UTM, barriers=broken)
    empty = tmp_path / "empty.geojson"
    empty.write_text(json.dumps({"type": "FeatureCollection", "features": []}))
    with pytest.raises(UnreadableFileError, match=r"holds no geometry|No layer has geometry"):
        read_features(UTM, barriers=empty)
    many = saved(tmp_path / "many.gpkg", LINE, LINE, LINE)
    monkeypatch.setattr(feature_files, "MOST_FEATURES", 2)
    with pytest.raises(UnreadableFileError, match="3 features; 2 are read at most"):
        read_features(UTM, barriers=many)
    monkeypatch.setattr(feature_files, "MOST_FEATURES", 3)
    monkeypatch.setattr(feature_files, "MOST_CORNERS", 5)
    with pytest.raises(UnreadableFileError, match="6 corners; 5 are read at most"):
        read_features(UTM, barriers=many)
    monkeypatch.setattr(feature_files, "LARGEST_FILE", 10)
    with pytest.raises(UnreadableFileError, match="MB are read at most"):
        read_features(UTM, barriers=many)


@pytest.mark.filterwarnings("ignore:'crs' was not provided")
def test_a_layer_without_coordinate_system_is_refused(tmp_path):
    file = saved(tmp_path / "w.gpkg", LINE, crs=None)
    with pytest.raises(UnreadableFileError, match="has no coordinate system"):
        read_features(UTM, barriers=file)


def test_places_that_the_site_s_system_does_not_know(tmp_path):
    file = saved(tmp_path / "w.gpkg", shapely.LineString([(0, 95), (1, 99)]), crs="EPSG:4326")
    with pytest.raises(UnreadableFileError, match="cannot be brought into EPSG:25832"):
        read_features(UTM, barriers=file)
