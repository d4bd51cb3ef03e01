"""One query for every table that can be loaded: its recorded columns and codes as its declaration says."""

from __future__ import annotations

import datetime as dt
from functools import cache
from typing import Any

import pandas as pd
from sqlalchemy import ColumnElement, Connection, FromClause, Select, func, select

from gwnet.store.columns import Table
from gwnet.store.contract import BY_NAME
from gwnet.store.fetch.frames import FRAMES, frame
from gwnet.store.models.base import known_on as on_record
from gwnet.store.models.schema import METADATA
from gwnet.store.recorded import OF_SITE, record_of

_SOURCE = METADATA.tables["source_file"]


def fetch_rows(
    connection: Connection,
    name: str,
    known_on: dt.datetime | None = None,
    site: str | None = None,
    *,
    order: str,
    frame_name: str = "",
    history: bool = False,
) -> pd.DataFrame:
    """Return the rows of a table that can be loaded, with the columns declared for its frame.

    Parameters as `gwnet.store.fetch`.

    Parameters
    ----------
    name : str
        Name of the table.
    order : str
        Columns of the frame by which to order, separated by blanks; ``id`` is the number of the recorded row.
    frame_name : str, optional
        Frame, where it has another name than the table.
    history : bool, optional
        Whether to give retired rows as well, as far as they were recorded at or before ``known_on``.
    """
    table, record, statement, columns = _select(name, frame_name or name)
    # a missing code sorts first on one database and last on the other
    optional = {column.name for column in table.columns if column.of and not column.required}
    if not history:
        statement = statement.where(on_record(record.c, known_on))
    # The history holds retired rows too, but none that was recorded after the moment.
    elif known_on is not None:
        statement = statement.where(record.c.recorded_at_utc <= known_on)
    if site is not None:
        statement = statement.where(columns["site"] == site)
    statement = statement.order_by(
        *(func.coalesce(columns[key], "") if key in optional else columns[key] for key in order.split())
    )
    return frame(connection, statement, frame_name or name)


def select_rows(name: str) -> Select[Any]:
    """Return the select of the rows of a table that are on record now, with the columns declared for its frame.

    Parameters
    ----------
    name : str
        Name of a table that can be loaded.

    Returns
    -------
    sqlalchemy.Select
        Without an order.
    """
    _, record, statement, _ = _select(name, name)
    return statement.where(on_record(record.c, None))


@cache  # selects are never changed, and to put one together takes longer than to run it on a small record
def _select(name: str, frame_name: str) -> tuple[Table, Any, Select[Any], dict[str, ColumnElement[Any]]]:
    """Return a table, its recorded rows, the select of the columns of a frame from them, and all columns by name."""
    table = BY_NAME[name]
    record = record_of(table).alias("record")
    source, columns = _columns(table, record)
    wanted = [column.name for column in FRAMES[frame_name] if column.name in columns]
    return table, record, select(*(columns[column].label(column) for column in wanted)).select_from(source), columns


def _columns(table: Table, record: Any) -> tuple[FromClause, dict[str, ColumnElement[Any]]]:
    """Return what to select from, and the columns of the frame by name."""
    columns: dict[str, ColumnElement[Any]] = {column.name: column for column in record.c}
    columns |= {
        column.frame_name: record.c[column.stored_as] for column in table.columns if column.stored_as in record.c
    }
    columns[f"{table.record}_id"] = record.c.id
    source: FromClause = record
    site_id = record.c.get("site_id")
    # The site last, as a well or round that is joined before may say which it is.
    headings = sorted((column for column in table.columns if column.of), key=lambda column: column.of == "site")
    for column in headings:
        identity = METADATA.tables[column.of].alias(f"of_{column.name}")
        number = site_id if column.of == "site" else record.c[column.stored_as]
        source = source.join(identity, identity.c.id == number, isouter=not column.required)
        columns[column.name], columns[f"{column.name}_id"] = identity.c.code, identity.c.id
        if site_id is None and column.of in OF_SITE:
            site_id = identity.c.site_id
    source = source.join(_SOURCE, _SOURCE.c.id == record.c.source_file_id, isouter=True)
    columns["source"] = _SOURCE.c.name
    return source, columns
