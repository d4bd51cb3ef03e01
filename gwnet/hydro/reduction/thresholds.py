"""Threshold states of water elevations: crossed, not crossed, or undetermined where only a bound is known."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from gwnet.errors import AnalysisError
from gwnet.hydro.arrays import broadcast

#: States; `NO_READING` stands where there is neither a number nor a bound.
CROSSED: Final = 1
NOT_CROSSED: Final = 0
UNDETERMINED: Final = -1
NO_READING: Final = -2

Floats = npt.NDArray[np.float64]
States = npt.NDArray[np.int8]


def threshold_state(
    water_elevation_m: npt.ArrayLike, level_m: npt.ArrayLike, *, kind: str, bound: npt.ArrayLike = 0
) -> States:
    """Compare water elevations with a threshold.

    Parameters
    ----------
    water_elevation_m : array_like
        Water elevation, positive upward from the vertical datum; for a bound the bound itself; NaN: no reading [m].
    level_m : array_like
        Elevation of the threshold above the same datum; broadcasts with the elevations [m].
    kind : {"lower", "upper"}
        A lower threshold is crossed by an elevation at or below it, an upper one by an elevation at or above it.
    bound : array_like of int
        -1 where the true elevation is at or below the value (dry), +1 where it is at or above it (flowing without a
        number), 0 where the value is the elevation.

    Returns
    -------
    ndarray of int8
        `CROSSED`, `NOT_CROSSED`, `UNDETERMINED` or `NO_READING`, in the broadcast shape.

    Raises
    ------
    AnalysisError
        If the kind is neither ``lower`` nor ``upper``.
    ShapeError
        If the arrays do not broadcast.

    Notes
    -----
    A dry well's bound at or below a lower threshold proves the crossing; a bound above it proves nothing
    (common practice, no source). The other three combinations of bound and kind follow by the same logic.

    Examples
    --------
    >>> threshold_state([9.8, 10.2, 10.2], 10.0, kind="lower", bound=[0, 0, -1]).tolist()
    [1, 0, -1]
    """
    if kind not in ("lower", "upper"):
        message = f"Unknown kind of threshold {kind!r}; expected lower or upper."
        raise AnalysisError(message)
    elevation, level, bounds = broadcast(water_elevation_m=water_elevation_m, level_m=level_m, bound=bound)
    # mirrored, an upper threshold on rising water is a lower one on falling water
    if kind == "upper":
        elevation, level, bounds = -elevation, -level, -bounds
    with np.errstate(invalid="ignore"):
        at_or_below = elevation <= level
    state = np.where(at_or_below, CROSSED, NOT_CROSSED)
    state = np.where((bounds < 0) & ~at_or_below, UNDETERMINED, state)
    state = np.where((bounds > 0) & at_or_below, UNDETERMINED, state)
    # Last, because comparisons with NaN are False and would read as "not crossed".
    state = np.where(np.isnan(elevation) | np.isnan(level), NO_READING, state)
    return state.astype(np.int8)
