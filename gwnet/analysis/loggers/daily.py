"""Daily values of loggers: mean, lowest and highest head of each local day of a well."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.loggers.heads import LoggerHeads
from gwnet.clock import local_text, offset_minutes
from gwnet.constants import DAY_SHARE, GAP_TIMES_INTERVAL
from gwnet.hydro.arrays import Floats, Instants
from gwnet.hydro.loggers.dense_series import daily_statistics, seconds_to_nearest, usual_interval_s
from gwnet.units import SECONDS_PER_DAY

#: Columns of `daily_values`.
DAILY_COLUMNS: Final = tuple(
    "site well access day bound water_elevation_m uncertainty_m minimum_m maximum_m samples bounds".split()
)

#: Columns of `daily_extremes`.
EXTREME_COLUMNS: Final = tuple("well access day lowest_m lowest_at highest_m highest_at".split())

#: Which days of a logger have a mean, in words.
DAY_RULE: Final = f"at least {DAY_SHARE:.0%} of its usual samples".replace("%", " %")


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
        common to a day), the number of samples, and how many of them are bounds. A day with a bound among its samples
        is a bound itself (``bound`` is ``<=``): the mean of heads and bounds is the most that its mean can be. Its
        lowest head is not known and left empty; so is its highest where every sample is a bound.

    Notes
    -----
    Samples of all deployments of one well and access count together, so that the day on which a sensor was changed has
    one value; a bound does not count where another sensor of the well has a head at that time. A day needs
    `gwnet.constants.DAY_SHARE` of its usual samples (project default): half a day of a daily swing is no daily mean.
    """
    groups: dict[tuple[str, str, str], list[LoggerHeads]] = {}
    for heads in deployments:
        groups.setdefault((heads.site, heads.well, heads.access), []).append(heads)
    frames = []
    for (site, well, access), together in sorted(groups.items()):
        days = _days(together, zone if isinstance(zone, str) else zone[site])
        frames.append(days.assign(site=site, well=well, access=access))
    if not frames:
        numbers = {"water_elevation_m": "float64", "samples": "int64", "bounds": "int64"}
        return pd.DataFrame(columns=list(DAILY_COLUMNS)).astype(numbers)
    return pd.concat(frames, ignore_index=True)[list(DAILY_COLUMNS)]


def _days(together: Sequence[LoggerHeads], zone: str) -> pd.DataFrame:
    """Return the days of one well."""
    when, level, uncertainty, is_bound = (np.concatenate(parts) for parts in zip(*_samples(together), strict=True))
    day = local_days(when, zone)
    interval = min((usual_interval_s(heads.time_utc) for heads in together), default=float("nan"))
    # Without an interval, as of a single sample, one sample makes the day.
    usual = SECONDS_PER_DAY / interval if interval == interval and interval > 0 else 1.0
    least = max(1, int(np.floor(DAY_SHARE * usual)))
    of_level = daily_statistics(day, level, least_count=least)
    of_uncertainty = daily_statistics(day, uncertainty, least_count=least)
    # Of heads alone: what a bound may be below has no highest value.
    of_heads = daily_statistics(day, np.where(is_bound, np.nan, level), least_count=1)
    kept = ~np.isnan(of_level.mean)
    # A day with a bound among its samples is a bound: its mean lies at or below what is printed.
    bounds = (of_level.count - of_heads.count)[kept]
    return pd.DataFrame(
        {
            "day": of_level.day[kept].astype(str).tolist(),
            "bound": np.where(bounds > 0, "<=", "").astype(object),
            "water_elevation_m": of_level.mean[kept],
            "uncertainty_m": of_uncertainty.mean[kept],
            # The lowest head is not known where the water fell below the sensor.
            "minimum_m": np.where(bounds > 0, np.nan, of_level.minimum[kept]),
            "maximum_m": of_heads.maximum[kept],
            "samples": of_level.count[kept],
            "bounds": bounds,
        }
    )


def _samples(together: Sequence[LoggerHeads]) -> Iterator[tuple[Instants, Floats, Floats, NDArray[np.bool_]]]:
    """Yield time, level, half-width and whether it is a bound of the samples of each deployment."""
    for one in together:
        level, half_width, is_bound = one.levels()
        kept = ~np.isnan(level)
        others = [each.time_utc[~np.isnan(each.water_elevation_m)] for each in together if each is not one]
        if others and is_bound.any():
            interval = usual_interval_s(one.time_utc)
            near_s = GAP_TIMES_INTERVAL * interval if interval == interval else 0.0
            # Two sensors hang at different depths: where the deeper one has a head, the other's bound adds nothing.
            kept &= ~(is_bound & (seconds_to_nearest(one.time_utc, np.sort(np.concatenate(others))) <= near_s))
        yield one.time_utc[kept], level[kept], half_width[kept], is_bound[kept]


def daily_extremes(deployments: Sequence[LoggerHeads], zone: str) -> pd.DataFrame:
    """Return the lowest and highest head of each local day of a well, and when they were.

    Parameters
    ----------
    deployments : sequence of LoggerHeads
        Heads of deployments of one site.
    zone : str
        Time zone whose days are meant.

    Returns
    -------
    pandas.DataFrame
        Columns of `EXTREME_COLUMNS`, one row a day with a head, by well, access and day: heads [m], and local times to
        the minute as text, the first where the same head was recorded several times. Bounds are passed over.
    """
    groups: dict[tuple[str, str], list[LoggerHeads]] = {}
    for heads in deployments:
        groups.setdefault((heads.well, heads.access), []).append(heads)
    frames = []
    for (well, access), together in sorted(groups.items()):
        when, level, _, is_bound = (np.concatenate(parts) for parts in zip(*_samples(together), strict=True))
        samples = pd.DataFrame({"when": when[~is_bound], "level": level[~is_bound]}).sort_values("when", kind="stable")
        samples = samples.reset_index(drop=True)
        by_day = samples.groupby(local_days(samples["when"].to_numpy(), zone).astype("datetime64[us]"))["level"]
        lowest, highest = samples.loc[by_day.idxmin()], samples.loc[by_day.idxmax()]
        frames.append(
            pd.DataFrame(
                {
                    "well": well,
                    "access": access,
                    "day": list(by_day.groups),
                    "lowest_m": lowest["level"].to_numpy(),
                    "lowest_at": local_text(lowest["when"].to_numpy().astype("datetime64[m]"), zone),
                    "highest_m": highest["level"].to_numpy(),
                    "highest_at": local_text(highest["when"].to_numpy().astype("datetime64[m]"), zone),
                }
            )
        )
    if not frames:
        return pd.DataFrame(columns=list(EXTREME_COLUMNS)).astype({"lowest_m": "float64", "highest_m": "float64"})
    return pd.concat(frames, ignore_index=True)[list(EXTREME_COLUMNS)]


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
