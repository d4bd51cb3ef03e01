"""Queries of level events and their readings as data frames."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from sqlalchemy import Connection, Select, select

from gwnet.records import Selection
from gwnet.store.fetch.frames import frame
from gwnet.store.fetch.registry import fill_text
from gwnet.store.models.base import known_on as on_record
from gwnet.store.models.instruments import Instrument
from gwnet.store.models.levels import LevelEvent, LevelReading, LevelRecord
from gwnet.store.models.rounds import GaugingRound
from gwnet.store.models.sites import Aquifer, Site
from gwnet.store.models.sources import SourceFile
from gwnet.store.models.verdicts import Review, Verdict
from gwnet.store.models.wells import Well, WellRecord

#: Most ids in one IN condition.
_IDS_AT_ONCE = 500


def level_records(
    connection: Connection,
    selection: Selection | None = None,
    known_on: dt.datetime | None = None,
) -> pd.DataFrame:
    """Return level events with what was recorded of them, without their readings.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    selection : gwnet.records.Selection, optional
        Which events; all unless given. Of start and end only aware instants restrict: a local date wants the zone of
        the site.
    known_on : datetime.datetime, optional
        Record as known at this time.

    Returns
    -------
    pandas.DataFrame
        One row an event, by site, well, time, access and event: event_id, record_id, site, well, well_id, aquifer,
        access, event, measured_at_utc, time_known, local_offset_minutes, round, status, instrument_id (NaN for none),
        instrument, method, observer, product_relative_density, chosen_reading (NaN for none), discharge_l_s, quality,
        notes, recorded_at_utc, recorded_by, reason, source, source_row.
    """
    event, record, well_record = LevelEvent, LevelRecord, WellRecord
    statement = (
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
            record.status,
            record.instrument_id,
            Instrument.code.label("instrument"),
            record.method,
            record.observer,
            record.product_relative_density,
            record.chosen_reading,
            record.discharge_l_s,
            record.quality,
            record.notes,
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
        .order_by(Site.code, Well.code, event.measured_at_utc, event.access, event.event)
    )
    table = frame(connection, _restricted(statement, selection or Selection()))
    table["instrument_id"] = table["instrument_id"].astype("float64")
    words = ("aquifer", "round", "instrument", "method", "observer", "quality", "notes", "reason", "source")
    return fill_text(table, *words)


def _restricted(statement: Select[*tuple[Any, ...]], selection: Selection) -> Select[*tuple[Any, ...]]:
    start, end = (moment if isinstance(moment, dt.datetime) else None for moment in (selection.start, selection.end))
    conditions = (
        (selection.site, lambda value: Site.code == value),
        (selection.wells, lambda value: Well.code.in_(value)),
        (selection.aquifer, lambda value: Aquifer.code == value),
        (selection.round, lambda value: GaugingRound.code == value),
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

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    record_ids : numpy.ndarray of int64
        Records whose readings are wanted.

    Returns
    -------
    pandas.DataFrame
        One row a reading: record_id, quantity, ordinal, value (in its unit), unit, written (as it stood in the file).
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
    if len(record_ids) <= _IDS_AT_ONCE:
        return frame(connection, statement.where(reading.level_record_id.in_([int(i) for i in record_ids])))
    low, high = int(record_ids.min()), int(record_ids.max())
    table = frame(connection, statement.where(reading.level_record_id.between(low, high)))
    return table[np.isin(table["record_id"].to_numpy(), record_ids)].reset_index(drop=True)


def reviews(connection: Connection, known_on: dt.datetime | None = None) -> pd.DataFrame:
    """Return the review state of every level event that has one.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    known_on : datetime.datetime, optional
        Record as known at this time.

    Returns
    -------
    pandas.DataFrame
        One row a review: event_id, state, remark, recorded_by, recorded_at_utc.
    """
    review = Review
    statement = (
        select(
            review.level_event_id.label("event_id"),
            review.state,
            review.remark,
            review.recorded_by,
            review.recorded_at_utc,
        )
        .where(on_record(review, known_on), review.level_event_id.is_not(None))
        .order_by(review.level_event_id)
    )
    return fill_text(frame(connection, statement), "remark")


def verdicts(connection: Connection, known_on: dt.datetime | None = None) -> pd.DataFrame:
    """Return the verdicts of checks on level events.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    known_on : datetime.datetime, optional
        Record as known at this time.

    Returns
    -------
    pandas.DataFrame
        One row a verdict: verdict_id, event_id, rule, severity, limits, message, recorded_at_utc.
    """
    verdict = Verdict
    statement = (
        select(
            verdict.id.label("verdict_id"),
            verdict.level_event_id.label("event_id"),
            verdict.rule,
            verdict.severity,
            verdict.limits,
            verdict.message,
            verdict.recorded_at_utc,
        )
        .where(on_record(verdict, known_on), verdict.level_event_id.is_not(None))
        .order_by(verdict.level_event_id, verdict.rule)
    )
    return frame(connection, statement)
