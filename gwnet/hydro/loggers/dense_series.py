"""Dense series: the value between samples, gaps, thinning for drawing, and daily statistics.

Times are instants in UTC that rise from sample to sample; a missing number is NaN and counts as no sample.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gwnet.errors import ReductionError, ShapeError
from gwnet.hydro.arrays import MICROSECONDS, Floats, Instants, series


def interpolate_at(wanted_utc: ArrayLike, time_utc: ArrayLike, values: ArrayLike, *, longest_gap_s: float) -> Floats:
    """Return the value of a series at other moments, linear between the samples on either side.

    Parameters as `gwnet.hydro.loggers`.

    Parameters
    ----------
    wanted_utc : array_like of datetime64
        Moments asked for, in any order.
    longest_gap_s : float
        Longest time between the two samples on either side that is interpolated over [s].

    Returns
    -------
    numpy.ndarray
        Values, of the shape of ``wanted_utc``; NaN inside a longer gap, outside the series and where no moment is
        given. At a sample's own time, the sample.

    Raises
    ------
    ShapeError
        If the times and values of the series differ in shape.
    ReductionError
        If the times do not rise, or the longest gap is negative or NaN.

    Notes
    -----
    Never a value beyond the first or last sample: what a sensor would have read there is not known.

    Examples
    --------
    >>> at = ["2024-05-01T00:00", "2024-05-01T01:00", "2024-05-01T05:00"]
    >>> asked = ["2024-05-01T00:30", "2024-05-01T03:00", "2024-05-01T05:00"]
    >>> interpolate_at(asked, at, [1.0, 2.0, 3.0], longest_gap_s=3600.0).tolist()
    [1.5, nan, 3.0]
    """
    _refuse_faulty_gap(longest_gap_s)
    when, numbers = series(time_utc, values, "series")
    wanted = np.asarray(wanted_utc, dtype="datetime64[us]")
    here = ~np.isnan(numbers)
    when, numbers = when[here], numbers[here]
    if when.size == 0:
        return np.full(wanted.shape, np.nan)
    asked = ~np.isnat(wanted)
    # NaT sorts after everything; any moment will do, since the answer is masked
    moment = np.where(asked, wanted, when[0])
    after = np.searchsorted(when, moment, side="left").clip(0, when.size - 1)
    # a sample at the very moment is itself, with no rounding and whatever gap follows
    exact = when[after] == moment
    before = np.where(exact, after, after - 1).clip(0)
    apart = (when[after] - when[before]).astype(np.int64) / MICROSECONDS
    share = np.divide(
        (moment - when[before]).astype(np.int64) / MICROSECONDS, apart, out=np.zeros(wanted.shape), where=apart > 0
    )
    between = numbers[before] + share * (numbers[after] - numbers[before])
    inside = (moment >= when[0]) & (moment <= when[-1]) & (apart <= longest_gap_s) & asked
    return np.where(inside, np.where(exact, numbers[after], between), np.nan)


def usual_interval_s(time_utc: ArrayLike) -> float:
    """Return the most frequent time between successive samples.

    Parameters as `gwnet.hydro.loggers`.

    Returns
    -------
    float
        Interval, the shorter one where two are equally frequent; NaN for fewer than two samples [s].

    Examples
    --------
    >>> usual_interval_s(["2024-05-01T00:00", "2024-05-01T01:00", "2024-05-01T02:00", "2024-05-02T00:00"])
    3600.0
    """
    times = np.asarray(time_utc, dtype="datetime64[us]")
    when, _ = series(times, np.zeros(times.shape), "series")
    if when.size < 2:
        return float("nan")
    # the most frequent and not the median: a logger that was set anew has two intervals
    steps, counts = np.unique(np.diff(when).astype(np.int64), return_counts=True)
    return float(steps[int(np.argmax(counts))]) / MICROSECONDS


@dataclass(frozen=True)
class Gaps:
    """Answer of `find_gaps`, in order of time.

    Attributes
    ----------
    start_utc, end_utc : numpy.ndarray of datetime64[us], shape (k,)
        The last sample before each gap and the first one after it.
    duration_s : numpy.ndarray, shape (k,)
        Time between the two [s].
    before, after : numpy.ndarray of int64, shape (k,)
        Places of the two samples in the series.
    """

    start_utc: Instants
    end_utc: Instants
    duration_s: Floats
    before: NDArray[np.int64]
    after: NDArray[np.int64]


def find_gaps(time_utc: ArrayLike, values: ArrayLike, *, longest_gap_s: float) -> Gaps:
    """Return where a series has no number for longer than it may.

    Parameters as `gwnet.hydro.loggers`.

    Parameters
    ----------
    longest_gap_s : float
        Longest time between two successive samples that is no gap [s].

    Returns
    -------
    Gaps
        The gaps between the first and the last sample.

    Raises
    ------
    ShapeError
        If times and values differ in shape.
    ReductionError
        If the times do not rise, or the longest gap is negative or NaN.

    Examples
    --------
    >>> at = ["2024-05-01T00:00", "2024-05-01T01:00", "2024-05-01T02:00", "2024-05-01T05:00"]
    >>> find_gaps(at, [1.0, float("nan"), 2.0, 3.0], longest_gap_s=7200.0).duration_s.tolist()
    [10800.0]
    """
    _refuse_faulty_gap(longest_gap_s)
    when, numbers = series(time_utc, values, "series")
    places = np.flatnonzero(~np.isnan(numbers))
    duration = np.diff(when[places]).astype(np.int64) / MICROSECONDS
    long = np.flatnonzero(duration > longest_gap_s)
    before, after = places[:-1][long], places[1:][long]
    return Gaps(when[before], when[after], duration[long], before.astype(np.int64), after.astype(np.int64))


def _refuse_faulty_gap(longest_gap_s: float) -> None:
    """Stop where the longest gap is no length of time."""
    if not longest_gap_s >= 0:
        message = f"The longest gap is {longest_gap_s} s; expected zero or more."
        raise ReductionError(message, fix="Give it in seconds; a little over the sampling interval serves.")


def thin(
    time_utc: ArrayLike, values: ArrayLike, *, start_utc: np.datetime64, end_utc: np.datetime64, columns: int
) -> NDArray[np.int64]:
    """Return which samples a line needs to look the same at a given width.

    Parameters
    ----------
    time_utc : array_like of datetime64, shape (n,)
        Times of the samples, never falling; equal ones are drawn above each other.
    values : array_like, shape (n,)
        Samples; NaN breaks the line.
    start_utc, end_utc : numpy.datetime64
        Left and right edge of the figure; the right one belongs to the last column.
    columns : int
        Pixel columns between the edges, at least 1.

    Returns
    -------
    numpy.ndarray of int64, shape (k,)
        Places of the samples to draw, rising: of every unbroken piece of the line in every column the first, the last,
        a smallest and a largest sample; the nearest sample beyond each edge; and one NaN wherever the line breaks.

    Raises
    ------
    ShapeError
        If times and values differ in shape.
    ReductionError
        If the times fall, the edges are not in order or there is no column.

    Notes
    -----
    Within one pixel column a line from the first sample through the extremes to the last covers what the whole line
    covers (Jugel, Jerzak, Hackenbroich and Markl, 2014, Proceedings of the VLDB Endowment 7(10), 797-808; from
    memory). The columns are equal parts of the time between the edges, split at whole microseconds. No value is made:
    only samples are kept. Breaks at gaps that no NaN marks are `find_gaps`.

    Examples
    --------
    >>> import numpy as np
    >>> at = np.arange("2024-05-01T00:00", "2024-05-01T08:00", dtype="M8[h]")
    >>> thin(at, [5, 1, 2, 9, 3, 3, 3, 3], start_utc=at[0], end_utc=at[-1], columns=1).tolist()
    [0, 1, 3, 7]
    """
    when, numbers = series(time_utc, values, "series", rising=False)
    if (when[1:] < when[:-1]).any():
        raise ReductionError("The times of a line to be drawn fall.", fix="Sort the samples by time.")
    start, end = np.asarray([start_utc, end_utc], dtype="datetime64[us]")
    if columns < 1 or not end > start:
        message = f"A figure of {columns} columns from {start} to {end} cannot be drawn on."
        raise ReductionError(message, fix="Give an end after the start, and at least one column.")
    here = ~np.isnan(numbers)
    places = np.flatnonzero(here)
    when, drawn = when[places], numbers[places]
    first, last = int(np.searchsorted(when, start, side="left")), int(np.searchsorted(when, end, side="right"))
    # the line runs on over both edges of the figure
    beyond = [place for place in (first - 1, last) if 0 <= place < when.size]
    kept = [np.array(beyond, dtype=np.int64)]
    if last > first:
        # a gap within a column must stay a gap
        breaks = np.flatnonzero(np.diff(places[first:last]) > 1) + 1
        starts = first + np.union1d(_column_starts(when[first:last], start, end, columns), breaks)
        # first and last of a column join it to those beside it, the extremes give its height
        kept += [starts, np.append(starts[1:], last) - 1]
        kept += [_places_of(extreme, drawn, starts, last) for extreme in (np.minimum, np.maximum)]
    chosen = places[np.unique(np.concatenate(kept))]
    # one missing sample of each gap, so that the line breaks there
    missing = np.append(np.flatnonzero(~here), numbers.size)
    following = missing[np.searchsorted(missing, chosen[:-1])]
    return np.sort(np.concatenate([chosen, following[following < chosen[1:]]])).astype(np.int64)


def _column_starts(when: Instants, start: np.datetime64, end: np.datetime64, columns: int) -> NDArray[np.int64]:
    """Return the place of the first sample of every column that has one."""
    span = int((end - start).astype(np.int64))
    # whole numbers: a sample on an edge must fall into the same column on every machine
    edges = np.array([-(-column * span // columns) for column in range(columns)], dtype=np.int64)
    starts = np.searchsorted((when - start).astype(np.int64), edges, side="left")
    return np.unique(starts[starts < when.size]).astype(np.int64)


def _places_of(extreme: np.ufunc, drawn: Floats, starts: NDArray[np.int64], last: int) -> NDArray[np.int64]:
    """Return the first place of the smallest or largest sample of each piece."""
    inside = drawn[:last]
    best: Floats = extreme.reduceat(inside, starts)
    piece = np.repeat(np.arange(starts.size, dtype=np.int64), np.diff(np.append(starts, last)))
    # equal extremes may stand several times; the first of each piece is taken
    at = np.flatnonzero(inside[starts[0] :] == best[piece]).astype(np.int64)
    _, firsts = np.unique(piece[at], return_index=True)
    places: NDArray[np.int64] = at[firsts] + starts[0]
    return places


@dataclass(frozen=True)
class DailyStatistics:
    """Answer of `daily_statistics`: every day from the first to the last, in order.

    Attributes
    ----------
    day : numpy.ndarray of datetime64[D], shape (d,)
        The days.
    count : numpy.ndarray of int64, shape (d,)
        Numbers of that day.
    mean, minimum, maximum : numpy.ndarray, shape (d,)
        In the unit of the values; NaN where the day has fewer numbers than asked for.
    """

    day: NDArray[np.datetime64]
    count: NDArray[np.int64]
    mean: Floats
    minimum: Floats
    maximum: Floats


def seconds_to_nearest(when: Instants, others: Instants) -> Floats:
    """Return the time from each moment to the nearest of others.

    Parameters
    ----------
    when : numpy.ndarray of datetime64[us], shape (n,)
        Moments.
    others : numpy.ndarray of datetime64[us], shape (m,)
        The others, rising.

    Returns
    -------
    numpy.ndarray, shape (n,)
        Time, infinite where there are no others [s].

    Examples
    --------
    >>> at = np.array(["2024-05-01T00:00", "2024-05-01T02:00"], "M8[us]")
    >>> seconds_to_nearest(at, at[1:]).tolist()
    [7200.0, 0.0]
    """
    if others.size == 0:
        return np.full(when.size, np.inf)
    after = np.searchsorted(others, when).clip(0, others.size - 1)
    before = (after - 1).clip(0)
    to = [np.abs((others[place] - when).astype(np.int64)) for place in (before, after)]
    return np.asarray(np.minimum(*to) / MICROSECONDS, dtype=np.float64)


def daily_statistics(day: ArrayLike, values: ArrayLike, *, least_count: int) -> DailyStatistics:
    """Return mean, smallest and largest value of each day.

    Parameters
    ----------
    day : array_like of datetime64[D], shape (n,)
        Day of each sample in the time zone that the days shall be of, in any order.
    values : array_like, shape (n,)
        Samples; NaN counts as no sample.
    least_count : int
        Fewest numbers that make a day, at least 1.

    Returns
    -------
    DailyStatistics
        One entry for every day between the first and the last with a sample, the days without one included.

    Raises
    ------
    ShapeError
        If days and values differ in shape.
    ReductionError
        If a day is missing or the count is below 1.

    Notes
    -----
    The mean is of the samples, not weighted by time: give it evenly spaced ones. A day with few samples has no mean
    here, since half a day of a daily swing is no daily mean (common practice, no source).

    Examples
    --------
    >>> days = daily_statistics(["2024-05-01", "2024-05-01", "2024-05-03"], [1.0, 3.0, 7.0], least_count=2)
    >>> days.count.tolist(), days.mean.tolist()
    ([2, 0, 1], [2.0, nan, nan])
    """
    days = np.asarray(day, dtype="datetime64[D]")
    numbers = np.asarray(values, dtype=np.float64)
    if days.ndim != 1 or days.shape != numbers.shape:
        message = f"The days have shape {days.shape} and the values {numbers.shape}; expected (n,) twice."
        raise ShapeError(message)
    if np.isnat(days).any() or least_count < 1:
        message = "A sample has no day." if np.isnat(days).any() else f"A day cannot be made of {least_count} numbers."
        raise ReductionError(message, fix="Give the day of every sample, and a least count of 1 or more.")
    if days.size == 0:
        nothing = np.empty(0)
        return DailyStatistics(np.empty(0, "datetime64[D]"), np.empty(0, np.int64), nothing, nothing, nothing)
    number = (days - days.min()).astype(np.int64)
    size = int(number.max()) + 1
    here = ~np.isnan(numbers)
    number, numbers = number[here], numbers[here]
    count = np.bincount(number, minlength=size)
    lowest, highest = np.full(size, np.inf), np.full(size, -np.inf)
    np.minimum.at(lowest, number, numbers)
    np.maximum.at(highest, number, numbers)
    # summed above the lowest, so that a steady day has its value to the last bit
    above = np.bincount(number, weights=numbers - lowest[number], minlength=size)
    enough = count >= least_count
    mean = np.minimum(lowest + np.divide(above, count, out=np.zeros(size), where=count > 0), highest)
    smallest, mean, largest = (np.where(enough, values, np.nan) for values in (lowest, mean, highest))
    return DailyStatistics(days.min() + np.arange(size), count.astype(np.int64), mean, smallest, largest)
