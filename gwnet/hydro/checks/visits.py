"""Checks of single visits: recovery after pumping, soundings, the order of heads in clusters, repeated numbers.

Depths are positive downward, elevations positive upward. No loop over events.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gwnet.hydro.checks.robust_limits import readings_around
from gwnet.hydro.checks.spreads import Flags, Floats, Places, equally_long

#: Readings that the share of all wells weighs when that of one well is judged (project default).
_PRIOR: Final = 10.0


def hours_since(well: ArrayLike, time_d: ArrayLike, what: ArrayLike) -> Floats:
    """Return the hours since something was last met in the same well.

    Parameters as `gwnet.hydro.checks`.

    Parameters
    ----------
    what : array_like of bool, shape (n,)
        Events at which it was met.

    Returns
    -------
    numpy.ndarray, shape (n,)
        Hours since the last such event before each; NaN where there is none [h].

    Examples
    --------
    >>> hours_since([1, 1, 2], [0.0, 0.5, 0.6], [True, False, False]).tolist()
    [nan, 12.0, nan]
    """
    wells, time, met = equally_long(well=well, time_d=time_d, what=what)
    before = readings_around(wells, met.astype(np.bool_)).before
    return np.where(before >= 0, (time - time[before]) * 24.0, np.nan)


def further_loss(well: ArrayLike, loss_m: ArrayLike, step_m: float) -> Flags:
    """Return the soundings with which the loss of depth of a well reached a further step.

    Parameters
    ----------
    well : array_like of int, shape (n,)
        Well of each event; events sorted by well and time.
    loss_m : array_like, shape (n,)
        Depth as built less sounded depth; NaN where not sounded [m].
    step_m : float
        Step [m].

    Returns
    -------
    numpy.ndarray of bool, shape (n,)
        True where the loss, in whole steps, is at least one and more than in any sounding of the well before.

    Examples
    --------
    >>> further_loss([1, 1, 1, 1], [0.1, 0.6, 0.7, 1.2], 0.5).tolist()
    [False, True, False, True]
    """
    wells, loss = equally_long(well=well, loss_m=loss_m)
    steps = np.floor(np.nan_to_num(loss.astype(np.float64)) / step_m)
    steps = np.maximum(steps, 0.0)
    # one running maximum over all wells: each well's steps are lifted above those of the wells before
    _, rank = np.unique(wells, return_inverse=True)
    lift = (float(steps.max(initial=0.0)) + 1.0) * rank
    highest = np.maximum.accumulate(steps + lift) - lift if steps.size else steps
    before = np.concatenate([[0.0], highest[:-1]]) if steps.size else steps
    first = np.concatenate([[True], wells[1:] != wells[:-1]]) if steps.size else steps.astype(np.bool_)
    # A well's first sounding has no loss before it, whatever the well before lost.
    before = np.where(first, 0.0, before)
    return np.asarray((steps >= 1.0) & (steps > before))


def last_known(well: ArrayLike, values: ArrayLike) -> Floats:
    """Return the newest value of the well at or before each event.

    Parameters
    ----------
    well : array_like of int, shape (n,)
        Well of each event; events sorted by well and time.
    values : array_like, shape (n,)
        Values; NaN where there is none.

    Returns
    -------
    numpy.ndarray, shape (n,)
        The event's own value, or else the last one before; NaN where there is none.
    """
    wells, numbers = equally_long(well=well, values=values)
    numbers = numbers.astype(np.float64)
    before = readings_around(wells, ~np.isnan(numbers)).before
    earlier = np.where(before >= 0, numbers[before], np.nan)
    return np.where(np.isnan(numbers), earlier, numbers)


@dataclass(frozen=True, eq=False)
class Order:
    """Pairs of levels of a cluster against the order that is usual in it; shape (p,) each.

    Attributes
    ----------
    reversed : numpy.ndarray of bool
        Whether the deeper well stands on the other side of the shallower than it usually does.
    share : numpy.ndarray
        Share of the pairs of these two wells that have the usual order.
    count : numpy.ndarray of int64
        Pairs of these two wells that are distinguishable.
    usual : numpy.ndarray of int64
        +1 where the deeper well usually stands higher, -1 lower, 0 where no order is usual.
    """

    reversed: Flags
    share: Floats
    count: Places
    usual: Places


def order_in_cluster(
    pair: ArrayLike,
    difference_m: ArrayLike,
    half_width_m: ArrayLike,
    *,
    share: float = 0.9,
    least: int | float = 8,
) -> Order:
    """Find the pairs of levels whose order is not the one that is usual for their wells.

    Parameters
    ----------
    pair : array_like of int, shape (p,)
        Which two wells each pair of levels is of.
    difference_m : array_like, shape (p,)
        Level of the deeper well less that of the shallower, positive for upward flow [m].
    half_width_m : array_like, shape (p,)
        95 % half-width of the difference; smaller differences have no order [m].
    share : float, optional
        Share of the pairs in one order that makes the order usual.
    least : number, optional
        Fewest pairs needed for the order.

    Returns
    -------
    Order
        Which pairs are reversed.
    """
    which, difference, width = equally_long(pair=pair, difference_m=difference_m, half_width_m=half_width_m)
    _, code = np.unique(which, return_inverse=True)
    # A difference within the uncertainties has no order and counts for neither.
    sign = np.where(np.abs(difference) > width, np.sign(difference), 0.0)
    count = np.bincount(code, weights=np.abs(sign))
    up = np.bincount(code, weights=(sign > 0).astype(np.float64))
    # A pair never seen apart has no usual order: one half is as far from either as can be.
    upward, downward = (
        np.divide(one, count, out=np.full(count.shape, 0.5), where=count > 0) for one in (up, count - up)
    )
    # each way by its own share: one less the other is rounded, and 9 of 10 would be usual upward alone
    usual = np.where(count < least, 0, np.where(upward >= share, 1, np.where(downward >= share, -1, 0)))
    of = usual[code]
    kept = np.maximum(upward, downward)[code]
    return Order((of != 0) & (sign * of < 0), kept, count[code].astype(np.int64), of.astype(np.int64))


@dataclass(frozen=True, eq=False)
class Repetition:
    """Readings that are those of the visit before; shape (g,) a round each.

    Attributes
    ----------
    same : numpy.ndarray of int64
        Wells of the round that repeat their last reading.
    read : numpy.ndarray of int64
        Wells of the round with a reading and one before.
    limit : numpy.ndarray
        How many would be no wonder.
    """

    same: Places
    read: Places
    limit: Floats


def repeated_readings(
    group: ArrayLike, groups: int, well: ArrayLike, same: ArrayLike, *, least: int | float = 3
) -> Repetition:
    """Count in each round the wells that repeat their last reading, and how many would be no wonder.

    Parameters
    ----------
    group : array_like of int, shape (n,)
        Round of each reading that has one before it, from 0.
    groups : int
        Number of rounds.
    well : array_like of int, shape (n,)
        Well of each reading.
    same : array_like of bool, shape (n,)
        Whether it is the number read before.
    least : number, optional
        Fewer repetitions than this are no wonder.

    Returns
    -------
    Repetition
        Counts and limits.

    Notes
    -----
    Each well repeats itself by chance with a share p: k of n readings in the rest of its record, drawn towards the
    share of all wells with the weight of ten readings. The sum over a round has mean sum p and variance sum p (1 - p);
    the limit is four standard deviations above.
    """
    of, wells, repeats = equally_long(group=group, well=well, same=same)
    _, code = np.unique(wells, return_inverse=True)
    k = np.bincount(code, weights=repeats.astype(np.float64))
    n = np.bincount(code)
    # Half an event added: a network that never repeated a reading has still a small chance of it.
    of_all = (k.sum() + 0.5) / (n.sum() + 1.0)
    # Without the reading itself, or a well that repeats itself would excuse that by doing so.
    share = (k[code] - repeats + _PRIOR * of_all) / (n[code] - 1.0 + _PRIOR)
    mean = np.bincount(of, weights=share, minlength=groups)
    variance = np.bincount(of, weights=share * (1.0 - share), minlength=groups)
    # Fewer than `least` repeats in a small round are chance, however small the variance comes out.
    limit = np.maximum(mean + 4.0 * np.sqrt(variance), least - 1.0)
    counted = np.bincount(of, weights=repeats.astype(np.float64), minlength=groups)
    return Repetition(counted.astype(np.int64), np.bincount(of, minlength=groups).astype(np.int64), limit)


def pairs_within(time_d: ArrayLike, other_d: ArrayLike, within_d: float) -> tuple[Places, Places]:
    """Pair each time with the nearest of other times, the earlier of two that are as near.

    Parameters
    ----------
    time_d : array_like, shape (n,)
        Times in order [d].
    other_d : array_like, shape (m,)
        Other times in order [d].
    within_d : float
        Largest difference of a pair [d].

    Returns
    -------
    tuple of numpy.ndarray of int64
        Positions in both, shape (p,) each.
    """
    times, others = np.asarray(time_d, dtype=np.float64), np.asarray(other_d, dtype=np.float64)
    if times.size == 0 or others.size == 0:
        nothing: NDArray[Any] = np.empty(0, dtype=np.int64)
        return nothing, nothing.copy()
    right = np.clip(np.searchsorted(others, times), 0, others.size - 1)
    left = np.maximum(right - 1, 0)
    nearest = np.where(np.abs(others[left] - times) <= np.abs(others[right] - times), left, right)
    near = np.abs(others[nearest] - times) <= within_d
    return np.flatnonzero(near).astype(np.int64), nearest[near].astype(np.int64)
