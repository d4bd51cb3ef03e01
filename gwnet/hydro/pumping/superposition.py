"""Superposition: drawdown of any history of rates from the drawdown of one constant rate, and image wells."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gwnet.hydro.pumping.results import PumpingRates

Floats = NDArray[np.float64]
#: Takes times since the start of a constant rate [d], returns drawdown per rate [d/m²].
Response = Callable[[Floats], Floats]

#: More times than this many a decade are interpolated where a response is slow to work out.
_PER_DECADE = 8


def superpose(response: Response, rates: PumpingRates, days: ArrayLike) -> Floats:
    """Return the drawdown of a history of rates.

    Parameters
    ----------
    response : callable
        Drawdown per rate of a rate that holds from time 0 [d/m²].
    rates : PumpingRates
        History of rates.
    days : array_like, shape (n,)
        Times, counted as those of the rates [d].

    Returns
    -------
    numpy.ndarray, shape (n,)
        Drawdown; 0 before the first rate [m].
    """
    times = np.asarray(days, dtype=np.float64)
    changes = rates.changes_m3_d
    elapsed = times[:, None] - rates.start_days[None, :]
    runs = (elapsed > 0.0) & (changes != 0.0)[None, :]
    parts = np.zeros(elapsed.shape)
    if runs.any():
        parts[runs] = response(elapsed[runs])
    return np.asarray(parts @ changes, dtype=np.float64)


def interpolated(response: Response) -> Response:
    """Return a slow response as one that works out times on a logarithmic scale and interpolates between them.

    Parameters
    ----------
    response : callable
        Drawdown per rate of times above 0, smooth in the logarithm of time [d/m²].

    Returns
    -------
    callable
        The same by cubic splines of the square root, which stays positive, where there are many times.
    """
    from scipy.interpolate import CubicSpline

    def quick(days: Floats) -> Floats:
        low, high = float(days.min()), float(days.max())
        count = int(np.ceil(np.log10(high / low) * _PER_DECADE)) + 4
        if days.size <= count:
            return response(days)
        knots = np.geomspace(low, high, count)
        # The root, since a spline through drawdowns that rise from 0 over decades would swing below 0.
        root = CubicSpline(np.log(knots), np.sqrt(np.maximum(response(knots), 0.0)))
        return np.asarray(root(np.log(days)) ** 2, dtype=np.float64)

    return quick


def with_image(
    response: Callable[[float, Floats], Floats], distance_m: float, image_m: float, boundary: str
) -> Response:
    """Return the response near a straight boundary, by an image of the pumped well behind it.

    Parameters
    ----------
    response : callable
        Takes a distance [m] and times [d], returns drawdown per rate without boundary [d/m²].
    distance_m, image_m : float
        Distances of the well from the pumped well and from its image [m].
    boundary : str
        ``barrier`` adds the image's drawdown, ``recharge`` takes it away.

    Returns
    -------
    callable
        Drawdown per rate of times [d/m²].

    Notes
    -----
    Ferris, Knowles, Brown and Stallman (1962), USGS WSP 1536-E (from memory).
    """
    # Behind a barrier the image pumps as well; behind a river it gives back what the well takes.
    sign = 1.0 if boundary == "barrier" else -1.0
    return lambda days: response(distance_m, days) + sign * response(image_m, days)
