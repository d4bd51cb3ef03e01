"""Theil–Sen slope with limits by ranks: all pairs of a short series, counting and narrowing for a long one.

Limits are at the ranks of Gilbert (1987), interpolated unless ``ranks="rounded"`` (as SciPy does); where there are too
few slopes for one it is infinite. A gap keeps its place in time for slopes; corrections for serial correlation close
it, as published code does.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

from gwnet.errors import AnalysisError, ShapeError, TooFewLevelsError
from gwnet.hydro.trends.kendall import score_variance
from gwnet.hydro.trends.slope_ranks import ranked_slopes

Floats = NDArray[np.float64]

#: Up to this count all slopes are made and sorted out at once; beyond it they are counted.
ALL_PAIRS = 500


@dataclass(frozen=True, slots=True)
class TheilSen:
    """Theil–Sen line.

    Attributes
    ----------
    count : int
        Values that took part.
    slope_count : int
        Pairs of values at different times.
    slope : float
        Median of their slopes, in units of the values per unit of time.
    lower : float
        Lower limit of the slope; minus infinity where there are too few slopes for one.
    upper : float
        Upper limit of the slope; infinity where there are too few slopes for one.
    intercept : float
        Median of the values less the slope times the median of the times.
    """

    count: int
    slope_count: int
    slope: float
    lower: float
    upper: float
    intercept: float


def theil_sen(
    values: ArrayLike,
    times: ArrayLike | None = None,
    *,
    variance: float | None = None,
    confidence: float = 0.95,
    ranks: str = "interpolated",
) -> TheilSen:
    """Return the median of the slopes of all pairs, with its limits.

    Parameters
    ----------
    values : array_like, shape (n,)
        Values; NaN where there is none (left out).
    times : array_like, shape (n,), optional
        Time of each value, in any unit and order; without it the place in the series, where gaps count as places.
    variance : float, optional
        Variance of Kendall's S for the limits; without it that of independent values.
    confidence : float
        Confidence of the limits, between 0 and 1.
    ranks : {"interpolated", "rounded"}
        Whether limits at ranks that are not whole are interpolated, or taken at the nearest whole rank.

    Raises
    ------
    AnalysisError
        If the confidence is not between 0 and 1, or the way of taking ranks is unknown.
    ShapeError
        If the series is not one-dimensional or the times do not fit it.
    TooFewLevelsError
        If no two values differ in time.

    Notes
    -----
    Pairs at one time have no slope and are skipped. With N slopes, C = z √var S and var S as in
    `gwnet.hydro.trends.kendall.mann_kendall`, the limits stand at ranks (N − C)/2 and (N + C)/2 + 1 of the sorted
    slopes (Gilbert, 1987, p. 217 ff.). Every slope is (y_j − y_i)/(t_j − t_i) with t_j > t_i in double precision; a
    long series gives the same bits as all pairs do.

    The line takes no censored values: a slope to a bound is no number. Test such a series with `mann_kendall`.

    References
    ----------
    .. [1] Theil, H. (1950). A rank-invariant method of linear and polynomial regression analysis. Proc. Koninklijke
       Nederlandse Akademie van Wetenschappen 53.
    .. [2] Sen, P. K. (1968). Estimates of the regression coefficient based on Kendall's tau. J. American Statistical
       Association 63, 1379–1389.
    .. [3] Gilbert, R. O. (1987). Statistical Methods for Environmental Pollution Monitoring, section 16.5.

    Examples
    --------
    >>> found = theil_sen([1, 2, 3, 4, 5, 16, 7])
    >>> found.slope, found.slope_count, found.intercept
    (1.0, 21, 1.0)
    """
    _refuse_options(confidence, ranks)
    value, when = _present(values, times)
    variance = score_variance(value, when) if variance is None else variance
    slope_count = _pairs_apart(when)
    if not slope_count:
        message = f"A slope needs values at two times or more; found {value.size} at one time."
        raise TooFewLevelsError(message)
    wanted = limit_ranks(slope_count, variance, confidence=confidence, ranks=ranks)
    if value.size <= ALL_PAIRS:
        slopes, places = pairwise_slopes(value, when), _places(slope_count, *wanted)
        # Only the places that are asked for: a full sort of n²/2 slopes takes several times longer.
        slopes.partition(places)
        at = {place: float(slopes[place]) for place in places}
    else:
        at = ranked_slopes(value, when, slope_count, _places(slope_count, *wanted))
    slope, lower, upper = _limits_at(slope_count, *wanted, at)
    return TheilSen(
        count=value.size,
        slope_count=slope_count,
        slope=slope,
        lower=lower,
        upper=upper,
        # Through the medians of both (Conover 1980; from memory).
        intercept=float(np.median(value)) - slope * float(np.median(when)),
    )


def limit_ranks(
    slope_count: int, variance: float, *, confidence: float = 0.95, ranks: str = "interpolated"
) -> tuple[float, float]:
    """Return the ranks, counted from 1, at which the limits of a slope stand.

    Parameters
    ----------
    slope_count : int
        Number of slopes.
    variance : float
        Variance of Kendall's S.
    confidence : float
        Confidence of the limits, between 0 and 1.
    ranks : {"interpolated", "rounded"}
        Whether the ranks are left as they are or rounded, halves to the even number.

    Returns
    -------
    tuple of float
        Rank of the lower and of the upper limit; below 1 or beyond the count where there are too few slopes.

    Examples
    --------
    >>> [round(rank, 4) for rank in limit_ranks(45, 125.0)]
    [11.5435, 34.4565]
    """
    _refuse_options(confidence, ranks)
    width = float(ndtri((1.0 + confidence) / 2.0)) * math.sqrt(variance)
    below, above = (slope_count - width) / 2.0, (slope_count + width) / 2.0
    if ranks == "rounded":
        return float(round(below)), float(round(above) + 1)
    return below, above + 1.0


def pairwise_slopes(values: Floats, times: Floats) -> Floats:
    """Return the slopes of all pairs of values at different times.

    Parameters
    ----------
    values : ndarray of float64, shape (n,)
        Values.
    times : ndarray of float64, shape (n,)
        Their times, ascending.

    Returns
    -------
    ndarray of float64
        Slopes, in no order.
    """
    first, second = _pairs(values.size) if values.size <= ALL_PAIRS else np.triu_indices(values.size, 1)
    apart = times.take(second) - times.take(first)
    rise = values.take(second) - values.take(first)
    # Most series have no two values at one time, and are spared two copies.
    if apart.all():
        return np.asarray(rise / apart, dtype=np.float64)
    return np.asarray(rise[apart > 0] / apart[apart > 0], dtype=np.float64)


@lru_cache(maxsize=8)
def _pairs(count: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the places of the first and second of all pairs; many wells have as many values."""
    return np.triu_indices(count, 1)


