"""Kendall's S over blocks: seasons of one well, or several wells, with and without covariance among them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc

from gwnet.errors import AnalysisError, ShapeError, TooFewLevelsError
from gwnet.hydro.trends.kendall import normal_probabilities, value_limits
from gwnet.hydro.trends.theil_sen import limit_ranks, pairwise_slopes, ranked_limits

__all__ = [
    "BlockKendall",
    "PartialKendall",
    "SeasonalSlope",
    "partial_kendall",
    "regional_kendall",
    "score_covariance",
    "seasonal_kendall",
    "seasonal_slope",
]

Floats = NDArray[np.float64]

#: Signs of pairs that are held at a time.
HELD = 1_000_000


@dataclass(frozen=True, slots=True, eq=False)
class BlockKendall:
    """Outcome of a Kendall test over blocks (seasons or wells).

    Attributes
    ----------
    counts : ndarray of int64, shape (m,)
        Values of each block that took part.
    scores : ndarray of int64, shape (m,)
        Kendall's S of each block.
    variances : ndarray of float64, shape (m,)
        Variance of each S, with ties.
    covariance : ndarray of float64, shape (m, m)
        Covariance of the scores; its diagonal holds the variances.
    score : int
        Sum of the scores.
    tau_a : float
        That sum over the number of all pairs within blocks; NaN where there are none.
    variance : float
        Sum of the variances: the blocks taken as independent.
    z : float
        Standard normal score with that variance.
    p_value : float
        Two-sided probability with that variance.
    variance_correlated : float
        Sum of the whole covariance.
    z_correlated : float
        Standard normal score with the whole covariance.
    p_value_correlated : float
        Two-sided probability with the whole covariance.
    heterogeneity : float
        Chi-square of differing trends among the blocks; NaN with fewer than two blocks that vary.
    heterogeneity_df : int
        Its degrees of freedom.
    heterogeneity_p : float
        Its probability when all blocks have one trend.
    continuity : bool
        Whether S was moved one towards 0 for ``z``.
    continuity_correlated : bool
        Whether S was moved one towards 0 for ``z_correlated``.
    """

    counts: NDArray[np.int64]
    scores: NDArray[np.int64]
    variances: Floats
    covariance: Floats
    score: int
    tau_a: float
    variance: float
    z: float
    p_value: float
    variance_correlated: float
    z_correlated: float
    p_value_correlated: float
    heterogeneity: float
    heterogeneity_df: int
    heterogeneity_p: float
    continuity: bool
    continuity_correlated: bool


@dataclass(frozen=True, slots=True, eq=False)
class SeasonalSlope:
    """Seasonal Theil–Sen slope.

    Attributes
    ----------
    slope_count : int
        Pairs of years within seasons.
    slope : float
        Median of all their slopes, in units of the values per unit of the years.
    lower : float
        Lower limit; minus infinity where there are too few slopes for one.
    upper : float
        Upper limit; infinity where there are too few slopes for one.
    season_slopes : ndarray of float64, shape (m,)
        Median slope of each season; NaN for a season with fewer than two values.
    intercept : float
        Median over the seasons of each one's median value less its own slope times its median year.
    intercept_common : float
        The same with the common slope: the line to draw.
    confidence : float
        Confidence of the two limits together.
    ranks : str
        ``interpolated`` or ``rounded``.
    """

    slope_count: int
    slope: float
    lower: float
    upper: float
    season_slopes: Floats
    intercept: float
    intercept_common: float
    confidence: float
    ranks: str


@dataclass(frozen=True, slots=True)
class PartialKendall:
    """Mann–Kendall test of one series, given another that may explain it.

    Attributes
    ----------
    count : int
        Times at which both have a value.
    score : float
        S of the series less what the other's S lets expect.
    variance : float
        Its variance.
    correlation : float
        Correlation of the two scores when there is no trend.
    z : float
        Standard normal score, without correction for continuity.
    p_value : float
        Two-sided probability.
    """

    count: int
    score: float
    variance: float
    correlation: float
    z: float
    p_value: float


def seasonal_kendall(
    values: ArrayLike,
    *,
    bound: ArrayLike = 0,
    incomplete: str = "keep",
    continuity: bool = True,
    continuity_correlated: bool = False,
) -> BlockKendall:
    """Test one well for a trend, comparing like seasons only.

    Parameters
    ----------
    values : array_like, shape (years, seasons)
        One value for each season of each year, years in order; NaN where there is none.
    bound : array_like of int
        -1 where the true value is at or below the number (dry), +1 where it is at or above it, 0 elsewhere.
    incomplete : {"keep", "drop"}
        Whether years in which a season lacks its value are kept, or left out as a whole.
    continuity : bool
        Whether S is taken one nearer to 0 in the test without covariance.
    continuity_correlated : bool
        Whether it is in the test with covariance; not so in its sources.

    Returns
    -------
    BlockKendall
        Scores of the seasons and both tests.

    Raises
    ------
    AnalysisError
        If the way of dealing with incomplete years is unknown.
    ShapeError
        If the values do not have two dimensions.
    TooFewLevelsError
        If no season has two values.

    Notes
    -----
    Without covariance S and its variance are sums over the seasons (Hirsch, Slack and Smith, 1982). With it, the
    variance is the sum of the covariance of all pairs of seasons (Dietz and Killeen, 1981; Hirsch and Slack, 1984),
    which allows for values of one year that go together; it is meant for more than ten years. A missing value has
    the middle rank there. Bounds are ranked as in `gwnet.hydro.trends.kendall.mann_kendall`. Heterogeneity is
    Σ Z_k² − m (mean Z_k)² with Z_k = S_k/√var_k, without correction for continuity (van Belle and Hughes, 1984).

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

    Examples
    --------
    >>> found = seasonal_kendall([[1.0, 5.0], [2.0, 6.0], [3.0, 5.5]])
    >>> found.scores.tolist(), found.score
    ([3, 1], 4)
    """
    return _block_kendall(values, bound, incomplete, continuity, continuity_correlated)


def regional_kendall(
    values: ArrayLike,
    *,
    bound: ArrayLike = 0,
    incomplete: str = "keep",
    continuity: bool = True,
    continuity_correlated: bool = False,
) -> BlockKendall:
    """Test several wells for a common trend.

    Parameters
    ----------
    values : array_like, shape (times, wells) or (years, seasons, wells)
        One value for each time and well, or for each year, season and well, in the order of time; NaN where there is
        none.
    bound : array_like of int
        -1 where the true value is at or below the number (dry), +1 where it is at or above it, 0 elsewhere.
    incomplete : {"keep", "drop"}
        Whether times (years) at which any well lacks a value are kept, or left out as a whole.
    continuity : bool
        Whether S is taken one nearer to 0 in the test without covariance.
    continuity_correlated : bool
        Whether it is in the test with covariance.

    Returns
    -------
    BlockKendall
        Scores of the wells (with seasons: season by season, all wells of each) and both tests.

    Raises
    ------
    AnalysisError
        If the way of dealing with incomplete times is unknown.
    ShapeError
        If the values have neither two nor three dimensions.
    TooFewLevelsError
        If no well has two values.

    Notes
    -----
    The same sums as in `seasonal_kendall`, with wells in the place of seasons (Helsel and Frans, 2006). Wells of one
    aquifer rise and fall together, so that the test with covariance is the one to trust.

    References
    ----------
    .. [1] Helsel, D. R. and Frans, L. M. (2006). Regional Kendall test for trend. Environmental Science and
       Technology 40, 4066–4073.

    Examples
    --------
    >>> regional_kendall([[1.0, 2.0], [2.0, 4.0], [3.0, 3.0]]).score
    4
    """
    array = np.asarray(values, dtype=np.float64)
    if array.ndim == 3:
        sides = np.broadcast_to(np.asarray(bound), array.shape)
        array, bound = array.reshape(len(array), -1), sides.reshape(len(array), -1)
    return _block_kendall(array, bound, incomplete, continuity, continuity_correlated)


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
        rows[some] = -signs.sum(axis=1)
        after = np.arange(n)[None, :] > np.arange(n)[some, None]
        later = signs[after]
        scores += later.sum(axis=0)
        products += later.T @ later
    return scores.astype(np.int64), (products + rows.T @ rows) / 3.0


def seasonal_slope(
    values: ArrayLike,
    years: ArrayLike | None = None,
    *,
    confidence: float = 0.95,
    ranks: str = "interpolated",
    correlated: bool = False,
) -> SeasonalSlope:
    """Return the median of the slopes within seasons, with its limits.

    Parameters
    ----------
    values : array_like, shape (years, seasons)
        One value for each season of each year, years in order; NaN where there is none.
    years : array_like, shape (years,), optional
        The years, ascending; without them 0, 1, 2, ….
    confidence : float
        Confidence of the limits, between 0 and 1.
    ranks : {"interpolated", "rounded"}
        Whether limits at ranks that are not whole are interpolated, or taken at the nearest whole rank.
    correlated : bool
        Whether the limits take the variance with covariance among the seasons.

    Returns
    -------
    SeasonalSlope
        Slope, limits, slopes of the seasons and intercepts.

    Raises
    ------
    AnalysisError
        If the confidence is not between 0 and 1, or the way of taking ranks is unknown.
    ShapeError
        If the values do not have two dimensions or the years do not fit them.
    TooFewLevelsError
        If no season has two values.

    Notes
    -----
    Limits stand at ranks (N − C)/2 and (N + C)/2 + 1 of the N sorted slopes, C = z √var S with the seasonal variance
    (Gilbert, 1987, section 17.5). Two intercepts are in use; `SeasonalSlope` says how they differ. A bound has no
    slope: leave bounds out here, and test them with `seasonal_kendall`.

    References
    ----------
    .. [1] Hirsch, R. M., Slack, J. R. and Smith, R. A. (1982). Techniques of trend analysis for monthly water quality
       data. Water Resources Research 18, 107–121.
    .. [2] Gilbert, R. O. (1987). Statistical Methods for Environmental Pollution Monitoring, section 17.5.

    Examples
    --------
    >>> seasonal_slope([[1.0, 5.0], [2.0, 6.0], [3.0, 6.5]]).slope
    1.0
    """
    table = np.asarray(values, dtype=np.float64)
    if table.ndim != 2:
        message = f"Values must have a row for each year and a column for each season; found shape {table.shape}."
        raise ShapeError(message)
    when = np.arange(len(table), dtype=np.float64) if years is None else np.asarray(years, dtype=np.float64)
    if when.shape != table.shape[:1] or not (np.diff(when) > 0).all():
        message = f"Years must ascend, one for each row; found {when.shape} years for values {table.shape}."
        raise ShapeError(message)
    parts = [(table[here, k], when[here]) for k, here in enumerate(np.isfinite(table).T)]
    slopes = [pairwise_slopes(*part) for part in parts]
    own = np.array([np.median(some) if some.size else math.nan for some in slopes])
    together = np.concatenate([np.empty(0), *slopes])
    if not together.size:
        message = f"No season has two values; found {int(np.isfinite(table).sum())} values in {table.shape[1]} seasons."
        raise TooFewLevelsError(message)
    covariance = score_covariance(table)[1]
    variance = float(covariance.sum() if correlated else np.trace(covariance))
    wanted = limit_ranks(together.size, max(variance, 0.0), confidence=confidence, ranks=ranks)
    slope, lower, upper = ranked_limits(together, *wanted)
    middles = [(float(np.median(v)), float(np.median(t))) for v, t in parts if v.size > 1]
    steep = own[np.isfinite(own)]
    return SeasonalSlope(
        slope_count=together.size,
        slope=slope,
        lower=lower,
        upper=upper,
        season_slopes=own,
        intercept=float(np.median([v - b * t for (v, t), b in zip(middles, steep, strict=True)])),
        intercept_common=float(np.median([v - slope * t for v, t in middles])),
        confidence=confidence,
        ranks=ranks,
    )


def partial_kendall(values: ArrayLike, given: ArrayLike, *, ties: bool = True) -> PartialKendall:
    """Test a series for a trend beyond that of another series.

    Parameters
    ----------
    values : array_like, shape (n,)
        The series, in the order of time; NaN where there is no value.
    given : array_like, shape (n,)
        What may explain it (rain, a river's stage), at the same times.
    ties : bool
        Whether the variances of both scores allow for ties; the published examples leave them out.

    Returns
    -------
    PartialKendall
        Score, variance and probability.

    Raises
    ------
    ShapeError
        If the two are not one-dimensional and of one length.
    TooFewLevelsError
        If fewer than three times have both values, or the other series does not vary.

    Notes
    -----
    S = S_y − (cov/var_x) S_x with variance var_y (1 − r²), r the correlation of the two scores; times at which either
    is missing are left out (Libiseller and Grimvall, 2002).

    References
    ----------
    .. [1] Libiseller, C. and Grimvall, A. (2002). Performance of partial Mann–Kendall tests for trend detection in the
       presence of covariates. Environmetrics 13, 71–84.

    Examples
    --------
    >>> partial_kendall([1.0, 3.0, 2.0, 4.0], [2.0, 1.0, 4.0, 3.0]).count
    4
    """
    first, second = np.asarray(values, dtype=np.float64), np.asarray(given, dtype=np.float64)
    if first.ndim != 1 or first.shape != second.shape:
        message = f"Shapes differ: values {first.shape}, given {second.shape}; expected one dimension and one length."
        raise ShapeError(message)
    table = np.column_stack([first, second])
    table = table[np.isfinite(table).all(axis=1)]
    scores, covariance = score_covariance(table)
    if len(table) < 3 or not covariance[1, 1] > 0.0:
        message = f"A partial test needs three times with both values, and a varying series; found {len(table)} times."
        raise TooFewLevelsError(message)
    n = len(table)
    own, other = (float(covariance[k, k]) if ties else n * (n - 1) * (2 * n + 5) / 18 for k in (0, 1))
    shared = float(covariance[0, 1])
    score = float(scores[0]) - shared / other * float(scores[1])
    variance = own - shared**2 / other
    z, p_value, _, _ = normal_probabilities(score, variance, continuity=False)
    correlation = shared / math.sqrt(own * other) if own else 0.0
    return PartialKendall(n, score, variance, correlation, z, p_value)


def _block_kendall(
    values: ArrayLike, bound: ArrayLike, incomplete: str, continuity: bool, continuity_correlated: bool
) -> BlockKendall:
    if incomplete not in ("keep", "drop"):
        message = f"Unknown way of dealing with incomplete years {incomplete!r}; expected keep or drop."
        raise AnalysisError(message)
    table = np.asarray(values, dtype=np.float64)
    side = np.asarray(bound)
    if incomplete == "drop" and table.ndim == 2:
        whole = ~np.isnan(table).any(axis=1)
        side = np.broadcast_to(side, table.shape)[whole]
        table = table[whole]
    scores, covariance = score_covariance(table, bound=side)
    counts = (~np.isnan(table)).sum(axis=0).astype(np.int64)
    pairs = int((counts * (counts - 1)).sum()) // 2
    if not pairs:
        message = f"No block has two values; found {int(counts.sum())} values in {counts.size} blocks."
        raise TooFewLevelsError(message)
    variances = np.diag(covariance).copy()
    score, variance = int(scores.sum()), float(variances.sum())
    # three times the covariance is whole: without rounding, blocks that cancel out leave nothing
    correlated = float(np.rint(3.0 * covariance).sum()) / 3.0
    z, p_value, _, _ = normal_probabilities(score, variance, continuity=continuity)
    z_correlated, p_correlated, _, _ = normal_probabilities(score, correlated, continuity=continuity_correlated)
    chi_square, freedom, chi_p = _heterogeneity(scores, variances)
    return BlockKendall(
        counts=counts,
        scores=scores,
        variances=variances,
        covariance=covariance,
        score=score,
        tau_a=score / pairs,
        variance=variance,
        z=z,
        p_value=p_value,
        variance_correlated=correlated,
        z_correlated=z_correlated,
        p_value_correlated=p_correlated,
        heterogeneity=chi_square,
        heterogeneity_df=freedom,
        heterogeneity_p=chi_p,
        continuity=continuity,
        continuity_correlated=continuity_correlated,
    )


def _heterogeneity(scores: NDArray[np.int64], variances: Floats) -> tuple[float, int, float]:
    """Return chi-square, degrees of freedom and probability of differing trends."""
    varying = variances > 0.0
    m = int(varying.sum())
    if m < 2:
        return math.nan, max(m - 1, 0), math.nan
    z = scores[varying] / np.sqrt(variances[varying])
    chi_square = max(float((z**2).sum() - m * z.mean() ** 2), 0.0)
    return chi_square, m - 1, float(chdtrc(m - 1, chi_square))
