"""Freshwater head: heads of water of different density made comparable at one elevation."""

from __future__ import annotations

from numpy.typing import ArrayLike

from gwnet.hydro.arrays import Floats, broadcast


def freshwater_head(
    water_elevation_m: ArrayLike,
    screen_elevation_m: ArrayLike,
    *,
    density_kg_m3: ArrayLike,
    freshwater_density_kg_m3: ArrayLike,
) -> Floats:
    """Return the elevation to which fresh water would rise in a well.

    Parameters
    ----------
    water_elevation_m : array_like
        Elevation at which the well's own water stands, positive upward from the vertical datum [m].
    screen_elevation_m : array_like
        Elevation at which the pressure acts, as a rule the middle of the screen, from the same datum [m].
    density_kg_m3 : array_like
        Mean density of the water that stands in the well above that point [kg/m3].
    freshwater_density_kg_m3 : array_like
        Density of the fresh water that heads are expressed in; one for all wells that are compared [kg/m3].

    Returns
    -------
    numpy.ndarray
        Freshwater head, positive upward from the same datum [m].

    Raises
    ------
    ShapeError
        If the arrays do not broadcast.

    Notes
    -----
    h_f = z + (h - z) rho / rho_f: Post and Simmons (2022), Variable-Density Groundwater Flow, The Groundwater Project,
    exercises 4 and 5. Freshwater heads may be compared along a horizontal line only: between different elevations the
    weight of the water between them counts as well.

    Examples
    --------
    >>> round(float(freshwater_head(100.0, 40.0, density_kg_m3=1020.0, freshwater_density_kg_m3=1000.0)), 3)
    101.2
    """
    head, screen, density, fresh = broadcast(
        water_elevation_m=water_elevation_m,
        screen_elevation_m=screen_elevation_m,
        density_kg_m3=density_kg_m3,
        freshwater_density_kg_m3=freshwater_density_kg_m3,
    )
    return screen + (head - screen) * density / fresh
