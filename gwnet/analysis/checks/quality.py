"""Findings on the levels of a record: every check of every site, and readings that are missing."""

from __future__ import annotations

import datetime as dt

import pandas as pd
from sqlalchemy import Connection

from gwnet.analysis.checks.programme import MISSING, missing_readings
from gwnet.analysis.checks.rules import RULES
from gwnet.analysis.checks.run import FINDING_COLUMNS, PRINTED, site_findings
from gwnet.records import Selection
from gwnet.store.fetch import registry as fetch
from gwnet.store.save.verdicts import Stored, save_verdicts
from gwnet.store.snapshot import Snapshot

__all__ = ["FINDING_COLUMNS", "MISSING", "PRINTED", "findings", "missing_readings", "record_findings"]


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
        Only findings of this gauging round; its levels are held against the whole record all the same.
    site : str, optional
        Only this site.
    known_on : datetime.datetime, optional
        Record as known at this time.
    table : pandas.DataFrame, optional
        Reduced levels, where the caller has them already: only findings of their events, and of no single event.

    Returns
    -------
    pandas.DataFrame
        One row a finding, by site, well, time and rule: columns of `FINDING_COLUMNS`.
    """
    sites = fetch.sites(connection, known_on)
    if site is not None:
        sites = sites[sites["site"] == site]
    made = [site_findings(connection, settings, known_on) for _, settings in sites.iterrows()]
    if table is None:
        table = Snapshot(connection, known_on, site).level_records(Selection(round=round_code))
    made.append(missing_readings(connection, table, round_code=round_code, site=site, known_on=known_on))
    filled = [one for one in made if len(one)]
    both = pd.concat(filled, ignore_index=True) if filled else made[-1]
    both = both[both["event_id"].isna() | both["event_id"].isin(table["event_id"])]
    if round_code is not None:
        both = both[both["round"] == round_code]
    return both.sort_values(["site", "well", "measured_at", "rule"], kind="stable", ignore_index=True)


def record_findings(
    connection: Connection,
    found: pd.DataFrame,
    *,
    round_code: str | None = None,
    site: str | None = None,
    at_utc: dt.datetime,
    by: str,
) -> Stored:
    """Record findings as verdicts, and retire those that no longer hold.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection of a writing unit of work, in which the findings were worked out.
    found : pandas.DataFrame
        Findings of the live record, as `findings` gives them.
    round_code, site : str, optional
        What was checked.
    at_utc : datetime.datetime
        Aware time of the recording.
    by : str
        Who ran the checks.

    Returns
    -------
    gwnet.store.save.verdicts.Stored
        How many were added, on record already, and retired.
    """
    return save_verdicts(connection, found, RULES, site=site, round_code=round_code, at_utc=at_utc, by=by)
