"""Percentiles of values among which some are bounds, and where a level stands among others of its kind.

With bounds a percentile is worked out twice, with every bound at its lowest and at its highest possible value: where
both agree it is a number. A pair that a bound leaves open counts as a tie, as in Kendall's S. Types 6 and 7 extrapolate
nothing, as in NumPy.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gwnet.errors import SettingsError, ShapeError
from gwnet.hydro.trends.kendall import value_limits

Floats = NDArray[np.float64]

#: Definitions of a percentile: types 6 and 7 of Hyndman and Fan (1996).
DEFINITIONS = ("weibull", "linear")


@dataclass(frozen=True, slots=True)
class Percentiles:
    """Percentiles of a set of values.

    Attributes
    ----------
    value : numpy.ndarray of float64
        The percentiles; a bound itself where ``bound`` says so; NaN where nothing is known.
    bound : numpy.ndarray of int64
        -1 where the percentile is at or below the value, +1 where it is at or above it, 0 where it is the value.
    count : int
        Values that took part.
    """

    value: Floats
    bound: NDArray[np.int64]
    count: int


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a level stands among others of its kind.

    Attributes
    ----------
    percentile : float
        Percentile of its middle rank, from 0 (lowest) to 100 [%].
    lower, upper : float
        Lowest and highest percentile that bounds leave possible [%].
    count : int
        Values in the ranking, the level itself among them.
    """

    percentile: float
    lower: float
    upper: float
    count: int


def percentiles(
    values: ArrayLike, percent: ArrayLike, *, bound: ArrayLike = 0, definition: str = "weibull"
) -> Percentiles:
    """Return percentiles of values, some of which may be bounds.

    Parameters
    ----------
    values : array_like, shape (n,)
        Values; for a bound the bound itself; NaN where there is none (left out).
    percent : array_like
        Percentages from 0 to 100 [%].
    bound : array_like of int
        -1 where the true value is at or below the number (dry), +1 where it is at or above it, 0 elsewhere.
    definition : {"weibull", "linear"}
        Which rank the percentage p stands at among n sorted values: (n + 1) p / 100, held within 1 and n, or
        1 + (n - 1) p / 100. Between two ranks the values are interpolated linearly.

    Returns
    -------
    Percentiles
        One for each percentage, in its shape.

    Raises
    ------
    SettingsError
        If the definition is none of these or a percentage lies beyond 0 to 100.
    ShapeError
        If the values are not one-dimensional, or bounds do not broadcast to them.

    Notes
    -----
    These are types 6 and 7 of Hyndman and Fan [1]_; the first goes with the plotting position i / (n + 1). A
    percentile below 100 / (n + 1) is the lowest value there, and one above 100 n / (n + 1) the highest. Nothing is put
    in the place of a bound: a percentile is worked out once with every bound at its lowest and once at its highest
    possible value. Where both agree it is a number, else it is a bound itself.

    References
    ----------
    .. [1] Hyndman, R. J. and Fan, Y. (1996). Sample quantiles in statistical packages. American Statistician 50,
       361–365.

    Examples
    --------
    >>> percentiles([3.0, 1.0, 2.0], [25, 50]).value.tolist()
    [1.0, 2.0]
    >>> low = percentiles([3.0, 1.0, 2.0], [25, 50], bound=[0, -1, 0])
    >>> low.value.tolist(), low.bound.tolist()
    ([1.0, 2.0], [-1, 0])
    """
    _refuse_definition(definition)
    share = np.asarray(percent, dtype=np.float64) / 100.0
    if not ((share >= 0.0) & (share <= 1.0)).all():
        message = f"Percentages from 0 to 100 are expected, not {percent!r}."
        # NaN fails both comparisons, and so is refused with what lies outside.
        raise SettingsError(message)
    low, high = _limits(values, bound)
    if not low.size:
        return Percentiles(np.full(share.shape, np.nan), np.zeros(share.shape, dtype=np.int64), 0)
    below, above = _ranked(np.sort(low), share, definition), _ranked(np.sort(high), share, definition)
    # both come from one interpolation of different values: equal but for rounding
    side = np.where(np.isclose(below, above, rtol=0.0, atol=1e-9), 0, np.where(np.isfinite(above), -1, 1))
    value = np.where(np.isfinite(above), above, np.where(np.isfinite(below), below, np.nan))
    return Percentiles(value, side.astype(np.int64), int(low.size))


