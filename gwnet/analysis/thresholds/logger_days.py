"""Days of loggers as thresholds are judged by them: the mean of each day, with its lowest and highest head."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import pandas as pd

from gwnet.analysis.loggers.channels import deployments_in
from gwnet.analysis.loggers.daily import daily_extremes
from gwnet.analysis.loggers.heads import iterate_heads
from gwnet.analysis.loggers.levels import logger_days
from gwnet.store.snapshot import Snapshot

_KEY: Final = ["well", "access", "day"]


def days_of_loggers(record: Snapshot, wells: Sequence[str]) -> pd.DataFrame:
    """Return the days of the loggers in wells.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of one site.
    wells : sequence of str
        Wells.

    Returns
    -------
    pandas.DataFrame
        As `gwnet.analysis.loggers.levels.logger_days`, with lowest_m, lowest_at, highest_m and highest_at of
        `gwnet.analysis.loggers.daily.daily_extremes`; without rows or columns where no well has a logger.
    """
    logged = deployments_in(record, sorted(set(wells)))
    logged = logged[logged["kind"] != "barometer"]
    codes = sorted(set(logged["well"]))
    days = logger_days(record, codes) if codes else pd.DataFrame()
    if days.empty:
        return days
    extremes = daily_extremes(list(iterate_heads(record, logged)), str(record.settings["time_zone"]))
    extremes = extremes.astype({"day": days["day"].dtype})
    return days.merge(extremes, on=_KEY, how="left", validate="many_to_one")
