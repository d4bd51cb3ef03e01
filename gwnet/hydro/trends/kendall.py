"""Kendall's S: Mann–Kendall trend test with ties, censored values and exact small-sample probabilities.

S is the number of rising less that of falling pairs; pairs at one time make none, and pairs that a bound leaves open
count as ties. Its variance is that over all orders in time, with ties. Probabilities are exact up to 10 values where
values or times are untied, else normal with S one nearer to 0; the test with covariance among seasons or wells has no
such step, as in its sources. `tau_a` is over all pairs, `tau_b` over those that are not tied.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

from gwnet.errors import AnalysisError, ShapeError, TooFewLevelsError
from gwnet.hydro.trends.inversions import count_inversions, count_ordered

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

#: Largest count for which the method ``auto`` takes exact probabilities (Gilbert 1987, section 16.4.1).
EXACT_COUNT = 10


@dataclass(frozen=True, slots=True)
class MannKendall:
    """Outcome of a Mann–Kendall test.

    Attributes
    ----------
    count : int
        Values that took part.
    score : int
        Kendall's S: rising less falling pairs.
    variance : float
        Variance of S when there is no trend, with the ties.
    tau_a : float
        S over the number of all pairs.
    tau_b : float
        S over the geometric mean of the pairs that differ in value and those that differ in time; NaN when none does.
    z : float
        Standard normal score; 0 where all values are tied.
    p_value : float
        Two-sided probability of so large an S when there is no trend.
    p_rise : float
        Probability of so large an S or a larger one.
    p_fall : float
        Probability of so small an S or a smaller one.
    method : str
        ``exact`` or ``normal``: where the probabilities come from.
    continuity : bool
        Whether S was moved one towards 0 for the normal probabilities.
    """

    count: int
    score: int
    variance: float
    tau_a: float
    tau_b: float
    z: float
    p_value: float
    p_rise: float
    p_fall: float
    method: str
    continuity: bool


def value_limits(values: ArrayLike, bound: ArrayLike = 0) -> tuple[Floats, Floats]:
    """Return the lowest and the highest number that each value may stand for.

    Parameters
    ----------
    values : array_like
        Values; for a bound the bound itself; NaN where there is none.
    bound : array_like of int
        -1 where the true value is at or below the number (dry), +1 where it is at or above it, 0 where it is the
        number; broadcasts with the values.

    Returns
    -------
    tuple of ndarray of float64
        Lowest and highest number, infinite on the open side; NaN where there is no value.

    Raises
    ------
    ShapeError
        If values and bounds do not broadcast to the shape of the values.

    Examples
    --------
    >>> [limit.tolist() for limit in value_limits([3.0, 4.0], [0, -1])]
    [[3.0, -inf], [3.0, 4.0]]
    """
    number = np.asarray(values, dtype=np.float64)
    side = np.asarray(bound)
    try:
        side = np.broadcast_to(side, number.shape)
    except ValueError as error:
        message = f"Shapes do not broadcast: values {number.shape}, bound {side.shape}."
        raise ShapeError(message) from error
    # the same array twice says that nothing is censored, which saves a second count
    if not side.any():
        return number, number
    missing = np.isnan(number)
    low = np.where((side < 0) & ~missing, -np.inf, number)
    high = np.where((side > 0) & ~missing, np.inf, number)
    return low, high


def mann_kendall(
    values: ArrayLike,
    times: ArrayLike | None = None,
    *,
    bound: ArrayLike = 0,
    continuity: bool = True,
    method: str = "auto",
) -> MannKendall:
    """Test a series for a monotonic trend.

    Parameters
    ----------
    values : array_like, shape (n,)
        Values; NaN where there is none (left out).
    times : array_like, shape (n,), optional
        Time of each value, in any unit and order, ties allowed; without it the values stand in the order of time.
    bound : array_like of int
        -1 where the true value is at or below the number (dry), +1 where it is at or above it, 0 elsewhere.
    continuity : bool
        Whether the normal probabilities take S one nearer to 0.
    method : {"auto", "exact", "normal"}
        Where the probabilities come from; ``auto``: exact for up to 10 values where that is possible, else normal.

    Returns
    -------
    MannKendall
        Score, variance, both taus and the probabilities.

    Raises
    ------
    AnalysisError
        If the method is unknown, or exact probabilities are asked for where there are none: values and times both
        tied, or censored values beside values that they cannot be ordered with.
    ShapeError
        If the series is not one-dimensional or the times do not fit it.
    TooFewLevelsError
        If fewer than two values are left.

    Notes
    -----
    A pair of values rises when the highest number that the earlier may stand for is below the lowest of the later.
    Pairs that cannot be ordered count as ties, so that nothing is put in the place of a censored value; two values
    at one time make no pair. The variance is that of S over all orders of the values in time (Daniels, 1944), with
    a_ij the sign of the pair i, j of values and b_ij that of times::

        var S = (Σ a_i² − Σ a_ij²)(Σ b_i² − Σ b_ij²) / [n (n−1) (n−2)] + Σ a_ij² Σ b_ij² / [2 n (n−1)]

    where a_i is the sum of a_ij over j. With ties in one of the two or in both it equals Kendall's formula (1975,
    chapter 4), and it holds for several limits of censoring as well. Exact probabilities count the orders with every
    S by the recurrence of inversions, with ties in values or in times (not in both).

    References
    ----------
    .. [1] Mann, H. B. (1945). Nonparametric tests against trend. Econometrica 13, 245–259.
    .. [2] Kendall, M. G. (1975). Rank Correlation Methods, 4th ed.
    .. [3] Daniels, H. E. (1944). The relation between measures of correlation in the universe of sample
       permutations. Biometrika 33, 129–135.
    .. [4] Gilbert, R. O. (1987). Statistical Methods for Environmental Pollution Monitoring, section 16.4.

    Examples
    --------
    >>> found = mann_kendall([10, 15, 14, 20])
    >>> found.score, round(found.p_rise, 3), found.method
    (4, 0.167, 'exact')
    """
    if method not in ("auto", "exact", "normal"):
        message = f"Unknown method {method!r}; expected auto, exact or normal."
        raise AnalysisError(message)
    low, high, when = _present(values, times, bound)
    n = low.size
    censored = low is not high and not np.array_equal(low, high)
    score = _score(low, high, when, censored=censored)
    high = high if censored else low
    rows, columns = _row_sums(low, high), _time_sums(when)
    variance = _variance(n, rows, columns)
    # always, since Z is reported beside exact probabilities too
    z, both, rise, fall = normal_probabilities(score, variance, continuity=continuity)
    groups = _tie_groups(rows, columns, when) if method == "exact" or n <= EXACT_COUNT else None
    exact = method == "exact" or (method == "auto" and groups is not None)
    if exact:
        if groups is None:
            message = "No exact probabilities: values and times are both tied, or censored values cannot be ranked."
            raise AnalysisError(message, fix="Take the method normal.")
        rise, fall = exact_upper_tail(score, groups), exact_upper_tail(-score, groups)
        # the two tails share the probability of S itself, so twice the smaller may pass 1
        both = min(1.0, 2.0 * min(rise, fall))
    differing = math.sqrt(rows.ordered) * math.sqrt(columns.ordered)
    return MannKendall(
        count=n,
        score=score,
        variance=variance,
        tau_a=score / (n * (n - 1) / 2),
        tau_b=2 * score / differing if differing else math.nan,
        z=z,
        p_value=both,
        p_rise=rise,
        p_fall=fall,
        method="exact" if exact else "normal",
        continuity=continuity,
    )


def normal_probabilities(
    score: float, variance: float, *, continuity: bool = True
) -> tuple[float, float, float, float]:
    """Return the normal score of S and its probabilities.

    Parameters
    ----------
    score : float
        Kendall's S.
    variance : float
        Its variance when there is no trend.
    continuity : bool
        Whether S is taken one nearer to 0, and one nearer to the middle for each tail.

    Returns
    -------
    tuple of float
        Z, two-sided probability, probability of S or more, probability of S or less.

    Notes
    -----
    With the correction Z = (S − sgn S)/√var; a variance of 0 (all values tied) gives Z 0 and probabilities of 1.

    Examples
    --------
    >>> [round(found, 4) for found in normal_probabilities(25, 125.0)]
    [2.1466, 0.0318, 0.0159, 0.99]
    """
    # all values tied: no order of them says more than another
    if not variance > 0.0:
        return 0.0, 1.0, 1.0, 1.0
    deviation = math.sqrt(variance)
    step = 1.0 if continuity else 0.0
    z = math.copysign(max(abs(score) - step, 0.0), score) / deviation if score else 0.0
    both = 2.0 * float(ndtr(-abs(z)))
    return z, both, float(ndtr(-(score - step) / deviation)), float(ndtr((score + step) / deviation))


def exact_upper_tail(score: int, groups: tuple[int, ...]) -> float:
    """Return the exact probability of an S as large or larger when there is no trend.

    Parameters
    ----------
    score : int
        Kendall's S.
    groups : tuple of int
        How many values there are of each size: ones without ties; their sum is the count.

    Returns
    -------
    float
        Share of all orders whose S is at least the score.

    Notes
    -----
    The number of orders with d falling pairs is the coefficient of q^d in the Gaussian multinomial
    [n]! / Π [t]!, with [k] = 1 + q + … + q^(k−1); without ties that is the recurrence behind Table A18 of
    Gilbert (1987). S is the number of pairs that differ less 2 d. Coefficients are integers of any size.

    Examples
    --------
    >>> round(exact_upper_tail(6, (1, 1, 1, 1)), 4)
    0.0417
    """
    orders = _orders(tuple(sorted(groups)))
    pairs = len(orders) - 1
    # S is rising less falling pairs, so that many may fall at most
    most_falls = (pairs - score) // 2
    if most_falls < 0:
        return 0.0
    return sum(orders[: most_falls + 1]) / sum(orders)


@lru_cache(maxsize=256)
def _orders(groups: tuple[int, ...]) -> tuple[int, ...]:
    """Return how many orders of the tied groups have 0, 1, 2, … falling pairs."""
    orders = [1]
    total = 0
    for size in groups:
        for member in range(1, size + 1):
            total += 1
            # whole numbers of any size: a float would lose the small probabilities of the tails
            orders = _times_box(orders, total)
            orders = _over_box(orders, member)
    return tuple(orders)


def _times_box(orders: list[int], width: int) -> list[int]:
    """Multiply a polynomial by 1 + q + … + q^(width−1)."""
    padded = orders + [0] * (width - 1)
    running, product = 0, []
    for place, coefficient in enumerate(padded):
        running += coefficient - (padded[place - width] if place >= width else 0)
        product.append(running)
    return product


def _over_box(orders: list[int], width: int) -> list[int]:
    """Divide a polynomial by 1 + q + … + q^(width−1), without rest."""
    quotient: list[int] = []
    for place in range(len(orders) - width + 1):
        rest = orders[place] - (orders[place - 1] if place else 0)
        quotient.append(rest + (quotient[place - width] if place >= width else 0))
    return quotient


def _present(values: ArrayLike, times: ArrayLike | None, bound: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """Return limits and times of the values that are there, in the order of time."""
    low, high = value_limits(values, bound)
    if low.ndim != 1:
        message = f"A series must be one-dimensional; found shape {low.shape}."
        raise ShapeError(message)
    when = np.arange(low.size, dtype=np.float64) if times is None else np.asarray(times, dtype=np.float64)
    if when.shape != low.shape:
        message = f"Shapes differ: values {low.shape}, times {when.shape}."
        raise ShapeError(message)
    here = ~(np.isnan(low) | np.isnan(when))
    if not here.all():
        low, high, when = low[here], high[here], when[here]
    if low.size < 2:
        message = f"A trend needs two values or more; found {low.size}."
        raise TooFewLevelsError(message)
    if times is None:
        return low, high, when
    order = np.argsort(when, kind="stable")
    return low[order], high[order], when[order]


def _score(low: Floats, high: Floats, when: Floats, *, censored: bool) -> int:
    """Return rising less falling pairs of values in the order of time."""
    if censored:
        # a pair rises for sure where the highest of the earlier is below the lowest of the later
        return count_ordered(high, low, when) - count_ordered(-low, -high, when)
    n = low.size
    different = n * (n - 1) // 2 - _tied_pairs(np.sort(low))
    if (when[1:] > when[:-1]).all():
        return different - 2 * count_inversions(low)
    # within one time in ascending order, so that no pair of it is an inversion
    order = np.lexsort((low, when))
    value, when = low[order], when[order]
    return different - _tied_pairs(when) + _tied_pairs(value, when) - 2 * count_inversions(value)


def _tied_pairs(*keys: Floats) -> int:
    """Return the pairs that are equal in all keys; equal ones stand side by side."""
    fresh = np.any([key[1:] != key[:-1] for key in keys], axis=0)
    if fresh.all():
        return 0
    starts = np.concatenate([[0], np.flatnonzero(fresh) + 1, [keys[0].size]])
    sizes = np.diff(starts)
    return int((sizes * (sizes - 1)).sum()) // 2


@dataclass(frozen=True, slots=True, eq=False)
class _RowSums:
    """How each value compares with all others.

    Attributes
    ----------
    sums : ndarray of int64
        How many others are surely below it, less how many are surely above it.
    ordered : int
        Twice the number of pairs that can be ordered.
    """

    sums: Integers
    ordered: int


def _row_sums(low: Floats, high: Floats) -> _RowSums:
    lows = np.sort(low)
    highs = lows if low is high else np.sort(high)
    # counted by sorting: all pairs of a long daily record would not fit into memory
    below = np.searchsorted(highs, low, side="left")
    above = low.size - np.searchsorted(lows, high, side="right")
    return _RowSums(np.asarray(below - above, dtype=np.int64), 2 * int(below.sum()))


def _time_sums(when: Floats) -> _RowSums:
    """Return the same for times in ascending order; most series have one value at a time."""
    if (when[1:] > when[:-1]).all():
        return _RowSums(np.arange(1 - when.size, when.size, 2), when.size * (when.size - 1))
    return _row_sums(when, when)


def _variance(n: int, rows: _RowSums, columns: _RowSums) -> float:
    """Return the variance of S over all orders in time, from whole numbers."""
    ordered, timed = rows.ordered, columns.ordered
    if n == 2:
        return ordered * timed / 4
    three = (int(rows.sums @ rows.sums) - ordered) * (int(columns.sums @ columns.sums) - timed)
    return (2 * three + ordered * timed * (n - 2)) / (2 * n * (n - 1) * (n - 2))


def score_variance(values: Floats, times: Floats) -> float:
    """Return the variance of Kendall's S when there is no trend.

    Parameters
    ----------
    values : ndarray of float64, shape (n,)
        Two values or more, without NaN.
    times : ndarray of float64, shape (n,)
        Their times, ascending.

    Returns
    -------
    float
        Variance over all orders of the values in time, with ties in both; see `mann_kendall`.

    Examples
    --------
    >>> score_variance(np.array([1.0, 2.0, 2.0, 3.0]), np.arange(4.0))
    7.666666666666667
    """
    return _variance(values.size, _row_sums(values, values), _time_sums(times))


def _tie_groups(rows: _RowSums, columns: _RowSums, when: Floats) -> tuple[int, ...] | None:
    """Return the sizes of the tied groups for exact probabilities, or None where there are none to be had."""
    n = when.size
    sizes = np.unique(rows.sums, return_counts=True)[1]
    # of two values that can be ordered the lower has the smaller sum; so, when as many pairs have equal sums as cannot
    # be ordered, they are the same pairs, and being tied goes over from one to the next
    if n * (n - 1) - rows.ordered != int((sizes * (sizes - 1)).sum()):
        return None
    if columns.ordered == n * (n - 1):
        return tuple(int(size) for size in sizes)
    times = np.unique(when, return_counts=True)[1]
    return tuple(int(size) for size in times) if sizes.size == n else None
