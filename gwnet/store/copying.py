"""Tables of a database as plain rows that are the same on SQLite and PostgreSQL: read, stored, and summed up.

A row is read as SQLite keeps it: instants as text in UTC, dates as text, truth values as 0 and 1. So the rows of one
record give the same digest on either database, and what is read from one can be stored in the other.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import Connection, Inspector, inspect
from sqlalchemy.types import Boolean, Date, DateTime, Float

from gwnet.store.session import store_error

#: Table that says which revision a schema has; a copy gets its own when its schema is made.
REVISION_TABLE: Final = "alembic_version"

_ROWS_AT_ONCE: Final = 2_000

#: How PostgreSQL writes a value as SQLite keeps it. Negative zero is kept as zero there.
_ON_POSTGRESQL: Final[tuple[tuple[type, str], ...]] = (
    (DateTime, "to_char({0} AT TIME ZONE 'UTC', 'YYYY-MM-DD HH24:MI:SS.US')"),
    (Date, "to_char({0}, 'YYYY-MM-DD')"),
    (Boolean, "{0}::integer"),
    (Float, "{0} + 0.0::double precision"),
)


@dataclass(frozen=True)
class TableShape:
    """A table as it is in a database.

    Attributes
    ----------
    name : str
        Its name.
    columns : tuple of str
        Its columns by name.
    key : tuple of str
        Its primary key, by which rows are ordered.
    select : str
        Statement that reads all rows.
    """

    name: str
    columns: tuple[str, ...]
    key: tuple[str, ...]
    select: str


@dataclass(frozen=True)
class TableSum:
    """What a table holds, to compare it with a copy.

    Attributes
    ----------
    rows : int
        Number of rows.
    sha256 : str
        Digest over all values of all rows.
    """

    rows: int
    sha256: str


def list_tables(connection: Connection) -> list[TableShape]:
    """Return the tables of a database in an order in which they can be filled.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection.

    Returns
    -------
    list of TableShape
        Every table but that of the revision; views are none.
    """
    inspector = inspect(connection)
    ordered = (name for name, _ in inspector.get_sorted_table_and_fkc_names() if name)
    return [_shape(inspector, name, connection) for name in ordered if name != REVISION_TABLE]


def _shape(inspector: Inspector, name: str, connection: Connection) -> TableShape:
    # By name: the order of columns differs between databases that grew by revisions and new ones.
    columns = sorted(inspector.get_columns(name), key=lambda column: str(column["name"]))
    key = tuple(inspector.get_pk_constraint(name)["constrained_columns"]) or tuple(str(c["name"]) for c in columns)
    on_sqlite = connection.dialect.name == "sqlite"
    quoted = connection.dialect.identifier_preparer.quote
    terms = [
        quoted(str(column["name"])) if on_sqlite else _written(column["type"], quoted(str(column["name"])))
        for column in columns
    ]
    # SQLite compares text by its bytes; a server by the rules of its language, in another order.
    collation = "" if on_sqlite else ' COLLATE "C"'
    # Only plain text has a collation that can be named beside it.
    texts = {str(column["name"]) for column in columns if getattr(column["type"], "collation", 0) is None}
    order = [quoted(part) + (collation if part in texts else "") for part in key]
    select = f"SELECT {', '.join(terms)} FROM {quoted(name)} ORDER BY {', '.join(order)}"
    return TableShape(name, tuple(str(column["name"]) for column in columns), key, select)


def _written(kind: Any, name: str) -> str:
    for known, form in _ON_POSTGRESQL:
        if isinstance(kind, known):
            return form.format(name)
    return name


def count_rows(connection: Connection, tables: Sequence[TableShape]) -> dict[str, int]:
    """Return the number of rows of each table.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection.
    tables : sequence of TableShape
        The tables.

    Returns
    -------
    dict of str to int
        By name of the table.
    """
    quote = connection.dialect.identifier_preparer.quote
    return {
        table.name: int(connection.exec_driver_sql(f"SELECT count(*) FROM {quote(table.name)}").scalar_one())
        for table in tables
    }


def read_rows(connection: Connection, table: TableShape) -> Iterator[Sequence[tuple[Any, ...]]]:
    """Give all rows of a table in the order of its key, some at a time.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection.
    table : TableShape
        The table.

    Yields
    ------
    sequence of tuple
        Rows, always as many at a time as there are.
    """
    # Streamed, or the driver would hold the whole table.
    result = connection.exec_driver_sql(table.select, execution_options={"stream_results": True})
    for rows in result.partitions(_ROWS_AT_ONCE):
        yield [tuple(row) for row in rows]


def sum_up(connection: Connection, tables: Sequence[TableShape], seen: Callable[[int], None]) -> dict[str, TableSum]:
    """Return number and digest of the rows of each table.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection; one transaction.
    tables : sequence of TableShape
        The tables.
    seen : callable
        Called with each number of rows that was read.

    Returns
    -------
    dict of str to TableSum
        By name of the table.
    """
    sums = {}
    for table in tables:
        digest, count = hashlib.sha256(repr(table.columns).encode()), 0
        for rows in read_rows(connection, table):
            # Lone surrogates of damaged text are hashed, too, instead of ending the comparison.
            digest.update(repr(rows).encode("utf-8", "surrogatepass"))
            count += len(rows)
            seen(len(rows))
        sums[table.name] = TableSum(count, digest.hexdigest())
    return sums


def store_rows(connection: Connection, table: TableShape, rows: Sequence[tuple[Any, ...]]) -> None:
    """Store rows as they were read.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection of a unit of work.
    table : TableShape
        The table that they were read from.
    rows : sequence of tuple
        From `read_rows`.
    """
    names = ", ".join(map(connection.dialect.identifier_preparer.quote, table.columns))
    target = connection.dialect.identifier_preparer.quote(table.name)
    if connection.dialect.name == "sqlite":
        marks = ", ".join("?" * len(table.columns))
        connection.exec_driver_sql(f"INSERT INTO {target} ({names}) VALUES ({marks})", list(rows))
        return
    import psycopg

    raw = connection.connection.driver_connection
    assert isinstance(raw, psycopg.Connection)
    try:
        with raw.cursor() as cursor, cursor.copy(f"COPY {target} ({names}) FROM STDIN") as copy:
            for row in rows:
                copy.write_row(row)
    except psycopg.Error as error:
        raise store_error(str(error).strip(), table.name) from error


def advance_numbers(connection: Connection, tables: Sequence[TableShape]) -> None:
    """Let PostgreSQL give new rows numbers after those that were stored with rows.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection of a unit of work.
    tables : sequence of TableShape
        Tables that were filled.
    """
    if connection.dialect.name == "sqlite":
        return
    for table in tables:
        if table.key == ("id",):
            quoted = connection.dialect.identifier_preparer.quote(table.name)
            connection.exec_driver_sql(
                # An empty table keeps its numbers; setval refuses 0.
                f"SELECT setval(pg_get_serial_sequence('{quoted}', 'id'), max(id)) FROM {quoted} HAVING max(id) > 0"
            )
