"""Weights of a kriged surface: how each level bears on it, errors of sums and differences, and what a well is worth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import cho_factor, cho_solve
from scipy.spatial.distance import cdist

from gwnet.errors import AnalysisError, ShapeError
from gwnet.hydro.surfaces.kriging import KrigedSurface
from gwnet.hydro.surfaces.kriging_solution import KrigingSolution
from gwnet.hydro.surfaces.variogram import drift_columns

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class KrigingSystem:
    """The equations behind a kriged surface of n wells; made by `kriging_system`.

    Attributes
    ----------
    surface : gwnet.hydro.surfaces.kriging.KrigedSurface
        The surface.
    equations : tuple of Equations
        Those of each of its covariances.
    """

    surface: KrigedSurface
    equations: tuple[Equations, ...]

    def weights(self, xq: ArrayLike, yq: ArrayLike) -> Floats:
        """Return the weight of each level in the estimates at points.

        Parameters
        ----------
        xq, yq : array_like, shape (m,)
            Points [m].

        Returns
        -------
        numpy.ndarray, shape (m, n)
            Weights; those of a point sum to 1.
        """
        nodes = _points(xq, yq)
        shares = self.surface.mixture.shares
        parts = [share * one.weights(nodes) for share, one in zip(shares, self.equations, strict=True)]
        return np.asarray(np.sum(parts, axis=0))

    def error_covariance(self, xq: ArrayLike, yq: ArrayLike) -> Floats:
        """Return the covariance of the errors of the estimates at points.

        Parameters
        ----------
        xq, yq : array_like, shape (m,)
            Points [m]; m squared numbers are held.

        Returns
        -------
        numpy.ndarray, shape (m, m)
            Covariance of true head less estimate; its diagonal is the square of the standard error [m²].

        Notes
        -----
        With weights W, covariances K between points and wells, C of the levels and P between points, it is
        P - W Kᵀ - K Wᵀ + W C Wᵀ, from the definition. Of several covariances it is the mean of these, widened as the
        limits are, and of the products of the differences between their estimates.
        """
        nodes = _points(xq, yq)
        widening = self.surface.mixture.widening
        total = np.zeros((nodes.shape[0], nodes.shape[0]))
        if np.isinf(widening):
            return np.full(total.shape, np.inf)
        mean = self.surface.predict(nodes[:, 0], nodes[:, 1])
        for share, one in zip(self.surface.mixture.shares, self.equations, strict=True):
            weights = one.weights(nodes)
            total += share * widening**2 * one.error_covariance(nodes, weights)
            # The total variance: the mean of the variances, and the variance of the estimates, which differ by
            # covariance.
            apart = one.solution.predict(nodes[:, 0], nodes[:, 1]) - mean
            total += share * np.outer(apart, apart)
        return total

    def combined_error(self, xq: ArrayLike, yq: ArrayLike, factors: ArrayLike) -> float:
        """Return the standard error of a sum of estimates, each with its factor.

        Parameters
        ----------
        xq, yq : array_like, shape (m,)
            Points [m].
        factors : array_like, shape (m,)
            Factors: shares of an area for a mean, areas for a volume, 1 and -1 over a distance for a gradient.

        Returns
        -------
        float
            Standard error, a 95 % half-width over 1.96, in metres times the unit of the factors; infinite where the
            levels say nothing of the scale.

        Notes
        -----
        Errors at points near each other are alike, so a mean is known better than a point but never as well as if they
        were independent (block kriging; Isaaks and Srivastava, 1989, chapter 13).
        """
        if np.isinf(self.surface.mixture.widening):
            return float("inf")
        shares = np.asarray(factors, dtype=np.float64)
        # Rounding may leave less than nothing of a sum that is known exactly.
        return float(np.sqrt(max(float(shares @ self.error_covariance(xq, yq) @ shares), 0.0)))


@dataclass(frozen=True, eq=False)
class Equations:
    """The kriging equations of one covariance.

    Attributes
    ----------
    solution : gwnet.hydro.surfaces.kriging_solution.KrigingSolution
        Their solution.
    matrix_m2 : numpy.ndarray, shape (n, n)
        Covariance of the levels as measured [m²].
    inverse : numpy.ndarray, shape (n, n)
        Block of the levels in the inverse of the kriging matrix [1/m²].
    """

    solution: KrigingSolution
    matrix_m2: Floats
    inverse: Floats
    _points: Floats
    _drift_weights: Floats
    _centre: Floats
    _scale: float

    def weights(self, nodes: Floats) -> Floats:
        """Return the weight of each level in the estimates at points.

        Parameters
        ----------
        nodes : numpy.ndarray, shape (m, 2)
            Points [m].

        Returns
        -------
        numpy.ndarray, shape (m, n)
            Weights.
        """
        scaled = (nodes - self._centre) / self._scale
        columns = drift_columns(scaled[:, 0], scaled[:, 1], self.solution.drift)
        weights: Floats = self._between(nodes, self._points) @ self.inverse + columns @ self._drift_weights.T
        return weights

    def error_covariance(self, nodes: Floats, weights: Floats) -> Floats:
        """Return the covariance of the errors of the estimates at points.

        Parameters
        ----------
        nodes : numpy.ndarray, shape (m, 2)
            Points [m].
        weights : numpy.ndarray, shape (m, n)
            Weights of the levels there.

        Returns
        -------
        numpy.ndarray, shape (m, m)
            Covariance [m²].
        """
        crossed = weights @ self._between(nodes, self._points).T
        between = self._between(nodes, nodes)
        covariance: Floats = between - crossed - crossed.T + weights @ self.matrix_m2 @ weights.T
        return covariance

    def left_out(self) -> tuple[Floats, Floats]:
        """Return of each level its difference from the estimate of the others, and the diagonal of the inverse.

        Returns
        -------
        tuple of numpy.ndarray, shape (n,)
            Differences [m], and diagonal [1/m²]; NaN where the others do not give the drift.
        """
        diagonal = np.diag(self.inverse)
        plain = np.diag(np.linalg.inv(self.matrix_m2))
        # A level without which the drift is not determined leaves a diagonal of rounding errors only.
        block = np.where(diagonal > 1e-10 * plain, diagonal, np.nan)
        # Without their mean, which the drift takes up anyway: elevations of hundreds of metres would cost digits.
        heads = self.solution.z - self.solution.z.mean()
        return (self.inverse @ heads) / block, block

    def _between(self, first: Floats, second: Floats) -> Floats:
        distance = cdist(first, second)
        near = self.solution.covariance.at(distance)
        # The nugget is of the ground and not of the reading, so that a node on a well shares it.
        near[distance == 0.0] += self.solution.covariance.nugget_m2
        return near


def kriging_system(surface: KrigedSurface) -> KrigingSystem:
    """Return the equations behind a kriged surface.

    Parameters as `gwnet.hydro.surfaces`.

    Returns
    -------
    KrigingSystem
        Weights and errors, of the same covariances, drift and measurement variances.

    Examples
    --------
    >>> from gwnet.hydro.surfaces import kriging
    >>> surface = kriging.fit([0, 100, 0, 100], [0, 0, 100, 100], [10.0, 9.0, 10.0, 9.0])
    >>> kriging_system(surface).weights([50.0], [50.0]).round(6).tolist()
    [[0.25, 0.25, 0.25, 0.25]]
    """
    return KrigingSystem(surface, tuple(_equations(solution) for solution in surface.solutions))


def _equations(solution: KrigingSolution) -> Equations:
    points = _points(solution.x, solution.y)
    covariance = solution.covariance
    centre, scale = points.mean(axis=0), float(np.ptp(points, axis=0).max())
    matrix = covariance.at(cdist(points, points))
    matrix[np.diag_indices_from(matrix)] += (
        covariance.nugget_m2 + solution.measurement_variance_m2 + solution.added_share * covariance.sill_m2
    )
    factor = cho_factor(matrix, lower=True)
    # Eastings of millions of metres beside a column of ones would leave no digits for the drift.
    scaled = (points - centre) / scale
    columns = drift_columns(scaled[:, 0], scaled[:, 1], solution.drift)
    inverse = cho_solve(factor, np.eye(points.shape[0]))
    carried = cho_solve(factor, columns)
    drift_weights: Floats = np.asarray(np.linalg.solve(columns.T @ carried, carried.T).T, dtype=np.float64)
    block = inverse - drift_weights @ carried.T
    return Equations(
        solution=solution,
        matrix_m2=matrix,
        inverse=0.5 * (block + block.T),
        _points=points,
        _drift_weights=drift_weights,
        _centre=centre,
        _scale=scale,
    )


def _points(x: ArrayLike, y: ArrayLike) -> Floats:
    xs, ys = np.asarray(x, dtype=np.float64).ravel(), np.asarray(y, dtype=np.float64).ravel()
    if xs.shape != ys.shape:
        message = f"x and y must be of one length, not {xs.shape} and {ys.shape}."
        raise ShapeError(message)
    return np.column_stack([xs, ys])


@dataclass(frozen=True, eq=False)
class Worth:
    """What the surface would lose without each of its n wells.

    Attributes
    ----------
    mean_change_m : numpy.ndarray, shape (n,)
        Mean over the control of the absolute change of the surface when the well is left out; NaN where the others give
        no surface [m].
    largest_change_m : numpy.ndarray, shape (n,)
        Largest absolute change over the control [m].
    error_m : float
        Root mean square over the control of the kriging standard error, with all wells [m].
    error_without_m : numpy.ndarray, shape (n,)
        The same without the well [m].
    residual_m : numpy.ndarray, shape (n,)
        Level less the estimate of the others [m].
    """

    mean_change_m: Floats
    largest_change_m: Floats
    error_m: float
    error_without_m: Floats
    residual_m: Floats


def worth_of_wells(surface: KrigedSurface, x: ArrayLike, y: ArrayLike, area_m2: ArrayLike) -> Worth:
    """Return what each well is worth to a kriged surface, without fitting anything again.

    Parameters
    ----------
    surface : gwnet.hydro.surfaces.kriging.KrigedSurface
        The surface.
    x, y : array_like, shape (m,)
        Points over the control, as `gwnet.hydro.surfaces.surface_sums.hull_nodes` [m].
    area_m2 : array_like, shape (m,)
        Area that each stands for; only their proportions count [m²].

    Returns
    -------
    Worth
        Change of surface and error by leaving out each well.

    Raises
    ------
    AnalysisError
        If the areas do not sum to more than 0.

    Notes
    -----
    With b the diagonal of the inverse's block, r = (level - estimate of the others) and w the well's weight at a
    point, leaving the well out lowers the surface there by w r and raises the kriging variance by w² / b: adding a
    level to the others is one step of a recursive estimate whose gain is w and whose innovation r has variance 1 / b.
    Both are exact for the same covariance, which is kept; the drift is estimated anew. Of several covariances the
    shares are kept as well.
    """
    areas = np.asarray(area_m2, dtype=np.float64)
    total = float(areas.sum())
    if not total > 0.0:
        raise AnalysisError("The areas that a network's worth is averaged over do not sum to more than 0.")
    area_shares = areas / total
    system, nodes = kriging_system(surface), _points(x, y)
    change, residual = np.zeros((nodes.shape[0], surface.z.size)), np.zeros(surface.z.size)
    estimates, variances = [], []
    for share, one in zip(surface.mixture.shares, system.equations, strict=True):
        weights, (left_out, block) = one.weights(nodes), one.left_out()
        change += share * weights * left_out
        residual += share * left_out
        alone = one.solution.predict(nodes[:, 0], nodes[:, 1])[:, None] - weights * left_out
        estimates.append(alone)
        variances.append(one.solution.standard_error(nodes[:, 0], nodes[:, 1])[:, None] ** 2 + weights**2 / block)
    size = np.abs(change)
    without = surface.combined_variance(np.array(variances), np.array(estimates))
    return Worth(
        mean_change_m=area_shares @ size,
        largest_change_m=size.max(axis=0),
        error_m=float(np.sqrt(area_shares @ surface.standard_error(x, y) ** 2)),
        error_without_m=np.sqrt(area_shares @ without),
        residual_m=residual,
    )


@dataclass(frozen=True)
class Candidate:
    """A place for a further well.

    Attributes
    ----------
    x, y : float
        The place [m].
    error_m : float
        Kriging standard error there, with the wells and the candidates before it [m].
    error_with_m : float
        Root mean square over the control of the standard error when a well is added there as well [m].
    """

    x: float
    y: float
    error_m: float
    error_with_m: float


def places_for_wells(
    surface: KrigedSurface,
    x: ArrayLike,
    y: ArrayLike,
    area_m2: ArrayLike,
    *,
    count: int = 3,
    measurement_variance_m2: float = 0.0,
) -> tuple[Candidate, ...]:
    """Return where the kriging error is largest, each place with those before it taken as wells.

    Parameters
    ----------
    surface : gwnet.hydro.surfaces.kriging.KrigedSurface
        The surface.
    x, y : array_like, shape (m,)
        Points over the control [m]; m squared numbers are held.
    area_m2 : array_like, shape (m,)
        Area that each stands for [m²].
    count : int, optional
        How many places.
    measurement_variance_m2 : float, optional
        Variance with which a level at a new well would be measured [m²].

    Returns
    -------
    tuple of Candidate
        In order; fewer where there are fewer points.

    Notes
    -----
    Where the error is largest depends on where the wells stand and on the covariance, not on the levels of the day
    beyond what the covariance was fitted to.
    """
    nodes = _points(x, y)
    shares = np.asarray(area_m2, dtype=np.float64) / float(np.sum(area_m2))
    errors = kriging_system(surface).error_covariance(nodes[:, 0], nodes[:, 1])
    candidates = []
    for _ in range(min(count, nodes.shape[0])):
        variance = np.maximum(np.diag(errors), 0.0)
        place = int(np.argmax(variance))
        gain = errors[:, place].copy()
        errors -= np.outer(gain, gain) / (variance[place] + measurement_variance_m2)
        left = float(np.sqrt(max(float(shares @ np.maximum(np.diag(errors), 0.0)), 0.0)))
        at_x, at_y = nodes[place]
        candidates.append(Candidate(float(at_x), float(at_y), float(np.sqrt(variance[place])), left))
    return tuple(candidates)
