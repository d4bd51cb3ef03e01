"""Serial correlation: how large it is, and trend tests that allow for it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

from gwnet.errors import AnalysisError, ShapeError, TooFewLevelsError
from gwnet.hydro.trends.kendall import mann_kendall, normal_probabilities
from gwnet.hydro.trends.theil_sen import theil_sen

__all__ = [
    "SerialKendall",
    "autocorrelation",
    "hamed_rao",
    "pre_whitened",
    "rank_von_neumann",
    "trend_free_pre_whitened",
    "yue_wang",
]

Floats = NDArray[np.float64]

#: Up to so many products they are summed lag by lag; beyond it by Fourier transform.
DIRECT = 2_000_000


@dataclass(frozen=True, slots=True)
class SerialKendall:
    """Outcome of a Mann–Kendall test that allows for serial correlation.

    Attributes
    ----------
    method : str
        ``Hamed-Rao``, ``Yue-Wang``, ``pre-whitening`` or ``trend-free pre-whitening``.
    count : int
        Values in the test; one fewer than in the series after pre-whitening.
    score : int
        Kendall's S.
    variance : float
        Variance of S after the correction.
    variance_ratio : float
        That over the variance of independent values; 1 after pre-whitening.
    lag1 : float
        Autocorrelation at lag 1 that the method worked with: of the ranks of the values less their trend (Hamed-Rao),
        of those values (Yue-Wang, trend-free pre-whitening), of the values as they are (pre-whitening).
    lags : int
        Lags that entered the correction.
    slope : float
        Theil–Sen slope per step of the series as given.
    z : float
        Standard normal score with correction for continuity; NaN when the corrected variance is not positive, which
        means that the method does not suit the series.
    p_value : float
        Two-sided probability; NaN likewise.
    """

    method: str
    count: int
    score: int
    variance: float
    variance_ratio: float
    lag1: float
    lags: int
    slope: float
    z: float
    p_value: float


def autocorrelation(values: ArrayLike, lags: int) -> Floats:
    """Return the autocorrelation of a series at lags 0, 1, 2, ….

    Parameters
    ----------
    values : array_like, shape (n,)
        Values at even steps; NaN where there is none.
    lags : int
        Largest lag, below n.

    Returns
    -------
    ndarray of float64, shape (lags + 1,)
        Autocorrelation; NaN throughout when the values do not vary.

    Raises
    ------
    AnalysisError
        If the lag is negative or not below the number of steps.
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
    >>> autocorrelation([1.0, 2.0, 3.0, 4.0], 1).tolist()
    [1.0, 0.25]
    """
    series = _series(values)
    if not 0 <= lags < series.size:
        message = f"The largest lag is {lags}; expected 0 to {series.size - 1}."
        raise AnalysisError(message)
    here = np.isfinite(series)
    departure = np.where(here, series - series[here].mean(), 0.0)
    if np.ptp(series[here]) == 0.0:
        return np.full(lags + 1, math.nan)
    products = _lagged_products(departure, lags)
    return np.asarray(products / products[0], dtype=np.float64)


def rank_von_neumann(values: ArrayLike) -> float:
    """Return the rank von Neumann ratio of a series.

    Parameters
    ----------
    values : array_like, shape (n,)
        Values in the order of time; NaN where there is none (left out).

    Returns
    -------
    float
        Near 2 for independent values, smaller for positive serial correlation.

    Raises
    ------
    ShapeError
        If the series is not one-dimensional.
    TooFewLevelsError
        If fewer than two values are left.

    Notes
    -----
    Sum of the squared differences of neighbouring ranks over n (n² − 1)/12; ties have their middle rank.

    References
    ----------
    .. [1] Bartels, R. (1982). The rank version of von Neumann's ratio test for randomness. J. American Statistical
       Association 77, 40–46.

    Examples
    --------
    >>> rank_von_neumann([1.0, 3.0, 2.0, 4.0])
    1.8
    """
    ranks = _middle_ranks(_compact(values))
    n = ranks.size
    return float((np.diff(ranks) ** 2).sum() / (n * (n * n - 1) / 12))


def hamed_rao(values: ArrayLike, *, lags: int | None = None, alpha: float = 0.05) -> SerialKendall:
    """Test for a trend with the variance of S widened by the autocorrelation of ranks.

    Parameters
    ----------
    values : array_like, shape (n,)
        Values at even steps; NaN where there is none.
    lags : int, optional
        Largest lag looked at; all without it.
    alpha : float
        Only lags whose autocorrelation differs from 0 at this level count.

    Returns
    -------
    SerialKendall
        Test with the corrected variance.

    Raises
    ------
    AnalysisError
        If the largest lag is not below the number of values, or the level is not between 0 and 1.
    ShapeError
        If the series is not one-dimensional.
    TooFewLevelsError
        If fewer than three values are left.

    Notes
    -----
    var S times 1 + 2/[n (n−1)(n−2)] Σ_k (n−k)(n−k−1)(n−k−2) r_k, r_k the autocorrelation of the ranks of the values
    less their Theil–Sen trend, over lags with |r_k| > z_(1−α/2)/√n. The slope is found with gaps in their place;
    after that values stand one behind the other, so that lags count values, not steps.

    References
    ----------
    .. [1] Hamed, K. H. and Rao, A. R. (1998). A modified Mann–Kendall trend test for autocorrelated data. J. Hydrology
       204, 182–196.

    Examples
    --------
    >>> hamed_rao([1.0, 2.0, 4.0, 3.0, 5.0, 6.0]).score
    13
    """
    if not 0.0 < alpha < 1.0:
        message = f"The level is {alpha}; expected a number between 0 and 1, as 0.05."
        raise AnalysisError(message)
    series, slope = _compact(values, 3), _slope(values)
    n = series.size
    r = _of_residuals(_middle_ranks(_without_trend(series, slope)), n - 1 if lags is None else lags)
    k = np.arange(1, r.size)
    counted = np.abs(r[1:]) > float(ndtri(1.0 - alpha / 2.0)) / math.sqrt(n)
    terms = (n - k) * (n - k - 1.0) * (n - k - 2.0) * r[1:]
    ratio = 1.0 + 2.0 / (n * (n - 1.0) * (n - 2.0)) * float(terms[counted].sum())
    return _widened("Hamed-Rao", series, slope, ratio, r, int(counted.sum()))


def yue_wang(values: ArrayLike, *, lags: int | None = None) -> SerialKendall:
    """Test for a trend with the variance of S corrected by the autocorrelation of values.

    Parameters
    ----------
    values : array_like, shape (n,)
        Values at even steps; NaN where there is none.
    lags : int, optional
        Largest lag that counts; all without it.

    Returns
    -------
    SerialKendall
        Test with the corrected variance.

    Raises
    ------
    AnalysisError
        If the largest lag is not below the number of values.
    ShapeError
        If the series is not one-dimensional.
    TooFewLevelsError
        If fewer than three values are left.

    Notes
    -----
    var S times 1 + 2 Σ_k (1 − k/n) r_k, r_k the autocorrelation of the values less their Theil–Sen trend. Over all
    lags the r_k sum to −1/2 whatever the series, so that high lags pull the factor down, often below 1: where values
    go together, take lag 1 alone or another method. Gaps as in `hamed_rao`.

    References
    ----------
    .. [1] Yue, S. and Wang, C. Y. (2004). The Mann–Kendall test modified by effective sample size to detect trend in
       serially correlated hydrological series. Water Resources Management 18, 201–218.

    Examples
    --------
    >>> yue_wang([1.0, 2.0, 4.0, 3.0, 5.0, 6.0], lags=1).lags
    1
    """
    series, slope = _compact(values, 3), _slope(values)
    n = series.size
    r = _of_residuals(_without_trend(series, slope), n - 1 if lags is None else lags)
    ratio = 1.0 + 2.0 * float(((1.0 - np.arange(1, r.size) / n) * r[1:]).sum())
    return _widened("Yue-Wang", series, slope, ratio, r, r.size - 1)


def pre_whitened(values: ArrayLike) -> SerialKendall:
    """Test for a trend in what each value does not carry on from the one before.

    Parameters
    ----------
    values : array_like, shape (n,)
        Values at even steps; NaN where there is none (left out).

    Returns
    -------
    SerialKendall
        Test of x_i − r_1 x_(i−1).

    Raises
    ------
    ShapeError
        If the series is not one-dimensional.
    TooFewLevelsError
        If fewer than three values are left.

    Notes
    -----
    A trend is part of r_1 here, so that pre-whitening takes some of it away: the test misses trends. See
    `trend_free_pre_whitened`.

    References
    ----------
    .. [1] Storch, H. von (1995). Misuses of statistical analysis in climate research. In: Analysis of Climate
       Variability, 11–26.

    Examples
    --------
    >>> pre_whitened([1.0, 2.0, 4.0, 3.0, 5.0, 6.0]).count
    5
    """
    series, slope = _compact(values, 3), _slope(values)
    lag1 = float(_of_residuals(series, 1)[1])
    return _whitened("pre-whitening", series[1:] - lag1 * series[:-1], slope, lag1)


def trend_free_pre_whitened(values: ArrayLike) -> SerialKendall:
    """Test for a trend after pre-whitening the values less their trend and adding it again.

    Parameters
    ----------
    values : array_like, shape (n,)
        Values at even steps; NaN where there is none.

    Returns
    -------
    SerialKendall
        Test of the values made so.

    Raises
    ------
    ShapeError
        If the series is not one-dimensional.
    TooFewLevelsError
        If fewer than three values are left.

    Notes
    -----
    With y_i = x_i − b i, b the Theil–Sen slope: the test is of y_i − r_1 y_(i−1) + b (i−1). The constant does not
    matter. The method finds trends well, but false ones too often in short series with strong correlation. Gaps as in
    `hamed_rao`.

    References
    ----------
    .. [1] Yue, S., Pilon, P., Phinney, B. and Cavadias, G. (2002). The influence of autocorrelation on the ability to
       detect trend in hydrological series. Hydrological Processes 16, 1807–1829.

    Examples
    --------
    >>> trend_free_pre_whitened([1.0, 2.0, 4.0, 3.0, 5.0, 6.0]).count
    5
    """
    series, slope = _compact(values, 3), _slope(values)
    residuals = _without_trend(series, slope)
    lag1 = float(_of_residuals(residuals, 1)[1])
    again = residuals[1:] - lag1 * residuals[:-1] + np.arange(1, series.size) * slope
    return _whitened("trend-free pre-whitening", again, slope, lag1)


def _series(values: ArrayLike) -> Floats:
    series = np.asarray(values, dtype=np.float64)
    if series.ndim != 1:
        message = f"A series must be one-dimensional; found shape {series.shape}."
        raise ShapeError(message)
    if np.isfinite(series).sum() < 2:
        message = f"Serial correlation needs two values or more; found {int(np.isfinite(series).sum())}."
        raise TooFewLevelsError(message)
    return series


def _lagged_products(departure: Floats, lags: int) -> Floats:
    """Return the sums of the products of values so many lags apart."""
    n = departure.size
    if n * (lags + 1) <= DIRECT:
        return np.array([departure[k:] @ departure[: n - k] for k in range(lags + 1)])
    # padded so that the end does not meet the beginning
    width = 1 << (n + lags).bit_length()
    spectrum = np.fft.rfft(departure, width)
    return np.asarray(np.fft.irfft(spectrum * spectrum.conj(), width)[: lags + 1], dtype=np.float64)


def _compact(values: ArrayLike, least: int = 2) -> Floats:
    """Return the values that are there, one behind the other."""
    series = _series(values)
    series = series[np.isfinite(series)]
    if series.size < least:
        message = f"A trend with serial correlation needs {least} values or more; found {series.size}."
        raise TooFewLevelsError(message)
    return series


def _slope(values: ArrayLike) -> float:
    return theil_sen(values).slope


def _without_trend(series: Floats, slope: float) -> Floats:
    return series - np.arange(1, series.size + 1) * slope


def _middle_ranks(series: Floats) -> Floats:
    """Return ranks from 1, the middle one for ties."""
    ordered = np.sort(series)
    first, last = np.searchsorted(ordered, series, "left"), np.searchsorted(ordered, series, "right")
    return (first + last + 1) / 2.0


def _of_residuals(series: Floats, lags: int) -> Floats:
    """Return the autocorrelation; values that do not vary are taken as independent."""
    found = autocorrelation(series, lags)
    if np.isnan(found).any():
        found = np.zeros(lags + 1)
        found[0] = 1.0
    return found


def _widened(method: str, series: Floats, slope: float, ratio: float, r: Floats, lags: int) -> SerialKendall:
    plain = mann_kendall(series, method="normal")
    variance = plain.variance * ratio
    usable = ratio > 0.0
    z, p_value, _, _ = normal_probabilities(plain.score, variance) if usable else (math.nan,) * 4
    lag1 = float(r[1]) if r.size > 1 else math.nan
    return SerialKendall(method, plain.count, plain.score, variance, ratio, lag1, lags, slope, z, p_value)


def _whitened(method: str, series: Floats, slope: float, lag1: float) -> SerialKendall:
    plain = mann_kendall(series, method="normal")
    return SerialKendall(method, plain.count, plain.score, plain.variance, 1.0, lag1, 1, slope, plain.z, plain.p_value)
