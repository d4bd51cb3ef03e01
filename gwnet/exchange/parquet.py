"""The record as Parquet: GeoParquet for wells, a file a table, samples of loggers in a folder a site, well and year."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import quote

import numpy as np
import pandas as pd

from gwnet.analysis.loggers.tables import span_of
from gwnet.exchange.extract import Extract, shapes_of
from gwnet.exchange.registry import register_format
from gwnet.exchange.tables import ExportTable, export_tables, levels_table, worked_out
from gwnet.store.fetch import samples as fetch_samples
from gwnet.store.views import read_view, views

if TYPE_CHECKING:
    import pyarrow

_COMPRESSION: Final = "zstd"


@register_format(
    "parquet",
    "a Parquet file a table, `wells.parquet` with places (GeoParquet 1.1), `levels.parquet` with reduced levels, and "
    "`samples`: what loggers stored, as in their files, in folders `site=…/well=…/year=…`; of barometers, which are in "
    "no well, `barometers` in folders `site=…/year=…`; of the whole record as it is now also `views`, for SQL",
    ending="",
)
def write_parquet(extract: Extract, path: Path) -> None:
    """Write the tables of an extract and the samples of its loggers as Parquet.

    Parameters as `gwnet.exchange`.

    Notes
    -----
    Each column carries its unit and meaning in its metadata. Samples are read and written a series and a year at a
    time. Years are of UTC. A sample is with the well in which its logger was installed at the time.
    """
    import pyarrow.parquet as pq

    for table in export_tables(extract):
        if table.name != "wells":
            pq.write_table(_arrow(table), path / f"{table.name}.parquet", compression=_COMPRESSION)
    _write_wells(extract, path / "wells.parquet")
    if extract.is_all_there_is:
        _write_views(extract, path / "views")
    parts = list(_sample_parts(extract))
    for done, part in enumerate(parts, start=1):
        _write_samples(extract, part, path)
        extract.progress(done, len(parts))


def _arrow(table: ExportTable) -> pyarrow.Table:
    """Return a table with its kinds as types, and units and meanings in the metadata of its columns."""
    import pyarrow as pa

    types = {
        "text": pa.string(),
        "number": pa.float64(),
        "whole": pa.int64(),
        "flag": pa.bool_(),
        "date": pa.date32(),
        "instant": pa.timestamp("us", tz="UTC"),
    }
    fields, arrays = [], []
    for column in table.columns:
        about = {"unit": column.unit, "description": column.meaning}
        kind = types[column.kind]
        fields.append(pa.field(column.name, kind, metadata={key: text for key, text in about.items() if text}))
        values = table.frame[column.name]
        # Columns of categories or of pandas' own strings would not be plain strings in the file.
        if column.kind == "text":
            values = values.astype(object)
        arrays.append(pa.Array.from_pandas(values, type=kind))
    return pa.Table.from_arrays(arrays, schema=pa.schema(fields, metadata={"description": table.title}))


def _write_wells(extract: Extract, path: Path) -> None:
    import geopandas

    wells = extract.wells_with_levels.drop(columns="well_id")
    for name in ("drilled_on", "decommissioned_on"):
        wells[name] = pd.to_datetime(wells[name]).dt.date
    placed = geopandas.GeoDataFrame(wells, geometry=geopandas.GeoSeries(shapes_of(extract, wells), crs=extract.crs))
    placed.to_parquet(path, schema_version="1.1.0", compression=_COMPRESSION, write_covering_bbox=True, index=False)


def _write_views(extract: Extract, folder: Path) -> None:
    """Write the views that a database has, and reduced levels, for the queries of the page `sql`."""
    import pyarrow.parquet as pq

    folder.mkdir()
    for name in views():
        table = worked_out(name, f"The view {name} of a database.", read_view(extract.record.connection, name))
        pq.write_table(_arrow(table), folder / f"{name}.parquet", compression=_COMPRESSION)
    table = levels_table(extract)
    of_events = table.frame["event_id"] > 0  # readings of pumping tests are no level events
    reduced = replace(table, name="reduced_level", frame=table.frame[of_events].reset_index(drop=True))
    pq.write_table(_arrow(reduced), folder / "reduced_level.parquet", compression=_COMPRESSION)


# --- samples of loggers -----------------------------------------------------------------------------------------------


def _sample_parts(extract: Extract) -> Iterator[dict[str, Any]]:
    """Yield the years of each series of each deployment: where it was, and from when to when [ms since 1970]."""
    record = extract.record
    series = fetch_samples.series(record.connection, record.known_on)
    first_ms, end_ms = _span(extract)
    for row in _deployments(extract).to_dict("records"):
        start = max(_milliseconds(row["installed_at_utc"]), first_ms)
        end = end_ms if row["removed_at_utc"] is pd.NaT else min(_milliseconds(row["removed_at_utc"]), end_ms)
        for one in series[(series["instrument"] == row["instrument"]) & (series["sample_count"] > 0)].to_dict(
            "records"
        ):
            # Only where the series has samples, or a query would be made for every empty year of a deployment.
            low, high = max(start, _milliseconds(one["first_utc"])), min(end, _milliseconds(one["last_utc"]) + 1)
            for year in range(_year(low), _year(high) + 1) if low < high else ():
                yield {
                    **{name: one[name] for name in ("series_id", "quantity", "unit", "segment", "instrument")},
                    **{name: row[name] for name in ("site", "well", "deployment_id")},
                    "year": year,
                    "start_ms": max(low, _start_of(year)),
                    "end_ms": min(high, _start_of(year + 1)),
                }


def _deployments(extract: Extract) -> pd.DataFrame:
    """Return the deployments in the chosen wells; barometers as well where all wells are meant."""
    return extract.of_wells(extract.record.deployments)


def _write_samples(extract: Extract, part: dict[str, Any], folder: Path) -> None:
    import pyarrow as pa
    import pyarrow.parquet as pq

    record = extract.record
    times, values = fetch_samples.samples(
        record.connection, int(part["series_id"]), part["start_ms"], part["end_ms"], record.known_on
    )
    if not len(times):
        return
    # Codes may have slashes or signs that no folder takes; programs that read such folders decode them.
    site, well = (quote(str(part[name]), safe="") for name in ("site", "well"))
    # A folder well= without a code would be read as a well whose code is missing.
    place = folder / "samples" / f"site={site}" / f"well={well}" if well else folder / "barometers" / f"site={site}"
    place /= f"year={part['year']}"
    place.mkdir(parents=True, exist_ok=True)
    words = [pa.repeat(pa.scalar(str(part[name])), len(times)) for name in ("instrument", "quantity", "unit")]
    # Instrument, quantity and unit in every row: files of several series in one folder are read as one table.
    table = pa.table(
        {
            "time_utc": pa.array(times.astype("datetime64[ms]")).cast(pa.timestamp("ms", tz="UTC")),
            "value": pa.array(values, mask=~np.isfinite(values)),
            **dict(zip(("instrument", "quantity", "unit"), words, strict=True)),
        }
    )
    # A logger that was taken out and put back within a year has two deployments of the same series in one folder.
    name = f"deployment{part['deployment_id']}_series{part['series_id']}.parquet"
    pq.write_table(table, place / name, compression=_COMPRESSION)


def _span(extract: Extract) -> tuple[int, int]:
    """Return the chosen dates as a half-open span [ms since 1970]; local days of the site."""
    start, end = span_of(extract.selection.start, extract.selection.end, extract.record.zone)
    lowest, highest = -(2**62), 2**62
    return (lowest if start is None else _milliseconds(start)), (highest if end is None else _milliseconds(end))


def _milliseconds(moment: dt.datetime) -> int:
    return int(moment.timestamp() * 1000)


def _year(milliseconds: int) -> int:
    return int(np.datetime64(milliseconds, "ms").astype("datetime64[Y]").astype(int)) + 1970


def _start_of(year: int) -> int:
    return int(np.datetime64(f"{year:04d}-01-01", "ms").astype(np.int64))
