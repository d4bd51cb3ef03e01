"""Readings that a round planned and that are neither there nor explained."""

from __future__ import annotations

import datetime as dt
import json
from typing import Final

import numpy as np
import pandas as pd
from sqlalchemy import Connection

from gwnet.analysis.checks.events import SERIOUS
from gwnet.analysis.checks.run import FINDING_COLUMNS
from gwnet.store.fetch import programme as fetch_programme
from gwnet.store.fetch import registry as fetch

MISSING: Final = "no reading and no reason"


def missing_readings(
    connection: Connection,
    table: pd.DataFrame,
    *,
    round_code: str | None = None,
    site: str | None = None,
    known_on: dt.datetime | None = None,
) -> pd.DataFrame:
    """Return the wells that a round planned and that have no event in it.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    table : pandas.DataFrame
        Reduced levels, of which site, round and well are looked at.
    round_code : str, optional
        Only this round.
    site : str, optional
        Only this site.
    known_on : datetime.datetime, optional
        Record as known at this time.

    Returns
    -------
    pandas.DataFrame
        One row a missing reading: columns of `gwnet.analysis.checks.run.FINDING_COLUMNS`.
    """
    rounds = fetch_programme.rounds(connection, known_on, site)
    if round_code is not None:
        rounds = rounds[rounds["round"] == round_code]
    wells = fetch.wells(connection, known_on, site)
    met = set(zip(table["site"], table["round"], table["well"], strict=True))
    rows = []
    for planned in rounds.itertuples():
        for well in planned.wells or _standing(wells, planned.site, planned.starts_on):
            if (planned.site, planned.round, well) not in met:
                message = f"Round {planned.round} planned the well, and neither a reading nor a reason is on record."
                when = planned.starts_on.isoformat()
                limits = json.dumps({"starts_on": when})
                rows.append((planned.site, well, when, planned.round, MISSING, SERIOUS, message, limits, np.nan))
    return pd.DataFrame(rows, columns=list(FINDING_COLUMNS)).astype({"event_id": "float64"})


def _standing(wells: pd.DataFrame, site: str, day: dt.date) -> list[str]:
    """Return the wells of a site that stood on a day."""
    own = wells[wells["site"] == site]
    drilled = own["drilled_on"].map(lambda d: d is None or d <= day).astype(bool)
    standing = own["decommissioned_on"].map(lambda d: d is None or d > day).astype(bool)
    return [str(well) for well in own.loc[drilled & standing, "well"]]
