"""Covariance of heads with distance: models, the empirical semivariogram, and a fit by restricted likelihood."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg.lapack import dpotrf, dpotrs, dtrtrs
from scipy.optimize import minimize
from scipy.spatial.distance import cdist

from gwnet.errors import AnalysisError, SettingsError
from gwnet.hydro.surfaces.barriers import Barriers
from gwnet.hydro.surfaces.correlation import LINEAR_AT_ZERO, MODELS, correlate

Floats = NDArray[np.float64]

#: What the linear drift of a surface may be: none (a constant mean) or a plane.
DRIFTS: Final = ("none", "linear")

#: Below this many wells a covariance is set by a rule and not fitted (project default).
LEAST_FITTED: Final = 8

#: Models tried by a fit unless others are named, in this order; the first wins a tie.
FITTED_MODELS: Final = ("spherical", "exponential", "matern")

#: Models tried where distances go around barriers: those that stay covariances then.
AROUND_BARRIERS: Final = ("spherical", "exponential")

_MOST_FITTED = 200
_RANGES = 12
_LONGEST_RANGE = 2.0


@dataclass(frozen=True)
class Covariance:
    """Covariance of heads with distance h, where a is the range and b the partial sill.

    Parameters
    ----------
    model : str
        Spherical, b(1 − 1.5 h/a + 0.5 (h/a)³) below a and 0 beyond; exponential, b exp(−3 h/a); gaussian,
        b exp(−3 (h/a)²); matern (of order 3/2), b(1 + t) exp(−t) with t = 4.744 h/a. The last three have fallen to
        5 % at the range (practical range). Linear has no sill: its semivariance b h/a goes on rising beyond the range,
        where it is b; its covariance is that less a constant, which serves within ten ranges.
    partial_sill_m2 : float
        Variance that is correlated with distance [m²].
    range_m : float
        Range [m].
    nugget_m2 : float, optional
        Variance of heads over the shortest distances, which is not measurement error: it counts at one place and
        nowhere else [m²].

    Raises
    ------
    SettingsError
        If the model is not known or a number is out of bounds.
    """

    model: str
    partial_sill_m2: float
    range_m: float
    nugget_m2: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what is not a covariance."""
        if self.model not in MODELS:
            message = f"Unknown covariance model {self.model!r}; expected one of {', '.join(MODELS)}."
            raise SettingsError(message)
        if not (self.partial_sill_m2 > 0.0 and self.range_m > 0.0 and self.nugget_m2 >= 0.0):
            message = (
                f"A covariance needs a positive partial sill and range and a nugget of at least 0, "
                f"not {self.partial_sill_m2:g}, {self.range_m:g} and {self.nugget_m2:g}."
            )
            raise SettingsError(message)

    @property
    def sill_m2(self) -> float:
        """Return the covariance at no distance: partial sill plus nugget, or the constant of the linear model [m²]."""
        at_zero = LINEAR_AT_ZERO if self.model == "linear" else 1.0
        return at_zero * self.partial_sill_m2 + self.nugget_m2

    def at(self, distance_m: Floats) -> Floats:
        """Return the covariance over distances, without the nugget.

        Parameters
        ----------
        distance_m : numpy.ndarray
            Distances, not negative [m].

        Returns
        -------
        numpy.ndarray
            Covariance [m²].
        """
        correlation = correlate(self.model, np.atleast_1d(np.asarray(distance_m) / self.range_m) ** 2)
        return self.partial_sill_m2 * correlation.reshape(np.shape(distance_m))


