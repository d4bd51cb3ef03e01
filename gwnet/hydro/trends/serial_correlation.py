"""Serial correlation: how far the variance of Kendall's S grows when the values of one year carry over to the next.

The correlation is the lag-1 autocorrelation of the years' scores less the slope, corrected for the bias of a short
record and cut at max(0.6, 1 − 8/n). The variance of S is then that of an autoregressive normal series, widened, never
narrowed. In simulations with a correlation of 0.5 this gives 5 to 10 % false trends, Hamed and Rao's variance up to 27
% and a block bootstrap of whole years up to 28 %; pre-whitening and all lags were not better. Without the cut, short
records lose power for little. Run ``python tests/bench/bench_trend_alarms.py`` before and after any change here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from gwnet.errors import AnalysisError

Floats = NDArray[np.float64]

#: Largest correlation that a variance is widened for; beyond it no record is long enough.
LARGEST = 0.95
#: Correlation that a record of any length may show, and the years by which a longer one may show more (project default,
#: after simulation: more than that is mostly chance, and would hide trends).
SHOWN, SHOWN_YEARS = 0.6, 8.0
#: Correlations at which ratios are kept; between them they are interpolated.
STEPS = 20
#: Up to this count the ratio is summed over all pairs of pairs.
SUMMED = 40
#: Fewer years cannot tell their own correlation (project default, after simulation).
TELLING_YEARS = 5
#: Correlation that they are taken to have at least (project default: a usual one of yearly levels; common practice, no
#: source).
ASSUMED = 0.4


@dataclass(frozen=True, slots=True)
class SerialCorrelation:
    """Serial correlation of a record from one value to the next, and what it does to the variance of S.

    Attributes
    ----------
    count : int
        Values that follow one another.
    lag1 : float
        Lag-1 autocorrelation as it is in the record; NaN where the values do not vary.
    corrected : float
        That corrected for the shortness of the record and for the slope taken away, as of `corrected_lag1`.
    assumed : bool
        Whether the record is too short to tell, so that ``corrected`` is 0.4 at least.
    variance_ratio : float
        Variance of S for such a correlation over that of independent values; 1 where none is found.
    """

    count: int
    lag1: float
    corrected: float
    assumed: bool
    variance_ratio: float


def estimate_serial_correlation(residuals: Floats) -> SerialCorrelation:
    """Estimate the serial correlation of values whose slope has been taken away.

    Parameters
    ----------
    residuals : ndarray of float64, shape (n,)
        Residuals, or their ranks or scores, in the order of time without gaps.

    Returns
    -------
    SerialCorrelation
        Correlation and ratio of variances.

    Notes
    -----
    The lag-1 autocorrelation has the divisor n. With fewer than five values it says nothing, and 0.4 is taken unless
    it is larger: the safe side.

    Examples
    --------
    >>> estimate_serial_correlation(np.array([1.0, -1.0] * 6)).variance_ratio
    1.0
    """
    n = residuals.size
    departure = residuals - residuals.mean() if n else residuals
    square = float(departure @ departure)
    lag1 = float(departure[1:] @ departure[:-1]) / square if square > 0.0 else math.nan
    corrected = corrected_lag1(lag1, n)
    assumed = n < TELLING_YEARS
    if assumed:
        corrected = max(corrected, ASSUMED)
    return SerialCorrelation(n, lag1, corrected, assumed, variance_ratio(n, corrected))


def corrected_lag1(lag1: float, count: int) -> float:
    """Correct the lag-1 autocorrelation of residuals about a straight line for the shortness of the record.

    Parameters
    ----------
    lag1 : float
        As found with divisor n; NaN counts as 0.
    count : int
        Values of the record.

    Returns
    -------
    float
        Corrected correlation, from 0 (also where it is negative) to 1 − 8/n, within 0.6 and 0.95.

    Notes
    -----
    On average r_1 of n residuals about a fitted line is ρ − (2 + 4ρ)/n to the first order, so ρ = (n r_1 + 2)/(n − 4).
    The term 1 + 4ρ is that of a fitted mean (Marriott and Pope, 1954; Kendall, 1954); the line takes one more. The
    correction makes much of chance in short records, so the result is cut at what the record can show (project default,
    after simulation).

    References
    ----------
    .. [1] Marriott, F. H. C. and Pope, J. A. (1954). Bias in the estimation of autocorrelations. Biometrika 41,
       390–402.
    .. [2] Kendall, M. G. (1954). Note on bias in the estimation of autocorrelation. Biometrika 41, 403–404.

    Examples
    --------
    >>> round(corrected_lag1(0.3, 24), 4)
    0.46
    """
    if math.isnan(lag1) or count <= 4:
        return 0.0
    most = min(max(1.0 - SHOWN_YEARS / count, SHOWN), LARGEST)
    return min(max((count * lag1 + 2.0) / (count - 4), 0.0), most)


def variance_ratio(count: int, correlation: float) -> float:
    """Return the variance of Kendall's S of an autoregressive series over that of independent values.

    Parameters
    ----------
    count : int
        Values of the series.
    correlation : float
        Correlation from one value to the next, from 0 to 0.95; at a lag k its k-th power.

    Returns
    -------
    float
        Ratio, 1 or more.

    Raises
    ------
    AnalysisError
        If the correlation is not from 0 to 0.95.

    Notes
    -----
    For a normal series the signs of two pairs have the covariance (2/π) arcsin of the correlation of the two
    differences; the variance of S is their sum over all pairs of pairs (Hamed, 2009; from memory). It is summed for
    up to 40 values; beyond that 1/ratio goes linearly in 1/n to its limit for endless series,
    1 + 2 Σ (6/π) arcsin(ρ^k/2), which is within 4 % (3 % up to ρ = 0.9). Ratios are kept at 20 correlations, with
    linear interpolation.

    References
    ----------
    .. [1] Hamed, K. H. (2009). Exact distribution of the Mann–Kendall trend test statistic for persistent data.
       J. Hydrology 365, 86–94.

    Examples
    --------
    >>> round(variance_ratio(10, 0.5), 3)
    1.994
    """
    if not 0.0 <= correlation <= LARGEST:
        message = f"The correlation is {correlation}; expected 0 to {LARGEST}."
        raise AnalysisError(message)
    if count < 3 or correlation == 0.0:
        return 1.0
    return float(np.interp(correlation, _kept_at(), _ratios(count)))


def segments_ratio(years: Floats, first_after: int, correlation: float) -> float:
    """Return by what serial correlation multiplies the variance of a comparison of two segments.

    Parameters
    ----------
    years : ndarray of float64, shape (n,)
        Times of the rows [years].
    first_after : int
        Place of the first row of the later segment.
    correlation : float
        Correlation from one year to the next, from 0 to 0.95.

    Returns
    -------
    float
        Ratio, 1 or more.

    Notes
    -----
    That of the difference of the mean ranks, whose correlation at a lag k is (6/π) arcsin(ρ^k/2) for a normal
    autoregressive series (Pearson, 1907; from memory).

    Examples
    --------
    >>> round(segments_ratio(np.array([0.0, 1.0, 2.0, 8.0, 9.0, 10.0]), 3, 0.5), 2)
    1.79
    """
    n = years.size
    weight = np.where(np.arange(n) < first_after, -1.0 / max(first_after, 1), 1.0 / max(n - first_after, 1))
    carried = np.abs(years[:, None] - years)
    ranks = np.arcsin(correlation**carried / 2.0) * (6.0 / np.pi)
    return max(float(weight @ ranks @ weight) / float(weight @ weight), 1.0)


def _kept_at() -> Floats:
    return np.linspace(0.0, LARGEST, STEPS)


@lru_cache(maxsize=256)
def _ratios(count: int) -> Floats:
    """Return the ratios at the correlations that are kept."""
    if count <= SUMMED:
        return np.array([_summed(count, correlation) for correlation in _kept_at()])
    near = 1.0 / _ratios(SUMMED)
    lag = np.arange(1.0, 1000.0)
    endless = np.array([1.0 + 12.0 / np.pi * np.arcsin(some**lag / 2.0).sum() for some in _kept_at()])
    return np.asarray(1.0 / (1.0 / endless + (near - 1.0 / endless) * SUMMED / count), dtype=np.float64)


def _summed(n: int, correlation: float) -> float:
    """Sum the covariance of signs over all pairs of pairs, those of equal lags and distance at once."""
    carried = correlation ** np.abs(np.arange(-2 * n, 2 * n + 1))
    first, second = np.arange(1, n)[:, None, None], np.arange(1, n)[None, :, None]
    later = np.arange(1 - n, n)[None, None, :]
    places = np.minimum(n - 1 - first, n - 1 - later - second) - np.maximum(0, -later) + 1

    def at(lag: NDArray[np.int64]) -> Floats:
        return carried[lag + 2 * n]

    shared = at(later + second - first) - at(later - first) - at(later + second) + at(later)
    spread = 2.0 * np.sqrt((1.0 - at(first)) * (1.0 - at(second)))
    signs = np.arcsin(np.clip(shared / spread, -1.0, 1.0)) * (2.0 / np.pi)
    return float((np.maximum(places, 0) * signs).sum()) / (n * (n - 1) * (2 * n + 5) / 18.0)
