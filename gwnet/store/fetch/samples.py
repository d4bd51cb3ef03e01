"""Queries of loggers: series, samples as arrays, downloads, conflicts, deployments, corrections.

A sample is on record at a moment when the download that it came with is. Samples are read with the driver itself, as
whole columns, since a series may be long.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from sqlalchemy import Connection, func, select
from sqlalchemy.orm import aliased

from gwnet.store.fetch import read_samples
from gwnet.store.fetch.frames import FRAMES, as_declared, frame
from gwnet.store.fetch.rows import fetch_rows
from gwnet.store.fetch.sample_runs import runs_of
from gwnet.store.models.base import known_on as on_record
from gwnet.store.models.instruments import Instrument
from gwnet.store.models.loggers import Correction, Download, LoggerSeries, Sample, SampleConflict, SamplePack, SampleRun
from gwnet.store.models.sources import SourceFile

Times = NDArray[np.int64]
Values = NDArray[np.float64]


def series(connection: Connection, known_on: dt.datetime | None = None) -> pd.DataFrame:
    """Return the logger series with the span and number of their samples, by instrument, quantity and segment.

    Two segments of one instrument and quantity never have a sample on record at the same instant.

    Parameters as `gwnet.store.fetch`; columns as ``series`` in `gwnet.store.fetch.frames.FRAMES`.
    """
    run, pack = (
        select(
            table.series_id,
            func.min(table.first_ms).label("first_ms"),
            func.max(table.last_ms).label("last_ms"),
            func.sum(table.sample_count).label("sample_count"),
        )
        .join(Download, Download.id == table.download_id)
        .where(on_record(Download, known_on))
        .group_by(table.series_id)
        .subquery()
        for table in (SampleRun, SamplePack)
    )
    kept = LoggerSeries
    statement = (
        select(
            kept.id.label("series_id"),
            Instrument.code.label("instrument"),
            kept.quantity,
            kept.unit,
            kept.segment,
            run.c.first_ms.label("first_utc"),
            run.c.last_ms.label("last_utc"),
            func.coalesce(run.c.sample_count, 0).label("sample_count"),
            func.coalesce(pack.c.sample_count, 0).label("packed_count"),
        )
        .join(Instrument, Instrument.id == kept.instrument_id)
        .outerjoin(run, run.c.series_id == kept.id)
        .outerjoin(pack, pack.c.series_id == kept.id)
        .order_by(Instrument.code, kept.quantity, kept.segment)
    )
    return frame(connection, statement, "series")


def samples(
    connection: Connection,
    series_id: int,
    start_ms: int | None = None,
    end_ms: int | None = None,
    known_on: dt.datetime | None = None,
    is_packed: bool | None = None,
) -> tuple[Times, Values]:
    """Return the samples of one series as arrays.

    Parameters as `gwnet.store.fetch`.

    Parameters
    ----------
    is_packed : bool, optional
        Whether the packs of the series hold all its samples on record; asked of the database unless given.

    Returns
    -------
    time_ms : numpy.ndarray of int64
        Ascending times, each once; milliseconds since 1970-01-01 UTC, shape (n,).
    value : numpy.ndarray of float64
        Values as they are in the files, in the unit of the series; NaN where there is none, shape (n,).
    """
    # Packs where they are whole, rows otherwise: the same samples, many times faster.
    if is_packed is None:
        is_packed = read_samples.is_packed(connection, series_id, known_on)
    if is_packed:
        return read_samples.read_packs(connection, series_id, start_ms, end_ms, known_on)
    runs = runs_of(connection, series_id, known_on)
    time_ms, value = read_samples.read_rows(connection, series_id, start_ms, end_ms)
    keep = runs.owned_on_record(time_ms)
    return time_ms[keep], value[keep]


def latest(
    connection: Connection, series_ids: Sequence[int] | None = None, known_on: dt.datetime | None = None
) -> pd.DataFrame:
    """Return the latest sample of each series that has samples, by series; it is found by its key.

    Parameters as `gwnet.store.fetch`; columns as ``latest`` in `gwnet.store.fetch.frames.FRAMES`.

    Parameters
    ----------
    series_ids : sequence of int, optional
        The series; all unless given.
    """
    wanted = list(connection.scalars(select(LoggerSeries.id))) if series_ids is None else [int(i) for i in series_ids]
    # Retired downloads leave their samples in the table, so that its last may not be on record.
    if known_on is not None or _any_retired(connection):
        newest = _newest_by_runs(connection, known_on)
        keys = [(number, newest[number]) for number in wanted if number in newest]
        rows = read_samples.read_at(connection, keys)
    else:
        rows = read_samples.read_last(connection, wanted)
    table = pd.DataFrame(rows, columns=[column.name for column in FRAMES["latest"]])
    return as_declared(table, "latest").sort_values("series_id", ignore_index=True)


def downloads(
    connection: Connection, known_on: dt.datetime | None = None, *, sha256: str | None = None
) -> pd.DataFrame:
    """Return the downloads, what each file gave to each series, in order of recording.

    Samples older than downloads have no source file; a file without a sample has no first and last.

    Parameters as `gwnet.store.fetch`; columns as ``downloads`` in `gwnet.store.fetch.frames.FRAMES`.

    Parameters
    ----------
    sha256 : str, optional
        Only those of the file with this hash.
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
            one.first_ms.label("first_utc"),
            one.last_ms,
            one.last_ms.label("last_utc"),
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
    return frame(connection, statement, "downloads")


