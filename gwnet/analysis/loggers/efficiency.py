"""Barometric efficiency of wells with loggers, three ways; whether the response is removed is a person's choice."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
import pandas as pd

from gwnet.analysis.loggers.channels import LoggerRecord, deployments_in, loggers_of
from gwnet.analysis.loggers.heads import LoggerHeads, iterate_heads
from gwnet.analysis.loggers.sensor_level import air_pressure
from gwnet.constants import GAP_TIMES_INTERVAL
from gwnet.hydro.arrays import MICROSECONDS
from gwnet.hydro.loggers.barometric import clark_efficiency, regression_efficiency
from gwnet.hydro.loggers.dense_series import interpolate_at, usual_interval_s
from gwnet.store.snapshot import Snapshot

#: Columns of `estimate_efficiencies`.
EFFICIENCY_COLUMNS: Final = tuple(
    (
        "site well instrument barometer every_hours pairs clark regression_of_changes regression_of_levels "
        "correlation_of_changes applied_efficiency"
    ).split()
)


def estimate_efficiencies(
    record: Snapshot, wells: Sequence[str] | None = None, *, every_hours: float = 1.0
) -> pd.DataFrame:
    """Return the barometric efficiency of each deployment, by Clark's signs and by regression.

    Parameters as `gwnet.analysis.loggers`.

    Parameters
    ----------
    every_hours : float, optional
        Step at which levels and air pressure are compared, an hour unless given; never less than the interval [h].

    Returns
    -------
    pandas.DataFrame
        Columns of `EFFICIENCY_COLUMNS`, one row a deployment with an air pressure. ``applied_efficiency`` is the
        one on record, whose response is removed from the heads, NaN for none; the others are of levels before that.

    Notes
    -----
    `gwnet.hydro.loggers.barometric.clark_efficiency` and `gwnet.hydro.loggers.barometric.regression_efficiency`. The
    three differ: Clark weighs a trend of the level least; changes suffer from noise and from late responses;
    levels as they are count every season as a response. Vented sensors are compared with the barometer that their
    deployment names.
    """
    deployments = deployments_in(record, wells)
    rows = deployments.set_index("deployment_id", drop=False)
    results = [
        _of(loggers_of(record), heads, rows.loc[heads.deployment_id], every_hours)
        for heads in iterate_heads(record, deployments)
    ]
    return pd.DataFrame([row for row in results if row is not None], columns=list(EFFICIENCY_COLUMNS))


def _of(loggers: LoggerRecord, heads: LoggerHeads, deployment: Any, every_hours: float) -> dict[str, Any] | None:
    """Return the efficiencies of one deployment; None without an air pressure."""
    air_pa = heads.level.air_pa
    if not heads.barometer:
        air_pa, _, _, _ = air_pressure(loggers, deployment, heads.time_utc)
    if np.isnan(air_pa).all():
        return None
    when = heads.time_utc
    level = np.where(heads.level.out == 0, heads.level.level_m + np.nan_to_num(heads.anchored.correction_m), np.nan)
    step_s = max(3600.0 * every_hours, usual_interval_s(when))
    grid = np.arange(when[0], when[-1] + np.timedelta64(1, "us"), np.timedelta64(round(step_s * MICROSECONDS), "us"))
    gap = GAP_TIMES_INTERVAL * step_s
    level, air_m = (
        interpolate_at(grid, when, values, longest_gap_s=gap)
        for values in (level, air_pa * heads.level.metres_per_pascal())
    )
    changes = regression_efficiency(level, air_m, of_changes=True)
    settings = heads.level.channel.correction_history.settings(
        "efficiency", deployment.installed_at_utc, deployment.removed_at_utc
    )
    return {
        "site": heads.site,
        "well": heads.well,
        "instrument": heads.instrument,
        "barometer": deployment.barometer,
        "every_hours": step_s / 3600,
        "pairs": changes.count,
        "clark": clark_efficiency(level, air_m).efficiency,
        "regression_of_changes": changes.efficiency,
        "regression_of_levels": regression_efficiency(level, air_m, of_changes=False).efficiency,
        "correlation_of_changes": changes.correlation,
        "applied_efficiency": float(settings.get("value", np.nan)),
    }
