"""The database itself: its file or its indexes, its schema, keys between tables, guards and revision."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from typing import Final

from sqlalchemy import Connection, ForeignKeyConstraint, text

from gwnet.store import revision
from gwnet.store.integrity.finding import RESTORE, Finding
from gwnet.store.integrity.guards import functions, guards
from gwnet.store.models.schema import METADATA
from gwnet.store.session import open_store

_FILE: Final = "integrity of the database"
_KEYS: Final = "keys between tables"
_GUARDS: Final = "triggers"
_SCHEMA: Final = "schema"
_REVISION: Final = "revision"

#: Most messages of the database's own check that are listed.
_MOST: Final = 20

_RENEW: Final = (
    "Find out who removed or changed it and check what was written since; 'gwnet doctor --renew' makes it anew."
)


class NotChecked(Exception):  # noqa: N818 (not an error: it only says why a check did not run)
    """Says why a check cannot run on this database."""


def check_database(connection: Connection) -> Iterator[Finding]:
    """Let the database check its file, or its indexes where the server has the extension for it.

    Parameters as `gwnet.store.integrity`.

    Yields
    ------
    Finding
        One a message of the database.

    Raises
    ------
    NotChecked
        If the server cannot check.
    """
    if connection.dialect.name == "sqlite":
        rows = connection.exec_driver_sql(f"PRAGMA integrity_check({_MOST})").scalars().all()
        for row in rows:
            # A sound file gives one row "ok".
            if row != "ok":
                yield Finding(_FILE, f"The file is damaged: {row}.", RESTORE)
        return
    query = "SELECT nspname FROM pg_extension JOIN pg_namespace ON pg_namespace.oid = extnamespace"
    schema = connection.execute(text(f"{query} WHERE extname = 'amcheck'")).scalar_one_or_none()
    # Without the extension a server cannot check its indexes, and nothing is said to be clean.
    if schema is None:
        raise NotChecked("the server lacks the extension amcheck; CREATE EXTENSION amcheck adds it")
    indexes = (
        "SELECT indexrelid, indexrelid::regclass::text FROM pg_index JOIN pg_class ON pg_class.oid = indexrelid"
        " JOIN pg_am ON pg_am.oid = relam WHERE amname = 'btree' AND relnamespace = current_schema()::regnamespace"
    )
    for number, name in connection.execute(text(indexes)).all():
        try:
            # In a savepoint: on PostgreSQL an error ends the transaction, and the other indexes wait.
            with connection.begin_nested():
                connection.execute(text(f"SELECT {schema}.bt_index_check({int(number)})"))
        except Exception as error:  # a damaged index may give any error
            yield Finding(_FILE, f"The index {name} is damaged: {error}.", f"REINDEX INDEX {name}; then run it again.")


def check_foreign_keys(connection: Connection) -> Iterator[Finding]:
    """Check that what rows refer to is there; on PostgreSQL, that every constraint for it stands and was checked.

    Parameters as `gwnet.store.integrity`.

    Yields
    ------
    Finding
        One a row, or one a constraint.
    """
    if connection.dialect.name == "sqlite":
        for table, row, parent, _ in connection.exec_driver_sql("PRAGMA foreign_key_check").all()[:_MOST]:
            message = f"Row {row} of {table} refers to a row of {parent} that is not there."
            yield Finding(_KEYS, message, RESTORE, None, table, row)
        return
    query = "SELECT conname FROM pg_constraint WHERE contype = 'f' AND convalidated"
    standing = set(connection.execute(text(query)).scalars())
    for table in METADATA.sorted_tables:
        for constraint in table.constraints:
            if isinstance(constraint, ForeignKeyConstraint) and str(constraint.name) not in standing:
                message = f"The constraint {constraint.name} of {table.name} is missing or was not checked."
                yield Finding(_KEYS, message, RESTORE, None, table.name)


def check_guards(connection: Connection) -> Iterator[Finding]:
    """Check that every table has its triggers, as this version of the program makes them, and that they are on.

    Parameters as `gwnet.store.integrity`.

    Yields
    ------
    Finding
        One a trigger or function that is missing, changed or unknown.
    """
    expected = guards(connection.dialect.name)
    if connection.dialect.name == "sqlite":
        query = "SELECT name, tbl_name, sql FROM sqlite_master WHERE type = 'trigger'"
        standing = {
            name: " ".join(str(sql).split()) if f" ON {table}" in str(sql) else f"said to be of {table}"
            for name, table, sql in connection.execute(text(query))
        }
    else:
        query = (
            "SELECT tgname, replace(pg_get_triggerdef(pg_trigger.oid), ' ON ' || nspname || '.', ' ON '), tgenabled"
            " FROM pg_trigger JOIN pg_class ON pg_class.oid = tgrelid"
            " JOIN pg_namespace ON pg_namespace.oid = relnamespace"
            " WHERE NOT tgisinternal AND relnamespace = current_schema()::regnamespace"
        )
        rows = connection.execute(text(query)).all()
        # "O" and "A" are on for ordinary sessions; "R" and "D" are not.
        standing = {name: made if enabled in ("O", "A") else "switched off" for name, made, enabled in rows}
        bodies = {
            str(row.proname): str(row.prosrc) for row in connection.execute(text("SELECT proname, prosrc FROM pg_proc"))
        }
        for name, body in functions().items():
            if bodies.get(name) != body:
                yield Finding(_GUARDS, f"The function {name} of the triggers is missing or changed.", _RENEW)
    for name in sorted({*expected, *standing}):
        if standing.get(name) != expected.get(name):
            what = "missing" if name not in standing else "not one of gwnet" if name not in expected else "changed"
            yield Finding(_GUARDS, f"The trigger {name} is {what}.", _RENEW)


def check_schema(connection: Connection) -> Iterator[Finding]:
    """Check tables and indexes against those of a new database.

    Parameters as `gwnet.store.integrity`.

    Yields
    ------
    Finding
        One a table or index that is missing or made otherwise.
    """
    if connection.dialect.name == "sqlite":
        standing, expected = _sqlite_schema(connection), _new_sqlite_schema()
    else:
        query = "SELECT indexname, '' FROM pg_indexes WHERE schemaname = current_schema()"
        standing = dict(connection.execute(text(query)).all())
        expected = {str(index.name): "" for table in METADATA.sorted_tables for index in table.indexes}
        expected |= {f"pk_{table.name}": "" for table in METADATA.sorted_tables if f"pk_{table.name}" in standing}
        # Indexes that somebody added on a server change no row; only missing ones matter.
        standing = {name: standing[name] for name in standing if name in expected}
    for name in sorted({*expected, *standing}):
        if standing.get(name) != expected.get(name):
            what = "missing" if name not in standing else "unknown" if name not in expected else "not as gwnet makes it"
            yield Finding(_SCHEMA, f"The table or index {name} is {what}.", RESTORE, None, name)


def _sqlite_schema(connection: Connection) -> dict[str, str]:
    query = "SELECT name, tbl_name, sql FROM sqlite_master WHERE type <> 'trigger' AND name NOT LIKE 'sqlite_stat%'"
    return {name: f"{table} {sql}" for name, table, sql in connection.execute(text(query))}


@cache
def _new_sqlite_schema() -> dict[str, str]:
    store = open_store(":memory:", create=True)
    try:
        revision.upgrade(store)
        with store.reading() as connection:
            return _sqlite_schema(connection)
    finally:
        store.close()


def check_revision(connection: Connection) -> Iterator[Finding]:
    """Check that the database says one revision, the one that this version works with.

    Parameters as `gwnet.store.integrity`.

    Yields
    ------
    Finding
        Where it says another, several or none.
    """
    rows = connection.execute(text("SELECT version_num FROM alembic_version")).scalars().all()
    if rows == [revision.HEAD]:
        return
    said = ", ".join(map(str, rows)) or "none"
    message = f"The database says revision {said}; this version of gwnet works with {revision.HEAD}."
    fix = (
        "Make a backup, then run 'gwnet upgrade'."
        if len(rows) == 1 and rows[0] in revision.REVISIONS
        else "One row is expected in alembic_version. Restore a backup, or use the version of gwnet that made it."
    )
    yield Finding(_REVISION, message, fix, None, "alembic_version")
