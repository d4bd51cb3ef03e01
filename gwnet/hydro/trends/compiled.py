"""Compiled ways of slow loops, where numba is there: made when asked for or when the work is large, never stored.

The package runs without numba (extra ``fast``); numbers are the same with and without it. Compiling takes some
seconds once in a process, so small work never waits for it, and nothing is written to disk.

Large is 200 million pairs, or 300,000 values of one series: from there on the seconds of compiling pay.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from importlib.util import find_spec
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["inversions", "prepare", "ready", "slopes_at"]

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

#: A way of finding slopes: rows of values, times, places; how many slopes are positive, and the slopes at the places.
SlopesAt = Callable[[Floats, Floats, Integers], tuple[Integers, Floats]]

#: Pairs from which compiling pays, and values of one series.
LARGE = 200_000_000
LONG = 300_000

#: Threads at most, and drawers that slopes are dealt out to.
THREADS = 4
DRAWERS = 2048

_made: dict[str, Any] = {}


def prepare() -> bool:
    """Compile what can be compiled, for all later calls in this process.

    Returns
    -------
    bool
        Whether compiled ways are ready; False without numba.
    """
    if "slopes_at" not in _made and find_spec("numba") is not None:
        _made["inversions"], _made["slopes_at"] = _compile_count(), _compile()
    return ready()


def ready() -> bool:
    """Return whether compiled ways are ready.

    Returns
    -------
    bool
        True after `prepare` with numba.
    """
    return "slopes_at" in _made


def slopes_at(table: Floats, when: Floats, places: Integers, otherwise: SlopesAt) -> tuple[Integers, Floats]:
    """Return how many slopes of each row are positive, and those at given places of its sorted slopes.

    Parameters
    ----------
    table : ndarray of float64, shape (m, n)
        Series in rows, without NaN.
    when : ndarray of float64, shape (n,)
        Times, ascending, none twice.
    places : ndarray of int64, shape (m, k)
        Places from 0, a row for each series.
    otherwise : callable
        The way of whole arrays, taken where nothing is compiled and the work does not pay for it.

    Returns
    -------
    tuple of ndarray
        Counts, shape (m,), and slopes, shape (m, k).
    """
    m, n = table.shape
    if ready() or (m * n * (n - 1) // 2 >= LARGE and prepare()):
        found: tuple[Integers, Floats] = _made["slopes_at"](table, when, places)
        return found
    return otherwise(table, when, places)


def inversions(values: Floats) -> int | None:
    """Return the number of pairs whose earlier value is larger than the later one, where a compiled way is taken.

    Parameters
    ----------
    values : ndarray of float64, shape (n,)
        Values without NaN.

    Returns
    -------
    int or None
        Number of pairs; None where nothing is compiled and the work does not pay for it.
    """
    if ready() or (values.size >= LONG and prepare()):
        return int(_made["inversions"](values))
    return None


def _compile_count() -> Any:
    """Compile the count of inversions."""
    import numba

    count = numba.njit(nogil=True)(_merge_count)
    count(np.array([2.0, 1.0, 3.0]))
    return count


def _compile() -> Any:
    """Compile the search for slopes."""
    import numba

    jit = numba.njit(nogil=True)
    search = jit(_searching(jit(_fill), jit(_deal), jit(_pick)))  # type: ignore[no-untyped-call]

    def shared(table: Floats, when: Floats, places: Integers) -> tuple[Integers, Floats]:
        order = np.argsort(places, axis=1)
        ascending = np.take_along_axis(places, order, axis=1)
        ups, found = np.empty(len(table), dtype=np.int64), np.empty(places.shape)
        parts = np.array_split(np.arange(len(table)), min(os.cpu_count() or 1, THREADS, len(table)))

        def work(rows: Integers) -> None:
            some = slice(int(rows[0]), int(rows[-1]) + 1)
            search(table[some], when, ascending[some], ups[some], found[some])

        with ThreadPoolExecutor(len(parts)) as pool:
            list(pool.map(work, parts))
        back = np.empty_like(found)
        np.put_along_axis(back, order, found, axis=1)
        return ups, back

    shared(np.zeros((1, 3)), np.arange(3.0), np.zeros((1, 1), dtype=np.int64))
    return shared


# what follows is written for the compiler: loops over single numbers


def _merge_count(values):  # type: ignore[no-untyped-def]
    """Count the pairs in the wrong order while merging ever longer sorted runs."""
    n, wrong, run = values.size, 0, 1
    kept, made = values.copy(), np.empty_like(values)
    while run < n:
        for start in range(0, n, 2 * run):
            middle, stop = min(start + run, n), min(start + 2 * run, n)
            i, j = start, middle
            for k in range(start, stop):
                if j >= stop or (i < middle and kept[i] <= kept[j]):
                    made[k] = kept[i]
                    i += 1
                else:
                    made[k] = kept[j]
                    j += 1
                    wrong += middle - i
        kept, made = made, kept
        run *= 2
    return wrong


def _pick(slopes, place, low, high):  # type: ignore[no-untyped-def]
    """Return the number that stands at a place in order, moving numbers about (Hoare's selection)."""
    while low < high:
        pivot = slopes[(low + high) >> 1]
        i, j = low, high
        while i <= j:
            while slopes[i] < pivot:
                i += 1
            while slopes[j] > pivot:
                j -= 1
            if i <= j:
                kept = slopes[i]
                slopes[i] = slopes[j]
                slopes[j] = kept
                i += 1
                j -= 1
        if place <= j:
            high = j
        elif place >= i:
            low = i
        else:
            break
    return slopes[place]


def _fill(values, when, slopes):  # type: ignore[no-untyped-def]
    """Make the slopes of all pairs of a series; return how many are positive."""
    n, at = values.size, 0
    for lag in range(1, n):
        later, earlier = values[lag:], values[: n - lag]
        end, start = when[lag:], when[: n - lag]
        part = slopes[at : at + n - lag]
        for j in range(n - lag):
            part[j] = (later[j] - earlier[j]) / (end[j] - start[j])
        at += n - lag
    ups = 0
    for k in range(slopes.size):
        ups += slopes[k] > 0.0
    return ups


def _deal(slopes, drawers, counts):  # type: ignore[no-untyped-def]
    """Deal slopes out to drawers in their order, and count those in each; equal slopes share a drawer."""
    low, high = slopes[0], slopes[0]
    for k in range(slopes.size):
        low, high = min(low, slopes[k]), max(high, slopes[k])
    scale = (counts.size - 1) / (high - low) if high > low else 0.0
    if not scale < 1e300:
        scale = 0.0
    counts[:] = 0
    for k in range(slopes.size):
        drawers[k] = np.uint16((slopes[k] - low) * scale)
    for k in range(slopes.size):
        counts[drawers[k]] += 1


def _searching(fill, deal, pick):  # type: ignore[no-untyped-def]
    """Return the search for the slopes of many series, made of its parts; places ascend in each row."""

    def search(table, when, places, ups, found):  # type: ignore[no-untyped-def]
        n = table.shape[1]
        pairs = n * (n - 1) // 2
        slopes, inside = np.empty(pairs), np.empty(pairs + 1)
        drawers, counts = np.empty(pairs, dtype=np.uint16), np.empty(DRAWERS, dtype=np.int64)
        for row in range(table.shape[0]):
            ups[row] = fill(table[row], when, slopes)
            deal(slopes, drawers, counts)
            drawer, below, last, held = 0, 0, -1, 0
            for k in range(places.shape[1]):
                while below + counts[drawer] <= places[row, k]:
                    below += counts[drawer]
                    drawer += 1
                if drawer != last:
                    held, last = 0, drawer
                    for j in range(pairs):
                        inside[held] = slopes[j]
                        held += drawers[j] == drawer
                found[row, k] = pick(inside, places[row, k] - below, 0, held - 1)

    return search