def _places(count: int, lower_rank: float, upper_rank: float) -> list[int]:
    """Return the places, counted from 0, that median and limits are made of."""
    places = {(count - 1) // 2, count // 2}
    for rank in (lower_rank, upper_rank):
        if 1.0 <= rank <= count:
            places |= {math.floor(rank) - 1, math.ceil(rank) - 1}
    return sorted(places)


def _limits_at(count: int, lower_rank: float, upper_rank: float, at: dict[int, float]) -> tuple[float, float, float]:
    limits = []
    for rank, beyond in ((lower_rank, -math.inf), (upper_rank, math.inf)):
        if not 1.0 <= rank <= count:
            limits.append(beyond)
            continue
        below, above = at[math.floor(rank) - 1], at[math.ceil(rank) - 1]
        limits.append(below + (rank - math.floor(rank)) * (above - below))
    return (at[(count - 1) // 2] + at[count // 2]) / 2.0, limits[0], limits[1]


def _pairs_apart(when: Floats) -> int:
    """Return the number of pairs at different times; the times ascend."""
    starts = np.flatnonzero(np.diff(when, prepend=-np.inf))
    sizes = np.diff(starts, append=when.size)
    return (when.size * (when.size - 1) - int((sizes * (sizes - 1)).sum())) // 2


def _present(values: ArrayLike, times: ArrayLike | None) -> tuple[Floats, Floats]:
    """Return values that are there and their times, in the order of time, then of value."""
    value = np.asarray(values, dtype=np.float64)
    if value.ndim != 1:
        message = f"A series must be one-dimensional; found shape {value.shape}."
        raise ShapeError(message)
    when = np.arange(value.size, dtype=np.float64) if times is None else np.asarray(times, dtype=np.float64)
    if when.shape != value.shape:
        message = f"Shapes differ: values {value.shape}, times {when.shape}."
        raise ShapeError(message)
    here = np.isfinite(value) & np.isfinite(when)
    value, when = value[here], when[here]
    if value.size < 2:
        message = f"A slope needs two values or more; found {value.size}."
        raise TooFewLevelsError(message)
    if times is None:
        return value, when
    order = np.lexsort((value, when))
    return value[order], when[order]


def _refuse_options(confidence: float, ranks: str) -> None:
    if not 0.0 < confidence < 1.0:
        message = f"The confidence is {confidence}; expected a number between 0 and 1, as 0.95."
        raise AnalysisError(message)
    if ranks not in ("interpolated", "rounded"):
        message = f"Unknown way of taking ranks {ranks!r}; expected interpolated or rounded."
        raise AnalysisError(message)
