"""Smooth lines through levels: locally weighted regression, and the parting into trend, season and remainder.

LOWESS has delta 0; other variants give other numbers.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gwnet.errors import SettingsError, ShapeError, TooFewLevelsError

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

#: Fewest years that are decomposed into trend and season (project default; two would do for the arithmetic).
LEAST_DECOMPOSED_YEARS = 3

#: Years over which the course of a season is smoothed; odd (project default: a season that changes slowly).
_SEASONAL_SPAN = 13


@dataclass(frozen=True, slots=True)
class Decomposition:
    """A series decomposed so that observed = trend + seasonal + remainder, at every step of its grid.

    Attributes
    ----------
    observed : numpy.ndarray of float64, shape (n,)
        Values, with gaps filled.
    filled : numpy.ndarray of bool, shape (n,)
        Where a value was filled in.
    trend : numpy.ndarray of float64, shape (n,)
        Slow course.
    seasonal : numpy.ndarray of float64, shape (n,)
        Course within the year, about 0.
    remainder : numpy.ndarray of float64, shape (n,)
        What is left.
    weight : numpy.ndarray of float64, shape (n,)
        Weight that each value had in the end, from 0 to 1; 1 throughout where it was not robust.
    period : int
        Steps of a year.
    """

    observed: Floats
    filled: Flags
    trend: Floats
    seasonal: Floats
    remainder: Floats
    weight: Floats
    period: int


def lowess(x: ArrayLike, y: ArrayLike, *, fraction: float = 2.0 / 3.0, robust_steps: int = 3) -> Floats:
    """Return a locally weighted straight-line fit at each value.

    Parameters
    ----------
    x : array_like, shape (n,)
        Places, in any order.
    y : array_like, shape (n,)
        Values; NaN where there is none, and no fit.
    fraction : float
        Share of the values that each fit leans on, above 0 and up to 1.
    robust_steps : int
        How often values far from the fit lose weight; 0 for none.

    Returns
    -------
    numpy.ndarray of float64, shape (n,)
        The fit at x; NaN where y is.

    Raises
    ------
    SettingsError
        If the share or the number of steps makes no sense.
    ShapeError
        If x and y differ in shape.

    Notes
    -----
    Cleveland (1979), J. American Statistical Association 74, 829–836, as in statsmodels: local lines, tricube weights,
    a fit at every value (delta 0). Other programs interpolate between fits or fit parabolas and print other numbers.

    Examples
    --------
    >>> lowess([0, 1, 2, 3], [1.0, 3.0, 5.0, 7.0], fraction=1.0).round(9).tolist()
    [1.0, 3.0, 5.0, 7.0]
    """
    from statsmodels.nonparametric.smoothers_lowess import lowess as fitted

    places, values = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    if places.shape != values.shape or places.ndim != 1:
        message = f"Shapes differ: {places.shape} and {values.shape}; expected (n,) twice."
        raise ShapeError(message)
    if not 0.0 < fraction <= 1.0 or robust_steps < 0:
        message = f"A share of {fraction} with {robust_steps} robust steps makes no smooth line."
        raise SettingsError(message, fix="Give a share above 0 and up to 1, and 0 or more steps.")
    here = ~(np.isnan(values) | np.isnan(places))
    smooth = np.full(values.shape, np.nan)
    if here.any():
        # delta 0 fits at every value: interpolation between fits gives other numbers than the paper's.
        smooth[here] = fitted(
            values[here], places[here], frac=fraction, it=robust_steps, delta=0.0, return_sorted=False
        )
    return smooth


def longest_stretch(values: ArrayLike, longest_gap: int, *, broken: ArrayLike = False) -> slice:
    """Return the longest part of a grid without a gap longer than allowed.

    Parameters
    ----------
    values : array_like, shape (n,)
        Values on a full grid; NaN where there is none.
    longest_gap : int
        Most steps in a row without a value that a part may have.
    broken : array_like of bool
        Where no part may reach over, such as at bounds.

    Returns
    -------
    slice
        Places from the first to the last value of the part; empty without any value. The later of equally long ones.

    Examples
    --------
    >>> import numpy as np
    >>> longest_stretch([1.0, np.nan, 2.0, np.nan, np.nan, 3.0], 1)
    slice(0, 3, None)
    """
    numbers = np.asarray(values, dtype=np.float64)
    stops = np.broadcast_to(np.asarray(broken, dtype=bool), numbers.shape)
    places = np.flatnonzero(~np.isnan(numbers) & ~stops)
    if not places.size:
        return slice(0, 0)
    # a stop between two values parts them, however near they are
    stopped = np.cumsum(stops)
    split = (np.diff(places) > longest_gap + 1) | (np.diff(stopped[places]) > 0)
    ends = np.append(np.flatnonzero(split), places.size - 1)
    starts = np.append(0, ends[:-1] + 1)
    lengths = places[ends] - places[starts]
    # of equally long ones the newest
    best = int(np.flatnonzero(lengths == lengths.max())[-1])
    return slice(int(places[starts[best]]), int(places[ends[best]]) + 1)


def fill_gaps(values: ArrayLike, period: int) -> tuple[Floats, Flags]:
    """Return a series with its gaps filled for a decomposition, and where.

    Parameters
    ----------
    values : array_like, shape (n,)
        Values on a full grid, the first and the last one there; NaN where there is none.
    period : int
        Steps of a year.

    Returns
    -------
    filled : numpy.ndarray of float64
        The series without gaps.
    where : numpy.ndarray of bool
        Where a value was filled in.

    Raises
    ------
    TooFewLevelsError
        If the first or last value is missing, or a season has no value in any year.

    Notes
    -----
    A gap gets the median of its season over all years plus a departure, interpolated linearly in time between the
    departures of the values before and after it from the medians of their seasons. It serves the arithmetic alone; it
    is no level.

    Examples
    --------
    >>> import numpy as np
    >>> fill_gaps([1.0, 5.0, 1.0, np.nan, 1.0, 5.0], 2)[0].tolist()
    [1.0, 5.0, 1.0, 5.0, 1.0, 5.0]
    """
    numbers = np.asarray(values, dtype=np.float64)
    missing = np.isnan(numbers)
    if not numbers.size or missing[0] or missing[-1]:
        message = "A series that starts or ends with a gap cannot be filled."
        raise TooFewLevelsError(message, fix="Cut it to its first and last value.")
    season = np.arange(numbers.size) % period
    middle = np.full(period, np.nan)
    for s in range(period):
        own = numbers[(season == s) & ~missing]
        if own.size:
            # the usual level of the season, so that a filled winter is a winter
            middle[s] = np.median(own)
    if np.isnan(middle).any():
        message = f"{int(np.isnan(middle).sum())} of the {period} seasons of the year have no value in any year."
        raise TooFewLevelsError(message, fix="Take fewer seasons, such as quarters.")
    places = np.arange(numbers.size)
    # wet and dry years run on across the gap
    away = np.interp(places, places[~missing], (numbers - middle[season])[~missing])
    return np.where(missing, middle[season] + away, numbers), missing


def decompose(
    values: ArrayLike,
    period: int,
    *,
    robust: bool = True,
    seasonal_span: int = _SEASONAL_SPAN,
    trend_span: int | None = None,
    low_pass_span: int | None = None,
    jumps: tuple[int, int, int] = (1, 1, 1),
    inner_steps: int | None = None,
    outer_steps: int | None = None,
) -> Decomposition:
    """Part a series into trend, season and remainder by locally weighted regression (STL).

    Parameters
    ----------
    values : array_like, shape (n,)
        Values on a full grid, the first and the last one there; gaps (NaN) are filled as `fill_gaps` says.
    period : int
        Steps of a year: 12 or 4.
    robust : bool
        Whether values that do not fit lose weight, so that they stay in the remainder.
    seasonal_span : int
        Years over which each season is smoothed; odd, at least 3.
    trend_span, low_pass_span : int, optional
        Steps over which trend and the smoothed seasons are smoothed; odd. Those of the method unless given.
    jumps : tuple of int
        Steps from one fit to the next for season, trend and low pass; 1 fits everywhere.
    inner_steps, outer_steps : int, optional
        Repetitions; those of the method unless given.

    Returns
    -------
    Decomposition
        The parts, and where gaps were filled.

    Raises
    ------
    TooFewLevelsError
        If there are fewer than three years, or a gap cannot be filled.
    SettingsError
        If a span cannot be used.

    Notes
    -----
    Cleveland, Cleveland, McRae and Terpenning (1990), J. Official Statistics 6, 3–73, as in statsmodels.

    Examples
    --------
    >>> import numpy as np
    >>> parts = decompose(np.tile([1.0, 3.0, 2.0, 0.0], 8), 4)
    >>> parts.seasonal[:4].round(6).tolist()
    [-0.5, 1.5, 0.5, -1.5]
    """
    from statsmodels.tsa.seasonal import STL

    numbers, filled = fill_gaps(values, period)
    if numbers.size < LEAST_DECOMPOSED_YEARS * period:
        message = (
            f"{numbers.size} steps of {period} a year are too few to part trend and season; {LEAST_DECOMPOSED_YEARS} "
            "years are needed."
        )
        raise TooFewLevelsError(message)
    try:
        method = STL(
            numbers,
            period=period,
            seasonal=seasonal_span,
            trend=trend_span,
            low_pass=low_pass_span,
            robust=robust,
            seasonal_jump=jumps[0],
            trend_jump=jumps[1],
            low_pass_jump=jumps[2],
        )
    except ValueError as error:
        message = f"The series cannot be decomposed with these spans: {error}."
        raise SettingsError(message, fix="Give odd spans of 3 or more, and a trend longer than a year.") from error
    fit = method.fit(inner_iter=inner_steps, outer_iter=outer_steps)
    return Decomposition(
        observed=numbers,
        filled=filled,
        trend=np.asarray(fit.trend, dtype=np.float64),
        seasonal=np.asarray(fit.seasonal, dtype=np.float64),
        remainder=np.asarray(fit.resid, dtype=np.float64),
        weight=np.asarray(fit.weights, dtype=np.float64),
        period=period,
    )
