"""Moments on record at which levels may have stepped: new measuring points and sensors hung anew."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
from sqlalchemy import Connection

from gwnet.clock import offset_minutes
from gwnet.store.fetch import registry as fetch
from gwnet.store.fetch import samples as fetch_samples

__all__ = ["known_moments"]

#: Columns of the moments.
COLUMNS = ("site", "well", "moment", "day")


def known_moments(connection: Connection, known_on: dt.datetime | None = None, site: str | None = None) -> pd.DataFrame:
    """Return when wells got another measuring point or sensor.

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
        Columns of `COLUMNS`, by site, well and day (local date): for each access of a well its measuring points after
        the first, and for each well its deployments after the first.
    """
    points = fetch.measuring_points(connection, known_on, site)
    hung = fetch_samples.deployments(connection, known_on)
    hung = hung[hung["well"] != ""]
    if site is not None:
        hung = hung[hung["site"] == site]
    parts = [
        _later(points, "valid_from_utc", ["site", "well", "access"], "new measuring point"),
        _later(hung, "installed_at_utc", ["site", "well"], "sensor hung"),
    ]
    found = pd.concat(parts, ignore_index=True)
    zones = fetch.sites(connection, known_on).set_index("site")["time_zone"]
    found["day"] = pd.Series(dtype=object)
    for code, some in found.groupby("site"):
        utc = some["utc"].dt.tz_localize(None).to_numpy(dtype="datetime64[us]")
        local = utc + offset_minutes(utc, str(zones[code])).astype("timedelta64[m]")
        found.loc[some.index, "day"] = local.astype("datetime64[D]").astype(object)
    return found.sort_values(["site", "well", "day", "moment"], kind="stable")[list(COLUMNS)].drop_duplicates()


def _later(table: pd.DataFrame, when: str, keys: list[str], moment: str) -> pd.DataFrame:
    """Return all rows but the first of each key."""
    ordered = table[table[when].notna()].sort_values([*keys, when], kind="stable")
    rest = ordered[ordered.groupby(keys).cumcount() > 0]
    utc = pd.to_datetime(rest[when], utc=True).astype("datetime64[us, UTC]")
    return pd.DataFrame(
        {"site": rest["site"], "well": rest["well"], "moment": np.repeat(moment, len(rest)), "utc": utc}
    )
