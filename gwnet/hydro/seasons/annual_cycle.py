"""Amplitude and timing of the annual cycle, by a yearly wave fitted together with a line that bends.

The line bends because runs of wet and dry years would otherwise pass for noise. The covariance is that of residuals
with the correlation of a first-order autoregressive process in true time, so that months and quarters, with gaps, are
treated alike.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import solve_triangular
from scipy.stats import f as f_distribution
from scipy.stats import t as t_distribution

from gwnet.errors import ShapeError, TooFewLevelsError

Floats = NDArray[np.float64]

#: Fewest values and fewest calendar years with one that an annual cycle is estimated from (project default).
LEAST_CYCLE_VALUES = 12
LEAST_CYCLE_YEARS = 3

#: Longest part of the year without a value in any year: with two visits half a year apart, the day of the highest
#: level cannot be estimated.
_LONGEST_UNSEEN = 0.45

#: Years between bends of the line under the wave, and fewest values for each (project defaults): it follows wet and dry
#: periods and leaves the course of the year to the wave.
_BEND_YEARS = 3.0
_BEND_VALUES = 10

#: Days in a year that dates are given in.
_YEAR_DAYS = 365.0

#: Columns of the fit must not follow from each other more nearly than this.
_LEAST_RANK = 1e-9

#: Most that neighbouring residuals may are correlated.
_MOST_CORRELATION = 0.98


@dataclass(frozen=True, slots=True)
class AnnualCycle:
    """The annual cycle of a series.

    Attributes
    ----------
    count : int
        Values that took part.
    amplitude : float
        Half of the way from the lowest to the highest of the wave, in the unit of the values.
    amplitude_lower, amplitude_upper : float
        Limits of the amplitude; the lower one is not below 0.
    highest_day : float
        Day of the year on which the wave is highest, from 0.0 (start of 1 January) to 365.0 [d].
    highest_day_half_width : float
        Half-width of its interval; NaN where it is half a year or more, so that no day is known [d].
    p_value : float
        Probability of so large a wave where there is no annual cycle.
    correlation : float
        How much neighbouring residuals are correlated; 0 where they do not.
    """

    count: int
    amplitude: float
    amplitude_lower: float
    amplitude_upper: float
    highest_day: float
    highest_day_half_width: float
    p_value: float
    correlation: float


def year_part(day: ArrayLike) -> Floats:
    """Return how much of its calendar year has passed at noon of each date.

    Parameters
    ----------
    day : array_like of datetime64[D]
        Dates.

    Returns
    -------
    numpy.ndarray of float64
        From 0 to 1; leap years are as long as others.

    Examples
    --------
    >>> year_part(["2023-01-01", "2024-07-02"]).round(4).tolist()
    [0.0014, 0.5014]
    """
    days = np.asarray(day, dtype="datetime64[D]")
    start = days.astype("datetime64[Y]")
    # By the length of its own year, so that the cycle closes at New Year in leap years too.
    first, after = start.astype("datetime64[D]"), (start + 1).astype("datetime64[D]")
    # Noon: dates have no time of day, and midnight would put every level half a day early.
    return np.asarray(((days - first).astype(np.int64) + 0.5) / (after - first).astype(np.int64), dtype=np.float64)


def annual_cycle(day: ArrayLike, values: ArrayLike) -> AnnualCycle:
    """Return amplitude and timing of the annual cycle, with limits.

    Parameters
    ----------
    day : array_like of datetime64[D], shape (n,)
        Date of each value, rising.
    values : array_like, shape (n,)
        Values, as a rule one a month; NaN where there is none or where it is a bound (left out).

    Returns
    -------
    AnnualCycle
        The wave that fits best, in the sense of least squares, together with a line that bends.

    Raises
    ------
    TooFewLevelsError
        If there are fewer than 12 values or three calendar years with one, or no values in nearly half of the year.
    ShapeError
        If dates and values differ in shape.

    Notes
    -----
    value = L(t) + A cos(2 pi (u - u0)), with u the part of the calendar year that has passed and L a line that may bend
    every three years or ten values, whichever is longer. The covariance of the estimates allows for residuals that go
    together over time as in a first-order autoregressive process, whose correlation is found from neighbouring
    residuals (never below 0). Limits of A and of u0 follow by linearisation; whether there is a cycle at all is decided
    by an F test of both parts of the wave. One wave a year says nothing of a course that rises fast and falls slowly;
    see the monthly statistics for that.

    Examples
    --------
    >>> import numpy as np
    >>> days = np.arange("2010-01-15", "2020-01-15", 30, dtype="M8[D]")
    >>> found = annual_cycle(days, 0.5 * np.cos(2 * np.pi * (year_part(days) - 0.25)))
    >>> round(found.amplitude, 6), round(found.highest_day, 3)
    (0.5, 91.25)
    """
    days, numbers = np.asarray(day, dtype="datetime64[D]"), np.asarray(values, dtype=np.float64)
    if days.shape != numbers.shape or days.ndim != 1:
        message = f"The dates have shape {days.shape} and the values {numbers.shape}; expected (n,) twice."
        raise ShapeError(message)
    here = ~np.isnan(numbers)
    days, numbers = days[here], numbers[here]
    part = year_part(days)
    _refuse_too_few(days, part)
    numbers = numbers - numbers[0]  # so that values that are all alike leave nothing for rounding to make a wave of
    when = days.astype(np.int64) / 365.2425
    turn = 2.0 * math.pi * part
    design = np.column_stack([np.cos(turn), np.sin(turn), _bent_line(when)])
    across, upright = np.linalg.qr(design)
    sizes = np.abs(np.diagonal(upright))
    if sizes.min() < _LEAST_RANK * sizes.max():
        message = "The values stand on too few days of the year for an annual cycle."
        raise TooFewLevelsError(message)
    estimates = solve_triangular(upright, across.T @ numbers)
    half = solve_triangular(upright, np.eye(upright.shape[0]))
    covariance, correlation = _covariance(design, half @ half.T, numbers - design @ estimates, when)
    return _outcome(estimates, covariance, numbers.size, correlation)


def _refuse_too_few(days: NDArray[np.datetime64], part: Floats) -> None:
    years = np.unique(days.astype("datetime64[Y]")).size
    if days.size < LEAST_CYCLE_VALUES or years < LEAST_CYCLE_YEARS:
        message = (
            f"{days.size} values in {years} calendar years are too few for an annual cycle; {LEAST_CYCLE_VALUES} "
            f"values in {LEAST_CYCLE_YEARS} are needed."
        )
        raise TooFewLevelsError(message)
    places = np.sort(part)
    unseen = float(np.max(np.diff(np.append(places, places[0] + 1.0))))
    # Round the turn of the year: from the last value of December to the first of January.
    if unseen > _LONGEST_UNSEEN:
        message = (
            f"No year has a value in {12 * unseen:.1f} months of the year, so the annual cycle cannot be estimated."
        )
        raise TooFewLevelsError(message)


def _bent_line(when: Floats) -> Floats:
    """Return the columns of a line that bends at places with equally many values between."""
    pieces = int(min((when[-1] - when[0]) / _BEND_YEARS, when.size / _BEND_VALUES))
    # Equally many values between bends: a bend in a gap would rest on nothing.
    bends = np.quantile(when, np.arange(1, pieces) / pieces) if pieces > 1 else np.empty(0)
    beyond = np.maximum(when[:, None] - bends[None, :], 0.0)
    # Centred, so that the test of rank does not take constant and slope for one column.
    return np.column_stack([np.ones_like(when), when - when.mean(), beyond])


def _covariance(design: Floats, inverse: Floats, residual: Floats, when: Floats) -> tuple[Floats, float]:
    """Return the covariance of the estimates, and how much neighbouring residuals are correlated."""
    size = float(np.abs(residual).max())
    free = residual.size - design.shape[1]
    if size == 0.0:
        return np.zeros_like(inverse), 0.0
    steps = np.diff(when)
    usual = float(np.median(steps))
    # Steps of about the usual length only: over a gap neighbours are less correlated, and would dilute the rest.
    near = (steps > 0.5 * usual) & (steps < 1.5 * usual)
    products = float((residual[1:] * residual[:-1])[near].mean()) if near.any() else 0.0
    correlation = products / float(np.mean(residual**2))
    # Correlation of few residuals comes out too low; first-order bias of (1 + 4 r) / n (Marriott
    # and Pope, 1954; Kendall, 1954; from memory).
    correlation += (1.0 + 4.0 * correlation) / residual.size if correlation > 0.0 else 0.0
    # Negative correlation would narrow the limits; few values show it by chance.
    correlation = min(max(correlation, 0.0), _MOST_CORRELATION)
    if correlation == 0.0:
        return inverse * float(residual @ residual) / free, 0.0
    decay = math.log(correlation) / float(steps[near].mean())
    together = np.exp(decay * np.abs(when[:, None] - when[None, :]))
    middle = design.T @ together @ design
    # Correlated residuals hold fewer free numbers than n less the columns.
    degrees = residual.size - float(np.trace(inverse @ middle))
    return inverse @ middle @ inverse * float(residual @ residual) / degrees, correlation


def _outcome(found: Floats, covariance: Floats, count: int, correlation: float) -> AnnualCycle:
    cosine, sine = float(found[0]), float(found[1])
    # Amplitude and timing are not linear in the two parts: their errors are those along and across the wave.
    amplitude = math.hypot(cosine, sine)
    wave = covariance[:2, :2]
    free = count - found.size
    reach = float(t_distribution.ppf(0.975, free))
    p_value, half, days = 1.0, 0.0, math.nan
    if amplitude > 0.0:
        along = np.array([cosine, sine]) / amplitude
        across = np.array([-sine, cosine]) / amplitude
        half = reach * math.sqrt(max(float(along @ wave @ along), 0.0))
        turn = reach * math.sqrt(max(float(across @ wave @ across), 0.0)) / amplitude
        days = turn / (2.0 * math.pi) * _YEAR_DAYS
        # pinv: a record that the wave fits without remainder has a covariance of 0.
        ratio = float(found[:2] @ np.linalg.pinv(wave) @ found[:2]) / 2.0
        p_value = float(f_distribution.sf(ratio, 2, free)) if wave.any() else 0.0
    return AnnualCycle(
        count=count,
        amplitude=amplitude,
        amplitude_lower=max(amplitude - half, 0.0),
        amplitude_upper=amplitude + half,
        highest_day=(math.atan2(sine, cosine) / (2.0 * math.pi)) % 1.0 * _YEAR_DAYS,
        # An interval of half a year or more on either side says that any day may be the highest.
        highest_day_half_width=days if days < _YEAR_DAYS / 2.0 else math.nan,
        p_value=p_value,
        correlation=correlation,
    )
