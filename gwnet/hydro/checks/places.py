"""Wells that stand apart from their neighbours in every round, and steps where something in a well changed.

Elevations are positive upward. The loops are over passes, never over events.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import KDTree

from gwnet.constants import MAD_TO_SD
from gwnet.hydro.checks.spreads import Flags, Floats, Places, equally_long

#: Fewer wells than this are not held against one another (project default).
LEAST_WELLS: Final = 6

_NEIGHBOURS = 6
#: Wells nearer to one another than this are of one place [m] (project default).
_ONE_PLACE_M = 2.0
#: Most sweeps over the wells, triples of wells that are looked at, and passes (project defaults: they bound the time).
_SWEEPS = 12
_MOST_TRIPLES = 2000
_MOST_PASSES = 60
#: Standard errors beyond which a well counts less in a common shift: Huber's 1.5 (from memory).
_HUBER = 1.5
#: Least standard error of the shift of a well [m]: the resolution of a tape (project default).
_LEAST_ERROR_M = 0.003
#: Root of t^4 = t + 1, for evenly spread triples.
_SPREAD = 1.2207440846057596


@dataclass(frozen=True, eq=False)
class Typical:
    """Typical level of each well, the rise and fall of all taken off; shape (w,) each.

    Attributes
    ----------
    level_m : numpy.ndarray
        Typical water elevation [m]; NaN for a well without levels.
    spread_m : numpy.ndarray
        Robust standard deviation about it [m].
    periods : numpy.ndarray of int64
        Periods in which the well was read.
    """

    level_m: Floats
    spread_m: Floats
    periods: Places


def typical_levels(well: ArrayLike, period: ArrayLike, elevation_m: ArrayLike, wells: int) -> Typical:
    """Return the typical level of each well on a common footing.

    Parameters
    ----------
    well : array_like of int, shape (n,)
        Well of each level, from 0.
    period : array_like of int, shape (n,)
        Period of each level, for example the quarter of the year counted from some start.
    elevation_m : array_like, shape (n,)
        Water elevation, positive upward [m].
    wells : int
        Number of wells.

    Notes
    -----
    Median of each well and period; then the median polish of Tukey (1977), Exploratory Data Analysis (from memory):
    level = well + period + rest, wells and periods in turn set to the median of what the other leaves.
    """
    of, when, level = equally_long(well=well, period=period, elevation_m=elevation_m)
    number, column = np.unique(when, return_inverse=True)
    cells = _cell_medians(of.astype(np.int64), column, level.astype(np.float64), wells, number.size)
    moves = np.zeros(number.size)
    typical = _row_medians(cells)
    # rounds and wells in turn (median polish), since no round has all wells
    for _ in range(_SWEEPS):
        # a round without a reading moves nothing
        moves = np.nan_to_num(_row_medians((cells - typical[:, None]).T))
        typical = _row_medians(cells - moves[None, :])
    rest = cells - moves[None, :] - typical[:, None]
    return Typical(typical, MAD_TO_SD * _row_medians(np.abs(rest)), np.isfinite(cells).sum(axis=1).astype(np.int64))


def _cell_medians(row: Places, column: NDArray[np.intp], values: Floats, rows: int, columns: int) -> Floats:
    cell = row * columns + column
    order = np.lexsort((values, cell))
    # sorted within each cell, so that its median stands at a known place
    labels, first, count = np.unique(cell[order], return_index=True, return_counts=True)
    ordered = values[order]
    medians = np.full(rows * columns, np.nan)
    medians[labels] = 0.5 * (ordered[first + (count - 1) // 2] + ordered[first + count // 2])
    return medians.reshape(rows, columns)


def _row_medians(table: Floats) -> Floats:
    """Return the median of each row without its NaN; NaN for an empty row."""
    medians = np.full(table.shape[0], np.nan)
    filled = np.isfinite(table).any(axis=1)
    if filled.any():
        medians[filled] = np.nanmedian(table[filled], axis=1)
    return medians


@dataclass(frozen=True, eq=False)
class Apart:
    """How far each well stands from its neighbours; shape (w,) each.

    Attributes
    ----------
    offset_m : numpy.ndarray
        Typical level less what the neighbours suggest, positive above; NaN where not tested [m].
    limit_m : numpy.ndarray
        Size beyond which a well stands apart [m].
    apart : numpy.ndarray of bool
        Whether it does.
    """

    offset_m: Floats
    limit_m: Floats
    apart: Flags


def apart_from_neighbours(
    x: ArrayLike,
    y: ArrayLike,
    level_m: ArrayLike,
    *,
    spreads: float = 6.0,
    least_m: ArrayLike = 0.2,
) -> Apart:
    """Find wells whose typical level does not fit those of their neighbours.

    Parameters
    ----------
    x, y : array_like, shape (w,)
        Easting and northing [m].
    level_m : array_like, shape (w,)
        Typical water elevation of each well of one aquifer, positive upward [m].
    spreads : float, optional
        Robust standard deviations by which a well may differ.
    least_m : array_like, optional
        Differences smaller than this never count, one number or shape (w,) [m].

    Returns
    -------
    Apart
        Offsets and limits; with fewer than six wells nothing is tested.

    Notes
    -----
    Levels are taken relative to the plane through three wells whose median absolute residual is least (least median of
    squares, Rousseeuw, 1984, from memory), and each is compared with the median of its six nearest sound neighbours'
    at other places (2 m or more away).
    The difference per distance is held against 1.4826 times its median over all sound wells. The well that differs
    most among its neighbours is set aside first, so that a wrong one does not put its neighbours in the wrong; wells
    set aside are compared with the sound ones in the end.
    """
    xs, ys, level = (values.astype(np.float64) for values in equally_long(x=x, y=y, level_m=level_m))
    least = np.broadcast_to(np.asarray(least_m, dtype=np.float64), level.shape)
    tested = np.isfinite(xs) & np.isfinite(ys) & np.isfinite(level)
    nothing = np.full(level.shape, np.nan)
    # Among fewer wells no one can say which of them is off.
    if tested.sum() < LEAST_WELLS:
        return Apart(nothing, nothing.copy(), np.zeros(level.shape, dtype=np.bool_))
    rows = np.flatnonzero(tested)
    own = _apart(np.column_stack([xs, ys])[rows], level[rows], spreads, least[rows])
    everyone = Apart(nothing, nothing.copy(), np.zeros(level.shape, dtype=np.bool_))
    everyone.offset_m[rows], everyone.limit_m[rows], everyone.apart[rows] = own.offset_m, own.limit_m, own.apart
    return everyone


def _apart(places: Floats, level: Floats, spreads: float, least: Floats) -> Apart:
    # the slope of the water table off, or wells at the edge would always stand apart
    residual = level - _robust_plane(places, level)
    sound = np.ones(level.shape, dtype=np.bool_)
    # one at a time, the worst first: a wrong well makes its neighbours look wrong
    for _ in range(_MOST_PASSES):
        offset, limit = _contrast(places, residual, sound, spreads, least)
        excess = np.where(sound, np.abs(offset) / limit, 0.0)
        worst = int(np.argmax(excess))
        # at most half of them can be the ones that are wrong
        if excess[worst] <= 1.0 or sound.sum() <= max(LEAST_WELLS - 1, level.size // 2):
            break
        sound[worst] = False
    offset, limit = _contrast(places, residual, sound, spreads, least)
    return Apart(offset, limit, np.abs(offset) > limit)


def _contrast(places: Floats, residual: Floats, sound: Flags, spreads: float, least: Floats) -> tuple[Floats, Floats]:
    """Return each well's residual less the median of its nearest sound neighbours', and its limit."""
    wells = np.flatnonzero(sound)
    count = min(_NEIGHBOURS + _most_at_one_place(places), wells.size)
    answers = KDTree(places[wells]).query(places, k=count)
    distance, near = (np.reshape(answer, (len(places), count)) for answer in answers)
    # screens at one place differ by the heads of their depths, which no distance explains
    is_asked = distance >= _ONE_PLACE_M
    is_asked &= np.cumsum(is_asked, axis=1) <= _NEIGHBOURS
    offset, away = np.zeros(len(places)), np.ones(len(places))
    rows = is_asked.any(axis=1)
    others = np.where(is_asked, residual[wells[near]], np.nan)[rows]
    offset[rows] = residual[rows] - np.nanmedian(others, axis=1)
    away[rows] = np.nanmedian(np.where(is_asked, distance, np.nan)[rows], axis=1)
    # by distance: levels of wells farther apart may differ more
    usual = MAD_TO_SD * float(np.median((np.abs(offset) / away)[sound]))
    # A well alone at its place has nobody to compare with and is never apart.
    return offset, np.where(rows, np.maximum(spreads * usual * away, least), np.inf)


def _most_at_one_place(places: Floats) -> int:
    """Return how many wells lie at one place at most, to within the place's limit."""
    return int(KDTree(places).query_ball_point(places, _ONE_PLACE_M, return_length=True).max())


