"""What a well's other readings and its neighbours suggest for each reading.

Events are sorted by well and, within a well, by time. Elevations are positive upward. No loop over events.

A level is looked at again with those that do not fit set aside, the worse of two neighbours first, so that one wrong
level does not make others look wrong.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import KDTree

from gwnet.hydro.checks.isolation import restlessness, stand_alone
from gwnet.hydro.checks.robust_limits import INTERVAL_EDGES_D, Around, interval_groups, readings_around
from gwnet.hydro.checks.spreads import Flags, Floats, Places, equally_long, following_spread, nested_spread

#: Neighbours of a well that may be asked (project default).
NEIGHBOURS: Final = 24

#: ... of which these, the nearest, are asked first, and show whether a movement is shared (project default).
NEAREST: Final = 8

#: ... and so many of all that were read where fewer than three of those were (project default).
_TAKEN: Final = 5

#: Fewer neighbours than this tell nothing (project default).
LEAST_NEIGHBOURS: Final = 3

#: A neighbour's reading counts for a time when it was taken within this many days, or this share of the interval.
NEAR_D: Final = 3.0
NEAR_SHARE: Final = 0.15


#: Misfits beyond this many robust standard deviations are cut before wells are compared (project default).
_OUTLYING: Final = 3.0

#: A neighbour is off as well beyond this many robust standard deviations (project default).
_OFF_AS_WELL: Final = 3.0

#: ... and by at least this share of what the well itself is off (project default).
_SHARED_PART: Final = 0.3

#: Readings farther away than this are not around a level [d] (project default).
_MOST_AWAY_D: Final = 1096.0

#: Least standard deviation of a residual [m] (project default).
_LEAST_DEVIATION_M: Final = 0.01

#: Neighbours show what a level did by itself where they leave less than this share of the spread (project default).
_EXPLAINED_SHARE: Final = 0.3

#: How often neighbours are fitted; levels that do not fit are set aside in between.
_FITS: Final = 3

#: A well moves at most this many times as much as its neighbours (project default).
_MOST_RESPONSE: Final = 3.0


def nearest_wells(group: ArrayLike, x: ArrayLike, y: ArrayLike, most: int = NEIGHBOURS) -> Places:
    """Return the nearest wells of each well within its group.

    Parameters
    ----------
    group : array_like of int, shape (w,)
        Aquifer of each well; negative for none.
    x, y : array_like, shape (w,)
        Easting and northing [m]; NaN where not known.
    most : int, optional
        Most neighbours of a well.

    Returns
    -------
    numpy.ndarray of int64, shape (w, most)
        Positions of the neighbours, nearest first; -1 where there are fewer.
    """
    groups, xs, ys = equally_long(group=group, x=x, y=y)
    nearest = np.full((groups.size, most), -1, dtype=np.int64)
    # A well without an aquifer or a place has no neighbours: any would be a guess.
    placed = np.isfinite(xs.astype(np.float64)) & np.isfinite(ys.astype(np.float64)) & (groups >= 0)
    for aquifer in np.unique(groups[placed]):
        members = np.flatnonzero(placed & (groups == aquifer))
        if members.size < 2:
            continue
        points = np.column_stack([xs[members], ys[members]]).astype(np.float64)
        # one more, since each well finds itself
        near = np.asarray(KDTree(points).query(points, k=min(most + 1, members.size))[1])
        for row, own in enumerate(members):
            # of wells at one place a well need not find itself first
            others = members[near[row][near[row] != row]][:most]
            nearest[own, : others.size] = others
    return nearest


@dataclass(frozen=True, eq=False)
class Series:
    """Sound levels of all wells, ready to be asked for the level of a well at a time.

    Attributes
    ----------
    key : numpy.ndarray
        Well and time in one sortable number.
    well : numpy.ndarray of int64
        Well of each level.
    time_d, level_m : numpy.ndarray
        Time [d] and water elevation [m].
    span : float
        Difference of keys from one well to the next.
    start_d : float
        Time at which keys begin [d].
    """

    key: Floats
    well: Places
    time_d: Floats
    level_m: Floats
    span: float
    start_d: float

    def at(self, well: Places, time_d: Floats, near_d: Floats) -> Floats:
        """Return the level of wells at times.

        Parameters
        ----------
        well : numpy.ndarray of int64, shape (m,)
            Wells asked for; negative for none.
        time_d : numpy.ndarray, shape (m,)
            Times [d].
        near_d : numpy.ndarray, shape (m,)
            How near a reading must be [d].

        Returns
        -------
        numpy.ndarray, shape (m,)
            Levels, linear between readings; NaN where none is near [m].
        """
        if self.key.size == 0:
            return np.full(time_d.shape, np.nan)
        # one key of well and time, so that one search serves all wells; a time beyond the record stays beside its well
        wanted = well * self.span + np.clip(time_d - self.start_d, -1.0, self.span - 1.0)
        right = np.searchsorted(self.key, np.nan_to_num(wanted, nan=-1.0), side="left")
        last = self.key.size - 1
        has_left, has_right = right > 0, right <= last
        # Past either end the place is clipped, and the flags before tell that it does not count.
        left, right = np.clip(right - 1, 0, last), np.clip(right, 0, last)
        # the place before may be the last of another well
        has_left, has_right = has_left & (self.well[left] == well), has_right & (self.well[right] == well)
        to_left = np.where(has_left, time_d - self.time_d[left], np.inf)
        to_right = np.where(has_right, self.time_d[right] - time_d, np.inf)
        with np.errstate(invalid="ignore", divide="ignore"):
            # 1e-9: a reading at the very moment has no distance to either side.
            share = np.where(has_left & has_right, to_left / np.maximum(to_left + to_right, 1e-9), has_right * 1.0)
        # a neighbour that does not count must not bring in its NaN
        level = np.where(share < 1.0, (1.0 - share) * self.level_m[left], 0.0)
        level = level + np.where(share > 0.0, share * self.level_m[right], 0.0)
        # One reading near by suffices: between two that are months away a straight line shows nothing.
        near = np.minimum(np.abs(to_left), np.abs(to_right)) <= near_d
        return np.where(near & (well >= 0), level, np.nan)


def series_of(well: Places, time_d: Floats, level_m: Floats, sound: Flags) -> Series:
    """Return the sound levels in a form that can be asked for a well and time.

    Parameters
    ----------
    well : numpy.ndarray of int64, shape (n,)
        Well of each event; events sorted by well and time.
    time_d, level_m : numpy.ndarray, shape (n,)
        Time [d] and water elevation [m].
    sound : numpy.ndarray of bool, shape (n,)
        Which levels are taken.
    """
    start = float(np.min(time_d, initial=0.0)) if time_d.size else 0.0
    # two days more keep the keys of one well apart from those of the next
    span = (float(np.max(time_d)) - start if time_d.size else 0.0) + 2.0
    w, t = well[sound], time_d[sound]
    return Series(w * span + (t - start), w, t, level_m[sound], span, start)


@dataclass(frozen=True, eq=False)
class Fit:
    """How each level fits what is around it; shape (n,) each.

    Attributes
    ----------
    residual_m : numpy.ndarray
        Level less what the readings before and after it and the neighbours suggest; NaN where nothing does [m].
    spread_m : numpy.ndarray
        Robust standard deviation of that residual [m]; NaN where there are too few.
    by_neighbours : numpy.ndarray of bool
        Whether neighbours had a say.
    own_residual_m, own_spread_m : numpy.ndarray
        The same from the well's own readings alone [m].
    between : numpy.ndarray of bool
        Whether there are sound readings of the well before and after.
    is_first : numpy.ndarray of bool
        Whether there is none before.
    is_alone : numpy.ndarray of bool
        Whether it stands alone, as `stand_alone` says: less what neighbours did where that explains most of what the
        well does, else in its own record.
    shared : numpy.ndarray of int64
        Neighbours that were read at the time and are off to the same side themselves.
    sound : numpy.ndarray of bool
        Levels that took part in the estimates.
    """

    residual_m: Floats
    spread_m: Floats
    by_neighbours: Flags
    own_residual_m: Floats
    own_spread_m: Floats
    between: Flags
    is_first: Flags
    is_alone: Flags
    shared: Places
    sound: Flags


def fit_around(
    well: ArrayLike,
    time_d: ArrayLike,
    season: ArrayLike,
    elevation_m: ArrayLike,
    sound: ArrayLike,
    neighbours: Places,
    *,
    spreads: float = 3.5,
    least: int | float = 8,
) -> Fit:
    """Hold each level against the readings before and after it, moved by what the neighbours did meanwhile.

    Parameters as `gwnet.hydro.checks`.

    Parameters
    ----------
    well : array_like of int, shape (n,)
        Well of each event, as its row in `neighbours`; events sorted by well and time.
    season : array_like of int, shape (n,)
        Season of each event.
    sound : array_like of bool, shape (n,)
        Which events may serve others as a reference.
    neighbours : numpy.ndarray of int64, shape (w, k)
        Neighbours of each well, as `nearest_wells` gives them.
    spreads : float, optional
        A level farther off than this many robust standard deviations serves no other level.
    least : number, optional
        Fewest residuals needed for their spread.

    Returns
    -------
    Fit
        Residuals and spreads.

    Notes
    -----
    Own estimate: linear between the sound readings before and after; at an end of the record, the last one, and the
    residual is held against the changes that the well usually makes in such a time.
    Neighbours: the median, over those that were read at about the same times, of what the same estimate misses in
    them. It is taken off where this makes the well's residuals smaller (median absolute). Of two neighbouring levels
    that do not fit, only the worse is set aside in one pass, as one wrong level spoils the estimates beside it.
    """
    wells, time, seasons, level, serves = equally_long(
        well=well, time_d=time_d, season=season, elevation_m=elevation_m, sound=sound
    )
    time, level = time.astype(np.float64), level.astype(np.float64)
    serves = serves.astype(np.bool_) & ~np.isnan(level)
    # The newest reading has none after it; held only against the one before, it needs a wider measure of its own.
    since = _since_last(wells, time, seasons, level, serves, neighbours, least)
    fit = _fitted(wells, time, seasons, level, serves, neighbours, since, least)
    for _ in range(_FITS - 1):
        # one wrong level makes those beside it look wrong: only the worst of neighbours is set aside at a time
        off = np.nan_to_num(np.abs(fit.residual_m) / fit.spread_m)
        around = readings_around(wells, ~np.isnan(fit.residual_m))
        beside = np.maximum(_taken(off, around.before), _taken(off, around.after))
        aside = serves & (off > spreads) & (off >= beside)
        # what was set aside before comes back only where it fits now
        kept = (serves & ~aside) & (fit.sound | ~(off > spreads))
        # nothing changes any more
        if np.array_equal(kept, fit.sound):
            break
        fit = _fitted(wells, time, seasons, level, kept, neighbours, since, least)
    return replace(
        fit,
        # A quiet record gives limits so narrow that a restless month breaks them; what is usual there widens them.
        spread_m=np.fmax(fit.spread_m, restlessness(wells, fit.residual_m, fit.sound)),
        is_alone=_alone(wells, seasons, fit, least),
        # Only the nearest: far wells move together by weather, which would excuse any level.
        shared=_shared(wells, time, fit, neighbours[:, :NEAREST]),
    )


def _alone(well: NDArray[np.int64], season: NDArray[Any], fit: Fit, least: float) -> Flags:
    """Return which levels stand alone: less what neighbours did where that explains most, else in their own record."""
    own = stand_alone(well, season, fit.own_residual_m, fit.sound, least)
    moved = stand_alone(well, season, fit.residual_m, fit.sound, least)
    is_explained = fit.by_neighbours & (fit.spread_m < _EXPLAINED_SHARE * fit.own_spread_m)
    return np.where(is_explained, moved, own)


def _shared(well: NDArray[np.int64], time: Floats, fit: Fit, neighbours: Places) -> Places:
    """Count the nearest neighbours read within days that are off to the same side, and not by much less."""
    known = ~np.isnan(fit.residual_m)
    residuals = series_of(well, time, fit.residual_m, known)
    # At their own time, since a neighbour's spread is that of its own season and interval.
    spreads = series_of(well, time, fit.spread_m, known)
    near = np.full(time.shape, NEAR_D)
    count = np.zeros(time.shape, dtype=np.int64)
    for column in range(neighbours.shape[1]):
        other = neighbours[well, column]
        # To the same side only: a neighbour that is off the other way explains nothing.
        theirs = np.nan_to_num(residuals.at(other, time, near) * np.sign(fit.residual_m))
        off = np.maximum(_OFF_AS_WELL * spreads.at(other, time, near), _SHARED_PART * np.abs(fit.residual_m))
        count += theirs > off
    return count


def _taken(values: Floats, place: Places) -> Floats:
    return np.where(place >= 0, values[place], 0.0)


@dataclass(frozen=True, eq=False)
class _Since:
    """What levels usually do since the last reading: centre and spread, alone and less the neighbours' move."""

    own_centre: Floats
    own_spread: Floats
    moved_centre: Floats
    moved_spread: Floats


