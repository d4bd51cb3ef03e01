"""Control of a surface: whether points can carry one, their convex hull, and what lies inside it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from gwnet.errors import AnalysisError, ShapeError, TooFewLevelsError

Floats = NDArray[np.float64]

#: Fewest wells that a surface or a plane is made from; NR 716.15(4)(b), Wis. Adm. Code.
LEAST_WELLS: Final = 3

#: Wells lie on one line when their band is narrower than this share of its length (project default).
COLLINEAR_SHARE: Final = 1e-3

#: A point this share of the control's length outside the hull still counts as inside, for rounding.
_EDGE_SHARE = 1e-9


def control_arrays(
    x: ArrayLike, y: ArrayLike, z: ArrayLike, *, names: Sequence[str] | None = None
) -> tuple[Floats, Floats, Floats]:
    """Return the control as float arrays after checking that it can carry a surface.

    Parameters as `gwnet.hydro.surfaces`.

    Parameters
    ----------
    names : sequence of str, optional
        Names of the wells for messages; their numbers from 1 unless given.

    Returns
    -------
    tuple of numpy.ndarray
        The three arrays, shape (n,).

    Raises
    ------
    ShapeError
        If the arrays are not one-dimensional and of one length.
    TooFewLevelsError
        If there are fewer than three points.
    AnalysisError
        If a value is not finite, two points share a place, or all lie on one line.

    Notes
    -----
    Points lie on one line when the band that holds them all is narrower than a thousandth of its length: what the
    surface does across the line would then hang on coordinate errors alone.
    """
    xs, ys, zs = (np.asarray(values, dtype=np.float64) for values in (x, y, z))
    if xs.ndim != 1 or not xs.shape == ys.shape == zs.shape:
        message = f"x, y and z must be one-dimensional and of one length, not {xs.shape}, {ys.shape} and {zs.shape}."
        raise ShapeError(message)
    labels = [str(number) for number in range(1, xs.size + 1)] if names is None else [str(name) for name in names]
    if xs.size < LEAST_WELLS:
        listed = f": {', '.join(labels)}" if labels else ""
        message = f"A surface needs at least {LEAST_WELLS} wells; {xs.size} can be used{listed}."
        raise TooFewLevelsError(message, fix="Widen the window, or measure more wells of this aquifer on one day.")
    bad = ~(np.isfinite(xs) & np.isfinite(ys) & np.isfinite(zs))
    if bad.any():
        message = f"No finite coordinate or elevation at {_listed(labels, np.flatnonzero(bad))}."
        raise AnalysisError(message, fix="Leave these wells out, or complete their record.")
    _refuse_shared_places(xs, ys, labels)
    _refuse_line(xs, ys, labels)
    return xs, ys, zs


def _refuse_shared_places(x: Floats, y: Floats, labels: Sequence[str]) -> None:
    order = np.lexsort((y, x))
    same = np.flatnonzero((np.diff(x[order]) == 0.0) & (np.diff(y[order]) == 0.0))
    if same.size:
        pair = order[same[0]], order[same[0] + 1]
        message = f"{labels[pair[0]]} and {labels[pair[1]]} are at one place ({x[pair[0]]:g}, {y[pair[0]]:g})."
        raise AnalysisError(message, fix="Keep one of them, or name them as one cluster.")


def _refuse_line(x: Floats, y: Floats, labels: Sequence[str]) -> None:
    length, width = length_and_width(x, y)
    if width <= COLLINEAR_SHARE * length:
        message = (
            f"The {len(labels)} wells lie on one line: a band {width:.3g} m wide over {length:.6g} m "
            f"({_listed(labels, np.arange(len(labels)))})."
        )
        raise AnalysisError(message, fix="A surface or gradient needs a well off that line.")


def length_and_width(x: ArrayLike, y: ArrayLike) -> tuple[float, float]:
    """Return length and width of the band that holds all points, along and across its main direction.

    Parameters
    ----------
    x, y : array_like, shape (n,)
        Coordinates [m].

    Returns
    -------
    tuple of float
        Extent along the direction of largest spread, and across it [m].

    Examples
    --------
    >>> length_and_width([0, 3, 6], [0, 4, 8])
    (10.0, 0.0)
    """
    points = np.column_stack([np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)])
    centred = points - points.mean(axis=0)
    _, _, axes = np.linalg.svd(centred, full_matrices=False)
    along, across = np.ptp(centred @ axes.T, axis=0)
    return float(np.round(along, 12)), float(np.round(across, 12))


def _listed(labels: Sequence[str], positions: NDArray[np.int64], most: int = 8) -> str:
    shown = [labels[position] for position in positions[:most]]
    more = f" and {positions.size - most} more" if positions.size > most else ""
    return ", ".join(shown) + more


def convex_hull(x: ArrayLike, y: ArrayLike) -> Floats:
    """Return the corners of the convex hull, anticlockwise, without repeating the first.

    Parameters
    ----------
    x, y : array_like, shape (n,)
        Coordinates of at least three points that are not on one line [m].

    Returns
    -------
    numpy.ndarray, shape (k, 2)
        Corners, anticlockwise, beginning with the westernmost (then southernmost) [m].
    """
    points = np.column_stack([np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)])
    ring = shapely.get_coordinates(shapely.convex_hull(shapely.multipoints(points)))[:-1]
    ring = ring if hull_area(ring) > 0.0 else ring[::-1]
    first = int(np.lexsort((ring[:, 1], ring[:, 0]))[0])
    return np.roll(ring, -first, axis=0)


def hull_area(hull: Floats) -> float:
    """Return the area of an anticlockwise ring of corners.

    Parameters
    ----------
    hull : numpy.ndarray, shape (k, 2)
        Corners [m].

    Returns
    -------
    float
        Area, positive for an anticlockwise ring [m²].

    Examples
    --------
    >>> hull_area(np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 3.0], [0.0, 3.0]]))
    6.0
    """
    centred = hull - hull[0]
    x, y = centred[:, 0], centred[:, 1]
    return float(0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def inside(hull: Floats, x: ArrayLike, y: ArrayLike) -> NDArray[np.bool_]:
    """Return which points lie inside a convex hull or on its edge.

    Parameters
    ----------
    hull : numpy.ndarray, shape (k, 2)
        Corners, anticlockwise [m].
    x, y : array_like
        Coordinates, of shapes that broadcast [m].

    Examples
    --------
    >>> inside(np.array([[0.0, 0.0], [2.0, 0.0], [0.0, 2.0]]), [0.5, 2.0], [0.5, 2.0]).tolist()
    [True, False]
    """
    tolerance = _EDGE_SHARE * float(np.max(np.ptp(hull, axis=0)))
    area = shapely.buffer(shapely.Polygon(hull), tolerance, join_style="mitre")
    shapely.prepare(area)
    return np.asarray(shapely.intersects_xy(area, x, y))


def nearest_on_hull(hull: Floats, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Return the nearest points of the hull's outline.

    Parameters
    ----------
    hull : numpy.ndarray, shape (k, 2)
        Corners, anticlockwise [m].
    x, y : numpy.ndarray, shape (m,)
        Points [m].

    Returns
    -------
    tuple of numpy.ndarray, shape (m,)
        Coordinates on the outline [m].
    """
    outline = shapely.linearrings(hull)
    shapely.prepare(outline)
    nearest = shapely.get_coordinates(shapely.shortest_line(outline, shapely.points(x, y)))[::2]
    return nearest[:, 0], nearest[:, 1]


