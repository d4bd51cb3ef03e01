"""Changes a record behind the program's back: one column of one row, a row more, a row less, with or without triggers."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, MetaData, Table, create_engine, text
from sqlalchemy.exc import DBAPIError

from gwnet.store.session import store_url


@dataclass(frozen=True)
class Change:
    """One change.

    Attributes
    ----------
    kind : str
        ``update``, ``delete``, ``insert`` (a row again under a new number) or ``replace`` (SQLite's own verb).
    table, column : str
        Where; the column is that which is changed.
    """

    kind: str
    table: str
    column: str = ""

    def __str__(self) -> str:
        return f"{self.kind} {self.table}{'.' if self.column else ''}{self.column}"


def tables(url: str) -> list[Table]:
    """Return the tables of a record that have rows."""
    with _connected(url) as connection:
        metadata = MetaData()
        metadata.reflect(connection)
        return [
            table
            for table in metadata.sorted_tables
            if table.name != "alembic_version"
            and connection.execute(text(f'SELECT 1 FROM "{table.name}" LIMIT 1')).first()
        ]


def changes(url: str) -> list[Change]:
    """Return every change of one column, and of one row, of every table that has rows."""
    listed = []
    for table in tables(url):
        listed += [Change("update", table.name, column.name) for column in table.columns]
        listed += [Change("delete", table.name), Change("insert", table.name)]
        if "://" not in url:
            listed.append(Change("replace", table.name))
    return listed


def is_refused(url: str, change: Change, *, without_triggers: bool) -> bool | None:
    """Make a change; return whether the database refused it, None where there is nothing to be changed.

    Parameters
    ----------
    url : str
        Address of the record.
    change : Change
        What to do.
    without_triggers : bool
        Whether triggers are taken away before and put back afterwards, and foreign keys are not looked at.
    """
    try:
        with _connected(url) as connection, _triggers_away(connection, without_triggers):
            return None if not _make(connection, change) else False
    except DBAPIError:
        return True


@contextmanager
def _connected(url: str) -> Iterator[Connection]:
    engine = create_engine(store_url(url))
    try:
        with engine.connect() as connection, connection.begin():
            if "://" not in url:
                connection.exec_driver_sql("PRAGMA foreign_keys = OFF")
            yield connection
    finally:
        engine.dispose()


@contextmanager
def _triggers_away(connection: Connection, wanted: bool) -> Iterator[None]:
    """Do something while no trigger looks, as one who knows the database can."""
    if not wanted:
        yield
    elif connection.dialect.name == "sqlite":
        query = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
        triggers = connection.exec_driver_sql(query).all()
        for name, _ in triggers:
            connection.exec_driver_sql(f'DROP TRIGGER "{name}"')
        yield
        for _, statement in triggers:
            connection.exec_driver_sql(statement)
    else:
        connection.exec_driver_sql("SET LOCAL session_replication_role = replica")
        yield


def _make(connection: Connection, change: Change) -> bool:
    metadata = MetaData()
    metadata.reflect(connection, only=[change.table], resolve_fks=False)
    table = metadata.tables[change.table]
    keys = [column.name for column in table.primary_key] or [column.name for column in table.columns]
    rows = [dict(row) for row in connection.execute(text(f'SELECT * FROM "{table.name}"')).mappings()]
    if change.kind == "update":
        rows = [row for row in rows if row[change.column] is not None] or rows
    row = rows[len(rows) // 2]
    where = " AND ".join(f'"{name}" = :key_{name}' for name in keys if row[name] is not None)
    named = {f"key_{name}": row[name] for name in keys}
    if change.kind == "update":
        values = {"value": _other(row[change.column], table.c[change.column])}
        connection.execute(text(f'UPDATE "{table.name}" SET "{change.column}" = :value WHERE {where}'), values | named)
    elif change.kind == "delete":
        connection.execute(text(f'DELETE FROM "{table.name}" WHERE {where}'), named)
    else:
        return _insert(connection, table, row, replace=change.kind == "replace")
    return True


def _insert(connection: Connection, table: Table, row: dict[str, Any], *, replace: bool) -> bool:
    """Insert a row again with another text or number in it; under its own key to replace it, else under a new one."""
    fresh = dict(row)
    if not replace:
        key = next((name for name in ("id", "serial", "ordinal", "time_ms", "first_ms") if name in row), None)
        if key is None:
            return False
        newest = connection.execute(text(f'SELECT max("{key}") FROM "{table.name}"')).scalar_one()
        fresh[key] = newest + 1
    own = [column for column in table.columns if not column.primary_key and not column.foreign_keys]
    free = [column for column in own if isinstance(row[column.name], str | float | bytes)]
    if free:
        fresh[free[0].name] = _other(row[free[0].name], free[0])
    columns = ", ".join(f'"{name}"' for name in fresh)
    marks = ", ".join(f":{name}" for name in fresh)
    verb = "INSERT OR REPLACE" if replace else "INSERT"
    connection.execute(text(f'{verb} INTO "{table.name}" ({columns}) VALUES ({marks})'), fresh)
    return True


def _other(value: Any, column: Any) -> Any:
    """Return another value of the same kind."""
    if isinstance(value, bool):
        return not value
    if isinstance(value, int | float):
        return value + 1
    if isinstance(value, bytes | memoryview):
        content = bytearray(bytes(value))
        content[len(content) // 2] ^= 0x10
        return bytes(content)
    if isinstance(value, str):
        if value[:4].isdigit() and value[4:5] == "-":
            return f"{int(value[:4]) - 1:04d}{value[4:]}"
        return f"{value[:-1]}{'y' if value[-1:] != 'y' else 'z'}"
    if value is not None:  # a date or an instant
        import datetime as dt

        return value - dt.timedelta(days=1)
    kind = str(column.type).upper()
    if any(word in kind for word in ("INT", "FLOAT", "DOUBLE", "REAL", "NUMERIC")):
        return 1
    if "DATE" in kind or "TIME" in kind:
        return "2024-01-01" if kind == "DATE" else "2024-01-01 00:00:00.000000"
    if "BOOL" in kind:
        return True
    return b"x" if "BLOB" in kind or "BYTEA" in kind else "x"
