"""Limits from a record itself: robust centres and spreads by group, the readings before and after, jumps and bands.

Every function takes plain arrays of all events at once and has no loop over events. Events are sorted by well and,
within a well, by time. Elevations are positive upward.
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


def _medians(values: Floats, code: NDArray[np.intp], groups: int) -> Floats:
    """Return the median of each group, NaN for an empty one."""
    # sorted once for all groups, instead of a median of each
    order = np.lexsort((values, code))
    ordered = values[order]
    count = np.bincount(code, minlength=groups)
    first = np.concatenate([[0], np.cumsum(count)[:-1]])
    filled = count > 0
    low = np.where(filled, first + (count - 1) // 2, 0)
    high = np.where(filled, first + count // 2, 0)
    medians = np.full(groups, np.nan)
    if ordered.size:
        medians[filled] = 0.5 * (ordered[low[filled]] + ordered[high[filled]])
    return medians


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
    """
    x = np.asarray(values, dtype=np.float64)
    nested = GroupSpread(np.full(x.shape, np.nan), np.full(x.shape, np.nan), np.zeros(x.shape, dtype=np.int64))
    open_yet = np.ones(x.shape, dtype=np.bool_)
    levels = np.asarray(groups)
    for group, fewest in zip(levels, np.broadcast_to(np.asarray(least), levels.shape[:1]), strict=True):
        spread = group_spread(x, group, use=use)
        # the narrowest group says most, if it holds enough values
        here = open_yet & (spread.count >= fewest)
        nested.centre[here], nested.deviation[here], nested.count[here] = (
            spread.centre[here],
            spread.deviation[here],
            spread.count[here],
        )
        open_yet &= ~here
    return nested


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
    Limits are the median of the well's changes plus and minus `spreads` times 1.4826 MAD, taken over changes of about
    the same interval into the same season; where they are fewer than `least`, over those of about the same interval.
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
    # a group by season must be larger to be preferred: it has fewer readings of the same state
    usual = nested_spread(change, groups, use=serves, least=[1.5 * least, least])
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
    classes = np.searchsorted(INTERVAL_EDGES_D, np.nan_to_num(interval_d))
    # a change over a year is larger than one over a week
    wide = well.astype(np.int64) * (len(INTERVAL_EDGES_D) + 1) + classes
    seasons = int(season.max(initial=0)) + 1
    return np.stack([wide * seasons + season, wide])


@dataclass(frozen=True, eq=False)
class Band:
    """Limits of the record for each event; shape (n,) each.

    Attributes
    ----------
    lower_m, upper_m : numpy.ndarray
        Limits of the water elevation; NaN where the record is too short [m].
    count : numpy.ndarray of int64
        Readings that the limits rest on.
    outside : numpy.ndarray of bool
        Whether the event lies outside its limits, and the sound reading before it did not on the same side.
    """

    lower_m: Floats
    upper_m: Floats
    count: Places
    outside: Flags


def season_band(
    well: ArrayLike,
    season: ArrayLike,
    elevation_m: ArrayLike,
    sound: ArrayLike,
    *,
    spreads: float = 5.0,
    least: int | float = 8,
    floor_m: ArrayLike = 0.03,
) -> Band:
    """Compare each level with the well's record in the same season.

    Parameters
    ----------
    well, season : array_like of int, shape (n,)
        Well and season of each event; events sorted by well and time.
    elevation_m : array_like, shape (n,)
        Water elevation, positive upward; NaN where there is none [m].
    sound : array_like of bool, shape (n,)
        Which events the record is taken of.
    spreads : float, optional
        Half-width of the limits in robust standard deviations.
    least : number, optional
        Fewest readings of a season needed for its limits.
    floor_m : array_like, optional
        Least half-width of the limits [m].

    Returns
    -------
    Band
        Limits: median plus and minus `spreads` times 1.4826 MAD of the season. An interval outside them is reported
        with its first level.

    Examples
    --------
    >>> levels = [10.0, 10.1, 9.9, 10.2, 9.8, 10.0, 10.1, 9.9, 14.0]
    >>> season_band([1] * 9, [0] * 9, levels, [True] * 9).outside.tolist()[-1]
    True
    """
    wells, seasons, level, serves = equally_long(well=well, season=season, elevation_m=elevation_m, sound=sound)
    group = wells.astype(np.int64) * (int(seasons.max(initial=0)) + 1) + seasons
    usual = nested_spread(level, group[None, :], use=serves, least=least)
    half = np.maximum(spreads * usual.deviation, floor_m)
    lower, upper = usual.centre - half, usual.centre + half
    side = (level > upper).astype(np.int64) - (level < lower).astype(np.int64)
    before = readings_around(wells, serves.astype(np.bool_) & ~np.isnan(level)).before
    # a long drought is one finding, at its first level
    goes_on = (before >= 0) & (side[before] == side)
    return Band(lower, upper, usual.count, (side != 0) & ~goes_on)
