"""Rows as they are on record, in the form that digests cover."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, Table, select, text

from gwnet.store.fetch.read_samples import pack, read_windows
from gwnet.store.integrity.digests import (
    Part,
    added_part,
    canonical,
    covered_columns,
    is_described,
    key_of,
    retired_part,
    sample_part,
)
from gwnet.store.integrity.guards import RETIRED
from gwnet.store.models.base import some_at_a_time
from gwnet.store.models.loggers import Sample
from gwnet.store.models.schema import METADATA, RECORDED_TABLES

#: Rows that are read, and described by one part, at once.
ROWS_AT_ONCE: Final = 50_000


def read_rows(
    connection: Connection, table: Table, names: Sequence[str], where: str = "", size: int = ROWS_AT_ONCE
) -> Iterator[dict[str, list[Any]]]:
    """Yield canonical values of the rows of a table in the order of their keys, some at a time.

    Parameters as `gwnet.store.integrity`.

    Parameters
    ----------
    table : sqlalchemy.Table
        The table.
    names : sequence of str
        Columns.
    where : str, optional
        Condition in SQL.
    size : int, optional
        Most rows at a time.

    Yields
    ------
    dict of str to list
        Canonical values by column.
    """
    condition = f" WHERE {where}" if where else ""
    # By the rest of the key as well, so that rows of one key have an order.
    order = ", ".join(dict.fromkeys([key_of(table), *(column.name for column in table.primary_key.columns)]))
    statement = text(f"SELECT {', '.join(names)} FROM {table.name}{condition} ORDER BY {order}")
    with connection.execute(statement.execution_options(stream_results=True)) as result:
        while rows := result.fetchmany(size):
            cells = zip(*rows, strict=True)
            yield {name: canonical(table.c[name], column) for name, column in zip(names, cells, strict=True)}


def part_on_record(connection: Connection, table: Table, ids: Sequence[int]) -> Part:
    """Return the part of rows that were added, as they are on record.

    Parameters as `gwnet.store.integrity`.

    Parameters
    ----------
    table : sqlalchemy.Table
        A table with numbered rows.
    ids : sequence of int
        Their numbers.

    Returns
    -------
    Part
        The part.
    """
    names = [column.name for column in covered_columns(table)]
    each: dict[str, list[Any]] = {name: [] for name in names}
    for some in some_at_a_time(ids):
        listed = ", ".join(str(int(number)) for number in some)
        for rows in read_rows(connection, table, names, f"id IN ({listed})"):
            for name in names:
                each[name] += rows[name]
    return added_part(table, {}, each, len(ids))


def parts_of_record(connection: Connection) -> Iterator[Part]:
    """Yield the parts of every row on record, for the state with which a record from before states begins.

    Parameters as `gwnet.store.integrity`.

    Yields
    ------
    Part
        Parts in the order of the tables.
    """
    for table in METADATA.sorted_tables:
        if is_described(table):
            names = [column.name for column in covered_columns(table)]
            for rows in read_rows(connection, table, names):
                yield added_part(table, {}, rows, len(rows[names[0]]))
            if table.name in RECORDED_TABLES:
                yield from _retired_parts(connection, table)
    flags_of = read_flags(connection)
    for series_id in connection.scalars(select(Sample.series_id).distinct().order_by(Sample.series_id)).all():
        flags = flags_of.get(series_id, [])
        for time_ms, value in all_samples(connection, series_id):
            here = [flag for flag in flags if time_ms[0] <= flag[0] <= time_ms[-1]]
            yield sample_part(series_id, time_ms, value, pack(time_ms, value)[0], here)


def _retired_parts(connection: Connection, table: Table) -> Iterator[Part]:
    """Yield the parts of the rows of a table that were retired, by when, by whom and why."""
    rows = [
        (values, number)
        for cells in read_rows(connection, table, ["id", *RETIRED], "retired_at_utc IS NOT NULL")
        for number, *values in zip(*cells.values(), strict=True)
    ]
    # None cannot be compared with text.
    rows.sort(key=lambda row: ([str(value or "") for value in row[0]], row[1]))
    for values, group in groupby(rows, key=lambda row: row[0]):
        yield retired_part(table, [number for _, number in group], dict(zip(RETIRED, values, strict=True)))


def read_flags(connection: Connection) -> dict[int, list[list[int]]]:
    """Return time and flag of every sample that has one, by series; this version of the program gives none."""
    query = select(Sample.series_id, Sample.time_ms, Sample.flag).where(Sample.flag.is_not(None))
    flags: dict[int, list[list[int]]] = {}
    for series_id, time_ms, flag in connection.execute(query.order_by(Sample.series_id, Sample.time_ms)):
        flags.setdefault(series_id, []).append([int(time_ms), int(flag or 0)])
    return flags


def all_samples(connection: Connection, series_id: int) -> Iterator[tuple[NDArray[np.int64], NDArray[np.float64]]]:
    """Yield all samples of a series, in order, a bounded number at a time.

    Parameters as `gwnet.store.integrity`.

    Parameters
    ----------
    series_id : int
        The series.

    Yields
    ------
    time_ms : numpy.ndarray of int64
        Ascending times, shape (n,).
    value : numpy.ndarray of float64
        Values, NaN where there is none, shape (n,).
    """
    bounds = np.iinfo(np.int64)
    yield from read_windows(connection, series_id, int(bounds.min), int(bounds.max) - 1)
