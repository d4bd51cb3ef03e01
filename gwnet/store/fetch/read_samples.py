"""Samples from the database to arrays, with the driver itself: from packs, from rows, and by single keys."""

from __future__ import annotations

import datetime as dt
import sqlite3
from collections.abc import Iterator, Sequence
from itertools import chain
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, func, select

from gwnet.store.models.base import known_on as on_record
from gwnet.store.models.base import some_at_a_time
from gwnet.store.models.loggers import Download, SamplePack, SampleRun
from gwnet.store.session import store_error

Times = NDArray[np.int64]
Values = NDArray[np.float64]

#: Most samples that are looked at at once beside new ones.
MOST_AT_ONCE: Final = 200_000

#: The last sample of each of the wanted series; the two databases find it by its key when asked like this.
_LAST_SQLITE: Final = (
    "SELECT sample.series_id, sample.time_ms, sample.value FROM wanted"
    " JOIN sample ON sample.series_id = wanted.series_id AND sample.time_ms ="
    " (SELECT max(newest.time_ms) FROM sample AS newest WHERE newest.series_id = wanted.series_id)"
)
_LAST_POSTGRESQL: Final = (
    "SELECT wanted.series_id, newest.time_ms, newest.value FROM wanted CROSS JOIN LATERAL"
    " (SELECT time_ms, value FROM sample WHERE sample.series_id = wanted.series_id"
    " ORDER BY time_ms DESC LIMIT 1) AS newest"
)


def pack(time_ms: Times, value: Values) -> tuple[int | None, bytes]:
    """Return samples as one array of bytes.

    Parameters
    ----------
    time_ms : numpy.ndarray of int64
        Ascending times, at least one, shape (n,).
    value : numpy.ndarray of float64
        Values, shape (n,).

    Returns
    -------
    step_ms : int or None
        How far the times are apart all through; None where they are not, and then the bytes hold the times as well.
    content : bytes
        Times and values, or values alone.
    """
    steps = np.diff(time_ms)
    values = value.astype("<f8").tobytes()
    # most loggers keep their interval: half the bytes
    if steps.size == 0 or (steps == steps[0]).all():
        return int(steps[0]) if steps.size else 0, values
    return None, time_ms.astype("<i8").tobytes() + values


def unpack(first_ms: int, step_ms: int | None, count: int, content: bytes) -> tuple[Times, Values]:
    """Return the times and values that `pack` made bytes of.

    Parameters
    ----------
    first_ms : int
        First time; milliseconds since 1970-01-01 UTC.
    step_ms : int or None
        As of `pack`.
    count : int
        Number of samples.
    content : bytes
        As of `pack`.

    Returns
    -------
    time_ms : numpy.ndarray of int64
        Ascending times, shape (n,).
    value : numpy.ndarray of float64
        Values, shape (n,).
    """
    value = np.frombuffer(content, "<f8", count, 0 if step_ms is not None else 8 * count)
    if step_ms is None:
        return np.frombuffer(content, "<i8", count), value
    # whole numbers, so that the times are those of the file to the last digit
    return first_ms + step_ms * np.arange(count, dtype=np.int64), value


def is_packed(connection: Connection, series_id: int, known_on: dt.datetime | None = None) -> bool:
    """Return whether the packs of a series hold all its samples on record.

    Parameters as `gwnet.store.fetch`.
    """
    packed, run = (
        connection.execute(
            select(func.coalesce(func.sum(table.sample_count), 0))
            .join(Download, Download.id == table.download_id)
            .where(table.series_id == series_id, on_record(Download, known_on))
        ).scalar_one()
        for table in (SamplePack, SampleRun)
    )
    return bool(packed == run)


def read_packs(
    connection: Connection,
    series_id: int,
    start_ms: int | None = None,
    end_ms: int | None = None,
    known_on: dt.datetime | None = None,
) -> tuple[Times, Values]:
    """Return the samples of a series from its packs, which must hold all of them.

    Parameters as `gwnet.store.fetch`.
    """
    one = SamplePack
    query = (
        select(one.first_ms, one.step_ms, one.sample_count, one.content)
        .join(Download, Download.id == one.download_id)
        .where(one.series_id == series_id, on_record(Download, known_on))
        .order_by(one.first_ms)
    )
    if start_ms is not None:
        # whole packs that may overlap the span; it is cut exactly below
        query = query.where(one.last_ms >= start_ms)
    if end_ms is not None:
        query = query.where(one.first_ms < end_ms)
    parts = [unpack(*row) for row in connection.execute(query)]
    if not parts:
        return np.empty(0, np.int64), np.empty(0, np.float64)
    time_ms = np.concatenate([part[0] for part in parts]).astype(np.int64, copy=False)
    value = np.concatenate([part[1] for part in parts]).astype(np.float64, copy=False)
    # downloads may overlap in time, with samples of both
    if (np.diff(time_ms) <= 0).any():
        order = np.argsort(time_ms, kind="stable")
        time_ms, value = time_ms[order], value[order]
    inside = slice(
        0 if start_ms is None else int(np.searchsorted(time_ms, start_ms)),
        time_ms.size if end_ms is None else int(np.searchsorted(time_ms, end_ms)),
    )
    return time_ms[inside], value[inside]


