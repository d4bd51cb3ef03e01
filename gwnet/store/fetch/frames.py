"""From a select statement to a data frame with fixed column types, fast on both databases."""

from __future__ import annotations

from typing import Any

import pandas as pd
from sqlalchemy import Boolean, Connection, Float, Integer, Select, Text, type_coerce

from gwnet.store.models.base import UtcDateTime

_TIME_TYPE = "datetime64[us, UTC]"


def frame(connection: Connection, statement: Select[*tuple[Any, ...]]) -> pd.DataFrame:
    """Run a select and return its rows with column types that do not depend on the rows.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    statement : sqlalchemy.Select
        Select with labelled columns.

    Returns
    -------
    pandas.DataFrame
        Instants as ``datetime64[us, UTC]``, numbers as float64 (missing: NaN), whole numbers that are never missing as
        int64, truth values as bool, text as object (missing: None), dates as ``datetime.date`` objects.
    """
    columns = list(statement.selected_columns)
    types = {column.key: column.type for column in columns}
    if connection.dialect.name == "sqlite":
        bare = [
            type_coerce(column, Text()).label(column.key) if isinstance(column.type, UtcDateTime) else column
            for column in columns
        ]
        statement = statement.with_only_columns(*bare, maintain_column_froms=True)
    rows = connection.execute(statement).fetchall()
    by_column = list(zip(*rows, strict=True)) if rows else [()] * len(columns)
    made = {name: _series(list(values), types[name]) for name, values in zip(types, by_column, strict=True)}
    return pd.DataFrame(made)


def _series(values: list[Any], kind: Any) -> pd.Series[Any]:
    if isinstance(kind, UtcDateTime):
        if values and isinstance(next((v for v in values if v is not None), None), str):
            times = pd.to_datetime(pd.Series(values, dtype=object), format="%Y-%m-%d %H:%M:%S.%f", utc=True)
        else:
            times = pd.to_datetime(pd.Series(values, dtype=object), utc=True)
        return times.astype(_TIME_TYPE)
    if isinstance(kind, Boolean):
        return pd.Series(values, dtype=object if None in values else bool)
    if isinstance(kind, Integer) and None not in values:
        return pd.Series(values, dtype="int64")
    if isinstance(kind, Float | Integer):
        return pd.Series(values, dtype="float64")
    return pd.Series(values, dtype=object)
