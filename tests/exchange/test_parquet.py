"""The record as Parquet, read by pandas, geopandas and Arrow; samples in folders."""

import datetime as dt
import re
import sqlite3
from collections import Counter

import geopandas
import numpy as np
import pandas as pd
import pyarrow.dataset
import pyarrow.parquet as pq
import pytest

import gwnet
from gwnet.exchange import parquet
from gwnet.resources import docs_folder
from gwnet.store.views import views

QUERIES = re.findall(r"```sql\n(.*?)```", (docs_folder() / "sql.md").read_text(encoding="utf-8"), re.DOTALL)


@pytest.fixture(scope="module")
def net(demo_record):
    with gwnet.open(demo_record) as net:
        yield net


@pytest.fixture(scope="module")
def folder(net, tmp_path_factory):
    return net.export("parquet", tmp_path_factory.mktemp("parquet") / "record")


@pytest.mark.slow
def test_wells_are_geoparquet_in_their_places(folder, net):
    read = geopandas.read_parquet(folder / "wells.parquet").set_index("well")
    wells = net.wells().set_index("well")
    assert read.crs.to_epsg() == 25832
    given = wells["easting"].notna()
    assert np.allclose(read.geometry.x[given], wells["easting"][given])
    assert read["drilled_on"].dropna().iloc[0] == wells["drilled_on"].dropna().iloc[0]


def test_levels_are_those_that_are_printed_and_columns_say_what_they_are(folder, net):
    read = pd.read_parquet(folder / "levels.parquet")
    levels = net.levels()
    for column in ("water_elevation_m", "uncertainty_m"):
        assert np.array_equal(read[column], levels[column], equal_nan=True)
    assert (read["measured_at_utc"] == levels["measured_at_utc"]).all()
    assert read["usable"].tolist() == levels["usable"].tolist()
    schema = pq.read_schema(folder / "levels.parquet")
    assert schema.field("water_elevation_m").metadata[b"unit"] == b"m"
    assert b"upward" in schema.field("water_elevation_m").metadata[b"description"]


def test_samples_of_loggers_stand_in_folders_and_are_those_on_record(folder, net):
    samples = pyarrow.dataset.dataset(folder / "samples", partitioning="hive")
    assert {"site", "well", "year", "time_utc", "value", "unit", "quantity", "instrument"} == set(samples.schema.names)
    read = samples.to_table().to_pandas()
    for (well, quantity), own in read.groupby(["well", "quantity"]):
        stored = net.loggers.samples([well], quantities=[quantity])
        own = own.sort_values("time_utc")
        assert len(own) == len(stored) > 0
        value = next(name for name in ("value", "as_stored") if name in stored)
        assert np.array_equal(own["value"].to_numpy(), stored[value].to_numpy(), equal_nan=True)
    assert (read["time_utc"].dt.year == read["year"].astype(int)).all()
    air = pd.read_parquet(folder / "barometers")
    assert set(air["quantity"]) >= {"air pressure"}


def test_the_ten_queries_of_the_page_give_in_duckdb_what_they_give_in_the_database(folder, demo_store):
    duckdb = pytest.importorskip("duckdb")
    with gwnet.open(demo_store) as net:
        net.levels.refresh()
    other = duckdb.connect()
    for file in sorted((folder / "views").glob("*.parquet")):
        other.execute(f"CREATE VIEW {file.stem} AS SELECT * FROM read_parquet('{file}')")
    with sqlite3.connect(demo_store) as database:
        for query in QUERIES:
            expected = database.execute(query).fetchall()
            found = other.execute(query).fetchall()
            assert Counter(tuple(map(plain, row)) for row in found) == Counter(
                tuple(map(plain, row)) for row in expected
            ), query
    database.close()
    other.close()
    reduced = pd.read_parquet(folder / "views" / "reduced_level.parquet")
    with gwnet.open(demo_store) as net:
        levels = net.levels()
    assert np.array_equal(
        reduced["water_elevation_m"], levels.loc[levels["event_id"] > 0, "water_elevation_m"], equal_nan=True
    )
    assert set(map(str, (folder / "views").glob("view_*"))) == {
        str(folder / "views" / f"{name}.parquet") for name in views()
    }


def plain(value):
    """Return a value as text that does not depend on how a database gives it; nothing for what is missing."""
    if value is None or value == "" or value != value:
        return None
    if isinstance(value, float | int):
        return f"{float(value):.9g}"
    if isinstance(value, dt.datetime):
        return value.astimezone(dt.UTC).strftime("%Y-%m-%d %H:%M:%S") if value.tzinfo else f"{value:%Y-%m-%d %H:%M:%S}"
    return str(value).removesuffix(".000000")


@pytest.mark.slow
def test_dates_and_wells_choose_samples(net, tmp_path):
    well = str(net.loggers.status()["well"].iloc[0])
    folder = net.export("parquet", tmp_path / "part", wells=[well], start="2025-03-01", end="2025-03-31")
    read = pd.read_parquet(folder / "samples")
    local = read["time_utc"].dt.tz_convert(net.sites()["time_zone"].iloc[0])
    assert set(local.dt.strftime("%Y-%m")) == {"2025-03"}
    assert set(read["well"].astype(str)) == {well}
    assert not (folder / "barometers").exists()
    assert not (folder / "views").exists()  # which are of the whole record


def test_a_damaged_file_is_refused_by_the_readers(folder, tmp_path):
    content = (folder / "levels.parquet").read_bytes()
    (tmp_path / "cut.parquet").write_bytes(content[:-20])
    with pytest.raises(Exception, match=r"[Pp]arquet"):
        pd.read_parquet(tmp_path / "cut.parquet")
    assert parquet.write_parquet.__doc__
