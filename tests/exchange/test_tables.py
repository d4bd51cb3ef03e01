"""The tables of an export: what can be loaded comes back as it was, on the demo and in feet."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

import gwnet
from gwnet import network
from gwnet.exchange.extract import Extract
from gwnet.exchange.tables import export_tables, levels_table, worked_out
from gwnet.records import Selection
from gwnet.store.contract import BY_NAME
from gwnet.store.fetch.levels import level_records
from gwnet.store.session import open_store
from gwnet.store.snapshot import Snapshot

#: Columns of levels that are numbers of rows, or were decided by people and not read.
NOT_READ = ["event_id"]


@pytest.fixture(scope="module")
def record(demo_record):
    store = open_store(demo_record)
    with store.reading() as connection:
        yield Snapshot(connection)
    store.close()


@pytest.fixture(scope="module")
def tables(record):
    return {table.name: table for table in export_tables(Extract(record))}


def test_every_filled_table_of_the_record_is_exported_whole(tables, record):
    given = {name: table for name, table in tables.items() if table.is_given}
    assert set(given) <= set(BY_NAME)
    assert {"sites", "wells", "construction", "measuring_points", "deployments", "level_events", "stages"} <= set(given)
    for name in ("wells", "construction", "measuring_points", "instruments", "tape_checks", "deployments", "stages"):
        assert len(given[name].frame) == len(getattr(record, name)), name
    assert len(given["level_events"].frame) == len(level_records(record.connection))
    pd.testing.assert_series_equal(
        tables["levels"].frame["water_elevation_m"], Extract(record).levels["water_elevation_m"]
    )
    assert len(levels_table(Extract(record)).frame) == len(tables["levels"].frame)


def test_columns_have_kinds_units_and_meanings(tables):
    for table in tables.values():
        assert [column.name for column in table.columns] == [str(name) for name in table.frame.columns]
        for column in table.columns:
            if column.name.endswith("_m") and not column.name.endswith("_g_m"):  # grams per metre
                assert (column.kind, column.unit) == ("number", "m"), (table.name, column.name)
            if column.name.endswith("_utc"):
                assert column.kind == "instant"
            assert not table.is_given or column.meaning
    made = worked_out(
        "x", "A row.", pd.DataFrame({"a": [True], "b": [1], "c": ["t"], "d": [pd.Timestamp("2024-01-01").date()]})
    )
    assert [column.kind for column in made.columns] == ["flag", "whole", "text", "date"]


def test_keys_name_each_row_once_and_references_are_met(tables):
    for table in tables.values():
        if table.key:
            assert not table.frame.duplicated(list(table.key)).any(), table.name
        for own, other, target in table.references:
            known = set(tables[other].frame[list(target)].itertuples(index=False, name=None))
            assert set(table.frame[list(own)].itertuples(index=False, name=None)) <= known, (table.name, own)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("form", "name"),
    [("datapackage", "package"), ("xlsx", "record.xlsx"), ("geopackage", "record.gpkg"), ("parquet", "record")],
)
def test_what_goes_out_comes_back(form, name, demo_record, demo_store, tmp_path):
    """Into the record it came from nothing changes; into an empty one the levels are the same."""
    with gwnet.open(demo_record) as net:
        exported = net.export(form, tmp_path / name)
        levels = net.levels()
    with gwnet.open(demo_store) as net:
        result = net.load([exported], by="A. Keeper")
        assert sum(file.added + file.corrected + file.withdrawn + file.rejected for file in result.files) == 0
        assert sum(file.unchanged for file in result.files) > 2_000
        warnings = [warning for file in result.files for warning in file.warnings]
        assert [warning for warning in warnings if "that gwnet works out were passed over" not in warning] == []
        pd.testing.assert_frame_equal(net.levels(), levels)
    network.init(tmp_path / "new.sqlite")
    with gwnet.open(tmp_path / "new.sqlite") as net:
        net.load([exported], by="A. Keeper")
        again = net.levels()
    by = ["site", "well", "measured_at_utc", "sounded_depth_m", "depth_to_water_m"]
    before, after = (
        table.sort_values(by, kind="stable", ignore_index=True).drop(columns=NOT_READ) for table in (levels, again)
    )
    pd.testing.assert_frame_equal(after, before, check_exact=False, rtol=0, atol=1e-9)


def test_how_far_an_export_is_goes_up_to_its_end(record):
    seen = []
    list(export_tables(Extract(record, progress=lambda done, total: seen.append(done / total))))
    assert seen == sorted(seen)
    assert 0.9 < seen[-1] < 1.0


@pytest.mark.slow
def test_a_part_of_the_record_goes_into_an_empty_one(demo_record, tmp_path):
    wells = ["N1-U", "W-02", "W-06"]  # a test pumps P-1 and reads N1-U
    with gwnet.open(demo_record) as net:
        package = net.export("datapackage", tmp_path / "package", wells=wells, start="2023-01-01", end="2024-12-31")
        levels = net.levels(wells, start="2023-01-01", end="2024-12-31")
    network.init(tmp_path / "part.sqlite")
    with gwnet.open(tmp_path / "part.sqlite") as net:
        net.load([package], by="A. Keeper")
        again = net.levels()
    of_events = levels[levels["event_id"] > 0]
    assert len(again) == len(of_events) > 10
    assert sorted(again["depth_to_water_m"].dropna()) == pytest.approx(sorted(of_events["depth_to_water_m"].dropna()))


def test_dates_choose_readings_of_tests_that_are_given_by_clock_or_by_time_since_the_start(record):
    chosen = Selection.of(None, start=dt.date(2017, 11, 10), end=dt.date(2017, 11, 11))
    tables = {table.name: table.frame for table in export_tables(Extract(record, chosen))}
    every = record.pumping_readings
    starts = every["test"].map(record.pumping_tests.set_index("test")["starts_at_utc"])
    given = every["measured_at_utc"]
    moments = given.where(given.notna(), starts + pd.to_timedelta(every["elapsed_min"], unit="min"))
    days = (moments + pd.Timedelta(hours=1)).dt.day  # the site's zone is UTC+01:00
    assert 0 < len(tables["pumping_readings"]) < len(every)
    assert len(tables["pumping_readings"]) == int(days.isin([10, 11]).sum())
    assert len(tables["pumping_tests"]) == len(record.pumping_tests)


def test_readings_in_feet_go_out_and_come_back_in_feet(tmp_path):
    files = {
        "sites": "site,crs,vertical_datum,length_unit,time_zone\nF,EPSG:25832,local,ft,Europe/Berlin\n",
        "wells": "site,well,easting,northing,ground_elevation\nF,A,371000,6051000,310.5\n",
        "measuring_points": "site,well,valid_from,elevation\nF,A,2019-05-02,312.25\n",
        "level_events": "site,well,measured_at,depth_to_water\nF,A,2024-07-01T10:00,12.34\nF,A,2024-07-02,12.30\n",
    }
    for name, text in files.items():
        (tmp_path / f"{name}.csv").write_text(text)
    network.init(tmp_path / "feet.sqlite")
    with gwnet.open(tmp_path / "feet.sqlite") as net:
        net.load([tmp_path / f"{name}.csv" for name in files], by="A")
        package = net.export("datapackage", tmp_path / "package")
        text = (package / "data" / "level_events.csv").read_text()
        assert "depth_to_water_ft" in text
        assert "2024-07-01T10:00:00+02:00" in text or "2024-07-01T10:00+02:00" in text
        assert ",12.34," in text
        result = net.load([package / "data"], by="A")
        assert [(file.table, file.unchanged) for file in result.files] == [
            ("sites", 1),
            ("wells", 1),
            ("measuring_points", 1),
            ("level_events", 2),
        ]
        assert not net.levels()["time_known"].all()
        assert np.isclose(net.levels()["depth_to_water_m"].iloc[0], 12.34 * 0.3048)
