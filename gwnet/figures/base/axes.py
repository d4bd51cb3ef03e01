"""Axes: round steps, ticks of dates and local time as numbers."""

from __future__ import annotations

import datetime as dt
import math
import re
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.clock import zone_of
from gwnet.constants import DAYS_PER_YEAR
from gwnet.hydro.loggers.dense_series import thin

MONTHS: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_DAY_US: Final = 86_400_000_000.0


def nice_step(span: float, most: int) -> float:
    """Return the smallest step of 1, 2 or 5 times a power of ten that gives at most so many steps in a span.

    Parameters
    ----------
    span : float
        Length to be divided, above zero.
    most : int
        Most steps.

    Examples
    --------
    >>> nice_step(7.3, 5)
    2.0
    """
    raw = span / max(most, 1)
    power = 10.0 ** math.floor(math.log10(raw))
    for factor in (1.0, 2.0, 5.0):
        # A hair below counts: 0.1 divided and multiplied again is seldom 0.1.
        if factor * power >= raw * (1 - 1e-9):
            return factor * power
    return 10.0 * power


def round_ticks(low: float, high: float, step: float) -> list[float]:
    """Return the multiples of a step from low to high, both included."""
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    # Counted and not added up: sums of 0.1 drift off the round numbers.
    return [round(i * step, 9) for i in range(first, last + 1)]


def day_number(day: dt.date) -> float:
    """Return the days from 1970-01-01 to a date, which is the unit of time of every axis."""
    return float((day - dt.date(1970, 1, 1)).days)


def day_of_number(days: float) -> dt.date:
    """Return the date in which a number of days since 1970-01-01 falls."""
    return dt.date(1970, 1, 1) + dt.timedelta(days=math.floor(days))


def local_days(measured_at: Any) -> NDArray[np.float64]:
    """Return local times, as the levels frame writes them, as days since 1970-01-01.

    Parameters
    ----------
    measured_at : sequence of str
        ISO 8601 local times with offset, or dates alone.

    Returns
    -------
    numpy.ndarray of float64
        Days on the local clock; a date alone is taken as noon.

    Notes
    -----
    The offset is left out on purpose: the axis shows the clock that the field crew read.
    """
    texts = [str(text) for text in measured_at]
    # A day without a time is drawn at noon, half a day from any reading of that day at most.
    moments = np.array([text[:19] if len(text) > 10 else f"{text}T12:00" for text in map(_without_offset, texts)])
    if not len(moments):
        return np.empty(0)
    return moments.astype("datetime64[us]").astype(np.int64) / _DAY_US


def _without_offset(text: str) -> str:
    return re.sub(r"(Z|[+-]\d{2}:?\d{2})$", "", text) if len(text) > 10 else text


def to_local_days(moments_utc: Any, zone: str) -> NDArray[np.float64]:
    """Return times in UTC as days since 1970-01-01 on the local clock.

    Parameters
    ----------
    moments_utc : array_like of datetime
        Times in UTC, aware or not; NaT gives NaN.
    zone : str
        IANA name or an offset such as ``UTC+01:00``.

    Returns
    -------
    numpy.ndarray of float64
        Days on the local clock.

    Raises
    ------
    ClockError
        If the zone is not known.
    """
    moments = pd.DatetimeIndex(pd.to_datetime(pd.Series(moments_utc), utc=True))
    local = moments.tz_convert(zone_of(zone)).tz_localize(None).as_unit("us")
    days: NDArray[np.float64] = local.asi8.astype(np.float64) / _DAY_US
    days[np.asarray(local.isna())] = np.nan
    return days


@dataclass(frozen=True, slots=True)
class DateTick:
    """A tick of a date axis: days since 1970-01-01, and its label, empty for a minor one."""

    days: float
    label: str


