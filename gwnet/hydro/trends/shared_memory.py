"""Serial correlation shared among series of one kind: each is judged with what the others say of their memory.

One series of twenty years says little about how long its values remember. Series of one aquifer have memories that are
alike, not equal. How long they are on the whole, and how much they differ, is a distribution whose centre and width
are found from all series but the one that is judged; that distribution takes the place of the even one beforehand.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from gwnet.errors import ShapeError
from gwnet.hydro.trends.correlated_line import QUARTERLY, error_grid

Floats = NDArray[np.float64]

#: Standard deviations among series of Fisher's z of their correlation from quarter to quarter (project default, after
#: simulation): from memories that are nearly equal to ones that differ by a factor of three.
WIDTHS = (0.1, 0.2, 0.4, 0.8)
#: Weights beforehand of those widths, and of series that have nothing in common (project default).
WIDTH_WEIGHTS = (0.225, 0.225, 0.225, 0.225, 0.1)
#: Scatter of all series: weights of the shares on the grid are drawn towards each of them by so much (project default).
SCATTER_PULL = 0.8
#: Least share of a family of priors that goes to the even one, so that no series is ruled out (project default).
EVEN_SHARE = 0.02


def share_memory(likelihoods: Floats, shared: float = 0.0) -> Floats:
    """Return for each series the weights of the grid of correlations that the other series give.

    Parameters
    ----------
    likelihoods : ndarray of float64, shape (n, g)
        Restricted likelihood of each series at each point of the grid, up to a factor: weight of the posterior over
        weight beforehand.
    shared : float
        Mean squared correlation of the disturbances of two series, from 0 to 1. Series with the same weather say the
        same thing more than once; n of them count as n/(1 + (n − 1) shared).

    Returns
    -------
    ndarray of float64, shape (n, g)
        Weights beforehand, the sum of each row 1; even ones for a single series.

    Raises
    ------
    ShapeError
        If there is no likelihood for each point of the grid.

    Notes
    -----
    The correlations of series have a normal distribution of Fisher's z with an unknown centre, evenly likely in the
    correlation itself, and one of five widths, the widest of which means that series have nothing in common. The share
    of scatter is drawn towards one of its values or is as before. The distribution of each series is the mean over
    centres, widths and scatter, weighted by the likelihood of all other series (Bayes and empirical Bayes methods for
    several similar problems: Efron and Morris, 1973; from memory). Likelihoods have the power
    (1 − r)/(1 + (n − 1) r), r the shared part, so that others and own together count as often as they say.

    References
    ----------
    .. [1] Efron, B. and Morris, C. (1973). Stein's estimation rule and its competitors: an empirical Bayes approach.
       J. American Statistical Association 68, 117–130.

    Examples
    --------
    >>> likelihoods = np.ones((3, even_weights().size))
    >>> bool(np.allclose(share_memory(likelihoods)[0].sum(), 1.0))
    True
    """
    even, family, beforehand = even_weights(), *_family()
    if likelihoods.ndim != 2 or likelihoods.shape[1] != even.size:
        message = f"Likelihoods have the shape {likelihoods.shape}; expected one for each of {even.size} points."
        raise ShapeError(message)
    count = len(likelihoods)
    if count < 2:
        return np.tile(even, (count, 1))
    relative = likelihoods / likelihoods.max(axis=1, keepdims=True)
    power = (1.0 - shared) / (1.0 + (count - 1) * shared)
    marginal = power * np.log(relative @ family.T)
    others = marginal.sum(axis=0) - marginal + np.log(beforehand)
    weights = np.exp(others - others.max(axis=1, keepdims=True))
    return np.asarray((weights / weights.sum(axis=1, keepdims=True)) @ family, dtype=np.float64)


@lru_cache(maxsize=1)
def even_weights() -> Floats:
    """Return the weights beforehand of the points of the grid where no other series is known; their sum is 1."""
    prior = error_grid()[2]
    return np.asarray(prior / prior.sum(), dtype=np.float64)


@lru_cache(maxsize=1)
def _family() -> tuple[Floats, Floats]:
    """Return distributions that series may have, shape (h, g), and their weights beforehand, shape (h,)."""
    correlation, scatter, _ = error_grid()
    even = even_weights()
    quarterly = np.array(QUARTERLY)
    z = np.arctanh(quarterly)
    edges = np.concatenate([[0.0], (quarterly[1:] + quarterly[:-1]) / 2.0, [1.0]])
    place = np.argmin(np.abs(correlation[:, None] ** 0.25 - quarterly), axis=1)
    # width of the interval around each correlation in Fisher's z; the outermost is cut at half a step beyond its point
    ends = np.concatenate([[z[0]], (z[1:] + z[:-1]) / 2.0, [2.0 * z[-1] - (z[-1] + z[-2]) / 2.0]])
    width = np.diff(ends)
    within = even / np.bincount(place, even)[place]
    members, weights = [even], [WIDTH_WEIGHTS[-1]]
    pulls = [within]
    for share in np.unique(scatter[scatter > 0.0]):
        only = np.where(place > 0, np.isclose(scatter, share), 1.0)
        pulls.append(SCATTER_PULL * only + (1.0 - SCATTER_PULL) * within)
    none = np.where(np.isclose(scatter, 0.0), 1.0, 0.0)
    pulls.append(SCATTER_PULL * none + (1.0 - SCATTER_PULL) * within)
    for spread, of_width in zip(WIDTHS, WIDTH_WEIGHTS, strict=False):
        for k, centre in enumerate(z):
            density = width * np.exp(-(((z - centre) / spread) ** 2) / 2.0)
            density = density / density.sum()
            for pull in pulls:
                member = (1.0 - EVEN_SHARE) * density[place] * pull + EVEN_SHARE * even
                members.append(member / member.sum())
                weights.append(of_width * (edges[k + 1] - edges[k]) / len(pulls))
    return np.array(members), np.array(weights)
