"""How the tables that can be loaded lie in the record: which of their columns it holds, and what keeps rows apart."""

from __future__ import annotations

from typing import Final

from sqlalchemy import Table as RecordTable

from gwnet.store.columns import Column, Table
from gwnet.store.contract import TABLES
from gwnet.store.models.schema import METADATA

#: Identity tables, and those of them whose codes are codes within a site.
IDENTITIES: Final[tuple[str, ...]] = tuple(table.identity for table in TABLES if table.identity)
OF_SITE: Final[frozenset[str]] = frozenset(name for name in IDENTITIES if "site_id" in METADATA.tables[name].c)

#: Recorded table of each identity.
RECORD_OF: Final[dict[str, str]] = {table.identity: table.record for table in TABLES if table.identity}


def record_of(table: Table) -> RecordTable:
    """Return the recorded table of a table that can be loaded.

    Parameters
    ----------
    table : gwnet.store.columns.Table
        The table.
    """
    return METADATA.tables[table.record]


def recorded_columns(table: Table) -> tuple[Column, ...]:
    """Return the columns that have a column of their own in the recorded table.

    Parameters
    ----------
    table : gwnet.store.columns.Table
        The table.

    Returns
    -------
    tuple of gwnet.store.columns.Column
        All but the readings of level events, the limits of thresholds, the columns that say when a row was measured,
        and what the identity holds.
    """
    held = record_of(table).c
    return tuple(column for column in table.columns if column.stored_as in held and not table.is_time(column.name))


def live_key(record: str) -> tuple[str, ...]:
    """Return the columns of a recorded table that keep its live rows apart.

    Parameters
    ----------
    record : str
        A recorded table with a unique index over its live rows, or with several: rows that say when in one way, and
        rows that say it in another.
    """
    start = f"uq_{record}_live"
    indexes = sorted(
        (index for index in METADATA.tables[record].indexes if str(index.name).startswith(start)),
        key=lambda index: str(index.name),
    )
    # A key may have several indexes, one where a code is missing and one where it is there.
    return tuple(dict.fromkeys(column.name for index in indexes for column in index.columns))
