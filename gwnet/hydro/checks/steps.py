"""How far the levels of a well stepped against its neighbours where something in it changed.

Events are sorted by well and time. Elevations are positive upward. No loop over events.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from gwnet.constants import DAYS_PER_YEAR
from gwnet.hydro.checks.neighbours import LEAST_NEIGHBOURS, Series, series_of
from gwnet.hydro.checks.robust_limits import Around, interval_groups, readings_around
from gwnet.hydro.checks.spreads import Flags, Floats, Places, equally_long, nested_spread

#: A reading of the year before counts when it was taken within this many days of the same date (project default).
YEAR_NEAR_D: Final = 45.0

_NEAR_D: Final = 5.0

#: ... or this share of the time since the last reading (project default).
_NEAR_SHARE: Final = 0.5


#: Both estimates of a step rest on the first level after it: their joint error is larger than that of independent ones
#: by this factor (project default).
_SHARED_ERROR: Final = 1.2

#: Fewest moves into a season needed for what is usual (project default).
_LEAST_OF_SEASON: Final = 5


@dataclass(frozen=True, eq=False)
class Moves:
    """How each level moved against the neighbours; shape (n,) each.

    Attributes
    ----------
    since_last_m : numpy.ndarray
        Change since the last sound reading less the median change of the neighbours, and less what is usual of that
        in the season; NaN where the neighbours were not read [m].
    since_year_m : numpy.ndarray
        The same since a year before [m].
    last_spread_m, year_spread_m : numpy.ndarray
        Robust standard deviations of both in the well's record [m].
    before : numpy.ndarray of int64
        Position of the last sound reading; -1 for none.
    """

    since_last_m: Floats
    since_year_m: Floats
    last_spread_m: Floats
    year_spread_m: Floats
    before: Places


def moves_against_neighbours(
    well: ArrayLike,
    time_d: ArrayLike,
    season: ArrayLike,
    elevation_m: ArrayLike,
    sound: ArrayLike,
    neighbours: Places,
    *,
    least: int | float = 8,
) -> Moves:
    """Return how each level moved against the neighbours, since the last reading and since a year before.

    Parameters as `gwnet.hydro.checks`.

    Parameters
    ----------
    well : array_like of int, shape (n,)
        Well of each event, as its row in `neighbours`; events sorted by well and time.
    season : array_like of int, shape (n,)
        Season of each event.
    sound : array_like of bool, shape (n,)
        Which events may serve as a reference.
    neighbours : numpy.ndarray of int64, shape (w, k)
        Neighbours of each well; -1 for none.
    least : number, optional
        Fewest moves needed for their spread.
    """
    wells, time, seasons, level, serves = equally_long(
        well=well, time_d=time_d, season=season, elevation_m=elevation_m, sound=sound
    )
    wells, time, level = wells.astype(np.int64), time.astype(np.float64), level.astype(np.float64)
    serves = serves.astype(np.bool_) & ~np.isnan(level)
    around: Around = readings_around(wells, serves)
    series = series_of(wells, time, level, serves)
    has = around.before >= 0
    start = np.where(has, time[around.before], np.nan)
    # Over a quarter a neighbour's reading some weeks off says the same; over a week it does not.
    near = np.maximum(_NEAR_D, _NEAR_SHARE * np.nan_to_num(time - start))
    change = np.where(has, level - level[around.before], np.nan)
    last = change - _theirs(series, wells, neighbours, time, start, near)
    # The same date a year before: the season falls out, with no need of knowing it.
    earlier = time - DAYS_PER_YEAR
    own = level - series.at(wells, earlier, np.full(time.shape, YEAR_NEAR_D))
    year = own - _theirs(series, wells, neighbours, time, earlier, np.full(time.shape, YEAR_NEAR_D))
    group = wells[None, :]
    # what the well usually does into this season, otherwise than its neighbours, is no step
    of_season = interval_groups(wells, seasons, time - np.nan_to_num(start))[:1]
    last = last - np.nan_to_num(nested_spread(last, of_season, use=serves, least=_LEAST_OF_SEASON).centre)
    return Moves(
        last,
        year,
        nested_spread(last, group, use=serves, least=least).deviation,
        nested_spread(year, group, use=serves, least=least).deviation,
        around.before,
    )


def _theirs(series: Series, well: Places, neighbours: Places, end: Floats, start: Floats, near: Floats) -> Floats:
    """Return the median change of the neighbours from start to end; NaN where too few were read."""
    changes = np.full((neighbours.shape[1], end.size), np.nan)
    for column in range(neighbours.shape[1]):
        other = neighbours[well, column]
        changes[column] = series.at(other, end, near) - series.at(other, start, near)
    counted = (~np.isnan(changes)).sum(axis=0) >= LEAST_NEIGHBOURS
    medians = np.full(end.shape, np.nan)
    medians[counted] = np.nanmedian(changes[:, counted], axis=0)
    return medians


@dataclass(frozen=True, eq=False)
class Steps:
    """Steps where something changed; shape (c,) each.

    Attributes
    ----------
    step_m : numpy.ndarray
        Step, positive where levels rose; NaN where it is not known [m].
    error_m : numpy.ndarray
        Its robust standard error [m].
    """

    step_m: Floats
    error_m: Floats


def steps_at(row: Places, well: ArrayLike, time_d: ArrayLike, moves: Moves, sound: Flags, what: Places) -> Steps:
    """Return the step of a well's levels at given events.

    Parameters as `gwnet.hydro.checks`.

    Parameters
    ----------
    row : numpy.ndarray of int64, shape (c,)
        First event after each change.
    moves : Moves
        Moves of the events.
    sound : numpy.ndarray of bool, shape (n,)
        Which events count.
    what : numpy.ndarray of int64, shape (n,)
        What changed, for example the tape; only events with the same as the first count with it.

    Returns
    -------
    Steps
        From the first level against the last before, and from the levels of the year after the change, each against
        that of the year before, their median; both weighted by their errors.
    """
    wells, time = np.asarray(well, dtype=np.int64), np.asarray(time_d, dtype=np.float64)
    # Two years added keep a search for a year later within the keys of its well.
    span = float(np.ptp(time)) + 2.0 * DAYS_PER_YEAR if time.size else 1.0
    key = wells * span + (time - time.min(initial=0.0))
    # Until a level of a year before may itself be one after the change.
    ends = np.searchsorted(key, key[row] + DAYS_PER_YEAR - YEAR_NEAR_D)
    step, error = moves.since_last_m[row].copy(), moves.last_spread_m[row].copy()
    for place, (first, end) in enumerate(zip(row.tolist(), ends.tolist(), strict=True)):
        later = np.arange(first, end)
        # Levels after a further change say nothing of this one.
        moved = moves.since_year_m[later][sound[later] & (what[later] == what[first])]
        moved = moved[~np.isnan(moved)]
        if moved.size:
            # levels of one year are not independent of one another: two of them count as one
            of_year = float(moves.year_spread_m[first]) / np.sqrt(max(moved.size / 2.0, 1.0))
            step[place], error[place] = _joined(step[place], error[place], float(np.median(moved)), of_year)
    return Steps(step, error)


def _joined(first_m: float, first_error_m: float, second_m: float, second_error_m: float) -> tuple[float, float]:
    """Return the mean of two estimates weighted by their errors; the one that is known where the other is not."""
    if np.isnan(first_m) or np.isnan(first_error_m):
        return second_m, second_error_m
    if np.isnan(second_error_m):
        return first_m, first_error_m
    # Not 0: the weight of an estimate without error would be infinite.
    weights = np.array([max(first_error_m, 1e-6), max(second_error_m, 1e-6)]) ** -2.0
    step = float(np.average([first_m, second_m], weights=weights))
    return step, _SHARED_ERROR * float(weights.sum() ** -0.5)