def conflicts(connection: Connection, known_on: dt.datetime | None = None) -> pd.DataFrame:
    """Return values that a download gave for instants at which another value is on record.

    They are in the order of instrument, quantity, time and number. Those given by downloads that were withdrawn are
    left out, and so are those beside samples that are not on record.

    Parameters as `gwnet.store.fetch`; columns as ``conflicts`` in `gwnet.store.fetch.frames.FRAMES`.
    """
    one, giver = SampleConflict, aliased(Download)
    statement = (
        select(
            one.series_id,
            Instrument.code.label("instrument"),
            LoggerSeries.quantity,
            one.time_ms.label("time_utc"),
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
    table = frame(connection, statement, "conflicts")
    keep = np.ones(len(table), dtype=bool)
    time_ms = table["time_utc"].dt.tz_localize(None).to_numpy("datetime64[ms]").astype(np.int64)
    for number, places in table.groupby("series_id").indices.items():
        # A conflict beside a sample that is not on record is none any more.
        keep[places] = runs_of(connection, int(str(number)), known_on).owned_on_record(time_ms[places])
    return table[keep].reset_index(drop=True)


def deployments(
    connection: Connection, known_on: dt.datetime | None = None, *, instruments: pd.DataFrame | None = None
) -> pd.DataFrame:
    """Return the deployments, what was installed where and when, by site, well, instrument and time.

    Parameters as `gwnet.store.fetch`; columns as ``deployments`` in `gwnet.store.fetch.frames.FRAMES`.

    Parameters
    ----------
    instruments : pandas.DataFrame, optional
        Instruments on record, where the caller has them already.
    """
    table = fetch_rows(connection, "deployments", known_on, order="site well instrument installed_at_utc")
    if instruments is None:
        instruments = fetch_rows(connection, "instruments", known_on, order="instrument")
    kinds = instruments.set_index("instrument")["kind"]
    # Depths are read from the main access; a barometer hangs in air.
    table["access"] = np.where(table["well"] == "", "", "main")
    table["kind"] = table["instrument"].map(kinds).fillna("")
    return as_declared(table, "deployments")


def corrections(connection: Connection, known_on: dt.datetime | None = None) -> pd.DataFrame:
    """Return the corrections of the series, in order of recording; one without an end goes on.

    Parameters as `gwnet.store.fetch`; columns as ``corrections`` in `gwnet.store.fetch.frames.FRAMES`.
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
    return frame(connection, statement, "corrections")


def _any_retired(connection: Connection) -> bool:
    return (
        connection.execute(select(Download.id).where(Download.retired_at_utc.is_not(None)).limit(1)).first() is not None
    )


def _newest_by_runs(connection: Connection, known_on: dt.datetime | None) -> dict[int, int]:
    """Return the time of the last sample on record of each series; the end of a run is a sample of its own."""
    rows = connection.execute(
        select(SampleRun.series_id, func.max(SampleRun.last_ms))
        .join(Download, Download.id == SampleRun.download_id)
        .where(on_record(Download, known_on))
        .group_by(SampleRun.series_id)
    ).all()
    return {int(number): int(last) for number, last in rows}
