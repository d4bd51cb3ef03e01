"""Straight line by ordinary least squares with Student's t limits, as for independent values with normal residuals."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtr, stdtrit

from gwnet.errors import AnalysisError, ShapeError, TooFewLevelsError

Floats = NDArray[np.float64]

#: Upper quantile of a two-sided interval at 95 %.
_UPPER = 0.975


@dataclass(frozen=True, slots=True)
class LinearTrend:
    """Straight line through values; made by `linear_trend`.

    Attributes
    ----------
    count : int
        Values that took part.
    slope, standard_error : float
        Slope and its standard error, in units of the values per unit of time.
    lower, upper : float
        95 % limits of the slope.
    intercept : float
        Value of the line at time 0.
    t, p_value : float
        Slope over its standard error, and its two-sided probability with ``count - 2`` degrees of freedom.
    residuals : numpy.ndarray, shape (count,)
        Values less the line, in the order given.
    """

    count: int
    slope: float
    standard_error: float
    lower: float
    upper: float
    intercept: float
    t: float
    p_value: float
    residuals: Floats


def linear_trend(values: ArrayLike, times: ArrayLike) -> LinearTrend:
    """Fit a straight line to values by ordinary least squares.

    Parameters
    ----------
    values : array_like, shape (n,)
        Values; NaN takes no part.
    times : array_like, shape (n,)
        Their times, in any unit.

    Returns
    -------
    LinearTrend
        The line. Probability and limits are those of independent values with normal residuals of one variance.

    Raises
    ------
    ShapeError
        If values and times differ in shape.
    TooFewLevelsError
        If fewer than three values are numbers.
    AnalysisError
        If all values are of one time.

    Notes
    -----
    Draper, N. R. and Smith, H. (1998), Applied Regression Analysis, 3rd ed., Wiley, chapter 1 (from memory); for
    trends: US EPA (2009), Unified Guidance, EPA 530/R-09-007, section 17.3.1.

    Examples
    --------
    >>> round(linear_trend([1.0, 3.0, 2.0, 4.0], [0, 1, 2, 3]).slope, 6)
    0.8
    """
    value, time = np.asarray(values, dtype=np.float64), np.asarray(times, dtype=np.float64)
    if value.shape != time.shape:
        message = f"Values have shape {value.shape} and times {time.shape}; expected equal shapes."
        raise ShapeError(message)
    known = ~np.isnan(value)
    value, time = value[known], time[known]
    count = value.size
    if count < 3:
        message = f"A regression line with limits needs 3 values; there are {count}."
        raise TooFewLevelsError(message)
    centred = time - time.mean()
    spread = float(centred @ centred)
    if spread == 0.0:
        message = "All values are of one time, so that no line can be fitted."
        raise AnalysisError(message)
    slope = float(centred @ (value - value.mean())) / spread
    residuals = value - value.mean() - slope * centred
    freedom = count - 2
    error = math.sqrt(float(residuals @ residuals) / freedom / spread)
    t = slope / error if error > 0.0 else math.copysign(math.inf, slope) if slope else 0.0
    width = float(stdtrit(freedom, _UPPER)) * error
    return LinearTrend(
        count=count,
        slope=slope,
        standard_error=error,
        lower=slope - width,
        upper=slope + width,
        intercept=float(value.mean() - slope * time.mean()),
        t=t,
        p_value=float(2.0 * stdtr(freedom, -abs(t))),
        residuals=residuals,
    )
