"""Several covariances of heads with the share that the levels give each, for limits that hold with few wells.

A few wells do not say how heads vary with distance: the covariance that explains them best is one of many that explain
them nearly as well, and limits by it alone hold too seldom (of 95 % limits some 65 % at 6 wells). Covariances of
several models, ranges and nuggets are therefore weighted by their restricted likelihood with the scale integrated out;
the limits are those of Student's t (Handcock and Stein, 1993, Technometrics 35: 403–410; from memory). Beforehand the
models are alike, a third of the prior goes to a nugget, and the density of the range falls with its root up to three
times the longest distance (project defaults, chosen so that limits hold for fields of all these models and are narrow).
The gaussian model is left out: near wells about a pumped one make it likely, and it is wrong farther off.
"""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import t as student

from gwnet.constants import NORMAL_95
from gwnet.errors import SettingsError
from gwnet.hydro.surfaces.barriers import Barriers
from gwnet.hydro.surfaces.correlation import correlate
from gwnet.hydro.surfaces.variogram import (
    AROUND_BARRIERS,
    FITTED_MODELS,
    Covariance,
    Sample,
    fit_covariance,
    restricted_terms,
    sample_of,
)

Floats = NDArray[np.float64]

#: Shares of the sill that are nugget, with the prior share of each.
_NUGGETS: Final = ((0.0, 2 / 3), (0.25, 1 / 3))

#: Ranges to begin with: shortest and longest as shares of the longest distance, and how many.
_SHORTEST: Final = 0.06
_LONGEST: Final = 3.0
_COUNT: Final = 6

#: Density of the logarithm of the range, as a power of the range.
_RANGE_POWER: Final = 0.5

#: Further ranges are put, at most so many times, between two of which one has a log likelihood within `_NEAR_BEST` of
#: the best, where they differ by more than `_STEEP`, or beside the best one where it stands out by more than `_PEAKED`.
_STEEP: Final = 1.5
_PEAKED: Final = 0.5
_FINEST: Final = 0.02
_NEAR_BEST: Final = 5.0
_REFINEMENTS: Final = 6

#: Most covariances of a mixture, and wells times covariances above which there are fewer.
_MOST: Final = 12
_WORK: Final = 480

#: Share of the sill on the diagonal that keeps near wells under a smooth model positive definite.
_JITTER: Final = 1e-10

#: Steps of the search for a sill, and how near its quadratic form must come to the degrees of freedom.
_SILL_STEPS: Final = 8
_SILL_TOLERANCE: Final = 0.01


@dataclass(frozen=True)
class CovarianceMixture:
    """Covariances of heads with their shares; made by `fit_mixture`.

    Parameters
    ----------
    covariances : tuple of gwnet.hydro.surfaces.variogram.Covariance
        Covariances.
    shares : tuple of float
        Share of each, positive and together 1.
    degrees_of_freedom : float
        Of the scale; infinite where it is known, 0 where the levels say nothing of it.

    Raises
    ------
    SettingsError
        If there is no covariance, or the shares are not those of the covariances.
    """

    covariances: tuple[Covariance, ...]
    shares: tuple[float, ...]
    degrees_of_freedom: float = math.inf

    def __post_init__(self) -> None:
        """Refuse what is no mixture."""
        fits = 0 < len(self.covariances) == len(self.shares) and min(self.shares, default=0.0) > 0.0
        if not fits or abs(sum(self.shares) - 1.0) > 1e-9:
            message = f"A mixture needs covariances with shares that sum to 1, not {self.shares}."
            raise SettingsError(message)

    @cached_property
    def widening(self) -> float:
        """Return how many times wider the limits are than with a known scale: quantile of t over that of the normal.

        Infinite without degrees of freedom.
        """
        if self.degrees_of_freedom <= 0.0:
            return math.inf
        return (
            1.0
            if math.isinf(self.degrees_of_freedom)
            else float(student.ppf(0.975, self.degrees_of_freedom)) / (NORMAL_95)
        )

    @property
    def largest(self) -> Covariance:
        """Return the covariance with the largest share, the first of equal ones."""
        return self.covariances[int(np.argmax(self.shares))]

    @property
    def model_shares(self) -> dict[str, float]:
        """Return the share of each model, largest first."""
        shares: dict[str, float] = defaultdict(float)
        for covariance, share in zip(self.covariances, self.shares, strict=True):
            shares[covariance.model] += share
        return dict(sorted(shares.items(), key=lambda pair: -pair[1]))


