"""Barometric efficiency of wells with loggers, three ways; whether the answer is taken out is a person's choice."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any, Final

import numpy as np
import pandas as pd
from sqlalchemy import Connection

from gwnet.analysis.loggers.channels import LoggerRecord, gather_loggers
from gwnet.analysis.loggers.heads import LoggerHeads, heads_of
from gwnet.analysis.loggers.sensor_level import air_pressure
from gwnet.constants import GAP_TIMES_INTERVAL
from gwnet.hydro.arrays import MICROSECONDS
from gwnet.hydro.loggers.barometric import clark_efficiency, regression_efficiency
from gwnet.hydro.loggers.dense_series import interpolate_at, usual_interval_s

#: Columns of `efficiencies`.
EFFICIENCY_COLUMNS: Final = (
    "site",
    "well",
    "instrument",
    "barometer",
    "every_hours",
    "pairs",
    "clark",
    "regression_of_changes",
    "regression_of_levels",
    "correlation_of_changes",
    "taken_out",
)


def efficiencies(
    connection: Connection,
    wells: Sequence[str] | None = None,
    site: str | None = None,
    *,
    every_hours: float = 1.0,
    known_on: dt.datetime | None = None,
) -> pd.DataFrame:
    """Return the barometric efficiency of each deployment, by Clark's signs and by regression.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    wells : sequence of str, optional
        Only these wells; all unless given.
    site : str, optional
        Only this site.
    every_hours : float, optional
        Step at which levels and air pressure are compared, an hour unless given; never less than the interval [h].
    known_on : datetime.datetime, optional
        Record as known at this time.

    Returns
    -------
    pandas.DataFrame
        Columns of `EFFICIENCY_COLUMNS`, one row a deployment with an air pressure. ``taken_out`` is the efficiency that
        is on record to be taken out of the heads, NaN for none; the numbers are of the levels before that.

    Notes
    -----
    `gwnet.hydro.loggers.barometric.clark_efficiency` and `gwnet.hydro.loggers.barometric.regression_efficiency`. The
    three differ: Clark weighs a trend of the level least; changes suffer from noise and from answers that come late;
    levels as they are take every season for an answer. Vented sensors are compared with the barometer that their
    deployment names.
    """
    record = gather_loggers(connection, wells=None if wells is None else list(wells), site=site, known_on=known_on)
    rows = record.deployments.set_index("deployment_id", drop=False)
    made = [_of(record, one, rows.loc[one.deployment_id], every_hours) for one in heads_of(record)]
    return pd.DataFrame([row for row in made if row is not None], columns=list(EFFICIENCY_COLUMNS))


def _of(record: LoggerRecord, one: LoggerHeads, deployment: Any, every_hours: float) -> dict[str, Any] | None:
    """Return the efficiencies of one deployment; None without an air pressure."""
    air_pa = one.level.air_pa
    if not one.barometer:
        air_pa, _, _, _ = air_pressure(record, deployment, one.time_utc)
    if np.isnan(air_pa).all():
        return None
    when = one.time_utc
    level = np.where(one.level.out == 0, one.level.level_m + np.nan_to_num(one.tied.correction_m), np.nan)
    step_s = max(3600.0 * every_hours, usual_interval_s(when))
    grid = np.arange(when[0], when[-1] + np.timedelta64(1, "us"), np.timedelta64(round(step_s * MICROSECONDS), "us"))
    gap = GAP_TIMES_INTERVAL * step_s
    level, air_m = (
        interpolate_at(grid, when, values, longest_gap_s=gap)
        for values in (level, air_pa * one.level.metres_per_pascal())
    )
    changes = regression_efficiency(level, air_m, of_changes=True)
    settings = one.level.channel.correction_history.settings(
        "efficiency", deployment.installed_at_utc, deployment.removed_at_utc
    )
    return {
        "site": one.site,
        "well": one.well,
        "instrument": one.instrument,
        "barometer": deployment.barometer,
        "every_hours": step_s / 3600,
        "pairs": changes.count,
        "clark": clark_efficiency(level, air_m).efficiency,
        "regression_of_changes": changes.efficiency,
        "regression_of_levels": regression_efficiency(level, air_m, of_changes=False).efficiency,
        "correlation_of_changes": changes.correlation,
        "taken_out": float(settings.get("value", np.nan)),
    }
