"""Unconfined aquifers: drawdown with delayed yield from the falling water table.

Times are Tt/(S r²); σ = S/Sy, β = Kz r²/(Kr b²), with S the storativity, Sy the specific yield, Kz and Kr the vertical
and horizontal conductivity and b the saturated thickness. Heights are shares of b above the base.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from gwnet.hydro.pumping.well_functions import invert_laplace, leaky, scaled_bessel_k, theis

Floats = NDArray[np.float64]
Complex = NDArray[np.complex128]
#: Lower and upper end of an open interval; both alike for a point.
Interval = tuple[float, float]

_WHOLE: Final[Interval] = (0.0, 1.0)
#: Panels between zeros of the Bessel function that are added up, and those whose sums are averaged (Euler).
_PANELS, _AVERAGED = 4, 10
_PANEL_POINTS: Final = 5
#: Points of Talbot's contour: six digits.
_CONTOUR: Final = 10
#: Panels a unit of ln x below the first zero, and their points.
_LOG_PANEL: Final = 1.5
_LOG_POINTS: Final = 7
#: Terms of the sum for a well that is open in part of the thickness.
_MOST_TERMS: Final = 400


def boulton(time: ArrayLike, sigma: float, r_over_b: float) -> Floats:
    """Return the dimensionless drawdown with Boulton's delay index, 4πTs/Q.

    Parameters
    ----------
    time : array_like, shape (n,)
        Tt/(S r²), above 0.
    sigma : float
        S/Sy.
    r_over_b : float
        Distance over √(T/(α Sy)), α the reciprocal of the delay index.

    Returns
    -------
    numpy.ndarray, shape (n,)
        Dimensionless drawdown.

    Notes
    -----
    Boulton (1963), Proc. Institution of Civil Engineers 26, 469–482 (from memory), as its Laplace transform.

    Examples
    --------
    >>> round(float(boulton([10.0], 0.01, 0.5)[0]), 4)
    1.8364
    """

    def transform(p: Complex) -> Complex:
        root = np.sqrt(p + r_over_b**2 * p / (p + sigma * r_over_b**2))
        return np.asarray(2.0 / p * scaled_bessel_k(0, root) * np.exp(-root), dtype=np.complex128)

    # At early times, where there is no drawdown yet, the inversion leaves tiny negative numbers.
    return np.maximum(invert_laplace(transform, time), 0.0)


def neuman(
    time: ArrayLike, sigma: float, beta: float, *, pumped: Interval = _WHOLE, observed: Interval = _WHOLE
) -> Floats:
    """Return the dimensionless drawdown below a water table that falls, 4πTs/Q.

    Parameters
    ----------
    time : array_like, shape (n,)
        Tt/(S r²), above 0.
    sigma, beta : float
        S/Sy and Kz r²/(Kr b²).
    pumped, observed : tuple of float, optional
        Open intervals of the pumped and of the observed well; the whole thickness unless given.

    Returns
    -------
    numpy.ndarray, shape (n,)
        Dimensionless drawdown.

    Notes
    -----
    Neuman (1972, 1974), Water Resources Research 8, 1031–1045 and 10, 303–312 (from memory). The drawdown of the
    confined aquifer, Theis's where the pumped well is open throughout and Hantush's (1961) where it is not, less what
    the water table supplies: a Hankel integral of Laplace transforms, each inverted by Talbot's contour.

    Examples
    --------
    >>> round(float(neuman([1.0], 1e-9, 0.01)[0]), 4)
    0.9644
    """
    times = np.atleast_1d(np.asarray(time, dtype=np.float64))
    drawdown = _confined(times, beta, pumped, observed) - _supplied(times, sigma, beta, pumped, observed)
    return np.maximum(drawdown, 0.0)


def _confined(times: Floats, beta: float, pumped: Interval, observed: Interval) -> Floats:
    """Return the drawdown between two impervious layers: Hantush (1961), J. Hydraulics Division 87, 83–98."""
    u = 1.0 / (4.0 * times)
    total = theis(u)
    # Over the whole thickness the mean of each cosine is 0, and so is Hantush's sum.
    if pumped == _WHOLE or observed == _WHOLE:
        return total
    # Terms fade as K0(nπ√β): at an argument of 25 they are below 1e-11.
    number = np.arange(1, min(int(8.0 / np.sqrt(beta)) + 2, _MOST_TERMS))
    share = _cosine_mean(number, pumped) * _cosine_mean(number, observed)
    # Symmetrical screens cancel every other term, and each term costs a well function.
    kept = np.abs(share) > 1e-12
    parts = leaky(u[:, None], (number[kept] * np.pi * np.sqrt(beta))[None, :])
    return np.asarray(total + 2.0 * parts @ share[kept], dtype=np.float64)


def _cosine_mean(number: NDArray[np.int64], interval: Interval) -> Floats:
    """Return the mean of cos(nπz) over an interval."""
    low, high = interval
    angle = number * np.pi
    if high - low < 1e-9:  # of a point the quotient below is 0 over 0
        return np.asarray(np.cos(angle * low), dtype=np.float64)
    return np.asarray((np.sin(angle * high) - np.sin(angle * low)) / (angle * (high - low)), dtype=np.float64)


@lru_cache(maxsize=64)
def _hankel_nodes(lowest: float) -> tuple[Floats, Floats]:
    """Return places x and weights that hold J0(x), for integrals of f(x) J0(x) from 0 to infinity."""
    zeros = special.jn_zeros(0, _PANELS + _AVERAGED)
    count = max(int(np.ceil(np.log(zeros[0] / lowest) / _LOG_PANEL)), 1)
    edges = np.geomspace(lowest, zeros[0], count + 1)
    points, weights = np.polynomial.legendre.leggauss(_LOG_POINTS)
    # Even in ln x: the later the time, the smaller the x from which the integral gets its value.
    middle, half = 0.5 * (np.log(edges[1:]) + np.log(edges[:-1])), 0.5 * np.diff(np.log(edges))
    low_x = np.exp(middle[:, None] + half[:, None] * points).ravel()
    low_weight = (half[:, None] * weights).ravel() * low_x
    points, weights = np.polynomial.legendre.leggauss(_PANEL_POINTS)
    middle, half = 0.5 * (zeros[1:] + zeros[:-1]), 0.5 * np.diff(zeros)
    # the last panels count by the share of sign changes that Euler's mean gives them
    tail = np.arange(1, _AVERAGED + 1)
    euler = special.bdtrc(tail - 1, _AVERAGED, 0.5)
    counted = np.concatenate([np.ones(_PANELS - 1), euler])
    high_x = (middle[:, None] + half[:, None] * points).ravel()
    high_weight = (counted[:, None] * half[:, None] * weights).ravel()
    x = np.concatenate([low_x, high_x])
    return x, np.concatenate([low_weight, high_weight]) * special.j0(x)


def _supplied(times: Floats, sigma: float, beta: float, pumped: Interval, observed: Interval) -> Floats:
    """Return what the falling water table takes from the confined drawdown."""
    # by half decades, so that the nodes can be kept
    lowest = 10.0 ** (0.5 * np.floor(2.0 * np.log10(2e-3 / np.sqrt(times.max()))))
    x, weight = _hankel_nodes(float(min(lowest, 0.1)))
    flat = np.repeat(times, x.size)
    squares = np.tile(x**2, times.size)[:, None]

    def transform(p: Complex) -> Complex:
        eta = np.sqrt((squares + p) / beta)
        supply = p / (sigma * beta)
        fade = np.exp(-2.0 * eta)
        above = _height_mean(eta, fade, observed)
        if pumped != _WHOLE:
            # Sinh and cosh by exp(−2η), since they overflow where η is above 700.
            above = above * _height_mean(eta, fade, pumped) * eta / (0.5 * (1.0 - fade))
        below = 0.5 * (eta * (1.0 - fade) + supply * (1.0 + fade))
        return np.asarray(2.0 / (sigma * beta) * above / ((squares + p) * below), dtype=np.complex128)

    parts = invert_laplace(transform, flat, _CONTOUR).reshape(times.size, x.size)
    return np.asarray(parts @ (weight * x), dtype=np.float64)


def _height_mean(eta: Complex, fade: Complex, interval: Interval) -> Complex:
    """Return the mean of cosh(ηz) over an interval, divided by exp(η) so that nothing overflows; fade is exp(−2η)."""
    low, high = interval
    if interval == _WHOLE:
        return np.asarray(0.5 * (1.0 - fade) / eta, dtype=np.complex128)
    if high - low < 1e-9:
        return np.asarray(0.5 * (np.exp(eta * (high - 1.0)) + np.exp(-eta * (high + 1.0))), dtype=np.complex128)
    rising = np.exp(eta * (high - 1.0)) - np.exp(eta * (low - 1.0))
    falling = np.exp(-eta * (high + 1.0)) - np.exp(-eta * (low + 1.0))
    return np.asarray(0.5 * (rising - falling) / (eta * (high - low)), dtype=np.complex128)
