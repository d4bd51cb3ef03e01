"""Queries of loggers: series, samples as arrays, downloads, conflicts, deployments, corrections.

A sample is on record at a moment when the download that it came with is. Samples are read with the driver itself, as
whole columns, since a series may be long.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Sequence
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from sqlalchemy import Connection, func, select
from sqlalchemy.orm import aliased

from gwnet.store.fetch import read_samples
from gwnet.store.fetch.frames import frame
from gwnet.store.fetch.registry import fill_text
from gwnet.store.fetch.sample_runs import runs_of
from gwnet.store.models.base import known_on as on_record
from gwnet.store.models.instruments import Deployment, Instrument, InstrumentRecord
from gwnet.store.models.loggers import Correction, Download, LoggerSeries, Sample, SampleConflict, SampleRun
from gwnet.store.models.sites import Site
from gwnet.store.models.sources import SourceFile
from gwnet.store.models.wells import Well

Times = NDArray[np.int64]
Values = NDArray[np.float64]

_TIME_TYPE: Final = "datetime64[us, UTC]"


def series(connection: Connection, known_on: dt.datetime | None = None) -> pd.DataFrame:
    """Return the logger series with the span and number of their samples.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    known_on : datetime.datetime, optional
        Record as known at this time.

    Returns
    -------
    pandas.DataFrame
        One row a series, by instrument, quantity and segment: series_id, instrument, quantity, unit, segment,
        first_utc, last_utc (NaT without samples), sample_count. Two segments of one instrument and quantity never
        have a sample on record at the same instant.
    """
    run = (
        select(
            SampleRun.series_id,
            func.min(SampleRun.first_ms).label("first_ms"),
            func.max(SampleRun.last_ms).label("last_ms"),
            func.sum(SampleRun.sample_count).label("sample_count"),
        )
        .join(Download, Download.id == SampleRun.download_id)
        .where(on_record(Download, known_on))
        .group_by(SampleRun.series_id)
        .subquery()
    )
    kept = LoggerSeries
    statement = (
        select(
            kept.id.label("series_id"),
            Instrument.code.label("instrument"),
            kept.quantity,
            kept.unit,
            kept.segment,
            run.c.first_ms,
            run.c.last_ms,
            func.coalesce(run.c.sample_count, 0).label("sample_count"),
        )
        .join(Instrument, Instrument.id == kept.instrument_id)
        .outerjoin(run, run.c.series_id == kept.id)
        .order_by(Instrument.code, kept.quantity, kept.segment)
    )
    table = _with_times(frame(connection, statement), first_ms="first_utc", last_ms="last_utc")
    table["sample_count"] = table["sample_count"].astype("int64")
    return table


def samples(
    connection: Connection,
    series_id: int,
    start_ms: int | None = None,
    end_ms: int | None = None,
    known_on: dt.datetime | None = None,
) -> tuple[Times, Values]:
    """Return the samples of one series as arrays.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    series_id : int
        The series.
    start_ms, end_ms : int, optional
        Half-open span; milliseconds since 1970-01-01 UTC.
    known_on : datetime.datetime, optional
        Record as known at this time.

    Returns
    -------
    time_ms : numpy.ndarray of int64
        Ascending times, each once; milliseconds since 1970-01-01 UTC, shape (n,).
    value : numpy.ndarray of float64
        Values as they stood in the files, in the unit of the series; NaN where there is none, shape (n,).
    """
    packed = read_samples.packed(connection, series_id, start_ms, end_ms, known_on)
    return _by_rows(connection, series_id, start_ms, end_ms, known_on) if packed is None else packed


def _by_rows(
    connection: Connection, series_id: int, start_ms: int | None, end_ms: int | None, known_on: dt.datetime | None
) -> tuple[Times, Values]:
    """Return the samples from the rows of the record themselves."""
    runs = runs_of(connection, series_id, known_on)
    time_ms, value = read_samples.rows(connection, series_id, start_ms, end_ms)
    keep = runs.owned_on_record(time_ms)
    return time_ms[keep], value[keep]


def latest(
    connection: Connection, series_ids: Sequence[int] | None = None, known_on: dt.datetime | None = None
) -> pd.DataFrame:
    """Return the latest sample of each series, found by its key.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    series_ids : sequence of int, optional
        The series; all unless given.
    known_on : datetime.datetime, optional
        Record as known at this time.

    Returns
    -------
    pandas.DataFrame
        One row a series that has samples, by series_id: series_id, time_ms (int), value.
    """
    wanted = list(connection.scalars(select(LoggerSeries.id))) if series_ids is None else [int(i) for i in series_ids]
    if known_on is not None or _any_retired(connection):
        newest = _newest_byruns_of(connection, known_on)
        found = [(number, newest[number]) for number in wanted if number in newest]
        rows = read_samples.at(connection, found)
    else:
        rows = read_samples.last(connection, wanted)
    table = pd.DataFrame(rows, columns=["series_id", "time_ms", "value"])
    table = table.astype({"series_id": "int64", "time_ms": "int64", "value": "float64"})
    return table.sort_values("series_id", ignore_index=True)


def downloads(
    connection: Connection, known_on: dt.datetime | None = None, *, sha256: str | None = None
) -> pd.DataFrame:
    """Return the downloads: what each file gave to each series.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    known_on : datetime.datetime, optional
        Record as known at this time.
    sha256 : str, optional
        Only those of the file with this hash.

    Returns
    -------
    pandas.DataFrame
        One row a file and series, in order of recording: download_id, source_file_id (NaN for samples older than
        downloads), series_id, file, sha256, layout, layout_text, zone, instrument, quantity, unit, first_utc, last_utc,
        first_ms, last_ms (NaN where the file has no sample), rows, added, same, repeated, conflicts, missing, events,
        recorded_at_utc, recorded_by.
    """
    one = Download
    statement = (
        select(
            one.id.label("download_id"),
            one.source_file_id,
            one.series_id,
            SourceFile.name.label("file"),
            SourceFile.sha256,
            one.layout,
            one.layout_text,
            one.zone,
            Instrument.code.label("instrument"),
            LoggerSeries.quantity,
            LoggerSeries.unit,
            one.first_ms,
            one.last_ms,
            one.row_count.label("rows"),
            one.added_count.label("added"),
            one.same_count.label("same"),
            one.repeated_count.label("repeated"),
            one.conflict_count.label("conflicts"),
            one.missing_count.label("missing"),
            one.event_count.label("events"),
            one.recorded_at_utc,
            one.recorded_by,
        )
        .join(LoggerSeries, LoggerSeries.id == one.series_id)
        .join(Instrument, Instrument.id == LoggerSeries.instrument_id)
        .outerjoin(SourceFile, SourceFile.id == one.source_file_id)
        .where(on_record(one, known_on))
        .order_by(one.recorded_at_utc, one.id)
    )
    if sha256 is not None:
        statement = statement.where(SourceFile.sha256 == sha256)
    table = fill_text(frame(connection, statement), "file", "sha256", "layout_text")
    table["source_file_id"] = table["source_file_id"].astype("float64")
    return _with_times(table, keep=True, first_ms="first_utc", last_ms="last_utc")


def conflicts(connection: Connection, known_on: dt.datetime | None = None) -> pd.DataFrame:
    """Return values that a download gave for instants at which another value is on record.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    known_on : datetime.datetime, optional
        Record as known at this time.

    Returns
    -------
    pandas.DataFrame
        One row a value, by instrument, quantity, time and number: series_id, instrument, quantity, time_utc, stored,
        stored_unit, given, unit, file, row (NaN when not known). Those given by downloads that were withdrawn are left
        out, and so are those beside samples that are not on record.
    """
    one, giver = SampleConflict, aliased(Download)
    statement = (
        select(
            one.series_id,
            Instrument.code.label("instrument"),
            LoggerSeries.quantity,
            one.time_ms,
            Sample.value.label("stored"),
            LoggerSeries.unit.label("stored_unit"),
            one.value.label("given"),
            one.unit,
            SourceFile.name.label("file"),
            one.source_row.label("row"),
        )
        .join(giver, giver.id == one.download_id)
        .join(LoggerSeries, LoggerSeries.id == one.series_id)
        .join(Instrument, Instrument.id == LoggerSeries.instrument_id)
        .join(Sample, (Sample.series_id == one.series_id) & (Sample.time_ms == one.time_ms))
        .outerjoin(SourceFile, SourceFile.id == giver.source_file_id)
        .where(on_record(giver, known_on))
        .order_by(Instrument.code, LoggerSeries.quantity, one.time_ms, one.id)
    )
    table = fill_text(frame(connection, statement), "file")
    keep = np.ones(len(table), dtype=bool)
    for number, places in table.groupby("series_id").indices.items():
        runs = runs_of(connection, int(str(number)), known_on)
        keep[places] = runs.owned_on_record(table["time_ms"].to_numpy(np.int64)[places])
    table["row"] = table["row"].astype("float64")
    return _with_times(table[keep].reset_index(drop=True), time_ms="time_utc")


def deployments(connection: Connection, known_on: dt.datetime | None = None) -> pd.DataFrame:
    """Return the deployments: what hung where, and when.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    known_on : datetime.datetime, optional
        Record as known at this time.

    Returns
    -------
    pandas.DataFrame
        One row a deployment, by site, well, instrument and time: deployment_id, site, well (empty for a barometer),
        access (of the measuring point from which the hanging depth is read), instrument, kind, installed_at_utc,
        removed_at_utc (NaT while it hangs), hanging_depth_m (NaN when not known), barometer (instrument, empty for
        none), notes.
    """
    hung, barometer, record = Deployment, aliased(Instrument), InstrumentRecord
    statement = (
        select(
            hung.id.label("deployment_id"),
            Site.code.label("site"),
            Well.code.label("well"),
            Instrument.code.label("instrument"),
            record.kind,
            hung.valid_from_utc.label("installed_at_utc"),
            hung.valid_until_utc.label("removed_at_utc"),
            hung.hanging_depth_m,
            barometer.code.label("barometer"),
            hung.notes,
        )
        .join(Site, Site.id == hung.site_id)
        .join(Instrument, Instrument.id == hung.instrument_id)
        .outerjoin(record, (record.instrument_id == hung.instrument_id) & on_record(record, known_on))
        .outerjoin(Well, Well.id == hung.well_id)
        .outerjoin(barometer, barometer.id == hung.barometer_id)
        .where(on_record(hung, known_on))
        .order_by(Site.code, func.coalesce(Well.code, ""), Instrument.code, hung.valid_from_utc)
    )
    table = fill_text(frame(connection, statement), "well", "kind", "barometer", "notes")
    table.insert(3, "access", np.where(table["well"] == "", "", "main"))
    return table


def corrections(connection: Connection, known_on: dt.datetime | None = None) -> pd.DataFrame:
    """Return the corrections of the series, in order of recording.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    known_on : datetime.datetime, optional
        Record as known at this time.

    Returns
    -------
    pandas.DataFrame
        One row a correction: correction_id, series_id, instrument, quantity, kind, start_utc, end_utc (NaT = open),
        parameters (dict), reason, recorded_by, recorded_at_utc.
    """
    one = Correction
    statement = (
        select(
            one.id.label("correction_id"),
            one.series_id,
            Instrument.code.label("instrument"),
            LoggerSeries.quantity,
            one.kind,
            one.valid_from_utc.label("start_utc"),
            one.valid_until_utc.label("end_utc"),
            one.parameters,
            one.reason,
            one.recorded_by,
            one.recorded_at_utc,
        )
        .join(LoggerSeries, LoggerSeries.id == one.series_id)
        .join(Instrument, Instrument.id == LoggerSeries.instrument_id)
        .where(on_record(one, known_on))
        .order_by(one.recorded_at_utc, one.id)
    )
    table = fill_text(frame(connection, statement), "reason")
    table["parameters"] = [json.loads(text) for text in table["parameters"]]
    return table


def _any_retired(connection: Connection) -> bool:
    return (
        connection.execute(select(Download.id).where(Download.retired_at_utc.is_not(None)).limit(1)).first() is not None
    )


def _newest_byruns_of(connection: Connection, known_on: dt.datetime | None) -> dict[int, int]:
    """Return the time of the last sample on record of each series; the end of a run is a sample of its own."""
    rows = connection.execute(
        select(SampleRun.series_id, func.max(SampleRun.last_ms))
        .join(Download, Download.id == SampleRun.download_id)
        .where(on_record(Download, known_on))
        .group_by(SampleRun.series_id)
    ).all()
    return {int(number): int(last) for number, last in rows}


def _with_times(table: pd.DataFrame, *, keep: bool = False, **columns: str) -> pd.DataFrame:
    """Return a frame whose columns of milliseconds are instants under another name."""
    for old, new in columns.items():
        times = pd.to_datetime(table[old].astype("Int64"), unit="ms", utc=True).astype(_TIME_TYPE)
        table.insert(list(table.columns).index(old), new, times)
    return table if keep else table.drop(columns=list(columns))
