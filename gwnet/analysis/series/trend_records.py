"""Records of wells as trend tests take them: one value a season of a year, years in rows, and the days behind them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.levels.period_values import period_values
from gwnet.constants import DAYS_PER_YEAR
from gwnet.hydro.seasons.smoothing import lowess

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

#: Share of the record beyond which a gap makes a monotonic test doubtful (Helsel and others, 2020, chapter 12; from
#: memory), and the years that are no gap in a record of few readings (project default).
GAP_SHARE = 1.0 / 3.0
GAP_YEARS = 1.5

#: Fewest values that have a smooth line (project default).
LEAST_SMOOTHED = 8


@dataclass(frozen=True, slots=True, eq=False)
class SharedMemory:
    """What the other wells of an aquifer say of the serial correlation of a well.

    Attributes
    ----------
    aquifer : str
        Code of the aquifer.
    wells : int
        How many other wells.
    weights : ndarray of float64, shape (g,)
        Weights beforehand of the correlations of `gwnet.hydro.trends.correlated_line.error_grid`, from what is left
        beside a line.
    curve_weights : ndarray of float64, shape (g,), or None
        The same from what is left beside a curve, for tests of bends: where all wells turn together, a turn beside
        lines looks like a long memory. None where it is not known.
    """

    aquifer: str
    wells: int
    weights: Floats
    curve_weights: Floats | None = None


#: Of each (site, well) that shares its serial correlation.
Memories = Mapping[tuple[str, str], SharedMemory]


@dataclass(frozen=True, slots=True, eq=False)
class WellRecord:
    """One value a season of a year of one well.

    Attributes
    ----------
    site : str
        Code of the site.
    well : str
        Code of the well.
    years : ndarray of int64, shape (n,)
        Years with a value, ascending.
    values : ndarray of float64, shape (n, m)
        Water elevations, a column for each season; for a bound the bound; NaN where there is none [m].
    bound : ndarray of int64, shape (n, m)
        -1 where the true value is at or below (dry), +1 where it is at or above (flowing), 0 elsewhere.
    when : ndarray of float64, shape (n, m)
        Mean day behind each value; NaN where there is none [decimal year].
    days : ndarray of datetime64[D]
        Local dates of the levels behind the values, ascending.
    memory : SharedMemory or None
        What other wells say of its serial correlation; None where it is judged alone.
    """

    site: str
    well: str
    years: Integers
    values: Floats
    bound: Integers
    when: Floats
    days: NDArray[np.datetime64]
    memory: SharedMemory | None = None

    @property
    def count(self) -> int:
        """Return how many values there are."""
        return int((~np.isnan(self.values)).sum())

    @property
    def bounds(self) -> int:
        """Return how many of them are bounds."""
        return int((self.bound != 0).sum())


@dataclass(frozen=True, slots=True)
class Gap:
    """The longest time without a level.

    Attributes
    ----------
    start : numpy.datetime64
        Last day before it.
    end : numpy.datetime64
        First day after it.
    first_after : int
        Place of the first year of the record after it.
    """

    start: np.datetime64
    end: np.datetime64
    first_after: int


def well_records(used: pd.DataFrame, seasons: int, memory: Memories | None = None) -> dict[tuple[str, str], WellRecord]:
    """Return the records of all wells that have a value.

    Parameters
    ----------
    used : pandas.DataFrame
        Levels that take part, as of `gwnet.analysis.levels.serving.used_levels`.
    seasons : {1, 4, 12}
        Seasons of a year, from January on.
    memory : mapping of (site, well) to SharedMemory, optional
        What other wells say of the serial correlation of each.
    """
    if used.empty:
        return {}
    values = period_values(used, seasons).sort_values(["site", "well", "year", "season"], kind="stable")
    days = _days_of_wells(used)
    year, season = values["year"].to_numpy(dtype=np.int64), values["season"].to_numpy(dtype=np.int64)
    value, bound = values["value"].to_numpy(dtype=np.float64), values["bound"].to_numpy(dtype=np.int64)
    when = decimal_years(values["day"].to_numpy().astype("datetime64[D]"))
    records = {}
    for (site, well), places in values.reset_index(drop=True).groupby(["site", "well"]).indices.items():
        years, row = np.unique(year[places], return_inverse=True)
        table = np.full((years.size, seasons), np.nan)
        sides = np.zeros((years.size, seasons), dtype=np.int64)
        table[row, season[places]], sides[row, season[places]] = value[places], bound[places]
        times = np.full(table.shape, np.nan)
        times[row, season[places]] = when[places]
        others = None if memory is None else memory.get((site, well))
        records[site, well] = WellRecord(site, well, years, table, sides, times, days[site, well], others)
    return records


def decimal_years(days: NDArray[np.datetime64]) -> Floats:
    """Return the middles of days as decimal years.

    Parameters
    ----------
    days : ndarray of datetime64[D]
        Days.

    Returns
    -------
    ndarray of float64
        Decimal years; each year has 365.25 days, so that a time step is the same number anywhere.

    Examples
    --------
    >>> decimal_years(np.array(["2000-01-01"], dtype="datetime64[D]")).round(4).tolist()
    [2000.0014]
    """
    # Noon, since dates have no time of day.
    return 2000.0 + ((days - np.datetime64("2000-01-01")).astype(np.float64) + 0.5) / DAYS_PER_YEAR


def level_of_line(record: WellRecord, slope: float, day: np.datetime64) -> float:
    """Return the level of a line of a slope through the middle of a record on a day.

    Parameters
    ----------
    record : WellRecord
        Values of one well.
    slope : float
        Slope [m a year].
    day : numpy.datetime64
        The day.

    Returns
    -------
    float
        Level [m].

    Notes
    -----
    The line goes through the median of the values less slope times time, each value in the middle of its season; for
    bounds the bounds themselves where half or more are bounds.
    """
    seasons = record.values.shape[1]
    when = record.years[:, None] + (np.arange(seasons) + 0.5) / seasons
    here = ~np.isnan(record.values)
    straight = (record.values - slope * when)[here]
    side = record.bound[here]
    # With bounds the median lies between two ends; the middle of those that are finite is taken.
    lowest = float(np.median(np.where(side < 0, -np.inf, straight)))
    highest = float(np.median(np.where(side > 0, np.inf, straight)))
    ends = [end for end in (lowest, highest) if np.isfinite(end)]
    level = sum(ends) / len(ends) if ends else float(np.median(straight))
    first = day.astype("datetime64[Y]")
    share = float((day.astype("datetime64[D]") - first.astype("datetime64[D]")).astype(np.int64)) / DAYS_PER_YEAR
    # The day's share of its year, so that the line is read at the time the values stand at.
    return level + slope * (float(first.astype(np.int64)) + 1970.0 + share)


def smooth_line(record: WellRecord) -> tuple[Floats, Floats] | None:
    """Return a smooth line through the values of a record that are numbers.

    Parameters
    ----------
    record : WellRecord
        Values of one well.

    Returns
    -------
    tuple of ndarray or None
        Days since 1970-01-01, ascending, each the middle of the season of a value, and the line [m]; None for fewer
        than eight values (project default).

    Notes
    -----
    LOWESS with two thirds of the values in each fit, see `gwnet.hydro.seasons.smoothing.lowess`.
    """
    seasons = record.values.shape[1]
    when = record.years[:, None] + (np.arange(seasons) + 0.5) / seasons
    known = (record.bound == 0) & ~np.isnan(record.values)
    if known.sum() < LEAST_SMOOTHED:
        return None
    years = when[known]
    # Days since 1970, as figures take times.
    return (years - 1970.0) * DAYS_PER_YEAR, lowess(years, record.values[known])


def _days_of_wells(used: pd.DataFrame) -> dict[tuple[str, str], NDArray[np.datetime64]]:
    """Return the days of each well, ascending."""
    days = used["day"].to_numpy().astype("datetime64[D]")
    groups = used.reset_index(drop=True).groupby(["site", "well"]).indices
    return {key: np.sort(days[places]) for key, places in groups.items()}


def longest_gap(record: WellRecord) -> Gap | None:
    """Return the longest time without a level where it makes a test for one trend doubtful.

    Parameters
    ----------
    record : WellRecord
        Record of a well.

    Returns
    -------
    Gap or None
        The gap where it is over a third of the record and over a year and a half, else None.
    """
    steps = np.diff(record.days).astype(np.int64)
    if not steps.size:
        return None
    at = int(np.argmax(steps))
    whole = int((record.days[-1] - record.days[0]).astype(np.int64))
    # Both: in a short record of few readings a third is soon passed without anything being missed.
    if steps[at] <= GAP_SHARE * whole or steps[at] <= GAP_YEARS * DAYS_PER_YEAR:
        return None
    end = record.days[at + 1]
    year = int(end.astype("datetime64[Y]").astype(np.int64)) + 1970
    return Gap(record.days[at], end, int(np.searchsorted(record.years, year)))


def stack_records(records: list[WellRecord]) -> tuple[Integers, Floats, Integers]:
    """Put records of several wells side by side.

    Parameters
    ----------
    records : list of WellRecord
        Records with equally many seasons; one or more.

    Returns
    -------
    tuple of ndarray
        Years with a value of any well, shape (n,); values, shape (n, wells · seasons), all seasons of the first well
        first, NaN where there is none [m]; and bounds alike.
    """
    years = np.unique(np.concatenate([record.years for record in records]))
    seasons = records[0].values.shape[1]
    values = np.full((years.size, len(records) * seasons), np.nan)
    bound = np.zeros(values.shape, dtype=np.int64)
    for k, record in enumerate(records):
        rows = np.searchsorted(years, record.years)
        values[rows, k * seasons : (k + 1) * seasons] = record.values
        bound[rows, k * seasons : (k + 1) * seasons] = record.bound
    return years, values, bound
