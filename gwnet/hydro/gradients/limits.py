"""Limits of a gradient's size and direction from the covariance of its two slopes.

Limits are those of Student's t with the degrees of freedom that the covariance was estimated with: a scale taken from
few residuals is itself uncertain, and 1.96 standard errors hold far too seldom.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class SlopeLimits:
    """Size and direction of a gradient with their limits.

    Attributes
    ----------
    size : float
        Fall of head along the direction of flow [m/m].
    half_width : float
        95 % half-width of the size; NaN when no uncertainty is known [m/m].
    azimuth_deg : float
        Direction of flow, down the gradient, clockwise from grid north, in [0, 360) [degrees].
    anticlockwise_deg, clockwise_deg : float
        How far the 95 % arc of directions reaches to either side of it; 180 each, all round, where the gradient is not
        significant; NaN when no uncertainty is known [degrees].
    is_significant : bool
        Whether a gradient of zero is outside the joint limits of the two slopes, and outside those of the size.
    """

    size: float
    half_width: float
    azimuth_deg: float
    anticlockwise_deg: float
    clockwise_deg: float
    is_significant: bool

    @property
    def upper_limit(self) -> float:
        """Return the 95 % upper limit of the size [m/m]."""
        return self.size + self.half_width


@lru_cache(maxsize=256)
def _quantiles(degrees: float, level: float) -> tuple[float, float]:
    """Return the two-sided 95 % quantile of Student's t, and of twice F(2, degrees) at a level."""
    from scipy import special

    # With a known scale (reading errors) Student's t is the normal and twice F a chi-squared.
    if math.isinf(degrees):
        return float(-special.ndtri(0.025)), -2.0 * math.log(level)
    student = float(special.stdtrit(degrees, 0.975))
    # F with two degrees of freedom above has a closed form: P(F > f) = (1 + 2 f / degrees) ** (-degrees / 2)
    twice_f = degrees * (level ** (-2.0 / degrees) - 1.0)
    return student, twice_f


def slope_limits(
    slopes: Floats, covariance: Floats | None, degrees: float = math.inf, *, level: float = 0.05
) -> SlopeLimits:
    """Return size and direction of a gradient with their limits, and whether it is significant.

    Parameters
    ----------
    slopes : numpy.ndarray, shape (2,)
        Change of head per distance eastward and northward [m/m].
    covariance : numpy.ndarray, shape (2, 2), or None
        Their covariance; None where it is not known [m2/m2].
    degrees : float, optional
        Degrees of freedom of the scale of the covariance; infinite where the scale is known.
    level : float, optional
        Level of the test against a gradient of zero.

    Returns
    -------
    SlopeLimits
        Size, direction, limits and verdict.

    Notes
    -----
    With g the slopes and S their covariance the gradient is significant when gᵀ S⁻¹ g exceeds 2 F(2, degrees), the
    ratio of Hotelling (1931; for regression Draper and Smith, 1998, section 5.1; from memory), and the size exceeds
    its own half-width t √(uᵀ S u), u the direction of steepest fall. The arc holds every direction across which no
    slope is significant: (pᵀ g)² ≤ t² pᵀ S p with p at right angles to the direction (Fieller, 1954; from memory). It
    is exact for normal errors, wider on the side where the levels say less, and needs no small angle.

    Examples
    --------
    >>> limits = slope_limits(np.array([-0.001, 0.0]), np.diag([1e-8, 1e-8]))
    >>> round(limits.azimuth_deg), round(limits.clockwise_deg, 2), limits.is_significant
    (90, 11.3, True)
    """
    size = float(np.hypot(slopes[0], slopes[1]))
    # Twice, since a tiny negative angle becomes 360 by rounding the first time.
    azimuth_deg = float(np.degrees(np.arctan2(-slopes[0], -slopes[1])) % 360.0) % 360.0
    if covariance is None:
        return SlopeLimits(size, math.nan, azimuth_deg, math.nan, math.nan, is_significant=False)
    student, twice_f = _quantiles(float(degrees), level)
    if size == 0.0:
        # Flat: no direction of steepest fall; the widest axis of the ellipse holds for any.
        widest = math.sqrt(max(0.0, float(np.linalg.eigvalsh(covariance)[-1])))
        return SlopeLimits(0.0, student * widest, azimuth_deg, 180.0, 180.0, is_significant=False)
    down = -slopes / size
    right = np.array([down[1], -down[0]])  # a quarter turn clockwise
    along, across, mixed = (
        float(first @ covariance @ second) for first, second in ((down, down), (right, right), (down, right))
    )
    half_width = student * math.sqrt(max(0.0, along))
    is_significant = size > half_width
    # A covariance without an inverse (wells on one line, or no error at all): the size alone decides.
    if along * across - mixed**2 > 0.0:
        is_significant &= bool(slopes @ np.linalg.solve(covariance, slopes) > twice_f)
    if not is_significant:
        # Without a significant size every direction is possible: half a circle to either side.
        return SlopeLimits(size, half_width, azimuth_deg, 180.0, 180.0, is_significant=False)
    anticlockwise, clockwise = _arc(size, along, across, mixed, student)
    return SlopeLimits(size, half_width, azimuth_deg, anticlockwise, clockwise, is_significant=True)


def _arc(size: float, along: float, across: float, mixed: float, student: float) -> tuple[float, float]:
    """Return how far the arc of directions reaches anticlockwise and clockwise of the steepest fall [degrees].

    A direction turned clockwise by d has the unit vector cos d · down + sin d · right. The slope across it is
    proportional to size · sin d, with variance sin² d · along − 2 sin d cos d · mixed + cos² d · across. The limits are
    the roots of a quadratic in tan d.
    """
    squared = student**2
    leading = size**2 - squared * along  # above 0, as the size exceeds its half-width
    middle = -squared * mixed
    root = math.sqrt(max(0.0, middle**2 + leading * squared * across))
    return (
        math.degrees(math.atan((root - middle) / leading)),
        math.degrees(math.atan((root + middle) / leading)),
    )
