"""How restless a well is about each level, and which levels stand alone among those beside them.

Events are sorted by well and, within a well, by time. No loop over events.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gwnet.constants import MAD_TO_SD
from gwnet.hydro.checks.spreads import Flags, Floats, nested_spread

#: Levels on either side of a level that show how restless the time is (project default).
BESIDE: Final = 3

#: Part of their spread that counts: a median of six is uncertain itself (project default).
_RESTLESS_PART: Final = 0.6

#: A level stands alone when it is off by more than so many times as much as any level beside it (project default).
_ALONE_FACTOR: Final = 2.5

#: ... and by more than this many robust standard deviations of what its well does in its season (project default).
_SEASON_SPREADS: Final = 3.0


def sizes_beside(well: NDArray[np.int64], residual_m: Floats, sound: Flags) -> Floats:
    """Return by how much the three sound levels on either side of each level are off.

    Parameters
    ----------
    well : numpy.ndarray of int64, shape (n,)
        Well of each event.
    residual_m : numpy.ndarray, shape (n,)
        Level less what is expected; NaN for none [m].
    sound : numpy.ndarray of bool, shape (n,)
        Which levels are taken; the level itself never is.

    Returns
    -------
    numpy.ndarray, shape (6, n)
        Absolute residuals; NaN where there is no such level in the well [m].
    """
    taken = sound & ~np.isnan(residual_m)
    places = np.flatnonzero(taken)
    place = np.searchsorted(places, np.arange(well.size))
    beside = np.full((BESIDE * 2, well.size), np.nan)
    for column, step in enumerate([*range(-BESIDE, 0), *range(BESIDE)]):
        # A level that serves stands in the list itself and must be skipped when those after it are picked.
        at = place + step + (taken if step >= 0 else 0)
        inside = (at >= 0) & (at < places.size)
        # Clipped so that the lookup stays in the list; what lay outside is not counted.
        other = places[np.clip(at, 0, max(places.size - 1, 0))] if places.size else np.zeros_like(at)
        same = inside & (well[other] == well)
        beside[column, same] = np.abs(residual_m[other[same]])
    return beside


def restlessness(well: NDArray[np.int64], residual_m: Floats, sound: Flags) -> Floats:
    """Return the least robust standard deviation that the sound levels beside each level allow.

    Parameters as `gwnet.hydro.checks.isolation.sizes_beside`.

    Returns
    -------
    numpy.ndarray, shape (n,)
        NaN where fewer than three levels are beside [m].
    """
    beside = np.sort(sizes_beside(well, residual_m, sound), axis=0)
    count = (~np.isnan(beside)).sum(axis=0)
    # Median by hand from sorted columns: nanmedian warns where a level has nothing beside it.
    low, high = np.maximum(count - 1, 0) // 2, count // 2
    columns = np.arange(well.size)
    median = 0.5 * (beside[low, columns] + beside[high, columns])
    return np.where(count >= BESIDE, _RESTLESS_PART * MAD_TO_SD * median, np.nan)


def stand_alone(
    well: NDArray[np.int64],
    season: NDArray[Any],
    residual_m: Floats,
    sound: Flags,
    least: float,
) -> Flags:
    """Return which levels stand alone: far off among the levels beside them, and not as each year in their season.

    Parameters
    ----------
    well : numpy.ndarray of int64, shape (n,)
        Well of each event.
    season : numpy.ndarray of int, shape (n,)
        Season of each event.
    residual_m : numpy.ndarray, shape (n,)
        Level less what is expected; NaN for none [m].
    sound : numpy.ndarray of bool, shape (n,)
        Which levels are taken; the level itself never is.
    least : number
        Fewest levels of a well in a season that show what is usual in it.

    Returns
    -------
    numpy.ndarray of bool, shape (n,)
        Where there is no level beside, or too few of a season, that says nothing against a level.
    """
    size = np.abs(residual_m)
    largest = np.max(np.nan_to_num(sizes_beside(well, residual_m, sound)), axis=0, initial=0.0)
    seasons = int(season.max(initial=0)) + 1
    usual = nested_spread(residual_m, (well * seasons + season)[None, :], use=sound, least=least)
    # A well that drops each summer is far off its neighbours every summer, and that is no fault.
    as_each_year = np.abs(residual_m - usual.centre) <= _SEASON_SPREADS * usual.deviation
    return np.asarray((size > _ALONE_FACTOR * largest) & ~as_each_year)
