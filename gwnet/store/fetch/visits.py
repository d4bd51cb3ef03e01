"""Queries of what hangs in the wells, and when it was last heard of."""

from __future__ import annotations

import datetime as dt

import pandas as pd
from sqlalchemy import Connection, or_, select

from gwnet.store.fetch import samples as fetch_samples
from gwnet.store.fetch.frames import frame
from gwnet.store.fetch.registry import fill_text
from gwnet.store.models.base import known_on as on_record
from gwnet.store.models.instruments import Deployment, Instrument
from gwnet.store.models.loggers import LoggerSeries
from gwnet.store.models.sites import Site
from gwnet.store.models.wells import Well


def deployments_at(
    connection: Connection, at_utc: dt.datetime, known_on: dt.datetime | None = None, site: str | None = None
) -> pd.DataFrame:
    """Return the instruments that hang in the wells at a moment.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    at_utc : datetime.datetime
        Aware time.
    known_on : datetime.datetime, optional
        Record as known at this time.
    site : str, optional
        Only this site.

    Returns
    -------
    pandas.DataFrame
        One row a deployment: deployment_id, site, well (empty for a barometer), instrument, installed_at_utc,
        last_sample_utc (NaT where none is on record).
    """
    hung = Deployment
    statement = (
        select(
            hung.id.label("deployment_id"),
            Site.code.label("site"),
            Well.code.label("well"),
            Instrument.code.label("instrument"),
            hung.valid_from_utc.label("installed_at_utc"),
            hung.valid_until_utc.label("removed_at_utc"),
        )
        .join(Site, Site.id == hung.site_id)
        .join(Instrument, Instrument.id == hung.instrument_id)
        .outerjoin(Well, Well.id == hung.well_id)
        .where(
            on_record(hung, known_on),
            hung.valid_from_utc <= at_utc,
            or_(hung.valid_until_utc.is_(None), hung.valid_until_utc > at_utc),
        )
        .order_by(Site.code, Well.code, Instrument.code, hung.valid_from_utc)
    )
    if site is not None:
        statement = statement.where(Site.code == site)
    table = fill_text(frame(connection, statement), "well")
    last = _last_samples_ms(connection, table, known_on)
    times = pd.to_datetime(pd.Series(last, dtype="float64", index=table.index), unit="ms", utc=True)
    return table.assign(last_sample_utc=times.astype("datetime64[us, UTC]")).drop(columns="removed_at_utc")


def _last_samples_ms(connection: Connection, table: pd.DataFrame, known_on: dt.datetime | None) -> list[float | None]:
    """Return the time of the last sample that each instrument took where it hangs."""
    newest = fetch_samples.latest(connection, known_on=known_on).set_index("series_id")["time_ms"]
    query = select(LoggerSeries.id, Instrument.code).join(Instrument, Instrument.id == LoggerSeries.instrument_id)
    series: dict[str, list[int]] = {}
    for number, code in connection.execute(query):
        if number in newest.index:
            series.setdefault(code, []).append(number)
    found: list[float | None] = []
    for hung in table.itertuples():
        start = hung.installed_at_utc.timestamp() * 1000
        end = float("inf") if pd.isna(hung.removed_at_utc) else hung.removed_at_utc.timestamp() * 1000
        times: list[float] = []
        for number in series.get(hung.instrument, ()):
            last = float(newest[number])
            if last >= end:
                before, _ = fetch_samples.samples(connection, number, int(start), int(end), known_on)
                last = float(before[-1]) if before.size else -1.0
            times.append(last)
        found.append(max((time for time in times if time >= start), default=None))
    return found
