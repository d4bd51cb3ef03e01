"""A quadratic trend surface: the smooth curved sheet that heads depart least from, which it does not pass through."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

from gwnet.constants import NORMAL_95
from gwnet.errors import AnalysisError, TooFewLevelsError
from gwnet.hydro.surfaces.hull import control_arrays, convex_hull, inside
from gwnet.hydro.surfaces.kriging_solution import LeaveOneOut

Floats = NDArray[np.float64]

#: Coefficients of the surface.
TERMS: Final = 6

#: Fewest wells: one more than there are coefficients, so that something is left to judge the surface by.
LEAST_QUADRATIC: Final = TERMS + 1

#: Wells lie on one curve of the second degree when they depart from it by less than this share of their spread
#: (project default, as for wells on one line).
_ON_CURVE: Final = 1e-3

#: A well whose leverage is this near to 1 carries a coefficient alone; the others give no surface.
_ALONE: Final = 1e-9


@dataclass(frozen=True, eq=False)
class QuadraticSurface:
    """A quadratic trend surface through the midst of heads; made by `fit`.

    Attributes
    ----------
    x, y, z : numpy.ndarray, shape (n,)
        Control [m].
    hull : numpy.ndarray, shape (k, 2)
        Corners of the control's convex hull, anticlockwise [m].
    residual_m : numpy.ndarray, shape (n,)
        Level less surface: positive where a well stands above it [m].
    residual_sd_m : float
        Root of the residuals' sum of squares over n − 6 [m].
    r_squared : float
        Share of the heads' variance that the surface explains; NaN where all heads are the same.
    """

    x: Floats
    y: Floats
    z: Floats
    hull: Floats
    residual_m: Floats
    residual_sd_m: float
    r_squared: float
    _centre: Floats
    _axes: Floats
    _mean: float
    _values: Floats
    _upper_inverse: Floats
    _leverage: Floats

    @property
    def degrees_of_freedom(self) -> int:
        """Return the levels beyond the six that the coefficients need."""
        return int(self.z.size) - TERMS

    def predict(self, xq: ArrayLike, yq: ArrayLike, *, inside_control: bool = False) -> Floats:
        """Return the heads of the surface.

        Parameters as `gwnet.hydro.surfaces`.

        Returns
        -------
        numpy.ndarray
            Water elevation, positive upward, of the broadcast shape [m].
        """
        heads = np.asarray(self._terms(xq, yq) @ self._values + self._mean, dtype=np.float64)
        return np.where(inside(self.hull, xq, yq), heads, np.nan) if inside_control else heads

    def standard_error(self, xq: ArrayLike, yq: ArrayLike) -> Floats:
        """Return the 95 % half-widths of a head at points over 1.96, as of every surface.

        Parameters as `gwnet.hydro.surfaces`.

        Returns
        -------
        numpy.ndarray
            Of the broadcast shape [m].

        Notes
        -----
        Prediction limits: t s √(1 + v' (X'X)⁻¹ v) with v the terms at the point, s the residual standard deviation and
        t the 97.5 % quantile of Student's t with n − 6 degrees of freedom (Draper and Smith, 1998, section 5.1; from
        memory). The 1 is the head's own departure from the trend. They take departures as independent from well to
        well; where neighbours depart alike, so does what lies between them.
        """
        white = self._terms(xq, yq) @ self._upper_inverse
        student = float(stdtrit(self.degrees_of_freedom, 0.975))
        spread = np.sqrt(1.0 + np.sum(white**2, axis=-1))
        return np.asarray(student / NORMAL_95 * self.residual_sd_m * spread, dtype=np.float64)

    def leave_one_out(self) -> LeaveOneOut:
        """Return what each level differs by from the surface through the others.

        Returns
        -------
        LeaveOneOut
            Residuals and their standard errors; NaN for a well without which the others lie on one curve of the second
            degree.

        Notes
        -----
        The residual over 1 less the leverage (Cook and Weisberg, 1982, section 2.2; from memory); its standard error
        is s / √(1 − leverage).
        """
        free = 1.0 - self._leverage
        free = np.where(free > _ALONE, free, np.nan)
        return LeaveOneOut(self.residual_m / free, self.residual_sd_m / np.sqrt(free))

    def expand(self, x: float, y: float) -> Floats:
        """Return the coefficients of the surface about a point.

        Parameters
        ----------
        x, y : float
            The point that coordinates are counted from [m].

        Returns
        -------
        numpy.ndarray, shape (6,)
            Of 1, x, y, x², xy and y², with x and y counted from the point [m, m/m, m/m, 1/m, 1/m, 1/m].
        """
        level, first, second, square, product, other = self._values
        along = self._axes.T
        curve = along @ np.array([[square, 0.5 * product], [0.5 * product, other]]) @ self._axes
        away = np.array([x, y], dtype=np.float64) - self._centre
        slope = along @ np.array([first, second])
        level = self._mean + level + slope @ away + away @ curve @ away
        slope = slope + 2.0 * curve @ away
        return np.array([level, *slope, curve[0, 0], 2.0 * curve[0, 1], curve[1, 1]])

    def _terms(self, xq: ArrayLike, yq: ArrayLike) -> Floats:
        return _terms(xq, yq, self._centre, self._axes)


def _terms(xq: ArrayLike, yq: ArrayLike, centre: Floats, axes: Floats) -> Floats:
    """Return the six terms at points, in coordinates along the main axes of the control."""
    east = np.asarray(xq, dtype=np.float64) - centre[0]
    north = np.asarray(yq, dtype=np.float64) - centre[1]
    first, second = (row[0] * east + row[1] * north for row in axes)
    return np.stack(np.broadcast_arrays(1.0, first, second, first**2, first * second, second**2), axis=-1)


def fit(x: ArrayLike, y: ArrayLike, z: ArrayLike, *, names: Sequence[str] | None = None) -> QuadraticSurface:
    """Fit a quadratic trend surface to heads.

    Parameters as `gwnet.hydro.surfaces`.

    Parameters
    ----------
    z : array_like, shape (n,)
        Water elevation of at least seven wells, positive upward; all count alike [m].

    Returns
    -------
    QuadraticSurface
        The surface.

    Raises
    ------
    TooFewLevelsError
        If there are fewer than seven wells.
    AnalysisError
        If the wells lie on one line, or on one curve of the second degree (two lines, a circle), or two share a place.

    Notes
    -----
    h = a + b x + c y + d x² + e xy + f y² by ordinary least squares (Davis, 2002, chapter 5, trend surfaces; from
    memory). It is solved by orthogonal triangles in coordinates from the centre along the main axes of the control,
    each in units of its spread: a surface of the second degree is the same in any such coordinates, and those of a
    map grid would spoil it.

    Examples
    --------
    >>> x, y = np.array([0, 100, 200, 0, 100, 200, 0, 90]), np.array([0, 0, 0, 100, 100, 100, 200, 210])
    >>> surface = fit(x, y, 10.0 - 0.01 * x + 1e-4 * y**2)
    >>> round(float(surface.predict(50, 50)), 6)
    9.75
    """
    xs, ys, zs = control_arrays(x, y, z, names=names)
    if xs.size < LEAST_QUADRATIC:
        listed = f": {', '.join(names)}" if names is not None and len(names) else ""
        message = f"A quadratic trend surface needs at least {LEAST_QUADRATIC} wells; {xs.size} can be used{listed}."
        raise TooFewLevelsError(message, fix="Take kriging, or measure more wells of this aquifer on one day.")
    centre = np.array([xs.mean(), ys.mean()])
    _, spread, turned = np.linalg.svd(np.column_stack([xs, ys]) - centre, full_matrices=False)
    axes = turned * (np.sqrt(xs.size) / spread)[:, None]
    terms = _terms(xs, ys, centre, axes)
    least = float(np.linalg.svd(terms, compute_uv=False)[-1])
    if least <= _ON_CURVE * np.sqrt(xs.size):
        message = f"The {xs.size} wells lie on one curve of the second degree, such as two lines or a circle."
        raise AnalysisError(message, fix="A quadratic trend surface needs wells off it; take kriging.")
    basis, upper = np.linalg.qr(terms)
    mean = float(zs.mean())
    heads = zs - mean
    values = np.linalg.solve(upper, basis.T @ heads)
    residual = heads - terms @ values
    square_sum, whole = float(residual @ residual), float(heads @ heads)
    return QuadraticSurface(
        x=xs,
        y=ys,
        z=zs,
        hull=convex_hull(xs, ys),
        residual_m=residual,
        residual_sd_m=float(np.sqrt(square_sum / (xs.size - TERMS))),
        r_squared=1.0 - square_sum / whole if whole > 0.0 else float("nan"),
        _centre=centre,
        _axes=axes,
        _mean=mean,
        _values=values,
        _upper_inverse=np.linalg.inv(upper),
        _leverage=np.sum(basis**2, axis=1),
    )