def _since_last(
    well: NDArray[Any],
    time: Floats,
    season: NDArray[Any],
    level: Floats,
    sound: Flags,
    neighbours: Places,
    least: float,
) -> _Since:
    """Return the usual change since the last reading at each event, against which a newest reading is held."""
    around = readings_around(well, sound)
    # Without the reading after, so that the newest level of a record is judged by like changes.
    before_only = Around(around.before, np.full(time.shape, -1, dtype=np.int64))
    weights = _weights(time, before_only)
    interval = _interval(time, before_only)
    own = level - _estimate(level, before_only, weights)
    usable = sound & ~np.isnan(own)
    missed = _missed_by_neighbours(well, time, level, sound, neighbours, before_only, weights, interval)
    moved = own - missed * _response(well, own, missed, usable)
    groups = np.concatenate([interval_groups(well, season, interval), well[None, :].astype(np.int64)])
    # The narrowest group, of one season, must have half as many again, or chance sets its limits.
    fewest = [1.5 * least, least, least]
    alone = following_spread(own, groups, use=usable, least=fewest)
    beside = following_spread(moved, groups, use=usable, least=fewest)
    return _Since(alone.centre, alone.deviation, beside.centre, beside.deviation)


def _near_readings(time: Floats, around: Around) -> Around:
    """Return the readings before and after that are not years away: those say nothing of a level."""
    before = np.where(time - time[around.before] <= _MOST_AWAY_D, around.before, -1)
    after = np.where(time[around.after] - time <= _MOST_AWAY_D, around.after, -1)
    return Around(before, after)


