"""Findings on the levels of a record: what the reduction noticed, verdicts on file, and readings that are missing."""

from __future__ import annotations

import datetime as dt
from typing import Final

import pandas as pd
from sqlalchemy import Connection

from gwnet.analysis.levels import levels
from gwnet.analysis.reduce import FINDINGS
from gwnet.store import fetch, fetch_levels, fetch_programme
from gwnet.store.fetch_levels import LevelFilter

#: Columns of the frame of findings.
FINDING_COLUMNS: Final = ("site", "well", "measured_at", "round", "rule", "severity", "message")

MISSING: Final = "no reading and no reason"

#: Findings that keep a level out of maps and trends are serious.
_SERIOUS: Final = frozenset(FINDINGS) - {"beyond the tape check"}


def findings(
    connection: Connection,
    *,
    round_code: str | None = None,
    site: str | None = None,
    known_on: dt.datetime | None = None,
    table: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Return what the checks notice in the levels on record.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    round_code : str, optional
        Only this gauging round.
    site : str, optional
        Only this site.
    known_on : datetime.datetime, optional
        Record as known at this time.
    table : pandas.DataFrame, optional
        Reduced levels, where the caller has them already.

    Returns
    -------
    pandas.DataFrame
        One row a finding, by site, well and time: columns of `FINDING_COLUMNS`.
    """
    if table is None:
        table = levels(connection, LevelFilter(site=site, round=round_code), known_on)
    verdicts = fetch_levels.verdicts(connection, known_on).set_index(["event_id", "rule"])["message"]
    rows = []
    for level in table[table["finding"] != ""].itertuples():
        for rule in str(level.finding).split("; "):
            message = verdicts.get((level.event_id, rule), FINDINGS[rule])
            severity = "serious" if rule in _SERIOUS else "note"
            rows.append((level.site, level.well, level.measured_at, level.round, rule, severity, message))
    made = pd.DataFrame(rows, columns=list(FINDING_COLUMNS))
    missing = missing_readings(connection, table, round_code=round_code, site=site, known_on=known_on)
    both = pd.concat([made, missing], ignore_index=True) if len(missing) else made
    return both.sort_values(["site", "well", "measured_at", "rule"], kind="stable", ignore_index=True)


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
        Reduced levels.
    round_code : str, optional
        Only this round.
    site : str, optional
        Only this site.
    known_on : datetime.datetime, optional
        Record as known at this time.

    Returns
    -------
    pandas.DataFrame
        One row a missing reading: columns of `FINDING_COLUMNS`.
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
                rows.append((planned.site, well, when, planned.round, MISSING, "serious", message))
    return pd.DataFrame(rows, columns=list(FINDING_COLUMNS))


def _standing(wells: pd.DataFrame, site: str, day: dt.date) -> list[str]:
    """Return the wells of a site that stood on a day."""
    own = wells[wells["site"] == site]
    drilled = own["drilled_on"].map(lambda d: d is None or d <= day).astype(bool)
    standing = own["decommissioned_on"].map(lambda d: d is None or d > day).astype(bool)
    return [str(well) for well in own.loc[drilled & standing, "well"]]
