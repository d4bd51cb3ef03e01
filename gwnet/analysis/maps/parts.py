"""The surface of each compartment of a map with its grid and contours, and all of them put together."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gwnet.analysis.maps.compartments import Compartment, CompartmentSurface
from gwnet.analysis.maps.result import Control
from gwnet.constants import INTERPOLATION_METHODS, NORMAL_95
from gwnet.hydro.surfaces import surface as surfaces
from gwnet.hydro.surfaces.contours import (
    ContourLine,
    InferredRule,
    Unhonoured,
    contour_levels,
    contour_lines,
    inferred_rule,
    jumps,
    unhonoured,
)
from gwnet.hydro.surfaces.covariance_mixture import CovarianceMixture
from gwnet.hydro.surfaces.hull import convex_hull
from gwnet.hydro.surfaces.surface import Grid, Surface
from gwnet.hydro.surfaces.variogram import Covariance

Floats = NDArray[np.float64]

#: Of more wells than this, grid lines run only through those that the contours would not honour otherwise.
_MOST_LINES: Final = 200

_ROUNDS: Final = 6

#: Contours keep this many cells off a barrier that ends inside the control: cells that it cuts hold both sides.
_OFF_BARRIER: Final = 1.5


@dataclass(frozen=True)
class Making:
    """How surfaces are made.

    Attributes
    ----------
    method : str
        One of `gwnet.constants.SURFACE_METHODS`.
    covariance : Covariance or CovarianceMixture or None
        Covariances for kriging.
    drift : str
        Drift for kriging.
    interval_m : float
        Contour interval [m].
    grid_lines : int
        Lines of a grid along its longer side.
    few_wells : int
        Below this many levels everything is inferred.
    """

    method: str
    covariance: Covariance | CovarianceMixture | None
    drift: str
    interval_m: float
    grid_lines: int
    few_wells: int


@dataclass(frozen=True, eq=False)
class Part:
    """The surface of one compartment.

    Attributes
    ----------
    compartment : Compartment
        The compartment.
    plain : bool
        Whether it is the whole hull of the control, with nothing to cut at.
    surface, grid, rule
        Surface, its heads on lines, and where its contours are inferred.
    contour_m : numpy.ndarray
        Levels of its contours, rising [m].
    contours : tuple of gwnet.hydro.surfaces.contours.ContourLine
        Contours within its region.
    failures : tuple of gwnet.hydro.surfaces.contours.Unhonoured
        Levels on the wrong side of a contour; positions in the map's control.
    exact : int
        Levels that were met exactly so that the contours honour them.
    """

    compartment: Compartment
    plain: bool
    surface: Surface
    grid: Grid
    rule: InferredRule
    contour_m: Floats
    contours: tuple[ContourLine, ...]
    failures: tuple[Unhonoured, ...]
    exact: int

    def shows(self, ends: tuple[tuple[float, float], tuple[float, float]]) -> bool:
        """Return whether a line stands within the region and crosses no barrier.

        Parameters
        ----------
        ends : tuple of tuple of float
            Its tail and tip [m].

        Returns
        -------
        bool
            True where an arrow may be drawn.
        """
        if self.plain:
            return True
        import shapely

        line = shapely.LineString(ends)
        region, walls = self.compartment.region, self.compartment.lines
        return bool(region.covers(line)) and not any(line.intersects(wall) for wall in walls)


def make_parts(levels: Control, compartments: tuple[Compartment, ...], making: Making) -> tuple[Part, ...]:
    """Return the surface of each compartment.

    Parameters
    ----------
    levels : gwnet.analysis.maps.result.Control
        Control of the map.
    compartments : tuple of Compartment
        Sides.
    making : Making
        How surfaces are made.
    """
    return tuple(_part(levels, compartment, making) for compartment in compartments)


def _part(levels: Control, compartment: Compartment, making: Making) -> Part:
    import shapely

    own = levels.of(compartment.positions)
    surface, grid, contour_m, failures, exact = _honouring(own, compartment, making)
    rule = inferred_rule(surface, making.interval_m, least_wells=making.few_wells)
    contours = contour_lines(grid, contour_m, rule)
    # In the usual case the region is the hull, and nothing needs cutting.
    plain = not compartment.lines and bool(compartment.region.equals(shapely.Polygon(surface.hull)))
    return Part(
        compartment=compartment,
        plain=plain,
        surface=surface,
        grid=grid,
        rule=rule,
        contour_m=contour_m,
        contours=contours if plain else _cut(contours, compartment, _OFF_BARRIER * grid.spacing_m),
        failures=tuple(replace(failure, position=int(compartment.positions[failure.position])) for failure in failures),
        exact=exact,
    )


def _cut(contours: tuple[ContourLine, ...], compartment: Compartment, off_m: float) -> tuple[ContourLine, ...]:
    """Return contours within a compartment's region and off the barriers that end in it."""
    import shapely

    area = compartment.region
    if compartment.lines:
        area = area.difference(shapely.unary_union([line.buffer(off_m) for line in compartment.lines]))
    shapely.prepare(area)
    kept = []
    for contour in contours:
        line = shapely.LineString(np.column_stack([contour.x, contour.y]))
        if area.covers(line):
            kept.append(contour)
            continue
        cut: Any = line.intersection(area)
        for part in getattr(cut, "geoms", [cut]):
            if part.geom_type == "LineString" and part.length > 0.0:
                corners = np.asarray(part.coords, dtype=np.float64)
                # A contour that was cut is no closed ring any more.
                kept.append(replace(contour, x=corners[:, 0], y=corners[:, 1], depression=False))
    return tuple(kept)


