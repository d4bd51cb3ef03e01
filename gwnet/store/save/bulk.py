"""Storing many rows at once, column by column, on either database; retiring rows.

SQLite takes many rows a statement, PostgreSQL takes COPY. Both are several times as fast as one row a statement and
store the same values: times in UTC, NaN and NaT as null.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from itertools import chain, islice
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Boolean, Column, Connection, Date, Float, Integer, Table, bindparam, text

from gwnet.errors import ShapeError, StoreError
from gwnet.store.integrity.digests import Cells, added_part, canonical, covered_columns, is_described, retired_part
from gwnet.store.models.base import SQLITE_TIME_FORMAT, UtcDateTime
from gwnet.store.models.schema import METADATA
from gwnet.store.session import store_error
from gwnet.store.work import lift_key_guard, recorded_at, work_of

#: One column of many rows: an array, a list, or one value for all rows.
ColumnValues = Any

#: Columns that hold when a row was recorded: the instant of the open unit of work, which nobody else may give.
_RECORDED: Final = ("recorded_at_utc", "loaded_at_utc")

#: Rows from which on the refusal of keys on record costs more than it takes to do without it.
_MANY: Final = 1_000

_PARAMETERS_A_STATEMENT = 999
_ROWS_A_STATEMENT = 50


def reserve_ids(connection: Connection, table: str, count: int) -> NDArray[np.int64]:
    """Return ids that no other row of a table has or will get.

    Parameters as `gwnet.store.save`.

    Parameters
    ----------
    table : str
        Table with an integer ``id``.
    count : int
        How many.
    """
    if connection.dialect.name == "sqlite":
        # the writing transaction holds the only write lock, so no other row can get them
        last = connection.exec_driver_sql(f"SELECT coalesce(max(id), 0) FROM {_table(table).name}").scalar_one()
        return np.arange(last + 1, last + 1 + count, dtype=np.int64)
    statement = text("SELECT nextval(pg_get_serial_sequence(:table, 'id')) FROM generate_series(1, :count)")
    rows = connection.execute(statement, {"table": table, "count": count}).scalars()
    # another session may take numbers between these
    return np.sort(np.fromiter(rows, dtype=np.int64, count=count))


def insert_columns(connection: Connection, table: str, columns: Mapping[str, ColumnValues], count: int) -> int:
    """Store rows given as columns; when they are recorded is the instant of the open unit of work.

    Parameters as `gwnet.store.save`.

    Parameters
    ----------
    table : str
        Name of the table.
    columns : mapping of str to array, sequence or scalar
        Values by column; scalars hold for all rows. Instants are datetime64 arrays in UTC or aware datetimes; NaN and
        NaT become null.
    count : int
        Number of rows.

    Returns
    -------
    int
        Number of rows stored.

    Raises
    ------
    ShapeError
        If a column has another number of values.
    StoreError
        If the table or a column does not exist, the database refuses, or the columns say when they are recorded.
    """
    target = _table(table)
    on_sqlite = connection.dialect.name == "sqlite"
    if count == 0:
        return 0
    stamped = {**columns, **_stamp(connection, target, columns)}
    if "id" in target.c and "id" not in stamped:
        stamped["id"] = reserve_ids(connection, table, count)
    prepared = [
        _prepared(_column(target, name), values, count, on_sqlite=on_sqlite) for name, values in stamped.items()
    ]
    names = list(stamped)
    _note_added(connection, target, stamped, prepared, count)
    if on_sqlite:
        if count >= _MANY:  # a plain INSERT refuses a key that is on record by itself, as the guard does for others
            lift_key_guard(connection, target.name)
        _insert_sqlite(connection, target.name, names, prepared)
    else:
        _copy_postgresql(connection, target.name, names, prepared)
    return count


def retire(
    connection: Connection,
    table: str,
    ids: Sequence[int] | NDArray[np.int64],
    *,
    by: str,
    reason: str | None,
) -> int:
    """Retire live rows: from now on they are not on record, and stay for every earlier ``known_on``.

    Parameters as `gwnet.store.save`.

    Parameters
    ----------
    table : str
        A recorded table.
    ids : sequence of int
        Rows to retire.

    Returns
    -------
    int
        Number of rows retired.

    Raises
    ------
    StoreError
        If one of them is not live any more.
    """
    target = _table(table)
    statement = (
        target.update()
        # a row that someone else retired meanwhile is not matched, and the count below shows it
        .where(target.c.id == bindparam("row_id"), target.c.retired_at_utc.is_(None))
        .values(retired_at_utc=recorded_at(connection), retired_by=by, retired_reason=reason)
    )
    if len(ids) == 0:
        return 0
    told = {"retired_at_utc": recorded_at(connection), "retired_by": by, "retired_reason": reason}
    same = {name: canonical(target.c[name], [value])[0] for name, value in told.items()}
    # Described before it is done, as the count below may still refuse the whole unit of work.
    work_of(connection).parts.append(retired_part(target, [int(row_id) for row_id in ids], same))
    done = connection.execute(statement, [{"row_id": int(row_id)} for row_id in ids]).rowcount
    if done != len(ids):
        message = f"{len(ids) - done} of {len(ids)} rows of {table} are not live any more."
        raise StoreError(message, fix="Somebody else corrected them; look at the record and try again.")
    return done


def _note_added(
    connection: Connection, table: Table, given: Mapping[str, ColumnValues], prepared: list[Sequence[Any]], count: int
) -> None:
    """Describe rows that are added in the state that the open unit of work makes."""
    work = work_of(connection)
    if table.info.get("completed"):
        work.completed.setdefault(table.name, []).extend(int(number) for number in prepared[list(given).index("id")])
        return
    if not is_described(table):
        return
    covered = {column.name for column in covered_columns(table)}
    same: dict[str, Any] = {}
    each: dict[str, Cells] = {}
    for (name, values), cells in zip(given.items(), prepared, strict=True):
        if name not in covered:
            continue
        # A value common to all rows is described once, which keeps the parts of long files small.
        if _is_scalar(values) or _is_constant(values, cells):
            same[name] = _canonical(table.c[name], cells[:1])[0]
        else:
            each[name] = values if _is_canonical(table.c[name], values) else _canonical(table.c[name], cells)
    work.parts.append(added_part(table, same, each, count))


def _is_constant(values: ColumnValues, cells: Sequence[Any]) -> bool:
    """Return whether many values that were given one by one are all the same, as words of a column often are."""
    return not isinstance(values, np.ndarray) and len(cells) > 1 and cells.count(cells[0]) == len(cells)


def _is_canonical(column: Column[Any], values: ColumnValues) -> bool:
    """Return whether values are an array that is hashed as it is."""
    if not isinstance(values, np.ndarray):
        return False
    kinds = "iub" if isinstance(column.type, Integer | Boolean) else "f" if isinstance(column.type, Float) else ""
    return values.dtype.kind in kinds


def _canonical(column: Column[Any], cells: Sequence[Any]) -> list[Any]:
    """Return values as they are hashed; instants for COPY are text with their offset from UTC."""
    # COPY has instants with their offset, the digest without.
    if isinstance(column.type, UtcDateTime):
        cells = [cell.removesuffix("+00") if isinstance(cell, str) else cell for cell in cells]
    return canonical(column, cells)


def _table(name: str) -> Table:
    try:
        return METADATA.tables[name]
    except KeyError:
        message = f"There is no table {name!r} in the schema."
        raise StoreError(message) from None


def _stamp(connection: Connection, table: Table, columns: Mapping[str, ColumnValues]) -> dict[str, dt.datetime]:
    """Return the columns that say when rows are recorded."""
    names = [name for name in _RECORDED if name in table.c]
    if given := [name for name in names if name in columns]:
        message = f"Rows of {table.name} are given with {given[0]}; the unit of work alone says when they are recorded."
        raise StoreError(message)
    return dict.fromkeys(names, recorded_at(connection))


def _column(table: Table, name: str) -> Column[Any]:
    try:
        return table.c[name]
    except KeyError:
        message = f"Table {table.name!r} has no column {name!r}."
        raise StoreError(message) from None


def _prepared(column: Column[Any], values: ColumnValues, count: int, *, on_sqlite: bool) -> Sequence[Any]:
    """Return the values in the form that the driver takes, one a row."""
    if _is_scalar(values):
        return [_driver_value(column, values, on_sqlite=on_sqlite)] * count
    if len(values) != count:
        message = f"Column {column.name!r} has {len(values)} values; expected {count}."
        raise ShapeError(message)
    if isinstance(values, np.ndarray) and values.dtype != object:
        return _from_array(column, values, on_sqlite=on_sqlite)
    if isinstance(column.type, UtcDateTime | Date | Boolean):
        return [_driver_value(column, value, on_sqlite=on_sqlite) for value in values]
    return list(values)


def _is_scalar(values: ColumnValues) -> bool:
    return values is None or isinstance(values, str | bytes | int | float | dt.date | np.generic)


def _from_array(column: Column[Any], values: NDArray[Any], *, on_sqlite: bool) -> Sequence[Any]:
    kind = values.dtype.kind
    if kind == "M":
        return _from_instants(column, values, on_sqlite=on_sqlite)
    if kind == "f":
        listed: list[Any] = values.tolist()
        missing = np.flatnonzero(np.isnan(values))
        for index in missing:
            listed[index] = None
        return listed
    if kind == "b" and on_sqlite:
        return list(values.astype(np.int64).tolist())
    return list(values.tolist())


def _from_instants(column: Column[Any], values: NDArray[Any], *, on_sqlite: bool) -> list[Any]:
    missing = np.flatnonzero(np.isnat(values))
    if isinstance(column.type, UtcDateTime):
        words = np.char.replace(np.datetime_as_string(values.astype("datetime64[us]")), "T", " ")
        listed = words.tolist() if on_sqlite else [f"{word}+00" for word in words.tolist()]
    # Dates have no zone, so their text is the day alone.
    else:
        listed = np.datetime_as_string(values.astype("datetime64[D]")).tolist()
    for index in missing:
        listed[index] = None
    return listed


def _driver_value(column: Column[Any], value: Any, *, on_sqlite: bool) -> Any:
    """Return one value in the form that the driver takes."""
    if isinstance(value, np.generic) and not isinstance(value, np.datetime64):
        value = value.item()
    if value is None or (isinstance(value, float) and np.isnan(value)):
        return None
    if isinstance(column.type, UtcDateTime):
        if isinstance(value, np.datetime64):
            # Inserting it anyway would leave the reader to guess the zone.
            return _from_instants(column, np.array([value]), on_sqlite=on_sqlite)[0]
        if value.tzinfo is None:
            message = f"A time without a zone, {value.isoformat()}, cannot be stored."
            raise StoreError(message)
        in_utc = value.astimezone(dt.UTC)
        return in_utc.strftime(SQLITE_TIME_FORMAT) if on_sqlite else in_utc
    if isinstance(column.type, Date):
        return value.isoformat() if on_sqlite else value
    if isinstance(column.type, Boolean):
        return int(value) if on_sqlite else bool(value)
    return value


def _chunks(rows: Iterator[tuple[Any, ...]], size: int) -> Iterator[list[tuple[Any, ...]]]:
    while chunk := list(islice(rows, size)):
        yield chunk


def _insert_sqlite(connection: Connection, table: str, names: list[str], columns: list[Sequence[Any]]) -> None:
    one_row = f"({','.join('?' * len(names))})"
    head = f"INSERT INTO {table} ({','.join(names)}) VALUES "
    # Older versions of SQLite take at most 999 parameters in a statement.
    size = max(1, min(_ROWS_A_STATEMENT, _PARAMETERS_A_STATEMENT // len(names)))
    full = head + ",".join([one_row] * size)
    for chunk in _chunks(zip(*columns, strict=True), size):
        statement = full if len(chunk) == size else head + ",".join([one_row] * len(chunk))
        connection.exec_driver_sql(statement, tuple(chain.from_iterable(chunk)))


def _copy_postgresql(connection: Connection, table: str, names: list[str], columns: list[Sequence[Any]]) -> None:
    import psycopg

    raw = connection.connection.driver_connection
    assert isinstance(raw, psycopg.Connection)
    try:
        with raw.cursor() as cursor, cursor.copy(f"COPY {table} ({','.join(names)}) FROM STDIN") as copy:
            for row in zip(*columns, strict=True):
                copy.write_row(row)
    except psycopg.Error as error:
        raise store_error(str(error).strip(), table) from error
