"""Steps: Pettitt's test for one at a time not known, and the test by ranks of the levels before and after a time."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations, permutations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gwnet.errors import AnalysisError, ShapeError, TooFewLevelsError
from gwnet.hydro.trends.censored_slopes import slope_between
from gwnet.hydro.trends.kendall import normal_probabilities, value_limits
from gwnet.hydro.trends.year_signs import signs_between, year_scores

Floats = NDArray[np.float64]

#: Up to this count all orders of the values are gone through.
EXACT_COUNT = 7
#: Orders that are drawn beyond it.
DRAWN = 9_999
#: Up to this count of rows all ways to part them are gone through.
PERMUTED_COUNT = 12


@dataclass(frozen=True, slots=True)
class Pettitt:
    """Outcome of Pettitt's test.

    Attributes
    ----------
    count : int
        Rows that took part.
    statistic : int
        K, the largest of |U_t|.
    score : int
        U_t there: positive where the later values are higher.
    last_before : int
        Place of the last row before the step, counted from 0.
    p_value : float
        Two-sided probability of so large a K when there is no step.
    method : str
        ``exact``, ``drawn`` or ``approximate``: where the probability comes from.
    """

    count: int
    statistic: int
    score: int
    last_before: int
    p_value: float
    method: str


@dataclass(frozen=True, slots=True)
class TwoSegments:
    """Comparison of the rows before and after a time.

    Attributes
    ----------
    before : int
        Rows before with a value.
    after : int
        Rows after with a value.
    score : int
        Pairs of one before and one after that rise, less those that fall, summed over the blocks.
    variance : float
        Its variance when whole rows are exchangeable.
    z : float
        Standard normal score, without correction for continuity; 0 where nothing varies.
    p_value : float
        Two-sided probability.
    method : str
        ``exact`` or ``normal``: where the probability comes from.
    shift : float
        Median difference, after less before; infinite where bounds leave it open.
    lower : float
        Lower limit of the shift at 95 %.
    upper : float
        Upper limit of the shift at 95 %.
    """

    before: int
    after: int
    score: int
    variance: float
    z: float
    p_value: float
    method: str
    shift: float
    lower: float
    upper: float


def pettitt(values: ArrayLike, *, bound: ArrayLike = 0, method: str = "auto", widening: float = 1.0) -> Pettitt:
    """Test a series for one step at a time not known beforehand.

    Parameters
    ----------
    values : array_like, shape (n,) or (n, m)
        A row for each time, in order, a column for each block (season or well); NaN where there is no value.
    bound : array_like of int
        -1 where the true value is at or below the number (dry), +1 where it is at or above it, 0 elsewhere.
    method : {"auto", "exact", "drawn", "approximate"}
        All orders of the rows (up to 7), 9,999 orders drawn with a fixed seed, or Pettitt's formula;
        ``auto``: exact up to 7 rows, else drawn.
    widening : float
        What serial correlation multiplies the variance of sums of signs by; K is divided by its root for the
        probability.

    Returns
    -------
    Pettitt
        Statistic, place and probability.

    Raises
    ------
    AnalysisError
        If the method is unknown, exact is asked for beyond 7 rows, or the widening is below 1.
    TooFewLevelsError
        If fewer than three rows have a value.

    Notes
    -----
    U_t sums the signs of all pairs of one row up to t and one after it; K = max |U_t| (Pettitt, 1979), the first such
    t where there are several. The formula p = 2 exp(−6 K²/(n³ + n²)), at most 1, is for one block without ties.
    Rows are taken as independent: serial correlation makes false steps, and so does a trend.

    References
    ----------
    .. [1] Pettitt, A. N. (1979). A non-parametric approach to the change-point problem. Applied Statistics 28,
       126–135.

    Examples
    --------
    >>> found = pettitt([1.0, 2.0, 1.5, 5.0, 6.0, 5.5])
    >>> found.statistic, found.last_before, found.p_value
    (9, 2, 0.1)
    """
    _refuse_narrowing(widening)
    low, high = _rows(values, bound)
    here = np.flatnonzero(~np.isnan(low).all(axis=1))
    if here.size < 3:
        message = f"Pettitt's test needs three rows with a value or more; found {here.size}."
        raise TooFewLevelsError(message)
    n = here.size
    how = _pettitt_method(method, n)
    scores = year_scores(signs_between(low[here], high[here]))
    # after the last row there is nothing to compare with
    walk = -np.cumsum(scores)[:-1]
    at = int(np.argmax(np.abs(walk)))
    largest = abs(float(walk[at]))
    return Pettitt(
        # serial correlation widens the walk; the same walk is then less of a surprise
        n,
        int(largest),
        int(walk[at]),
        int(here[at]),
        _pettitt_p(scores, largest / math.sqrt(widening), how),
        how,
    )


def _pettitt_method(method: str, n: int) -> str:
    if method not in ("auto", "exact", "drawn", "approximate"):
        message = f"Unknown method {method!r}; expected auto, exact, drawn or approximate."
        raise AnalysisError(message)
    if method == "auto":
        return "exact" if n <= EXACT_COUNT else "drawn"
    if method == "exact" and n > EXACT_COUNT:
        message = f"All orders of {n} rows are too many; expected {EXACT_COUNT} at most."
        raise AnalysisError(message, fix="Take the method drawn.")
    return method


def _pettitt_p(scores: Floats, largest: float, method: str) -> float:
    n = scores.size
    if method == "approximate":
        return min(1.0, 2.0 * math.exp(-6.0 * largest**2 / (n**3 + n**2)))
    orders = np.array(list(permutations(scores))) if method == "exact" else scores[_drawn_orders(n)]
    # the walk of every order of the same scores is as likely when there is no step
    beyond = int(np.count_nonzero(np.abs(np.cumsum(orders, axis=1)).max(axis=1) >= largest))
    return beyond / len(orders) if method == "exact" else (beyond + 1) / (DRAWN + 1)


def two_segments(values: ArrayLike, first_after: int, *, bound: ArrayLike = 0, widening: float = 1.0) -> TwoSegments:
    """Compare the levels before and after a time that is known beforehand.

    Parameters
    ----------
    values : array_like, shape (n,) or (n, m)
        A row for each time, in order, a column for each block (season or well); NaN where there is no value.
    first_after : int
        Place of the first row after the time, counted from 0.
    bound : array_like of int
        -1 where the true value is at or below the number (dry), +1 where it is at or above it, 0 elsewhere.
    widening : float
        What serial correlation multiplies the variance by.

    Returns
    -------
    TwoSegments
        Score, probability, and shift with its limits.

    Raises
    ------
    AnalysisError
        If the widening is below 1.
    TooFewLevelsError
        If there is no value before or after, or no block has both.

    Notes
    -----
    With one block it is the rank-sum test (Mann and Whitney, 1947), which is Kendall's test with two times. With A_i
    the score of a row against all others, summed over the blocks, the score is Σ A_i over the rows after and its
    variance over all orders of whole rows n_b n_a Σ A_i²/(n (n − 1)): blocks may are correlated. Up to 12 rows the
    probability is exact, from all ways to part the rows; with a widening it is the larger of that and the normal one.
    The shift is the median of all differences within blocks (Hodges and Lehmann, 1963); its limits stand at the ranks
    at which the score is ± 1.96 standard deviations.

    References
    ----------
    .. [1] Mann, H. B. and Whitney, D. R. (1947). On a test of whether one of two random variables is stochastically
       larger than the other. Annals of Mathematical Statistics 18, 50–60.
    .. [2] Hodges, J. L. and Lehmann, E. L. (1963). Estimates of location based on rank tests. Annals of Mathematical
       Statistics 34, 598–611.

    Examples
    --------
    >>> found = two_segments([1.0, 2.0, 1.5, 5.0, 6.0, 5.5], 3)
    >>> found.score, found.shift, round(found.z, 4)
    (9, 4.0, 1.964)
    """
    _refuse_narrowing(widening)
    low, high = _rows(values, bound)
    here = ~np.isnan(low).all(axis=1)
    before = np.flatnonzero(here & (np.arange(len(low)) < first_after))
    after = np.flatnonzero(here & (np.arange(len(low)) >= first_after))
    # the least and the most that each pair may differ by, bounds being what they are
    lowest = (low[after][:, None] - high[before][None, :]).ravel()
    highest = (high[after][:, None] - low[before][None, :]).ravel()
    paired = ~np.isnan(lowest)
    if not paired.any():
        message = f"A comparison needs values of one block before and after; found {before.size} and {after.size} rows."
        raise TooFewLevelsError(message)
    both = np.concatenate([before, after])
    scores = year_scores(signs_between(low[both], high[both]))
    n = both.size
    score = int(scores[before.size :].sum())
    variance = before.size * after.size * float(scores @ scores) / (n * (n - 1)) * widening
    z, p_value, _, _ = normal_probabilities(score, variance, continuity=False)
    # exact for independent rows; a wider variance may only raise the probability
    exact = _permutation_p(scores, after.size, score) if n <= PERMUTED_COUNT else 0.0
    if n <= PERMUTED_COUNT and (widening == 1.0 or exact > p_value):
        p_value, method = exact, "exact"
    else:
        method = "normal"
    shift = slope_between(lowest[paired], highest[paired], variance)
    return TwoSegments(before.size, after.size, score, variance, z, p_value, method, *shift)


@lru_cache(maxsize=16)
def _drawn_orders(count: int) -> NDArray[np.int16]:
    """Return drawn orders of so many rows, the same for all series of that count."""
    # small whole numbers: ten thousand orders of a long record fill the memory otherwise
    places = np.tile(np.arange(count, dtype=np.int16), (DRAWN, 1))
    return np.asarray(np.random.default_rng(count).permuted(places, axis=1), dtype=np.int16)


def _refuse_narrowing(widening: float) -> None:
    if not widening >= 1.0:
        message = f"The widening of the variance is {widening}; expected 1 or more."
        raise AnalysisError(message)


def _permutation_p(scores: Floats, after: int, score: int) -> float:
    """Return the share of all ways to part the rows whose score is as far from 0."""
    sums = np.array([scores[list(rows)].sum() for rows in combinations(range(scores.size), after)])
    return float(np.mean(np.abs(sums) >= abs(score)))


def _rows(values: ArrayLike, bound: ArrayLike) -> tuple[Floats, Floats]:
    low, high = value_limits(values, bound)
    if low.ndim == 1:
        low, high = low[:, None], high[:, None]
    if low.ndim != 2:
        message = f"Values must have a row for each time and a column for each block; found shape {low.shape}."
        raise ShapeError(message)
    return low, high
