"""Waiting for the write lock: one writing unit of work at a time, the others in turn, with words for who waits.

Whoever waits goes on waiting as long as others get on, and gives up when nobody has recorded anything for a minute: a
program that hangs holds up nobody for ever, and a queue of long loads is no error.
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

from sqlalchemy import Connection, text
from sqlalchemy.exc import OperationalError

from gwnet.errors import StoreError

#: Takes a sentence for the person who waits.
Say = Callable[[str], None]

#: How long one program may hold the lock and record nothing, until those who wait give up [s].
PATIENCE_S: Final = 60.0

#: After how long a wait is reported first, and how often from then on [s].
_FIRST_WORD_S: Final = 2.0
_NEXT_WORD_S: Final = 10.0

#: A shorter wait is not reported [s].
_SHORT_S: Final = 1.0

#: Shortest and longest pause until SQLite's lock is tried again, chosen at random so that all have the same chance [s].
_PAUSES_S: Final = (0.01, 0.04)

#: How often somebody who waits looks whether others get on [s].
_LOOK_S: Final = 0.5

_SQLITE_BUSY: Final = 5
_LOCK_NOT_AVAILABLE: Final = "55P03"
_LOCK: Final = "hashtext('gwnet'), hashtext(current_schema())"


def begin_writing_sqlite(connection: Connection, say: Say | None, timeout_s: float) -> None:
    """Begin a transaction of SQLite that holds the write lock, once it is free.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection without a transaction.
    say : callable, optional
        Takes sentences about the wait.
    timeout_s : float
        How long other statements wait for locks, as before [s].

    Raises
    ------
    StoreError
        If it does not become free.
    """
    wait: _Wait | None = None
    # Without its own waiting, as SQLite's is not fair: whoever asks last may go first.
    connection.exec_driver_sql("PRAGMA busy_timeout = 0")
    try:
        while True:
            try:
                connection.exec_driver_sql("BEGIN IMMEDIATE")
                break
            except OperationalError as error:
                # The low byte is the kind of error; the rest says which variety of it.
                if getattr(error.orig, "sqlite_errorcode", 0) & 0xFF != _SQLITE_BUSY:
                    raise
            wait = wait or _Wait(connection, say)
            wait.look()
            time.sleep(random.uniform(*_PAUSES_S))
    finally:
        # Reading waits for a lock in the usual way again.
        connection.exec_driver_sql(f"PRAGMA busy_timeout = {round(timeout_s * 1000)}")
    if wait is not None:
        wait.end()


def lock_writing_postgresql(connection: Connection, say: Say | None) -> None:
    """Take the lock that one writing unit of work on PostgreSQL holds at a time, once it is free.

    The server hands it to those who wait in their order. All tables and rows are locked under it alone, so that no two
    units of work can lock each other out.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection at the beginning of its transaction; the lock is held until its end.
    say : callable, optional
        Takes sentences about the wait.

    Raises
    ------
    StoreError
        If it does not become free.
    """
    # Without waiting first, so that nothing is said where nothing is in the way.
    if connection.execute(text(f"SELECT pg_try_advisory_xact_lock({_LOCK})")).scalar_one():
        return
    wait = _Wait(connection, say)
    patience_s = _FIRST_WORD_S
    while not _lock_within(connection, patience_s):
        wait.look()
        patience_s = _NEXT_WORD_S
    connection.exec_driver_sql("SET LOCAL lock_timeout TO DEFAULT")
    wait.end()


def _lock_within(connection: Connection, patience_s: float) -> bool:
    """Return whether the lock was handed over in time."""
    try:
        # In a savepoint, as a timeout ends the transaction that it happens in.
        with connection.begin_nested():
            connection.exec_driver_sql(f"SET LOCAL lock_timeout = {round(patience_s * 1000)}")
            connection.execute(text(f"SELECT pg_advisory_xact_lock({_LOCK})"))
    except OperationalError as error:
        if getattr(error.orig, "sqlstate", None) != _LOCK_NOT_AVAILABLE:
            raise
        return False
    return True


@dataclass
class _Wait:
    """One wait for the write lock."""

    connection: Connection
    say: Say | None
    began: float = field(default_factory=time.monotonic)
    first_serial: int = -1
    serial: int = -1
    moved: float = 0.0
    looked: float = 0.0
    told: float = 0.0

    def __post_init__(self) -> None:
        self.first_serial = self.serial = self._newest_serial()
        self.moved = self.looked = self.told = self.began

    def look(self) -> None:
        """Look whether others get on; say that one waits, and give up where nobody does."""
        now = time.monotonic()
        if now - self.looked < _LOOK_S:
            return
        self.looked = now
        serial = self._newest_serial()
        # Somebody recorded a state: the queue moves, and patience begins anew.
        if serial != self.serial:
            self.serial, self.moved = serial, now
        if now - self.moved > PATIENCE_S:
            message = (
                f"Another program has been writing to the record for {now - self.moved:.0f} s. Nothing was written."
            )
            raise StoreError(message, fix="Wait until it is done or end it, then run the command again.")
        pause_s = _FIRST_WORD_S if self.told == self.began else _NEXT_WORD_S
        if self.say is not None and now - self.told >= pause_s:
            self.told = now
            self.say(f"waiting for another program that writes to the record ({now - self.began:.0f} s)")

    def _newest_serial(self) -> int:
        """Return the number of the newest state, and hold no lock that whoever writes might wait for."""
        if self.connection.dialect.name == "sqlite":
            return newest_serial(self.connection)
        savepoint = self.connection.begin_nested()
        try:
            return newest_serial(self.connection)
        finally:
            savepoint.rollback()

    def end(self) -> None:
        """Say for how long and for what one has waited."""
        waited_s = time.monotonic() - self.began
        if self.say is None or waited_s < _SHORT_S:
            return
        acts = _acts_since(self.connection, self.first_serial)
        self.say(f"waited {waited_s:.0f} s for {'; '.join(acts) or 'another program'}")


def newest_serial(connection: Connection) -> int:
    """Return the serial number of the newest state; 0 where nothing is recorded, and in a record without states.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Any connection.

    Returns
    -------
    int
        The number.
    """
    if not _has_states(connection):
        return 0
    return int(connection.exec_driver_sql("SELECT coalesce(max(serial), 0) FROM state").scalar_one())


def _has_states(connection: Connection) -> bool:
    if connection.dialect.name == "sqlite":
        words = "SELECT count(*) FROM sqlite_master WHERE type = 'table' AND name = 'state'"
    else:
        words = "SELECT count(to_regclass('state'))"
    return bool(connection.exec_driver_sql(words).scalar_one())


def _acts_since(connection: Connection, serial: int, most: int = 3) -> list[str]:
    """Return what was recorded meanwhile, and by whom."""
    if not _has_states(connection):
        return []
    words = text("SELECT serial, act, recorded_by FROM state WHERE serial > :serial ORDER BY serial")
    rows = connection.execute(words, {"serial": serial}).all()
    acts = [f"'{act}' by {by} (state {number})" for number, act, by in rows[:most]]
    return [*acts, f"{len(rows) - most} more"] if len(rows) > most else acts