def _fitted(
    well: NDArray[Any],
    time: Floats,
    season: NDArray[Any],
    level: Floats,
    sound: Flags,
    neighbours: Places,
    since: _Since,
    least: float,
) -> Fit:
    around = _near_readings(time, readings_around(well, sound))
    weights = _weights(time, around)
    own = level - _estimate(level, around, weights)
    interval = _interval(time, around)
    between = (around.before >= 0) & (around.after >= 0)
    # where one side alone is known, what the well usually does since a reading is the measure
    one_side = np.where(around.before >= 0, 1.0, -1.0)
    own = np.where(between, own, own - one_side * np.nan_to_num(since.own_centre))
    # Readings with one side known miss more than those between two, so each kind has its own spread.
    groups = np.stack([interval_groups(well, season, interval)[1] * 2 + between, _unsure(well, between)])
    usable = sound & ~np.isnan(own)
    of_all = between.astype(np.int64)[None, :]

    def usual(values: Floats, since_spread: Floats) -> Floats:
        spread = following_spread(values, groups, use=usable, least=least).deviation
        spread = np.where(between, spread, since_spread)
        # A well with too few readings of its own gets the spread of all wells rather than no limits.
        return np.where(np.isnan(spread), nested_spread(values, of_all, use=usable, least=least).deviation, spread)

    own_spread = usual(own, since.own_spread)
    missed = _missed_by_neighbours(well, time, level, sound, neighbours, around, weights, interval)
    # a well far from the river moves less than its neighbours beside it
    missed = missed * _response(well, own, missed, usable)
    moved = level - _estimate(level, around, weights) - missed
    moved = np.where(between, moved, moved - one_side * np.nan_to_num(since.moved_centre))
    moved_spread = usual(moved, since.moved_spread)
    # Neighbours that make the misfit larger, as across a fault or a river, are not used.
    better = ~np.isnan(missed) & (np.nan_to_num(moved_spread, nan=np.inf) < np.nan_to_num(own_spread, nan=np.inf))
    return Fit(
        np.where(better, moved, own),
        # A record of equal readings has no spread at all, and any later millimetre would be off.
        np.maximum(np.where(better, moved_spread, own_spread), _LEAST_DEVIATION_M),
        better,
        own,
        np.maximum(own_spread, _LEAST_DEVIATION_M),
        between,
        around.before < 0,
        np.zeros(time.shape, dtype=np.bool_),
        np.zeros(time.shape, dtype=np.int64),
        sound,
    )


