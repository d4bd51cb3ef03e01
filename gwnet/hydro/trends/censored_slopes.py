"""Theil–Sen slopes of series with bounds: every pair has a lowest and a highest possible slope, none is made up.

The slope is where the score of the values less slope times time changes its sign; without bounds that is Theil–Sen to
the last bit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gwnet.errors import ShapeError, TooFewLevelsError
from gwnet.hydro.trends.kendall import value_limits
from gwnet.hydro.trends.theil_sen import limit_ranks

Floats = NDArray[np.float64]

#: Up to this count the places of pairs are kept for the next series.
KEPT = 200


@dataclass(frozen=True, slots=True, eq=False)
class PairSlopes:
    """Slopes of all pairs, sorted once for limits of any width.

    Attributes
    ----------
    first : ndarray of float64, shape (n,)
        Sorted slopes; with bounds every other one, from the first, of the sorted lowest and highest possible slopes.
    second : ndarray of float64, shape (n,)
        The same without bounds, else every other one from the second; limits stand between the two on the safe side.
    open_count : int
        Pairs of which only a lowest or highest possible slope, or neither, is known.
    """

    first: Floats
    second: Floats
    open_count: int

    def limits(
        self, variance: float, *, confidence: float = 0.95, ranks: str = "interpolated"
    ) -> tuple[float, float, float]:
        """Return the median and its limits.

        Parameters
        ----------
        variance : float
            Variance of Kendall's S.
        confidence : float
            Confidence of the two limits together.
        ranks : {"interpolated", "rounded"}
            How limits are taken at ranks that are not whole.

        Returns
        -------
        tuple of float
            Median, lower and upper limit; infinite where there is none.
        """
        count = self.first.size
        lower, upper = limit_ranks(count, max(variance, 0.0), confidence=confidence, ranks=ranks)
        ends = float(self.first[count // 2]), float(self.second[(count - 1) // 2])
        middle = ends[0] if ends[0] == ends[1] else (ends[0] + ends[1]) / 2.0
        return middle, _at(self.first, lower), _at(self.second, upper)


def pair_slopes(values: ArrayLike, times: ArrayLike | None = None, *, bound: ArrayLike = 0) -> PairSlopes:
    """Return the slopes of all pairs within the blocks of a series.

    Parameters
    ----------
    values : array_like, shape (n,) or (n, m)
        A row for each time, a column for each block; for a bound the bound itself; NaN where there is no value.
    times : array_like, shape (n,), optional
        Times of the rows, ascending, none twice; without them 0, 1, 2, ….
    bound : array_like of int
        -1 where the true value is at or below the number (dry), +1 where it is at or above it, 0 elsewhere.

    Raises
    ------
    ShapeError
        If the values have neither one nor two dimensions, or the times do not fit them or do not ascend.
    TooFewLevelsError
        If no block has values at two times.

    Examples
    --------
    >>> pair_slopes([5.0, 4.0, 3.5]).first.tolist()
    [-1.0, -0.75, -0.5]
    """
    low, high = value_limits(values, bound)
    same = low is high or np.array_equal(low, high, equal_nan=True)
    if low.ndim == 1:
        low, high = low[:, None], high[:, None]
    when = np.arange(len(low), dtype=np.float64) if times is None else np.asarray(times, dtype=np.float64)
    if low.ndim != 2 or when.shape != low.shape[:1] or not (np.diff(when) > 0).all():
        message = f"Times must ascend, one for each row; found {when.shape} times for values {low.shape}."
        raise ShapeError(message)
    earlier, later = _pairs(len(when)) if len(when) <= KEPT else np.triu_indices(len(when), 1)
    apart = (when[later] - when[earlier])[:, None]
    flattest = _there((low[later] - high[earlier]) / apart)
    if not flattest.size:
        message = f"No block has values at two times; found {int((~np.isnan(low)).sum())} values in {low.shape[1]}."
        raise TooFewLevelsError(message)
    if same:
        flattest.sort()
        return PairSlopes(flattest, flattest, 0)
    steepest = _there((high[later] - low[earlier]) / apart)
    return PairSlopes(*_taken_by_two(flattest, steepest), int(np.count_nonzero(flattest < steepest)))


@lru_cache(maxsize=8)
def _pairs(count: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the places of the first and second of all pairs; many wells have as many years."""
    return np.triu_indices(count, 1)


def _there(slopes: Floats) -> Floats:
    return slopes[~np.isnan(slopes)]


def _taken_by_two(lowest: Floats, highest: Floats) -> tuple[Floats, Floats]:
    ends = np.sort(np.concatenate([lowest, highest]))
    return ends[0::2], ends[1::2]


def slope_between(lowest: Floats, highest: Floats, variance: float) -> tuple[float, float, float]:
    """Return median and limits of slopes of which the lowest and the highest possible one are known.

    Parameters
    ----------
    lowest : ndarray of float64, shape (n,)
        Lowest possible slope of each pair; minus infinity where there is none.
    highest : ndarray of float64, shape (n,)
        Highest possible slope of each pair, in any order; infinity where there is none.
    variance : float
        Variance of Kendall's S.

    Examples
    --------
    >>> slope_between(np.array([-1.0, 0.0, 1.0]), np.array([-1.0, 2.0, 1.0]), 0.0)[0]
    0.5
    """
    slopes = PairSlopes(*_taken_by_two(lowest, highest), int(np.count_nonzero(lowest < highest)))
    return slopes.limits(variance)


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
