"""Limits of a slope where what is left over is serially correlated.

A regression of levels on air pressure leaves over what else moves the water, which lasts for hours to months. The usual
standard error takes every sample for new evidence and is several times too small.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from gwnet.errors import ShapeError
from gwnet.hydro.arrays import Floats

#: Most cosines that the long-run variance is worked out from (project default): with 8, what is left over may be
#: correlated over an eighth of the record, and the limits are 18 % wider than those of a known variance.
MOST_COSINES: Final = 8


def half_width_of_sum(influence: ArrayLike) -> Floats:
    """Return the 95 % half-width of sums whose terms are serially correlated.

    Parameters
    ----------
    influence : array_like, shape (n,) or (n, k)
        What each sample adds to the error of each of k estimates, in order of time: for a slope by least squares the
        product of centred input and residual over the sum of squares of the input.

    Returns
    -------
    numpy.ndarray, shape () or (k,)
        Half-width of each estimate, in the unit of the influence; NaN for fewer than 3 samples.

    Raises
    ------
    ShapeError
        If the array has another number of dimensions.

    Notes
    -----
    Equal-weighted cosine estimator of the long-run variance with the quantile of Student's t for as many degrees of
    freedom as there are cosines: Lazarus, Lewis, Stock and Watson (2018), Journal of Business and Economic Statistics
    36(4), 541-559; 0.4 n^(2/3) cosines (their rule), and no more than 8 (project default).

    Examples
    --------
    >>> import numpy as np
    >>> noise = np.random.default_rng(1).normal(size=2000) / 2000
    >>> bool(0.5 < half_width_of_sum(noise) / (2.0 / np.sqrt(2000)) < 2.0)
    True
    """
    from scipy import special

    terms = np.asarray(influence, dtype=np.float64)
    if terms.ndim not in (1, 2):
        message = f"Influences have shape {terms.shape}; expected (n,) or (n, k)."
        raise ShapeError(message)
    count = terms.shape[0]
    if count < 3:
        return np.full(terms.shape[1:], np.nan)
    cosines = int(np.clip(round(0.4 * count ** (2 / 3)), 1, MOST_COSINES))
    angle = np.pi * (np.arange(count) + 0.5) / count
    waves = np.cos(np.outer(np.arange(1, cosines + 1), angle))
    variance = 2.0 * np.mean(np.square(waves @ terms), axis=0)
    return np.asarray(float(special.stdtrit(cosines, 0.975)) * np.sqrt(variance))


def half_width_of_wandering_sum(weights: ArrayLike, wandering: ArrayLike) -> Floats:
    """Return the 95 % half-width of a weighted sum of what wanders like the water itself.

    Parameters
    ----------
    weights : array_like, shape (n,)
        Weights that add up to zero: for a slope by least squares the centred input over the sum of its squares.
    wandering : array_like, shape (n,)
        What is left over beside the slope, in order of time; a random walk, or anything that comes back.

    Returns
    -------
    numpy.ndarray, shape ()
        Half-width; NaN for fewer than 4 samples.

    Raises
    ------
    ShapeError
        If the arrays do not fit together.

    Notes
    -----
    Summation by parts turns the sum into one over the changes of what is left over, each weighted by the sum of the
    weights up to it. The changes of a random walk are independent, those of what comes back nearly so, and
    `half_width_of_sum` serves them, where of the levels themselves it sees too few swings. Algebra; no source needed.

    Examples
    --------
    >>> import numpy as np
    >>> walk = np.cumsum(np.random.default_rng(1).normal(size=1000))
    >>> weights = (np.arange(1000) - 499.5) / 1000**2
    >>> bool(half_width_of_wandering_sum(weights, walk) > half_width_of_sum(weights * (walk - walk.mean())))
    True
    """
    shares, values = np.asarray(weights, dtype=np.float64), np.asarray(wandering, dtype=np.float64)
    if shares.ndim != 1 or shares.shape != values.shape:
        message = f"Weights have shape {shares.shape} and what is left over {values.shape}; expected (n,) twice."
        raise ShapeError(message)
    return half_width_of_sum(np.cumsum(shares)[:-1] * np.diff(values))
