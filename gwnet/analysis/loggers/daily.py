"""Daily values of loggers: mean, lowest and highest head of each local day of a well."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
import pandas as pd

from gwnet.analysis.loggers.heads import LoggerHeads
from gwnet.clock import offset_minutes
from gwnet.constants import DAY_SHARE
from gwnet.hydro.arrays import Instants
from gwnet.hydro.loggers.dense_series import daily_statistics, usual_interval_s

#: Columns of `daily_values`.
DAILY_COLUMNS: Final = tuple("site well access day water_elevation_m uncertainty_m minimum_m maximum_m samples".split())

_DAY_S = 86_400.0


def daily_values(deployments: Sequence[LoggerHeads], zone: str | Mapping[str, str]) -> pd.DataFrame:
    """Return the daily values of each well with loggers.

    Parameters
    ----------
    deployments : sequence of LoggerHeads
        Heads of deployments.
    zone : str or mapping
        Time zone whose days are meant, or that of each site.

    Returns
    -------
    pandas.DataFrame
        Columns of `DAILY_COLUMNS`, one row a day that has a mean, by site, well, access and day: mean, lowest and
        highest head, mean uncertainty (which does not shrink with the number of samples, since what is uncertain is
        common to a day) and the number of samples.

    Notes
    -----
    Samples of all deployments of one well and access count together, so that the day on which a sensor was changed
    has one value. A day needs three quarters of its usual samples (project default): half a day of a daily swing is no
    daily mean.
    """
    groups: dict[tuple[str, str, str], list[LoggerHeads]] = {}
    for heads in deployments:
        groups.setdefault((heads.site, heads.well, heads.access), []).append(heads)
    frames = []
    for (site, well, access), together in sorted(groups.items()):
        days = _days(together, zone if isinstance(zone, str) else zone[site])
        frames.append(days.assign(site=site, well=well, access=access))
    if not frames:
        return pd.DataFrame(columns=list(DAILY_COLUMNS)).astype({"water_elevation_m": "float64", "samples": "int64"})
    return pd.concat(frames, ignore_index=True)[list(DAILY_COLUMNS)]


def _days(together: Sequence[LoggerHeads], zone: str) -> pd.DataFrame:
    """Return the days of one well."""
    when, level, uncertainty = (
        np.concatenate([getattr(heads, name) for heads in together])
        for name in ("time_utc", "water_elevation_m", "uncertainty_m")
    )
    known = ~np.isnan(level)
    when, level, uncertainty = when[known], level[known], uncertainty[known]
    day = local_days(when, zone)
    interval = min((usual_interval_s(heads.time_utc) for heads in together), default=float("nan"))
    usual = _DAY_S / interval if interval == interval and interval > 0 else 1.0
    least = max(1, int(np.floor(DAY_SHARE * usual)))
    of_level = daily_statistics(day, level, least_count=least)
    of_uncertainty = daily_statistics(day, uncertainty, least_count=least)
    kept = ~np.isnan(of_level.mean)
    return pd.DataFrame(
        {
            "day": of_level.day[kept].astype(str).tolist(),
            "water_elevation_m": of_level.mean[kept],
            "uncertainty_m": of_uncertainty.mean[kept],
            "minimum_m": of_level.minimum[kept],
            "maximum_m": of_level.maximum[kept],
            "samples": of_level.count[kept],
        }
    )


def local_days(when: Instants, zone: str) -> Instants:
    """Return the local day of each instant.

    Parameters
    ----------
    when : numpy.ndarray of datetime64[us], shape (n,)
        Instants in UTC.
    zone : str
        Time zone.

    Returns
    -------
    numpy.ndarray of datetime64[D], shape (n,)
        The days.
    """
    return np.asarray((when + offset_minutes(when, zone).astype("timedelta64[m]")).astype("datetime64[D]"))
