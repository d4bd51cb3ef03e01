"""Limits from a record itself: the readings before and after, and jumps.

Every function takes plain arrays of all events at once and has no loop over events. Events are sorted by well and,
within a well, by time. Elevations are positive upward.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gwnet.hydro.checks.spreads import Flags, Floats, Places, equally_long, following_spread


@dataclass(frozen=True, eq=False)
class Around:
    """Positions of the sound readings of the same well before and after each event; -1 for none.

    Attributes
    ----------
    before, after : numpy.ndarray of int64, shape (n,)
        Positions.
    """

    before: Places
    after: Places


def readings_around(well: ArrayLike, sound: ArrayLike) -> Around:
    """Find the sound reading before and after each event in the same well.

    Parameters
    ----------
    well : array_like of int, shape (n,)
        Well of each event; events sorted by well and time.
    sound : array_like of bool, shape (n,)
        Which events may serve.

    Returns
    -------
    Around
        Positions before and after; the event itself never counts.

    Examples
    --------
    >>> readings_around([7, 7, 7, 8], [True, False, True, True]).before.tolist()
    [-1, 0, 0, -1]
    """
    wells, serves = equally_long(well=well, sound=sound)
    n = wells.size
    place = np.arange(n)
    last = np.maximum.accumulate(np.where(serves, place, -1)) if n else place
    # running maxima and minima of places stand for a loop over events
    following = np.minimum.accumulate(np.where(serves, place, n)[::-1])[::-1] if n else place
    before = np.concatenate([[-1], last[:-1]]) if n else place
    after = np.concatenate([following[1:], [n]]) if n else place
    # the reading before may be of the well before
    before = np.where((before >= 0) & (wells[before] == wells), before, -1)
    inside = np.minimum(after, max(n - 1, 0))
    after = np.where((after < n) & (wells[inside] == wells), after, -1)
    return Around(before.astype(np.int64), after.astype(np.int64))


#: Edges of the classes of intervals [d]: days, weeks, months, quarters, half-years, years (project default).
INTERVAL_EDGES_D: Final = (2.0, 10.0, 45.0, 135.0, 270.0, 550.0)


@dataclass(frozen=True, eq=False)
class Jumps:
    """Change since the last sound reading against the well's own changes; shape (n,) each.

    Attributes
    ----------
    change_m : numpy.ndarray
        Elevation less that of the last sound reading; NaN for none [m].
    lower_m, upper_m : numpy.ndarray
        Limits of the change; NaN where there are too few changes [m].
    before : numpy.ndarray of int64
        Position of the last sound reading, -1 for none.
    count : numpy.ndarray of int64
        Changes that the limits rest on.
    jump : numpy.ndarray of bool
        Whether the change lies beyond its limits.
    """

    change_m: Floats
    lower_m: Floats
    upper_m: Floats
    before: Places
    count: Places
    jump: Flags


def jumps(
    well: ArrayLike,
    time_d: ArrayLike,
    season: ArrayLike,
    elevation_m: ArrayLike,
    sound: ArrayLike,
    *,
    spreads: float = 6.0,
    least: int | float = 8,
    floor_m: ArrayLike = 0.03,
) -> Jumps:
    """Compare each change since the last reading with the changes that the well usually makes.

    Parameters as `gwnet.hydro.checks`.

    Parameters
    ----------
    season : array_like of int, shape (n,)
        Season of each event, for example the quarter of the year.
    sound : array_like of bool, shape (n,)
        Which events may serve as the last reading and in the history.
    spreads : float, optional
        Half-width of the limits in robust standard deviations.
    least : number, optional
        Fewest changes needed for what is usual; half as many again where they are of one season.
    floor_m : array_like, optional
        Least half-width of the limits [m].

    Returns
    -------
    Jumps
        Changes and limits.

    Notes
    -----
    Limits are the median of the well's changes plus and minus `spreads` times their spread (`following_spread`), taken
    over changes near in time, of about the same interval and into the same season; where they are fewer than `least`,
    over those of about the same interval.
    A return to the level before a jump is no jump: where an event follows one, it is held against the reading before
    that.
    """
    wells, time, seasons, level, serves = equally_long(
        well=well, time_d=time_d, season=season, elevation_m=elevation_m, sound=sound
    )
    serves = serves.astype(np.bool_) & ~np.isnan(level)
    around = readings_around(wells, serves)
    # twice: an outlier makes a jump away and one back, and only the first is its own
    changes = _changes(wells, time, seasons, level, serves, around.before, spreads, least, floor_m)
    # past the jumps, so that the return is held against the last sound level
    again = readings_around(wells, serves & ~changes.jump).before
    second = _changes(wells, time, seasons, level, serves & ~changes.jump, again, spreads, least, floor_m)
    # where too few changes take as long, those of the shorter interval are the stricter limits
    lower = np.where(np.isnan(second.lower_m), changes.lower_m, second.lower_m)
    upper = np.where(np.isnan(second.upper_m), changes.upper_m, second.upper_m)
    returned = (again >= 0) & (second.change_m >= lower) & (second.change_m <= upper)
    after_jump = changes.jump & (around.before >= 0) & changes.jump[around.before] & returned
    keep = changes.jump & ~after_jump
    return Jumps(changes.change_m, changes.lower_m, changes.upper_m, around.before, changes.count, keep)


def _changes(
    well: NDArray[Any],
    time: Floats,
    season: NDArray[Any],
    level: Floats,
    serves: Flags,
    before: Places,
    spreads: float,
    least: float,
    floor_m: ArrayLike,
) -> Jumps:
    has = before >= 0
    change = np.where(has, level - level[before], np.nan)
    interval = np.where(has, time - time[before], np.nan)
    groups = interval_groups(well, season, interval)
    usual = following_spread(change, groups, use=serves, least=[1.5 * least, least])
    # A quiet well's changes of a few millimetres would give limits within the reading of a tape.
    half = np.maximum(spreads * usual.deviation, floor_m)
    lower, upper = usual.centre - half, usual.centre + half
    return Jumps(change, lower, upper, before, usual.count, (change < lower) | (change > upper))


def interval_groups(well: NDArray[Any], season: NDArray[Any], interval_d: Floats) -> Places:
    """Return groups of changes: by well, interval and season; by well and interval.

    Parameters
    ----------
    well, season : numpy.ndarray of int, shape (n,)
        Well and season of each change.
    interval_d : numpy.ndarray, shape (n,)
        Time that each change took [d].

    Returns
    -------
    numpy.ndarray of int64, shape (2, n)
        Groups for `nested_spread`, the narrower first.
    """
    # Without a reading before there is no interval; such a change is NaN and its class does not matter.
    classes = np.searchsorted(INTERVAL_EDGES_D, np.nan_to_num(interval_d))
    # a change over a year is larger than one over a week
    wide = well.astype(np.int64) * (len(INTERVAL_EDGES_D) + 1) + classes
    seasons = int(season.max(initial=0)) + 1
    return np.stack([wide * seasons + season, wide])
