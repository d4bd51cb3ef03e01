"""Compartments of a map that barriers keep apart, each with a surface of its own, and the area that may be drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gwnet.analysis.maps.features import MapFeatures
from gwnet.analysis.maps.result import Control
from gwnet.errors import AnalysisError, SettingsError, TooFewLevelsError
from gwnet.hydro.surfaces.barriers import Barriers
from gwnet.hydro.surfaces.hull import LEAST_WELLS, control_arrays, convex_hull
from gwnet.hydro.surfaces.kriging_solution import LeaveOneOut
from gwnet.hydro.surfaces.surface import Surface

Floats = NDArray[np.float64]

#: Corners of barriers nearer to their straight line than this share of the control's extent are left out.
_SIMPLER: Final = 0.001

#: A piece of a barrier shorter than this share of the control's extent holds nothing apart.
_SHORT: Final = 0.005


@dataclass(frozen=True, eq=False)
class Compartment:
    """A part of the control that has a surface of its own.

    Attributes
    ----------
    positions : numpy.ndarray of int
        Which levels of the control stand in it.
    region : shapely.Polygon or shapely.MultiPolygon
        Where its surface may be drawn.
    barriers : gwnet.hydro.surfaces.barriers.Barriers or None
        Barriers that end inside it.
    lines : tuple of shapely.LineString
        The same as lines.
    """

    positions: NDArray[np.int64]
    region: Any
    barriers: Barriers | None
    lines: tuple[Any, ...]


def compartments_of(levels: Control, features: MapFeatures) -> tuple[tuple[Compartment, ...], dict[int, str]]:
    """Return the compartments that barriers divide the control into, and the levels of those with too few of them.

    Parameters
    ----------
    levels : gwnet.analysis.maps.result.Control
        Control of the map.
    features : MapFeatures
        Barriers and boundary.

    Returns
    -------
    tuple
        Compartments, the one with most levels first; and by position of a level why it is in none.

    Raises
    ------
    TooFewLevelsError
        If no compartment has three levels that are not on one line.
    SettingsError
        If the boundary holds nothing of the control.

    Notes
    -----
    The hull of the control is cut where barriers run right through it. Each compartment is drawn within the hull of its
    own levels, and within the boundary; distances go around what of a barrier ends inside a compartment.
    """
    import shapely
    from shapely.ops import polygonize

    control_arrays(levels.x, levels.y, levels.z, names=levels.names)
    hull = shapely.Polygon(convex_hull(levels.x, levels.y))
    extent = float(max(np.ptp(levels.x), np.ptp(levels.y)))
    # Simplified before cutting: thousands of corners cost time and change nothing at the scale of wells.
    barriers = [line.simplify(_SIMPLER * extent) for line in features.barriers if line.intersects(hull)]
    pieces = list(polygonize(shapely.unary_union([hull.exterior, *barriers]))) if barriers else [hull]
    # Pieces outside the hull come from barriers that curve around its edge.
    pieces = [piece for piece in pieces if hull.buffer(1e-6 * extent).covers(piece.representative_point())]
    points = [shapely.Point(x, y) for x, y in zip(levels.x, levels.y, strict=True)]
    # The nearest piece, as wells at the hull's corners lie on its line by rounding.
    place = np.array([int(np.argmin([piece.distance(point) for piece in pieces])) for point in points])
    compartments: list[Compartment] = []
    alone: dict[int, str] = {}
    for number, piece in enumerate(pieces):
        positions = np.flatnonzero(place == number)
        try:
            control_arrays(levels.x[positions], levels.y[positions], levels.z[positions])
        except AnalysisError:
            words = (
                f"only {positions.size} levels of its compartment can be used" if positions.size < LEAST_WELLS else ""
            )
            why = words or "the levels of its compartment lie on one line"
            alone |= dict.fromkeys(positions.tolist(), f"no surface: {why}")
            continue
        compartments.append(_compartment(levels, positions, piece, barriers, features, extent))
    if not compartments:
        message = "No compartment between the barriers has three levels that are not on one line."
        raise TooFewLevelsError(message, fix="Map without the barriers, or measure more wells in each compartment.")
    shown = [compartment for compartment in compartments if not compartment.region.is_empty]
    if not shown:
        message = "The boundary holds nothing of the control."
        raise SettingsError(message, fix="Check the boundary and its coordinate system.")
    for compartment in compartments:
        if compartment.region.is_empty:
            alone |= dict.fromkeys(
                compartment.positions.tolist(), "no surface: its compartment lies beyond the boundary"
            )
    # The largest first: it is the one that methods are chosen and described by.
    return tuple(sorted(shown, key=lambda compartment: -compartment.positions.size)), alone


def _compartment(
    levels: Control,
    positions: NDArray[np.int64],
    piece: Any,
    barriers: Sequence[Any],
    features: MapFeatures,
    extent: float,
) -> Compartment:
    import shapely

    # Within the hull of its own levels: beyond them this compartment knows nothing.
    own = shapely.Polygon(convex_hull(levels.x[positions], levels.y[positions]))
    region = own.intersection(piece)
    if features.boundary is not None:
        region = region.intersection(features.boundary)
    # What runs along the edge of the piece is the barrier that cuts it, and ends nowhere inside.
    inner = piece.buffer(-1e-6 * extent)
    ending = [part for line in barriers for part in _lines(line.intersection(inner)) if part.length > _SHORT * extent]
    around = Barriers([np.asarray(line.coords)[:, :2] for line in ending]) if ending else None
    return Compartment(positions, polygons(region), around, tuple(ending))


def polygons(shape: Any) -> Any:
    """Return only the polygons of a geometry.

    Parameters
    ----------
    shape : shapely geometry
        Any geometry.

    Returns
    -------
    shapely.Polygon or shapely.MultiPolygon
        Its areas; empty when it has none.
    """
    import shapely

    parts = [part for part in getattr(shape, "geoms", [shape]) if part.geom_type == "Polygon" and part.area > 0.0]
    return parts[0] if len(parts) == 1 else shapely.MultiPolygon(parts)


def _lines(shape: Any) -> list[Any]:
    """Return the lines of a geometry, joined where they meet end to end."""
    from shapely.ops import linemerge

    parts = [part for part in getattr(shape, "geoms", [shape]) if part.geom_type == "LineString" and not part.is_empty]
    if len(parts) < 2:
        return parts
    merged = linemerge(parts)
    return list(getattr(merged, "geoms", [merged]))


@dataclass(frozen=True, eq=False)
class CompartmentSurface:
    """Surfaces compartment by compartment, as one.

    Attributes
    ----------
    x, y, z : numpy.ndarray, shape (n,)
        Control of all compartments, in the order of the map's control [m].
    hull : numpy.ndarray, shape (k, 2)
        Corners of the hull of all of it, anticlockwise [m].
    compartments : tuple of Compartment
        The compartments.
    surfaces : tuple of Surface
        The surface of each.
    """

    x: Floats
    y: Floats
    z: Floats
    hull: Floats
    compartments: tuple[Compartment, ...]
    surfaces: tuple[Surface, ...]

    def predict(self, xq: ArrayLike, yq: ArrayLike, *, inside_control: bool = False) -> Floats:
        """Return the heads, each from the surface of the compartment that it is in or nearest to.

        Parameters
        ----------
        xq, yq : array_like
            Coordinates, of shapes that broadcast [m].
        inside_control : bool, optional
            Give NaN outside every compartment.

        Returns
        -------
        numpy.ndarray
            Water elevation, positive upward, of the broadcast shape [m].
        """
        heads, inside = self._from_sides(xq, yq, "predict")
        # Beyond every region there is a nearest surface, but no control.
        return np.where(inside, heads, np.nan) if inside_control else heads

    def standard_error(self, xq: ArrayLike, yq: ArrayLike) -> Floats:
        """Return the standard errors at points; NaN where the method has none.

        Parameters
        ----------
        xq, yq : array_like
            Coordinates, of shapes that broadcast [m].

        Returns
        -------
        numpy.ndarray
            Of the broadcast shape [m].
        """
        return self._from_sides(xq, yq, "standard_error")[0]

    def leave_one_out(self) -> LeaveOneOut:
        """Return what each level differs by from the surface of the others of its compartment.

        Returns
        -------
        LeaveOneOut
            Residuals and standard errors, shape (n,); NaN for levels of no compartment.
        """
        residual, error = np.full(self.z.shape, np.nan), np.full(self.z.shape, np.nan)
        for compartment, surface in zip(self.compartments, self.surfaces, strict=True):
            left_out = surface.leave_one_out()
            residual[compartment.positions], error[compartment.positions] = (
                left_out.residual_m,
                left_out.standard_error_m,
            )
        return LeaveOneOut(residual, error)

    def _from_sides(self, xq: ArrayLike, yq: ArrayLike, what: str) -> tuple[Floats, NDArray[np.bool_]]:
        import shapely

        xs, ys = np.broadcast_arrays(np.asarray(xq, dtype=np.float64), np.asarray(yq, dtype=np.float64))
        flat_x, flat_y = xs.ravel(), ys.ravel()
        points = shapely.points(flat_x, flat_y)
        away = np.array([shapely.distance(compartment.region, points) for compartment in self.compartments])
        nearest = np.argmin(away, axis=0)
        values = np.full(flat_x.shape, np.nan)
        for number, surface in enumerate(self.surfaces):
            own = nearest == number
            if own.any():
                values[own] = getattr(surface, what)(flat_x[own], flat_y[own])
        return values.reshape(xs.shape), (away.min(axis=0) == 0.0).reshape(xs.shape)


def main_surface(surface: Surface) -> Surface:
    """Return the surface of the compartment with most levels.

    Parameters
    ----------
    surface : gwnet.hydro.surfaces.surface.Surface
        A surface; one without compartments is its own.
    """
    return surface.surfaces[0] if isinstance(surface, CompartmentSurface) else surface