def clip_line(hull: Floats, x: Floats, y: Floats) -> list[tuple[Floats, Floats]]:
    """Return the parts of a line that lie inside a convex hull.

    Parameters
    ----------
    hull : numpy.ndarray, shape (k, 2)
        Corners, anticlockwise [m].
    x, y : numpy.ndarray, shape (m,)
        Vertices of the line [m]; a closed line repeats its first vertex.

    Returns
    -------
    list of tuple of numpy.ndarray
        Vertices of each part in order; the line itself when all of it lies inside.

    Notes
    -----
    Each segment is cut by the half-planes of the hull's sides (Cyrus and Beck, 1978, from memory).
    """
    if inside(hull, x, y).all():
        return [(x, y)]
    centre = hull.mean(axis=0)
    normals, offsets = _half_planes(hull - centre)
    depth = np.column_stack([x - centre[0], y - centre[1]]) @ normals.T - offsets
    enter, leave = _cut_shares(depth[:-1], depth[1:])
    pieces: list[list[tuple[float, float]]] = []
    joined = False
    for position in range(x.size - 1):
        first, last = float(enter[position]), float(leave[position])
        if first >= last:
            joined = False
            continue
        span_x, span_y = x[position + 1] - x[position], y[position + 1] - y[position]
        if not joined:
            pieces.append([(x[position] + first * span_x, y[position] + first * span_y)])
        pieces[-1].append((x[position] + last * span_x, y[position] + last * span_y))
        joined = last == 1.0
    if len(pieces) > 1 and x[0] == x[-1] and y[0] == y[-1] and joined and pieces[0][0] == (x[0], y[0]):
        pieces[0] = pieces.pop() + pieces[0][1:]
    return [(np.array([px for px, _ in piece]), np.array([py for _, py in piece])) for piece in pieces]


def _half_planes(hull: Floats) -> tuple[Floats, Floats]:
    """Return inward unit normals and offsets of sides; ``normals @ point - offsets`` is the distance inside."""
    edges = np.roll(hull, -1, axis=0) - hull
    normals = np.column_stack([-edges[:, 1], edges[:, 0]]) / np.hypot(edges[:, 0], edges[:, 1])[:, None]
    return normals, np.sum(normals * hull, axis=1)


def _cut_shares(start: Floats, end: Floats) -> tuple[Floats, Floats]:
    """Return where each segment enters and leaves, as shares of it; the first is not below the second if it misses."""
    change = end - start
    with np.errstate(divide="ignore", invalid="ignore"):
        crossing = -start / change
    enter = np.max(np.where(change > 0.0, crossing, 0.0), axis=1).clip(0.0, 1.0)
    leave = np.min(np.where(change < 0.0, crossing, 1.0), axis=1).clip(0.0, 1.0)
    outside = np.any((change == 0.0) & (start < 0.0), axis=1)
    return np.where(outside, 1.0, enter), leave
