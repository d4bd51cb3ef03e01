"""Horizontal gradients with their uncertainty: two wells, three points, plane fit, and flow arrows on a surface.

Directions of flow are azimuths: degrees clockwise from grid north (+y), pointing down the gradient, in [0, 360).

A gradient is determined when the 95 % ellipse of its two slopes leaves out zero and its size exceeds its half-width.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gwnet.constants import NORMAL_95
from gwnet.errors import AnalysisError, ShapeError
from gwnet.hydro.surfaces.hull import control_arrays, hull_area, inside
from gwnet.hydro.surfaces.surface import Surface

Floats = NDArray[np.float64]

#: The 95 % ellipse of two components: chi-squared with two degrees of freedom, −2 ln 0.05.
_ELLIPSE_95: Final = 5.991464547107979

_TURN = 360.0


@dataclass(frozen=True, eq=False)
class Gradient:
    """Gradient of a plane through heads.

    Attributes
    ----------
    method : str
        ``three points`` or ``plane fit``.
    n : int
        Wells.
    slope_x, slope_y : float
        Rise of head eastward and northward [m/m].
    mean_head_m : float
        Head of the plane at the centre of the wells, positive upward [m].
    centre_x, centre_y : float
        Mean of the wells' coordinates [m].
    magnitude : float
        Fall of head along the direction of flow [m/m].
    magnitude_half_width : float
        95 % half-width of the magnitude; NaN when no uncertainty is known [m/m].
    azimuth_deg : float
        Direction of flow, down the gradient, clockwise from grid north, in [0, 360) [degrees].
    azimuth_half_width_deg : float
        95 % half-width of the direction, at most 180; NaN when no uncertainty is known [degrees].
    determined : bool
        False when the 95 % ellipse of the two slopes holds zero or the size is within its half-width, so that neither
        size nor direction is known, or when no uncertainty is known.
    residual_m : numpy.ndarray, shape (n,)
        Head less plane: positive where a well stands above it [m].
    residual_sd_m : float
        Root of the residuals' sum of squares over n − 3; NaN for three wells [m].
    scale : float
        What the uncertainties were multiplied by because the heads lie off the plane by more than they explain; 1
        when they explain it.
    note : str
        Anything a reader must know; empty when nothing.
    """

    method: str
    n: int
    slope_x: float
    slope_y: float
    mean_head_m: float
    centre_x: float
    centre_y: float
    magnitude: float
    magnitude_half_width: float
    azimuth_deg: float
    azimuth_half_width_deg: float
    determined: bool
    residual_m: Floats
    residual_sd_m: float
    scale: float
    note: str

    @property
    def text(self) -> str:
        """Return size and direction in words, with 95 % half-widths; degrees clockwise from grid north."""
        plane = f"{self.magnitude:.2g} m/m towards {round(self.azimuth_deg) % 360}°"
        if not self.determined:
            return f"not determined: the plane falls {plane}, but {self.note}"
        decimals = max(0, -math.floor(math.log10(self.magnitude_half_width))) if self.magnitude_half_width > 0 else 6
        return (
            f"{self.magnitude:.{decimals}f} ± {self.magnitude_half_width:.{decimals}f} m/m towards "
            f"{round(self.azimuth_deg) % 360}° ± {math.ceil(self.azimuth_half_width_deg)}°"
        )


def azimuth(east: ArrayLike, north: ArrayLike) -> Floats:
    """Return the direction of vectors, clockwise from grid north.

    Parameters
    ----------
    east, north : array_like
        Components.

    Returns
    -------
    numpy.ndarray
        Azimuth in [0, 360) [degrees]; 0 for a vector of no length.

    Examples
    --------
    >>> azimuth([0, 1, 0, -1], [1, 0, -1, 0]).tolist()
    [0.0, 90.0, 180.0, 270.0]
    """
    turned = np.degrees(np.arctan2(np.asarray(east, dtype=np.float64), np.asarray(north, dtype=np.float64)))
    return np.mod(np.mod(turned, _TURN), _TURN)


def plane_gradient(
    x: ArrayLike,
    y: ArrayLike,
    head_m: ArrayLike,
    half_width_m: ArrayLike | None = None,
    *,
    names: Sequence[str] | None = None,
) -> Gradient:
    """Return the gradient of the plane through three heads, or of the least-squares plane through more.

    Parameters
    ----------
    x, y : array_like, shape (n,)
        Easting and northing of at least three wells that are not on one line [m].
    head_m : array_like, shape (n,)
        Water elevation, positive upward [m].
    half_width_m : array_like, optional
        95 % half-width of each head, one number or shape (n,); a well without one takes the median of the others [m].
    names : sequence of str, optional
        Names of the wells for messages.

    Raises
    ------
    TooFewLevelsError
        If there are fewer than three wells.
    AnalysisError
        If the wells lie on one line, two share a place or a half-width is negative.
    ShapeError
        If the arrays do not fit together.

    Notes
    -----
    Plane h = a x + b y + c by ordinary least squares, all wells alike. The covariance of a and b follows from the
    variances of the heads, (half-width / 1.96)², taken as independent. With more than three wells the residuals show
    how far the aquifer is from a plane: where their sum of squares over the variances, divided by n − 3, exceeds 1,
    the uncertainties are multiplied by its root (Birge ratio; Birge, 1932, from memory).

    The gradient is *determined* when the 95 % ellipse of (a, b) leaves out zero, that is when (a, b) S⁻¹ (a, b)ᵀ
    exceeds 5.991 with S their covariance, and its size exceeds its own half-width. Size and direction have 95 %
    half-widths of 1.96 standard errors, propagated to first order. Without any uncertainty and with more than three
    wells, the residuals alone give S.

    Examples
    --------
    >>> found = plane_gradient([0, 100, 0], [0, 0, 100], [10.0, 10.0, 9.9], 0.01)
    >>> round(found.magnitude, 6), round(found.azimuth_deg, 6), found.determined
    (0.001, 0.0, True)
    """
    xs, ys, heads = control_arrays(x, y, head_m, names=names)
    variance, note = _variances(half_width_m, xs.shape)
    centre_x, centre_y = float(xs.mean()), float(ys.mean())
    extent = float(max(np.ptp(xs), np.ptp(ys)))
    design = np.column_stack([np.ones_like(xs), (xs - centre_x) / extent, (ys - centre_y) / extent])
    solver = np.linalg.pinv(design)
    mean = float(heads.mean())
    values = solver @ (heads - mean)
    residual = heads - mean - design @ values
    slopes = values[1:] / extent
    free = xs.size - 3
    square_sum = float(residual @ residual)
    scale = 1.0
    if variance is None and free:
        variance = np.full(xs.shape, square_sum / free)
        note = "no uncertainty of the levels is known; the misfit of the plane stands for it"
    elif variance is not None and free:
        scale = _birge(residual, variance)
    covariance = None if variance is None else (solver[1:] * variance) @ solver[1:].T * (scale / extent) ** 2
    size, size_width, direction, direction_width, determined = size_and_direction(slopes, covariance)
    if variance is not None and not determined:
        cause = "the uncertainty of the levels" if scale == 1.0 else "what the levels' misfit to a plane leaves open"
        note = "; ".join(part for part in (note, f"the fall of head is within {cause}") if part)
    return Gradient(
        method="three points" if xs.size == 3 else "plane fit",
        n=int(xs.size),
        slope_x=float(slopes[0]),
        slope_y=float(slopes[1]),
        mean_head_m=mean + float(values[0]),
        centre_x=centre_x,
        centre_y=centre_y,
        magnitude=size,
        magnitude_half_width=size_width,
        azimuth_deg=direction,
        azimuth_half_width_deg=direction_width,
        determined=determined,
        residual_m=residual,
        residual_sd_m=float(np.sqrt(square_sum / free)) if free else float("nan"),
        scale=scale,
        note=note,
    )


def _variances(half_width: ArrayLike | None, shape: tuple[int, ...]) -> tuple[Floats | None, str]:
    """Return the variance of each head, None where nothing is known, and a note on what was filled in."""
    unknown = "no uncertainty of the levels is known"
    if half_width is None:
        return None, unknown
    try:
        widths = np.broadcast_to(np.asarray(half_width, dtype=np.float64), shape)
    except ValueError:
        message = f"half_width_m must be one number or of shape {shape}."
        raise ShapeError(message) from None
    if np.any(widths < 0.0):
        raise AnalysisError("A half-width of a head is negative.")
    missing = np.isnan(widths)
    if missing.all():
        return None, unknown
    note = f"uncertainty not known at {missing.sum()} of {widths.size} wells" if missing.any() else ""
    return (np.where(missing, np.nanmedian(widths), widths) / NORMAL_95) ** 2, note


def _birge(residual: Floats, variance: Floats) -> float:
    if np.any(variance == 0.0):
        return 1.0
    return max(1.0, float(np.sqrt(np.sum(residual**2 / variance) / (residual.size - 3))))


def size_and_direction(slopes: Floats, covariance: Floats | None) -> tuple[float, float, float, float, bool]:
    """Return size and direction of a gradient, each with its half-width, and whether they are determined.

    Parameters
    ----------
    slopes : numpy.ndarray, shape (2,)
        Change of head per distance eastward and northward [m/m].
    covariance : numpy.ndarray, shape (2, 2), or None
        Their covariance; None where it is not known [m2/m2].

    Returns
    -------
    tuple of float and bool
        Size [m/m], its half-width [m/m], azimuth down the gradient [degrees], its half-width [degrees], and whether
        both are determined: no gradient of 0 within the 95 % ellipse, nor within the half-width of the size.
    """
    size = float(np.hypot(slopes[0], slopes[1]))
    direction = float(azimuth(-slopes[0], -slopes[1]))
    if covariance is None:
        return size, float("nan"), direction, float("nan"), False
    if size == 0.0:
        widest = float(np.sqrt(np.linalg.eigvalsh(covariance)[-1]))
        return 0.0, NORMAL_95 * widest, direction, 180.0, False
    along = slopes / size
    across = np.array([-along[1], along[0]])
    size_width = NORMAL_95 * float(np.sqrt(max(0.0, float(along @ covariance @ along))))
    turn = NORMAL_95 * float(np.sqrt(max(0.0, float(across @ covariance @ across)))) / size
    if np.linalg.det(covariance) <= 0.0:
        determined = size > size_width
    else:
        beyond = bool(slopes @ np.linalg.solve(covariance, slopes) > _ELLIPSE_95)
        determined = beyond and size > size_width
    return size, size_width, direction, min(float(np.degrees(turn)), 180.0), determined


@dataclass(frozen=True)
class FlowArrow:
    """Direction of flow at one place of a surface.

    Attributes
    ----------
    x, y : float
        Middle of the arrow [m].
    azimuth_deg : float
        Direction of flow, down the gradient, clockwise from grid north, in [0, 360) [degrees].
    gradient : float
        Fall of head along it [m/m].
    inferred : bool
        True where contours would be dashed.
    length_m : float
        Length to draw, the same for all arrows of a map [m].
    """

    x: float
    y: float
    azimuth_deg: float
    gradient: float
    inferred: bool
    length_m: float

    @property
    def ends(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """Return tail and tip [m]."""
        east = 0.5 * self.length_m * float(np.sin(np.radians(self.azimuth_deg)))
        north = 0.5 * self.length_m * float(np.cos(np.radians(self.azimuth_deg)))
        return (self.x - east, self.y - north), (self.x + east, self.y + north)


def flow_arrows(
    surface: Surface,
    inferred_at: Callable[[Floats, Floats], NDArray[np.bool_]],
    *,
    about: int = 30,
    least_fall_m: float = 0.0,
) -> tuple[FlowArrow, ...]:
    """Return flow arrows on a regular lattice, only where they lie inside control from tail to tip.

    Parameters
    ----------
    surface : Surface
        The surface.
    inferred_at : callable
        Tells of points (x, y) whether contours are dashed there.
    about : int, optional
        Points of the lattice inside the control, roughly.
    least_fall_m : float, optional
        No arrow where the surface falls less than this over the spacing of the lattice [m].

    Returns
    -------
    tuple of FlowArrow
        From south to north, each row from west to east.

    Notes
    -----
    The gradient is the central difference of the surface over half the spacing of the lattice, so that a single well
    does not turn it.
    """
    hull = surface.hull
    lowest, highest = hull.min(axis=0), hull.max(axis=0)
    step = float(np.sqrt(hull_area(hull) / about))
    x, y = (_lattice(lowest[axis], highest[axis], step) for axis in (0, 1))
    grid_x, grid_y = (values.ravel() for values in np.meshgrid(x, y))
    half = 0.25 * step
    slope_x = (surface.predict(grid_x + half, grid_y) - surface.predict(grid_x - half, grid_y)) / (2.0 * half)
    slope_y = (surface.predict(grid_x, grid_y + half) - surface.predict(grid_x, grid_y - half)) / (2.0 * half)
    size, direction = np.hypot(slope_x, slope_y), azimuth(-slope_x, -slope_y)
    dashed = inferred_at(grid_x, grid_y)
    length = 0.6 * step
    arrows = (
        FlowArrow(float(px), float(py), float(turn), float(fall), bool(guess), length)
        for px, py, turn, fall, guess in zip(grid_x, grid_y, direction, size, dashed, strict=True)
        if fall * step > max(least_fall_m, 0.0)
    )
    return tuple(arrow for arrow in arrows if inside(hull, *np.transpose(arrow.ends)).all())


def _lattice(low: float, high: float, step: float) -> Floats:
    count = max(1, int((high - low) / step))
    middle = 0.5 * (low + high)
    offsets = np.arange(count, dtype=np.float64) - 0.5 * (count - 1)
    return np.asarray(middle + step * offsets, dtype=np.float64)
