"""Queries of level events and their readings as data frames."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from sqlalchemy import Connection, Select, func, select

from gwnet.records import Selection
from gwnet.store.contract import BY_NAME
from gwnet.store.fetch.frames import frame
from gwnet.store.models.base import KEYS_AT_ONCE
from gwnet.store.models.base import known_on as on_record
from gwnet.store.models.instruments import Instrument
from gwnet.store.models.levels import LevelEvent, LevelReading, LevelRecord
from gwnet.store.models.rounds import GaugingRound
from gwnet.store.models.sites import Aquifer, Site
from gwnet.store.models.sources import SourceFile
from gwnet.store.models.verdicts import Review
from gwnet.store.models.wells import Well, WellRecord
from gwnet.store.recorded import recorded_columns

#: Columns of a level record, the ids of round and instrument among them.
_RECORDED = recorded_columns(BY_NAME["level_events"])


def level_records(
    connection: Connection,
    selection: Selection | None = None,
    known_on: dt.datetime | None = None,
) -> pd.DataFrame:
    """Return level events with what was recorded of them, without their readings.

    Parameters as `gwnet.store.fetch`; columns as ``level_records`` in `gwnet.store.fetch.frames.FRAMES`, by site, well,
    time, access and event.

    Parameters
    ----------
    selection : gwnet.records.Selection, optional
        Which events; all unless given. Of start and end only aware instants restrict: a local date wants the zone of
        the site. A round restricts to its own events and those of none on record, which may belong to it by their day.
    """
    event = LevelEvent
    statement = select_level_records(known_on).order_by(
        Site.code, Well.code, event.measured_at_utc, event.access, event.event
    )
    return frame(connection, _restricted(statement, selection or Selection()), "level_records")


def select_level_records(known_on: dt.datetime | None = None) -> Select[*tuple[Any, ...]]:
    """Return the select of level events with what was recorded of them, as it was on record at a moment or is now.

    Parameters
    ----------
    known_on : datetime.datetime, optional
        Aware time.

    Returns
    -------
    sqlalchemy.Select
        Without an order.
    """
    event, record, well_record = LevelEvent, LevelRecord, WellRecord
    return (
        select(
            event.id.label("event_id"),
            record.id.label("record_id"),
            Site.code.label("site"),
            Well.code.label("well"),
            event.well_id,
            Aquifer.code.label("aquifer"),
            event.access,
            event.event,
            event.measured_at_utc,
            event.time_known,
            record.local_offset_minutes,
            GaugingRound.code.label("round"),
            Instrument.code.label("instrument"),
            *(getattr(record, column.stored_as) for column in _RECORDED),
            record.recorded_at_utc,
            record.recorded_by,
            record.reason,
            SourceFile.name.label("source"),
            record.source_row,
        )
        .select_from(event)
        .join(record, record.level_event_id == event.id)
        .join(Well, Well.id == event.well_id)
        .join(Site, Site.id == Well.site_id)
        .outerjoin(well_record, (well_record.well_id == Well.id) & on_record(well_record, known_on))
        .outerjoin(Aquifer, Aquifer.id == well_record.aquifer_id)
        .outerjoin(GaugingRound, GaugingRound.id == record.gauging_round_id)
        .outerjoin(Instrument, Instrument.id == record.instrument_id)
        .outerjoin(SourceFile, SourceFile.id == record.source_file_id)
        .where(on_record(record, known_on))
    )


def _restricted(statement: Select[*tuple[Any, ...]], selection: Selection) -> Select[*tuple[Any, ...]]:
    # Dates are local days, which only the caller can tell from the site; here instants alone restrict.
    start, end = (moment if isinstance(moment, dt.datetime) else None for moment in (selection.start, selection.end))
    conditions = (
        (selection.site, lambda value: Site.code == value),
        (selection.wells, lambda value: Well.code.in_(value)),
        (selection.aquifer, lambda value: Aquifer.code == value),
        # A level without a round may belong to one by its day, so it is kept for the caller to judge.
        (selection.round, lambda value: (GaugingRound.code == value) | LevelRecord.gauging_round_id.is_(None)),
        (selection.events, lambda value: LevelEvent.id.in_(value)),
        (start, lambda value: LevelEvent.measured_at_utc >= value),
        (end, lambda value: LevelEvent.measured_at_utc <= value),
    )
    for value, condition in conditions:
        if value is not None:
            statement = statement.where(condition(value))
    return statement


def readings(connection: Connection, record_ids: NDArray[np.int64]) -> pd.DataFrame:
    """Return the readings of level records.

    Parameters as `gwnet.store.fetch`; columns as ``readings`` in `gwnet.store.fetch.frames.FRAMES`.

    Parameters
    ----------
    record_ids : numpy.ndarray of int64
        Records whose readings are wanted.
    """
    reading = LevelReading
    statement = select(
        reading.level_record_id.label("record_id"),
        reading.quantity,
        reading.ordinal,
        reading.value,
        reading.unit,
        reading.written,
    )
    if len(record_ids) <= KEYS_AT_ONCE:
        some = reading.level_record_id.in_([int(number) for number in record_ids])
        return frame(connection, statement.where(some), "readings")
    # Many single ids make a statement longer than databases take; a span of them is read and cut.
    low, high = int(record_ids.min()), int(record_ids.max())
    table = frame(connection, statement.where(reading.level_record_id.between(low, high)), "readings")
    return table[np.isin(table["record_id"].to_numpy(), record_ids)].reset_index(drop=True)


def reviews(connection: Connection, known_on: dt.datetime | None = None) -> pd.DataFrame:
    """Return the review state of every level event that has one, by event.

    Parameters as `gwnet.store.fetch`; columns as ``reviews`` in `gwnet.store.fetch.frames.FRAMES`.
    """
    review = Review
    columns = (review.state, review.remark, review.recorded_by, review.recorded_at_utc)
    statement = (
        select(review.level_event_id.label("event_id"), *columns)
        .where(on_record(review, known_on), review.level_event_id.is_not(None))
        .order_by(review.level_event_id)
    )
    return frame(connection, statement, "reviews")


def count_events(connection: Connection, known_on: dt.datetime | None = None) -> dict[int, int]:
    """Return how many level events each well has.

    Parameters as `gwnet.store.fetch`.

    Returns
    -------
    dict
        Of the id of each well with one or more.
    """
    statement = (
        select(LevelEvent.well_id, func.count())
        .join(LevelRecord, LevelRecord.level_event_id == LevelEvent.id)
        .where(on_record(LevelRecord, known_on))
        .group_by(LevelEvent.well_id)
    )
    return {int(well): int(count) for well, count in connection.execute(statement)}


def extent(connection: Connection) -> tuple[int, dt.datetime | None, dt.datetime | None]:
    """Return how many level events are on record now, and over which time.

    Parameters as `gwnet.store.fetch`.

    Returns
    -------
    tuple
        Number of events, first and last time in UTC; None for both without events.
    """
    when = LevelEvent.measured_at_utc
    statement = (
        select(func.count(), func.min(when), func.max(when))
        .select_from(LevelEvent)
        .join(LevelRecord, LevelRecord.level_event_id == LevelEvent.id)
        .where(on_record(LevelRecord, None))
    )
    count, first, last = connection.execute(statement).one()
    return int(count), first, last
