"""Percentiles of the days of the year: for wells whose loggers have run for many years."""

from __future__ import annotations

import datetime as dt
from typing import Any, Final

import numpy as np
import pandas as pd

from gwnet.analysis.levels.serving import used_levels
from gwnet.analysis.series.seasons import check_options
from gwnet.hydro.seasons.months import LEAST_YEARS, PERCENTS, daily_envelope

#: Columns of the frame, in order.
COLUMNS: Final = ("site", "well", "day", "years", *(f"p{percent:.0f}_m" for percent in PERCENTS))

#: Days before and after that count with a day (project default) [d].
HALF_WINDOW_DAYS: Final = 7

_FEBRUARY_29: Final = 60


def daily_seasons(
    levels: pd.DataFrame,
    wells: pd.DataFrame,
    *,
    least_years: int = LEAST_YEARS,
    definition: str = "weibull",
    approved: bool = False,
) -> pd.DataFrame:
    """Return percentiles of the days of the year of wells.

    Parameters as `gwnet.analysis.series`.

    Returns
    -------
    pandas.DataFrame
        Columns of `COLUMNS`, a row for each well and day (MM-DD, 29 February with 28 February) that has a level within
        a week in some year. Each year gives one value a day, the median of its numbers within a week of that day;
        bounds take no part.

    Raises
    ------
    SettingsError
        If the definition or the number of years cannot be used.
    """
    check_options(least_years, definition)
    used, _ = used_levels(levels, approved=approved)
    numbers = used[np.isfinite(used["low"]) & np.isfinite(used["high"])]
    # Days from 29 February on count one less, so that 1 March is one day in every year.
    leap = numbers["day"].dt.is_leap_year & (numbers["day"].dt.day_of_year >= _FEBRUARY_29)
    numbers = numbers.assign(number=numbers["day"].dt.day_of_year - leap.astype(int))
    groups = dict(list(numbers.groupby(["site", "well"])))
    rows: list[dict[str, Any]] = []
    for key in zip(wells["site"], wells["well"], strict=True):
        own = groups.get(key)
        if own is None:
            continue
        envelope = daily_envelope(
            own["day"].dt.year,
            own["number"],
            own["high"],
            half_window_days=HALF_WINDOW_DAYS,
            least_years=least_years,
            definition=definition,
        )
        for day in np.flatnonzero(envelope.years > 0).tolist():
            date = dt.date(2001, 1, 1) + dt.timedelta(days=day)  # any year without a 29 February
            row = {"site": key[0], "well": key[1], "day": f"{date:%m-%d}", "years": int(envelope.years[day])}
            rows.append(row | dict(zip(COLUMNS[4:], envelope.percentile[day].tolist(), strict=True)))
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    return table.astype(dict.fromkeys(COLUMNS[4:], float))
