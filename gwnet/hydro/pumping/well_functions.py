"""Well functions of confined and leaky aquifers, and their Laplace transforms inverted by Talbot's contour.

The dimensionless drawdown is 4πTs/Q throughout, T the transmissivity, s the drawdown and Q the rate.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

Floats = NDArray[np.float64]
Complex = NDArray[np.complex128]

#: Terms of the series of the leaky well function where its argument is at most 1; the next is below 1e-15.
_SERIES_TERMS: Final = 16
#: Points of the quadrature of the leaky well function.
_QUADRATURE_POINTS: Final = 40
#: Natural logarithm of the part of the integrand that the quadrature leaves out.
_LEFT_OUT: Final = 42.0
#: Points on Talbot's contour: 0.6 digits each, less what round-off takes (Abate and Valkó 2004).
TALBOT_POINTS: Final = 14


def theis(u: ArrayLike) -> Floats:
    """Return the well function of Theis, W(u).

    Parameters
    ----------
    u : array_like
        The ratio r²S/(4Tt); 0 and above.

    Returns
    -------
    numpy.ndarray
        The exponential integral E1(u); infinite at 0.

    Notes
    -----
    Theis (1935), Trans. American Geophysical Union 16, 519–524 (from memory).

    Examples
    --------
    >>> round(float(theis(0.01)), 4)
    4.0379
    """
    return np.asarray(special.exp1(np.asarray(u, dtype=np.float64)), dtype=np.float64)


def leaky(u: ArrayLike, r_over_b: ArrayLike) -> Floats:
    """Return the well function of a leaky aquifer, W(u, r/B), to ten digits.

    Parameters
    ----------
    u : array_like
        The ratio r²S/(4Tt), above 0.
    r_over_b : array_like
        Distance over leakage factor, 0 or above.

    Returns
    -------
    numpy.ndarray
        ∫ exp(−y − (r/B)²/(4y)) dy/y from u to infinity.

    Notes
    -----
    Hantush and Jacob (1955), Trans. American Geophysical Union 36, 95–100 (from memory). With v = (r/B)²/(4u) the
    integral from u and the one from v add up to 2 K0(r/B), so only the one whose lower end is the greater is worked
    out: as Σ (−v)ⁿ E(n+1; u)/n! where u is at most 1, by Gauss's quadrature in ln y elsewhere.

    Examples
    --------
    >>> round(float(leaky(0.01, 0.1)), 4)
    3.815
    """
    lower, ratio = np.broadcast_arrays(np.asarray(u, dtype=np.float64), np.asarray(r_over_b, dtype=np.float64))
    shape = lower.shape
    lower, ratio = lower.ravel(), ratio.ravel()
    with np.errstate(divide="ignore", over="ignore"):
        other = ratio**2 / (4.0 * lower)
    is_mirrored = other > lower
    upper_end, small = np.where(is_mirrored, other, lower), np.where(is_mirrored, lower, other)
    value = np.empty(lower.shape)
    by_series = upper_end <= 1.0
    value[by_series] = _leaky_series(upper_end[by_series], small[by_series])
    value[~by_series] = _leaky_quadrature(upper_end[~by_series], small[~by_series])
    if is_mirrored.any():
        value[is_mirrored] = 2.0 * special.k0(ratio[is_mirrored]) - value[is_mirrored]
    # What is left of 2 K0 after the other integral may be a rounding below 0.
    return np.maximum(value, 0.0).reshape(shape)


def _leaky_series(u: Floats, v: Floats) -> Floats:
    """Return Σ (−v)ⁿ E(n+1; u)/n! for v ≤ u ≤ 1; the recurrence of E upward is stable there."""
    decay = np.exp(-u)
    integral = np.asarray(special.exp1(u), dtype=np.float64)
    total = integral.copy()
    power = np.ones(u.shape)
    for n in range(1, _SERIES_TERMS):
        integral = (decay - u * integral) / n
        power = power * (-v / n)
        total += power * integral
    return total


@lru_cache(maxsize=4)
def _gauss(points: int) -> tuple[Floats, Floats]:
    """Return places and weights of Gauss's quadrature on 0 to 1."""
    places, weights = np.polynomial.legendre.leggauss(points)
    return 0.5 * (places + 1.0), 0.5 * weights


def _leaky_quadrature(u: Floats, v: Floats) -> Floats:
    """Return the integral of exp(−y − uv/y) d ln y from u, for v ≤ u and u > 1."""
    places, weights = _gauss(_QUADRATURE_POINTS)
    span = np.log1p(_LEFT_OUT / u)[:, None]
    grown = np.exp(span * places)
    with np.errstate(under="ignore", over="ignore"):
        integrand = np.exp(-u[:, None] * grown - v[:, None] / grown)
    return np.asarray((integrand @ weights) * span[:, 0], dtype=np.float64)


def scaled_bessel_k(order: int, z: Complex) -> Complex:
    """Return the modified Bessel function of the second kind times exp(z), also where z is very large.

    Parameters
    ----------
    order : int
        Order, 0 or 1.
    z : numpy.ndarray of complex
        Arguments with a real part above 0.

    Notes
    -----
    Beyond some 10⁹ the library gives no number; the leading term √(π/(2z)) is exact there to nine digits.
    """
    value = np.asarray(special.kve(order, z), dtype=np.complex128)
    lost = ~np.isfinite(value)
    if lost.any():
        value[lost] = np.sqrt(np.pi / (2.0 * z[lost]))
    return value


@lru_cache(maxsize=4)
def _talbot(points: int) -> tuple[Complex, Complex]:
    """Return the contour of Talbot for a time of 1, and its weights with the exponential in them."""
    angle = np.arange(1, points) * np.pi / points
    cotangent = 1.0 / np.tan(angle)
    scale = 2.0 * points / 5.0
    contour = np.concatenate([[scale + 0.0j], scale * angle * (cotangent + 1.0j)])
    slope = 1.0 + 1.0j * (angle + (angle * cotangent - 1.0) * cotangent)
    weights = np.concatenate([[0.5 * np.exp(scale)], np.exp(contour[1:]) * slope])
    return np.asarray(contour, dtype=np.complex128), np.asarray(weights * 0.4, dtype=np.complex128)


def invert_laplace(transform: Callable[[Complex], Complex], time: ArrayLike, points: int = TALBOT_POINTS) -> Floats:
    """Return a function of time from its Laplace transform, for all times at once.

    Parameters
    ----------
    transform : callable
        Takes complex arrays and returns the transform there; analytic away from the negative real axis.
    time : array_like, shape (n,)
        Times above 0.
    points : int, optional
        Points of the contour.

    Returns
    -------
    numpy.ndarray, shape (n,)
        Values of the function.

    Notes
    -----
    Fixed contour of Talbot: Abate and Valkó (2004), Int. J. Numerical Methods in Engineering 60, 979–993 (from
    memory).

    Examples
    --------
    >>> round(float(invert_laplace(lambda p: 1 / (p + 1), [2.0])[0]), 6) == round(float(np.exp(-2.0)), 6)
    True
    """
    times = np.atleast_1d(np.asarray(time, dtype=np.float64))
    contour, weights = _talbot(points)
    values = transform(contour[None, :] / times[:, None])
    return np.asarray((values * weights).sum(axis=1).real / times, dtype=np.float64)
