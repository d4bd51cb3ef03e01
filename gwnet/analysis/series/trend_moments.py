"""Moments on record at which levels may have stepped: new measuring points and sensors installed anew."""

from __future__ import annotations

import numpy as np
import pandas as pd

from gwnet.clock import offset_minutes, to_instants
from gwnet.store.snapshot import Snapshot

#: Columns of the moments.
COLUMNS = ("site", "well", "moment", "day")


def find_moments(record: Snapshot) -> pd.DataFrame:
    """Return when wells got another measuring point or sensor.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record.

    Returns
    -------
    pandas.DataFrame
        Columns of `COLUMNS`, by site, well and day (local date): for each access of a well its measuring points after
        the first, and for each well its deployments after the first.
    """
    deployments = record.deployments
    parts = [
        _list_later(record.measuring_points, "valid_from_utc", ["site", "well", "access"], "new measuring point"),
        _list_later(deployments[deployments["well"] != ""], "installed_at_utc", ["site", "well"], "sensor installed"),
    ]
    moments = pd.concat(parts, ignore_index=True)
    zones = record.sites.set_index("site")["time_zone"]
    moments["day"] = pd.Series(dtype=object)
    for code, some in moments.groupby("site"):
        utc = to_instants(some["utc"])
        local = utc + offset_minutes(utc, str(zones[code])).astype("timedelta64[m]")
        moments.loc[some.index, "day"] = local.astype("datetime64[D]").astype(object)
    return moments.sort_values(["site", "well", "day", "moment"], kind="stable")[list(COLUMNS)].drop_duplicates()


def _list_later(table: pd.DataFrame, when: str, keys: list[str], moment: str) -> pd.DataFrame:
    """Return all rows but the first of each key."""
    # The first of each is no change: nothing was there before.
    ordered = table[table[when].notna()].sort_values([*keys, when], kind="stable")
    rest = ordered[ordered.groupby(keys).cumcount() > 0]
    utc = pd.to_datetime(rest[when], utc=True).astype("datetime64[us, UTC]")
    return pd.DataFrame(
        {"site": rest["site"], "well": rest["well"], "moment": np.repeat(moment, len(rest)), "utc": utc}
    )
