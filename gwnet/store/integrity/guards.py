"""Triggers that keep recorded rows as they are, made from the models, so that a new table has them too.

A row of a recorded table changes in one way only: it is retired, once. Rows of all other tables of the record (codes,
samples, readings, files, states) never change and are never deleted. Copies that can be made anew, which a model
declares with ``{"info": {"guard": "copy"}}``, may be deleted but not altered. A table whose rows are completed within
the unit of work that records them says so with ``{"info": {"completed": columns}}``. SQLite lets ``INSERT OR REPLACE``
delete rows without any trigger for deletion, so a row with a key that is on record is refused before it is inserted.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Final

from sqlalchemy import Connection, Index, Table, text

from gwnet.store.models.schema import METADATA, RECORDED_TABLES

#: Columns that change when a row is retired.
RETIRED: Final = ("retired_at_utc", "retired_by", "retired_reason")

#: What a table declares whose rows can be made anew from others.
COPY: Final = "copy"

_KEPT: Final = "rows of {0} are never deleted"
_FIXED: Final = "rows of {0} are never altered"
_ONCE: Final = "rows of {0} are retired once and never altered otherwise"
_REPLACED: Final = "a row of {0} with this unique key is on record and never replaced"

#: Bodies of the functions of PostgreSQL.
_FUNCTIONS: Final = {
    "gwnet_refuse": """
BEGIN
    RAISE EXCEPTION USING MESSAGE = 'rows of ' || TG_TABLE_NAME || ' are never '
        || CASE TG_OP WHEN 'UPDATE' THEN 'altered' ELSE 'deleted' END;
END""",
    "gwnet_retire_once": """
DECLARE
    retired text[] := ARRAY['retired_at_utc', 'retired_by', 'retired_reason'];
BEGIN
    IF OLD.retired_at_utc IS NULL AND NEW.retired_at_utc IS NOT NULL
        AND to_jsonb(OLD) - retired = to_jsonb(NEW) - retired THEN
        RETURN NEW;
    END IF;
    IF TG_NARGS > 0 AND to_jsonb(OLD) - TG_ARGV = to_jsonb(NEW) - TG_ARGV
        AND NOT EXISTS (SELECT 1 FROM state WHERE recorded_at_utc >= OLD.recorded_at_utc) THEN
        RETURN NEW;
    END IF;
    RAISE EXCEPTION USING
        MESSAGE = 'rows of ' || TG_TABLE_NAME || ' are retired once and never altered otherwise';