def joined(levels: Control, parts: tuple[Part, ...], grid_lines: int) -> tuple[Surface, Grid]:
    """Return one surface and one grid for all compartments.

    Parameters
    ----------
    levels : gwnet.analysis.maps.result.Control
        Control of the map.
    parts : tuple of Part
        Surfaces of the compartments.
    grid_lines : int
        Lines of the grid along its longer side.

    Returns
    -------
    tuple
        Surface and grid; heads of the grid are NaN where nothing is drawn.
    """
    if parts[0].plain and len(parts) == 1:
        return parts[0].surface, parts[0].grid
    sided = CompartmentSurface(
        x=levels.x,
        y=levels.y,
        z=levels.z,
        hull=convex_hull(levels.x, levels.y),
        compartments=tuple(part.compartment for part in parts),
        surfaces=tuple(part.surface for part in parts),
    )
    surface: Surface = sided if len(parts) > 1 else parts[0].surface
    # One grid over all compartments, as each has a grid of its own hull.
    grid = parts[0].grid if len(parts) == 1 else surfaces.make_grid(surface, lines=grid_lines)
    held = sided.predict(grid.x[None, :], grid.y[:, None], inside_control=True)
    return surface, replace(grid, water_elevation_m=np.where(np.isnan(held), np.nan, grid.water_elevation_m))


def _honouring(
    levels: Control, compartment: Compartment, making: Making
) -> tuple[Surface, Grid, Floats, tuple[Unhonoured, ...], int]:
    """Return a surface whose contours honour the levels, as far as can be, and how many are met exactly for it."""
    noise = (levels.half_width / NORMAL_95) ** 2
    # Up to 200 wells every grid line goes through one, so that contours interpolate at the wells themselves.
    through = np.full(levels.z.shape, fill_value=levels.z.size <= _MOST_LINES)
    exact = np.zeros(levels.z.shape, dtype=np.bool_)
    for round_number in range(_ROUNDS):
        surface = surfaces.fit(
            making.method,
            levels.x,
            levels.y,
            levels.z,
            covariance=making.covariance,
            drift=making.drift,
            measurement_variance_m2=np.where(exact, 0.0, noise),
            barriers=compartment.barriers,
            names=levels.names,
        )
        grid = surfaces.make_grid(surface, lines=making.grid_lines, through=(levels.x[through], levels.y[through]))
        heads = np.concatenate([levels.z, grid.water_elevation_m[np.isfinite(grid.water_elevation_m)]])
        contour_m = contour_levels(float(heads.min()), float(heads.max()), making.interval_m)
        if making.method not in INTERPOLATION_METHODS:
            # a trend surface is off the levels by its nature: the map says so once, not for each contour
            return surface, grid, contour_m, (), 0
        failures = unhonoured(grid, levels.x, levels.y, levels.z, contour_m)
        positions = [failure.position for failure in failures]
        # Nothing more can be done: what fails is met exactly and lies on grid lines, or the rounds are over.
        if not positions or (exact[positions].all() and through[positions].all()) or round_number == _ROUNDS - 1:
            break
        exact[positions] = True
        through[positions] = True
    # A well on the wrong side of a contour is reported as that, not as a jump as well.
    missed = {failure.position for failure in failures}
    jumped = jumps(grid, levels.x, levels.y, levels.z, contour_m)
    failures += tuple(failure for failure in jumped if failure.position not in missed)
    return surface, grid, contour_m, failures, int(exact.sum()) if making.method == "kriging" else 0
