"""Every registered format, on the demo: written whole or not at all, named in the documentation, the same every time."""

import dataclasses
import hashlib
import json
import re

import pandas as pd
import pytest

import gwnet
from gwnet.errors import NotFoundError, OutputError, SettingsError
from gwnet.exchange.export import write_export
from gwnet.exchange.extract import WORLD, Extract, shapes_of
from gwnet.exchange.registry import OPTIONS, describe_formats, exchange_formats, find_format, register_format
from gwnet.records import Selection
from gwnet.store.session import open_store
from gwnet.store.snapshot import Snapshot

from ..helpers import ROOT

FORMATS = list(exchange_formats())


@pytest.fixture(scope="module")
def net(demo_record):
    with gwnet.open(demo_record) as net:
        yield net


@pytest.fixture(scope="module")
def record(demo_record):
    store = open_store(demo_record)
    with store.reading() as connection:
        yield Snapshot(connection)
    store.close()


def digests(path):
    """Return the digest of a file, or of each file of a folder by its name."""
    files = [path] if path.is_file() else sorted(part for part in path.rglob("*") if part.is_file())
    return {
        str(file.relative_to(path)): hashlib.sha256(file.read_bytes()).hexdigest() for file in files if file.is_file()
    }


@pytest.mark.slow
@pytest.mark.parametrize("name", FORMATS)
def test_every_format_is_written_from_the_demo_the_same_every_time_and_never_over_something(name, net, tmp_path):
    form = find_format(name)
    path = tmp_path / f"record{form.ending}"
    chosen = {"wells": ["W-01", "N1-U"]} if "wells" in form.takes else {}
    assert net.export(name, path, **chosen) == path
    first = digests(path)
    assert first
    with pytest.raises(OutputError, match="already"):
        net.export(name, path, **chosen)
    assert digests(path) == first
    again = tmp_path / "again"
    again.mkdir()
    assert digests(net.export(name, again / path.name, **chosen)) == first
    assert [part.name for part in tmp_path.iterdir() if part.name.startswith(".")] == []


@pytest.mark.parametrize("name", FORMATS)
def test_every_format_is_named_in_the_documentation(name):
    page = (ROOT / "gwnet" / "docs" / "exchange.md").read_text(encoding="utf-8")
    assert re.search(rf"^\| `{name}` \| (file|folder) ", page, re.MULTILINE)
    assert f"| `{name}` | " in describe_formats()
    assert set(find_format(name).takes) <= set(OPTIONS)


@pytest.mark.parametrize("name", FORMATS)
def test_nothing_is_left_of_an_export_that_fails(name, record, tmp_path):
    form = find_format(name)

    def fail(extract, path):
        (path if form.ending else path / "part.csv").write_text("half")
        raise RuntimeError("no room")

    with pytest.raises(OutputError, match="no room"):
        write_export(Extract(record), dataclasses.replace(form, write=fail), tmp_path / f"record{form.ending}")
    assert list(tmp_path.iterdir()) == []


def test_a_file_is_replaced_only_when_asked_and_a_folder_never(net, record, tmp_path):
    path = tmp_path / "wells.geojson"
    path.write_text("mine")
    with pytest.raises(OutputError, match="--replace"):
        net.export("geojson", path)
    assert path.read_text() == "mine"
    net.export("geojson", path, replace=True)
    assert json.loads(path.read_text())["name"] == "wells"

    folder = tmp_path / "tables"
    form = dataclasses.replace(
        find_format("geojson"), ending="", write=lambda extract, path: (path / "a.csv").write_text("a")
    )
    folder.mkdir()
    assert write_export(Extract(record), form, folder) == folder
    assert (folder / "a.csv").read_text() == "a"
    with pytest.raises(OutputError, match="remove it"):
        write_export(Extract(record), form, folder, replace=True)


