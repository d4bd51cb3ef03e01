"""Mann–Kendall test of all values of a series, with the variance of S corrected for their autocorrelation."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

from gwnet.errors import AnalysisError, ShapeError, TooFewLevelsError
from gwnet.hydro.trends.kendall import normal_probabilities

Floats = NDArray[np.float64]

#: Up to so many products they are summed lag by lag; beyond it by Fourier transform.
DIRECT = 2_000_000


@dataclass(frozen=True, slots=True)
class CorrectedVariance:
    """Variance of Kendall's S after correction for autocorrelation.

    Attributes
    ----------
    ratio : float
        Corrected variance over that of independent values.
    lag1 : float
        Autocorrelation of the ranks at lag 1; NaN for values that do not vary.
    lags : int
        Lags that entered the correction.
    z : float
        Standard normal score with correction for continuity; NaN when the ratio is not positive, which means that the
        method does not suit the series.
    p_value : float
        Two-sided probability; NaN likewise.
    """

    ratio: float
    lag1: float
    lags: int
    z: float
    p_value: float


def autocorrelation(values: ArrayLike) -> Floats:
    """Return the autocorrelation of a series at all lags.

    Parameters
    ----------
    values : array_like, shape (n,)
        Values at even steps; NaN where there is none.

    Returns
    -------
    ndarray of float64, shape (n,)
        Autocorrelation at lags 0 to n − 1; NaN throughout when the values do not vary.

    Raises
    ------
    ShapeError
        If the series is not one-dimensional.
    TooFewLevelsError
        If fewer than two values are left.

    Notes
    -----
    Sum of the products of departures from the mean at a lag over that at lag 0, with no allowance for their number
    falling with the lag (divisor n). A gap stays in its place and adds no product.

    References
    ----------
    .. [1] Box, G. E. P. and Jenkins, G. M. (1976). Time Series Analysis, section 2.1.

    Examples
    --------
    >>> autocorrelation([1.0, 2.0, 3.0, 4.0])[:2].tolist()
    [1.0, 0.25]
    """
    series = np.asarray(values, dtype=np.float64)
    if series.ndim != 1:
        message = f"A series must be one-dimensional; found shape {series.shape}."
        raise ShapeError(message)
    known = np.isfinite(series)
    if known.sum() < 2:
        message = f"Autocorrelation needs two values or more; found {int(known.sum())}."
        raise TooFewLevelsError(message)
    if np.ptp(series[known]) == 0.0:
        return np.full(series.size, math.nan)
    products = _lagged_products(np.where(known, series - series[known].mean(), 0.0))
    return np.asarray(products / products[0], dtype=np.float64)


def hamed_rao(residuals: ArrayLike, score: int, variance: float, *, alpha: float = 0.05) -> CorrectedVariance:
    """Correct the variance of Kendall's S for the autocorrelation of the ranks of residuals.

    Parameters
    ----------
    residuals : array_like, shape (n,)
        Values less their Theil–Sen line, in the order of time without gaps; lags count values.
    score : int
        Kendall's S of the series.
    variance : float
        Its variance for independent values.
    alpha : float
        Only lags whose autocorrelation differs from 0 at this level count.

    Returns
    -------
    CorrectedVariance
        Ratio of the variances, normal score and probability.

    Raises
    ------
    AnalysisError
        If the level is not between 0 and 1.
    ShapeError
        If the residuals are not one-dimensional.
    TooFewLevelsError
        If there are fewer than three.

    Notes
    -----
    var S times 1 + 2/[n (n−1)(n−2)] Σ_k (n−k)(n−k−1)(n−k−2) r_k, r_k the autocorrelation of the ranks of the
    residuals, over lags with |r_k| > z_(1−α/2)/√n. Values that do not vary are taken as independent.

    References
    ----------
    .. [1] Hamed, K. H. and Rao, A. R. (1998). A modified Mann–Kendall trend test for autocorrelated data. J. Hydrology
       204, 182–196.

    Examples
    --------
    >>> hamed_rao([0.0, 0.2, 0.1, 0.0, 0.3, 0.2], 9, 28.0).ratio
    1.0
    """
    if not 0.0 < alpha < 1.0:
        message = f"The level is {alpha}; expected a number between 0 and 1, as 0.05."
        raise AnalysisError(message)
    series = np.asarray(residuals, dtype=np.float64)
    n = series.size
    if n < 3:
        message = f"A correction for autocorrelation needs three values or more; found {n}."
        raise TooFewLevelsError(message)
    r = autocorrelation(_middle_ranks(series))
    k = np.arange(1, n)
    significant = np.abs(r[1:]) > float(ndtri(1.0 - alpha / 2.0)) / math.sqrt(n)
    terms = (n - k) * (n - k - 1.0) * (n - k - 2.0) * r[1:]
    ratio = 1.0 + 2.0 / (n * (n - 1.0) * (n - 2.0)) * float(terms[significant].sum())
    z, p_value = normal_probabilities(score, variance * ratio)[:2] if ratio > 0.0 else (math.nan, math.nan)
    return CorrectedVariance(ratio, float(r[1]), int(significant.sum()), z, p_value)


def _lagged_products(departure: Floats) -> Floats:
    """Return the sums of the products of values so many lags apart."""
    n = departure.size
    if n * n <= DIRECT:
        return np.array([departure[k:] @ departure[: n - k] for k in range(n)])
    # padded so that the end does not meet the beginning
    width = 1 << (2 * n - 1).bit_length()
    spectrum = np.fft.rfft(departure, width)
    return np.asarray(np.fft.irfft(spectrum * spectrum.conj(), width)[:n], dtype=np.float64)


def _middle_ranks(series: Floats) -> Floats:
    """Return ranks from 1, the middle one for ties."""
    ordered = np.sort(series)
    first, last = np.searchsorted(ordered, series, "left"), np.searchsorted(ordered, series, "right")
    return (first + last + 1) / 2.0
