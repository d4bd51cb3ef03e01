"""Changes a record behind the program's back: one column of one row, a row more, a row less, with or without triggers."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, MetaData, Table, create_engine, inspect, text
from sqlalchemy.exc import DBAPIError

from gwnet.store.session import store_url

#: Triggers as they are.
GUARDED = "guarded"
#: Ways to make a change, by the database.
WAYS = {"sqlite": (GUARDED, "dropped"), "postgresql": (GUARDED, "replica", "disabled")}


@dataclass(frozen=True)
class Change:
    """One change.

    Attributes
    ----------
    kind : str
        ``update``, ``delete``, ``insert`` (a row again under a new number), ``upsert`` (a row with its own key, which
        updates the one on record), ``replace`` (SQLite's own verb), ``truncate`` or ``truncate cascade`` (PostgreSQL's).
    table, column : str
        Where; the column is that which is changed. Without a table all are meant.
    """

    kind: str
    table: str
    column: str = ""

    def __str__(self) -> str:
        return f"{self.kind} {self.table or 'all'}{'.' if self.column else ''}{self.column}"


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
        kinds = ["delete", "insert", "upsert"]
        kinds += ["replace"] if "://" not in url else ["truncate", "truncate cascade"]
        listed += [Change(kind, table.name) for kind in kinds]
    return [*listed, Change("truncate", "")] if "://" in url else listed


def is_refused(url: str, change: Change, way: str = GUARDED) -> bool | None:
    """Make a change; return whether the database refused it, None where there is nothing to be changed.

    Parameters
    ----------
    url : str
        Address of the record.
    change : Change
        What to do.
    way : str
        One of `WAYS`: with triggers as they are, or without them, which are put back afterwards; then foreign keys are
        not looked at, either.
    """
    try:
        with _connected(url) as connection, _triggers_away(connection, change, way):
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
def _triggers_away(connection: Connection, change: Change, way: str) -> Iterator[None]:
    """Do something while no trigger looks, as one who knows the database can."""
    if way == GUARDED:
        yield
    elif way == "dropped":
        query = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
        triggers = connection.exec_driver_sql(query).all()
        for name, _ in triggers:
            connection.exec_driver_sql(f'DROP TRIGGER "{name}"')
        yield
        for _, statement in triggers:
            connection.exec_driver_sql(statement)
    elif way == "replica":
        connection.exec_driver_sql("SET LOCAL session_replication_role = replica")
        yield
    else:
        names = [change.table] if change.table and "cascade" not in change.kind else _names(connection)
        for name in names:
            connection.exec_driver_sql(f'ALTER TABLE "{name}" DISABLE TRIGGER ALL')
        yield
        for name in names:
            connection.exec_driver_sql(f'ALTER TABLE "{name}" ENABLE TRIGGER ALL')


def _names(connection: Connection) -> list[str]:
    return [name for name in inspect(connection).get_table_names() if name != "alembic_version"]


def _make(connection: Connection, change: Change) -> bool:
    if change.kind.startswith("truncate"):
        names = ", ".join(f'"{name}"' for name in ([change.table] if change.table else _names(connection)))
        connection.exec_driver_sql(f"TRUNCATE {names} {change.kind.removeprefix('truncate')}")
        return True
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
        return _insert(connection, table, row, change.kind)
    return True


def _insert(connection: Connection, table: Table, row: dict[str, Any], kind: str) -> bool:
    """Insert a row again with another text or number in it; under its own key to replace it, else under a new one."""
    fresh = dict(row)
    if kind == "insert":
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
    verb = "INSERT OR REPLACE" if kind == "replace" else "INSERT"
    statement = f'{verb} INTO "{table.name}" ({columns}) VALUES ({marks})'
    if kind == "upsert":
        if not free:
            return False
        key = ", ".join(f'"{column.name}"' for column in table.primary_key)
        statement += f' ON CONFLICT ({key}) DO UPDATE SET "{free[0].name}" = excluded."{free[0].name}"'
    connection.execute(text(statement), fresh)
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
