"""Queries of the programme as data frames: instruments, tape checks, rounds, thresholds, stages and context series.

Every function takes ``known_on`` and gives the rows that were on record then, in a fixed order with fixed columns.
"""

from __future__ import annotations

import datetime as dt
import json

import pandas as pd
from sqlalchemy import Connection, select

from gwnet.store.fetch.frames import frame
from gwnet.store.fetch.registry import fill_text
from gwnet.store.models.base import known_on as on_record
from gwnet.store.models.context import ContextSeries, ContextValue, Gauge, StageReading
from gwnet.store.models.instruments import Instrument, InstrumentRecord, TapeCheck
from gwnet.store.models.rounds import GaugingRound, RoundRecord
from gwnet.store.models.sites import Aquifer, Site
from gwnet.store.models.sources import SourceFile
from gwnet.store.models.thresholds import Threshold
from gwnet.store.models.wells import Well


def instruments(connection: Connection, known_on: dt.datetime | None = None) -> pd.DataFrame:
    """Return the instruments.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    known_on : datetime.datetime, optional
        Record as known at this time.

    Returns
    -------
    pandas.DataFrame
        One row an instrument: instrument_id, instrument, kind, serial, length_unit, length_below_sensing_point_m,
        resolution_m, accuracy_m, range_m, notes.
    """
    record = InstrumentRecord
    statement = (
        select(
            Instrument.id.label("instrument_id"),
            Instrument.code.label("instrument"),
            record.kind,
            record.serial,
            record.length_unit,
            record.length_below_sensing_point_m,
            record.resolution_m,
            record.accuracy_m,
            record.range_m,
            record.notes,
        )
        .join(record, record.instrument_id == Instrument.id)
        .where(on_record(record, known_on))
        .order_by(Instrument.code)
    )
    return fill_text(frame(connection, statement), "serial", "length_unit", "notes")


def tape_checks(connection: Connection, known_on: dt.datetime | None = None) -> pd.DataFrame:
    """Return the tape checks.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    known_on : datetime.datetime, optional
        Record as known at this time.

    Returns
    -------
    pandas.DataFrame
        One row a comparison: instrument_id, instrument, checked_on, tape_reading_m, reference_reading_m, checked_by,
        notes, source, source_row.
    """
    check = TapeCheck
    statement = (
        select(
            Instrument.id.label("instrument_id"),
            Instrument.code.label("instrument"),
            check.checked_on,
            check.tape_reading_m,
            check.reference_reading_m,
            check.checked_by,
            check.notes,
            SourceFile.name.label("source"),
            check.source_row,
        )
        .join(Instrument, Instrument.id == check.instrument_id)
        .outerjoin(SourceFile, SourceFile.id == check.source_file_id)
        .where(on_record(check, known_on))
        .order_by(Instrument.code, check.checked_on, check.tape_reading_m)
    )
    return fill_text(frame(connection, statement), "checked_by", "notes", "source")


def rounds(connection: Connection, known_on: dt.datetime | None = None, site: str | None = None) -> pd.DataFrame:
    """Return the gauging rounds.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    known_on : datetime.datetime, optional
        Record as known at this time.
    site : str, optional
        Only this site.

    Returns
    -------
    pandas.DataFrame
        One row a round, in order of time: round_id, site, round, starts_on, ends_on, purpose, wells (list of codes in
        order, empty for all), crew, notes.
    """
    record = RoundRecord
    statement = (
        select(
            GaugingRound.id.label("round_id"),
            Site.code.label("site"),
            GaugingRound.code.label("round"),
            record.starts_on,
            record.ends_on,
            record.purpose,
            record.wells,
            record.crew,
            record.notes,
        )
        .join(Site, Site.id == GaugingRound.site_id)
        .join(record, record.gauging_round_id == GaugingRound.id)
        .where(on_record(record, known_on))
        .order_by(Site.code, record.starts_on, GaugingRound.code)
    )
    if site is not None:
        statement = statement.where(Site.code == site)
    table = fill_text(frame(connection, statement), "purpose", "crew", "notes")
    table["wells"] = [json.loads(text) for text in table["wells"]]
    return table


def thresholds(connection: Connection, known_on: dt.datetime | None = None, site: str | None = None) -> pd.DataFrame:
    """Return the thresholds as they were given.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    known_on : datetime.datetime, optional
        Record as known at this time.
    site : str, optional
        Only this site.

    Returns
    -------
    pandas.DataFrame
        One row a threshold: well_id, site, well, threshold, kind, quantity, value_m (in terms of the quantity),
        consecutive, valid_from_utc, valid_until_utc, basis, action.
    """
    limit = Threshold
    statement = (
        select(
            Well.id.label("well_id"),
            Site.code.label("site"),
            Well.code.label("well"),
            limit.threshold,
            limit.kind,
            limit.quantity,
            limit.value_m,
            limit.consecutive,
            limit.valid_from_utc,
            limit.valid_until_utc,
            limit.basis,
            limit.action,
        )
        .join(Well, Well.id == limit.well_id)
        .join(Site, Site.id == Well.site_id)
        .where(on_record(limit, known_on))
        .order_by(Site.code, Well.code, limit.threshold, limit.valid_from_utc)
    )
    if site is not None:
        statement = statement.where(Site.code == site)
    return fill_text(frame(connection, statement), "basis", "action")


def stages(connection: Connection, known_on: dt.datetime | None = None, site: str | None = None) -> pd.DataFrame:
    """Return the surface-water stages.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    known_on : datetime.datetime, optional
        Record as known at this time.
    site : str, optional
        Only this site.

    Returns
    -------
    pandas.DataFrame
        One row a reading: site, gauge, measured_at_utc, time_known, water_elevation_m (positive upward), easting,
        northing, aquifer, notes.
    """
    reading = StageReading
    statement = (
        select(
            Site.code.label("site"),
            Gauge.code.label("gauge"),
            reading.measured_at_utc,
            reading.time_known,
            reading.water_elevation_m,
            reading.easting,
            reading.northing,
            Aquifer.code.label("aquifer"),
            reading.notes,
        )
        .join(Gauge, Gauge.id == reading.gauge_id)
        .join(Site, Site.id == Gauge.site_id)
        .outerjoin(Aquifer, Aquifer.id == reading.aquifer_id)
        .where(on_record(reading, known_on))
        .order_by(Site.code, Gauge.code, reading.measured_at_utc)
    )
    if site is not None:
        statement = statement.where(Site.code == site)
    return fill_text(frame(connection, statement), "aquifer", "notes")


def context(connection: Connection, known_on: dt.datetime | None = None, site: str | None = None) -> pd.DataFrame:
    """Return the context series, such as rainfall and abstraction.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    known_on : datetime.datetime, optional
        Record as known at this time.
    site : str, optional
        Only this site.

    Returns
    -------
    pandas.DataFrame
        One row a value: site, series, quantity, unit, date, value, notes.
    """
    value = ContextValue
    statement = (
        select(
            Site.code.label("site"),
            ContextSeries.code.label("series"),
            value.quantity,
            value.unit,
            value.on_date.label("date"),
            value.value,
            value.notes,
        )
        .join(ContextSeries, ContextSeries.id == value.context_series_id)
        .join(Site, Site.id == ContextSeries.site_id)
        .where(on_record(value, known_on))
        .order_by(Site.code, ContextSeries.code, value.on_date)
    )
    if site is not None:
        statement = statement.where(Site.code == site)
    return fill_text(frame(connection, statement), "notes")