def read_rows(
    connection: Connection,
    series_id: int,
    start_ms: int | None = None,
    end_ms: int | None = None,
    most: int | None = None,
) -> tuple[Times, Values]:
    """Return all samples of a series from their rows, whether their downloads are on record or not.

    Parameters as `gwnet.store.fetch`.

    Parameters
    ----------
    most : int, optional
        At most so many, the earliest.

    Returns
    -------
    time_ms : numpy.ndarray of int64
        Ascending times, shape (n,).
    value : numpy.ndarray of float64
        Values, NaN where there is none, shape (n,).
    """
    span = f"series_id = {int(series_id)}"
    if start_ms is not None:
        span += f" AND time_ms >= {int(start_ms)}"
    if end_ms is not None:
        span += f" AND time_ms < {int(end_ms)}"
    tail = f"WHERE {span} ORDER BY time_ms" + ("" if most is None else f" LIMIT {int(most)}")
    on_sqlite = connection.dialect.name == "sqlite"
    return (_rows_sqlite if on_sqlite else _rows_postgresql)(connection, tail)


def read_windows(
    connection: Connection, series_id: int, first_ms: int, last_ms: int, most: int = MOST_AT_ONCE
) -> Iterator[tuple[Times, Values]]:
    """Yield all samples of a series within a span, in order, a bounded number at a time.

    Parameters as `gwnet.store.fetch`.

    Parameters
    ----------
    first_ms, last_ms : int
        Span, both ends included; milliseconds since 1970-01-01 UTC.
    most : int, optional
        At most so many at a time.

    Yields
    ------
    time_ms : numpy.ndarray of int64
        Ascending times, shape (n,).
    value : numpy.ndarray of float64
        Values, NaN where there is none, shape (n,).
    """
    while first_ms <= last_ms:
        times, values = read_rows(connection, series_id, first_ms, last_ms + 1, most)
        if times.size:
            yield times, values
        # fewer than asked for: nothing is left
        if times.size < most:
            return
        first_ms = int(times[-1]) + 1


def _rows_sqlite(connection: Connection, tail: str) -> tuple[Times, Values]:
    """Read rows into one flat array; whole milliseconds stay exact in float64 for a quarter of a million years."""
    raw: Any = connection.connection.driver_connection
    try:
        # a null is no number for the flat array; infinity is never stored and stands for it
        cells = raw.execute(f"SELECT time_ms, ifnull(value, 9e999) FROM sample {tail}")
        flat = np.fromiter(chain.from_iterable(cells), np.float64).reshape(-1, 2)
    except sqlite3.Error as error:
        raise store_error(str(error).strip(), "sample") from error
    value = flat[:, 1].copy()
    value[np.isposinf(value)] = np.nan
    return flat[:, 0].astype(np.int64), value


def _rows_postgresql(connection: Connection, tail: str) -> tuple[Times, Values]:
    """Let the server put each column into one array of bytes."""
    import psycopg

    raw: Any = connection.connection.driver_connection
    query = (
        "SELECT string_agg(int8send(time_ms), ''::bytea), string_agg(float8send(coalesce(value, 'NaN')), ''::bytea)"
        f" FROM (SELECT time_ms, value FROM sample {tail}) AS part"
    )
    try:
        with raw.cursor(binary=True) as cursor:
            times, values = cursor.execute(query).fetchone()
    except psycopg.Error as error:
        raise store_error(str(error).strip(), "sample") from error
    return (
        np.frombuffer(times or b"", ">i8").astype(np.int64),
        np.frombuffer(values or b"", ">f8").astype(np.float64),
    )


def read_at(connection: Connection, keys: Sequence[tuple[int, int]]) -> list[tuple[int, int, float | None]]:
    """Return samples by their keys.

    Parameters as `gwnet.store.fetch`.

    Parameters
    ----------
    keys : sequence of tuple of int
        Series and time in milliseconds.
    """
    existing: list[tuple[int, int, float | None]] = []
    for some in some_at_a_time(keys):
        listed = ", ".join(f"({int(number)}, {int(time)})" for number, time in some)
        query = (
            f"WITH wanted (series_id, time_ms) AS (VALUES {listed})"
            " SELECT sample.series_id, sample.time_ms, sample.value FROM wanted"
            " JOIN sample ON sample.series_id = wanted.series_id AND sample.time_ms = wanted.time_ms"
        )
        existing += [tuple(row) for row in connection.exec_driver_sql(query)]
    return existing


def read_last(connection: Connection, series_ids: Sequence[int]) -> list[tuple[int, int, float | None]]:
    """Return the last sample of each series, whether its download is on record or not: one seek in the key each.

    Parameters as `gwnet.store.fetch`.

    Parameters
    ----------
    series_ids : sequence of int
        The series.
    """
    samples: list[tuple[int, int, float | None]] = []
    one_each = _LAST_SQLITE if connection.dialect.name == "sqlite" else _LAST_POSTGRESQL
    for some in some_at_a_time(series_ids):
        listed = ", ".join(f"({int(number)})" for number in some)
        query = f"WITH wanted (series_id) AS (VALUES {listed}) {one_each}"
        samples += [tuple(row) for row in connection.exec_driver_sql(query)]
    return samples
