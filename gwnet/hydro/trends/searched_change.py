"""Changes at a date that is looked for: steps and bends, with the uncertainty of date and serial correlation.

Every date has a column of its own: 0 before and 1 after it for a step, 0 before and the time since for a bend. Date and
correlation are on one grid, each point weighted by its restricted likelihood with the scale integrated out
(`gwnet.hydro.trends.correlated_line`), so that size and date have limits that hold the search.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr

from gwnet.errors import TooFewLevelsError
from gwnet.hydro.trends.correlated_line import BISECTIONS, LEAST_SPREAD, error_grid, whiten

Floats = NDArray[np.float64]

#: The smallest probability of all dates is multiplied by this (project default, after simulation): neighbouring dates
#: tell nearly the same, so that there are fewer independent ones than dates.
INDEPENDENT_DATES = 30.0


@dataclass(frozen=True, slots=True, eq=False)
class SearchedChange:
    """Posterior of a change at one of several dates.

    Attributes
    ----------
    weights : ndarray of float64, shape (g, c)
        Weight of each point of the grid of correlations and each date; their sum is 1.
    sizes : ndarray of float64, shape (g, c)
        Best size of the change.
    scales : ndarray of float64, shape (g, c)
        Scale of its t.
    degrees : int
        Degrees of freedom.
    correlation : ndarray of float64, shape (g,)
        Correlation from one year to the next of the correlated part.
    scatter : ndarray of float64, shape (g,)
        Share of independent scatter.
    """

    weights: Floats
    sizes: Floats
    scales: Floats
    degrees: int
    correlation: Floats
    scatter: Floats

    @property
    def date_weights(self) -> Floats:
        """Return the posterior probability of each date, given that there is a change."""
        return np.asarray(self.weights.sum(axis=0), dtype=np.float64)

    @property
    def best(self) -> int:
        """Return the place of the most likely date."""
        return int(np.argmax(self.date_weights))

    @property
    def p_value(self) -> float:
        """Return the probability of so clear a change at the clearest date without one, the search allowed for."""
        of_date = self.weights / np.maximum(self.weights.sum(axis=0), 1e-300)
        tails = stdtr(self.degrees, -self.sizes / self.scales), stdtr(self.degrees, self.sizes / self.scales)
        smaller = np.minimum(*[(of_date * tail).sum(axis=0) for tail in tails])
        return float(min(1.0, 2.0 * INDEPENDENT_DATES * smaller.min()))

    @property
    def mean_correlation(self) -> float:
        """Return the posterior mean of the correlation from one year to the next, scatter included."""
        return float(self.weights.sum(axis=1) @ ((1.0 - self.scatter) * self.correlation))

    def size(self, probability: float) -> float:
        """Return a quantile of the size of the change, over all dates and correlations.

        Parameters
        ----------
        probability : float
            Probability of being below the quantile.
        """
        heavy = self.weights > 1e-9
        sizes, scales, weights = self.sizes[heavy], self.scales[heavy], self.weights[heavy]
        low, high = float((sizes - 1e3 * scales).min()), float((sizes + 1e3 * scales).max())
        for _ in range(BISECTIONS):
            middle = (low + high) / 2.0
            if weights @ stdtr(self.degrees, (middle - sizes) / scales) < probability * weights.sum():
                low = middle
            else:
                high = middle
        return (low + high) / 2.0

    def dates(self, coverage: float = 0.95) -> tuple[int, int]:
        """Return the places of the first and last date that hold a share of the posterior between them.

        Parameters
        ----------
        coverage : float
            The share.
        """
        below = np.cumsum(self.date_weights)
        rest = (1.0 - coverage) / 2.0
        last = self.date_weights.size - 1
        return int(np.searchsorted(below, rest)), min(int(np.searchsorted(below, 1.0 - rest)), last)


def search_change(
    times: Floats, values: Floats, design: Floats, columns: Floats, beforehand: Floats | None = None
) -> SearchedChange:
    """Fit a change at each of several dates.

    Parameters
    ----------
    times : ndarray of float64, shape (n,)
        Times, ascending [years].
    values : ndarray of float64, shape (n,)
        Values, without NaN.
    design : ndarray of float64, shape (n, k)
        Columns of the model without a change, of full rank.
    columns : ndarray of float64, shape (n, c)
        Column of each change; independent of the design.
    beforehand : ndarray of float64, shape (g,), optional
        Weights of the points of the grid of correlations, as of `gwnet.hydro.trends.shared_memory.share_memory`; those
        of `error_grid` unless given.

    Returns
    -------
    SearchedChange
        The posterior.

    Raises
    ------
    TooFewLevelsError
        If there is no degree of freedom left, or no date.

    Notes
    -----
    All dates are equally likely beforehand. The probability that allows for the search is that of the clearest date
    times 30, at most 1 (Bonferroni, with a number found by simulation: ``tests/bench/bench_trend_limits.py``).

    Examples
    --------
    >>> times = np.arange(12.0)
    >>> after = (times[:, None] >= np.arange(3.0, 10.0)).astype(float)
    >>> levels = np.where(times >= 6.0, 2.0, 0.0) + 0.1 * np.sin(5.0 * times)
    >>> search_change(times, levels, np.ones((12, 1)), after).best
    3
    """
    n, k = design.shape
    degrees = n - k - 1
    if degrees < 1 or not columns.shape[1]:
        message = f"A change beside {k} coefficients needs more values and a date; found {n} and {columns.shape[1]}."
        raise TooFewLevelsError(message)
    correlation, scatter, prior = error_grid()
    prior = prior if beforehand is None else beforehand
    white, log_determinant, _, _ = whiten(times, np.column_stack([design, values, columns]), correlation, scatter)
    own = white[:, :, :k]
    basis, triangle = np.linalg.qr(own)
    rest = white[:, :, k:]
    rest = rest - basis @ (basis.transpose(0, 2, 1) @ rest)
    response, changes = rest[:, :, 0], rest[:, :, 1:]
    square = np.maximum(np.einsum("gnc,gnc->gc", changes, changes), 1e-12)
    moment = np.einsum("gnc,gn->gc", changes, response)
    left = (response * response).sum(axis=1)[:, None] - moment * moment / square
    left = np.maximum(left, n * LEAST_SPREAD**2)
    inner = 2.0 * np.log(np.abs(np.diagonal(triangle, axis1=1, axis2=2))).sum(axis=1)
    log_weight = (np.log(prior) - (log_determinant + inner) / 2.0)[:, None]
    log_weight = log_weight - (np.log(square) + degrees * np.log(left)) / 2.0
    weights = np.exp(log_weight - log_weight.max())
    return SearchedChange(
        weights=weights / weights.sum(),
        sizes=moment / square,
        scales=np.sqrt(left / degrees / square),
        degrees=degrees,
        correlation=correlation,
        scatter=scatter,
    )
