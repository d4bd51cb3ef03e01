"""Queries of what hangs in the wells, and when it was last heard of."""

from __future__ import annotations

import datetime as dt

import pandas as pd
from sqlalchemy import Connection, func, or_, select

from gwnet.store.base import known_on as on_record
from gwnet.store.fetch import fill_text
from gwnet.store.frames import frame
from gwnet.store.instruments import Deployment, Instrument
from gwnet.store.loggers import LoggerSeries, Sample
from gwnet.store.sites import Site
from gwnet.store.wells import Well


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
        One row a deployment: deployment_id, site, well (empty for a barometer), instrument, hung_at_utc,
        last_sample_utc (NaT where none is on record).
    """
    hung = Deployment
    statement = (
        select(
            hung.id.label("deployment_id"),
            Site.code.label("site"),
            Well.code.label("well"),
            Instrument.code.label("instrument"),
            hung.valid_from_utc.label("hung_at_utc"),
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
    last = [_last_sample_ms(connection, int(number)) for number in table["deployment_id"]]
    times = pd.to_datetime(pd.Series(last, dtype="float64", index=table.index), unit="ms", utc=True)
    return table.assign(last_sample_utc=times.astype("datetime64[us, UTC]"))


def _last_sample_ms(connection: Connection, deployment_id: int) -> float | None:
    """Return the time of a deployment's last sample; each series is looked up by its own key."""
    series = connection.execute(select(LoggerSeries.id).where(LoggerSeries.deployment_id == deployment_id)).scalars()
    found = [
        connection.execute(select(func.max(Sample.time_ms)).where(Sample.series_id == number)).scalar_one()
        for number in series.all()
    ]
    return max((time for time in found if time is not None), default=None)
