"""Which of several half-open intervals is in force: one vectorised as-of join."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gwnet.errors import ShapeError


@dataclass(frozen=True)
class InForce:
    """Answer of `in_force`.

    Attributes
    ----------
    index : numpy.ndarray of int64
        Position of the interval in force; -1 where none or more than one is.
    count : numpy.ndarray of int64
        How many intervals are in force.
    """

    index: NDArray[np.int64]
    count: NDArray[np.int64]


def in_force(
    group: ArrayLike, start: ArrayLike, end: ArrayLike, query_group: ArrayLike, query_time: ArrayLike
) -> InForce:
    """Return, for each query, the interval of its group that holds at its time.

    Parameters
    ----------
    group : array_like of int, shape (m,)
        Group of each interval, for example the well and access.
    start, end : array_like of datetime64 or number, shape (m,)
        Half-open interval [start, end); NaT or NaN as end means still in force.
    query_group : array_like of int, shape (n,)
        Group of each query.
    query_time : array_like of datetime64 or number, shape (n,)
        Time of each query.

    Returns
    -------
    InForce
        Position and number of the intervals in force, each of shape (n,).

    Raises
    ------
    ShapeError
        If the arrays of intervals, or those of queries, differ in length.

    Notes
    -----
    The number in force at a time is the number of starts at or before it less the number of ends at or before it.
    Two in force give no position: which one holds is for a person to say, not for the first match.

    Examples
    --------
    >>> in_force([7, 7], [0.0, 10.0], [10.0, float("nan")], [7, 7, 7], [9.0, 10.0, -1.0]).index.tolist()
    [0, 1, -1]
    """
    groups, starts, ends = np.asarray(group), np.asarray(start), np.asarray(end)
    wanted, times = np.asarray(query_group), np.asarray(query_time)
    if not groups.shape == starts.shape == ends.shape or wanted.shape != times.shape:
        message = (
            f"Intervals have shapes {groups.shape}, {starts.shape}, {ends.shape} and queries {wanted.shape}, "
            f"{times.shape}; expected equal shapes within each."
        )
        raise ShapeError(message)
    m = groups.size
    if m == 0 or wanted.size == 0:
        return InForce(np.full(wanted.size, -1, dtype=np.int64), np.zeros(wanted.size, dtype=np.int64))
    open_end = np.isnan(ends) if ends.dtype.kind == "f" else np.isnat(ends)
    closed = np.flatnonzero(~open_end)
    start_key, end_key, query_key, floor_key = _keys(groups, starts, ends[closed], groups[closed], wanted, times)
    order = np.argsort(start_key, kind="stable")
    # Half-open intervals: what starts at the time of a query is in force, what ends at it is not.
    started = np.searchsorted(start_key[order], query_key, side="right")
    before_group = np.searchsorted(start_key[order], floor_key, side="left")
    sorted_ends = np.sort(end_key)
    # Ends of groups sorted before this one are in the count of both searches and cancel.
    ended = np.searchsorted(sorted_ends, query_key, side="right") - np.searchsorted(sorted_ends, floor_key, side="left")
    count = (started - before_group) - ended
    index = np.full(wanted.size, -1, dtype=np.int64)
    single = count == 1
    index[single] = order[np.maximum(started[single] - 1, 0)]
    _settle_nested(index, single, groups, starts, ends, open_end, wanted, times)
    return InForce(index, count.astype(np.int64))


def _keys(
    groups: NDArray[Any],
    starts: NDArray[Any],
    ends: NDArray[Any],
    end_groups: NDArray[Any],
    wanted: NDArray[Any],
    times: NDArray[Any],
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Return sortable keys of group and time, and the smallest key of each query's group."""
    # Ranks in place of times: one integer key of group and time, of whatever kind the times are.
    _, rank = np.unique(np.concatenate([starts, ends, times]), return_inverse=True)
    _, code = np.unique(np.concatenate([groups, wanted]), return_inverse=True)
    m, closed = groups.size, ends.size
    span = int(rank.max()) + 1
    lookup = dict(zip(groups.tolist(), code[:m].tolist(), strict=True)) if closed else {}
    end_code = np.fromiter((lookup[g] for g in end_groups.tolist()), dtype=np.int64, count=closed)
    start_key = code[:m].astype(np.int64) * span + rank[:m]
    end_key = end_code * span + rank[m : m + closed]
    query_code = code[m:].astype(np.int64)
    return start_key, end_key, query_code * span + rank[m + closed :], query_code * span


def _settle_nested(
    index: NDArray[np.int64],
    single: NDArray[np.bool_],
    groups: NDArray[Any],
    starts: NDArray[Any],
    ends: NDArray[Any],
    open_end: NDArray[np.bool_],
    wanted: NDArray[Any],
    times: NDArray[Any],
) -> None:
    """Find the one in force where the last to start has already ended (only overlapping intervals do this)."""
    candidates = np.flatnonzero(single)
    chosen = index[candidates]
    over = ~open_end[chosen] & (ends[chosen] <= times[candidates])
    # One at a time: overlaps are refused on saving, so hardly any query comes here.
    for query in candidates[over]:
        holds = (groups == wanted[query]) & (starts <= times[query]) & (open_end | (ends > times[query]))
        index[query] = int(np.flatnonzero(holds)[0])