def _robust_plane(places: Floats, level: Floats) -> Floats:
    """Return the levels of the plane through three wells whose median absolute residual is least."""
    # Coordinates of a national grid are in hundreds of kilometres; their squares would spoil the determinant.
    scale = max(float(np.ptp(places)), 1e-9)
    columns = np.column_stack([np.ones(len(places)), (places - places.mean(axis=0)) / scale])
    triples = _triples(len(places))
    # the plane through three sound wells is met by most others, however wrong a few are
    corners = columns[triples]
    # wells nearly on one line give a plane that may tilt anywhere
    proper = np.abs(np.linalg.det(corners)) > 1e-4
    middle = float(np.median(level))
    if not proper.any():
        return np.full(level.shape, middle)
    values = np.linalg.solve(corners[proper], (level - middle)[triples[proper]][:, :, None])[:, :, 0]
    misfit = np.median(np.abs(level - middle - values @ columns.T), axis=1)
    best: Floats = middle + columns @ values[int(np.argmin(misfit))]
    return best


def _triples(count: int) -> NDArray[np.int64]:
    """Return all triples of wells, or 2,000 evenly spread ones."""
    if count * (count - 1) * (count - 2) // 6 <= _MOST_TRIPLES:
        return np.array(list(combinations(range(count), 3)), dtype=np.int64)
    # an even sequence in place of chance, so that the same wells give the same answer
    # Sequence of the root of t^4 = t + 1: fills three dimensions evenly at any count.
    shares = np.mod(np.arange(1, _MOST_TRIPLES + 1)[:, None] / _SPREAD ** np.arange(1, 4), 1.0)
    picked = np.sort((shares * count).astype(np.int64), axis=1)
    return np.asarray(picked[np.all(np.diff(picked, axis=1) > 0, axis=1)], dtype=np.int64)


