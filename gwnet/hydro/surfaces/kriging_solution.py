"""Kriging with one known covariance: heads, standard errors, and leave-one-out errors in closed form.

Kriging is held in dual form: an estimate is a product of covariances and weights, worked out in place over blocks that
stay in the cache; on a grid, squared distances come from two tables of squares (`gwnet.hydro.surfaces.correlation`).
Differences and not products of coordinates make them, so that a node at a well is at distance 0. Variances need a
triangular solve a block, and leave-one-out errors one triangular inverse. Where a spherical covariance ends well within
the control, each tile of a grid meets only the wells in reach, by their inverse, if the covariance is well conditioned.
A map is computed with one thread of linear algebra, so that its bytes do not depend on the machine.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import LinAlgError, cho_solve, cholesky, solve_triangular
from scipy.linalg.blas import dtrsm
from scipy.linalg.lapack import dpotri, dtrtri
from scipy.spatial.distance import cdist

from gwnet.errors import AnalysisError
from gwnet.hydro.surfaces import correlation
from gwnet.hydro.surfaces.barriers import Barriers
from gwnet.hydro.surfaces.correlation import correlate, reached_share, squared_blocks, squared_tiles
from gwnet.hydro.surfaces.variogram import Covariance, drift_columns

Floats = NDArray[np.float64]

#: Below this share of wells in reach of a tile of nodes, grids are worked out tile by tile.
_SHORT_SHARE: Final = 0.6

#: Largest over smallest entry of the Cholesky factor's diagonal up to which the inverse keeps ten digits or so.
_WELL_POSED: Final = 1e3

#: Shares of the sill added to the diagonal, one after the other, where the covariance is not positive definite.
_JITTERS: Final = (0.0, 1e-12, 1e-10, 1e-8)


@dataclass(frozen=True, eq=False)
class LeaveOneOut:
    """What each well's level differs by from the estimate that the others give.

    Attributes
    ----------
    residual_m : numpy.ndarray, shape (n,)
        Level less estimate: positive where the well stands above what its neighbours suggest; NaN where the others
        give no estimate [m].
    standard_error_m : numpy.ndarray, shape (n,)
        Standard error of that difference; NaN where the method has none [m].
    """

    residual_m: Floats
    standard_error_m: Floats

    @property
    def mean_error_m(self) -> float:
        """Return the mean of the residuals that exist [m]; NaN when there are none."""
        known = self.residual_m[~np.isnan(self.residual_m)]
        return float(known.mean()) if known.size else float("nan")

    @property
    def rmse_m(self) -> float:
        """Return the root mean square of the residuals that exist [m]; NaN when there are none."""
        known = self.residual_m[~np.isnan(self.residual_m)]
        return float(np.sqrt(np.mean(known**2))) if known.size else float("nan")


@dataclass(frozen=True, eq=False)
class KrigingSolution:
    """Heads kriged with one known covariance; made by `solve`.

    Attributes
    ----------
    x, y, z : numpy.ndarray, shape (n,)
        Control [m].
    covariance : gwnet.hydro.surfaces.variogram.Covariance
        Covariance of the heads.
    drift : str
        ``none`` (ordinary kriging) or ``linear`` (universal kriging).
    measurement_variance_m2 : numpy.ndarray, shape (n,)
        Variance of each level as measured [m²].
    added_share : float
        Share of the sill that was added to the diagonal so that the covariance could be factored; mostly 0.
    barriers : gwnet.hydro.surfaces.barriers.Barriers or None
        Lines around which distances are taken.
    """

    x: Floats
    y: Floats
    z: Floats
    covariance: Covariance
    drift: str
    measurement_variance_m2: Floats
    added_share: float
    barriers: Barriers | None
    _wells: Floats
    _centre: Floats
    _scale: float
    _mean: float
    _lower: Floats
    _white_columns: Floats
    _inner: Floats
    _weights: Floats
    _coefficients: Floats

    def predict(self, xq: ArrayLike, yq: ArrayLike) -> Floats:
        """Return the estimated heads.

        Parameters as `gwnet.hydro.surfaces`.

        Returns
        -------
        numpy.ndarray
            Water elevation, positive upward, of the broadcast shape [m].

        Notes
        -----
        Dual form: drift plus the sum over the wells of covariance times weight, so one dot product a point (Journel,
        1989, from memory). A well without measurement variance is met exactly.
        """
        xs, ys = self._nodes(xq, yq)
        shape = np.broadcast_shapes(xs.shape, ys.shape)
        estimates = np.empty(int(np.prod(shape)))
        if self._is_short(xs, ys):
            for nodes, wells, near in self._tiles(xs, ys):
                estimates[nodes] = near @ self._weights[wells]
        else:
            for part, near in self._covariances(xs, ys):
                np.dot(near, self._weights, out=estimates[part])
        heads: Floats = estimates.reshape(shape) + self._drift(xs, ys) + self._mean
        return heads

    def standard_error(self, xq: ArrayLike, yq: ArrayLike) -> Floats:
        """Return the standard errors of the estimates.

        Parameters as `gwnet.hydro.surfaces`.

        Returns
        -------
        numpy.ndarray
            Square root of the kriging variance, of the broadcast shape [m].

        Notes
        -----
        The variance counts the nugget as part of the head (0 at a well without measurement variance) and the
        estimation of the drift. Where the covariance ends within a short range, each tile of a grid meets only the
        wells in reach, by the inverse of their covariance; else nodes are solved for with its Cholesky factor.
        """
        xs, ys = self._nodes(xq, yq)
        shape = np.broadcast_shapes(xs.shape, ys.shape)
        variance = np.empty(int(np.prod(shape)))
        flat_x, flat_y = (np.broadcast_to(values, shape).ravel() for values in (xs, ys))
        # most covariances are 0, and the few that are not need no triangular solve of all wells
        if self._is_short(xs, ys) and self._is_well_posed():
            self._variance_by_tiles(xs, ys, (flat_x, flat_y), variance)
            return np.sqrt(np.maximum(variance, 0.0)).reshape(shape)
        for part, near in self._covariances(xs, ys, correlation.SOLVED_BLOCK_VALUES):
            # in place: the block is as large as memory allows
            white = dtrsm(1.0, self._lower, near.T, lower=1, overwrite_b=1).T
            lack = self._columns(flat_x[part], flat_y[part]).T - self._white_columns.T @ white.T
            along = solve_triangular(self._inner, lack, lower=True, check_finite=False, overwrite_b=True)
            explained = np.einsum("ij,ij->i", white, white)
            variance[part] = self.covariance.sill_m2 - explained + np.einsum("ij,ij->j", along, along)
        return np.sqrt(np.maximum(variance, 0.0)).reshape(shape)

    def leave_one_out(self) -> LeaveOneOut:
        """Return what each level differs by from the estimate of the others.

        Returns
        -------
        LeaveOneOut
            Residuals and their standard errors, shape (n,); the covariance is kept, the drift is estimated anew.

        Notes
        -----
        With B the block of the levels in the inverse of the kriging matrix, the residual is (B z)_i / B_ii and its
        variance 1 / B_ii (Dubrule, 1983, from memory); nothing is fitted again. A well without which the others do
        not give the drift has NaN.
        """
        inverse, _ = dtrtri(self._lower, lower=1)
        diagonal = np.einsum("ij,ij->j", inverse, inverse)
        along = solve_triangular(self._lower.T, self._white_columns, lower=False, check_finite=False)
        along = solve_triangular(self._inner, along.T, lower=True, check_finite=False)
        block = diagonal - np.einsum("ij,ij->j", along, along)
        # 0 but for rounding where the others do not give the drift without this well
        carried = block > 1e-10 * diagonal
        block = np.where(carried, block, np.nan)
        return LeaveOneOut(self._weights / block, np.sqrt(1.0 / block))

    def _is_short(self, x: Floats, y: Floats) -> bool:
        """Return whether the covariance is nothing between most nodes and wells."""
        # of the models only the spherical one ends; distances around barriers are no tiles
        ends = self.covariance.model == "spherical" and self.barriers is None
        return ends and reached_share(x, y, self._wells) < _SHORT_SHARE

    def _is_well_posed(self) -> bool:
        """Return whether the inverse of the covariance may be used as it stands."""
        # the ratio of the diagonal is at most that of the condition, and known at once
        diagonal = np.diag(self._lower)
        return bool(diagonal.max() < _WELL_POSED * diagonal.min())

    def _tiles(self, x: Floats, y: Floats) -> Iterator[tuple[NDArray[np.int64], NDArray[np.int64], Floats]]:
        """Give the covariances of nodes with the wells in reach, tile by tile: nodes, wells, covariances."""
        for nodes, wells, squared in squared_tiles(x, y, self._wells):
            # before the distances are overwritten by correlations
            at_wells = np.nonzero(squared == 0.0) if self.covariance.nugget_m2 > 0.0 else None
            near = correlate(self.covariance.model, squared)
            near *= self.covariance.partial_sill_m2
            if at_wells is not None:
                near[at_wells] += self.covariance.nugget_m2
            yield nodes, wells, near

    def _variance_by_tiles(self, x: Floats, y: Floats, flat: tuple[Floats, Floats], variance: Floats) -> None:
        inverse, _ = dpotri(self._lower, lower=1)
        # the routine fills one half alone
        inverse = np.tril(inverse) + np.tril(inverse, -1).T
        onto_drift = solve_triangular(self._lower.T, self._white_columns, lower=False, check_finite=False)
        inward = solve_triangular(self._inner, np.eye(self._inner.shape[0]), lower=True, check_finite=False)
        columns = inward @ self._columns(*flat).T
        onto_drift = onto_drift @ inward.T
        for nodes, wells, near in self._tiles(x, y):
            explained = np.einsum("ij,ij->i", near @ inverse[np.ix_(wells, wells)], near)
            along = columns[:, nodes] - onto_drift[wells].T @ near.T
            variance[nodes] = self.covariance.sill_m2 - explained + np.einsum("ij,ij->j", along, along)

    def _nodes(self, xq: ArrayLike, yq: ArrayLike) -> tuple[Floats, Floats]:
        """Return coordinates about the centre, in ranges, as those of the wells are held."""
        x, y = np.asarray(xq, dtype=np.float64), np.asarray(yq, dtype=np.float64)
        reach = self.covariance.range_m
        return (x - self._centre[0]) / reach, (y - self._centre[1]) / reach

    def _columns(self, x: Floats, y: Floats) -> Floats:
        share = self.covariance.range_m / self._scale
        return drift_columns(x * share, y * share, self.drift)

    def _drift(self, x: Floats, y: Floats) -> Floats:
        values = self._coefficients
        share = self.covariance.range_m / self._scale
        if self.drift == "none":
            return np.asarray(values[0])
        return np.asarray(values[0] + share * (values[1] * x + values[2] * y))

    def _covariances(self, x: Floats, y: Floats, values: int | None = None) -> Iterator[tuple[slice, Floats]]:
        """Give the covariances of nodes with wells, shape (nodes, n), block by block."""
        nugget = self.covariance.nugget_m2
        for part, squared, scratch in self._squares(x, y, values):
            at_wells = np.nonzero(squared == 0.0) if nugget > 0.0 else None
            near = correlate(self.covariance.model, squared, scratch)
            near *= self.covariance.partial_sill_m2
            if at_wells is not None:
                near[at_wells] += nugget
            yield part, near

    def _squares(self, x: Floats, y: Floats, values: int | None) -> Iterator[tuple[slice, Floats, Floats]]:
        """Give the squared distances of nodes from wells in ranges, around the barriers if there are any."""
        if self.barriers is None:
            yield from squared_blocks(x, y, self._wells, values)
            return
        reach = self.covariance.range_m
        xs, ys = np.broadcast_arrays(x * reach + self._centre[0], y * reach + self._centre[1])
        points, wells = np.column_stack([xs.ravel(), ys.ravel()]), np.column_stack([self.x, self.y])
        step = max(1, correlation.BLOCK_VALUES // self.z.size)
        for first in range(0, points.shape[0], step):
            distance = self.barriers.distances(points[first : first + step], wells) / reach
            # rounding of the way to a well itself would leave out its nugget
            distance[distance < 1e-12] = 0.0
            yield slice(first, first + distance.shape[0]), distance**2, np.empty_like(distance)


def solve(
    wells: tuple[Floats, Floats, Floats],
    covariance: Covariance,
    *,
    drift: str,
    noise: Floats,
    barriers: Barriers | None,
) -> KrigingSolution:
    """Return heads kriged with one known covariance.

    Parameters
    ----------
    wells : tuple of numpy.ndarray, shape (n,)
        Eastings, northings and water elevations of the control, checked [m].
    covariance : gwnet.hydro.surfaces.variogram.Covariance
        Covariance of the heads.
    drift : str
        ``none`` or ``linear``.
    noise : numpy.ndarray, shape (n,)
        Variance of each level as measured [m²].
    barriers : gwnet.hydro.surfaces.barriers.Barriers or None
        Lines around which distances are taken.

    Raises
    ------
    AnalysisError
        If the covariance cannot be factored.

    Notes
    -----
    Coordinates are centred and scaled, and heads centred, before anything is solved. Kriging equations as in Cressie
    (1993), sections 3.2 and 3.4, with Cholesky factors of the covariance and of the drift.

    A covariance of distances around barriers need not be one: the spherical and the exponential model kept positive
    definite in trials with random wells about a line, smoother models did not always; what cannot be factored is
    refused.

    Examples
    --------
    >>> square = np.array([0.0, 100.0, 0.0, 100.0]), np.array([0.0, 0.0, 100.0, 100.0])
    >>> made = solve(
    ...     (*square, np.array([10.0, 9.0, 10.0, 9.0])),
    ...     Covariance("spherical", 1.0, 100.0),
    ...     drift="linear",
    ...     noise=np.zeros(4),
    ...     barriers=None,
    ... )
    >>> round(float(made.predict(50, 50)), 6)
    9.5
    """
    xs, ys, zs = wells
    centre = np.array([xs.mean(), ys.mean()])
    scale = float(max(np.ptp(xs), np.ptp(ys)))
    scaled = (np.column_stack([xs, ys]) - centre) / scale
    distance = cdist(scaled, scaled) * scale
    if barriers is not None:
        places = np.column_stack([xs, ys])
        distance = barriers.distances(places, places)
    lower, share = _factored(covariance, distance, noise)
    # heads far above the datum would lose digits against their differences
    mean = float(zs.mean())
    white_columns = solve_triangular(lower, drift_columns(scaled[:, 0], scaled[:, 1], drift), lower=True)
    white_heads = solve_triangular(lower, zs - mean, lower=True)
    inner = cholesky(white_columns.T @ white_columns, lower=True)
    coefficients = cho_solve((inner, True), white_columns.T @ white_heads)
    weights = solve_triangular(lower.T, white_heads - white_columns @ coefficients, lower=False)
    return KrigingSolution(
        x=xs,
        y=ys,
        z=zs,
        covariance=covariance,
        drift=drift,
        measurement_variance_m2=noise,
        added_share=share,
        barriers=barriers,
        _wells=(np.column_stack([xs, ys]) - centre) / covariance.range_m,
        _centre=centre,
        _scale=scale,
        _mean=mean,
        _lower=lower,
        _white_columns=white_columns,
        _inner=inner,
        _weights=weights,
        _coefficients=coefficients,
    )


def _factored(covariance: Covariance, distance: Floats, noise: Floats) -> tuple[Floats, float]:
    # ever larger parts of the sill on the diagonal, until rounding no longer makes the matrix indefinite
    for share in _JITTERS:
        matrix = covariance.at(distance)
        matrix[np.diag_indices_from(matrix)] += covariance.nugget_m2 + noise + share * covariance.sill_m2
        try:
            return cholesky(matrix, lower=True, check_finite=False, overwrite_a=True), share
        except LinAlgError:
            continue
    message = (
        f"The {covariance.model} covariance with range {covariance.range_m:g} m cannot be factored for "
        f"{distance.shape[0]} wells: some are too close together for it."
    )
    raise AnalysisError(message, fix="Take the spherical or exponential model, or give a nugget.")
