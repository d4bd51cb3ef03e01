"""Wells with loggers alone: wells that nobody reads by hand are full members of the network.

Their levels at rounds, and on the days that stand for rounds in a record without any, are those of their loggers. Where
a well is read by hand its manual readings go before its logger, as on maps.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from gwnet.analysis.levels.table import levels
from gwnet.analysis.loggers.channels import deployments_in
from gwnet.analysis.loggers.levels import logger_days, logger_levels
from gwnet.store.snapshot import Snapshot


def wells_with_loggers_alone(record: Snapshot) -> list[str]:
    """Return the wells in which loggers were installed and that have no level by hand on record.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of one site.

    Returns
    -------
    list of str
        Codes, sorted.
    """
    table = levels(record)
    # A dry reading is a visit but no level; such a well still needs its logger.
    read = set(table.loc[table["water_elevation_m"].notna(), "well"])
    installed = deployments_in(record)
    return sorted(set(installed.loc[installed["kind"] != "barometer", "well"]) - read)


def days_of_loggers_alone(record: Snapshot) -> pd.DataFrame:
    """Return reduced levels with the daily levels of the wells that have loggers alone among them.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of one site.

    Returns
    -------
    pandas.DataFrame
        As `gwnet.analysis.levels.table.levels`; made once, so not to be changed in place.
    """
    return record.once(
        "days of loggers alone", lambda: _joined(levels(record), logger_days(record, wells_with_loggers_alone(record)))
    )


def rounds_of_loggers_alone(record: Snapshot, table: pd.DataFrame, rounds: pd.DataFrame) -> pd.DataFrame:
    """Return levels with those of the wells that have loggers alone at the moments of rounds among them.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of one site.
    table : pandas.DataFrame
        Reduced levels of the site.
    rounds : pandas.DataFrame
        Rounds, as `gwnet.store.fetch.programme.rounds`.

    Returns
    -------
    pandas.DataFrame
        The levels frame; rows of loggers have event numbers below zero.
    """
    return _joined(table, logger_levels(record, wells_with_loggers_alone(record), rounds))


def _joined(table: pd.DataFrame, rows: pd.DataFrame) -> pd.DataFrame:
    if rows.empty:
        return table
    # each row needs a number of its own, which no event has
    rows = rows.assign(event_id=-1 - np.arange(len(rows), dtype=np.int64))
    alike = rows[list(table.columns)].astype(table.dtypes.to_dict())
    joined = pd.concat([table, alike], ignore_index=True) if len(table) else alike
    return joined.sort_values(["site", "well", "measured_at_utc", "event_id"], kind="stable", ignore_index=True)
