"""Air pressure that a public station gives for sea level, brought to the height of a site."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from gwnet.constants import DRY_AIR_GAS_CONSTANT_J_KG_K, STANDARD_GRAVITY_M_S2
from gwnet.errors import ReductionError
from gwnet.hydro.arrays import Floats, broadcast

#: Standard atmosphere: temperature at sea level [K] and its fall with height [K/m]; ICAO Doc 7488 (1993), Manual of the
#: ICAO Standard Atmosphere, third edition (from memory).
_TEMPERATURE_K: Final = 288.15
_LAPSE_K_M: Final = 0.0065

#: Heights between which the formula holds [m]; the same manual.
_LOWEST_M, _HIGHEST_M = -5_000.0, 11_000.0

#: How far the mean temperature of the air below a site may be from that of the standard atmosphere [K], 95 % half-width
#: (project default): summer and winter of temperate climates.
AIR_COLUMN_TEMPERATURE_K: Final = 15.0

#: What air pressure reduced to one level may differ by between a station and a site some tens of kilometres away [Pa],
#: 95 % half-width (project default).
STATION_DISTANCE_PA: Final = 100.0


def station_pressure(sea_level_pressure_pa: ArrayLike, height_m: ArrayLike) -> Floats:
    """Return the air pressure at a height from that reduced to sea level.

    Parameters
    ----------
    sea_level_pressure_pa : array_like
        Air pressure reduced to sea level, as weather services publish it [Pa].
    height_m : array_like
        Height of the site above sea level, from -5000 to 11 000 [m].

    Returns
    -------
    numpy.ndarray
        Air pressure at the site [Pa].

    Raises
    ------
    ReductionError
        If a height is outside the standard troposphere.

    Notes
    -----
    International barometric formula, p0 (1 - L h / T0)^(g / (R L)) with the standard atmosphere's temperature and
    lapse: ICAO Doc 7488 (1993; from memory). Heights count as geopotential ones: 0.2 m apart at 1000 m.

    Examples
    --------
    >>> round(float(station_pressure(101_325.0, 1000.0)))
    89875
    """
    pressure, height = broadcast(sea_level_pressure_pa=sea_level_pressure_pa, height_m=height_m)
    wrong = (height < _LOWEST_M) | (height > _HIGHEST_M)
    if wrong.any():
        message = f"A height of {float(height[wrong].flat[0]):g} m is outside the standard troposphere."
        raise ReductionError(message, fix=f"Give heights above sea level from {_LOWEST_M:g} to {_HIGHEST_M:g} m.")
    exponent = STANDARD_GRAVITY_M_S2 / (DRY_AIR_GAS_CONSTANT_J_KG_K * _LAPSE_K_M)
    return np.asarray(pressure * (1.0 - _LAPSE_K_M * height / _TEMPERATURE_K) ** exponent)


def station_pressure_half_width(station_pressure_pa: ArrayLike, height_m: ArrayLike) -> Floats:
    """Return what an air pressure may be out by that was brought to a site from sea level.

    Parameters
    ----------
    station_pressure_pa : array_like
        Air pressure at the site: `station_pressure` [Pa].
    height_m : array_like
        Height of the site above sea level [m].

    Returns
    -------
    numpy.ndarray
        95 % half-width, that of the station's own barometer not included [Pa].

    Notes
    -----
    Root of the sum of squares of two parts. The column of air between weighs p g h / (R T), which a warmer one lowers
    by p g h / (R T^2) per kelvin: the station reduced by the temperature of the day, this formula by the standard one
    (`AIR_COLUMN_TEMPERATURE_K`). And the weather differs from place to place (`STATION_DISTANCE_PA`).

    Examples
    --------
    >>> round(float(station_pressure_half_width(95_461.0, 500.0)))
    314
    """
    pressure, height = broadcast(station_pressure_pa=station_pressure_pa, height_m=height_m)
    # The middle of the column of air between sea level and the site.
    mean_k = _TEMPERATURE_K - 0.5 * _LAPSE_K_M * height
    per_kelvin = pressure * STANDARD_GRAVITY_M_S2 * np.abs(height) / (DRY_AIR_GAS_CONSTANT_J_KG_K * mean_k**2)
    return np.asarray(np.hypot(AIR_COLUMN_TEMPERATURE_K * per_kelvin, STATION_DISTANCE_PA))
