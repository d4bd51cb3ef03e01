"""Vertical gradients between wells of one place, from the middle of one screen to the middle of the other.

The middles are those of whole screens even where the water is inside the screen, and the result says so.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gwnet.errors import AnalysisError
from gwnet.hydro.arrays import broadcast

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class VerticalGradients:
    """Vertical gradients of n pairs of wells, as arrays of shape (n,).

    Attributes
    ----------
    rise_m : numpy.ndarray
        Elevation of the upper screen's middle less that of the lower one, positive [m].
    head_difference_m : numpy.ndarray
        Head in the lower well less head in the upper one: positive where water moves upward [m].
    half_width_m : numpy.ndarray
        95 % half-width of that difference [m].
    gradient : numpy.ndarray
        Head difference over rise, positive upward [m/m].
    gradient_half_width : numpy.ndarray
        Its 95 % half-width, the screens taken as known [m/m].
    determined : numpy.ndarray of bool
        True where the head difference is greater than its half-width.
    """

    rise_m: Floats
    head_difference_m: Floats
    half_width_m: Floats
    gradient: Floats
    gradient_half_width: Floats
    determined: Flags


def vertical_gradients(
    upper_middle_m: ArrayLike,
    lower_middle_m: ArrayLike,
    upper_head_m: ArrayLike,
    lower_head_m: ArrayLike,
    *,
    upper_half_width_m: ArrayLike = np.nan,
    lower_half_width_m: ArrayLike = np.nan,
) -> VerticalGradients:
    """Return the vertical gradients between pairs of wells at one place.

    Parameters
    ----------
    upper_middle_m, lower_middle_m : array_like, shape (n,)
        Elevations of the middles of the screens, positive upward [m].
    upper_head_m, lower_head_m : array_like, shape (n,)
        Water elevations, positive upward [m].
    upper_half_width_m, lower_half_width_m : array_like, optional
        95 % half-widths of the water elevations [m].

    Returns
    -------
    VerticalGradients
        Positive upward; NaN in, NaN out. Without half-widths nothing is determined.

    Raises
    ------
    AnalysisError
        If an upper screen is not above its lower one.
    ShapeError
        If the arrays do not fit together.

    Notes
    -----
    Screen midpoints: common practice, no source. The upper gradient of nested piezometers in Freeze and Cherry (1979),
    problem 2-1, is 20 m over 50 m, upward. Where the waters differ in density, freshwater heads do not give the
    direction of vertical flow either (Post and Simmons, 2022).

    Examples
    --------
    >>> found = vertical_gradients(350.0, 300.0, 403.0, 423.0, upper_half_width_m=0.1, lower_half_width_m=0.1)
    >>> float(found.gradient), bool(found.determined)
    (0.4, True)
    """
    upper, lower, above, below, wide, other = broadcast(
        upper_middle_m=upper_middle_m,
        lower_middle_m=lower_middle_m,
        upper_head_m=upper_head_m,
        lower_head_m=lower_head_m,
        upper_half_width_m=upper_half_width_m,
        lower_half_width_m=lower_half_width_m,
    )
    rise = upper - lower
    if np.any(rise <= 0.0):
        raise AnalysisError("An upper screen is not above the lower one of its pair.")
    difference = below - above
    width = np.hypot(wide, other)
    return VerticalGradients(
        rise_m=rise,
        head_difference_m=difference,
        half_width_m=width,
        gradient=difference / rise,
        gradient_half_width=width / rise,
        determined=np.asarray(np.abs(difference) > width),
    )
