"""Signs of pairs of years, summed over seasons and wells: what tests over blocks of whole years are made of.

Score, variance with covariance, serial correlation and bootstrap of all blocks come from one table of years by years,
so that an aquifer of 500 wells needs no more memory than one well.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gwnet.errors import ShapeError
from gwnet.hydro.trends.kendall import value_limits

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

#: Signs of pairs that are held at a time.
HELD = 2_000_000


def year_signs(
    values: ArrayLike, *, bound: ArrayLike = 0, years: ArrayLike | None = None, slope: float = 0.0
) -> Floats:
    """Return for each pair of years how many blocks rise less how many fall from the one to the other.

    Parameters
    ----------
    values : array_like, shape (n,) or (n, m)
        A row for each year, a column for each block (season or well); NaN where there is no value.
    bound : array_like of int
        -1 where the true value is at or below the number (dry), +1 where it is at or above it, 0 elsewhere.
    years : array_like, shape (n,), optional
        The years, for the slope; without them 0, 1, 2, ….
    slope : float
        Slope to take away first, in units of the values a year.

    Returns
    -------
    ndarray of float64, shape (n, n)
        Whole numbers: place i, j is Σ sgn(x_jk − x_ik) over the blocks k; antisymmetric.

    Raises
    ------
    ShapeError
        If the values have neither one nor two dimensions or the years do not fit them.

    Notes
    -----
    Pairs that a gap or a bound leaves open count as 0. A slope moves a bound like a number.

    Examples
    --------
    >>> year_signs([[1.0, 5.0], [2.0, 4.0], [3.0, 6.0]])[0].tolist()
    [0.0, 0.0, 2.0]
    """
    low, high = value_limits(values, bound)
    if low.ndim == 1:
        low, high = low[:, None], high[:, None]
    n = len(low)
    when = np.arange(n, dtype=np.float64) if years is None else np.asarray(years, dtype=np.float64)
    if low.ndim != 2 or when.shape != (n,):
        message = f"Values must have a row for each year; found values {low.shape} and years {when.shape}."
        raise ShapeError(message)
    if slope:
        fallen = (slope * (when - when.mean()))[:, None]
        low, high = low - fallen, high - fallen
    return signs_between(low, high)


def signs_between(low: Floats, high: Floats) -> Floats:
    """Return the same from the lowest and highest number that each value may stand for.

    Parameters
    ----------
    low : ndarray of float64, shape (n, m)
        Lowest numbers; NaN where there is no value.
    high : ndarray of float64, shape (n, m)
        Highest numbers.

    Returns
    -------
    ndarray of float64, shape (n, n)
        Signs of pairs of rows, summed over the columns.

    Examples
    --------
    >>> signs_between(np.array([[1.0], [-np.inf]]), np.array([[1.0], [0.5]])).tolist()
    [[0.0, -1.0], [1.0, 0.0]]
    """
    n = len(low)
    signs = np.zeros((n, n))
    held = max(HELD // max(n * n, 1), 1)
    for begin in range(0, low.shape[1], held):
        some = slice(begin, begin + held)
        # comparisons with NaN are false: a gap makes no pair
        rising = (high[:, None, some] < low[None, :, some]).sum(axis=2)
        signs += rising - rising.T
    return signs


def year_score(signs: Floats) -> int:
    """Return the score that the signs of pairs of years add up to.

    Parameters
    ----------
    signs : ndarray of float64, shape (n, n)
        As of `year_signs`, years in order.

    Returns
    -------
    int
        Sum of Kendall's S over the blocks.

    Examples
    --------
    >>> year_score(year_signs([1.0, 2.0, 4.0, 3.0]))
    4
    """
    return int(np.triu(signs, 1).sum())


def year_scores(signs: Floats) -> Floats:
    """Return for each year how many values of others are below its own, less how many are above.

    Parameters
    ----------
    signs : ndarray of float64, shape (n, n)
        As of `year_signs`.

    Returns
    -------
    ndarray of float64, shape (n,)
        Scores of the years; their sum is 0.

    Examples
    --------
    >>> year_scores(year_signs([1.0, 2.0, 4.0, 3.0])).tolist()
    [-3.0, -1.0, 3.0, 1.0]
    """
    return np.asarray(signs.sum(axis=0), dtype=np.float64)


def correlated_variance(signs: Floats) -> float:
    """Return the variance of the score with the covariance among all blocks.

    Parameters
    ----------
    signs : ndarray of float64, shape (n, n)
        As of `year_signs`.

    Returns
    -------
    float
        Variance when there is no trend and whole years are exchangeable.

    Notes
    -----
    The sum of the covariance of Dietz and Killeen (1981) over all pairs of blocks
    (`gwnet.hydro.trends.seasonal_kendall`) is [Σ_{i<j} A_ij² + Σ_i A_i²]/3, A_ij the signs summed over the blocks and
    A_i their sum over j: no table of blocks by blocks is made, so that many wells together cost no more than one.

    Examples
    --------
    >>> round(correlated_variance(year_signs([1.0, 2.0, 3.0])), 4)
    3.6667
    """
    rows = year_scores(signs)
    return (float((signs * signs).sum()) / 2.0 + float(rows @ rows)) / 3.0