def fit_mixture(
    x: ArrayLike,
    y: ArrayLike,
    z: ArrayLike,
    *,
    drift: str = "linear",
    measurement_variance_m2: ArrayLike = 0.0,
    barriers: Barriers | None = None,
) -> CovarianceMixture:
    """Return the covariances that explain heads, each with its share.

    Parameters as `gwnet.hydro.surfaces`.

    Parameters
    ----------
    x, y : array_like, shape (n,)
        Coordinates, no two points at one place [m].
    z : array_like, shape (n,)
        Heads [m].
    barriers : gwnet.hydro.surfaces.barriers.Barriers, optional
        Lines around which distances are taken; only spherical and exponential covariances are taken then.

    Raises
    ------
    AnalysisError
        If there are too few points for the drift.
    SettingsError
        If the drift is not known.

    Notes
    -----
    Each covariance has the sill with which the squares of the heads about their drift, weighted, sum to the degrees of
    freedom (Paule and Mandel, 1982, J. Res. Natl. Bur. Stand. 87: 377–385; from memory): n less the columns of the
    drift. Without measurement error that is the best sill, and the share is exact; with it, the proportion of error to
    sill is taken as known. The sill is at least the median measurement variance.

    Of the covariances at most 12 are kept, evenly over their shares in order of model, nugget and range, and fewer of
    more than 40 wells. Of more than 240 wells one is left, which `gwnet.hydro.surfaces.variogram.fit_covariance` finds.
    """
    sample = sample_of(x, y, z, drift=drift, measurement_variance_m2=measurement_variance_m2, barriers=barriers)
    count = np.asarray(z).size
    degrees = float(count - sample.columns.shape[1])
    most = min(_MOST, _WORK // count)
    if degrees == 0.0 or most < 2 or sample.spread_m2 <= sample.floor_m2:
        single = fit_covariance(
            x, y, z, drift=drift, measurement_variance_m2=measurement_variance_m2, barriers=barriers
        )
        return CovarianceMixture((single,), (1.0,), degrees)
    rows = _rows_of(sample, around=barriers is not None)
    covariances = [covariance for row in rows for covariance in row.covariances]
    shares = np.exp(np.concatenate([row.log_shares() for row in rows]) - max(row.log_shares().max() for row in rows))
    # evenly over the shares, so that each kept one speaks for its neighbours
    summed = np.cumsum(shares / shares.sum())
    positions = np.minimum(np.searchsorted(summed, (np.arange(most) + 0.5) / most), len(covariances) - 1)
    kept, times = np.unique(positions, return_counts=True)
    return CovarianceMixture(
        tuple(covariances[position] for position in kept.tolist()), tuple((times / most).tolist()), degrees
    )


class _Row:
    """Covariances of one model and nugget over rising ranges, with their likelihoods."""

    def __init__(self, sample: Sample, model: str, nugget: float, prior: float) -> None:
        self.sample, self.model, self.nugget, self.prior = sample, model, nugget, prior
        self.log_range = np.linspace(math.log(_SHORTEST), math.log(_LONGEST), _COUNT)
        found = [self._fit(at) for at in self.log_range.tolist()]
        self.covariances = [covariance for covariance, _ in found]
        self.likelihood = np.array([likelihood for _, likelihood in found])

    def refine(self, best: float) -> bool:
        """Put ranges between those where the likelihood is steep near the best; return whether there were such."""
        with np.errstate(invalid="ignore"):
            falls = np.abs(np.diff(self.likelihood))
        near = np.maximum(self.likelihood[1:], self.likelihood[:-1]) > best - _NEAR_BEST
        # on either side of the row's best range, which may lie between two that are about as likely
        top = int(np.argmax(self.likelihood))
        beside = np.zeros(falls.shape, dtype=np.bool_)
        beside[max(top - 1, 0) : top + 1] = True
        peaked = beside & (falls[beside].max() > _PEAKED)
        gaps = np.flatnonzero((~(falls < _STEEP) | peaked) & near & (np.diff(self.log_range) > _FINEST))
        for gap in gaps[::-1].tolist():
            between = 0.5 * (self.log_range[gap] + self.log_range[gap + 1])
            covariance, likelihood = self._fit(float(between))
            self.log_range = np.insert(self.log_range, gap + 1, between)
            self.covariances.insert(gap + 1, covariance)
            self.likelihood = np.insert(self.likelihood, gap + 1, likelihood)
        return bool(gaps.size)

    def log_shares(self) -> Floats:
        """Return the logarithms of likelihood times prior times the ranges that each one speaks for."""
        middles = 0.5 * (self.log_range[1:] + self.log_range[:-1])
        ends = np.concatenate([self.log_range[:1], middles, self.log_range[-1:]])
        return np.asarray(
            self.likelihood + _RANGE_POWER * self.log_range + np.log(np.diff(ends)) + math.log(self.prior)
        )

    def _fit(self, log_range: float) -> tuple[Covariance, float]:
        """Return the covariance of a range with its sill, and the log likelihood with the scale integrated out."""
        sample, reach = self.sample, math.exp(log_range) * self.sample.longest_m
        unit = (1.0 - self.nugget) * correlate(self.model, (sample.distance_m / reach) ** 2)
        unit[np.diag_indices_from(unit)] += self.nugget + _JITTER
        size, quadratic, _ = restricted_terms(unit.copy(), sample.columns, sample.heads)
        sill = quadratic / sample.free
        if np.isfinite(quadratic) and sample.noise.max() > 1e-6 * sill:
            sill, size, quadratic = _sill_with_noise(sample, unit, max(sill, sample.floor_m2))
        elif np.isfinite(quadratic):
            size, quadratic = size + 0.5 * sample.free * math.log(sill), float(sample.free)
        likelihood = -size - _half_of(quadratic, sample.free) if np.isfinite(quadratic) else -math.inf
        sill = sill if np.isfinite(sill) else sample.spread_m2
        covariance = Covariance(self.model, (1.0 - self.nugget) * sill, reach, self.nugget * sill)
        return covariance, likelihood


def _half_of(quadratic: float, free: int) -> float:
    """Return what the quadratic form takes from the log likelihood, with the scale integrated out."""
    # a sill kept up by the measurement error is not free to fall: the scale is known then
    if quadratic < (1.0 - 2.0 * _SILL_TOLERANCE) * free:
        return 0.5 * (free * math.log(free) + quadratic - free)
    return 0.5 * free * math.log(quadratic)


def _sill_with_noise(sample: Sample, unit: Floats, sill: float) -> tuple[float, float, float]:
    """Return the sill at which the quadratic form is the degrees of freedom, and the terms of the likelihood there."""
    terms = math.inf, math.inf
    for _ in range(_SILL_STEPS):
        matrix = sill * unit
        matrix[np.diag_indices_from(matrix)] += sample.noise
        size, quadratic, weights = restricted_terms(matrix, sample.columns, sample.heads)
        terms = size, quadratic
        excess = quadratic / sample.free - 1.0
        slope = float(weights @ unit @ weights)
        at_floor = sill <= sample.floor_m2 and excess <= 0.0
        if not np.isfinite(quadratic) or abs(excess) < _SILL_TOLERANCE or at_floor:
            break
        # the reciprocal of the form is nearly a line in the sill
        sill = max(sill + quadratic * excess / slope, sample.floor_m2)
    return sill, *terms


def _rows_of(sample: Sample, *, around: bool) -> list[_Row]:
    rows = [
        _Row(sample, model, nugget, share)
        for model in FITTED_MODELS
        if not around or model in AROUND_BARRIERS
        for nugget, share in _NUGGETS
    ]
    for _ in range(_REFINEMENTS):
        best = max(float(row.likelihood.max()) for row in rows)
        refined = [row.refine(best) for row in rows]
        if not any(refined):
            break
    return rows
