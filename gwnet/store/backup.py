"""Backup and restore: a verified copy of a record in use, and a record from it on either database.

A backup is a record in one SQLite file, whichever database it is made from. It is read back and compared with what was
read from the record, in one transaction, before it gets its name.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from dataclasses import replace as altered
from pathlib import Path

from sqlalchemy import Connection

from gwnet.errors import OutputError, StoreError
from gwnet.store import revision
from gwnet.store.copying import (
    TableShape,
    TableSum,
    advance_numbers,
    count_rows,
    list_tables,
    read_rows,
    store_rows,
    sum_up,
)
from gwnet.store.fetch.sources import compare_originals
from gwnet.store.session import Store, open_store, translated
from gwnet.whole_files import staged_file

#: Called with what is done and what there is in all.
Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Copied:
    """A copy of a record that was verified.

    Attributes
    ----------
    name : str
        File or database.
    revision : str
        Revision of its schema.
    tables, rows, originals : int
        How many tables, rows and kept files were compared.
    damaged : tuple of str
        Names of kept files whose bytes are not those of their SHA-256, in the record as in the copy.
    """

    name: str
    revision: str
    tables: int
    rows: int
    originals: int
    damaged: tuple[str, ...]

    def describe(self) -> str:
        """Return what was verified, as a sentence."""
        files = "1 original file" if self.originals == 1 else f"{self.originals:,} original files"
        return (
            f"Verified by reading it back: {self.tables} tables with {self.rows:,} rows have the same digests, "
            f"{files} were compared with their SHA-256, and the database has no fault."
        )


def make_backup(store: Store, target: Path, *, replace: bool = False, progress: Progress | None = None) -> Copied:
    """Copy a record, which may be in use, into a file and verify the copy.

    Parameters
    ----------
    store : gwnet.store.session.Store
        Open database.
    target : pathlib.Path
        File to make.
    replace : bool, optional
        Whether a file that is there may be replaced.
    progress : callable, optional
        Called with steps done and steps in all.

    Returns
    -------
    Copied
        What was copied and verified.

    Raises
    ------
    OutputError
        If the file is there already, or cannot be written.
    StoreError
        If the record cannot be read, is damaged, or the copy is another; no file is made then.
    """
    if target.exists() and not replace:
        message = "There is a file of this name already."
        raise OutputError(message, where=str(target), fix="Give another name, or say --replace.")
    # Replacing the record by a copy of itself would leave nothing to copy from.
    if store.is_sqlite and target.exists() and target.samefile(store.name):
        raise OutputError("The backup would replace the record itself.", where=str(target), fix="Give another name.")
    steps = _Steps(progress)
    with staged_file(target, "backup") as path, store.reading() as connection:
        tables = list_tables(connection)
        # Read, read back and, on a server, stored as well: two or three passes over all rows.
        steps.expect(sum(count_rows(connection, tables).values()), 2 if store.is_sqlite else 3)
        if store.is_sqlite:
            _copy_pages(connection, path, store.name)
        else:
            with _new_record(path) as copy:
                _copy_rows(connection, copy, tables, steps)
        # Without a write-ahead log, since a backup is one file that may be carried anywhere.
        _finish_file(path, "DELETE")
        sums = sum_up(connection, tables, steps.count)
        return _verified(path, sums, str(target), steps)


def restore_backup(file: Path, address: str | Path, *, progress: Progress | None = None) -> Copied:
    """Make a record from a backup, with both times of every row, and verify it.

    Parameters
    ----------
    file : pathlib.Path
        The backup.
    address : str or pathlib.Path
        Where the record is to be: a new SQLite file, or a database that holds nothing yet.
    progress : callable, optional
        Called with steps done and steps in all.

    Returns
    -------
    Copied
        What was copied and verified.

    Raises
    ------
    StoreError
        If the backup is none or is damaged, or there is a record at the address already; nothing is stored then.
    """
    steps = _Steps(progress)
    with closing(open_store(file)) as source, closing(open_store(address, create=True)) as target:
        at = revision.current(source)
        if at is None:
            raise StoreError("The file holds no gwnet record.", where=str(file), fix="Give a file of 'gwnet backup'.")
        with source.reading() as connection:
            _refuse_damage(connection, str(file))
            tables = list_tables(connection)
            # A new file is copied page by page; anything else is filled through the schema.
            is_new_file = target.is_sqlite and not Path(target.name).exists()
            steps.expect(sum(count_rows(connection, tables).values()), 2 if is_new_file else 3)
            sums = sum_up(connection, tables, steps.count)
            if is_new_file:
                with staged_file(Path(target.name), "record") as path:
                    _copy_pages(connection, path, target.name)
                    # A record that is worked on has a write-ahead log, so that readers do not wait for writers.
                    _finish_file(path, "WAL")
                    copied = _verified(path, sums, target.name, steps)
            else:
                copied = _fill(target, connection, tables, sums, at, steps)
    return copied


# --- copying ----------------------------------------------------------------------------------------------------------


def _copy_pages(connection: Connection, path: Path, name: str) -> None:
    """Copy an SQLite database page by page, as one state of it, while others may write to it."""
    connection.exec_driver_sql("SELECT count(*) FROM sqlite_master").scalar_one()  # fixes the state that is read
    raw = connection.connection.driver_connection
    assert isinstance(raw, sqlite3.Connection)
    try:
        with closing(sqlite3.connect(path)) as copy:
            raw.backup(copy)
    except sqlite3.Error as error:
        message = f"The record cannot be copied: {error}."
        raise StoreError(
            message, where=name, fix="Check that there is room on the disk; run 'gwnet doctor'."
        ) from error


@contextmanager
def _new_record(path: Path) -> Iterator[Store]:
    """Give a new, empty record in a file."""
    with closing(open_store(path, create=True)) as copy:
        revision.upgrade(copy)
        yield copy


def _fill(
    target: Store,
    source: Connection,
    tables: Sequence[TableShape],
    sums: dict[str, TableSum],
    at: str,
    steps: _Steps,
) -> Copied:
    """Fill an empty database with the rows of a backup and verify them before they are stored for good."""
    # Rows of another revision do not fit the tables of this one.
    if at != revision.HEAD:
        message = f"The backup is at revision {at}; only one of {revision.HEAD} can be restored into this database."
        fix = "Restore it into a new SQLite file, run 'gwnet upgrade' there, make a backup of that and restore it."
        raise StoreError(message, where=target.name, fix=fix)
    revision.upgrade(target)
    with target.altering() as connection:
        filled = [name for name, rows in count_rows(connection, list_tables(connection)).items() if rows]
        if filled:
            message = f"The database holds a record already (table {filled[0]})."
            raise StoreError(message, where=target.name, fix="Restore into a new file or an empty database.")
        _store_all(source, connection, tables, steps)
        return _compared(connection, sums, target.name, steps)


def _copy_rows(source: Connection, copy: Store, tables: Sequence[TableShape], steps: _Steps) -> None:
    with copy.altering() as connection:
        _store_all(source, connection, tables, steps)


def _store_all(source: Connection, connection: Connection, tables: Sequence[TableShape], steps: _Steps) -> None:
    """Store the rows of every table as they are."""
    if connection.dialect.name != "sqlite":
        # Values with a zone would come back in that of the server.
        connection.exec_driver_sql("SET LOCAL TIME ZONE 'UTC'")
    for table in tables:
        for rows in read_rows(source, table):
            store_rows(connection, table, rows)
            steps.count(len(rows))
    # Rows were stored with their numbers, which the server does not know of.
    advance_numbers(connection, tables)


def _finish_file(path: Path, journal: str) -> None:
    """Leave an SQLite file whole, without a journal beside it."""
    with translated(path.name), closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute(f"PRAGMA journal_mode = {journal}").fetchall()


# --- verifying --------------------------------------------------------------------------------------------------------


def _verified(path: Path, sums: dict[str, TableSum], name: str, steps: _Steps) -> Copied:
    """Read a copied file back and compare it with what was read from the record."""
    with closing(altered(open_store(path), name=name)) as copy, copy.reading() as connection:
        _refuse_damage(connection, name)
        return _compared(connection, sums, name, steps)


def _refuse_damage(connection: Connection, name: str) -> None:
    faults = connection.exec_driver_sql("PRAGMA integrity_check").scalars().all()
    # SQLite answers with one row "ok" or with as many as there are faults.
    if faults != ["ok"]:
        message = f"The database is damaged: {'; '.join(str(fault) for fault in faults[:3])}."
        raise StoreError(message, where=name, fix="Run 'gwnet doctor'; restore the newest backup that is whole.")
    orphans = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
    if orphans:
        message = f"{len(orphans)} rows refer to rows that do not exist, the first in table {orphans[0][0]}."
        raise StoreError(message, where=name, fix="Run 'gwnet doctor'; restore the newest backup that is whole.")


def _compared(connection: Connection, sums: dict[str, TableSum], name: str, steps: _Steps) -> Copied:
    found = sum_up(connection, list_tables(connection), steps.count)
    for table in sorted({*sums, *found}):
        if sums.get(table) != found.get(table):
            was, now = (0 if one is None else one.rows for one in (sums.get(table), found.get(table)))
            message = f"The copy is not the record: table {table} has {now:,} rows of {was:,}, or other values."
            raise StoreError(message, where=name, fix="Nothing was kept. Try again; run 'gwnet doctor'.")
    originals = list(compare_originals(connection))
    damaged = tuple(name for _, name, problem in originals if problem)
    rows = sum(one.rows for one in found.values())
    at = revision.current_of(connection) or ""
    return Copied(name, at, len(found), rows, len(originals), damaged)


class _Steps:
    """How far a copy is, in rows that were read or stored."""

    def __init__(self, progress: Progress | None) -> None:
        self._progress = progress
        self._done = 0
        self._total = 0

    def expect(self, rows: int, times: int) -> None:
        """Take note of how many rows there are, and how many times each is read or stored."""
        self._total = rows * times

    def count(self, more: int) -> None:
        """Count rows."""
        self._done += more
        if self._progress is not None:
            # A total below what is done would read as more than all.
            self._progress(self._done, max(self._total, self._done))
