"""Reports whose maps stand on the user's own layers. The invented demo record; layers constructed."""

import hashlib
import json

import geopandas
import pytest
import shapely

import gwnet
from gwnet.errors import DefinitionError, ReportError

HEAD = 'title = "Maps"\nsections = ["maps", "changes"]\nweb_page = false\n[select]\naquifers = ["upper"]\n'


@pytest.fixture
def layers(demo_store, tmp_path):
    """Give a GeoPackage with a river that crosses the wellfield."""
    with gwnet.open(demo_store) as net:
        wells = net.wells()
        crs = net.sites()["crs"].iloc[0]
    west, east = wells["easting"].min(), wells["easting"].max()
    middle = wells["northing"].mean()
    river = shapely.LineString([(west, middle), (east, middle + 50)])
    path = tmp_path / "own.gpkg"
    geopandas.GeoDataFrame({"name": ["River"]}, geometry=[river], crs=crs).to_file(path, layer="rivers", driver="GPKG")
    return path


@pytest.mark.slow
def test_a_map_on_own_layers_is_drawn_and_the_layers_are_stated_by_digest(demo_store, layers, tmp_path):
    plain, own = tmp_path / "plain.toml", tmp_path / "own.toml"
    plain.write_text(HEAD)
    own.write_text(HEAD + '[map]\nbase_layers = ["own.gpkg"]\n[storage]\nupper = 0.12\n')
    with gwnet.open(demo_store) as net:
        made = {path.stem: net.report(path, "2026-Q1", tmp_path / path.stem) for path in (plain, own)}
    manifests = {name: json.loads(files[1].read_text()) for name, files in made.items()}
    assert manifests["plain"]["inputs"] == {}
    assert manifests["own"]["inputs"] == {"own.gpkg": hashlib.sha256(layers.read_bytes()).hexdigest()}
    assert manifests["own"]["figures"]["map-1"] != manifests["plain"]["figures"]["map-1"]
    from pypdf import PdfReader

    text = " ".join(page.extract_text() for page in PdfReader(made["own"][0]).pages)
    assert "storage coefficient 0.12" in " ".join(text.split())


def test_a_layer_that_is_missing_or_broken_stops_the_report(demo_store, tmp_path):
    own = tmp_path / "own.toml"
    own.write_text(HEAD + '[map]\nbase_layers = ["own.gpkg"]\n')
    with gwnet.open(demo_store) as net:
        with pytest.raises(DefinitionError, match="cannot be read"):
            net.report(own, "2026-Q1", tmp_path / "out")
        (tmp_path / "own.gpkg").write_bytes(b"no layers")
        with pytest.raises(gwnet.errors.GwnetError, match=r"own\.gpkg"):
            net.report(own, "2026-Q1", tmp_path / "out")
    assert not (tmp_path / "out").exists()


@pytest.mark.slow
def test_one_round_is_reported_by_its_name(demo_store, tmp_path):
    own = tmp_path / "own.toml"
    own.write_text('title = "Round"\nsections = ["planned_and_done", "levels"]\nweb_page = false\n')
    with gwnet.open(demo_store) as net:
        pdf, manifest, *_ = net.report(own, "", tmp_path / "out", round="2025-Q3")
        assert json.loads(manifest.read_text())["rounds"] == ["2025-Q3"]
        with pytest.raises(gwnet.errors.NotFoundError, match="2025-Q9"):
            net.report(own, "", tmp_path / "out", round="2025-Q9")
    assert pdf.is_file()


@pytest.mark.parametrize("name", ["annual", "trends", "round", "quarterly"])
def test_every_definition_that_travels_along_is_whole(name):
    from gwnet.reporting.definition.parse import load_definition

    got = load_definition(name)
    assert got.web_page
    # The cover states the results, so the first section is the first evidence for them.
    assert got.sections[0] == ("seasons" if name == "trends" else "thresholds")
    assert "summary" not in got.sections
    assert "cautions" in got.sections
    assert "sign_off" in got.sections


def test_a_report_needs_a_period_or_a_round(demo_store, tmp_path):
    with gwnet.open(demo_store) as net, pytest.raises(ReportError):
        net.report("quarterly", "", tmp_path / "out")