def variogram_of(text: str, *, unit_m: float = 1.0) -> Covariance:
    """Return the variogram that a text gives.

    Parameters
    ----------
    text : str
        Model, sill, range and nugget, separated by commas; the nugget is 0 when it is left out. The sill is that of the
        whole variogram, nugget included.
    unit_m : float, optional
        Metres in the unit of the numbers: range in it, sill and nugget in its square.

    Returns
    -------
    Covariance
        Partial sill, range and nugget in metres.

    Raises
    ------
    SettingsError
        If it is not a model and two or three numbers, or they are no variogram.

    Examples
    --------
    >>> variogram_of("spherical, 4.5, 3000, 0.5")
    Covariance(model='spherical', partial_sill_m2=4.0, range_m=3000.0, nugget_m2=0.5)
    """
    parts = [part.strip() for part in text.split(",")]
    fix = "Write MODEL,SILL,RANGE,NUGGET, for example spherical,4.5,3000,0.5."
    if len(parts) not in (3, 4):
        message = f"A variogram is a model, a sill, a range and a nugget, not {text!r}."
        raise SettingsError(message, fix=fix)
    try:
        sill, reach, nugget = (float(part) for part in (*parts[1:], "0")[:3])
    except ValueError:
        message = f"Sill, range and nugget of a variogram are numbers, not {', '.join(parts[1:])}."
        raise SettingsError(message, fix=fix) from None
    if not (np.isfinite([sill, reach, nugget]).all() and sill > nugget):
        message = f"The sill of a variogram, {sill:g}, holds its nugget, {nugget:g}, and must be greater."
        raise SettingsError(message, fix=fix)
    return Covariance(parts[0].lower(), (sill - nugget) * unit_m**2, reach * unit_m, nugget * unit_m**2)


def drift_columns(x: Floats, y: Floats, drift: str) -> Floats:
    """Return the columns of the drift: 1, or 1, x and y.

    Parameters
    ----------
    x, y : numpy.ndarray, shape (n,)
        Coordinates, centred and scaled by the caller.
    drift : str
        ``none`` or ``linear``.

    Returns
    -------
    numpy.ndarray, shape (n, 1) or (n, 3)
        Columns.

    Raises
    ------
    SettingsError
        If the drift is not known.
    """
    if drift not in DRIFTS:
        message = f"Unknown drift {drift!r}; expected one of {', '.join(DRIFTS)}."
        raise SettingsError(message)
    constant = np.ones_like(x)
    return constant[:, None] if drift == "none" else np.column_stack([constant, x, y])


def fit_covariance(
    x: ArrayLike,
    y: ArrayLike,
    z: ArrayLike,
    *,
    drift: str = "linear",
    measurement_variance_m2: ArrayLike = 0.0,
    models: Sequence[str] = FITTED_MODELS,
    nugget: bool = False,
    barriers: Barriers | None = None,
) -> Covariance:
    """Return the covariance that explains the heads best.

    Parameters as `gwnet.hydro.surfaces`.

    Parameters
    ----------
    x, y : array_like, shape (n,)
        Coordinates, no two points at one place [m].
    z : array_like, shape (n,)
        Heads [m].
    models : sequence of str, optional
        Models to try; the one of the largest likelihood is taken, the first in a tie.
    nugget : bool, optional
        Whether to fit a nugget as well.
    barriers : gwnet.hydro.surfaces.barriers.Barriers, optional
        Lines around which distances are taken; of the models only spherical and exponential are tried then.

    Raises
    ------
    AnalysisError
        If there are too few points for the drift.
    SettingsError
        If a model or the drift is not known.

    Notes
    -----
    Restricted maximum likelihood (Patterson and Thompson, 1971; for variograms in Cressie, 1993, section 2.6): the
    likelihood of the heads less their drift. The search starts from the best of twelve ranges between the shortest
    distance and twice the longest, each with the sill that would be best without measurement error, and ends with the
    simplex of Nelder and Mead; it has no random part. The range is kept within those limits. Of more than 200 wells,
    200 evenly picked in order of x are used.

    With fewer than 8 wells nothing is fitted: the first model is taken with the longest distance as range and the
    variance about the drift as sill.
    """
    if not models:
        raise SettingsError("No covariance model was named.")
    sample = sample_of(x, y, z, drift=drift, measurement_variance_m2=measurement_variance_m2, barriers=barriers)
    if barriers is not None:
        models = [model for model in models if model in AROUND_BARRIERS] or AROUND_BARRIERS
    spread, floor = sample.spread_m2, sample.floor_m2
    if sample.heads.size < LEAST_FITTED:
        return Covariance(models[0], max(spread, floor), sample.longest_m)
    # what is left about the drift is no more than measurement error: nothing to fit
    if spread <= floor:
        return Covariance(models[0], floor, sample.longest_m)
    search = _Search(sample.distance_m, sample.columns, sample.heads, sample.noise, spread)
    fits = [search.best(model, nugget=nugget) for model in models]
    return max(fits, key=lambda pair: pair[0])[1]


