"""Queries of what is installed in the wells, and when it was last heard of."""

from __future__ import annotations

import datetime as dt

import pandas as pd
from sqlalchemy import Connection, select

from gwnet.store.fetch import samples as fetch_samples
from gwnet.store.fetch.frames import as_declared
from gwnet.store.models.instruments import Instrument
from gwnet.store.models.loggers import LoggerSeries


def deployments_at(
    connection: Connection,
    deployments: pd.DataFrame,
    at_utc: dt.datetime,
    known_on: dt.datetime | None = None,
    site: str | None = None,
) -> pd.DataFrame:
    """Return the instruments that are installed at a moment, by site, well, instrument and time.

    The last sample is NaT where none is on record.

    Parameters as `gwnet.store.fetch`; columns as ``deployments_at`` in `gwnet.store.fetch.frames.FRAMES`.

    Parameters
    ----------
    deployments : pandas.DataFrame
        As `gwnet.store.fetch.samples.deployments`.
    at_utc : datetime.datetime
        Aware time.
    """
    removed = deployments["removed_at_utc"]
    table = deployments[(deployments["installed_at_utc"] <= at_utc) & (removed.isna() | (removed > at_utc))]
    if site is not None:
        table = table[table["site"] == site]
    table = table.reset_index(drop=True)
    last = pd.Series(_last_samples_ms(connection, table, known_on), dtype="float64", index=table.index)
    table["last_sample_utc"] = pd.to_datetime(last, unit="ms", utc=True)
    return as_declared(table, "deployments_at")


def _last_samples_ms(connection: Connection, table: pd.DataFrame, known_on: dt.datetime | None) -> list[float | None]:
    """Return the time of the last sample that each instrument took where it is installed."""
    newest = fetch_samples.latest(connection, known_on=known_on).set_index("series_id")["time_ms"]
    query = select(LoggerSeries.id, Instrument.code).join(Instrument, Instrument.id == LoggerSeries.instrument_id)
    series: dict[str, list[int]] = {}
    for number, code in connection.execute(query):
        if number in newest.index:
            series.setdefault(code, []).append(number)
    last_ms: list[float | None] = []
    for deployment in table.itertuples():
        start = deployment.installed_at_utc.timestamp() * 1000
        end = float("inf") if pd.isna(deployment.removed_at_utc) else deployment.removed_at_utc.timestamp() * 1000
        times: list[float] = []
        for number in series.get(deployment.instrument, ()):
            last = float(newest[number])
            # The last sample may be of a later installation; then the last before its end is looked for.
            if last >= end:
                before, _ = fetch_samples.samples(connection, number, int(start), int(end), known_on)
                last = float(before[-1]) if before.size else -1.0
            times.append(last)
        last_ms.append(max((time for time in times if time >= start), default=None))
    return last_ms
