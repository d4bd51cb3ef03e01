"""Directions as directions: their spread on the circle, and the angle between two of them.

A mean direction is drawn only where directions agree (concentration 0.7, project default).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gwnet.hydro.gradients.horizontal import Gradient


@dataclass(frozen=True)
class Directions:
    """Directions taken together.

    Attributes
    ----------
    n : int
        How many.
    mean_deg : float
        Direction of the sum of their unit vectors, clockwise from grid north, in [0, 360); NaN for none [degrees].
    concentration : float
        Length of that sum over n: 1 when all are alike, near 0 when they cancel.
    """

    n: int
    mean_deg: float
    concentration: float


def directions(azimuth_deg: ArrayLike) -> Directions:
    """Return the mean of directions on the circle, and how concentrated they are.

    Parameters
    ----------
    azimuth_deg : array_like
        Directions, clockwise from grid north; NaN are passed over [degrees].

    Notes
    -----
    Mean and concentration as in Mardia and Jupp (2000, Directional Statistics, section 2.2; from memory). A mean of
    directions that scatter widely is the direction of no round: use it only with its concentration.

    Examples
    --------
    >>> round(directions([350.0, 10.0]).mean_deg, 9) % 360
    0.0
    """
    from scipy.stats import circmean, circvar

    turned = np.asarray(azimuth_deg, dtype=np.float64).ravel()
    turned = turned[~np.isnan(turned)]
    if not turned.size:
        return Directions(0, math.nan, math.nan)
    # the mean of directions just beside north may come out as 360
    mean = float(circmean(turned, high=360.0)) % 360.0
    return Directions(int(turned.size), mean, 1.0 - float(circvar(turned, high=360.0)))


def turn_deg(first_deg: ArrayLike, second_deg: ArrayLike) -> NDArray[np.float64]:
    """Return by how much one direction is turned from another.

    Parameters
    ----------
    first_deg, second_deg : array_like
        Directions, clockwise from grid north [degrees].

    Returns
    -------
    numpy.ndarray
        Turn from the first to the second, clockwise positive, in (-180, 180] [degrees].

    Examples
    --------
    >>> turn_deg([350.0, 90.0], [10.0, 270.0]).tolist()
    [20.0, 180.0]
    """
    difference = np.asarray(second_deg, dtype=np.float64) - np.asarray(first_deg, dtype=np.float64)
    # Above -180 and up to 180: an about-turn counts as clockwise.
    return np.asarray(180.0 - np.mod(180.0 - difference, 360.0), dtype=np.float64)


@dataclass(frozen=True)
class Turn:
    """How the direction of flow differs between two days.

    Attributes
    ----------
    angle_deg : float
        Turn from the first to the second, clockwise positive, in (-180, 180] [degrees].
    half_width_deg : float
        Its 95 % half-width; NaN when a direction is not known [degrees].
    verdict : str
        ``reversal`` (more than 90 degrees apart beyond doubt), ``turned`` (apart beyond doubt), ``not
        distinguishable``, or ``not determined`` where a direction is not.
    """

    angle_deg: float
    half_width_deg: float
    verdict: str

    @property
    def text(self) -> str:
        """Return the turn in a sentence."""
        if self.verdict == "not determined":
            return "Whether the direction of flow differs is not known: it is not determined on both days."
        way = "clockwise" if self.angle_deg >= 0 else "anticlockwise"
        size = f"{abs(round(self.angle_deg))}° ± {math.ceil(self.half_width_deg)}° {way}"
        if self.verdict == "reversal":
            return f"The direction of flow is reversed: it differs by {size}, more than 90° beyond doubt."
        if self.verdict == "turned":
            return f"The direction of flow is turned by {size}."
        return f"The directions of flow are not distinguishable: they differ by {size}."


def turn_between(first: Gradient, second: Gradient) -> Turn:
    """Return how the direction of flow differs between two gradients.

    Parameters
    ----------
    first, second : gwnet.hydro.gradients.horizontal.Gradient
        Gradients of two days.

    Returns
    -------
    Turn
        Angle, half-width and verdict.

    Notes
    -----
    The reaches of the two arcs towards each other are taken as independent. Levels of the same wells share the errors
    of their survey, so the true half-width is as a rule smaller.
    """
    angle = float(turn_deg(first.azimuth_deg, second.azimuth_deg))
    if not (first.determined and second.determined):
        return Turn(angle, math.nan, "not determined")
    # the ends of the two arcs that face each other decide whether they meet
    facing = (
        (first.clockwise_deg, second.anticlockwise_deg)
        if angle >= 0.0
        else (first.anticlockwise_deg, second.clockwise_deg)
    )
    # No turn is larger than half a circle, so no interval of one is.
    width = min(math.hypot(*facing), 180.0)
    # Even the smallest turn within the limits has the water flow back in part.
    if abs(angle) - width > 90.0:
        return Turn(angle, width, "reversal")
    return Turn(angle, width, "turned" if abs(angle) > width else "not distinguishable")
