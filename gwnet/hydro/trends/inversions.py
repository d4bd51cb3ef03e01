"""Count and list pairs in the wrong order, in O(n log n) with whole arrays."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

#: Below this count all pairs are compared at once.
FEW = 256


def ranks_in_order(values: Floats) -> Indices:
    """Return ranks 0 to n − 1; equal values are ranked in the order of their places.

    Parameters
    ----------
    values : ndarray of float64, shape (n,)
        Values without NaN.

    Returns
    -------
    ndarray of intp, shape (n,)
        Rank of each value.
    """
    ranks = np.empty(values.size, dtype=np.intp)
    ranks[np.argsort(values, kind="stable")] = np.arange(values.size)
    return ranks


def count_inversions(values: Floats) -> int:
    """Return the number of pairs whose earlier value is larger than the later one.

    Parameters
    ----------
    values : ndarray of float64, shape (n,)
        Values without NaN.

    Returns
    -------
    int
        Number of pairs; equal values do not count.

    Notes
    -----
    Ranks are split by their highest bit, then each part by the next bit, and so on, keeping the order within the
    parts: two ranks fall apart at the highest bit in which they differ, and the pair is wrong when the one comes
    before the zero. log2 n passes over whole arrays.

    Examples
    --------
    >>> count_inversions(np.array([3.0, 1.0, 2.0, 2.0]))
    3
    """
    # over few values all pairs are compared faster than the passes begin
    if values.size <= FEW:
        return int(np.count_nonzero((values[:, None] > values) & _upper(values.size)))
    return sum(int(part.before[~part.ones].sum()) for part in _parts(ranks_in_order(values)))


@lru_cache(maxsize=16)
def _upper(count: int) -> NDArray[np.bool_]:
    """Return where the column is after the row."""
    place = np.arange(count)
    return place[:, None] < place


def count_ordered(earlier: Floats, later: Floats, times: Floats) -> int:
    """Return the number of pairs whose earlier limit is below the later one.

    Parameters
    ----------
    earlier : ndarray of float64, shape (n,)
        Limit of each value when it is the earlier of a pair.
    later : ndarray of float64, shape (n,)
        Limit of each value when it is the later of a pair.
    times : ndarray of float64, shape (n,)
        Times, ascending; values at one time make no pair.

    Returns
    -------
    int
        Number of pairs i, j with times i < j and earlier i < later j.

    Examples
    --------
    >>> count_ordered(np.array([1.0, 2.0, 3.0]), np.array([1.0, 0.0, 3.0]), np.array([0.0, 1.0, 1.0]))
    1
    """
    entered = np.repeat([False, True], times.size)
    # at each time first all values are asked as later ones, then all are entered as earlier ones
    order = np.lexsort((entered, np.concatenate([times, times])))
    entered = entered[order]
    # turned round, an entered limit below an asked one is an inversion; equal limits are none
    ranks = ranks_in_order(-np.concatenate([later, earlier])[order])
    entered_by_rank = np.empty(ranks.size, dtype=bool)
    entered_by_rank[ranks] = entered
    total = 0
    for part in _parts(ranks):
        kept = entered_by_rank[part.ranks]
        running = np.concatenate([[0], np.cumsum(kept & part.ones)])
        asked = np.flatnonzero(~kept & ~part.ones)
        total += int((running[asked] - running[part.start[asked]]).sum())
    return total


def list_inversions(ranks: Indices, chunk: int = 65_536) -> Iterator[tuple[Indices, Indices]]:
    """Yield the pairs of ranks in the wrong order, some at a time.

    Parameters
    ----------
    ranks : ndarray of intp, shape (n,)
        Ranks 0 to n − 1, each once.
    chunk : int
        About how many pairs come at a time (never more than that and n together).

    Yields
    ------
    tuple of ndarray of intp
        The larger ranks, which come first, and the smaller ones beside them.
    """
    for part in _parts(ranks):
        zeros = np.flatnonzero(~part.ones & (part.before > 0))
        if not zeros.size:
            continue
        # the ones of a part in their order, all parts one after another
        ones = part.ranks[part.ones]
        first = (np.cumsum(part.ones) - part.before)[zeros]
        counts = part.before[zeros]
        ends = np.cumsum(counts)
        begin = 0
        while begin < zeros.size:
            # whole zeros at a time, so that a chunk may be larger than asked for by one of them
            done = int(ends[begin - 1]) if begin else 0
            stop = max(int(np.searchsorted(ends, done + chunk, side="right")), begin + 1)
            some = counts[begin:stop]
            # counts up anew for each zero: the first of its ones, the second, …
            step = np.arange(int(ends[stop - 1]) - done) - np.repeat(ends[begin:stop] - some - done, some)
            yield ones[np.repeat(first[begin:stop], some) + step], np.repeat(part.ranks[zeros[begin:stop]], some)
            begin = stop


@dataclass(frozen=True, slots=True)
class _Part:
    """Ranks split by their higher bits, before they are split by the next one.

    Attributes
    ----------
    ranks : ndarray of intp
        Ranks part by part.
    start : ndarray of intp
        Where the part of each begins.
    ones : ndarray of bool
        Whether the next bit is set.
    before : ndarray of intp
        How many ones of its part stand before each, itself included.
    """

    ranks: Indices
    start: Indices
    ones: NDArray[np.bool_]
    before: Indices


def _parts(ranks: Indices) -> Iterator[_Part]:
    """Yield the ranks split by ever lower bits."""
    n = ranks.size
    place = np.arange(n)
    for bit in range(max(n - 1, 0).bit_length() - 1, -1, -1):
        # ranks are 0 to n - 1, so a part begins where its smallest rank would stand
        start = (ranks >> (bit + 1)) << (bit + 1)
        ones = (ranks >> bit) & 1 == 1
        running = np.zeros(n + 1, dtype=np.intp)
        np.cumsum(ones, out=running[1:])
        before = running[1:] - running[start]
        yield _Part(ranks, start, ones, before)
        split = np.empty_like(ranks)
        # zeros first and ones after them, each in their order: the next pass finds its parts side by side
        split[np.where(ones, start + (1 << bit) + before - 1, place - before)] = ranks
        ranks = split
