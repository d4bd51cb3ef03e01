"""Horizontal gradients with their uncertainty: two wells, three points, plane fit, and flow arrows on a surface.

Directions of flow are azimuths: degrees clockwise from grid north (+y), pointing down the gradient, in [0, 360).

The gradient is that of the head surface inside the wells' hull, as the least-squares plane gives it. With four wells or
more its limits come from the residuals alone, by Student's t and F with n − 3 degrees of freedom: the residuals hold
what the aquifer departs from a plane, the errors of survey and reading, and whatever nobody thought of.
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
from gwnet.hydro.gradients.limits import slope_limits
from gwnet.hydro.surfaces.hull import control_arrays, hull_area, inside
from gwnet.hydro.surfaces.surface import Surface

Floats = NDArray[np.float64]

#: Level of the test where three wells borrow their scale from more wells (project default): stricter than 5 %, as
#: nothing at the three wells themselves says that the scale is theirs.
_BORROWED_LEVEL: Final = 0.025

#: Residuals so small that the reading errors alone would leave larger ones in 95 of 100 sets are chance, not knowledge.
_TOO_SMALL: Final = 0.05

_TURN = 360.0


@dataclass(frozen=True)
class Departure:
    """How far heads lie off a plane, known from a set with more wells.

    Attributes
    ----------
    sd_m : float
        Standard deviation of the residuals of that set [m].
    degrees : int
        Its degrees of freedom: wells less 3. Further rounds of the same wells add none, as wells depart from a plane
        alike in every round.
    source : str
        Where it is from, for example ``the round 2024-Q1, 12 levels``.
    """

    sd_m: float
    degrees: int
    source: str


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
    anticlockwise_deg, clockwise_deg : float
        How far the 95 % arc of directions reaches to either side of it; 180 each where the gradient is not
        significant; NaN when no uncertainty is known [degrees].
    determined : bool
        Whether the gradient is significant: a gradient of zero is outside the limits. False as well when no
        uncertainty is known. Where false, only the upper limit of the magnitude can be stated.
    residual_m : numpy.ndarray, shape (n,)
        Head less plane: positive where a well stands above it [m].
    residual_sd_m : float
        Root of the residuals' sum of squares over n − 3; NaN for three wells [m].
    basis : str
        What the limits rest on: ``residuals``, ``reading errors``, ``borrowed`` (another set's residuals) or empty.
    degrees : float
        Degrees of freedom of the limits; infinite for reading errors.
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
    anticlockwise_deg: float
    clockwise_deg: float
    determined: bool
    residual_m: Floats
    residual_sd_m: float
    basis: str
    degrees: float
    note: str

    @property
    def azimuth_half_width_deg(self) -> float:
        """Return the larger of the two reaches of the arc of directions [degrees]."""
        return max(self.anticlockwise_deg, self.clockwise_deg)

    @property
    def upper_limit(self) -> float:
        """Return the 95 % upper limit of the magnitude [m/m]."""
        return self.magnitude + self.magnitude_half_width

    @property
    def departure(self) -> Departure | None:
        """Return how far heads lie off the plane, for a set with fewer wells; None where this one does not know."""
        if self.basis != "residuals":
            # Residuals smaller than the reading errors are chance, and would lend three wells a scale too small.
            return None
        return Departure(self.residual_sd_m, self.n - 3, f"{self.n} levels")

    @property
    def text(self) -> str:
        """Return size and direction in words, with 95 % limits; degrees clockwise from grid north."""
        if math.isnan(self.magnitude_half_width):
            plane = f"{self.magnitude:.2g} m/m towards {round(self.azimuth_deg) % 360}°"
            return f"the plane falls {plane}; {self.note}"
        if not self.determined:
            return f"no significant gradient: at most {self.upper_limit:.2g} m/m; {self.note}"
        # to the first figure of the half-width: more would be noise
        decimals = max(0, -math.floor(math.log10(self.magnitude_half_width))) if self.magnitude_half_width > 0 else 6
        size = f"{self.magnitude:.{decimals}f} ± {self.magnitude_half_width:.{decimals}f} m/m"
        return f"{size} towards {self.direction_text}" + (f"; {self.note}" if self.basis == "reading errors" else "")

    @property
    def direction_text(self) -> str:
        """Return the direction with its arc, as ``51° (38° to 66°)``."""
        low, high = self.azimuth_deg - self.anticlockwise_deg, self.azimuth_deg + self.clockwise_deg
        # Rounded outward, or the arc printed would be narrower than the arc known.
        return f"{round(self.azimuth_deg) % 360}° ({math.floor(low) % 360}° to {math.ceil(high) % 360}°)"


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
    # twice, since a tiny negative angle becomes 360 by rounding the first time
    return np.mod(np.mod(turned, _TURN), _TURN)


def plane_gradient(
    x: ArrayLike,
    y: ArrayLike,
    head_m: ArrayLike,
    half_width_m: ArrayLike | None = None,
    *,
    departure: Departure | None = None,
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
    departure : Departure, optional
        How far heads lie off a plane in a set with more wells; used for three wells only, which have no residuals.
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
    Plane h = a x + b y + c by ordinary least squares, all wells alike, which estimates the mean gradient of the head
    surface inside the hull of the wells. With four wells or more the covariance of a and b follows from the residual
    variance s² with n − 3 degrees of freedom (Draper and Smith, 1998, section 5.1; from memory), and limits are those
    of `gwnet.hydro.gradients.limits.slope_limits`. Reading errors take the place of s² only where the residuals are
    smaller than they would leave in 95 of 100 sets (chi-squared), as four wells may lie on a plane by chance.

    Three wells have no residuals. With `departure` its scale and degrees of freedom are used, and the gradient is
    significant at 2.5 %. Else only the reading errors, (half-width / 1.96)², are known, and the note says so.

    Simulated with departures independent from well to well, the limits of size and direction hold in 94 to 96 % of
    sets of 4, 5, 6, 10 and 25 wells; with departures correlated over 0.2 to 3 times the field in 90 % and more.

    Examples
    --------
    >>> gradient = plane_gradient([0, 100, 0], [0, 0, 100], [10.0, 10.0, 9.9], 0.01)
    >>> round(gradient.magnitude, 6), round(gradient.azimuth_deg, 6), gradient.determined
    (0.001, 0.0, True)
    """
    xs, ys, heads = control_arrays(x, y, head_m, names=names)
    reading_variance, note = _variances(half_width_m, xs.shape)
    centre_x, centre_y = float(xs.mean()), float(ys.mean())
    extent = float(max(np.ptp(xs), np.ptp(ys)))
    # centred and scaled: coordinates of hundreds of kilometres would spoil the inverse
    design = np.column_stack([np.ones_like(xs), (xs - centre_x) / extent, (ys - centre_y) / extent])
    solver = np.linalg.pinv(design)
    # The mean head off: levels of hundreds of metres would leave centimetres little of the precision.
    mean = float(heads.mean())
    values = solver @ (heads - mean)
    residual = heads - mean - design @ values
    slopes = values[1:] / extent
    free = xs.size - 3
    square_sum = float(residual @ residual)
    variance, basis, degrees = _scale_of(square_sum, free, reading_variance, departure)
    covariance = None if variance is None else (solver[1:] * variance) @ solver[1:].T / extent**2
    # A borrowed scale is one of other wells; the stricter level is its price.
    level = _BORROWED_LEVEL if basis == "borrowed" else 0.05
    limits = slope_limits(slopes, covariance, degrees, level=level)
    return Gradient(
        method="three points" if xs.size == 3 else "plane fit",
        n=int(xs.size),
        slope_x=float(slopes[0]),
        slope_y=float(slopes[1]),
        mean_head_m=mean + float(values[0]),
        centre_x=centre_x,
        centre_y=centre_y,
        magnitude=limits.size,
        magnitude_half_width=limits.half_width,
        azimuth_deg=limits.azimuth_deg,
        anticlockwise_deg=limits.anticlockwise_deg,
        clockwise_deg=limits.clockwise_deg,
        determined=limits.is_significant,
        residual_m=residual,
        residual_sd_m=float(np.sqrt(square_sum / free)) if free else float("nan"),
        basis=basis,
        degrees=degrees,
        note=_note(basis, int(xs.size), note, departure, is_significant=limits.is_significant),
    )


