"""States of the record: which one a question is about, and all of them."""

from __future__ import annotations

import datetime as dt

import pandas as pd
from sqlalchemy import Connection, func, select

from gwnet.errors import NotFoundError, SettingsError
from gwnet.records import RecordState
from gwnet.store.fetch.frames import FRAMES, frame
from gwnet.store.models.states import State


def state_at(connection: Connection, known_on: dt.datetime | None = None) -> RecordState | None:
    """Return the state that the record was in; one without a number before the first, None for an empty record.

    Parameters as `gwnet.store.fetch`.
    """
    query = select(State.serial, State.recorded_at_utc, State.digest).order_by(State.serial.desc()).limit(1)
    if known_on is not None:
        query = query.where(State.recorded_at_utc <= known_on)
    row = connection.execute(query).first()
    if row is not None:
        return RecordState(row.serial, row.recorded_at_utc, row.digest)
    # Before the first state: asked about an instant, the empty record has that instant and no number.
    return None if known_on is None else RecordState(0, known_on)


def state_of(connection: Connection, serial: int) -> RecordState:
    """Return a state by its number.

    Parameters as `gwnet.store.fetch`.

    Parameters
    ----------
    serial : int
        Number of the state.

    Raises
    ------
    NotFoundError
        If there is no such state.
    """
    row = connection.execute(select(State.recorded_at_utc, State.digest).where(State.serial == serial)).first()
    if row is not None:
        return RecordState(serial, row.recorded_at_utc, row.digest)
    newest = connection.execute(select(func.max(State.serial))).scalar_one()
    message = f"There is no state {serial} on record."
    fix = f"States run from 1 to {newest}; 'gwnet history --states' lists them." if newest else "Nothing is on record."
    raise NotFoundError(message, fix=fix)


def known_on_of(connection: Connection, asked: dt.datetime | str | None) -> dt.datetime | None:
    """Return the instant of the state that is asked for: the newest at or before a time, or one by its number.

    Parameters as `gwnet.store.fetch`.

    Parameters
    ----------
    asked : datetime.datetime, str or None
        Aware time, ``state:`` with a number, or None for the live record.

    Raises
    ------
    NotFoundError
        If there is no such state.
    SettingsError
        If the text names no state.
    """
    if asked is None:
        return None
    if isinstance(asked, dt.datetime):
        state = state_at(connection, asked)
        return asked if state is None else state.recorded_at_utc
    number = asked.strip().lower().removeprefix("state:").strip()
    # isdecimal takes digits of other scripts, which int reads as well but nobody means.
    if not number.isdecimal() or not number.isascii():
        message = f"{asked!r} names no state of the record."
        raise SettingsError(message, fix="Write for example state:143; 'gwnet history --states' lists them.")
    return state_of(connection, int(number)).recorded_at_utc


def states(connection: Connection, known_on: dt.datetime | None = None) -> pd.DataFrame:
    """Return the states of the record, oldest first.

    Parameters as `gwnet.store.fetch`; columns as ``states`` in `gwnet.store.fetch.frames.FRAMES`.
    """
    table = State.__table__.c
    query = select(*(table[column.name] for column in FRAMES["states"])).order_by(table.serial)
    if known_on is not None:
        query = query.where(table.recorded_at_utc <= known_on)
    return frame(connection, query, "states")