def date_ticks(first: float, last: float, most: int) -> list[DateTick]:
    """Return ticks of a date axis.

    Parameters
    ----------
    first, last : float
        Ends of the axis, days since 1970-01-01.
    most : int
        Most labels that there is room for.

    Returns
    -------
    list of DateTick
        In order of time. Years alone when they fill the axis; else months, with the year at each January and at the
        first label; else days.
    """
    span = max(last - first, 1.0)
    # Below four years months help to see the season; above, their labels are a fence.
    if span / DAYS_PER_YEAR >= 4 or span / DAYS_PER_YEAR >= most:
        return _year_ticks(first, last, most)
    if span >= 62:
        return _month_ticks(first, last, most)
    return _day_ticks(first, last, most)


def _year_ticks(first: float, last: float, most: int) -> list[DateTick]:
    start, end = day_of_number(first).year, day_of_number(last).year
    steps = (1, 2, 5, 10, 20, 25, 50, 100, 200, 500)
    step = next((s for s in steps if (end - start) / s <= most), 1000)
    minor = {1: 1, 2: 1, 5: 1, 10: 2, 20: 5, 25: 5, 50: 10, 100: 20}.get(step, step)
    ticks = []
    # From a multiple of the step, so that the labelled years are 2000, 2005 and not 2003, 2008.
    for year in range(max(start - start % minor, 1), end + 2, minor):
        days = day_number(dt.date(year, 1, 1))
        if first - 1e-6 <= days <= last + 1e-6:
            ticks.append(DateTick(days, str(year) if year % step == 0 else ""))
    return ticks


def _month_ticks(first: float, last: float, most: int) -> list[DateTick]:
    months = (last - first) / 30.44
    step = next(s for s in (1, 2, 3, 4, 6, 12) if months / s <= most or s == 12)
    ticks: list[DateTick] = []
    day = day_of_number(first).replace(day=1)
    seen_year = 0
    while day_number(day) <= last + 1e-6:
        days = day_number(day)
        if days >= first - 1e-6:
            named = (day.month - 1) % step == 0
            label = ""
            if named:
                label = MONTHS[day.month - 1] if day.year == seen_year else f"{MONTHS[day.month - 1]}\n{day.year}"
                seen_year = day.year
            ticks.append(DateTick(days, label))
        # Four days after the 28th is in the next month, whichever month it is.
        day = (day.replace(day=28) + dt.timedelta(days=4)).replace(day=1)
    return ticks


def _day_ticks(first: float, last: float, most: int) -> list[DateTick]:
    step = next(s for s in (1, 2, 5, 7, 10, 14, 31) if (last - first) / s <= most or s == 31)
    ticks: list[DateTick] = []
    seen_month = (0, 0)
    for number in range(math.ceil(first - 1e-6), math.floor(last + 1e-6) + 1):
        day = day_of_number(number)
        label = ""
        if (number - math.ceil(first - 1e-6)) % step == 0:
            label = str(day.day)
            if (day.year, day.month) != seen_month:
                label = f"{day.day} {MONTHS[day.month - 1]}\n{day.year}"
                seen_month = (day.year, day.month)
        ticks.append(DateTick(float(number), label))
    return ticks


def thin_line(
    days: NDArray[np.float64], values: NDArray[np.float64], limits: tuple[float, float], columns: int
) -> NDArray[np.int64]:
    """Return the samples of a line that look the same in so many columns.

    Parameters
    ----------
    days, values : numpy.ndarray, shape (n,)
        Times [d] and values, NaN where the line breaks; local days may fall where clocks are set back.
    limits : tuple of float
        First and last day of the axis.
    columns : int
        Columns of the axis.

    Returns
    -------
    numpy.ndarray of int64
        Places of the samples, as `gwnet.hydro.loggers.dense_series.thin`; all where they are few.
    """
    if days.size <= 4 * columns:
        return np.arange(days.size)
    # Local clocks fall back once a year; held at their highest, the times do not fall and are thinned all the same.
    times, (first, last) = ((np.asarray(at) * _DAY_US).astype("M8[us]") for at in (np.maximum.accumulate(days), limits))
    return thin(times, values, start_utc=first, end_utc=last, columns=columns)
