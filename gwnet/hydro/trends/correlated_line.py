"""Straight lines through serially correlated values, with the uncertainty of the correlation in their limits.

The values are a line plus a disturbance whose correlation falls by the same factor every year, plus independent
scatter. Neither the correlation nor the share of the scatter is known: both are on a grid, each point of which is
weighted by its restricted likelihood with the scale integrated out. The posterior of every number is then a mixture of
Student's t. One best correlation in the place of the mixture makes limits that are too narrow.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr

from gwnet.errors import ShapeError, TooFewLevelsError

Floats = NDArray[np.float64]

#: Correlations from one quarter to the next on the grid. Each weighs as much as the interval around it: all
#: correlations of quarters are equally likely beforehand (project default, after simulation).
QUARTERLY = (0.0, 0.15, 0.3, 0.45, 0.6, 0.7, 0.8, 0.86, 0.9, 0.93, 0.95, 0.965, 0.98, 0.99, 0.995)
#: Shares of independent scatter in the variance, and their weights beforehand (project default).
SCATTER = (0.0, 0.2, 0.5, 0.8)
SCATTER_WEIGHTS = (0.55, 0.15, 0.15, 0.15)
#: Least standard deviation of values [m]: a straight line without scatter has limits all the same (project default:
#: values are rounded to a micrometre).
LEAST_SPREAD = 1e-6
#: Steps of bisection to a quantile; each halves the interval.
BISECTIONS = 50


@dataclass(frozen=True, slots=True, eq=False)
class CorrelatedLine:
    """Posterior of the coefficients of a linear model with correlated errors.

    Attributes
    ----------
    weights : ndarray of float64, shape (g,)
        Posterior weight of each point of the grid; their sum is 1.
    correlation : ndarray of float64, shape (g,)
        Correlation from one year to the next of the correlated part.
    scatter : ndarray of float64, shape (g,)
        Share of independent scatter in the variance.
    coefficients : ndarray of float64, shape (g, k)
        Best coefficients at each point.
    covariances : ndarray of float64, shape (g, k, k)
        Squared scales of the t of the coefficients.
    variance : ndarray of float64, shape (g,)
        Variance of the errors at each point.
    degrees : int
        Degrees of freedom: values less coefficients.
    end_state : ndarray of float64, shape (g, k + 1)
        The correlated part at the last time as it is expected: that of the columns of the design, then of the values.
    end_variance : ndarray of float64, shape (g,)
        What is left of its variance, as a share of that of the errors.
    """

    weights: Floats
    correlation: Floats
    scatter: Floats
    coefficients: Floats
    covariances: Floats
    variance: Floats
    degrees: int
    end_state: Floats
    end_variance: Floats

    def probability_below(self, rows: Floats, level: float) -> Floats:
        """Return the probability that sums of the coefficients are below a level.

        Parameters
        ----------
        rows : ndarray of float64, shape (t, k)
            Weights of the coefficients in each sum.
        level : float
            The level.

        Returns
        -------
        ndarray of float64, shape (t,)
            Posterior probabilities.
        """
        centre, spread = self._sums(rows)
        return np.asarray(self.weights @ stdtr(self.degrees, (level - centre) / spread), dtype=np.float64)

    def quantile(self, rows: Floats, probability: float) -> Floats:
        """Return quantiles of sums of the coefficients.

        Parameters
        ----------
        rows : ndarray of float64, shape (t, k)
            Weights of the coefficients in each sum.
        probability : float
            Probability of being below the quantile.

        Returns
        -------
        ndarray of float64, shape (t,)
            Quantiles, by bisection.
        """
        centre, spread = self._sums(rows)
        heavy = self.weights > 1e-9
        centre, spread, weights = centre[heavy], spread[heavy], self.weights[heavy]
        low, high = (centre - 1e3 * spread).min(axis=0), (centre + 1e3 * spread).max(axis=0)
        for _ in range(BISECTIONS):
            middle = (low + high) / 2.0
            below = weights @ stdtr(self.degrees, (middle - centre) / spread) < probability * weights.sum()
            low, high = np.where(below, middle, low), np.where(below, high, middle)
        return np.asarray((low + high) / 2.0, dtype=np.float64)

    def two_sided(self, place: int) -> float:
        """Return the two-sided probability of a coefficient on the other side of 0.

        Parameters
        ----------
        place : int
            Place of the coefficient.
        """
        row = np.zeros((1, self.coefficients.shape[1]))
        row[0, place] = 1.0
        # each tail by itself: one less the other loses the small probabilities
        tails = self.probability_below(row, 0.0), self.probability_below(-row, 0.0)
        return min(1.0, 2.0 * min(float(tail[0]) for tail in tails))

    def turned(self) -> CorrelatedLine:
        """Return the posterior for the values turned round, so that what rises falls."""
        state = self.end_state.copy()
        state[:, -1] = -state[:, -1]
        return replace(self, coefficients=-self.coefficients, end_state=state)

    def correlation_after(self, years: float) -> float:
        """Return the posterior mean of the correlation of values so many years apart, scatter included.

        Parameters
        ----------
        years : float
            Time between the values, above 0 [years].
        """
        return float(self.weights @ ((1.0 - self.scatter) * self.correlation**years))

    def _sums(self, rows: Floats) -> tuple[Floats, Floats]:
        """Return centre and scale of sums of the coefficients, each of shape (g, t)."""
        centre = self.coefficients @ rows.T
        square = np.einsum("tk,gkl,tl->gt", rows, self.covariances, rows)
        return centre, np.sqrt(np.maximum(square, 0.0)) + 1e-300


def fit_correlated_line(
    times: Floats, values: Floats, design: Floats, beforehand: Floats | None = None
) -> CorrelatedLine:
    """Fit a linear model whose errors are serially correlated, over a grid of correlations.

    Parameters
    ----------
    times : ndarray of float64, shape (n,)
        Times, ascending [years].
    values : ndarray of float64, shape (n,)
        Values, without NaN.
    design : ndarray of float64, shape (n, k)
        Columns of the model, of full rank.
    beforehand : ndarray of float64, shape (g,), optional
        Weights of the points of the grid, as of `gwnet.hydro.trends.shared_memory.share_memory`; those of `error_grid`
        unless given.

    Returns
    -------
    CorrelatedLine
        The posterior.

    Raises
    ------
    ShapeError
        If the shapes do not fit or the times do not ascend.
    TooFewLevelsError
        If there is no degree of freedom left.

    Notes
    -----
    Errors have the covariance σ²[(1 − s) ρ^|t_i − t_j| + s δ_ij]. Values and design are made independent one after the
    other by the Kalman filter of that model, for all points of the grid at once. With a flat prior of the coefficients
    and 1/σ for σ the posterior weight of a point is the restricted likelihood |V|^(−1/2) |X'V⁻¹X|^(−1/2) R^(−(n−k)/2)
    times the prior of the point, R the residual sum of squares, and the coefficients have a multivariate t with n − k
    degrees of freedom (Harville, 1974; Berger, De Oliveira and Sansó, 2001; from memory).

    References
    ----------
    .. [1] Harville, D. A. (1974). Bayesian inference for variance components using only error contrasts. Biometrika 61,
       383–385.
    .. [2] Berger, J. O., De Oliveira, V. and Sansó, B. (2001). Objective Bayesian analysis of spatially correlated
       data. J. American Statistical Association 96, 1361–1374.

    Examples
    --------
    >>> times = np.arange(8.0)
    >>> design = np.column_stack([np.ones(8), times])
    >>> line = fit_correlated_line(times, 2.0 + 0.5 * times, design)
    >>> round(float(line.quantile(np.array([[0.0, 1.0]]), 0.5)[0]), 4)
    0.5
    """
    n = times.size
    if times.shape != (n,) or values.shape != (n,) or design.ndim != 2 or len(design) != n:
        message = f"Shapes differ: times {times.shape}, values {values.shape}, design {design.shape}."
        raise ShapeError(message)
    if not (np.diff(times) > 0.0).all():
        raise ShapeError("Times must ascend, none twice.")
    k = design.shape[1]
    if n <= k:
        message = f"A line with {k} coefficients needs more values than that; found {n}."
        raise TooFewLevelsError(message)
    correlation, scatter, prior = error_grid()
    prior = prior if beforehand is None else beforehand
    white, log_determinant, state, left = whiten(times, np.column_stack([design, values]), correlation, scatter)
    columns, response = white[:, :, :k], white[:, :, k]
    squares = np.einsum("gni,gnj->gij", columns, columns)
    inverse = np.linalg.inv(squares)
    moments = np.einsum("gni,gn->gi", columns, response)
    coefficients = np.einsum("gij,gj->gi", inverse, moments)
    residuals = response - np.einsum("gni,gi->gn", columns, coefficients)
    # beyond the floor all points of the grid fit equally well
    rest = np.maximum((residuals * residuals).sum(axis=1), n * LEAST_SPREAD**2)
    degrees = n - k
    log_weight = np.log(prior) - (log_determinant + np.linalg.slogdet(squares)[1] + degrees * np.log(rest)) / 2.0
    weights = np.exp(log_weight - log_weight.max())
    variance = rest / degrees
    return CorrelatedLine(
        weights=weights / weights.sum(),
        correlation=correlation,
        scatter=scatter,
        coefficients=coefficients,
        covariances=inverse * variance[:, None, None],
        variance=variance,
        degrees=degrees,
        end_state=state,
        end_variance=left,
    )


def whiten(
    times: Floats, columns: Floats, correlation: Floats, scatter: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """Make columns of correlated values independent, for several correlations at once.

    Parameters
    ----------
    times : ndarray of float64, shape (n,)
        Times, ascending [years].
    columns : ndarray of float64, shape (n, c)
        Columns.
    correlation : ndarray of float64, shape (g,)
        Correlations from one year to the next.
    scatter : ndarray of float64, shape (g,)
        Shares of independent scatter.

    Returns
    -------
    tuple of ndarray
        Independent columns of unit variance, shape (g, n, c); logarithms of the determinants of the correlation
        matrices, shape (g,); the correlated part expected at the last time, shape (g, c), and the variance that is left
        of it, shape (g,).

    Examples
    --------
    >>> white, _, _, _ = whiten(np.array([0.0, 1.0]), np.array([[1.0], [1.0]]), np.array([0.6]), np.array([0.0]))
    >>> white[0, :, 0].round(3).tolist()
    [1.0, 0.5]
    """
    n, c = columns.shape
    g = correlation.size
    white = np.empty((n, g, c))
    log_determinant = np.zeros(g)
    state, left = np.zeros((g, c)), 1.0 - scatter
    carried = correlation ** np.diff(times)[:, None]
    for i in range(n):
        if i:
            factor = carried[i - 1]
            state = state * factor[:, None]
            left = left * factor**2 + (1.0 - scatter) * (1.0 - factor**2)
        spread = left + scatter
        new = columns[i] - state
        white[i] = new / np.sqrt(spread)[:, None]
        log_determinant += np.log(spread)
        gain = left / spread
        state = state + gain[:, None] * new
        left = left * (1.0 - gain)
    return white.transpose(1, 0, 2), log_determinant, state, left


@lru_cache(maxsize=1)
def error_grid() -> tuple[Floats, Floats, Floats]:
    """Return correlations from year to year, shares of scatter and weights beforehand of all points of the grid."""
    quarterly = np.array(QUARTERLY)
    edges = np.concatenate([[0.0], (quarterly[1:] + quarterly[:-1]) / 2.0, [1.0]])
    points = []
    for correlation, width in zip(quarterly**4, np.diff(edges), strict=True):
        if correlation == 0.0:
            # independent values have no scatter of their own
            points.append((0.0, 0.0, width))
            continue
        points += [(correlation, s, width * w) for s, w in zip(SCATTER, SCATTER_WEIGHTS, strict=True)]
    correlation, scatter, prior = np.array(points).T
    return correlation, scatter, prior


def first_passage(
    line: CorrelatedLine,
    rows: Floats,
    after: Floats,
    level: float,
    *,
    draws: int = 2000,
    seed: int = 1,
) -> NDArray[np.int64]:
    """Draw which of the values to come is the first at or below a level.

    Parameters
    ----------
    line : CorrelatedLine
        Posterior of the line.
    rows : ndarray of float64, shape (t, k)
        Weights of the coefficients in the expected value at each time to come.
    after : ndarray of float64, shape (t,)
        Times after the last value, ascending [years].
    level : float
        The level.
    draws : int
        Futures that are drawn.
    seed : int
        Seed of the draws.

    Returns
    -------
    ndarray of int64, shape (draws,)
        Place of the first such value in each future; t where there is none.

    Notes
    -----
    Each future has a point of the grid, a scale and coefficients from the posterior, and goes on from the state of the
    correlated part at the last value.
    """
    random = np.random.default_rng(seed)
    t, k = rows.shape
    edges = np.cumsum(line.weights)
    # evenly spaced, so that each point of the grid has its share of the draws
    point = np.searchsorted(edges, (np.arange(draws) + 0.5) / draws * edges[-1])
    scale = np.sqrt(line.degrees / random.chisquare(line.degrees, draws))
    root = np.linalg.cholesky(line.covariances + 1e-18 * np.eye(k))
    drawn = line.coefficients[point] + scale[:, None] * np.einsum(
        "dij,dj->di", root[point], random.normal(size=(draws, k))
    )
    deviation = scale * np.sqrt(line.variance[point])
    scatter, correlation = line.scatter[point], line.correlation[point]
    state = line.end_state[point, k] - np.einsum("di,di->d", line.end_state[point, :k], drawn)
    state = state + deviation * np.sqrt(line.end_variance[point]) * random.normal(size=draws)
    first = np.full(draws, t, dtype=np.int64)
    waiting = np.arange(draws)
    for i, step in enumerate(np.diff(after, prepend=0.0)):
        factor = correlation**step
        fresh = deviation * np.sqrt((1.0 - scatter) * (1.0 - factor**2))
        state = factor * state + fresh * random.normal(size=state.size)
        value = drawn @ rows[i] + state + deviation * np.sqrt(scatter) * random.normal(size=state.size)
        hit = value <= level
        if not hit.any():
            continue
        first[waiting[hit]] = i
        # only those still above go on
        on = ~hit
        waiting, state, drawn, deviation = waiting[on], state[on], drawn[on], deviation[on]
        scatter, correlation = scatter[on], correlation[on]
        if not waiting.size:
            break
    return first


def crossing_times(
    line: CorrelatedLine,
    row: Floats,
    slope: int,
    level: float,
    probabilities: tuple[float, ...],
    span: tuple[float, float],
) -> list[float]:
    """Return when a falling line is below a level with given probabilities.

    Parameters
    ----------
    line : CorrelatedLine
        Posterior of the line.
    row : ndarray of float64, shape (k,)
        Weights of the coefficients at time 0, the slope's among them 0.
    slope : int
        Place of the slope.
    level : float
        The level.
    probabilities : tuple of float
        Probabilities.
    span : tuple of float
        Times between which to look [years].

    Returns
    -------
    list of float
        First time at which the probability is reached; minus infinity where it is from the first, infinity where it is
        not up to the last.

    Notes
    -----
    A line that falls for certain is below the level at a time if and only if it has crossed it before, so the
    probability is the distribution of the time of crossing; the limits are those of Fieller (1954) for one t.

    References
    ----------
    .. [1] Fieller, E. C. (1954). Some problems in interval estimation. J. Royal Statistical Society B 16, 175–185.
    """

    def rows_at(times: Floats) -> Floats:
        rows = np.tile(row, (times.size, 1))
        rows[:, slope] += times
        return rows

    times = np.linspace(*span, 200)
    below = line.probability_below(rows_at(times), level)
    found = []
    for probability in probabilities:
        reached = np.flatnonzero(below >= probability)
        if not reached.size:
            found.append(math.inf)
        elif reached[0] == 0:
            found.append(-math.inf)
        else:
            low, high = float(times[reached[0] - 1]), float(times[reached[0]])
            for _ in range(20):
                middle = (low + high) / 2.0
                if line.probability_below(rows_at(np.array([middle])), level)[0] >= probability:
                    high = middle
                else:
                    low = middle
            found.append(high)
    return found
