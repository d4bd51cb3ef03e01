"""Gradients here and there: planes through each well and its nearest, the slope of a surface, triangles of wells."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import Delaunay, KDTree

from gwnet.errors import AnalysisError
from gwnet.hydro.gradients.horizontal import Gradient, azimuth, plane_gradient
from gwnet.hydro.gradients.limits import slope_limits
from gwnet.hydro.surfaces.hull import COLLINEAR_SHARE, control_arrays, length_and_width
from gwnet.hydro.surfaces.kriging import KrigedSurface
from gwnet.hydro.surfaces.kriging_system import kriging_system

Floats = NDArray[np.float64]

#: A well and so many nearest ones make a local plane (project default): twice the three that a plane needs.
NEAREST: int = 5

#: A triangle flatter than this, height over longest side, says little of the gradient across it (project default).
_FLAT = 0.1


@dataclass(frozen=True, eq=False)
class LocalGradient:
    """The gradient about one well.

    Attributes
    ----------
    position : int
        Position of the well in the control.
    neighbours : tuple of int
        Positions of the wells that its plane goes through beside it, nearest first.
    reach : float
        Distance to the farthest of them [m].
    plane : Gradient or None
        The plane; None where these wells lie on one line.
    """

    position: int
    neighbours: tuple[int, ...]
    reach: float
    plane: Gradient | None


def local_gradients(
    x: ArrayLike,
    y: ArrayLike,
    head_m: ArrayLike,
    half_width_m: ArrayLike | None = None,
    *,
    nearest: int = NEAREST,
    names: Sequence[str] | None = None,
) -> tuple[LocalGradient, ...]:
    """Return the gradient about each well: of the plane through it and its nearest wells.

    Parameters
    ----------
    x, y : array_like, shape (n,)
        Easting and northing of at least three wells that are not on one line [m].
    head_m : array_like, shape (n,)
        Water elevation, positive upward [m].
    half_width_m : array_like, optional
        95 % half-width of each head [m].
    nearest : int, optional
        Wells beside it, at least 2; all others where there are fewer.
    names : sequence of str, optional
        Names of the wells for messages.

    Raises
    ------
    AnalysisError
        If fewer than two neighbours are asked for.
    TooFewLevelsError
        If there are fewer than three wells.

    Examples
    --------
    >>> x, y = [0, 100, 0, 100, 50], [0, 0, 100, 100, 50]
    >>> found = local_gradients(x, y, [10.0, 9.9, 10.0, 9.9, 9.95], 0.01, nearest=3)
    >>> {round(one.plane.magnitude, 6) for one in found}
    {0.001}
    """
    if nearest < 2:
        message = f"A local gradient needs at least 2 neighbours, not {nearest}."
        raise AnalysisError(message)
    xs, ys, heads = control_arrays(x, y, head_m, names=names)
    widths = None if half_width_m is None else np.broadcast_to(np.asarray(half_width_m, dtype=np.float64), xs.shape)
    points = np.column_stack([xs, ys])
    # One more, since each well finds itself.
    found_at = KDTree(points).query(points, k=min(nearest + 1, xs.size))
    distance, order = np.asarray(found_at[0]), np.asarray(found_at[1])
    whole = plane_gradient(xs, ys, heads, widths).departure
    gradients = []
    for position in range(xs.size):
        chosen = order[position]
        length, width = length_and_width(xs[chosen], ys[chosen])
        plane = None
        # Wells on one line fix no plane: the gradient across the line would be noise.
        if width > COLLINEAR_SHARE * length:
            of_chosen = None if widths is None else widths[chosen]
            # With the misfit of all wells: three or four nearest ones lie on a plane by chance.
            plane = plane_gradient(xs[chosen], ys[chosen], heads[chosen], of_chosen, departure=whole)
        others = tuple(int(other) for other in chosen if other != position)
        gradients.append(LocalGradient(position, others, float(distance[position, -1]), plane))
    return tuple(gradients)


@dataclass(frozen=True, eq=False)
class SurfaceSlopes:
    """Slopes of a kriged surface at m points, each an array of shape (m,).

    Attributes
    ----------
    magnitude, magnitude_half_width : numpy.ndarray
        Fall of the surface and its 95 % half-width [m/m].
    azimuth_deg : numpy.ndarray
        Direction of flow, clockwise from grid north, in [0, 360) [degrees].
    azimuth_half_width_deg : numpy.ndarray
        Its 95 % half-width, at most 180 [degrees].
    determined : numpy.ndarray of bool
        False where the 95 % ellipse of the two slopes holds zero or the size is within its half-width.
    """

    magnitude: Floats
    magnitude_half_width: Floats
    azimuth_deg: Floats
    azimuth_half_width_deg: Floats
    determined: NDArray[np.bool_]


def surface_slopes(surface: KrigedSurface, x: ArrayLike, y: ArrayLike, *, over_m: float) -> SurfaceSlopes:
    """Return the slopes of a kriged surface over a stated distance, with the kriging error of the differences.

    Parameters
    ----------
    surface : gwnet.hydro.surfaces.kriging.KrigedSurface
        The surface.
    x, y : array_like, shape (m,)
        Points [m].
    over_m : float
        Distance that heads are differenced over, half to either side [m].

    Returns
    -------
    SurfaceSlopes
        Sizes and directions with their half-widths.

    Raises
    ------
    AnalysisError
        If the distance is not greater than 0.

    Notes
    -----
    The difference of two estimates has the error that the covariance of theirs gives. Most covariances of heads have no
    derivative, so a slope is always over a distance.
    """
    if not over_m > 0.0:
        message = f"A slope needs a distance greater than 0, not {over_m:g} m."
        raise AnalysisError(message)
    system = kriging_system(surface)
    half = 0.5 * over_m
    # Differences of two estimates, so that what both err by in common falls out.
    contrast = np.array([[-1.0, 1.0, 0.0, 0.0], [0.0, 0.0, -1.0, 1.0]]) / over_m
    rows = []
    for at_x, at_y in zip(np.atleast_1d(x), np.atleast_1d(y), strict=True):
        around_x = np.array([at_x - half, at_x + half, at_x, at_x])
        around_y = np.array([at_y, at_y, at_y - half, at_y + half])
        slopes = contrast @ surface.predict(around_x, around_y)
        # Infinite degrees: a kriging error follows from the covariance, not from residuals.
        rows.append(slope_limits(slopes, contrast @ system.error_covariance(around_x, around_y) @ contrast.T))
    return SurfaceSlopes(
        magnitude=np.array([limits.size for limits in rows]),
        magnitude_half_width=np.array([limits.half_width for limits in rows]),
        azimuth_deg=np.array([limits.azimuth_deg for limits in rows]),
        azimuth_half_width_deg=np.array([max(limits.anticlockwise_deg, limits.clockwise_deg) for limits in rows]),
        determined=np.array([limits.is_significant for limits in rows], dtype=np.bool_),
    )


@dataclass(frozen=True)
class TriangleGradient:
    """The gradient that the triangles between wells agree on.

    Attributes
    ----------
    n : int
        Triangles that are not too flat.
    magnitude : float
        Fall of head [m/m]; NaN where all triangles are too flat.
    azimuth_deg : float
        Direction of flow, clockwise from grid north [degrees].
    """

    n: int
    magnitude: float
    azimuth_deg: float


def triangle_gradient(x: ArrayLike, y: ArrayLike, head_m: ArrayLike) -> TriangleGradient:
    """Return the median gradient of the triangles between wells: a check on a plane that few wrong wells do not move.

    Parameters
    ----------
    x, y : array_like, shape (n,)
        Easting and northing of at least three wells that are not on one line [m].
    head_m : array_like, shape (n,)
        Water elevation, positive upward [m].

    Returns
    -------
    TriangleGradient
        Median of the eastward and of the northward slopes, each triangle counted by its area.

    Raises
    ------
    TooFewLevelsError
        If there are fewer than three wells.
    AnalysisError
        If they lie on one line.

    Notes
    -----
    Each triangle of Delaunay is a three-point problem. Triangles whose height is less than a tenth of their longest
    side are left out (project default), as errors of heads turn them most.

    Examples
    --------
    >>> found = triangle_gradient([0, 100, 0, 100], [0, 0, 100, 100], [10.0, 9.9, 10.0, 9.9])
    >>> found.n, round(found.magnitude, 6), round(found.azimuth_deg, 6)
    (2, 0.001, 90.0)
    """
    xs, ys, heads = control_arrays(x, y, head_m)
    centred = np.column_stack([xs - xs.mean(), ys - ys.mean()])
    # The triangulation's precision is that of the largest number; grid coordinates would leave it little.
    corners = Delaunay(centred / np.ptp(centred)).simplices
    first = centred[corners[:, 0]]
    sides = centred[corners[:, 1]] - first, centred[corners[:, 2]] - first
    twice = sides[0][:, 0] * sides[1][:, 1] - sides[0][:, 1] * sides[1][:, 0]
    third = sides[1] - sides[0]
    longest = np.sqrt(np.max([np.sum(side**2, axis=1) for side in (*sides, third)], axis=0))
    # Twice the area over the longest side squared is height over longest side.
    kept = np.abs(twice) >= _FLAT * longest**2
    if not kept.any():
        return TriangleGradient(0, float("nan"), float("nan"))
    rise = heads[corners[:, 1]] - heads[corners[:, 0]], heads[corners[:, 2]] - heads[corners[:, 0]]
    twice, areas = twice[kept], np.abs(twice[kept])
    slope_x = (rise[0][kept] * sides[1][kept, 1] - rise[1][kept] * sides[0][kept, 1]) / twice
    slope_y = (rise[1][kept] * sides[0][kept, 0] - rise[0][kept] * sides[1][kept, 0]) / twice
    # By area: many small triangles in one corner would otherwise outvote the field.
    east, north = _weighted_median(slope_x, areas), _weighted_median(slope_y, areas)
    return TriangleGradient(int(kept.sum()), float(np.hypot(east, north)), float(azimuth(-east, -north)))


def _weighted_median(values: Floats, weights: Floats) -> float:
    """Return the value with half of the weight on either side; the mean of two where it falls between them."""
    order = np.argsort(values, kind="stable")
    below = np.cumsum(weights[order]) / weights.sum()
    # 1e-12: half of the weight is a sum of shares and may miss 0.5 by rounding.
    lower = int(np.searchsorted(below, 0.5 - 1e-12))
    upper = int(np.searchsorted(below, 0.5 + 1e-12))
    ordered = values[order]
    return float(0.5 * (ordered[lower] + ordered[upper]))