END""",
}

#: On SQLite, what the exclusion constraint of PostgreSQL does: measuring points of one access in force at one time.
_NO_OVERLAP: Final = """
    CREATE TRIGGER guard_measuring_point_overlap_{0} {1} ON measuring_point WHEN NEW.retired_at_utc IS NULL
    BEGIN SELECT RAISE(ABORT, 'measuring points overlap') WHERE EXISTS (
        SELECT 1 FROM measuring_point AS other
        WHERE other.well_id = NEW.well_id AND other.access = NEW.access
        AND other.retired_at_utc IS NULL AND other.id IS NOT NEW.id
        AND (other.valid_until_utc IS NULL OR other.valid_until_utc > NEW.valid_from_utc)
        AND (NEW.valid_until_utc IS NULL OR NEW.valid_until_utc > other.valid_from_utc)
    ); END"""

#: Older names of guards, which revisions made.
_OLD: Final = re.compile(r"(tr|guard)_\w+")


def guarded_tables() -> tuple[Table, ...]:
    """Return the tables that have guards: all of the record."""
    return tuple(METADATA.sorted_tables)


def guards(dialect: str) -> dict[str, str]:
    """Return the statement that makes each trigger, by its name.

    Parameters
    ----------
    dialect : {"sqlite", "postgresql"}
        The database.

    Returns
    -------
    dict of str to str
        Statements in the order of the tables.
    """
    make = _on_sqlite if dialect == "sqlite" else _on_postgresql
    made = {name: " ".join(statement.split()) for table in guarded_tables() for name, statement in make(table)}
    if dialect == "sqlite":
        overlap = _NO_OVERLAP.format("insert", "BEFORE INSERT")
        made["guard_measuring_point_overlap_insert"] = " ".join(overlap.split())
    return made


def functions() -> dict[str, str]:
    """Return the bodies of the functions that triggers of PostgreSQL call, by their names."""
    return dict(_FUNCTIONS)


def renew_guards(connection: Connection) -> None:
    """Make the triggers of every table as this version of the program has them.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection of a unit of work that changes the schema.
    """
    dialect = connection.dialect.name
    for name, table in _standing(connection):
        # Those of earlier versions too, whose names differ.
        if _OLD.fullmatch(name):
            on_table = "" if dialect == "sqlite" else f" ON {table}"
            connection.execute(text(f"DROP TRIGGER {name}{on_table}"))
    if dialect == "postgresql":
        for name, body in _FUNCTIONS.items():
            statement = f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $${body}$$"
            connection.execute(text(statement))
    for statement in guards(dialect).values():
        connection.exec_driver_sql(statement)


def drop_key_guard(connection: Connection, table: str) -> None:
    """Drop the refusal of keys on record of a table of SQLite, in a transaction at whose end it is restored."""
    connection.exec_driver_sql(f"DROP TRIGGER guard_{table}_insert")


def restore_key_guard(connection: Connection, table: str) -> None:
    """Make the refusal of keys on record of a table of SQLite anew."""
    connection.exec_driver_sql(guards("sqlite")[f"guard_{table}_insert"])


def _standing(connection: Connection) -> list[tuple[str, str]]:
    """Return the triggers of a database with their tables."""
    if connection.dialect.name == "sqlite":
        query = "SELECT name, tbl_name FROM sqlite_master WHERE type = 'trigger'"
    else:
        query = (
            "SELECT tgname, relname FROM pg_trigger JOIN pg_class ON pg_class.oid = tgrelid"
            " WHERE NOT tgisinternal AND relnamespace = current_schema()::regnamespace"
        )
    return [(str(name), str(table)) for name, table in connection.execute(text(query))]


def _on_sqlite(table: Table) -> Iterator[tuple[str, str]]:
    name = table.name
    if not _is_copy(table):
        yield _sqlite(name, "delete", "BEFORE DELETE", "1", _KEPT)
        yield _sqlite(name, "insert", "BEFORE INSERT", " OR ".join(_taken(table)), _REPLACED)
    if name not in RECORDED_TABLES:
        yield _sqlite(name, "update", "BEFORE UPDATE", "1", _FIXED)
        return
    allowed = [_retires(table)]
    if completed := table.info.get("completed"):
        same = _same(table, completed)
        # Completed only in the unit of work that recorded it: no state is as new as the row.
        allowed.append(f"{same} AND NOT EXISTS (SELECT 1 FROM state WHERE recorded_at_utc >= OLD.recorded_at_utc)")
    condition = " AND ".join(f"NOT ({one})" for one in allowed)
    yield _sqlite(name, "update", "BEFORE UPDATE", condition, _ONCE)


def _sqlite(table: str, kind: str, when: str, condition: str, message: str) -> tuple[str, str]:
    name = f"guard_{table}_{kind}"
    clause = "" if condition == "1" else f" WHEN {condition}"
    return name, (
        f"CREATE TRIGGER {name} {when} ON {table}{clause} BEGIN SELECT RAISE(ABORT, '{message.format(table)}'); END"
    )


def _retires(table: Table) -> str:
    """Return the condition that an update retires a row and does nothing else."""
    return f"OLD.retired_at_utc IS NULL AND NEW.retired_at_utc IS NOT NULL AND {_same(table, RETIRED)}"


def _same(table: Table, but: tuple[str, ...]) -> str:
    """Return the condition that all columns but some stay as they are."""
    # IS, which also holds where both are NULL.
    return " AND ".join(f"NEW.{column.name} IS OLD.{column.name}" for column in table.columns if column.name not in but)


def _taken(table: Table) -> Iterator[str]:
    """Return the conditions that a key of a new row is on record."""
    yield _exists(table.name, [column.name for column in table.primary_key.columns], "")
    for index in sorted(table.indexes, key=lambda one: str(one.name)):
        if index.unique:
            yield _exists(table.name, [column.name for column in index.columns], _where(index))


def _exists(table: str, columns: list[str], where: str) -> str:
    same = " AND ".join(f"{name} = NEW.{name}" for name in columns)
    if not where:
        return f"EXISTS (SELECT 1 FROM {table} WHERE {same})"
    # The condition of the index must hold of the new row as well.
    of_new = re.sub(r"\b([a-z_]+)(?= IS )", r"NEW.\1", where)
    return f"({of_new} AND EXISTS (SELECT 1 FROM {table} WHERE {same} AND {where}))"


def _where(index: Index) -> str:
    """Return the condition of a partial index."""
    where = index.dialect_options["sqlite"]["where"]
    return "" if where is None else str(where)


def _on_postgresql(table: Table) -> Iterator[tuple[str, str]]:
    name = table.name
    if not _is_copy(table):
        yield _postgresql(name, "delete", "BEFORE DELETE", "ROW", "gwnet_refuse()")
        yield _postgresql(name, "truncate", "BEFORE TRUNCATE", "STATEMENT", "gwnet_refuse()")
    if name not in RECORDED_TABLES:
        yield _postgresql(name, "update", "BEFORE UPDATE", "ROW", "gwnet_refuse()")
        return
    arguments = ", ".join(f"'{column}'" for column in table.info.get("completed", ()))
    yield _postgresql(name, "update", "BEFORE UPDATE", "ROW", f"gwnet_retire_once({arguments})")


def _postgresql(table: str, kind: str, when: str, each: str, call: str) -> tuple[str, str]:
    name = f"guard_{table}_{kind}"
    return name, f"CREATE TRIGGER {name} {when} ON {table} FOR EACH {each} EXECUTE FUNCTION {call}"


def _is_copy(table: Table) -> bool:
    return bool(table.info.get("guard") == COPY)
