"""Heads interpolated linearly on the triangles of Delaunay: the plain check on every kriged surface."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import LinearNDInterpolator
from scipy.spatial import Delaunay, QhullError

from gwnet.hydro.surfaces.hull import control_arrays, convex_hull, inside, nearest_on_hull
from gwnet.hydro.surfaces.kriging_solution import LeaveOneOut

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class TriangulatedSurface:
    """A surface of plane triangles; made by `fit`.

    Attributes
    ----------
    x, y, z : numpy.ndarray, shape (n,)
        Control [m].
    hull : numpy.ndarray, shape (k, 2)
        Corners of the control's convex hull, anticlockwise [m].
    """

    x: Floats
    y: Floats
    z: Floats
    hull: Floats
    _centre: Floats
    _scale: float
    _linear: LinearNDInterpolator

    def predict(self, xq: ArrayLike, yq: ArrayLike, *, inside_control: bool = False) -> Floats:
        """Return the interpolated heads.

        Parameters as `gwnet.hydro.surfaces`.

        Parameters
        ----------
        inside_control : bool, optional
            Give NaN beyond the convex hull; otherwise the head at the nearest point of its outline is given there.

        Returns
        -------
        numpy.ndarray
            Water elevation, positive upward, of the broadcast shape [m].
        """
        xs, ys = np.broadcast_arrays(np.asarray(xq, dtype=np.float64), np.asarray(yq, dtype=np.float64))
        flat_x, flat_y = xs.ravel(), ys.ravel()
        heads = self._at(flat_x, flat_y)
        held = inside(self.hull, flat_x, flat_y)
        gaps = np.isnan(heads) & (held | (not inside_control))
        if gaps.any():
            heads[gaps] = self._on_outline(flat_x[gaps], flat_y[gaps])
        if inside_control:
            heads[~held] = np.nan
        return heads.reshape(xs.shape)

    def standard_error(self, xq: ArrayLike, yq: ArrayLike) -> Floats:
        """Return NaN: a triangulation knows no error of its own.

        Parameters as `gwnet.hydro.surfaces`.

        Returns
        -------
        numpy.ndarray
            NaN, of the broadcast shape [m].
        """
        return np.full(np.broadcast_shapes(np.shape(xq), np.shape(yq)), np.nan)

    def leave_one_out(self) -> LeaveOneOut:
        """Return what each level differs by from the surface of the others, triangulated anew without it.

        Returns
        -------
        LeaveOneOut
            Residuals; NaN for a corner of the hull, which lies outside the others. No standard errors.
        """
        residual = np.full(self.z.shape, np.nan)
        points = (np.column_stack([self.x, self.y]) - self._centre) / self._scale
        for position in range(self.z.size):
            others = np.arange(self.z.size) != position
            try:
                linear = LinearNDInterpolator(Delaunay(points[others]), self.z[others])
            except (QhullError, ValueError):
                continue
            residual[position] = self.z[position] - float(linear(points[position])[0])
        return LeaveOneOut(residual, np.full(self.z.shape, np.nan))

    def _at(self, x: Floats, y: Floats) -> Floats:
        points = (np.column_stack([x, y]) - self._centre) / self._scale
        return np.asarray(self._linear(points), dtype=np.float64)

    def _on_outline(self, x: Floats, y: Floats) -> Floats:
        """Return the heads at the nearest points of the outline, along whose sides they run linearly."""
        at_x, at_y = nearest_on_hull(self.hull, x, y)
        centre = self.hull.mean(axis=0)
        return self._at(at_x + 1e-9 * (centre[0] - at_x), at_y + 1e-9 * (centre[1] - at_y))


def fit(x: ArrayLike, y: ArrayLike, z: ArrayLike, *, names: Sequence[str] | None = None) -> TriangulatedSurface:
    """Fit a surface of plane triangles to heads.

    Parameters as `gwnet.hydro.surfaces`.

    Returns
    -------
    TriangulatedSurface
        The surface.

    Examples
    --------
    >>> surface = fit([0, 100, 0], [0, 0, 100], [10.0, 9.0, 8.0])
    >>> round(float(surface.predict(25, 25)), 6)
    9.25
    """
    xs, ys, zs = control_arrays(x, y, z, names=names)
    centre = np.array([xs.mean(), ys.mean()])
    scale = float(max(np.ptp(xs), np.ptp(ys)))
    triangles = Delaunay((np.column_stack([xs, ys]) - centre) / scale)
    return TriangulatedSurface(
        x=xs,
        y=ys,
        z=zs,
        hull=convex_hull(xs, ys),
        _centre=centre,
        _scale=scale,
        _linear=LinearNDInterpolator(triangles, zs),
    )
