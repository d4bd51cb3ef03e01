"""ODS, GeoPackage and Parquet whose sheets, layers and tables are ours are loaded as they are; what is worked out is not."""

import io
import zipfile

import geopandas
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pyogrio
import pytest
import shapely

import gwnet
from gwnet import network
from gwnet.errors import FileRejectedError, IngestError, UnreadableFileError
from gwnet.ingest.mapping.named_sheets import read_named
from gwnet.ingest.readers import NAMED, read_sheets

SITE = {"site": ["S"], "crs": ["EPSG:25832"], "vertical_datum": ["local"], "length_unit": ["m"], "time_zone": ["UTC"]}
WELLS = {"site": ["S", "S"], "well": ["A", "B"], "ground_elevation_ft": [310.5, 311.0]}
PLACES = [(371000.0, 6051000.0), (371100.0, 6051100.0)]


def ods(**sheets):
    """Return the bytes of an ODS file of sheets, each a list of rows; a cell that begins with = is a formula of 7."""

    def cell(value):
        if isinstance(value, float):
            return f'<table:table-cell office:value-type="float" office:value="{value}"><text:p>{value}</text:p></table:table-cell>'
        if value.startswith("="):
            return f'<table:table-cell table:formula="of:{value}" office:value-type="float" office:value="7"><text:p>7</text:p></table:table-cell>'
        return f'<table:table-cell office:value-type="string"><text:p>{value}</text:p></table:table-cell>'

    tables = "".join(
        f'<table:table table:name="{name}">'
        + "".join(f"<table:table-row>{''.join(map(cell, row))}</table:table-row>" for row in rows)
        + "</table:table>"
        for name, rows in sheets.items()
    )
    spaces = "".join(
        f' xmlns:{name}="urn:oasis:names:tc:opendocument:xmlns:{name}:1.0"' for name in ("office", "table", "text")
    )
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w") as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr("content.xml", f"<office:document-content{spaces}>{tables}</office:document-content>")
    return target.getvalue()


def rows_of(table):
    return [list(table), *map(list, zip(*table.values(), strict=True))]


@pytest.fixture
def net(tmp_path):
    network.init(tmp_path / "record.sqlite")
    with gwnet.open(tmp_path / "record.sqlite") as net:
        yield net


def write(folder, ending, wells):
    """Write a site and wells as files of an ending; return what is to be loaded."""
    frame = pd.DataFrame(wells)
    if ending == ".ods":
        (folder / "net.ods").write_bytes(ods(sites=rows_of(SITE), wells=rows_of(wells), **{"(notes)": [["mine"]]}))
        return [folder / "net.ods"]
    if ending == ".gpkg":
        pyogrio.write_dataframe(pd.DataFrame(SITE), folder / "net.gpkg", layer="sites")
        places = geopandas.GeoDataFrame(frame, geometry=[shapely.Point(place) for place in PLACES], crs="EPSG:25832")
        pyogrio.write_dataframe(places, folder / "net.gpkg", layer="wells", append=True)
        return [folder / "net.gpkg"]
    for name, table in (("sites", pd.DataFrame(SITE)), ("wells", frame)):
        pq.write_table(pa.Table.from_pandas(table), folder / f"{name}.parquet")
    return [folder / "sites.parquet", folder / "wells.parquet"]


@pytest.mark.parametrize("ending", NAMED)
def test_tables_are_loaded_by_the_names_of_their_sheets(ending, net, tmp_path):
    east, north = zip(*PLACES, strict=True)
    wells = WELLS | {"easting": list(east), "northing": list(north)}
    result = net.load(write(tmp_path, ending, wells), by="A")
    assert {file.table: (file.added, file.warnings) for file in result.files} == {"sites": (1, ()), "wells": (2, ())}
    read = net.wells().set_index("well")
    assert read.loc["A", "easting"] == 371000.0
    assert read.loc["B", "ground_elevation_m"] == pytest.approx(311.0 * 0.3048)


def test_places_in_a_system_that_need_not_be_the_site_s_are_refused(net, tmp_path):
    with pytest.raises(UnreadableFileError, match=r"wells are in EPSG:25832.*gwnet import try"):
        net.load(write(tmp_path, ".gpkg", WELLS), by="A")
    assert len(net.sites()) == 0
    world = geopandas.GeoDataFrame(WELLS, geometry=[shapely.Point(7, 54), shapely.Point(7.1, 54)], crs="EPSG:4326")
    world.to_file(tmp_path / "world.gpkg", layer="wells")
    sheet = read_named("world.gpkg", (tmp_path / "world.gpkg").read_bytes())[0]
    assert sheet.headings[-2:] == ["longitude", "latitude"]


def test_formulas_and_cells_beyond_the_headings_are_rejected(net, tmp_path):
    rows = [["site", "well", "easting", "northing"], ["S", "A", "=1+6", 2.0], ["S", "B", 1.0, 2.0, "beyond"]]
    (tmp_path / "net.ods").write_bytes(ods(sites=rows_of(SITE), wells=rows))
    with pytest.raises(FileRejectedError) as refused:
        net.load([tmp_path / "net.ods"], by="A")
    assert {(problem.row, problem.problem) for problem in refused.value.rejections} == {
        (2, "formula"),
        (3, "row-too-long"),
    }
    assert len(net.sites()) == 0


@pytest.mark.parametrize("ending", NAMED)
def test_what_is_no_such_file_is_refused(ending, net, tmp_path):
    (tmp_path / f"wells{ending}").write_bytes(b"site,well\nS,A\n")
    with pytest.raises(UnreadableFileError):
        net.load([tmp_path / f"wells{ending}"], by="A")
    with pytest.raises(UnreadableFileError, match="no filled table"):
        read_sheets("net.ods", ods(**{"(notes)": [["mine"]]}))


def test_levels_without_what_was_recorded_are_refused_and_other_results_hold_no_tables(net, tmp_path):
    net.load(write(tmp_path, ".ods", WELLS | {"easting": [1.0, 2.0], "northing": [1.0, 2.0]}), by="A")
    text = "site,well,measured_at,depth_to_water_m,measuring_point_elevation_m,water_elevation_m,uncertainty_m,review\n"
    (tmp_path / "levels.csv").write_text(f"{text}S,A,2024-01-01T10:00Z,1,10,9,0.01,approved\n")
    with pytest.raises(IngestError, match="reduced levels without all that was recorded of them"):
        net.load([tmp_path / "levels.csv"], by="A")
    assert len(net.levels()) == 0
    (tmp_path / "package" / "data").mkdir(parents=True)
    (tmp_path / "package" / "datapackage.json").write_text("{}")
    with pytest.raises(IngestError, match="holds no tables"):
        net.load([tmp_path / "package"], by="A")