def _scale_of(
    square_sum: float, free: int, reading_variance: Floats | None, departure: Departure | None
) -> tuple[Floats | None, str, float]:
    """Return the variance of each head about the plane, what it rests on, and its degrees of freedom."""
    # Three points have no residual: a scale comes from elsewhere or not at all.
    if not free and departure is not None:
        return np.full(3, departure.sd_m**2), "borrowed", float(departure.degrees)
    if not free:
        return reading_variance, "" if reading_variance is None else "reading errors", math.inf
    # A reading without error gives no chi-squared; then the residuals are all there is.
    if reading_variance is not None and np.all(reading_variance > 0.0):
        from scipy import special

        expected = square_sum / float(reading_variance.mean())
        if float(special.chdtr(free, expected)) < _TOO_SMALL:
            return reading_variance, "reading errors", math.inf
    return np.full(free + 3, square_sum / free), "residuals", float(free)


def _note(basis: str, n: int, note: str, departure: Departure | None, *, is_significant: bool) -> str:
    """Return what a reader must know of the limits, and why a gradient is not significant."""
    notes = [note] if note and basis != "residuals" else []
    if basis == "borrowed" and departure is not None:
        notes.append(f"three wells say nothing of how far heads lie off a plane; taken from {departure.source}")
    causes = {
        "residuals": "the fall of head is within what the levels' misfit to a plane leaves open",
        "borrowed": "the fall of head is within what the misfit of a plane leaves open there",
        "reading errors": "the fall of head is within the uncertainty of the levels",
    }
    if basis and not is_significant:
        notes.append(causes[basis])
    elif basis == "reading errors" and n == 3:
        notes.append("only the reading errors are known: three wells say nothing of how far heads lie off a plane")
    elif basis == "reading errors":
        notes.append(
            "the levels lie closer to a plane than their reading errors, which are used in place of the misfit"
        )
    return "; ".join(notes)


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
    # NaN is missing and passes; a negative width is a mistake of the caller.
    if np.any(widths < 0.0):
        raise AnalysisError("A half-width of a head is negative.")
    missing = np.isnan(widths)
    if missing.all():
        return None, unknown
    note = f"uncertainty not known at {missing.sum()} of {widths.size} wells" if missing.any() else ""
    # a well without an uncertainty is taken for a usual one
    return (np.where(missing, np.nanmedian(widths), widths) / NORMAL_95) ** 2, note


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
    # From the area of the hull, not of its rectangle: a long narrow field would else get few arrows.
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
        # A fall less than the uncertainty over the length of an arrow has no direction to draw.
        if fall * step > max(least_fall_m, 0.0)
    )
    # Tail and tip: an arrow that reaches out of the wells claims flow where nobody looked.
    return tuple(arrow for arrow in arrows if inside(hull, *np.transpose(arrow.ends)).all())


def _lattice(low: float, high: float, step: float) -> Floats:
    count = max(1, int((high - low) / step))
    middle = 0.5 * (low + high)
    # Centred, so that the lattice does not begin at an arbitrary corner.
    offsets = np.arange(count, dtype=np.float64) - 0.5 * (count - 1)
    return np.asarray(middle + step * offsets, dtype=np.float64)