@dataclass(frozen=True, eq=False)
class Shift:
    """A common shift of several wells.

    Attributes
    ----------
    shift_m : float
        Mean shift, positive where levels rose [m].
    standard_error_m : float
        Standard error of that mean [m].
    slope : float
        Shift per metre of depth [m/m]; NaN when it is not known.
    slope_error : float
        Standard error of it [m/m].
    count : int
        Wells.
    """

    shift_m: float
    standard_error_m: float
    slope: float
    slope_error: float
    count: int

    def counts(self, errors: float, least_m: float) -> bool:
        """Return whether the shift is beyond its errors and not too small to report.

        Parameters
        ----------
        errors : float
            Standard errors that a shift must exceed.
        least_m : float
            Smallest shift that counts [m].
        """
        # One well alone has no common shift.
        if self.count < 2 or abs(self.shift_m) <= least_m:
            return False
        common = abs(self.shift_m) > errors * self.standard_error_m
        # A wrong length of tape shows as a share of the depth, a wrong datum as the same amount in each well.
        return bool(common or abs(self.slope) > errors * self.slope_error)


def common_shift(shift_m: ArrayLike, depth_m: ArrayLike, error_m: ArrayLike) -> Shift:
    """Return the common shift of several wells and its share of the depth.

    Parameters
    ----------
    shift_m : array_like, shape (n,)
        Shift of each well against what was expected; NaN ones are left out [m].
    depth_m : array_like, shape (n,)
        Depth to water of each, positive downward [m].
    error_m : array_like, shape (n,)
        Standard error of each shift; NaN ones are left out [m].

    Returns
    -------
    Shift
        Mean, and ratio to depth, both weighted by the errors of the wells: a quiet, deep well says most of a tape.

    Notes
    -----
    Least squares with the weights of Huber (1964), Annals of Mathematical Statistics 35, 73-101 (from memory): a well
    that is off the others by more than 1.5 of its standard errors counts less. Where the wells differ by more than
    their errors say, the standard error is as much larger.

    Examples
    --------
    >>> round(common_shift([0.02, 0.03, 0.04], [2.0, 3.0, 4.0], [0.01, 0.01, 0.01]).slope, 6)
    0.01
    """
    shift, depth, error = (
        values.astype(np.float64) for values in equally_long(shift_m=shift_m, depth_m=depth_m, error_m=error_m)
    )
    # Equal readings leave an error of 0, whose weight would be infinite.
    error = np.maximum(error, _LEAST_ERROR_M)
    there = np.isfinite(shift) & np.isfinite(error)
    # a shift in proportion to depth is a tape's; near the top the ratio says nothing
    deep = there & (depth > 0.5)
    middle, standard_error = _weighted_slope(np.ones(int(there.sum())), shift[there], error[there])
    slope, slope_error = _weighted_slope(depth[deep], shift[deep], error[deep])
    return Shift(middle, standard_error, slope, slope_error, int(there.sum()))


def _weighted_slope(x: Floats, y: Floats, error: Floats) -> tuple[float, float]:
    """Return the slope of a line through the origin and its standard error, outliers counted less."""
    if y.size < 2:
        # One well gives a number but no error; infinite, so that it never counts as beyond its errors.
        return (float(y[0] / x[0]) if y.size else np.nan), np.inf
    weight = error**-2.0
    # Started from the median, so that one wild well does not set the course of the weights.
    slope = float(np.median(y / x))
    for _ in range(_MOST_PASSES):
        off = np.abs(y - slope * x) / error
        counted = weight * np.minimum(1.0, _HUBER / np.maximum(off, 1e-12))
        before, slope = slope, float((counted * x * y).sum() / (counted * x * x).sum())
        if abs(slope - before) <= 1e-9:
            break
    off = np.abs(y - slope * x) / error
    # Never below 1: shifts that agree by chance better than their errors do not make the errors smaller.
    scatter = max(1.0, MAD_TO_SD * float(np.median(off)) * float(np.sqrt(y.size / (y.size - 1.0))))
    return slope, scatter / float(np.sqrt((counted * x * x).sum()))
