"""One value a month, quarter or year of a well, from manual readings and logger values together.

Medians are rounded to a micrometre, so that equal levels are ties in spite of binary fractions. On a day with manual
readings logger values do not count. With bounds in a period, its lowest and highest possible value are medians as well;
where one of them is open the period is a bound at the other.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from gwnet.analysis.levels.serving import values_and_bounds
from gwnet.errors import SettingsError

#: How the days of a period give one value.
VALUES: Final = ("median", "middle")

#: Parts that a year may have.
PARTS: Final = (1, 4, 12)

#: Decimals of a metre to which values are compared: without binary dust equal levels are ties.
DECIMALS: Final = 6

#: Columns of the result, in order.
COLUMNS: Final = ("site", "well", "year", "season", "value", "bound", "day", "n", "source")

_KEYS: Final = ["site", "well", "year", "season"]


def period_values(used: pd.DataFrame, seasons: int = 12, *, value: str = "median") -> pd.DataFrame:
    """Return one value for each month, quarter or year in which a well has levels.

    Parameters
    ----------
    used : pandas.DataFrame
        Levels that take part, as of `gwnet.analysis.levels.serving.used_levels`: site, well, day, low, high, source.
    seasons : {12, 4, 1}
        Parts of a year, from January on.
    value : {"median", "middle"}
        The median of the days of the period, or the day nearest to its middle.

    Returns
    -------
    pandas.DataFrame
        Columns of `COLUMNS`, sorted by site, well, year and season: season from 0, value (for a bound the bound
        itself) [m], bound (-1 at or below, +1 at or above, 0 a number), day (mean of the days that it was made from), n
        (levels behind it), and source: ``manual``, ``logger`` or ``both``.

    Raises
    ------
    SettingsError
        If the parts or the value are none of these.

    Notes
    -----
    On a day with manual readings logger values do not count, so that a sensor never outvotes a tape on the same day.
    What is left of the period gives its median, or that of the day nearest to its middle. With bounds among them, the
    lowest and the highest possible value are medians as well; where one of these is open, the period has the other
    as a bound. Values are rounded to a micrometre.
    """
    if seasons not in PARTS:
        message = f"A year cannot be divided into {seasons!r} seasons; expected {', '.join(map(str, PARTS))}."
        raise SettingsError(message)
    if value not in VALUES:
        message = f"A period cannot be given by its {value!r}; expected {' or '.join(VALUES)}."
        raise SettingsError(message)
    days = drop_logged_on_reading_days(used)
    if value == "middle":
        days = _one_a_day(days)
    # Month and year of the local day: a level at midnight of New Year in UTC belongs to the year at the site.
    days = days.assign(year=days["day"].dt.year, season=(days["day"].dt.month - 1) * seasons // 12)
    if value == "middle":
        days = _nearest_to_middle(days, 12 // seasons)
    days = days.assign(number=(days["day"] - pd.Timestamp(0)) / pd.Timedelta(days=1), logged=days["source"] == "logger")
    periods = days.groupby(_KEYS, as_index=False).agg(
        low=("low", "median"),
        high=("high", "median"),
        number=("number", "mean"),
        n=("n", "sum"),
        logged=("logged", "mean"),
    )
    # a period of which a dry and a flowing level leave everything open has no value
    periods = periods[~((periods["low"] == -np.inf) & (periods["high"] == np.inf)) & periods["low"].notna()]
    periods = periods[periods["high"].notna()].reset_index(drop=True)
    value_of, bound = values_and_bounds(periods["low"], periods["high"])
    periods["value"], periods["bound"] = value_of.round(DECIMALS), bound
    periods["day"] = pd.to_datetime(np.floor(periods["number"]), unit="D")
    # Half of the days from each: the period is of both.
    share = periods["logged"]
    periods["source"] = np.where(share == 0, "manual", np.where(share == 1, "logger", "both"))
    return periods[list(COLUMNS)]


def drop_logged_on_reading_days(used: pd.DataFrame) -> pd.DataFrame:
    """Drop logger values of days on which the same well has manual readings.

    Parameters as `gwnet.analysis.levels`.

    Returns
    -------
    pandas.DataFrame
        The rows that are left, with a further column n of 1.
    """
    logged = used["source"] == "logger"
    if not logged.any() or logged.all():
        # One kind alone has nothing to drop, and the transform is slow.
        return used.assign(n=1)
    with_hand = (~logged).groupby([used[key] for key in ("site", "well", "day")]).transform("any")
    return used[~logged | ~with_hand].assign(n=1)


def _one_a_day(days: pd.DataFrame) -> pd.DataFrame:
    """Return one value a day of a well, the median."""
    keys = ["site", "well", "day"]
    if not days.duplicated(keys).any():
        return days
    return days.groupby(keys, as_index=False).agg(
        low=("low", "median"), high=("high", "median"), source=("source", "first"), n=("n", "sum")
    )


def _nearest_to_middle(days: pd.DataFrame, months: int) -> pd.DataFrame:
    """Return of each period the day nearest to its middle, the earlier of two."""
    start = pd.to_datetime({"year": days["year"], "month": days["season"] * months + 1, "day": 1})
    next_month = days["season"] * months + months
    after = pd.to_datetime({"year": days["year"] + next_month // 12, "month": next_month % 12 + 1, "day": 1})
    # Noon, as the middle of a period lies between days.
    away = (days["day"] + pd.Timedelta(hours=12) - (start + (after - start) / 2)).abs()
    # By day as well, so that of two equally near the earlier counts on every machine.
    ordered = days.assign(away=away).sort_values([*_KEYS, "away", "day"], kind="stable")
    return ordered.drop_duplicates(_KEYS, keep="first").drop(columns="away")
