"""Arrays as the functions here take them: of one shape, and instants in rising order."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gwnet.errors import ReductionError, ShapeError

Floats = NDArray[np.float64]
Instants = NDArray[np.datetime64]

#: Microseconds in one second.
MICROSECONDS = 1_000_000


def broadcast(**arrays: ArrayLike) -> list[Floats]:
    """Return float64 arrays of one shape, in the order given.

    Parameters
    ----------
    **arrays : array_like
        Arrays by the names that the message shall use.

    Raises
    ------
    ShapeError
        If they do not broadcast; the message names them with their shapes.

    Examples
    --------
    >>> [array.tolist() for array in broadcast(level_m=[1, 2], offset_m=0.5)]
    [[1.0, 2.0], [0.5, 0.5]]
    """
    floats = {name: np.asarray(values, dtype=np.float64) for name, values in arrays.items()}
    try:
        return [np.asarray(array) for array in np.broadcast_arrays(*floats.values())]
    except ValueError:
        shapes = ", ".join(f"{name} {array.shape}" for name, array in floats.items())
        message = f"These arrays do not fit together: {shapes}."
        raise ShapeError(message) from None


def series(time_utc: ArrayLike, values: ArrayLike, name: str, *, rising: bool = True) -> tuple[Instants, Floats]:
    """Return instants and their numbers as arrays of one dimension and equal length.

    Parameters
    ----------
    time_utc : array_like of datetime64, shape (n,)
        Instants.
    values : array_like, shape (n,)
        Their numbers.
    name : str
        What the series is, for the messages.
    rising : bool, optional
        Whether each instant must be later than the one before; yes unless said.

    Returns
    -------
    tuple of numpy.ndarray
        Instants to the microsecond, and numbers as float64.

    Raises
    ------
    ShapeError
        If they differ in length or are not of one dimension.
    ReductionError
        If an instant is missing, or is not later than the one before where it must be.

    Examples
    --------
    >>> series(["2024-05-01T10:00"], [1.0], "sensor")[1].tolist()
    [1.0]
    """
    when = np.asarray(time_utc, dtype="datetime64[us]")
    numbers = np.asarray(values, dtype=np.float64)
    if when.ndim != 1 or when.shape != numbers.shape:
        message = f"The {name} has times of shape {when.shape} and values of shape {numbers.shape}; expected (n,)."
        raise ShapeError(message)
    if np.isnat(when).any():
        message = f"The {name} has a value without a time, at place {int(np.flatnonzero(np.isnat(when))[0])}."
        raise ReductionError(message, fix="Leave out samples whose time is not known.")
    if rising and (when[1:] <= when[:-1]).any():
        place = int(np.flatnonzero(when[1:] <= when[:-1])[0])
        message = f"The {name} goes from {when[place]} to {when[place + 1]}; expected times that rise."
        raise ReductionError(message, fix="Sort the samples by time and keep one of each time.")
    return when, numbers


def seconds_after(time_utc: Instants, start_utc: np.datetime64) -> Floats:
    """Return how many seconds instants lie after another one.

    Parameters
    ----------
    time_utc : numpy.ndarray of datetime64[us]
        Instants; a missing one gives NaN.
    start_utc : numpy.datetime64
        Where the count starts.

    Returns
    -------
    numpy.ndarray
        Seconds, negative before the start [s].

    Examples
    --------
    >>> import numpy as np
    >>> start = np.datetime64("2024-05-01T10:00", "us")
    >>> seconds_after(np.array(["2024-05-01T10:01:30"], "M8[us]"), start).tolist()
    [90.0]
    """
    away = (time_utc - start_utc).astype("timedelta64[us]")
    return np.where(np.isnat(away), np.nan, away.astype(np.int64) / MICROSECONDS)


def runs_of(holds: ArrayLike) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return the unbroken runs of places at which something holds.

    Parameters
    ----------
    holds : array_like of bool, shape (n,)
        Whether it holds.

    Returns
    -------
    tuple of numpy.ndarray of int64, shape (k,)
        Places of the first of each run, and behind the last.

    Examples
    --------
    >>> [edge.tolist() for edge in runs_of([False, True, True, False, True])]
    [[1, 4], [3, 5]]
    """
    edges = np.flatnonzero(np.diff(np.concatenate([[False], np.asarray(holds, dtype=bool), [False]])))
    return edges[::2].astype(np.int64), edges[1::2].astype(np.int64)
