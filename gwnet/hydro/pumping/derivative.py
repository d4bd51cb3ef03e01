"""Derivative of drawdown by the logarithm of time."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gwnet.errors import ShapeError

Floats = NDArray[np.float64]


def bourdet_derivative(days: ArrayLike, drawdown_m: ArrayLike, *, span: float = 0.0) -> tuple[Floats, Floats]:
    """Return the derivative of drawdown by the natural logarithm of time.

    Parameters
    ----------
    days : array_like, shape (n,)
        Times above 0, in any order and unit; readings of one time are averaged [d].
    drawdown_m : array_like, shape (n,)
        Drawdowns [m].
    span : float, optional
        Least distance of the points to either side, in the natural logarithm of time; the nearest points unless given.

    Returns
    -------
    tuple of numpy.ndarray, shape (m,)
        Distinct times in rising order, and the derivative there; NaN where no point is far enough to one side [m].

    Raises
    ------
    ShapeError
        If times and drawdowns do not fit together.

    Notes
    -----
    The slopes to both sides, each weighted by the distance to the other side: Bourdet, Ayoub and Pirard (1989), SPE
    Formation Evaluation 4, 293–302 (from memory). Exact where drawdown is quadratic in the logarithm of time.

    Examples
    --------
    >>> times, slope = bourdet_derivative([1.0, 2.0, 4.0], [0.0, 1.0, 2.0])
    >>> round(float(slope[1]) * float(np.log(2.0)), 6)
    1.0
    """
    times, drawdown = np.asarray(days, dtype=np.float64), np.asarray(drawdown_m, dtype=np.float64)
    if times.ndim != 1 or times.shape != drawdown.shape:
        message = f"Times have the shape {times.shape} and drawdowns {drawdown.shape}; expected (n,)."
        raise ShapeError(message)
    # The logarithm of the start itself does not exist.
    used = (times > 0.0) & np.isfinite(drawdown)
    distinct, place = np.unique(times[used], return_inverse=True)
    # Readings at one moment would have a slope over no time.
    mean = np.bincount(place, drawdown[used]) / np.bincount(place) if distinct.size else drawdown[used]
    logarithm = np.log(distinct)
    # the last point at least the span before, and the first at least the span after
    reach = max(span, 0.0)
    index = np.arange(distinct.size)
    # 1e-12, so that a point just the span away counts in spite of rounding.
    left = np.minimum(np.searchsorted(logarithm, logarithm - reach + 1e-12, side="right") - 1, index - 1)
    right = np.maximum(np.searchsorted(logarithm, logarithm + reach - 1e-12, side="left"), index + 1)
    derivative = np.full(distinct.size, np.nan)
    # A point without one on either side at that distance has no derivative.
    inner = (left >= 0) & (right < distinct.size)
    before, after, at = left[inner], right[inner], index[inner]
    width_before, width_after = logarithm[at] - logarithm[before], logarithm[after] - logarithm[at]
    slope_before = (mean[at] - mean[before]) / width_before
    slope_after = (mean[after] - mean[at]) / width_after
    derivative[inner] = (slope_before * width_after + slope_after * width_before) / (width_before + width_after)
    return distinct, derivative