def _thinned(*arrays: Floats) -> tuple[Floats, ...]:
    count = arrays[0].size
    if count <= _MOST_FITTED:
        return arrays
    order = np.lexsort((arrays[1], arrays[0]))
    # evenly over x, so that the shortest and the longest distances stay
    kept = np.sort(order[np.linspace(0, count - 1, _MOST_FITTED).astype(np.int64)])
    return tuple(values[kept] for values in arrays)


@dataclass(frozen=True, eq=False)
class _Search:
    """Restricted likelihood of one set of heads, and the search for its largest value."""

    distance: Floats
    columns: Floats
    heads: Floats
    noise: Floats
    spread: float

    def best(self, model: str, *, nugget: bool) -> tuple[float, Covariance]:
        """Return the largest log likelihood of a model and where it is."""
        off_diagonal = self.distance[(self.distance > 0.0) & np.isfinite(self.distance)]
        # a range below the shortest distance or far beyond the longest is not seen in the heads
        limits = np.log([float(off_diagonal.min()), _LONGEST_RANGE * float(off_diagonal.max())])
        ranges = np.linspace(limits[0], limits[1], _RANGES)
        shares = np.log([0.05, 0.5]) if nugget else np.array([-np.inf])
        # the likelihood has several hills along the range; a simplex climbs one alone
        starts = [self._start(model, at, share, limits) for at in ranges for share in shares]

        def cost(values: Floats) -> float:
            beyond = float(max(0.0, limits[0] - values[0], values[0] - limits[1]))
            # a slope back into the limits, since the covariance is the same all along beyond them
            return -self._terms(self._covariance(model, values, limits))[0] + 1e3 * beyond

        first = min(starts, key=cost)
        ended = minimize(
            cost,
            first if nugget else first[:2],
            method="Nelder-Mead",
            options={"xatol": 1e-3, "fatol": 1e-5, "maxfev": 250},
        )
        covariance = self._covariance(model, ended.x, limits)
        return self._terms(covariance)[0], covariance

    def _start(self, model: str, reach: float, share: float, limits: Floats) -> Floats:
        """Return where to begin for a range and share of nugget: with the best sill for heads without error."""
        unit = self._covariance(model, np.array([reach, 0.0, share]), limits)
        _, quadratic = self._terms(unit, noise=np.zeros_like(self.noise))
        free = self.heads.size - self.columns.shape[1]
        # without measurement error the best sill has a closed form
        sill = quadratic / free if np.isfinite(quadratic) else self.spread
        return np.array([reach, np.log(max(sill, 1e-30)), share])

    @staticmethod
    def _covariance(model: str, values: Floats, limits: Floats) -> Covariance:
        reach = float(np.exp(np.clip(values[0], *limits)))
        # logarithms keep sill and range positive; the bounds keep their exponentials finite
        sill = float(np.exp(np.clip(values[1], -60.0, 60.0)))
        share = float(np.exp(np.minimum(values[2], 30.0))) if values.size > 2 else 0.0
        return Covariance(model, sill, reach, share * sill)

    def _terms(self, covariance: Covariance, noise: Floats | None = None) -> tuple[float, float]:
        """Return the restricted log likelihood, without its constant, and its quadratic form."""
        matrix = covariance.at(self.distance)
        # the last part keeps near wells under a smooth model positive definite
        matrix[np.diag_indices_from(matrix)] += (
            covariance.nugget_m2 + (self.noise if noise is None else noise) + 1e-12 * covariance.partial_sill_m2
        )
        size, quadratic, _ = restricted_terms(matrix, self.columns, self.heads)
        return -size - 0.5 * quadratic, quadratic