def _response(well: NDArray[np.int64], own: Floats, missed: Floats, use: Flags) -> Floats:
    """Return how strongly each well moves when its neighbours do: least squares through the origin, outliers cut."""
    both = use & ~np.isnan(own) & ~np.isnan(missed)
    deviation = nested_spread(own, well[None, :], use=both, least=1).deviation
    # a quiet well has no deviation
    limit = np.maximum(np.nan_to_num(_OUTLYING * deviation), 1e-6)
    x, y = np.where(both, missed, 0.0), np.where(both, np.clip(np.nan_to_num(own), -limit, limit), 0.0)
    # A gross error among the neighbours would otherwise set the slope by itself.
    x = np.where(np.abs(x) > limit * _MOST_RESPONSE, 0.0, x)
    wells = int(well.max(initial=0)) + 1
    square = np.bincount(well, weights=x * x, minlength=wells)
    product = np.bincount(well, weights=x * y, minlength=wells)
    # without a common movement the neighbours' is taken as it is
    slope = np.divide(product, square, out=np.ones(wells), where=square > 0)
    # Not below 0: a well that falls when others rise is not corrected by them, but left alone.
    return np.asarray(np.clip(slope, 0.0, _MOST_RESPONSE)[well])


def _unsure(well: NDArray[Any], both: Flags) -> Places:
    return np.asarray(well.astype(np.int64) * 2 + both, dtype=np.int64)


