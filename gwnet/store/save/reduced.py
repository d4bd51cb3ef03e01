"""Rows of reduced levels: cleared with what they rest on, stored anew from the record."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Mapping, Sequence
from typing import Any, Final

from sqlalchemy import Connection, delete, insert, select

from gwnet.store.models.reduced import ReducedLevel

#: Tables whose rows no level event rests on.
NO_LEVEL_RESTS_ON: Final = frozenset(
    {"download", "sample", "sample_run", "sample_conflict", "logger_series", "correction", "report_issue"}
)

#: Rows of one statement.
_ROWS_AT_ONCE: Final = 5_000


def clear_reduced_levels(connection: Connection) -> None:
    """Delete the reduced levels, which are then worked out anew when next asked for.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection that holds the write lock.
    """
    # what is empty already costs one look, whatever is loaded
    if connection.execute(select(ReducedLevel.event_id).limit(1)).first() is not None:
        connection.execute(delete(ReducedLevel))


def store_reduced_levels(connection: Connection, rows: Sequence[dict[str, Any]]) -> None:
    """Replace the reduced levels.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection that holds the write lock.
    rows : sequence of dict
        Columns of `gwnet.store.models.reduced.ReducedLevel` by name.
    """
    clear_reduced_levels(connection)
    for start in range(0, len(rows), _ROWS_AT_ONCE):
        some = [{**row, "row_sha256": row_digest(row)} for row in rows[start : start + _ROWS_AT_ONCE]]
        connection.execute(insert(ReducedLevel), some)


def row_digest(row: Mapping[str, Any]) -> str:
    """Return the SHA-256 of a row of reduced levels, over all columns but that of the hash itself.

    Parameters
    ----------
    row : mapping
        Columns by name.

    Returns
    -------
    str
        Hexadecimal digits.
    """
    covered = {name: _plain(row[name]) for name in sorted(row) if name != "row_sha256"}
    return hashlib.sha256(json.dumps(covered, ensure_ascii=False).encode()).hexdigest()


def _plain(value: Any) -> Any:
    """Return a value in the form that is hashed: instants in UTC, as both databases give them."""
    if isinstance(value, dt.datetime):
        return value.astimezone(dt.UTC).isoformat(timespec="microseconds")
    return value.isoformat() if isinstance(value, dt.date) else value
