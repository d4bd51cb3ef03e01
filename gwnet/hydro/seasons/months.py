"""Seasons: statistics of calendar months, envelopes of the day of the year, records, levels without their season."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gwnet.errors import AnalysisError, ShapeError
from gwnet.hydro.seasons.percentiles import percentiles
from gwnet.hydro.trends.kendall import value_limits

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

#: Calendar months of a year.
MONTHS = 12

#: Percentages of the monthly statistics [%].
PERCENTS = (10.0, 25.0, 50.0, 75.0, 90.0)

#: Years with a value from which percentiles of a calendar month are given (common practice, no source).
LEAST_YEARS = 10

#: Days of a year; 29 February goes with 28 February.
_YEAR_DAYS = 365


@dataclass(frozen=True, slots=True)
class MonthlyStatistics:
    """Statistics of the calendar months; first axis: January to December.

    Attributes
    ----------
    count : numpy.ndarray of int64, shape (12,)
        Values of each month.
    bound_count : numpy.ndarray of int64, shape (12,)
        Those among them that are bounds.
    minimum, maximum : numpy.ndarray of float64, shape (12,)
        Lowest and highest value; NaN without any.
    mean : numpy.ndarray of float64, shape (12,)
        Mean; NaN without values and where a bound is among them.
    percent : numpy.ndarray of float64, shape (5,)
        Percentages of the percentiles [%].
    percentile : numpy.ndarray of float64, shape (12, 5)
        Percentiles; NaN where a month has too few values.
    minimum_bound, maximum_bound : numpy.ndarray of int64, shape (12,)
        -1 where the statistic is at or below the number, +1 where it is at or above it, 0 where it is the number.
    percentile_bound : numpy.ndarray of int64, shape (12, 5)
        The same of the percentiles.
    """

    count: Integers
    bound_count: Integers
    minimum: Floats
    maximum: Floats
    mean: Floats
    percent: Floats
    percentile: Floats
    minimum_bound: Integers
    maximum_bound: Integers
    percentile_bound: Integers


@dataclass(frozen=True, slots=True)
class DailyEnvelope:
    """Percentiles of the days of the year; first axis: 1 January to 31 December without 29 February.

    Attributes
    ----------
    years : numpy.ndarray of int64, shape (365,)
        Years that have a value near the day.
    percent : numpy.ndarray of float64, shape (p,)
        Percentages [%].
    percentile : numpy.ndarray of float64, shape (365, p)
        Percentiles; NaN where too few years have a value.
    """

    years: Integers
    percent: Floats
    percentile: Floats


@dataclass(frozen=True, slots=True)
class Records:
    """Highest and lowest of a series, each at its first occurrence.

    Attributes
    ----------
    highest, lowest : float
        The values; NaN without any.
    highest_at, lowest_at : int
        Their places in the series; -1 without any.
    highest_bound, lowest_bound : int
        -1 where the record is at or below the number, +1 where it is at or above it, 0 where it is the number.
    """

    highest: float
    highest_at: int
    highest_bound: int
    lowest: float
    lowest_at: int
    lowest_bound: int


def monthly_statistics(
    month: ArrayLike,
    values: ArrayLike,
    *,
    bound: ArrayLike = 0,
    least_count: int = LEAST_YEARS,
    definition: str = "weibull",
) -> MonthlyStatistics:
    """Return the statistics of the calendar months.

    Parameters
    ----------
    month : array_like of int, shape (n,)
        Calendar month of each value, 1 to 12.
    values : array_like, shape (n,)
        Values, as a rule one a month of a year; for a bound the bound itself; NaN where there is none (left out).
    bound : array_like of int
        -1 where the true value is at or below the number (dry), +1 where it is at or above it, 0 elsewhere.
    least_count : int
        Fewest values of a month for which percentiles are given; 10 unless said (common practice, no source).
    definition : {"weibull", "linear"}
        Definition of the percentiles, see `gwnet.hydro.seasons.percentiles.percentiles`.

    Returns
    -------
    MonthlyStatistics
        Counts, extremes, means and percentiles.

    Raises
    ------
    AnalysisError
        If a month is not from 1 to 12.
    ShapeError
        If months and values differ in shape.

    Examples
    --------
    >>> found = monthly_statistics([1, 1, 7], [3.0, 5.0, 4.0], least_count=2)
    >>> found.count[[0, 6]].tolist(), found.mean[0].tolist(), found.percentile[0, 2].tolist()
    ([2, 1], 4.0, 4.0)
    """
    months, numbers = _months(month), np.asarray(values, dtype=np.float64)
    _refuse_unlike(months.shape, numbers.shape)
    low, high = value_limits(numbers, bound)
    count, bounds = np.zeros(MONTHS, dtype=np.int64), np.zeros(MONTHS, dtype=np.int64)
    extremes, sides = np.full((MONTHS, 2), np.nan), np.zeros((MONTHS, 2), dtype=np.int64)
    mean = np.full(MONTHS, np.nan)
    middle = np.full((MONTHS, len(PERCENTS)), np.nan)
    middle_sides = np.zeros((MONTHS, len(PERCENTS)), dtype=np.int64)
    for m in range(MONTHS):
        own = (months == m + 1) & ~np.isnan(numbers)
        count[m] = own.sum()
        if not count[m]:
            continue
        side = np.where(np.isinf(low[own]), -1, np.where(np.isinf(high[own]), 1, 0))
        bounds[m] = (side != 0).sum()
        # the mean of bounds is no number
        if not bounds[m]:
            mean[m] = numbers[own].mean()
        ends = percentiles(numbers[own], [0.0, 100.0], bound=side, definition=definition)
        extremes[m], sides[m] = ends.value, ends.bound
        # extremes are facts, percentiles of few years are guesses
        if count[m] >= least_count:
            quantiles = percentiles(numbers[own], PERCENTS, bound=side, definition=definition)
            middle[m], middle_sides[m] = quantiles.value, quantiles.bound
    return MonthlyStatistics(
        count=count,
        bound_count=bounds,
        minimum=extremes[:, 0],
        maximum=extremes[:, 1],
        mean=mean,
        percent=np.array(PERCENTS),
        percentile=middle,
        minimum_bound=sides[:, 0],
        maximum_bound=sides[:, 1],
        percentile_bound=middle_sides,
    )


def daily_envelope(
    year: ArrayLike,
    day_of_year: ArrayLike,
    values: ArrayLike,
    *,
    percent: ArrayLike = PERCENTS,
    half_window_days: int = 7,
    least_years: int = LEAST_YEARS,
    definition: str = "weibull",
) -> DailyEnvelope:
    """Return percentiles of the days of the year, each with the days around it.

    Parameters
    ----------
    year : array_like of int, shape (n,)
        Year of each value.
    day_of_year : array_like of int, shape (n,)
        Day of the year, 1 to 365; 29 February is given as 59, like the day before.
    values : array_like, shape (n,)
        Values; NaN where there is none.
    percent : array_like
        Percentages from 0 to 100 [%].
    half_window_days : int
        Days before and after that count with a day, less than half a year [d].
    least_years : int
        Fewest years with a value near a day for which it has percentiles.
    definition : {"weibull", "linear"}
        Definition of the percentiles, see `gwnet.hydro.seasons.percentiles.percentiles`.

    Returns
    -------
    DailyEnvelope
        Percentiles of the 365 days.

    Raises
    ------
    AnalysisError
        If a day is not from 1 to 365, or the window makes no sense.
    ShapeError
        If the arrays differ in shape.

    Notes
    -----
    Each year gives one value a day: the median of the values within the window around that day, which reaches over the
    turn of the year; so a year of daily values does not weigh more than one of weekly ones.

    Examples
    --------
    >>> found = daily_envelope([2020, 2021, 2022], [100, 100, 103], [1.0, 2.0, 3.0], percent=[50], least_years=3)
    >>> found.percentile[99].tolist(), found.years[[99, 199]].tolist()
    ([2.0], [3, 0])
    """
    years, days = np.asarray(year, dtype=np.int64), np.asarray(day_of_year, dtype=np.int64)
    numbers = np.asarray(values, dtype=np.float64)
    _refuse_unlike(years.shape, numbers.shape)
    _refuse_unlike(days.shape, numbers.shape)
    if days.size and not ((days >= 1) & (days <= _YEAR_DAYS)).all():
        message = f"Days of the year from 1 to {_YEAR_DAYS} are expected; found {days.min()} to {days.max()}."
        raise AnalysisError(message)
    if not 0 <= half_window_days < _YEAR_DAYS // 2:
        message = f"A window of {half_window_days} days on either side makes no envelope; expected 0 to 181."
        raise AnalysisError(message)
    share = np.atleast_1d(np.asarray(percent, dtype=np.float64))
    table = _by_year_and_day(years, days, numbers, half_window_days)
    counted = (~np.isnan(table)).sum(axis=0)
    envelope = np.full((_YEAR_DAYS, share.size), np.nan)
    # At least one: with `least_years` 0 a day without a value would have a percentile of nothing.
    for day in np.flatnonzero(counted >= max(least_years, 1)):
        envelope[day] = percentiles(table[:, day], share, definition=definition).value
    return DailyEnvelope(counted.astype(np.int64), share, envelope)


def _by_year_and_day(years: Integers, days: Integers, numbers: Floats, half_window: int) -> Floats:
    """Return the median around each day of each year, shape (years, 365); NaN where there is no value."""
    here = ~np.isnan(numbers)
    if not here.any():
        return np.empty((0, _YEAR_DAYS))
    first = int(years[here].min())
    # Years without a value keep their row, so that the window before 1 January finds the year before.
    count = int(years[here].max()) - first + 1
    # days in a row, so that the window of 1 January reaches into December
    place = (years[here] - first) * _YEAR_DAYS + days[here] - 1
    order = np.argsort(place, kind="stable")
    place, ordered = place[order], numbers[here][order]
    values = np.full(count * _YEAR_DAYS, np.nan)
    starts = np.searchsorted(place, np.arange(values.size) - half_window, side="left")
    ends = np.searchsorted(place, np.arange(values.size) + half_window, side="right")
    # Only where there is a value: median of nothing warns.
    for i in np.flatnonzero(ends > starts):
        # one value a year, however many samples a logger took in the window
        values[i] = np.median(ordered[starts[i] : ends[i]])
    return values.reshape(count, _YEAR_DAYS)


def records(values: ArrayLike, *, bound: ArrayLike = 0) -> Records:
    """Return the highest and the lowest of a series.

    Parameters
    ----------
    values : array_like, shape (n,)
        Values in order of time; for a bound the bound itself; NaN where there is none (left out).
    bound : array_like of int
        -1 where the true value is at or below the number (dry), +1 where it is at or above it, 0 elsewhere.

    Raises
    ------
    ShapeError
        If the values are not one-dimensional, or bounds do not broadcast to them.

    Notes
    -----
    A bound holds a record when nothing else is known to lie beyond it: a well that fell dry at 40.0 m has its lowest
    level at or below 40.0 m, or at or below a lower number that was read at another time.

    Examples
    --------
    >>> found = records([41.0, 40.2, 40.0, 42.0], bound=[0, 0, -1, 0])
    >>> found.highest, found.highest_at, found.lowest, found.lowest_bound
    (42.0, 3, 40.0, -1)
    """
    numbers = np.asarray(values, dtype=np.float64)
    low, high = value_limits(numbers, bound)
    if numbers.ndim != 1:
        message = f"The values have shape {numbers.shape}; expected (n,)."
        raise ShapeError(message)
    here = ~np.isnan(numbers)
    if not here.any():
        return Records(np.nan, -1, 0, np.nan, -1, 0)
    # Reached for sure is the highest of the lowest possible values, possible the highest of the highest.
    highest, highest_bound = _end(high[here].max(), low[here].max(), 1)
    lowest, lowest_bound = _end(low[here].min(), high[here].min(), -1)
    return Records(
        highest=highest,
        highest_at=_first(numbers, highest),
        highest_bound=highest_bound,
        lowest=lowest,
        lowest_at=_first(numbers, lowest),
        lowest_bound=lowest_bound,
    )


def _end(possible: float, sure: float, side: int) -> tuple[float, int]:
    """Return an extreme and its side, from the most extreme number possible and the one that is reached for sure."""
    if possible == sure:
        return float(possible), 0
    # where only bounds are there, and all to one side, the extreme is beyond the other way
    return (float(sure), side) if np.isfinite(sure) else (float(possible), -side)


def _first(numbers: Floats, wanted: float) -> int:
    return int(np.flatnonzero(numbers == wanted)[0])


def _months(month: ArrayLike) -> Integers:
    months = np.asarray(month, dtype=np.int64)
    if months.size and not ((months >= 1) & (months <= MONTHS)).all():
        message = f"Calendar months from 1 to 12 are expected; found {months.min()} to {months.max()}."
        raise AnalysisError(message)
    return months


def _refuse_unlike(one: tuple[int, ...], other: tuple[int, ...]) -> None:
    if one != other or len(one) != 1:
        message = f"Shapes differ: {one} and {other}; expected (n,) twice."
        raise ShapeError(message)
