"""Water stored in the pumped well: drawdown while it is drained, and the recovery of a displaced level."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gwnet.hydro.pumping.well_functions import invert_laplace, scaled_bessel_k

Floats = NDArray[np.float64]
Complex = NDArray[np.complex128]


def wellbore_storage(time: ArrayLike, alpha: float, radii: float = 1.0) -> Floats:
    """Return the dimensionless drawdown of a well that is drained itself, 4πTs/Q.

    Parameters
    ----------
    time : array_like, shape (n,)
        Tt/(S rw²), above 0; rw the radius of screen or bore.
    alpha : float
        The ratio rw² S/rc²; rc the radius of the casing in which the level moves.
    radii : float, optional
        Distance over rw; 1 at the pumped well.

    Returns
    -------
    numpy.ndarray, shape (n,)
        Dimensionless drawdown.

    Notes
    -----
    Papadopulos and Cooper (1967), Water Resources Research 3, 241–244 (from memory): F(uw, α) at the pumped well with
    uw = 1/(4 time).

    Examples
    --------
    >>> round(float(wellbore_storage([25.0], 0.1)[0]), 3)
    3.275
    """

    def transform(p: Complex) -> Complex:
        root = np.asarray(np.sqrt(p), dtype=np.complex128)
        decay = np.exp(-(radii - 1.0) * root)
        below = root * scaled_bessel_k(1, root) + p / (2.0 * alpha) * scaled_bessel_k(0, root)
        return np.asarray(
            2.0 / p * scaled_bessel_k(0, np.asarray(radii * root, dtype=np.complex128)) * decay / below,
            dtype=np.complex128,
        )

    return np.maximum(invert_laplace(transform, time), 0.0)


def slug_recovery(time: ArrayLike, alpha: float, radii: float = 1.0) -> Floats:
    """Return the share of a displacement that is left in a well of finite diameter, H/H0.

    Parameters
    ----------
    time : array_like, shape (n,)
        Tt/rc², above 0; rc the radius of the casing in which the level moves.
    alpha : float
        The ratio rw² S/rc²; rw the radius of screen or bore.
    radii : float, optional
        Distance of an observation well over rw; 1 at the tested well.

    Returns
    -------
    numpy.ndarray, shape (n,)
        Normalised head.

    Notes
    -----
    Cooper, Bredehoeft and Papadopulos (1967), Water Resources Research 3, 263–269 (from memory).

    Examples
    --------
    >>> round(float(slug_recovery([1.0], 0.001)[0]), 4)
    0.5729
    """

    def transform(p: Complex) -> Complex:
        root = np.asarray(np.sqrt(p), dtype=np.complex128)
        decay = np.exp(-(radii - 1.0) * root)
        below = p * scaled_bessel_k(0, root) + 2.0 * alpha * root * scaled_bessel_k(1, root)
        return np.asarray(
            scaled_bessel_k(0, np.asarray(radii * root, dtype=np.complex128)) * decay / below, dtype=np.complex128
        )

    return invert_laplace(transform, np.asarray(time, dtype=np.float64) / alpha)
