"""Sums over the control of a surface: points that stand for areas, means, volumes of rise and fall."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gwnet.constants import NORMAL_95
from gwnet.errors import AnalysisError
from gwnet.hydro.surfaces.hull import hull_area
from gwnet.hydro.surfaces.kriging import KrigedSurface
from gwnet.hydro.surfaces.kriging_system import kriging_system
from gwnet.hydro.surfaces.surface import Surface

Floats = NDArray[np.float64]

#: Points that a volume is summed over, and those that its error is worked out from, whose number is squared.
VOLUME_POINTS = 40_000
ERROR_POINTS = 900


def hull_nodes(hull: Floats, about: int = ERROR_POINTS) -> tuple[Floats, Floats, Floats]:
    """Return points over a convex hull, each with the area that it stands for.

    Parameters
    ----------
    hull : numpy.ndarray, shape (k, 2)
        Corners, anticlockwise [m].
    about : int, optional
        How many points, roughly.

    Returns
    -------
    tuple of numpy.ndarray
        Coordinates x and y [m] and areas [m²], shape (m,); the areas sum to that of the hull.

    Notes
    -----
    The hull is cut into triangles about its middle and these into small ones of one shape, whose middles are the
    points: sums of a plane are exact.

    Examples
    --------
    >>> x, y, area = hull_nodes(np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 3.0], [0.0, 3.0]]), 100)
    >>> round(float(area.sum()), 9), round(float(area @ (x + y)), 9)
    (6.0, 15.0)
    """
    middle = hull.mean(axis=0)
    whole = hull_area(hull)
    parts: list[tuple[Floats, Floats]] = []
    for start, end in zip(hull, np.roll(hull, -1, axis=0), strict=True):
        area = hull_area(np.array([middle, start, end]))
        if area <= 0.0:
            continue
        cuts = max(1, round(math.sqrt(about * area / whole)))
        shares = _middles(cuts)
        points = middle + shares @ np.array([start - middle, end - middle])
        parts.append((points, np.full(cuts * cuts, area / (cuts * cuts))))
    points = np.vstack([part[0] for part in parts])
    return points[:, 0], points[:, 1], np.concatenate([part[1] for part in parts])


def _middles(cuts: int) -> Floats:
    """Return the middles of the equal triangles of a triangle whose sides are cut, as shares of two sides."""
    i, j = (values.ravel() for values in np.meshgrid(np.arange(cuts), np.arange(cuts), indexing="ij"))
    up, down = i + j < cuts, i + j < cuts - 1
    upward = np.column_stack([i[up] + 1.0 / 3.0, j[up] + 1.0 / 3.0])
    downward = np.column_stack([i[down] + 2.0 / 3.0, j[down] + 2.0 / 3.0])
    return np.vstack([upward, downward]) / cuts


@dataclass(frozen=True)
class ChangeSums:
    """What a surface of changes holds inside its control; changes positive for rise.

    Attributes
    ----------
    area_m2 : float
        Area of the control [m²].
    mean_m : float
        Mean change [m].
    mean_half_width_m : float
        Its 95 % half-width from the kriging error; NaN where the method has none [m].
    rise_m3, fall_m3 : float
        Volume between the surface and no change where it rises and where it falls, both not negative, of aquifer and
        not of water [m³].
    rise_area_m2, fall_area_m2 : float
        Area where a rise or fall exceeds the 95 % half-width of the surface; NaN where the method has none [m²].
    """

    area_m2: float
    mean_m: float
    mean_half_width_m: float
    rise_m3: float
    fall_m3: float
    rise_area_m2: float
    fall_area_m2: float


def change_sums(
    surface: Surface,
    *,
    unit_m: float = 1.0,
    held: Callable[[Floats, Floats], NDArray[np.bool_]] | None = None,
) -> ChangeSums:
    """Return area, mean and volumes of a surface of changes inside the convex hull of its control.

    Parameters
    ----------
    surface : gwnet.hydro.surfaces.surface.Surface
        Surface of changes, positive for rise [m].
    unit_m : float, optional
        Metres in one unit of the coordinates.
    held : callable, optional
        Tells of points (x, y) whether they count; all inside the hull unless given.

    Returns
    -------
    ChangeSums
        Sums; times the storage coefficient they are volumes of water.

    Raises
    ------
    AnalysisError
        If nothing counts.

    Notes
    -----
    The half-width of the mean counts the errors of the levels, of what lies between the wells, and that errors near
    each other are alike (`gwnet.hydro.surfaces.kriging_system.KrigingSystem.combined_error`), and that the covariance
    is itself estimated. It is infinite where the levels say nothing of its scale.
    """
    x, y, area = _counted(surface.hull, VOLUME_POINTS, held)
    change = surface.predict(x, y)
    whole = float(area.sum())
    square = unit_m * unit_m
    width, rising, falling = math.nan, math.nan, math.nan
    if isinstance(surface, KrigedSurface):
        coarse_x, coarse_y, coarse = _counted(surface.hull, ERROR_POINTS, held)
        error = kriging_system(surface).combined_error(coarse_x, coarse_y, coarse / coarse.sum())
        width = NORMAL_95 * error
        few_x, few_y, few = _counted(surface.hull, 4 * ERROR_POINTS, held)
        half_width, there = NORMAL_95 * surface.standard_error(few_x, few_y), surface.predict(few_x, few_y)
        rising, falling = float(few[there > half_width].sum()) * square, float(few[-there > half_width].sum()) * square
    return ChangeSums(
        area_m2=whole * square,
        mean_m=float(area @ change) / whole,
        mean_half_width_m=width,
        rise_m3=float(area @ np.maximum(change, 0.0)) * square,
        fall_m3=float(area @ np.maximum(-change, 0.0)) * square,
        rise_area_m2=rising,
        fall_area_m2=falling,
    )


def _counted(
    hull: Floats, about: int, held: Callable[[Floats, Floats], NDArray[np.bool_]] | None
) -> tuple[Floats, Floats, Floats]:
    """Return the points over a hull that count, with their areas."""
    x, y, area = hull_nodes(hull, about)
    if held is None:
        return x, y, area
    kept = held(x, y)
    if not kept.any():
        raise AnalysisError("Nothing of the control lies where changes are summed.", fix="Check the boundary.")
    return x[kept], y[kept], area[kept]
