"""States of the record: which one a question is about, and all of them."""

from __future__ import annotations

import datetime as dt

import pandas as pd
from sqlalchemy import Connection, func, select

from gwnet.errors import NotFoundError
from gwnet.records import RecordState
from gwnet.store.fetch.frames import FRAMES, frame
from gwnet.store.models.states import State


def state_at(connection: Connection, known_on: dt.datetime | None = None) -> RecordState | None:
    """Return the state that the record was in; None before the first.

    Parameters as `gwnet.store.fetch`.
    """
    query = select(State.serial, State.recorded_at_utc).order_by(State.serial.desc()).limit(1)
    if known_on is not None:
        query = query.where(State.recorded_at_utc <= known_on)
    row = connection.execute(query).first()
    return None if row is None else RecordState(row.serial, row.recorded_at_utc)


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
    moment = connection.execute(select(State.recorded_at_utc).where(State.serial == serial)).scalar_one_or_none()
    if moment is not None:
        return RecordState(serial, moment)
    newest = connection.execute(select(func.max(State.serial))).scalar_one()
    message = f"There is no state {serial} on record."
    fix = f"States run from 1 to {newest}; 'gwnet history --states' lists them." if newest else "Nothing is on record."
    raise NotFoundError(message, fix=fix)


def states(connection: Connection, known_on: dt.datetime | None = None) -> pd.DataFrame:
    """Return the states of the record, oldest first.

    Parameters as `gwnet.store.fetch`; columns as ``states`` in `gwnet.store.fetch.frames.FRAMES`.
    """
    table = State.__table__.c
    query = select(*(table[column.name] for column in FRAMES["states"])).order_by(table.serial)
    if known_on is not None:
        query = query.where(table.recorded_at_utc <= known_on)
    return frame(connection, query, "states")
