"""Contour interval, contour lines cut at the control, what of them is inferred, and whether they honour every level."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import KDTree

from gwnet.constants import NORMAL_95
from gwnet.errors import SettingsError
from gwnet.hydro.surfaces.hull import clip_line, hull_area, inside
from gwnet.hydro.surfaces.surface import Grid, Surface

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

#: A map has at most this many contours unless its interval is given (project default).
MOST_CONTOURS: Final = 12

#: A level this near a contour may stand on either side of it [m].
_ON_CONTOUR_M: Final = 1e-6

#: Radius of the mark of a well over the extent of the control: 1.5 mm on a map of 150 mm (project default).
MARK_SHARE: Final = 0.01
#: Points of a ring about a well, an even number.
_RING_POINTS: Final = 16

#: Solid pieces shorter than this share of the control's extent are dashed with their neighbours.
_SHORT_PIECE: Final = 0.03


@dataclass(frozen=True, eq=False)
class ContourLine:
    """One piece of a contour.

    Attributes
    ----------
    level_m : float
        Water elevation, positive upward [m].
    x, y : numpy.ndarray, shape (m,)
        Vertices; a closed piece repeats its first [m].
    inferred : bool
        Drawn dashed: what it shows is not well known.
    depression : bool
        Part of a closed contour around lower heads.
    """

    level_m: float
    x: Floats
    y: Floats
    inferred: bool
    depression: bool


@dataclass(frozen=True)
class Unhonoured:
    """A well whose level the contours do not honour.

    Attributes
    ----------
    position : int
        Position of the well in the control.
    posted_m : float
        Its water elevation [m].
    drawn_m : float
        The surface at the well as drawn [m].
    contour_m : float
        A contour on whose wrong side it stands [m].
    around_m : float
        Distance from the well at which the surface is drawn at ``drawn_m``; 0 at the well itself [m].
    """

    position: int
    posted_m: float
    drawn_m: float
    contour_m: float
    around_m: float = 0.0


def nice_interval(
    lowest_m: float, highest_m: float, *, unit_m: float = 1.0, most: int = MOST_CONTOURS, least_m: float = 0.0
) -> float:
    """Return a contour interval that is 1, 2 or 5 times a power of ten of the unit.

    Parameters
    ----------
    lowest_m, highest_m : float
        Lowest and highest water elevation [m].
    unit_m : float, optional
        Metres in the unit that the map is labelled in.
    most : int, optional
        Most contours.
    least_m : float, optional
        The interval is not smaller than this, for example the uncertainty of the levels [m].

    Returns
    -------
    float
        The smallest such interval that gives at most so many contours [m].

    Raises
    ------
    SettingsError
        If the range is not finite or `most` is below 1.

    Examples
    --------
    >>> nice_interval(31.2, 38.9)
    1.0
    >>> nice_interval(31.2, 32.1, least_m=0.15)
    0.2
    """
    span = (highest_m - lowest_m) / unit_m
    if not (math.isfinite(span) and span >= 0.0 and most >= 1):
        message = f"No contour interval for heads from {lowest_m:g} to {highest_m:g} m and {most} contours."
        raise SettingsError(message)
    # level heads have no span, and an interval of 0 would never end
    smallest = max(span / most, least_m / unit_m, 1e-3)
    # the small part keeps a power of ten from falling below itself by rounding
    power = math.floor(math.log10(smallest) + 1e-9)
    steps = (step * 10.0**exponent for exponent in range(power, power + 3) for step in (1, 2, 5))
    interval = next(step for step in steps if step >= smallest * (1.0 - 1e-9))
    # 0.3 and not 0.30000000000000004, as it is printed
    return float(f"{interval:.12g}") * unit_m


def contour_levels(lowest_m: float, highest_m: float, interval_m: float) -> Floats:
    """Return the multiples of an interval from the lowest to the highest head.

    Parameters
    ----------
    lowest_m, highest_m : float
        Lowest and highest water elevation [m].
    interval_m : float
        Contour interval, greater than 0 [m].

    Returns
    -------
    numpy.ndarray, shape (k,)
        Levels, rising [m].

    Raises
    ------
    SettingsError
        If the interval is not greater than 0, or gives more than 500 contours.

    Examples
    --------
    >>> contour_levels(9.95, 10.25, 0.1).tolist()
    [10.0, 10.1, 10.2]
    """
    if not interval_m > 0.0 or not math.isfinite(interval_m):
        message = f"A contour interval must be greater than 0, not {interval_m:g} m."
        raise SettingsError(message)
    if (highest_m - lowest_m) / interval_m > 500:
        message = f"An interval of {interval_m:g} m gives more than 500 contours from {lowest_m:g} to {highest_m:g} m."
        raise SettingsError(message, fix=f"Try {nice_interval(lowest_m, highest_m):g} m.")
    # a level that is a multiple but for rounding has its contour
    first = math.ceil(lowest_m / interval_m - 1e-9)
    last = math.floor(highest_m / interval_m + 1e-9)
    return np.array([float(f"{number * interval_m:.12g}") for number in range(first, last + 1)])


@dataclass(frozen=True, eq=False)
class InferredRule:
    """Where contours are dashed.

    Attributes
    ----------
    surface : Surface
        The surface.
    interval_m : float
        Contour interval [m].
    farthest_m : float
        Distance from the nearest well beyond which contours are inferred [m].
    everywhere : bool
        Dashed throughout, because the control is too sparse.

    Notes
    -----
    A contour is inferred where the 95 % half-width of the surface (1.96 kriging standard errors) exceeds the contour
    interval, so that it may be the next contour's place, and where the nearest well is farther than the mean spacing of
    the control, the root of the hull's area over the number of wells (project default). Below five wells all is
    inferred.
    """

    surface: Surface
    interval_m: float
    farthest_m: float
    everywhere: bool
    _tree: KDTree

    def __call__(self, x: Floats, y: Floats) -> Flags:
        """Return which points are inferred.

        Parameters
        ----------
        x, y : numpy.ndarray, shape (m,)
            Points [m].

        Returns
        -------
        numpy.ndarray of bool, shape (m,)
            True where inferred.
        """
        if self.everywhere or not x.size:
            return np.full(x.shape, fill_value=self.everywhere)
        distance, _ = self._tree.query(np.column_stack([x, y]))
        error = self.surface.standard_error(x, y)
        # a surface without an error of its own is judged by distance alone
        return (distance > self.farthest_m) | (NORMAL_95 * np.nan_to_num(error) > self.interval_m)


def inferred_rule(surface: Surface, interval_m: float, *, least_wells: int = 5) -> InferredRule:
    """Return the rule by which the contours of a surface are dashed.

    Parameters
    ----------
    surface : Surface
        The surface.
    interval_m : float
        Contour interval [m].
    least_wells : int, optional
        Below this many wells everything is inferred.
    """
    count = surface.z.size
    return InferredRule(
        surface=surface,
        interval_m=interval_m,
        # the side of the square that each well would have if they stood evenly
        farthest_m=math.sqrt(hull_area(surface.hull) / count),
        everywhere=count < least_wells,
        _tree=KDTree(np.column_stack([surface.x, surface.y])),
    )


def contour_lines(
    grid: Grid, levels_m: ArrayLike, inferred_at: Callable[[Floats, Floats], Flags] | None = None
) -> tuple[ContourLine, ...]:
    """Return the contours of a grid, cut at the hull and split where they begin to be inferred.

    Parameters
    ----------
    grid : gwnet.hydro.surfaces.surface.Grid
        Heads.
    levels_m : array_like, shape (k,)
        Levels [m].
    inferred_at : callable, optional
        Tells of points (x, y) whether they are inferred; nothing is unless given.
    """
    import contourpy

    generator: Any = contourpy.contour_generator(
        grid.x, grid.y, grid.extended_m, name="serial", line_type=contourpy.LineType.Separate
    )
    pieces: list[ContourLine] = []
    for level in np.asarray(levels_m, dtype=np.float64).tolist():
        for line in generator.lines(level):
            x, y = np.ascontiguousarray(line[:, 0]), np.ascontiguousarray(line[:, 1])
            low = _is_depression(grid, x, y)
            for part_x, part_y in clip_line(grid.hull, x, y):
                pieces.extend(_split(level, part_x, part_y, low, inferred_at, _SHORT_PIECE * _extent(grid)))
    return tuple(pieces)


def _extent(grid: Grid) -> float:
    return float(np.max(np.ptp(grid.hull, axis=0)))


def _is_depression(grid: Grid, x: Floats, y: Floats) -> bool:
    """Return whether a line closes inside the control around lower heads.

    Lines run with the higher heads on their left, so one around lower heads runs clockwise.
    """
    if x[0] != x[-1] or y[0] != y[-1] or not inside(grid.hull, x, y).all():
        return False
    # the generator keeps higher heads on the left: a line around lower ones runs clockwise
    return hull_area(np.column_stack([x[:-1], y[:-1]])) < 0.0


def _split(
    level: float,
    x: Floats,
    y: Floats,
    depression: bool,
    inferred_at: Callable[[Floats, Floats], Flags] | None,
    shortest: float,
) -> list[ContourLine]:
    if x.size < 2:
        return []
    if inferred_at is None:
        return [ContourLine(level, x, y, False, depression)]
    # judged at the middle of each stretch, which is solid or dashed as a whole
    dashed = inferred_at(0.5 * (x[:-1] + x[1:]), 0.5 * (y[:-1] + y[1:]))
    lengths = np.hypot(np.diff(x), np.diff(y))
    # else the arbitrary start of a closed line would cut a piece in two
    x, y, dashed, lengths = _begin_at_change(x, y, dashed, lengths)
    starts = np.concatenate([[0], np.flatnonzero(np.diff(dashed)) + 1, [dashed.size]])
    if dashed.any():
        for first, last in pairwise(starts.tolist()):
            # a dash of solid line between dashes reads as one of them
            if not dashed[first] and lengths[first:last].sum() < shortest:
                dashed[first:last] = True
        starts = np.concatenate([[0], np.flatnonzero(np.diff(dashed)) + 1, [dashed.size]])
    return [
        ContourLine(level, x[first : last + 1], y[first : last + 1], bool(dashed[first]), depression)
        for first, last in pairwise(starts.tolist())
    ]


def _begin_at_change(x: Floats, y: Floats, dashed: Flags, lengths: Floats) -> tuple[Floats, Floats, Flags, Floats]:
    """Turn a closed line so that it begins where solid and dashed meet."""
    if x[0] != x[-1] or y[0] != y[-1] or dashed[0] != dashed[-1] or dashed.all() or not dashed.any():
        return x, y, dashed, lengths
    first = int(np.flatnonzero(np.diff(dashed))[0]) + 1
    turned_x, turned_y = np.roll(x[:-1], -first), np.roll(y[:-1], -first)
    closed_x, closed_y = np.append(turned_x, turned_x[0]), np.append(turned_y, turned_y[0])
    return closed_x, closed_y, np.roll(dashed, -first), np.roll(lengths, -first)


def unhonoured(grid: Grid, x: Floats, y: Floats, z: Floats, levels_m: Floats) -> tuple[Unhonoured, ...]:
    """Return the wells that the contours put on the wrong side.

    Parameters
    ----------
    grid : gwnet.hydro.surfaces.surface.Grid
        Heads that the contours are drawn from.
    x, y : numpy.ndarray, shape (n,)
        Wells [m].
    z : numpy.ndarray, shape (n,)
        Posted water elevations [m].
    levels_m : numpy.ndarray, shape (k,)
        Contours, rising [m].

    Returns
    -------
    tuple of Unhonoured
        Wells whose posted level and whose place on the drawn surface lie on different sides of a contour; empty when
        every level is honoured.

    Notes
    -----
    A level that equals a contour to a micrometre may stand on either side of it, but no farther from it than a
    twentieth of the interval.
    """
    if not levels_m.size:
        return ()
    drawn = grid.at(x, y)
    interval = float(np.diff(levels_m).min()) if levels_m.size > 1 else math.inf
    unmet = []
    for position, (posted, shown) in enumerate(zip(z.tolist(), drawn.tolist(), strict=True)):
        # a well on a contour is on neither side of it; then the drawn head must be near it
        on_contour = np.abs(levels_m - posted) <= _ON_CONTOUR_M
        crossed = (levels_m - posted) * (levels_m - shown) < 0.0
        off = on_contour & (abs(shown - posted) > 0.05 * interval)
        wrong = levels_m[(crossed & ~on_contour) | off]
        if wrong.size:
            unmet.append(Unhonoured(position, posted, shown, _nearest(wrong, posted)))
    return tuple(unmet)


def jumps(grid: Grid, x: Floats, y: Floats, z: Floats, levels_m: Floats) -> tuple[Unhonoured, ...]:
    """Return the wells that the surface meets only by a jump: at map scale they lie in another band of contours.

    Parameters
    ----------
    grid : gwnet.hydro.surfaces.surface.Grid
        Heads that the contours are drawn from.
    x, y : numpy.ndarray, shape (n,)
        Wells [m].
    z : numpy.ndarray, shape (n,)
        Posted water elevations [m].
    levels_m : numpy.ndarray, shape (k,)
        Contours, rising [m].

    Returns
    -------
    tuple of Unhonoured
        Wells whose posted level lies above every head on a ring about them, with a contour between, or below every
        one: the contour around them is smaller than the mark of the well.

    Notes
    -----
    The ring has the radius of a mark as it is printed, `MARK_SHARE` of the extent of the control (project default).
    Where it leaves the grid, its head is that of a plane through the well and the opposite point of the ring, so that a
    well at the edge of a slope is not mistaken for a jump.
    """
    if not levels_m.size:
        return ()
    radius = MARK_SHARE * _extent(grid)
    angle = np.linspace(0.0, 2.0 * np.pi, _RING_POINTS, endpoint=False)
    at_x, at_y = x[:, None] + radius * np.cos(angle), y[:, None] + radius * np.sin(angle)
    held = (at_x >= grid.x[0]) & (at_x <= grid.x[-1]) & (at_y >= grid.y[0]) & (at_y <= grid.y[-1])
    ring = np.where(held, grid.at(at_x.ravel(), at_y.ravel()).reshape(at_x.shape), np.nan)
    opposite = np.roll(ring, _RING_POINTS // 2, axis=1)
    ring = np.where(np.isnan(ring), 2.0 * z[:, None] - opposite, ring)
    found = []
    for position, posted in enumerate(z.tolist()):
        own = ring[position][~np.isnan(ring[position])]
        if not own.size:
            continue
        drawn = float(np.clip(posted, own.min(), own.max()))
        between = levels_m[(levels_m - posted) * (levels_m - drawn) < 0.0]
        if between.size:
            found.append(Unhonoured(position, posted, drawn, _nearest(between, posted), radius))
    return tuple(found)


def _nearest(levels_m: Floats, posted: float) -> float:
    """Return the contour nearest to a level."""
    return float(levels_m[np.argmin(np.abs(levels_m - posted))])
