"""Theil–Sen slopes of series with bounds: every pair has a lowest and a highest possible slope, none is made up."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gwnet.errors import ShapeError, TooFewLevelsError
from gwnet.hydro.kendall import value_limits
from gwnet.hydro.theil_sen import limit_ranks
from gwnet.hydro.year_signs import correlated_variance, year_signs

__all__ = ["CensoredSlope", "censored_theil_sen", "slope_between"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class CensoredSlope:
    """Median slope of a series in which some values are bounds.

    Attributes
    ----------
    slope_count : int
        Pairs at different times.
    open_count : int
        Pairs of which only a lowest or highest possible slope, or neither, is known.
    slope : float
        Slope at which as many pairs are surely steeper as are surely flatter; infinite where the bounds leave it open.
    lower : float
        Lower limit; minus infinity where there is none.
    upper : float
        Upper limit; infinity where there is none.
    """

    slope_count: int
    open_count: int
    slope: float
    lower: float
    upper: float


def censored_theil_sen(
    values: ArrayLike,
    times: ArrayLike | None = None,
    *,
    bound: ArrayLike = 0,
    variance: float | None = None,
    confidence: float = 0.95,
    ranks: str = "interpolated",
) -> CensoredSlope:
    """Return the median slope of a series or of the seasons of one, bounds taken as bounds.

    Parameters
    ----------
    values : array_like, shape (n,) or (n, m)
        A row for each time, a column for each block (season or well), whose slopes are put together; for a bound the
        bound itself; NaN where there is no value.
    times : array_like, shape (n,), optional
        Times of the rows, ascending, none twice; without them 0, 1, 2, ….
    bound : array_like of int
        -1 where the true value is at or below the number (dry), +1 where it is at or above it, 0 elsewhere.
    variance : float, optional
        Variance of Kendall's S for the limits; without it that with covariance among the blocks.
    confidence : float
        Confidence of the two limits together.
    ranks : {"interpolated", "rounded"}
        As in `gwnet.hydro.theil_sen.theil_sen`.

    Returns
    -------
    CensoredSlope
        Slope and limits.

    Raises
    ------
    ShapeError
        If the values have neither one nor two dimensions, or the times do not fit them or do not ascend.
    TooFewLevelsError
        If no block has values at two times.

    Notes
    -----
    The slope b is the one at which the score of y − b t is 0, pairs that a bound leaves open counting as ties
    (Akritas, Murphy and LaValley, 1995): the middle between where the score stops being positive and where it
    becomes negative. It and the limits, where the score is ± z √var S, are read from the sorted lowest and highest
    slopes of all pairs, taken two by two. Without bounds they are the Theil–Sen slope and Gilbert's limits to the
    last bit. With many bounds a limit or the slope itself may be open: it is infinite then.

    References
    ----------
    .. [1] Akritas, M. G., Murphy, S. A. and LaValley, M. P. (1995). The Theil–Sen estimator with doubly censored data
       and applications to astronomy. J. American Statistical Association 90, 170–177.
    .. [2] Gilbert, R. O. (1987). Statistical Methods for Environmental Pollution Monitoring, section 16.5.

    Examples
    --------
    >>> found = censored_theil_sen([5.0, 4.0, 3.0, 2.5], bound=[0, 0, 0, -1])
    >>> found.slope, found.open_count
    (-1.0, 3)
    """
    low, high = value_limits(values, bound)
    if low.ndim == 1:
        low, high = low[:, None], high[:, None]
    when = np.arange(len(low), dtype=np.float64) if times is None else np.asarray(times, dtype=np.float64)
    if low.ndim != 2 or when.shape != low.shape[:1] or not (np.diff(when) > 0).all():
        message = f"Times must ascend, one for each row; found {when.shape} times for values {low.shape}."
        raise ShapeError(message)
    flattest, steepest = _slope_ends(low, high, when)
    if not flattest.size:
        message = f"No block has values at two times; found {int((~np.isnan(low)).sum())} values in {low.shape[1]}."
        raise TooFewLevelsError(message)
    if variance is None:
        variance = correlated_variance(year_signs(values, bound=bound))
    open_count = int(np.count_nonzero(flattest < steepest))
    slope, lower, upper = slope_between(flattest, steepest, variance, confidence=confidence, ranks=ranks)
    return CensoredSlope(flattest.size, open_count, slope, lower, upper)


def slope_between(
    lowest: Floats, highest: Floats, variance: float, *, confidence: float = 0.95, ranks: str = "interpolated"
) -> tuple[float, float, float]:
    """Return median and limits of slopes of which the lowest and the highest possible one are known.

    Parameters
    ----------
    lowest : ndarray of float64, shape (n,)
        Lowest possible slope of each pair; minus infinity where there is none.
    highest : ndarray of float64, shape (n,)
        Highest possible slope of each pair, in any order; infinity where there is none.
    variance : float
        Variance of Kendall's S.
    confidence : float
        Confidence of the two limits together.
    ranks : {"interpolated", "rounded"}
        How limits are taken at ranks that are not whole.

    Returns
    -------
    tuple of float
        Median, lower and upper limit.

    Examples
    --------
    >>> slope_between(np.array([-1.0, 0.0, 1.0]), np.array([-1.0, 2.0, 1.0]), 0.0)[0]
    0.5
    """
    count = lowest.size
    ends = np.sort(np.concatenate([lowest, highest]))
    first, second = ends[0::2], ends[1::2]
    with np.errstate(invalid="ignore"):
        middle = np.where(first == second, first, (first + second) / 2.0)
    wanted = limit_ranks(count, max(variance, 0.0), confidence=confidence, ranks=ranks)
    return _at(middle, (count + 1) / 2.0), _at(middle, wanted[0]), _at(middle, wanted[1])


def _slope_ends(low: Floats, high: Floats, when: Floats) -> tuple[Floats, Floats]:
    """Return the lowest and highest slopes of all pairs within the blocks."""
    lowest, highest = [], []
    earlier, later = np.triu_indices(len(when), 1)
    apart = when[later] - when[earlier]
    for k in range(low.shape[1]):
        flat = (low[later, k] - high[earlier, k]) / apart
        steep = (high[later, k] - low[earlier, k]) / apart
        here = ~np.isnan(flat)
        lowest.append(flat[here])
        highest.append(steep[here])
    return np.concatenate([np.empty(0), *lowest]), np.concatenate([np.empty(0), *highest])


def _at(slopes: Floats, rank: float) -> float:
    """Return the slope at a rank counted from 1, between two slopes where it is not whole."""
    if not 1.0 <= rank <= slopes.size:
        return -math.inf if rank < 1.0 else math.inf
    below, above = float(slopes[math.floor(rank) - 1]), float(slopes[math.ceil(rank) - 1])
    share = rank - math.floor(rank)
    if share == 0.0 or below == above:
        return below
    if share == 0.5:
        return (below + above) / 2.0
    return below + share * (above - below) if math.isfinite(below) else below
