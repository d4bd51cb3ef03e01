"""Threshold states of water elevations: crossed, not crossed, or undetermined where only a bound is known."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from gwnet.errors import AnalysisError, ShapeError

#: States; `NO_READING` stands where there is neither a number nor a bound.
CROSSED: Final = 1
NOT_CROSSED: Final = 0
UNDETERMINED: Final = -1
NO_READING: Final = -2

Floats = npt.NDArray[np.float64]
States = npt.NDArray[np.int8]


@dataclass(frozen=True, slots=True, eq=False)
class CrossingRuns:
    """Outcome of the rule that a threshold counts only after several crossings in a row.

    Parameters
    ----------
    state : ndarray of int8, shape (n,)
        State after the rule: `CROSSED`, `NOT_CROSSED`, `UNDETERMINED`, or `NO_READING` where the reading is missing.
    certain : ndarray of int64, shape (n,)
        Crossings in a row that end at each reading, counting only certain ones.
    possible : ndarray of int64, shape (n,)
        The same, counting undetermined readings as crossings.
    """

    state: States
    certain: npt.NDArray[np.int64]
    possible: npt.NDArray[np.int64]


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
    elevation, level, bounds = _broadcast(water_elevation_m, level_m, bound)
    # mirrored, an upper threshold on rising water is a lower one on falling water
    if kind == "upper":
        elevation, level, bounds = -elevation, -level, -bounds
    with np.errstate(invalid="ignore"):
        at_or_below = elevation <= level
    state = np.where(at_or_below, CROSSED, NOT_CROSSED)
    state = np.where((bounds < 0) & ~at_or_below, UNDETERMINED, state)
    state = np.where((bounds > 0) & at_or_below, UNDETERMINED, state)
    state = np.where(np.isnan(elevation) | np.isnan(level), NO_READING, state)
    return state.astype(np.int8)


def _broadcast(elevation: npt.ArrayLike, level: npt.ArrayLike, bound: npt.ArrayLike) -> tuple[Floats, Floats, Any]:
    arrays = (np.asarray(elevation, dtype=np.float64), np.asarray(level, dtype=np.float64), np.asarray(bound))
    try:
        first, second, third = np.broadcast_arrays(*arrays)
    except ValueError as error:
        shapes = ", ".join(
            f"{name} {array.shape}"
            for name, array in zip(("water_elevation_m", "level_m", "bound"), arrays, strict=True)
        )
        message = f"Shapes do not broadcast: {shapes}."
        raise ShapeError(message) from error
    return first, second, third.astype(np.int64)


def crossing_runs(state: npt.ArrayLike, consecutive: int = 1) -> CrossingRuns:
    """Apply the rule that a threshold counts as crossed only after several crossings in a row.

    Parameters
    ----------
    state : array_like of int, shape (n,)
        States in the order of time, from `threshold_state`.
    consecutive : int
        Crossings in a row that the rule asks for, 1 or more.

    Returns
    -------
    CrossingRuns
        State after the rule, and the lengths of the runs.

    Raises
    ------
    AnalysisError
        If fewer than one crossing is asked for.
    ShapeError
        If the states are not one-dimensional.

    Notes
    -----
    A missing reading neither adds to a run nor breaks it. An undetermined reading breaks the run of certain crossings
    but not that of possible ones: the rule is met when enough certain crossings follow one another, not met when even
    the possible ones are too few, and undetermined between (common practice, no source).

    Examples
    --------
    >>> crossing_runs([1, 1, 0, 1, -1], 2).state.tolist()
    [0, 1, 0, 0, -1]
    """
    states = np.asarray(state, dtype=np.int64)
    if states.ndim != 1:
        message = f"States must be one-dimensional; found shape {states.shape}."
        raise ShapeError(message)
    if consecutive < 1:
        message = f"The rule asks for {consecutive} crossings in a row; expected 1 or more."
        raise AnalysisError(message)
    read = states != NO_READING
    certain = _run_lengths(states == CROSSED, read)
    possible = _run_lengths((states == CROSSED) | (states == UNDETERMINED), read)
    ruled = np.where(possible >= consecutive, UNDETERMINED, NOT_CROSSED)
    ruled = np.where(certain >= consecutive, CROSSED, ruled)
    ruled = np.where(read, ruled, NO_READING)
    return CrossingRuns(ruled.astype(np.int8), certain, possible)


def _run_lengths(hit: npt.NDArray[np.bool_], read: npt.NDArray[np.bool_]) -> npt.NDArray[np.int64]:
    """Return how many hits in a row end at each place; places that were not read carry the count on."""
    count = np.cumsum(hit & read)
    broken = np.where(read & ~hit, count, 0)
    return np.asarray(count - np.maximum.accumulate(broken), dtype=np.int64) if hit.size else count.astype(np.int64)