def test_names_that_cannot_be_are_refused(net, tmp_path):
    with pytest.raises(SettingsError, match=r"no format 'shape'.*geojson"):
        net.export("shape", tmp_path / "wells.shp")
    with pytest.raises(OutputError, match=r"ends in \.geojson.*wells\.geojson"):
        net.export("geojson", tmp_path / "wells.json")
    (tmp_path / "folder.geojson").mkdir()
    with pytest.raises(OutputError, match="a folder of this name"):
        net.export("geojson", tmp_path / "folder.geojson", replace=True)
    with pytest.raises(OutputError, match="folder exists"):
        net.export("geojson", tmp_path / "nowhere" / "wells.geojson")
    with pytest.raises(NotFoundError):
        net.export("geojson", tmp_path / "wells.geojson", wells=["no such well"])
    assert [path.name for path in tmp_path.iterdir()] == ["folder.geojson"]


def test_options_that_a_format_does_not_take_are_refused(net, tmp_path, monkeypatch):
    whole = dataclasses.replace(find_format("geojson"), takes=("site",))
    monkeypatch.setattr("gwnet.exchange.registry.find_format", lambda name: whole)
    with pytest.raises(SettingsError, match="does not take --well, --unit"):
        net.export("geojson", tmp_path / "wells.geojson", wells=["P1"], unit="ft")
    assert list(tmp_path.iterdir()) == []


def test_a_format_is_registered_by_its_name_and_listed(net, monkeypatch):
    monkeypatch.setattr("gwnet.exchange.registry._REGISTERED", dict(exchange_formats()))
    exchange_formats.cache_clear()
    register_format("trial", "nothing", ending="", takes=())(lambda extract, path: None)
    try:
        assert "| `trial` | folder | nothing | none |" in describe_formats()
        assert net.export.formats().set_index("format").loc["trial", "holds"] == "nothing"
    finally:
        exchange_formats.cache_clear()


def test_an_extract_has_the_levels_that_are_printed_of_its_wells_and_dates(net, record):
    whole = Extract(record)
    pd.testing.assert_frame_equal(whole.levels, net.levels())
    well = str(record.wells["well"].iloc[0])
    start, end = pd.Timestamp("2024-01-01").date(), pd.Timestamp("2025-12-31").date()
    part = Extract(record, Selection.of([well], start=start, end=end))
    pd.testing.assert_frame_equal(part.levels, net.levels([well], start=start, end=end))
    assert part.wells["well"].tolist() == [well]
    assert set(part.of_wells(record.construction)["well"]) == {well}
    stages = part.of_dates(record.stages)
    days = stages["measured_at_utc"].dt.tz_convert(record.zone).dt.date
    assert 0 < len(stages) < len(record.stages)
    assert days.between(start, end).all()
    context = part.of_dates(record.context, "date")
    assert 0 < len(context) < len(record.context)
    assert context["date"].between(start, end).all()
    aquifer = str(record.wells["aquifer"].iloc[0])
    assert set(Extract(record, Selection.of(aquifer=aquifer)).wells["aquifer"]) == {aquifer}


def test_wells_have_the_newest_level_that_is_usable_or_a_bound(net, record):
    extract = Extract(record)
    table = extract.wells_with_levels.set_index("well")
    levels = net.levels()
    assert table["level_count"].sum() == len(levels)
    counted = levels[levels["usable"] | (levels["bound"] != "")]
    for well, own in counted.groupby("well"):
        newest = own.loc[own["measured_at_utc"].idxmax()]
        row = table.loc[well]
        assert row["last_measured_at_utc"] == newest["measured_at_utc"]
        assert row["last_bound"] == newest["bound"]
        assert row["last_water_elevation_m"] == pytest.approx(newest["water_elevation_m"], nan_ok=True)
    assert table.loc[[well for well in table.index if well not in set(counted["well"])], "last_status"].eq("").all()


def test_places_are_in_the_system_of_the_sites_or_of_the_world_where_these_differ(record):
    extract = Extract(record)
    site = record.sites["site"].iloc[0]
    assert extract.crs == record.sites["crs"].iloc[0]
    wells = extract.wells
    places = shapes_of(extract, wells)
    first = wells["easting"].first_valid_index()
    assert (places[first].x, places[first].y) == (wells.loc[first, "easting"], wells.loc[first, "northing"])
    nowhere = wells.assign(easting=float("nan"))
    assert shapes_of(extract, nowhere) == [None] * len(wells)

    class Elsewhere(Extract):
        crs = WORLD

    placed = shapes_of(Elsewhere(record), wells[wells["site"] == site])[first]
    assert -180 <= placed.x <= 180
    assert -90 <= placed.y <= 90