def restricted_terms(matrix: Floats, columns: Floats, heads: Floats) -> tuple[float, float, Floats]:
    """Return what the restricted likelihood of heads under a covariance is made of.

    Parameters
    ----------
    matrix : numpy.ndarray, shape (n, n)
        Covariance of the heads as measured; overwritten [m²].
    columns : numpy.ndarray, shape (n, p)
        Columns of the drift.
    heads : numpy.ndarray, shape (n,)
        Heads [m].

    Returns
    -------
    tuple
        Half the logarithm of the two determinants; the quadratic form of the heads about their drift; and the weights
        of the heads about their drift, shape (n,). Infinite where the matrix is no covariance.

    Notes
    -----
    The restricted log likelihood is the first, negated, less half the second (Patterson and Thompson, 1971).
    """
    # LAPACK itself: of matrices this small the checks of scipy.linalg take two thirds of the time
    lower, failed = dpotrf(matrix.T, lower=1, clean=0, overwrite_a=1)
    if not failed:
        white, failed = dtrtrs(lower, np.column_stack([columns, heads]), lower=1)
    if not failed:
        inner, failed = dpotrf(white[:, :-1].T @ white[:, :-1], lower=1, clean=0)
    if failed:  # no covariance for these wells: the search goes elsewhere
        return np.inf, np.inf, np.full(heads.shape, np.nan)
    about = white[:, -1] - white[:, :-1] @ dpotrs(inner, white[:, :-1].T @ white[:, -1], lower=1)[0]
    # half the logarithms of the two determinants, from the diagonals of their factors
    size = float(np.sum(np.log(np.diag(lower))) + np.sum(np.log(np.diag(inner))))
    weights, _ = dtrtrs(lower, about, lower=1, trans=1)
    return size, float(about @ about), weights


@dataclass(frozen=True, eq=False)
class Sample:
    """Heads that a covariance is fitted to.

    Attributes
    ----------
    distance_m : numpy.ndarray, shape (n, n)
        Distances between the wells; infinite where no way leads [m].
    longest_m : float
        Longest straight distance [m].
    columns : numpy.ndarray, shape (n, p)
        Columns of the drift.
    heads, noise : numpy.ndarray, shape (n,)
        Heads [m] and their variance as measured [m²].
    """

    distance_m: Floats
    longest_m: float
    columns: Floats
    heads: Floats
    noise: Floats

    @property
    def free(self) -> int:
        """Return how many heads there are beyond those that the drift takes up."""
        return int(self.heads.size - self.columns.shape[1])

    @property
    def spread_m2(self) -> float:
        """Return the variance of the heads about their drift [m²]."""
        residual = self.heads - self.columns @ np.linalg.lstsq(self.columns, self.heads, rcond=None)[0]
        return float(residual @ residual) / max(self.free, 1)

    @property
    def floor_m2(self) -> float:
        """Return the least sill: heads on a plane leave no spread, and a sill of 0 is no covariance [m²]."""
        return max(float(np.median(self.noise)), (1e-6 * float(np.ptp(self.heads))) ** 2, 1e-12)


def sample_of(
    x: ArrayLike,
    y: ArrayLike,
    z: ArrayLike,
    *,
    drift: str = "linear",
    measurement_variance_m2: ArrayLike = 0.0,
    barriers: Barriers | None = None,
) -> Sample:
    """Return heads with what a fit of their covariance needs.

    Parameters as `gwnet.hydro.surfaces`.

    Parameters
    ----------
    barriers : gwnet.hydro.surfaces.barriers.Barriers, optional
        Lines around which distances are taken.

    Raises
    ------
    AnalysisError
        If there are too few points for the drift.

    Notes
    -----
    Of more than 200 wells, 200 evenly picked in order of x are taken: each step of a search factors the matrix, and its
    time goes with the third power of the wells.
    """
    xs, ys, zs = (np.asarray(values, dtype=np.float64) for values in (x, y, z))
    noise = np.broadcast_to(np.asarray(measurement_variance_m2, dtype=np.float64), xs.shape)
    xs, ys, zs, noise = _thinned(xs, ys, zs, noise)
    places = np.column_stack([xs, ys])
    distance = cdist(places, places)
    longest = float(distance.max())
    # centred and scaled, or the columns of coordinates of kilometres would be nearly parallel
    columns = drift_columns((xs - xs.mean()) / longest, (ys - ys.mean()) / longest, drift)
    if xs.size < columns.shape[1]:
        message = f"{xs.size} wells are too few for a {drift} drift."
        raise AnalysisError(message)
    if barriers is not None:
        distance = barriers.distances(places, places)
    return Sample(distance, longest, columns, zs, noise)
