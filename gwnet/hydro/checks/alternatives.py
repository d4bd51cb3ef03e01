"""What else a booked number may have been: another unit or sign, exchanged digits, a round amount more or less.

Alternatives are given as what they would add to the booked number. No loop over events.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gwnet.hydro.checks.spreads import Floats, Places, equally_long

#: Metres in an international foot.
FOOT_M: Final = 0.3048

#: Amounts by which numbers are misread or mistyped, in metres or feet: one more or less in one digit.
ROUND_AMOUNTS: Final = (1.0, 10.0, 0.1)

#: Places of a number whose digits are exchanged, counted from the last digit.
PLACES: Final = 7


def exchanged_digits(value: ArrayLike, decimals: ArrayLike) -> Floats:
    """Return what exchanging each digit with the one before it would add to a number.

    Parameters
    ----------
    value : array_like, shape (n,)
        Numbers as booked.
    decimals : array_like of int, shape (n,)
        Decimals with which they were written.

    Returns
    -------
    numpy.ndarray, shape (n, 7)
        What to add, by the place of the later digit counted from the end; NaN where both digits are the same or there
        are none.

    Examples
    --------
    >>> exchanged_digits([3.47], [2])[0, :2].round(2).tolist()
    [0.27, 0.9]
    """
    number, places = equally_long(value=value, decimals=decimals)
    number = number.astype(np.float64)
    scale = 10.0 ** places.astype(np.float64)
    # Whole digits: in floating point the digits of 12.30 are those of 12.2999.
    whole = np.rint(np.abs(np.nan_to_num(number)) * scale).astype(np.int64)
    additions = np.full((number.size, PLACES), np.nan)
    for place in range(PLACES):
        low, high = (whole // 10**place) % 10, (whole // 10 ** (place + 1)) % 10
        # A place above the leading digit has nothing to exchange; equal digits change nothing.
        there = (whole >= 10 ** (place + 1)) & (low != high)
        # Exchanging two digits changes a number by nine times their difference.
        additions[there, place] = ((low - high) * 9 * 10**place)[there]
    # The digits are those of the size; the sign of a depth above the measuring point stays.
    return np.asarray(np.sign(number)[:, None] * additions / scale[:, None])


def other_unit(value: ArrayLike, metres: ArrayLike) -> Floats:
    """Return what reading the number in another unit would add to it, in its own unit.

    Parameters
    ----------
    value : array_like, shape (n,)
        Numbers as booked.
    metres : array_like, shape (n,)
        Metres in the unit in which they were taken [m].

    Returns
    -------
    numpy.ndarray, shape (n, 2)
        Feet for metres, and metres for feet (for any metric unit: as if the feet were of that power of ten); NaN where
        the number was taken in the other kind already.

    Examples
    --------
    >>> other_unit([10.0, 10.0], [1.0, 0.3048]).round(3).tolist()
    [[-6.952, nan], [nan, 22.808]]
    """
    number, metre = equally_long(value=value, metres=metres)
    number, metre = number.astype(np.float64), metre.astype(np.float64)
    # International and US survey foot differ by 6e-7 m: both are feet here.
    in_feet = np.abs(metre - FOOT_M) < 1e-5
    as_feet = np.where(in_feet, np.nan, number * (FOOT_M - 1.0))
    as_metres = np.where(in_feet, number * (1.0 / FOOT_M - 1.0), np.nan)
    # A column for each unit, so that a caller can rank them; a number's own unit is no alternative.
    return np.column_stack([as_feet, as_metres])


@dataclass(frozen=True, eq=False)
class Best:
    """The alternative that fits each event best; shape (n,) each.

    Attributes
    ----------
    which : numpy.ndarray of int64
        Its column; -1 where none fits.
    misfit_m : numpy.ndarray
        What would still be missed [m].
    """

    which: Places
    misfit_m: Floats


def best_alternative(
    residual_m: ArrayLike,
    shift_m: NDArray[np.float64],
    within_m: ArrayLike,
    rank: ArrayLike = 0.0,
    left_share: float = np.inf,
) -> Best:
    """Return the alternative that explains a misfit best.

    Parameters
    ----------
    residual_m : array_like, shape (n,)
        Level less what is expected [m].
    shift_m : numpy.ndarray, shape (n, k)
        What each alternative would add to the level; NaN where it does not apply [m].
    within_m : array_like, shape (n,)
        Largest misfit with which an alternative fits [m].
    rank : array_like, shape (k,), optional
        How much less likely each alternative is beforehand, as a share of ``within_m`` that its misfit counts more.
    left_share : float, optional
        Largest misfit that may be left as a share of the shift.

    Returns
    -------
    Best
        The likeliest alternative of each event: among those that fit, the one with the least misfit and rank together.

    Raises
    ------
    ShapeError
        If the arrays differ in length.
    """
    residual, within = equally_long(residual_m=residual_m, within_m=within_m)
    left = np.abs(residual.astype(np.float64)[:, None] + shift_m)
    if left.shape[1] == 0:
        return Best(np.full(residual.shape, -1, dtype=np.int64), np.full(residual.shape, np.nan))
    # A shift that leaves much of itself over explains little, however wide the limit is.
    fits = (left <= within[:, None]) & (left <= left_share * np.abs(shift_m))
    score = np.where(fits, left + np.broadcast_to(rank, left.shape) * within[:, None], np.inf)
    which = np.argmin(score, axis=1)
    rows = np.arange(residual.size)
    is_explained = fits[rows, which]
    return Best(np.where(is_explained, which, -1).astype(np.int64), np.where(is_explained, left[rows, which], np.nan))
