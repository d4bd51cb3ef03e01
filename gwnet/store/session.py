"""Opening a database, and units of work.

`open_store` gives a `Store`; `Store.reading` and `Store.writing` are the only ways to a connection. A writing unit of
work takes the write lock at once (``BEGIN IMMEDIATE`` on SQLite, an advisory lock on PostgreSQL), and either commits
whole or rolls back whole; what it records makes one state of the record (see `gwnet.store.work`).
"""

from __future__ import annotations

import datetime as dt
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import quote

from sqlalchemy import URL, Connection, Engine, create_engine, event
from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from gwnet.errors import OverlapError, StoreError
from gwnet.records import RecordState
from gwnet.store.address import address_name, secrets_of, split_parameters, store_url, without_secrets
from gwnet.store.sqlite_files import WHAT_TO_DO, damage, innermost_module, read_only_parameters, unaltered, whole_file
from gwnet.store.waiting import Say, begin_writing_sqlite, lock_writing_postgresql
from gwnet.store.work import clock_of, open_work

_BUSY_TIMEOUT_S = 10.0

#: Memory in which SQLite keeps pages of the database; and while very much is written in one go [KiB].
_CACHE_KIB = 65_536
_SMALL_CACHE_KIB = 4_096

_MAKE_WRITABLE = "Make the file and its folder writable, or work on a copy."
_FREE_SPACE = "Free some space, then run the command again."

#: What a driver says, what it means, what to do.
_KNOWN_REFUSALS = (
    ("malformed", "The database is damaged ({0}).", WHAT_TO_DO),
    ("could not decode to utf-8", "The database is damaged ({0}).", WHAT_TO_DO),
    ("orphan index", "The database is damaged ({0}).", WHAT_TO_DO),
    ("database corruption", "The database is damaged ({0}).", WHAT_TO_DO),
    (
        "deadlock detected",
        "Another program changed the same rows outside of gwnet; nothing was written.",
        "Run the command again.",
    ),
    (
        "could not serialize",
        "Another program changed the same rows outside of gwnet; nothing was written.",
        "Run the command again.",
    ),
    ("database is locked", "Another program is writing to the database.", "Wait until it is done, then try again."),
    ("readonly database", "The database cannot be written.", _MAKE_WRITABLE),
    ("disk is full", "The disk is full; nothing was written.", _FREE_SPACE),
    ("no space left", "The disk is full; nothing was written.", _FREE_SPACE),
    ("disk i/o error", "The disk refused a write; nothing was written.", _FREE_SPACE),
    (
        "unable to open database file",
        "The database file cannot be opened.",
        "Check that its folder exists and is writable.",
    ),
    ("file is not a database", "The file is not a gwnet database.", "Give another file with --db."),
    ("connection refused", "The database server does not answer.", "Start it, or give another address with --db."),
    ("password authentication failed", "The database server refused the password.", "Check the address in --db."),
)