def standing(
    level: float, others: ArrayLike, *, level_bound: int = 0, bound: ArrayLike = 0, definition: str = "weibull"
) -> Standing:
    """Return where a level stands among others: its percentile by rank.

    Parameters
    ----------
    level : float
        The level, or the bound that it tells; in the unit of the others.
    others : array_like, shape (m,)
        What it is ranked with, itself not among them; NaN where there is none (left out).
    level_bound : int
        -1 where the level is at or below the number (dry), +1 where it is at or above it, 0 where it is the number.
    bound : array_like of int
        The same of the others.
    definition : {"weibull", "linear"}
        With n = m + 1 values, rank i has the percentile 100 i / (n + 1), or 100 (i - 1) / (n - 1).

    Returns
    -------
    Standing
        Percentile, and what bounds leave possible; NaN without others or without a level.

    Raises
    ------
    SettingsError
        If the definition is none of these.
    ShapeError
        If the others are not one-dimensional, or bounds do not broadcast to them.

    Notes
    -----
    Equal values share the mean of their ranks, and so do two of which a bound leaves open which is lower; ``lower`` and
    ``upper`` say how far that could go. The plotting position i / (n + 1) is that of Weibull (Helsel and others, 2020,
    Statistical Methods in Water Resources, USGS TM 4-A3; from memory).

    Examples
    --------
    >>> standing(2.5, [1.0, 2.0, 3.0]).percentile
    60.0
    """
    _refuse_definition(definition)
    low, high = _limits(others, bound)
    if math.isnan(level) or not low.size:
        return Standing(math.nan, math.nan, math.nan, int(low.size) + (not math.isnan(level)))
    least, most = -math.inf if level_bound < 0 else level, math.inf if level_bound > 0 else level
    # All comparisons by the least favourable ends: what remains is open because of bounds.
    below = int((high < least).sum())
    above = int((low > most).sum())
    tied = int(((low == high) & (low == least) & (least == most)).sum())
    open_pairs = low.size - below - above - tied
    count = int(low.size) + 1
    first = below + 1
    # An open pair counts half on average, whole at the worst; ties are halves in each.
    middle, last = first + (open_pairs + tied) / 2.0, first + open_pairs + tied / 2.0
    percent, lower, upper = (_percentile_at(rank, count, definition) for rank in (middle, first + tied / 2.0, last))
    return Standing(percent, lower, upper, count)


def _percentile_at(rank: float, count: int, definition: str) -> float:
    # type 7 puts the lowest at 0 and the highest at 100
    return 100.0 * rank / (count + 1) if definition == "weibull" else 100.0 * (rank - 1.0) / (count - 1)


def _refuse_definition(definition: str) -> None:
    if definition not in DEFINITIONS:
        message = f"There is no definition {definition!r} of a percentile; expected {' or '.join(DEFINITIONS)}."
        raise SettingsError(message)


def _limits(values: ArrayLike, bound: ArrayLike) -> tuple[Floats, Floats]:
    """Return the lowest and highest possible numbers of the values that are there."""
    low, high = value_limits(values, bound)
    if low.ndim != 1:
        message = f"The values have shape {low.shape}; expected (n,)."
        raise ShapeError(message)
    here = ~np.isnan(low)
    return low[here], high[here]


def _ranked(ordered: Floats, share: Floats, definition: Any) -> Floats:
    """Return the values at the ranks of shares of a sorted array; infinite where an infinite one counts."""
    # An infinite neighbour with weight 0 would make 0 times infinity, which is NaN.
    finite = np.isfinite(ordered)
    if finite.all():
        return np.asarray(np.quantile(ordered, share, method=definition))
    known = ordered[finite] if finite.any() else np.zeros(1)
    value = np.quantile(np.clip(ordered, known[0], known[-1]), share, method=definition)
    # how much of the result comes from infinite values; less than this is rounding of the rank
    weight = np.quantile(np.where(finite, 0.0, np.sign(ordered)), share, method=definition)
    return np.asarray(np.where(np.abs(weight) < 1e-9, value, np.copysign(np.inf, weight)))
