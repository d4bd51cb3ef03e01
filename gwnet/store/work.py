"""Writing units of work: each that records something makes a state of the record.

Serial number and instant of a state are allotted while the write lock is held, so states follow one another in time
as they do in the record. The instant is what the clock of the database says, or the microsecond after the newest
state where the clock has not passed that yet. Every row that is added or retired carries it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from sqlalchemy import Connection, RowMapping, func, select

from gwnet.errors import RecordClockError, SettingsError, StoreError
from gwnet.records import RecordState
from gwnet.store.integrity.chain import state_digest
from gwnet.store.integrity.digests import Part
from gwnet.store.integrity.guards import drop_key_guard, restore_key_guard
from gwnet.store.models.base import SQLITE_TIME_FORMAT
from gwnet.store.models.schema import METADATA, RECORDED_TABLES
from gwnet.store.models.states import State
from gwnet.version import __version__

if TYPE_CHECKING:
    from gwnet.store.session import Store

#: How far a clock may lag behind the one that recorded the newest state: clocks of several computers differ a little.
CLOCK_SLACK: Final = dt.timedelta(seconds=2)

#: The act that gives a record from before states its first one.
UPGRADE: Final = "upgrade"

#: The act of going on after instants that are ahead of the clock.
ACCEPT_CLOCK: Final = "accept clock"

_MICROSECOND: Final = dt.timedelta(microseconds=1)

#: Where the open unit of work is kept with its connection.
_OPEN: Final = "gwnet_work"


@dataclass
class Work:
    """One open writing unit of work.

    Attributes
    ----------
    act, by : str
        What is done, and who does it.
    reason : str or None
        Why.
    clock_utc : datetime.datetime
        What the clock said when the write lock was held.
    serial : int
        Number of the state that this unit of work makes if it records something.
    recorded_at : datetime.datetime
        Instant that every row carries that it adds or retires.
    previous_digest : str or None
        Digest of the state before.
    parts : list of gwnet.store.integrity.digests.Part
        Rows that were added or retired.
    completed : dict of str to list of int
        Rows whose columns are known only at the end, by their tables.
    lifted : set of str
        Tables whose refusal of keys on record is off until the end.
    """

    act: str
    by: str
    reason: str | None
    clock_utc: dt.datetime
    serial: int
    recorded_at: dt.datetime
    previous_digest: str | None
    parts: list[Part] = field(default_factory=list)
    completed: dict[str, list[int]] = field(default_factory=dict)
    lifted: set[str] = field(default_factory=set)


def clock_of(connection: Connection) -> dt.datetime:
    """Return what the clock of the database says: of the server, or of this computer for SQLite.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Any connection.

    Returns
    -------
    datetime.datetime
        Aware time in UTC.
    """
    if connection.dialect.name == "sqlite":
        words = connection.exec_driver_sql("SELECT strftime('%Y-%m-%d %H:%M:%f', 'now')").scalar_one()
        return dt.datetime.strptime(words, SQLITE_TIME_FORMAT).replace(tzinfo=dt.UTC)
    moment: dt.datetime = connection.exec_driver_sql("SELECT clock_timestamp()").scalar_one()
    return moment.astimezone(dt.UTC)


def recorded_at(connection: Connection) -> dt.datetime:
    """Return the instant that rows carry that are added or retired in the open unit of work.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection of a writing unit of work.

    Returns
    -------
    datetime.datetime
        Aware time in UTC.

    Raises
    ------
    StoreError
        If the connection is not one of a writing unit of work.
    """
    return work_of(connection).recorded_at


def work_of(connection: Connection) -> Work:
    """Return the open unit of work of a connection.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection of a writing unit of work.

    Returns
    -------
    Work
        The unit of work.

    Raises
    ------
    StoreError
        If the connection is not one of a writing unit of work.
    """
    work = connection.info.get(_OPEN)
    if not isinstance(work, Work):
        raise StoreError("Rows are recorded in a writing unit of work only, which gives them their state.")
    return work


@contextmanager
def open_work(
    connection: Connection, act: str, by: str, *, reason: str | None = None, now_utc: dt.datetime | None = None
) -> Iterator[Work]:
    """Open a unit of work on a connection that holds the write lock; record its state at the end.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection in a transaction that holds the write lock.
    act, by : str
        What is done, and who does it.
    reason : str, optional
        Why.
    now_utc : datetime.datetime, optional
        Aware time that counts as what the clock says; the database's clock unless given.

    Yields
    ------
    Work
        The unit of work; it makes no state where nothing was added or retired.

    Raises
    ------
    RecordClockError
        If the clock lags behind the one that recorded the newest state.
    """
    newest = newest_state(connection)
    clock = clock_of(connection) if now_utc is None else now_utc.astimezone(dt.UTC)
    if newest is None:
        work = Work(act, by, reason, clock, 1, clock, None)
    else:
        if act != ACCEPT_CLOCK:
            _refuse_wrong_clock(clock, newest)
        instant = max(clock, newest["recorded_at_utc"] + _MICROSECOND)
        work = Work(act, by, reason, clock, newest["serial"] + 1, instant, newest["digest"])
    connection.info[_OPEN] = work
    try:
        yield work
        for table in sorted(work.lifted):
            restore_key_guard(connection, table)
        if work.parts or work.completed or act == ACCEPT_CLOCK:
            _record_state(connection, work)
    finally:
        del connection.info[_OPEN]


def newest_state(connection: Connection) -> RowMapping | None:
    """Return the newest state, a row of the table of states; None for an empty record.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Any connection.

    Returns
    -------
    sqlalchemy.RowMapping or None
        The row.
    """
    table = State.__table__
    return connection.execute(select(table).order_by(table.c.serial.desc()).limit(1)).mappings().first()


def _is_behind(clock: dt.datetime, newest: RowMapping) -> bool:
    """Return whether a clock is behind the one that recorded the newest state."""
    return bool(clock < (newest["clock_utc"] or newest["recorded_at_utc"]) - CLOCK_SLACK)


def _refuse_wrong_clock(clock: dt.datetime, newest: RowMapping) -> None:
    """Refuse to record by a clock that is behind the one that recorded the newest state."""
    if not _is_behind(clock, newest):
        return
    message = (
        f"The clock says {clock:%Y-%m-%d %H:%M:%S} UTC, which is before the newest state of the record: state "
        f"{newest['serial']} ({newest['act']} by {newest['recorded_by']}) was recorded at "
        f"{newest['recorded_at_utc']:%Y-%m-%d %H:%M:%S.%f} UTC. Nothing was written."
    )
    fix = (
        "Set the clock right and run the command again. If the clock is right and the record is ahead of it, say so "
        "with 'gwnet doctor --accept-clock --reason TEXT': later states then follow after the newest."
    )
    raise RecordClockError(message, fix=fix)


def _record_state(connection: Connection, work: Work) -> None:
    """Store the state of a unit of work that changed something."""
    # both read with what opens databases, which loads this module
    from gwnet.store.integrity.stored import part_on_record
    from gwnet.store.save.reduced import NO_LEVEL_RESTS_ON, clear_reduced_levels

    columns: dict[str, Any] = {
        "serial": work.serial,
        "recorded_at_utc": work.recorded_at,
        "clock_utc": work.clock_utc,
        "recorded_by": work.by,
        "act": work.act,
        "reason": work.reason,
        "program": __version__,
        "previous_digest": work.previous_digest,
    }
    parts = [part_on_record(connection, METADATA.tables[name], ids) for name, ids in work.completed.items()]
    changed = {part.table_name for part in (*work.parts, *parts)}
    if changed - NO_LEVEL_RESTS_ON:
        clear_reduced_levels(connection)
    _store_state(connection, columns, [*work.parts, *parts])


def _store_state(connection: Connection, columns: dict[str, Any], parts: Sequence[Part]) -> None:
    """Store a state with its digest and its parts."""
    digest = state_digest(columns, [part.covered for part in parts])
    connection.execute(METADATA.tables["state"].insert().values(**columns, digest=digest))
    rows = [{"state_serial": columns["serial"], "ordinal": ordinal, **vars(part)} for ordinal, part in enumerate(parts)]
    if rows:
        connection.execute(METADATA.tables["state_part"].insert(), rows)


def lift_key_guard(connection: Connection, table: str) -> None:
    """Do without the refusal of keys on record until the open unit of work ends, whose keys were looked up before.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection of a writing unit of work.
    table : str
        The table; nothing is done on PostgreSQL, which does not replace rows.
    """
    work = work_of(connection)
    if connection.dialect.name == "sqlite" and table not in work.lifted:
        drop_key_guard(connection, table)
        work.lifted.add(table)


def accept_clock(store: Store, *, by: str, reason: str, now_utc: dt.datetime | None = None) -> RecordState:
    """Record that the record holds instants ahead of the clock, so that later states follow after the newest.

    Parameters
    ----------
    store : gwnet.store.session.Store
        Open database.
    by : str
        Who says so.
    reason : str
        Why the record is ahead.
    now_utc : datetime.datetime, optional
        Aware time that counts as what the clock says; the database's clock unless given.

    Returns
    -------
    gwnet.records.RecordState
        The state that this act makes.

    Raises
    ------
    SettingsError
        If the reason is missing, or the clock is not behind the record.
    """
    if not reason.strip():
        raise SettingsError("Why the record is ahead of the clock is not said.", fix="Give --reason TEXT.")
    with store.writing(ACCEPT_CLOCK, by, reason=reason, now_utc=now_utc) as connection:
        work, newest = work_of(connection), newest_state(connection)
        if newest is None or not _is_behind(work.clock_utc, newest):
            raise SettingsError("The clock is not behind the record; there is nothing to accept.")
        return RecordState(work.serial, work.recorded_at)


def begin_states(connection: Connection, before: str | None) -> None:
    """Give a record that was made before there were states its first state, which holds all rows as they were found.

    Its instant is that of the newest recording, so that every earlier question keeps its answer.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection of the unit of work that upgraded the schema.
    before : str or None
        Revision of the schema before.
    """
    from gwnet.store.integrity.stored import parts_of_record

    if newest_state(connection) is not None:
        return
    newest = newest_recording(connection)
    if newest is None:
        return
    columns: dict[str, Any] = {
        "serial": 1,
        "recorded_at_utc": newest,
        "clock_utc": None,
        "recorded_by": "gwnet",
        "act": UPGRADE,
        "reason": f"as found on upgrade from revision {before}",
        "program": __version__,
        "previous_digest": None,
    }
    _store_state(connection, columns, list(parts_of_record(connection)))


def newest_recording(connection: Connection) -> dt.datetime | None:
    """Return the newest instant that any row carries, whatever the states say; None for an empty record.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Any connection.

    Returns
    -------
    datetime.datetime or None
        Aware time in UTC.
    """
    columns = [
        METADATA.tables[name].c[column] for name in RECORDED_TABLES for column in ("recorded_at_utc", "retired_at_utc")
    ]
    columns.append(METADATA.tables["source_file"].c.loaded_at_utc)
    moments = [connection.execute(select(func.max(column))).scalar_one() for column in columns]
    return max((moment for moment in moments if moment is not None), default=None)