def _weights(time: Floats, around: Around) -> Floats:
    """Return the weight of the reading after each event; 0 where only the one before is there, NaN for none."""
    has_before, has_after = around.before >= 0, around.after >= 0
    start, end = time[around.before], time[around.after]
    with np.errstate(invalid="ignore", divide="ignore"):
        # two readings at one moment count alike
        share = np.where(end > start, (time - start) / (end - start), 0.5)
    one_sided = np.where(has_before, 0.0, np.where(has_after, 1.0, np.nan))
    return np.where(has_before & has_after, share, one_sided)


def _estimate(level: Floats, around: Around, weight: Floats) -> Floats:
    before = np.where(weight < 1.0, level[around.before], 0.0)
    after = np.where(weight > 0.0, level[around.after], 0.0)
    return (1.0 - weight) * before + weight * after


def _interval(time: Floats, around: Around) -> Floats:
    """Return the time to the nearer reading, before or after [d]."""
    back = np.where(around.before >= 0, time - time[around.before], np.inf)
    ahead = np.where(around.after >= 0, time[around.after] - time, np.inf)
    nearer = np.minimum(back, ahead)
    # Nothing on either side: the longest class of intervals, as nothing is known of it.
    return np.where(np.isfinite(nearer), nearer, max(INTERVAL_EDGES_D) * 2)


def _missed_by_neighbours(
    well: NDArray[Any],
    time: Floats,
    level: Floats,
    sound: Flags,
    neighbours: Places,
    around: Around,
    weight: Floats,
    interval: Floats,
) -> Floats:
    """Return what the estimate misses in the neighbours: their median, NaN where too few were read."""
    series = series_of(well.astype(np.int64), time, level, sound)
    # over a quarter, a reading some days off says the same
    near = np.maximum(NEAR_D, NEAR_SHARE * interval)
    missed = np.full((neighbours.shape[1], time.size), np.nan)
    before, after = time[around.before], time[around.after]
    for column in range(neighbours.shape[1]):
        other = neighbours[well, column]
        here = series.at(other, time, near)
        first = np.where(weight < 1.0, series.at(other, before, near), 0.0)
        second = np.where(weight > 0.0, series.at(other, after, near), 0.0)
        missed[column] = here - (1.0 - weight) * first - weight * second
    # farther wells move otherwise: they are taken only where too few near ones were read, and no more than needed
    is_read = ~np.isnan(missed)
    enough = is_read[:NEAREST].sum(axis=0) >= LEAST_NEIGHBOURS
    # Neighbours are in the order of distance, so the cut below keeps the nearest that were read.
    missed[NEAREST:, enough] = np.nan
    missed[(np.cumsum(is_read, axis=0) > _TAKEN) & ~enough] = np.nan
    counted = (~np.isnan(missed)).sum(axis=0) >= LEAST_NEIGHBOURS
    errors = np.full(time.shape, np.nan)
    # The median, because one of the neighbours may have the fault.
    errors[counted] = np.nanmedian(missed[:, counted], axis=0)
    return errors
