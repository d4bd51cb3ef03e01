"""One way to ask for a surface, whichever method makes it, and the grid it is drawn from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gwnet.constants import SURFACE_METHODS
from gwnet.errors import SettingsError
from gwnet.hydro.surfaces import kriging, quadratic, spline, triangulation
from gwnet.hydro.surfaces.barriers import Barriers
from gwnet.hydro.surfaces.covariance_mixture import CovarianceMixture
from gwnet.hydro.surfaces.hull import inside
from gwnet.hydro.surfaces.kriging_solution import LeaveOneOut
from gwnet.hydro.surfaces.variogram import Covariance

Floats = NDArray[np.float64]

#: Lines of a grid along its longer side.
GRID_LINES: Final = 161

#: A regular line of a grid nearer than this share of the spacing to a line through a well is left out.
_TOO_NEAR = 0.25


class Surface(Protocol):
    """What every surface can do."""

    @property
    def x(self) -> Floats:
        """Return the eastings of the control [m]."""

    @property
    def y(self) -> Floats:
        """Return the northings of the control [m]."""

    @property
    def z(self) -> Floats:
        """Return the water elevations of the control [m]."""

    @property
    def hull(self) -> Floats:
        """Return the corners of the control's convex hull, anticlockwise [m]."""

    def predict(self, xq: ArrayLike, yq: ArrayLike, *, inside_control: bool = False) -> Floats:
        """Return the heads at points [m]."""

    def standard_error(self, xq: ArrayLike, yq: ArrayLike) -> Floats:
        """Return the standard errors at points, 95 % half-widths over 1.96; NaN where the method has none [m]."""

    def leave_one_out(self) -> LeaveOneOut:
        """Return what each level differs by from the surface of the others."""


def fit(
    method: str,
    x: ArrayLike,
    y: ArrayLike,
    z: ArrayLike,
    *,
    covariance: Covariance | CovarianceMixture | None = None,
    drift: str = "linear",
    measurement_variance_m2: ArrayLike = 0.0,
    barriers: Barriers | None = None,
    names: Sequence[str] | None = None,
) -> Surface:
    """Fit a surface to heads.

    Parameters as `gwnet.hydro.surfaces`.

    Parameters
    ----------
    method : str
        ``kriging``, ``spline``, ``triangulation`` or ``quadratic`` (trend surface); only kriging uses covariance, drift
        and measurement variance.
    covariance : Covariance or CovarianceMixture, optional
        Covariance as known, or several with their shares; fitted unless given.
    barriers : gwnet.hydro.surfaces.barriers.Barriers, optional
        Lines around which distances are taken; only kriging can.

    Returns
    -------
    Surface
        The surface.

    Raises
    ------
    SettingsError
        If the method is not known, or cannot go around barriers.
    TooFewLevelsError
        If there are fewer than three wells, or seven for a trend surface.
    AnalysisError
        If the wells lie on one line or two share a place.
    """
    if method == "kriging":
        return kriging.fit(
            x,
            y,
            z,
            covariance=covariance,
            drift=drift,
            measurement_variance_m2=measurement_variance_m2,
            barriers=barriers,
            names=names,
        )
    if barriers is not None and method in SURFACE_METHODS:
        message = f"A barrier ends inside the control; only kriging can go around its end, {method} cannot."
        raise SettingsError(message, fix="Take kriging, or draw the barrier right through the control.")
    if method == "spline":
        return spline.fit(x, y, z, names=names)
    if method == "triangulation":
        return triangulation.fit(x, y, z, names=names)
    if method == "quadratic":
        return quadratic.fit(x, y, z, names=names)
    message = f"Unknown method {method!r} for a surface; expected one of {', '.join(SURFACE_METHODS)}."
    raise SettingsError(message)


@dataclass(frozen=True, eq=False)
class Grid:
    """Heads on the crossings of lines, which need not be evenly spaced.

    Attributes
    ----------
    x : numpy.ndarray, shape (nx,)
        Eastings of the lines, rising [m].
    y : numpy.ndarray, shape (ny,)
        Northings of the lines, rising [m].
    water_elevation_m : numpy.ndarray, shape (ny, nx)
        Heads; NaN beyond control [m].
    extended_m : numpy.ndarray, shape (ny, nx)
        Heads of the whole rectangle; only for drawing lines that are then cut at the hull [m].
    hull : numpy.ndarray, shape (k, 2)
        Corners of the control's convex hull, anticlockwise [m].
    """

    x: Floats
    y: Floats
    water_elevation_m: Floats
    extended_m: Floats
    hull: Floats

    def at(self, xq: ArrayLike, yq: ArrayLike) -> Floats:
        """Return the heads between the lines, bilinear in each cell, as they are drawn.

        Parameters
        ----------
        xq, yq : array_like, shape (m,)
            Points within the rectangle [m].

        Returns
        -------
        numpy.ndarray, shape (m,)
            Heads [m].
        """
        xs, ys = np.asarray(xq, dtype=np.float64), np.asarray(yq, dtype=np.float64)
        column = np.clip(np.searchsorted(self.x, xs, side="right") - 1, 0, self.x.size - 2)
        row = np.clip(np.searchsorted(self.y, ys, side="right") - 1, 0, self.y.size - 2)
        right = (xs - self.x[column]) / (self.x[column + 1] - self.x[column])
        up = (ys - self.y[row]) / (self.y[row + 1] - self.y[row])
        z = self.extended_m
        lower = (1.0 - right) * z[row, column] + right * z[row, column + 1]
        upper = (1.0 - right) * z[row + 1, column] + right * z[row + 1, column + 1]
        return np.asarray((1.0 - up) * lower + up * upper, dtype=np.float64)

    @property
    def spacing_m(self) -> float:
        """Return the widest distance between two neighbouring lines [m]."""
        return float(max(np.diff(self.x).max(), np.diff(self.y).max()))


def make_grid(
    surface: Surface,
    *,
    lines: int = GRID_LINES,
    through: tuple[ArrayLike, ArrayLike] = ((), ()),
) -> Grid:
    """Return a surface on a grid over its control.

    Parameters
    ----------
    surface : Surface
        The surface.
    lines : int, optional
        Lines along the longer side; cells are about square.
    through : tuple of array_like, optional
        Eastings and northings of wells through which further lines run, so that the grid holds them exactly [m].
    """
    lowest, highest = surface.hull.min(axis=0), surface.hull.max(axis=0)
    step = float(np.max(highest - lowest)) / max(lines - 1, 1)
    x = _lines(lowest[0], highest[0], step, np.asarray(through[0], dtype=np.float64))
    y = _lines(lowest[1], highest[1], step, np.asarray(through[1], dtype=np.float64))
    heads = surface.predict(x[None, :], y[:, None])
    held = inside(surface.hull, x[None, :], y[:, None])
    return Grid(x, y, np.where(held, heads, np.nan), heads, surface.hull)


def _lines(low: float, high: float, step: float, through: Floats) -> Floats:
    count = max(2, round((high - low) / step) + 1)
    regular = np.linspace(low, high, count)
    wells = np.unique(through)
    if not wells.size:
        return regular
    place = np.searchsorted(wells, regular)
    left = np.abs(regular - wells[np.clip(place - 1, 0, wells.size - 1)])
    right = np.abs(regular - wells[np.clip(place, 0, wells.size - 1)])
    keep = np.minimum(left, right) > _TOO_NEAR * (high - low) / (count - 1)
    keep[[0, -1]] = True
    return np.unique(np.concatenate([regular[keep], wells]))
