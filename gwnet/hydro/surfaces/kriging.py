"""Ordinary and universal kriging of heads: estimates, limits and leave-one-out errors, over one covariance or several.

With a known covariance the surface is one solution of the kriging equations. Else it is the mean of several solutions,
each with the share that the levels give its covariance (`gwnet.hydro.surfaces.covariance_mixture`). Everything that one
solution has in closed form the mean has as well, since shares and covariances are kept: estimates, leave-one-out errors
and weights are linear in them, and variances add to the differences between the solutions.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gwnet.errors import AnalysisError, SettingsError, ShapeError
from gwnet.hydro.surfaces.barriers import Barriers
from gwnet.hydro.surfaces.covariance_mixture import CovarianceMixture, fit_mixture
from gwnet.hydro.surfaces.hull import control_arrays, convex_hull, inside
from gwnet.hydro.surfaces.kriging_solution import KrigingSolution, LeaveOneOut, solve
from gwnet.hydro.surfaces.variogram import Covariance

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class KrigedSurface:
    """A kriged surface; made by `fit`.

    Attributes
    ----------
    x, y, z : numpy.ndarray, shape (n,)
        Control [m].
    mixture : gwnet.hydro.surfaces.covariance_mixture.CovarianceMixture
        Covariances of the heads with their shares; a given covariance has the share 1.
    drift : str
        ``none`` (ordinary kriging) or ``linear`` (universal kriging).
    measurement_variance_m2 : numpy.ndarray, shape (n,)
        Variance of each level as measured [m²].
    hull : numpy.ndarray, shape (k, 2)
        Corners of the control's convex hull, anticlockwise [m].
    barriers : gwnet.hydro.surfaces.barriers.Barriers or None
        Lines around which distances are taken.
    solutions : tuple of gwnet.hydro.surfaces.kriging_solution.KrigingSolution
        The heads kriged with each covariance.
    """

    x: Floats
    y: Floats
    z: Floats
    mixture: CovarianceMixture
    drift: str
    measurement_variance_m2: Floats
    hull: Floats
    barriers: Barriers | None
    solutions: tuple[KrigingSolution, ...]

    @property
    def covariance(self) -> Covariance:
        """Return the covariance with the largest share."""
        return self.mixture.largest

    def predict(self, xq: ArrayLike, yq: ArrayLike, *, inside_control: bool = False) -> Floats:
        """Return the estimated heads.

        Parameters as `gwnet.hydro.surfaces`.

        Returns
        -------
        numpy.ndarray
            Water elevation, positive upward, of the broadcast shape [m]. A well without measurement variance is met
            exactly.
        """
        heads = self._mean([solution.predict(xq, yq) for solution in self.solutions])
        return np.where(inside(self.hull, xq, yq), heads, np.nan) if inside_control else heads

    def standard_error(self, xq: ArrayLike, yq: ArrayLike) -> Floats:
        """Return the standard errors of the estimates: 95 % half-widths over 1.96.

        Parameters as `gwnet.hydro.surfaces`.

        Returns
        -------
        numpy.ndarray
            Of the broadcast shape [m]. With a given covariance the square root of the kriging variance; infinite where
            the levels say nothing of the scale of the covariance, as with three wells and a linear drift.

        Notes
        -----
        The variance counts the nugget as part of the head (0 at a well without measurement variance) and the
        estimation of the drift. Variances of several covariances, times the square of the quantile of t over that of
        the normal distribution, are averaged, and the variance between the estimates is added: the limits of the
        mixture of t distributions, to within some hundredths in trials.
        """
        errors = [solution.standard_error(xq, yq) for solution in self.solutions]
        # With one covariance nothing is apart, and the estimates need not be worked out.
        heads = [solution.predict(xq, yq) for solution in self.solutions] if len(self.solutions) > 1 else errors
        return np.sqrt(self.combined_variance(np.square(errors), np.asarray(heads)))

    def leave_one_out(self) -> LeaveOneOut:
        """Return what each level differs by from the estimate of the others.

        Returns
        -------
        LeaveOneOut
            Residuals and their standard errors, shape (n,); covariances and shares are kept, the drift is estimated
            anew.
        """
        left_out = [solution.leave_one_out() for solution in self.solutions]
        residuals = np.array([each.residual_m for each in left_out])
        errors = np.array([each.standard_error_m for each in left_out])
        return LeaveOneOut(self._mean(list(residuals)), np.sqrt(self.combined_variance(errors**2, residuals)))

    def combined_variance(self, variances: Floats, estimates: Floats) -> Floats:
        """Return the variance of estimates over all covariances.

        Parameters
        ----------
        variances : numpy.ndarray, shape (k, …)
            Variance by each covariance, or covariances of several estimates [m²].
        estimates : numpy.ndarray, shape (k, …)
            What is estimated by each covariance [m].

        Returns
        -------
        numpy.ndarray
            Square of the 95 % half-width over 1.96 [m²].
        """
        if np.isinf(self.mixture.widening):
            return np.full(np.shape(variances)[1:], np.inf)
        within = self.mixture.widening**2 * self._mean(list(variances))
        if len(self.solutions) == 1:
            return within
        return within + self._mean(list((estimates - self._mean(list(estimates))) ** 2))

    def _mean(self, values: Sequence[Floats]) -> Floats:
        """Return the mean over the solutions, each with its share."""
        if len(values) == 1:
            return values[0]
        total = self.mixture.shares[0] * values[0]
        for share, of_solution in zip(self.mixture.shares[1:], values[1:], strict=True):
            total += share * of_solution
        return total


def fit(
    x: ArrayLike,
    y: ArrayLike,
    z: ArrayLike,
    *,
    covariance: Covariance | CovarianceMixture | None = None,
    drift: str = "linear",
    measurement_variance_m2: ArrayLike = 0.0,
    barriers: Barriers | None = None,
    names: Sequence[str] | None = None,
) -> KrigedSurface:
    """Fit a kriged surface to heads.

    Parameters as `gwnet.hydro.surfaces`.

    Parameters
    ----------
    covariance : Covariance or CovarianceMixture, optional
        Covariance of the heads as known, or several with their shares;
        `gwnet.hydro.surfaces.covariance_mixture.fit_mixture` unless given.
    barriers : gwnet.hydro.surfaces.barriers.Barriers, optional
        Lines around which distances are taken, so that wells on the other side are far neighbours or none.

    Returns
    -------
    KrigedSurface
        The surface.

    Raises
    ------
    TooFewLevelsError
        If there are fewer than three wells.
    AnalysisError
        If the wells lie on one line, two share a place, or the covariance cannot be factored.
    ShapeError
        If the arrays do not fit together.
    SettingsError
        If a linear variogram is given with barriers.

    Examples
    --------
    >>> surface = fit([0, 100, 0, 100], [0, 0, 100, 100], [10.0, 9.0, 10.0, 9.0])
    >>> round(float(surface.predict(50, 50)), 6)
    9.5
    """
    xs, ys, zs = control_arrays(x, y, z, names=names)
    try:
        noise = np.broadcast_to(np.asarray(measurement_variance_m2, dtype=np.float64), xs.shape)
    except ValueError:
        message = f"measurement_variance_m2 must be one number or of shape {xs.shape}."
        raise ShapeError(message) from None
    # written so that NaN is refused, too
    if not np.all(noise >= 0.0):
        raise AnalysisError("A measurement variance is negative or not a number.")
    if barriers is not None and isinstance(covariance, Covariance) and covariance.model == "linear":
        message = "The linear variogram is no covariance of distances around a barrier."
        raise SettingsError(message, fix="Take the spherical or exponential model.")
    if covariance is None:
        mixture = fit_mixture(xs, ys, zs, drift=drift, measurement_variance_m2=noise, barriers=barriers)
    else:
        mixture = CovarianceMixture((covariance,), (1.0,)) if isinstance(covariance, Covariance) else covariance
    return KrigedSurface(
        x=xs,
        y=ys,
        z=zs,
        mixture=mixture,
        drift=drift,
        measurement_variance_m2=noise,
        hull=convex_hull(xs, ys),
        barriers=barriers,
        solutions=tuple(
            solve((xs, ys, zs), one, drift=drift, noise=noise, barriers=barriers) for one in mixture.covariances
        ),
    )
