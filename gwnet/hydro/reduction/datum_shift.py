"""Shift between two vertical datums, from offsets on a grid."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gwnet.errors import SettingsError

Floats = NDArray[np.float64]


def datum_shift(latitude: float, longitude: float, corners: ArrayLike) -> float:
    """Return the shift between two vertical datums at a place, bilinear between the corners of a cell of a grid.

    Parameters
    ----------
    latitude, longitude : float
        The place, in degrees; longitudes east of Greenwich are positive [degrees].
    corners : array_like, shape (4, 3)
        Latitude and longitude [degrees] and offset [m] of the four corners of the cell, in any order.

    Returns
    -------
    float
        What to add to an elevation in the first datum [m].

    Raises
    ------
    SettingsError
        If the corners make no rectangle of the grid, or the place lies outside.

    Notes
    -----
    EPSG Dataset, coordinate operation method 9658 (vertical offset by interpolation of gridded data).

    Examples
    --------
    >>> cell = [(29.50, -98.50, 0.144), (29.50, -98.45, 0.132), (29.45, -98.45, 0.121), (29.45, -98.50, 0.125)]
    >>> round(datum_shift(29.4667897, -98.4803739, cell), 6)
    0.128756
    """
    table = np.asarray(corners, dtype=np.float64)
    fix = "Give four corners, each as latitude, longitude and offset."
    if table.shape != (4, 3) or not np.isfinite(table).all():
        message = f"A cell of a grid has four corners of three numbers, not {table.shape}."
        raise SettingsError(message, fix=fix)
    south, north = table[:, 0].min(), table[:, 0].max()
    west, east = table[:, 1].min(), table[:, 1].max()
    places = {(at[0], at[1]): at[2] for at in table.tolist()}
    wanted = {(row, column) for row in (south, north) for column in (west, east)}
    # Four rows that hold one corner twice would leave another without an offset.
    if set(places) != wanted or len(wanted) != 4:
        raise SettingsError("The corners make no rectangle of two latitudes and two longitudes.", fix=fix)
    up, right = (latitude - south) / (north - south), (longitude - west) / (east - west)
    # Beyond the cell the formula would go on, and an extrapolated shift looks like any other.
    if not (0.0 <= up <= 1.0 and 0.0 <= right <= 1.0):
        message = f"The place {latitude:g}, {longitude:g} lies outside the cell."
        raise SettingsError(message, fix="Give the corners of the cell around the place.")
    lower = (1.0 - right) * places[south, west] + right * places[south, east]
    upper = (1.0 - right) * places[north, west] + right * places[north, east]
    return float((1.0 - up) * lower + up * upper)
