"""Intervals in which a sensor did not measure the water: flat, pinned, out of water, frozen, over range, odd interval.

Places are positions in the arrays given. A missing number (NaN) ends no interval and belongs to none. Everything found
is a suggestion to a person.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gwnet.constants import (
    FLAT_TIMES_CHANCE,
    LEAST_SAMPLES,
    NOISE_BLOCK,
    OUT_OF_WATER_M,
    OVER_RANGE_SHARE,
    PINNED_LEAST_S,
    PINNED_TIMES_BESIDE,
)
from gwnet.hydro.arrays import MICROSECONDS, Floats, Instants, runs_of, series
from gwnet.hydro.loggers.dense_series import usual_interval_s

Places = NDArray[np.int64]

#: Fewest samples in a row at another interval than the usual one (project default).
_LEAST_ODD = 10


@dataclass(frozen=True)
class Intervals:
    """Intervals in order of time.

    Attributes
    ----------
    first, last : numpy.ndarray of int64, shape (k,)
        Places of the first and last sample of each interval.
    count : numpy.ndarray of int64, shape (k,)
        Samples in it.
    duration_s : numpy.ndarray, shape (k,)
        Time from its first to its last sample [s].
    value : numpy.ndarray, shape (k,)
        Median of its samples, in the unit of the values.
    """

    first: Places
    last: Places
    count: Places
    duration_s: Floats
    value: Floats


def find_intervals(
    time_utc: ArrayLike, values: ArrayLike, where: ArrayLike, *, least_count: int = 1, least_s: float = 0.0
) -> Intervals:
    """Return the runs of samples for which something holds.

    Parameters as `gwnet.hydro.loggers`.

    Parameters
    ----------
    where : array_like of bool, shape (n,)
        For which samples it holds.
    least_count : int, optional
        Fewest samples of a run.
    least_s : float, optional
        Least time from its first to its last sample [s].

    Examples
    --------
    >>> at = ["2024-05-01T00:00", "2024-05-01T01:00", "2024-05-01T02:00"]
    >>> find_intervals(at, [0.1, 0.0, 0.0], [False, True, True]).first.tolist()
    [1]
    """
    when, numbers = series(time_utc, values, "series")
    here = np.flatnonzero(~np.isnan(numbers))
    holds = np.asarray(where, dtype=bool)[here]
    first, end = runs_of(holds)
    return _kept(when, numbers, here, first, end - 1, least_count, least_s)


def find_flat(time_utc: ArrayLike, values: ArrayLike, *, least_s: float, resolution: float = 0.0) -> Intervals:
    """Return intervals in which a series stays at one value for longer than resolution and noise make likely.

    Parameters as `gwnet.hydro.loggers`.

    Parameters
    ----------
    least_s : float
        Shortest interval that is reported [s].
    resolution : float, optional
        Values nearer to each other than half of this are the same, in the unit of the values.

    Notes
    -----
    Where successive samples are equal with the share p (the median over blocks of 96, or the share outside the longest
    run where that is less, so that the flat interval itself does not count), the longest run of equals among n samples
    is about log n / -log p by chance; an interval must be three times as long as well as long enough in time. Project
    default.

    Examples
    --------
    >>> import numpy as np
    >>> at = np.datetime64("2024-05-01", "us") + np.arange(40) * np.timedelta64(1, "h")
    >>> level = np.where(np.arange(40) < 10, 0.1 * np.arange(40), 1.0)
    >>> find_flat(at, level, least_s=43_200.0).count.tolist()
    [30]
    """
    when, numbers = series(time_utc, values, "series")
    here = np.flatnonzero(~np.isnan(numbers))
    # Half a step of the resolution, as a conversion of units leaves equal readings apart by rounding.
    same = np.abs(np.diff(numbers[here])) <= 0.5 * resolution
    first, last = runs_of(same)  # a run of equal changes ends with the sample behind it
    if first.size == 0:
        return _no_intervals()
    longest = int(np.argmax(last - first))
    chance = _chance_run(same, slice(int(first[longest]), int(last[longest])))
    least_count = max(3, int(np.ceil(FLAT_TIMES_CHANCE * chance)))
    return _kept(when, numbers, here, first, last, least_count, least_s)


def find_pinned(time_utc: ArrayLike, values: ArrayLike, *, resolution: float = 0.0) -> Intervals:
    """Return intervals in which a series rests at the least value that it ever has: a sensor that bottomed out.

    Parameters
    ----------
    time_utc : array_like of datetime64, shape (n,)
        Times of the samples, rising.
    values : array_like, shape (n,)
        Samples as they were read, before air or anything else is taken off; NaN counts as no sample.
    resolution : float, optional
        Least step between two values of the sensor, in the unit of the values; found from the values where zero.

    Notes
    -----
    A falling level rests at its lowest value as long as at the values just above it; a sensor at its end rests there
    and hardly anywhere near. So ten times more samples must stand at the least value than on average at each of the
    ten values next to it. Project default.

    Examples
    --------
    >>> import numpy as np
    >>> at = np.datetime64("2024-05-01", "us") + np.arange(60) * np.timedelta64(1, "h")
    >>> level = np.concatenate([np.linspace(4.0, 3.0, 20), np.full(40, -2.5)])
    >>> find_pinned(at, level).count.tolist()
    [40]
    """
    when, numbers = series(time_utc, values, "series")
    here = ~np.isnan(numbers)
    if not here.any():
        return _no_intervals()
    lowest = float(numbers[here].min())
    step = resolution if resolution > 0 else least_step(numbers[here])
    at_end = here & (numbers <= lowest + 0.5 * step)
    beside = float((here & (numbers > lowest + 0.5 * step) & (numbers <= lowest + 10.5 * step)).sum()) / 10
    # Not 0: with nothing near the least value, a single sample there would count as pinned.
    pinned = at_end.sum() > PINNED_TIMES_BESIDE * max(beside, 0.1)
    return find_intervals(when, numbers, at_end & pinned, least_count=3, least_s=PINNED_LEAST_S)


def least_step(values: ArrayLike) -> float:
    """Return the least step that a sensor makes, from the values that it gave.

    Parameters as `gwnet.hydro.loggers`.

    Returns
    -------
    float
        The tenth percentile of the differences between neighbouring different values, in the unit of the values; 0 for
        fewer than two different values.

    Notes
    -----
    The smallest difference of all is as a rule dust of a conversion between units. Project default.

    Examples
    --------
    >>> round(least_step([4.04, 4.02, 4.00, 4.02, -2.50]), 6)
    0.02
    """
    numbers = np.asarray(values, dtype=np.float64)
    numbers = numbers[~np.isnan(numbers)]
    steps = np.diff(np.unique(numbers))
    steps = steps[steps > 1e-9 * max(1.0, float(np.abs(numbers).max(initial=0.0)))]
    return float(np.percentile(steps, 10, method="lower")) if steps.size else 0.0


def has_no_water(water_column_m: ArrayLike, half_width_m: ArrayLike = 0.0) -> NDArray[np.bool_]:
    """Return which samples cannot be water above a sensor: the column is at or below zero within its uncertainty.

    Parameters
    ----------
    water_column_m : array_like, shape (n,)
        Column of water above the sensor, the air taken off; NaN for no sample [m].
    half_width_m : array_like, optional
        95 % half-width of the column [m]; `gwnet.constants.OUT_OF_WATER_M` where it is smaller or not known.

    Returns
    -------
    numpy.ndarray of bool, shape (n,)
        Whether the column is no larger than that; False where there is no sample.

    Examples
    --------
    >>> has_no_water([1.2, 0.01, -1.74, float("nan")]).tolist()
    [False, True, True, False]
    """
    column = np.asarray(water_column_m, dtype=np.float64)
    with np.errstate(invalid="ignore"):
        return np.asarray(column < least_water_m(half_width_m), dtype=bool)


def least_water_m(half_width_m: ArrayLike = 0.0) -> Floats:
    """Return the column of water from which on a sensor counts as in the water.

    Parameters
    ----------
    half_width_m : array_like, optional
        As `has_no_water`.

    Returns
    -------
    numpy.ndarray
        The half-width, `gwnet.constants.OUT_OF_WATER_M` where it is smaller or not known [m]. Water may stand as much
        above a sensor that counts as out of it.

    Examples
    --------
    >>> least_water_m([0.01, 0.05, float("nan")]).tolist()
    [0.03, 0.05, 0.03]
    """
    # fmax: without a known half-width the limit of the constant holds.
    return np.asarray(np.fmax(np.asarray(half_width_m, dtype=np.float64), OUT_OF_WATER_M), dtype=np.float64)


def find_out_of_water(time_utc: ArrayLike, water_column_m: ArrayLike, *, half_width_m: ArrayLike = 0.0) -> Intervals:
    """Return intervals in which a sensor had no water above it: its pressure is that of the air.

    Parameters
    ----------
    time_utc : array_like of datetime64, shape (n,)
        Times of the samples, rising.
    water_column_m : array_like, shape (n,)
        Column of water above the sensor, the air taken off; NaN counts as no sample [m].
    half_width_m : array_like, optional
        As `has_no_water`.

    Returns
    -------
    Intervals
        When the column was near zero; the value is the column [m].

    Notes
    -----
    Air-exposed samples are flagged and kept: USGS TM 1-A1 (Cunningham and Schalk, 2011), p. 140, and WMO 168, 9.5.6
    (second hand). A small negative column is the disagreement of two sensors; a large one is another fault. A sensor
    that reads a few centimetres too much in air is not found: compare it with its barometer beside it first.

    Examples
    --------
    >>> at = ["2024-05-01T00:00", "2024-05-01T01:00", "2024-05-01T02:00"]
    >>> find_out_of_water(at, [1.2, 0.01, -0.01]).first.tolist()
    [1]
    """
    when, column = series(time_utc, water_column_m, "series")
    return find_intervals(when, column, has_no_water(column, half_width_m), least_count=LEAST_SAMPLES)


def find_frozen(time_utc: ArrayLike, water_temperature_degc: ArrayLike) -> Intervals:
    """Return intervals in which the water at a sensor was at or below its freezing point.

    Parameters
    ----------
    time_utc : array_like of datetime64, shape (n,)
        Times of the samples, rising.
    water_temperature_degc : array_like, shape (n,)
        Temperature of the water; NaN counts as no sample [degC].

    Notes
    -----
    Ice presses on a sensor and may break it: what it reads then and afterwards needs a look (common practice, no
    source).

    Examples
    --------
    >>> at = ["2024-01-01T00:00", "2024-01-01T01:00", "2024-01-01T02:00"]
    >>> find_frozen(at, [0.3, 0.0, -0.1]).count.tolist()
    [2]
    """
    when, temperature = series(time_utc, water_temperature_degc, "series")
    cold = np.less_equal(temperature, 0.0, where=~np.isnan(temperature), out=np.zeros(temperature.shape, dtype=bool))
    return find_intervals(when, temperature, cold, least_count=LEAST_SAMPLES)


def find_over_range(time_utc: ArrayLike, water_column_m: ArrayLike, *, range_m: float) -> Intervals:
    """Return intervals in which a sensor read more than it is made for.

    Parameters
    ----------
    time_utc : array_like of datetime64, shape (n,)
        Times of the samples, rising.
    water_column_m : array_like, shape (n,)
        Column of water above the sensor; NaN counts as no sample [m].
    range_m : float
        Range of the instrument as a column of water [m].

    Notes
    -----
    Choose the range for the whole fluctuation: USGS TM 1-A1 (Cunningham and Schalk, 2011), p. 140.

    Examples
    --------
    >>> find_over_range(["2024-01-01T00:00", "2024-01-01T01:00"], [9.9, 10.4], range_m=10.0).first.tolist()
    [1]
    """
    when, column = series(time_utc, water_column_m, "series")
    limit = range_m * (1 + OVER_RANGE_SHARE)
    over = np.greater(column, limit, where=~np.isnan(column), out=np.zeros(column.shape, dtype=bool))
    return find_intervals(when, column, over, least_count=1)


def find_odd_intervals(time_utc: ArrayLike) -> Intervals:
    """Return intervals in which samples lie closer together or farther apart than they usually do.

    Parameters as `gwnet.hydro.loggers`.

    Returns
    -------
    Intervals
        The intervals; the value is the interval [s].

    Notes
    -----
    A logger that was set to another interval misses or invents peaks; an interval long enough to miss peaks must be
    stated: USGS TM 1-A1 (Cunningham and Schalk, 2011), p. 118 and 140. Single gaps are
    `gwnet.hydro.loggers.dense_series.find_gaps`.

    Examples
    --------
    >>> import numpy as np
    >>> minutes = np.concatenate([np.arange(0, 3000, 60), np.arange(3000, 3600, 15)])
    >>> found = find_odd_intervals(np.datetime64("2024-05-01", "us") + minutes * np.timedelta64(1, "m"))
    >>> found.value.tolist(), found.count.tolist()
    ([900.0], [40])
    """
    times = np.asarray(time_utc, dtype="datetime64[us]")
    when, _ = series(times, np.zeros(times.shape), "series")
    if when.size < 2:
        return _no_intervals()
    interval = np.diff(when).astype(np.int64) / MICROSECONDS
    usual = usual_interval_s(when)
    change = np.flatnonzero(np.concatenate([[True], interval[1:] != interval[:-1], [True]]))
    first, last = change[:-1], change[1:] - 1
    odd = (interval[first] != usual) & (last - first + 1 >= _LEAST_ODD)
    first, last = first[odd].astype(np.int64), last[odd].astype(np.int64) + 1
    return Intervals(first, last, last - first + 1, _seconds(when, first, last), interval[first])


def _no_intervals() -> Intervals:
    nothing, lengths = np.empty(0, np.int64), np.empty(0)
    return Intervals(nothing, nothing, nothing, lengths, lengths)


def _kept(
    when: Instants, numbers: Floats, here: Places, first: Places, last: Places, least_count: int, least_s: float
) -> Intervals:
    """Return the runs between places among the samples that are there, where they are long enough."""
    count = (last - first + 1).astype(np.int64)
    starts, ends = here[first].astype(np.int64), here[last].astype(np.int64)
    duration = _seconds(when, starts, ends)
    kept = np.flatnonzero((count >= least_count) & (duration >= least_s))
    value = np.array([np.median(numbers[here[first[n] : last[n] + 1]]) for n in kept], dtype=np.float64)
    return Intervals(starts[kept], ends[kept], count[kept], duration[kept], value)


def _seconds(when: Instants, first: Places, last: Places) -> Floats:
    """Return the seconds between two places."""
    return np.asarray((when[last] - when[first]).astype(np.int64) / MICROSECONDS, dtype=np.float64)


def _chance_run(same: NDArray[np.bool_], longest: slice) -> float:
    """Return how long the longest run of equal samples is by chance, judged from what is not the longest run."""
    blocks = max(1, same.size // NOISE_BLOCK)
    shares = same[: blocks * NOISE_BLOCK].reshape(blocks, -1).mean(axis=1) if same.size >= NOISE_BLOCK else same.mean()
    others = np.delete(same, longest)
    share = min(float(np.median(shares)), float(others.mean()) if others.size else 1.0)
    share = min(share, 0.9)  # beyond that the time alone decides
    return float(np.log(same.size) / -np.log(share)) if share > 0 else 1.0
