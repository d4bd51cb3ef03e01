"""Kendall's S over blocks: seasons of one well, or several wells, with and without covariance among them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc

from gwnet.errors import ShapeError, TooFewLevelsError
from gwnet.hydro.trends.kendall import normal_probabilities, value_limits

Floats = NDArray[np.float64]

#: Signs of pairs that are held at a time.
HELD = 1_000_000


@dataclass(frozen=True, slots=True, eq=False)
class BlockKendall:
    """Outcome of a Kendall test over blocks (seasons or wells).

    Attributes
    ----------
    scores : ndarray of int64, shape (m,)
        Kendall's S of each block.
    variances : ndarray of float64, shape (m,)
        Variance of each S, with ties.
    score : int
        Sum of the scores.
    tau_a : float
        That sum over the number of all pairs within blocks.
    variance : float
        Sum of the variances: the blocks taken as independent.
    z : float
        Standard normal score with that variance and correction for continuity.
    p_value : float
        Two-sided probability with that variance.
    variance_correlated : float
        Sum of the whole covariance of the scores.
    heterogeneity : float
        Chi-square of differing trends among the blocks that vary; NaN with fewer than two.
    heterogeneity_p : float
        Its probability when all blocks have one trend.
    """

    scores: NDArray[np.int64]
    variances: Floats
    score: int
    tau_a: float
    variance: float
    z: float
    p_value: float
    variance_correlated: float
    heterogeneity: float
    heterogeneity_p: float


def seasonal_kendall(values: ArrayLike, *, bound: ArrayLike = 0) -> BlockKendall:
    """Test one well for a trend, comparing like seasons only, or several wells for a common trend.

    Parameters
    ----------
    values : array_like, shape (years, seasons)
        One value for each season (or well) of each year, years in order; NaN where there is none.
    bound : array_like of int
        -1 where the true value is at or below the number (dry), +1 where it is at or above it, 0 elsewhere.

    Returns
    -------
    BlockKendall
        Scores of the seasons, and their sum with both variances.

    Raises
    ------
    ShapeError
        If the values do not have two dimensions.
    TooFewLevelsError
        If no season has two values.

    Notes
    -----
    Without covariance S and its variance are sums over the seasons (Hirsch, Slack and Smith, 1982). With it, the
    variance is the sum of the covariance of all pairs of seasons (Dietz and Killeen, 1981; Hirsch and Slack, 1984),
    which allows for correlated values of one year; it is meant for more than ten years, and its sources take S without
    correction for continuity. A missing value has the middle rank there. Bounds are ranked as in
    `gwnet.hydro.trends.kendall.mann_kendall`. Heterogeneity is Σ Z_k² − m (mean Z_k)² with Z_k = S_k/√var_k, without
    correction for continuity (van Belle and Hughes, 1984). With wells in the place of seasons it is the regional
    Kendall test (Helsel and Frans, 2006).

    References
    ----------
    .. [1] Hirsch, R. M., Slack, J. R. and Smith, R. A. (1982). Techniques of trend analysis for monthly water quality
       data. Water Resources Research 18, 107–121.
    .. [2] Hirsch, R. M. and Slack, J. R. (1984). A nonparametric trend test for seasonal data with serial dependence.
       Water Resources Research 20, 727–732.
    .. [3] Dietz, E. J. and Killeen, T. J. (1981). A nonparametric multivariate test for monotone trend with
       pharmaceutical applications. J. American Statistical Association 76, 169–174.
    .. [4] van Belle, G. and Hughes, J. P. (1984). Nonparametric tests for trend in water quality. Water Resources
       Research 20, 127–136.
    .. [5] Helsel, D. R. and Frans, L. M. (2006). Regional Kendall test for trend. Environmental Science and
       Technology 40, 4066–4073.

    Examples
    --------
    >>> found = seasonal_kendall([[1.0, 5.0], [2.0, 6.0], [3.0, 5.5]])
    >>> found.scores.tolist(), found.score
    ([3, 1], 4)
    """
    table = np.asarray(values, dtype=np.float64)
    scores, covariance = score_covariance(table, bound=bound)
    counts = (~np.isnan(table)).sum(axis=0).astype(np.int64)
    pairs = int((counts * (counts - 1)).sum()) // 2
    if not pairs:
        message = f"No block has two values; found {int(counts.sum())} values in {counts.size} blocks."
        raise TooFewLevelsError(message)
    variances = np.diag(covariance).copy()
    score, variance = int(scores.sum()), float(variances.sum())
    z, p_value, _, _ = normal_probabilities(score, variance)
    chi_square, chi_p = _heterogeneity(scores, variances)
    return BlockKendall(
        scores=scores,
        variances=variances,
        score=score,
        tau_a=score / pairs,
        variance=variance,
        z=z,
        p_value=p_value,
        # three times the covariance is whole: without rounding, blocks that cancel out leave nothing
        variance_correlated=float(np.rint(3.0 * covariance).sum()) / 3.0,
        heterogeneity=chi_square,
        heterogeneity_p=chi_p,
    )


def score_covariance(values: ArrayLike, *, bound: ArrayLike = 0) -> tuple[NDArray[np.int64], Floats]:
    """Return Kendall's S of the columns of a table and their covariance when there is no trend.

    Parameters
    ----------
    values : array_like, shape (n, m)
        A row for each time, in order; NaN where there is no value.
    bound : array_like of int
        -1 where the true value is at or below the number, +1 where it is at or above it, 0 elsewhere.

    Returns
    -------
    tuple of ndarray
        Scores, shape (m,), and their covariance, shape (m, m).

    Raises
    ------
    ShapeError
        If the values do not have two dimensions.

    Notes
    -----
    With a_ijg the sign of the pair i < j in column g and a_ig the sum of the signs of row i against all others::

        cov(S_g, S_h) = [Σ_{i<j} a_ijg a_ijh + Σ_i a_ig a_ih] / 3

    which is the form of Dietz and Killeen (1981) by ranks, R_ig = (n + 1 + a_ig)/2, and that of Hirsch and Slack
    (1984) with gaps. On the diagonal it is the variance with ties.

    Examples
    --------
    >>> scores, covariance = score_covariance([[1.0, 4.0], [2.0, 5.0], [3.0, 6.0]])
    >>> scores.tolist(), covariance.round(4).tolist()
    ([3, 3], [[3.6667, 3.6667], [3.6667, 3.6667]])
    """
    low, high = value_limits(values, bound)
    if low.ndim != 2:
        message = f"Values must have a row for each time and a column for each block; found shape {low.shape}."
        raise ShapeError(message)
    n, m = low.shape
    scores, products, rows = np.zeros(m), np.zeros((m, m)), np.zeros((n, m))
    held = max(HELD // max(n * m, 1), 1)
    for begin in range(0, n, held):
        some = slice(begin, begin + held)
        # comparisons with NaN are false: a gap makes no pair
        signs = (high[some, None] < low[None, :]).astype(np.float64) - (low[some, None] > high[None, :])
        rows[some] = signs.sum(axis=1)
        after = np.arange(n)[None, :] > np.arange(n)[some, None]
        later = signs[after]
        scores += later.sum(axis=0)
        products += later.T @ later
    return scores.astype(np.int64), (products + rows.T @ rows) / 3.0


def _heterogeneity(scores: NDArray[np.int64], variances: Floats) -> tuple[float, float]:
    """Return chi-square and probability of differing trends."""
    varying = variances > 0.0
    m = int(varying.sum())
    if m < 2:
        return math.nan, math.nan
    z = scores[varying] / np.sqrt(variances[varying])
    chi_square = max(float((z**2).sum() - m * z.mean() ** 2), 0.0)
    return chi_square, float(chdtrc(m - 1, chi_square))
