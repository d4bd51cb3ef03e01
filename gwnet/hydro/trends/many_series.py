"""Mann–Kendall and Theil–Sen of many series of one length at once, with the numbers that each has by itself."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

from gwnet.errors import ShapeError
from gwnet.hydro.trends.compiled import slopes_at
from gwnet.hydro.trends.kendall import EXACT_COUNT, mann_kendall
from gwnet.hydro.trends.theil_sen import limit_ranks, theil_sen

__all__ = ["ManyTrends", "many_trends"]

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

#: Slopes that are held at a time.
HELD = 1_000_000
#: Beyond this count of values each series is taken by itself: its slopes are counted, not made.
ALL_PAIRS = 500
#: Slopes of a series that are looked at first, to leave out most of the others.
SAMPLED = 512


@dataclass(frozen=True, slots=True, eq=False)
class ManyTrends:
    """Tests and lines of many series, a place for each.

    Attributes
    ----------
    count : ndarray of int64
        Values that took part.
    score : ndarray of int64
        Kendall's S.
    variance : ndarray of float64
        Its variance when there is no trend, with ties.
    z : ndarray of float64
        Standard normal score, S one nearer to 0.
    p_value : ndarray of float64
        Two-sided probability; exact for up to ten values where it can be had.
    slope : ndarray of float64
        Theil–Sen slope.
    lower : ndarray of float64
        Lower limit of the slope; minus infinity where there is none.
    upper : ndarray of float64
        Upper limit of the slope; infinity where there is none.
    """

    count: Integers
    score: Integers
    variance: Floats
    z: Floats
    p_value: Floats
    slope: Floats
    lower: Floats
    upper: Floats


def many_trends(
    values: ArrayLike, times: ArrayLike | None = None, *, confidence: float = 0.95, ranks: str = "interpolated"
) -> ManyTrends:
    """Test many series for trends and return their slopes with limits.

    Parameters
    ----------
    values : array_like, shape (m, n)
        A row for each series, in the order of time; NaN where there is no value.
    times : array_like, shape (n,), optional
        Times of the columns, ascending, none twice; without them 0, 1, 2, ….
    confidence : float
        Confidence of the limits, between 0 and 1.
    ranks : {"interpolated", "rounded"}
        As in `gwnet.hydro.trends.theil_sen.theil_sen`.

    Returns
    -------
    ManyTrends
        The same numbers as `gwnet.hydro.trends.kendall.mann_kendall` and `gwnet.hydro.trends.theil_sen.theil_sen`
        give for each series, to the last bit.

    Raises
    ------
    AnalysisError
        If the confidence is not between 0 and 1, or the way of taking ranks is unknown.
    ShapeError
        If the values do not have two dimensions, or the times do not fit them or do not ascend.
    TooFewLevelsError
        If a series has fewer than two values.

    Notes
    -----
    Series without gaps are taken together, those with gaps one by one. A compiled way is taken when it has been made
    ready or the work is large enough to pay for making it (`gwnet.hydro.trends.compiled`); its numbers are the same.

    Examples
    --------
    >>> found = many_trends([[1, 2, 3, 4, 5, 16, 7], [7, 6, 5, 4, 3, 2, 1]])
    >>> found.score.tolist(), found.slope.tolist()
    ([19, -21], [1.0, -1.0])
    """
    table = np.ascontiguousarray(values, dtype=np.float64)
    if table.ndim != 2:
        message = f"Values must have a row for each series; found shape {table.shape}."
        raise ShapeError(message)
    m, n = table.shape
    when = np.arange(n, dtype=np.float64) if times is None else np.asarray(times, dtype=np.float64)
    if when.shape != (n,) or not (np.diff(when) > 0).all():
        message = f"Times must ascend, one for each column; found {when.shape} times for values {table.shape}."
        raise ShapeError(message)
    limit_ranks(1, 0.0, confidence=confidence, ranks=ranks)
    whole = np.isfinite(table).all(axis=1) if EXACT_COUNT < n <= ALL_PAIRS else np.zeros(m, dtype=bool)
    columns: list[NDArray[np.generic]] = [np.zeros(m, dtype=np.int64), np.zeros(m, dtype=np.int64)]
    columns += [np.zeros(m) for _ in fields(ManyTrends)[2:]]
    if whole.any():
        for column, found in zip(columns, _together(table[whole], when, confidence, ranks), strict=True):
            column[whole] = found
    for row in np.flatnonzero(~whole):
        test = mann_kendall(table[row], when)
        line = theil_sen(table[row], when, confidence=confidence, ranks=ranks)
        alone = (test.count, test.score, test.variance, test.z, test.p_value, line.slope, line.lower, line.upper)
        for column, number in zip(columns, alone, strict=True):
            column[row] = number
    return ManyTrends(*columns)  # type: ignore[arg-type]


def _together(table: Floats, when: Floats, confidence: float, ranks: str) -> tuple[NDArray[np.generic], ...]:
    """Return the columns of series without gaps."""
    m, n = table.shape
    tied, variance = _ties(table)
    pairs = n * (n - 1) // 2
    ranked = {v: limit_ranks(pairs, v, confidence=confidence, ranks=ranks) for v in np.unique(variance).tolist()}
    wanted = np.array([ranked[v] for v in variance.tolist()])
    places = _places(pairs, wanted)
    ups, found = slopes_at(table, when, places, _narrowed)
    score = 2 * ups + tied - pairs
    with np.errstate(invalid="ignore", divide="ignore"):
        z = np.where(variance > 0.0, np.copysign(np.maximum(np.abs(score) - 1.0, 0.0), score) / np.sqrt(variance), 0.0)
    z = np.where(score == 0, 0.0, z)
    p_value = np.where(variance > 0.0, 2.0 * ndtr(-np.abs(z)), 1.0)
    middle = (found[:, 0] + found[:, 1]) / 2.0
    limits = []
    for side, beyond in ((0, -np.inf), (1, np.inf)):
        rank = wanted[:, side]
        below, above = found[:, 2 + 2 * side], found[:, 3 + 2 * side]
        between = below + (rank - np.floor(rank)) * (above - below)
        limits.append(np.where((rank >= 1.0) & (rank <= pairs), between, beyond))
    return np.full(m, n), score, variance, z, p_value, middle, *limits


def _ties(table: Floats) -> tuple[Integers, Floats]:
    """Return the tied pairs of each row and the variance of its S."""
    m, n = table.shape
    ordered = np.sort(table, axis=1)
    group = np.zeros((m, n), dtype=np.int64)
    np.cumsum(ordered[:, 1:] != ordered[:, :-1], axis=1, out=group[:, 1:])
    sizes = np.bincount((group + np.arange(m)[:, None] * n).ravel(), minlength=m * n).reshape(m, n)
    tied = (sizes * (sizes - 1)).sum(axis=1)
    lost = (sizes * (sizes - 1) * (2 * sizes + 5)).sum(axis=1)
    return tied // 2, (n * (n - 1) * (2 * n + 5) - lost) / 18


def _places(pairs: int, wanted: Floats) -> Integers:
    """Return for each row the places from 0 of the two middle slopes and of those beside both limits."""
    inside = np.clip(wanted, 1.0, pairs)
    middle = np.broadcast_to([(pairs - 1) // 2, pairs // 2], (len(wanted), 2))
    beside = np.stack([np.floor(inside) - 1, np.ceil(inside) - 1], axis=2).reshape(len(wanted), 4)
    return np.ascontiguousarray(np.concatenate([middle, beside], axis=1), dtype=np.int64)


def _narrowed(table: Floats, when: Floats, places: Integers) -> tuple[Integers, Floats]:
    """Return how many slopes of each row are positive, and those at its places: the way of whole arrays."""
    m, n = table.shape
    pairs = n * (n - 1) // 2
    ups, found = np.empty(m, dtype=np.int64), np.empty(places.shape)
    held = max(HELD // pairs, 1)
    slopes = np.empty((min(held, m), pairs))
    for begin in range(0, m, held):
        some = slice(begin, min(begin + held, m))
        rows = slopes[: some.stop - begin]
        _fill(rows, table[some], when)
        ups[some] = np.count_nonzero(rows > 0.0, axis=1)
        _select(rows, places[some], found[some])
    return ups, found


def _fill(slopes: Floats, table: Floats, when: Floats) -> None:
    """Make the slopes of all pairs, those of equal lags side by side."""
    at, n = 0, when.size
    for lag in range(1, n):
        part = slopes[:, at : at + n - lag]
        np.subtract(table[:, lag:], table[:, :-lag], out=part)
        part /= when[lag:] - when[:-lag]
        at += n - lag


def _select(slopes: Floats, places: Integers, found: Floats) -> None:
    """Put the slopes at the places of each row into the last array."""
    pairs = slopes.shape[1]
    some = np.ascontiguousarray(slopes[:, :: max(pairs // SAMPLED, 1)])
    size = some.shape[1]
    spread = 1.5 * np.sqrt(size)
    first = max(int(places.min() / pairs * size - spread), 0)
    last = min(int(places.max() / pairs * size + spread), size - 1)
    some.partition([first, last], axis=1)
    order = np.argsort(places, axis=1)
    ascending = np.take_along_axis(places, order, axis=1)
    lows, highs = some[:, first].tolist(), some[:, last].tolist()
    least, most = ascending[:, 0].tolist(), ascending[:, -1].tolist()
    for k, row in enumerate(slopes):
        below = int(np.count_nonzero(row < lows[k]))
        near = row[(row >= lows[k]) & (row <= highs[k])]
        if least[k] < below or most[k] >= below + near.size:
            near, below = row, 0
        inside = ascending[k] - below
        near.partition(inside)
        found[k, order[k]] = near[inside]
