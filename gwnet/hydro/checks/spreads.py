"""Robust centres and spreads of groups of values, over the whole group or near each value.

Every function takes plain arrays of all values at once and has no loop over values.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gwnet.constants import MAD_TO_SD
from gwnet.errors import ShapeError

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Places = NDArray[np.int64]


def equally_long(**arrays: ArrayLike) -> list[NDArray[Any]]:
    """Return one-dimensional arrays of one length.

    Parameters
    ----------
    **arrays : array_like
        Arrays by name.

    Returns
    -------
    list of numpy.ndarray
        The arrays, in the order given.

    Raises
    ------
    ShapeError
        If they differ in length or have more than one dimension.
    """
    columns = {name: np.asarray(values) for name, values in arrays.items()}
    shapes = {array.shape for array in columns.values()}
    if len(shapes) > 1 or any(len(shape) != 1 for shape in shapes):
        listing = ", ".join(f"{name} {array.shape}" for name, array in columns.items())
        message = f"Expected arrays of one dimension and one length; got {listing}."
        raise ShapeError(message)
    return list(columns.values())


@dataclass(frozen=True, eq=False)
class GroupSpread:
    """Robust centre and spread of each value's group, spread out to the values; shape (n,) each.

    Attributes
    ----------
    centre : numpy.ndarray
        Median of the group; NaN where no group is large enough.
    deviation : numpy.ndarray
        Median absolute deviation times 1.4826: the standard deviation where the values are normal.
    count : numpy.ndarray of int64
        Values in the group that was used.
    """

    centre: Floats
    deviation: Floats
    count: Places


def group_spread(values: ArrayLike, group: ArrayLike, *, use: ArrayLike | None = None) -> GroupSpread:
    """Return the median and the median absolute deviation of each value's group.

    Parameters
    ----------
    values : array_like, shape (n,)
        Values; NaN ones count in no group.
    group : array_like of int, shape (n,)
        Group of each value.
    use : array_like of bool, shape (n,), optional
        Which values the medians are taken of; all unless given. The others get the limits of their group too.

    Returns
    -------
    GroupSpread
        Centre, spread and count for each value.

    Raises
    ------
    ShapeError
        If the arrays differ in length.

    Notes
    -----
    MAD = median |x - median x|, times 1 / 0.6745 to estimate a standard deviation: Hampel (1974), Journal of the
    American Statistical Association 69, 383-393 (from memory).

    Examples
    --------
    >>> found = group_spread([1.0, 2.0, 3.0, 4.0, 100.0], [0, 0, 0, 0, 0])
    >>> float(found.centre[0]), round(float(found.deviation[0]), 4)
    (3.0, 1.4826)
    """
    x, groups = equally_long(values=values, group=group)
    x = x.astype(np.float64)
    taken = ~np.isnan(x) if use is None else ~np.isnan(x) & np.asarray(use, dtype=np.bool_)
    labels, code = np.unique(groups, return_inverse=True)
    count = np.bincount(code[taken], minlength=labels.size)
    centre = _medians(x[taken], code[taken], labels.size)
    spread = MAD_TO_SD * _medians(np.abs(x - centre[code])[taken], code[taken], labels.size)
    return GroupSpread(centre[code], spread[code], count[code].astype(np.int64))


def _medians(values: Floats, code: NDArray[Any], groups: int) -> Floats:
    """Return the median of each group, NaN for an empty one."""
    return _quantiles(values, code, groups, (0.5,))[0]


def nested_spread(
    values: ArrayLike, groups: ArrayLike, *, use: ArrayLike | None = None, least: ArrayLike = 8
) -> GroupSpread:
    """Return the centre and spread of the narrowest group of each value that is large enough.

    Parameters
    ----------
    values : array_like, shape (n,)
        Values; NaN ones count in no group.
    groups : array_like of int, shape (k, n)
        Groups of each value from the narrowest to the widest, for example well and season, then well.
    use : array_like of bool, shape (n,), optional
        Which values the medians are taken of; all unless given.
    least : number or array_like, shape (k,), optional
        Fewest values of a group that tell its spread.

    Returns
    -------
    GroupSpread
        Of the first group with at least `least` values; NaN where none is.

    Raises
    ------
    ShapeError
        If the arrays differ in length.
    """
    x = np.asarray(values, dtype=np.float64)
    nested = GroupSpread(np.full(x.shape, np.nan), np.full(x.shape, np.nan), np.zeros(x.shape, dtype=np.int64))
    open_yet = np.ones(x.shape, dtype=np.bool_)
    levels = np.asarray(groups)
    # From the narrowest group to the widest: the first that is large enough settles a value.
    for group, fewest in zip(levels, np.broadcast_to(np.asarray(least), levels.shape[:1]), strict=True):
        spread = group_spread(x, group, use=use)
        here = open_yet & (spread.count >= fewest)
        nested.centre[here], nested.deviation[here], nested.count[here] = (
            spread.centre[here],
            spread.deviation[here],
            spread.count[here],
        )
        open_yet &= ~here
    return nested


#: Values in one block of a group; limits at a value rest on its block and the one on either side (project default).
BLOCK: Final = 16

#: Share of the values around that the tail of a spread looks at, and the normal deviate of that share.
_TAIL_SHARE: Final = 0.8
_TAIL_DEVIATE: Final = 1.2815515655446004

#: A heavy tail widens a spread at most so much, so that half of the values may still be wrong (project default).
_MOST_TAIL: Final = 2.5

#: ... and what is usual near by is at least this share of what is usual in the whole group (project default).
_LEAST_SHARE: Final = 0.5


def following_spread(
    values: ArrayLike, groups: ArrayLike, *, use: ArrayLike | None = None, least: ArrayLike = 8, block: int = BLOCK
) -> GroupSpread:
    """Return the centre and spread of the values near each value within its group.

    Parameters
    ----------
    values : array_like, shape (n,)
        Values in the order of time within each group; NaN ones count in no group.
    groups : array_like of int, shape (k, n)
        Groups of each value from the narrowest to the widest, for example well and season, then well.
    use : array_like of bool, shape (n,), optional
        Which values the limits are taken of; all unless given.
    least : number or array_like, shape (k,), optional
        Fewest values of a group that show its spread.
    block : int, optional
        Values in one block.

    Returns
    -------
    GroupSpread
        Of the first group with at least `least` values, the values of three successive blocks around each value; NaN
        where no group is large enough.

    Raises
    ------
    ShapeError
        If the arrays differ in length.

    Notes
    -----
    A record of decades has quiet and restless times; limits from all of it are too wide in the one and too narrow in
    the other. The spread is the larger of 1.4826 MAD and of the 80 % quantile of the absolute deviations over its
    normal deviate (1.282), as changes of water levels have heavier tails than a normal distribution; the tail widens
    it 2.5 times at most, so that half of the values may be wrong. It is at least half of that of the whole group.
    """
    x = np.asarray(values, dtype=np.float64)
    taken = ~np.isnan(x) if use is None else ~np.isnan(x) & np.asarray(use, dtype=np.bool_)
    nested = GroupSpread(np.full(x.shape, np.nan), np.full(x.shape, np.nan), np.zeros(x.shape, dtype=np.int64))
    open_yet = np.ones(x.shape, dtype=np.bool_)
    levels = np.asarray(groups)
    for group, fewest in zip(levels, np.broadcast_to(np.asarray(least), levels.shape[:1]), strict=True):
        labels, code = np.unique(group, return_inverse=True)
        count = np.bincount(code[taken], minlength=labels.size)
        whole = _spread_of(x[taken], code[taken], labels.size)
        blocks, number = _blocks(code, taken, count, block)
        near = _spread_of_blocks(x[taken], blocks[taken], code[taken], number)
        here = open_yet & (count[code] >= fewest)
        own = blocks[here]
        nested.centre[here], nested.count[here] = near.centre[own], count[code[here]]
        # Near a run of equal readings the spread falls to nothing; the whole group keeps a floor.
        nested.deviation[here] = np.maximum(near.deviation[own], _LEAST_SHARE * whole.deviation[code[here]])
        open_yet &= ~here
    return nested


def _blocks(code: NDArray[np.intp], taken: Flags, count: Places, block: int) -> tuple[Places, Places]:
    """Return the block of each value, and how many blocks each group has; a short last block joins the one before."""
    # Stable, so that blocks follow one another in time.
    order = np.argsort(code, kind="stable")
    before: Places = np.cumsum(taken[order]) - taken[order]
    first = np.concatenate([[0], np.cumsum(count)[:-1]])
    rank = np.empty(code.size, dtype=np.int64)
    rank[order] = before - first[code[order]]
    # A last block of fewer values than the others would give limits of its own from few values.
    number = np.maximum(count // block, 1)
    start = np.concatenate([[0], np.cumsum(number)[:-1]])
    return start[code] + np.minimum(rank // block, number[code] - 1), number


def _spread_of_blocks(values: Floats, block: Places, code: NDArray[np.intp], number: Places) -> GroupSpread:
    """Return the spread of each block together with the blocks beside it in its group."""
    start = np.concatenate([[0], np.cumsum(number)[:-1]])
    has_before, has_after = block > start[code], block < start[code] + number[code] - 1
    together = np.concatenate([values, values[has_before], values[has_after]])
    of = np.concatenate([block, block[has_before] - 1, block[has_after] + 1])
    return _spread_of(together, of, int(number.sum()))


def _spread_of(values: Floats, code: NDArray[Any], groups: int) -> GroupSpread:
    """Return the centre and the spread of each group, the tail counted."""
    centre = _medians(values, code, groups)
    off = np.abs(values - centre[code])
    deviation, tail = _quantiles(off, code, groups, (0.5, _TAIL_SHARE))
    deviation = MAD_TO_SD * deviation
    heavy = np.minimum(tail / _TAIL_DEVIATE, _MOST_TAIL * deviation)
    return GroupSpread(centre, np.maximum(deviation, heavy), np.bincount(code, minlength=groups).astype(np.int64))


def _quantiles(values: Floats, code: NDArray[Any], groups: int, shares: tuple[float, ...]) -> list[Floats]:
    """Return quantiles of each group, linear between values; NaN for an empty one."""
    order = np.lexsort((values, code))
    ordered = values[order]
    count = np.bincount(code, minlength=groups)
    first = np.concatenate([[0], np.cumsum(count)[:-1]])
    filled = count > 0
    quantiles = []
    for share in shares:
        place = share * (count - 1)
        low, high = np.floor(place).astype(np.int64), np.ceil(place).astype(np.int64)
        here = np.full(groups, np.nan)
        if ordered.size:
            lower, upper = ordered[(first + low)[filled]], ordered[(first + high)[filled]]
            here[filled] = lower + (place - low)[filled] * (upper - lower)
        quantiles.append(here)
    return quantiles
