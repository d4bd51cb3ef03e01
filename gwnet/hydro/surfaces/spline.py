"""Heads interpolated by a thin-plate spline: the smoothest surface through every level.

It is solved in the space of weights without a plane, where its matrix is positive definite, and has the same closed
form for left-out levels as kriging.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import LinAlgError, cholesky, qr, solve_triangular

from gwnet.errors import AnalysisError
from gwnet.hydro.surfaces.correlation import squared_blocks
from gwnet.hydro.surfaces.hull import control_arrays, convex_hull, inside
from gwnet.hydro.surfaces.kriging_solution import LeaveOneOut
from gwnet.hydro.surfaces.variogram import drift_columns

Floats = NDArray[np.float64]

#: Stands for the square of no distance, whose logarithm is finite; its product is nothing.
_NO_DISTANCE: Final = 1e-300

#: Wells whose share in bending is below this part of the largest are those that carry the plane.
_CARRIES_PLANE: Final = 1e-10


@dataclass(frozen=True, eq=False)
class SplinedSurface:
    """A thin-plate spline through heads; made by `fit`.

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
    _mean: float
    _wells: Floats
    _weights: Floats
    _coefficients: Floats
    _bending: Floats

    def predict(self, xq: ArrayLike, yq: ArrayLike, *, inside_control: bool = False) -> Floats:
        """Return the interpolated heads.

        Parameters as `gwnet.hydro.surfaces`.

        Returns
        -------
        numpy.ndarray
            Water elevation, positive upward, of the broadcast shape [m].
        """
        xs = (np.asarray(xq, dtype=np.float64) - self._centre[0]) / self._scale
        ys = (np.asarray(yq, dtype=np.float64) - self._centre[1]) / self._scale
        shape = np.broadcast_shapes(xs.shape, ys.shape)
        estimates = np.empty(int(np.prod(shape)))
        for part, squared, scratch in squared_blocks(xs, ys, self._wells):
            np.dot(_bend(squared, scratch), self._weights, out=estimates[part])
        level, east, north = self._coefficients
        heads: Floats = estimates.reshape(shape) + (level + east * xs + north * ys) + self._mean
        return np.where(inside(self.hull, xq, yq), heads, np.nan) if inside_control else heads

    def standard_error(self, xq: ArrayLike, yq: ArrayLike) -> Floats:
        """Return NaN: a spline knows no error of its own.

        Parameters as `gwnet.hydro.surfaces`.

        Returns
        -------
        numpy.ndarray
            NaN, of the broadcast shape [m].
        """
        return np.full(np.broadcast_shapes(np.shape(xq), np.shape(yq)), np.nan)

    def leave_one_out(self) -> LeaveOneOut:
        """Return what each level differs by from the spline through the others.

        Returns
        -------
        LeaveOneOut
            Residuals; NaN for a well without which the others lie on one line. No standard errors.

        Notes
        -----
        With B the block of the levels in the inverse of the spline's matrix, the residual is (B z)_i / B_ii (Rippa,
        1999); nothing is fitted again.
        """
        carried = self._bending > _CARRIES_PLANE * max(float(self._bending.max()), _NO_DISTANCE)
        residual = self._weights / np.where(carried, self._bending, np.nan)
        return LeaveOneOut(residual, np.full(self.z.shape, np.nan))


def _bend(squared: Floats, scratch: Floats) -> Floats:
    """Turn squared distances into r² ln r², in place."""
    np.maximum(squared, _NO_DISTANCE, out=squared)
    np.log(squared, out=scratch)
    squared *= scratch
    return squared


def fit(x: ArrayLike, y: ArrayLike, z: ArrayLike, *, names: Sequence[str] | None = None) -> SplinedSurface:
    """Fit a thin-plate spline to heads.

    Parameters as `gwnet.hydro.surfaces`.

    Parameters
    ----------
    z : array_like, shape (n,)
        Water elevation, positive upward; taken as exact [m].

    Returns
    -------
    SplinedSurface
        The surface.

    Raises
    ------
    TooFewLevelsError
        If there are fewer than three wells.
    AnalysisError
        If the wells lie on one line, two share a place, or are too close together.

    Notes
    -----
    The surface z = a + b x + c y + sum of w_i r_i² ln r_i that meets every level and bends least (Duchon, 1977). The
    weights have no sum and no moments; they are found in the space of such weights (an orthogonal complement of the
    plane), where the matrix is positive definite. The mean head is taken off before anything is solved.

    Examples
    --------
    >>> surface = fit([0, 100, 0, 100], [0, 0, 100, 100], [10.0, 9.0, 10.0, 9.0])
    >>> round(float(surface.predict(50, 50)), 6)
    9.5
    """
    xs, ys, zs = control_arrays(x, y, z, names=names)
    centre = np.array([xs.mean(), ys.mean()])
    scale = float(max(np.ptp(xs), np.ptp(ys)))
    wells = (np.column_stack([xs, ys]) - centre) / scale
    mean = float(zs.mean())
    heads = zs - mean
    squared = (wells[:, None, 0] - wells[None, :, 0]) ** 2 + (wells[:, None, 1] - wells[None, :, 1]) ** 2
    matrix = _bend(squared, np.empty_like(squared))
    # In the space beside the plane the matrix is positive definite, which a Cholesky factor needs.
    basis, upper = qr(drift_columns(wells[:, 0], wells[:, 1], "linear"))
    plane, free = basis[:, :3], basis[:, 3:]
    weights, bending = np.zeros_like(heads), np.zeros_like(heads)
    if free.shape[1]:
        try:
            lower = cholesky(free.T @ matrix @ free, lower=True)
        except LinAlgError:
            message = "No spline can be fitted: some wells are too close together for it."
            raise AnalysisError(
                message, fix="Take kriging or triangulation, or name such wells as one cluster."
            ) from None
        white = solve_triangular(lower, free.T, lower=True)
        weights = white.T @ (white @ heads)
        bending = np.einsum("ij,ij->j", white, white)
    coefficients = solve_triangular(upper[:3], plane.T @ (heads - matrix @ weights))
    return SplinedSurface(
        x=xs,
        y=ys,
        z=zs,
        hull=convex_hull(xs, ys),
        _centre=centre,
        _scale=scale,
        _mean=mean,
        _wells=wells,
        _weights=weights,
        _coefficients=coefficients,
        _bending=bending,
    )