@dataclass
class Store:
    """An open database.

    Attributes
    ----------
    engine : sqlalchemy.Engine
        Engine with the pragmas of SQLite set.
    name : str
        How the database is called in messages: a file path, or a URL without password and parameters.
    secrets : tuple of str
        Texts of the address that no message may hold.
    looked_at : gwnet.records.RecordState or None
        State of the record that the last question was about.
    say : callable or None
        Takes sentences for the person who waits until another program has written.
    is_immutable : bool
        Whether it is a file on a medium that cannot be written, which is read without locks.
    """

    engine: Engine
    name: str
    secrets: tuple[str, ...] = field(default=(), repr=False)
    looked_at: RecordState | None = None
    say: Say | None = field(default=None, repr=False, compare=False)
    is_immutable: bool = False

    @property
    def is_sqlite(self) -> bool:
        """Return whether this is the embedded database."""
        return self.engine.dialect.name == "sqlite"

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Give a connection for reading, all of it from one state of the database."""
        with translated(self.name, self.secrets), self.engine.connect() as connection:
            if not self.is_sqlite:
                # the frames of a question are fetched one after another and must be of one state
                yield connection.execution_options(isolation_level="REPEATABLE READ")
                return
            with unaltered(self.name, is_watched=self.is_immutable), whole_file(connection, self.name):
                yield connection

    @contextmanager
    def writing(
        self, act: str, by: str, *, reason: str | None = None, now_utc: dt.datetime | None = None
    ) -> Iterator[Connection]:
        """Give a connection that records; commit at the end with the state that it makes, roll back on any exception.

        Parameters
        ----------
        act, by : str
            What is done, and who does it.
        reason : str, optional
            Why.
        now_utc : datetime.datetime, optional
            Aware time that counts as what the clock says; the database's clock unless given.

        Yields
        ------
        sqlalchemy.Connection
            Connection that holds the write lock; rows that it adds or retires carry
            `gwnet.store.work.recorded_at` of it.

        Raises
        ------
        RecordClockError
            If the clock is behind the newest state of the record.
        """
        with self.altering() as connection, open_work(connection, act, by, reason=reason, now_utc=now_utc):
            yield connection

    @contextmanager
    def altering(self) -> Iterator[Connection]:
        """Give a connection that holds the write lock and makes no state, for changes of the schema."""
        with translated(self.name, self.secrets), self.engine.connect() as connection:
            # Noted on the connection, so that the beginning of a transaction takes the lock at once.
            connection.execution_options(gwnet_writing=True, gwnet_say=self.say)
            with connection.begin():
                if not self.is_sqlite:
                    # One lock for all writing, so that two programs cannot lock rows in opposite order.
                    lock_writing_postgresql(connection, self.say)
                yield connection

    def now_utc(self) -> dt.datetime:
        """Return what the clock of the database says."""
        with self.reading() as connection:
            return clock_of(connection)

    def close(self) -> None:
        """Close every connection."""
        self.engine.dispose()


@contextmanager
def small_cache(connection: Connection) -> Iterator[None]:
    """Let SQLite keep few pages in memory while much is written, which it does in order.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection of a unit of work; nothing is done on PostgreSQL.
    """
    if connection.dialect.name != "sqlite":
        yield
        return
    # pages that are written once and in order are not worth keeping
    connection.exec_driver_sql(f"PRAGMA cache_size = -{_SMALL_CACHE_KIB}")
    try:
        yield
    finally:
        # Back to the usual size, since a connection is used again.
        connection.exec_driver_sql(f"PRAGMA cache_size = -{_CACHE_KIB}")


@contextmanager
def translated(name: str, secrets: Sequence[str] = ()) -> Iterator[None]:
    """Turn the driver's errors into the project's own.

    Parameters
    ----------
    name : str
        Name of the database for the message.
    secrets : sequence of str, optional
        Texts that the message may not hold; an error of the driver that holds one is not kept as the cause.

    Raises
    ------
    OverlapError
        If the database refused two measuring points in force at once.
    StoreError
        For every other error of the database.
    """
    try:
        yield
    except SQLAlchemyError as error:
        said = str(error.orig).strip() if isinstance(error, DBAPIError) else str(error)
        safe = without_secrets(said, secrets)
        if isinstance(error, DBAPIError):
            refused = store_error(safe, name)
        else:
            refused = StoreError(f"The database cannot be used: {safe}", where=name)
        # the chain of causes would print what was just hidden
        raise refused from (error if safe == said else None)
    except UnicodeDecodeError as error:  # even the driver's message about a damaged schema may be no text
        if not innermost_module(error).startswith(("sqlalchemy.", __name__)):
            raise
        raise damage("a name in its schema is no text", name) from error


def store_error(text: str, name: str) -> StoreError:
    """Return the project's own error for what a driver said.

    Parameters
    ----------
    text : str
        The driver's message.
    name : str
        Name of the database.

    Returns
    -------
    StoreError
        Error with a place and, for the usual causes, a fix.
    """
    lower = text.lower()
    # Drivers write their messages in any case.
    for needle, message, fix in _KNOWN_REFUSALS:
        if needle in lower:
            return StoreError(message.format(text), where=name, fix=fix)
    if "overlap" in lower or "ex_measuring_point" in lower:
        return OverlapError(
            "Two measuring points of one access would be in force at the same time.",
            where=name,
            fix="End the earlier one (valid_until) before the later one begins.",
        )
    return StoreError(f"The database refused: {text}", where=name)


def open_store(address: str | Path, *, create: bool = False, say: Say | None = None) -> Store:
    """Open a database.

    Parameters
    ----------
    address : str or pathlib.Path
        A SQLAlchemy URL, or the path of an SQLite file.
    create : bool, optional
        Whether a missing SQLite file may be made; otherwise it is an error, so that a mistyped name never makes an
        empty database.
    say : callable, optional
        Takes sentences for the person who waits until another program has written.

    Returns
    -------
    Store
        The open database; its schema is not looked at yet (see `gwnet.store.revision`).

    Raises
    ------
    StoreError
        If the file does not exist, the kind of database is unknown or its driver is not installed.
    """
    url = store_url(address)
    is_sqlite = url.get_backend_name() == "sqlite"
    name = address_name(url)
    # SQLite makes a missing file, and an empty record would hide the mistyped name
    if is_sqlite and not create and name not in {"", ":memory:"} and not Path(name).exists():
        message = f"There is no database {name!r}."
        raise StoreError(message, fix="Make one with 'gwnet init', or name another with --db.")
    # A server answers for its database itself, here only the file can be looked for.
    if not is_sqlite:
        return Store(_engine(url, name), name, secrets_of(url), say=say)
    parameters = read_only_parameters(Path(name)) if name not in {"", ":memory:"} else {}
    if parameters:
        path = quote(str(Path(name).absolute()))
        url = URL.create("sqlite", database=f"file:{path}", query={**parameters, "uri": "true"})
    return Store(_engine(url, name), name, is_immutable="immutable" in parameters, say=say)


def _engine(url: URL, name: str) -> Engine:
    """Return an engine; what stands in the address as a parameter is handed to the driver alone."""
    if url.get_backend_name() == "sqlite":
        with translated(name):
            engine = create_engine(url, connect_args={"timeout": _BUSY_TIMEOUT_S})
        event.listen(engine, "connect", _on_sqlite_connect)
        event.listen(engine, "begin", _on_sqlite_begin)
        return engine
    shown, parameters = split_parameters(url)
    try:
        with translated(name, secrets_of(url)):
            # A pooled connection may have been closed by the server meanwhile.
            return create_engine(shown, pool_pre_ping=True, connect_args=parameters)
    except ModuleNotFoundError as error:
        message = "The driver for PostgreSQL is not installed."
        raise StoreError(message, fix="Install it with: pip install 'gwnet[postgres]'") from error


def _on_sqlite_connect(connection: sqlite3.Connection, _record: object) -> None:
    """Set what every SQLite connection needs; transactions are begun by our own event."""
    # the driver begins transactions late and never for reading: ours begin when asked
    connection.isolation_level = None
    cursor = connection.cursor()
    # off by default, for each connection anew
    cursor.execute("PRAGMA foreign_keys = ON")
    cursor.execute("PRAGMA cell_size_check = ON")
    cursor.execute(f"PRAGMA cache_size = -{_CACHE_KIB}")
    cursor.execute("PRAGMA temp_store = MEMORY")
    cursor.close()


def _on_sqlite_begin(connection: Connection) -> None:
    options = connection.get_execution_options()
    if options.get("gwnet_writing", False):
        begin_writing_sqlite(connection, options.get("gwnet_say"), _BUSY_TIMEOUT_S)
    else:
        connection.exec_driver_sql("BEGIN")
