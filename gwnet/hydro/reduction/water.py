"""Pressure to column of water: density by temperature, gravity by place, and depth to water from an installed sensor.

Pressures are in pascals; a water pressure is what the water alone exerts, the air's share taken off. Columns are
positive upward from the sensor.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from gwnet.errors import ReductionError
from gwnet.hydro.arrays import Floats, broadcast

#: Coefficients a1 to a5 of Tanaka et al. (2001); the last is the greatest density [kg/m3].
_TANAKA: Final[tuple[float, ...]] = (-3.983035, 301.797, 522528.9, 69.34881, 999.974950)

#: Temperatures between which that formula holds [degC].
DENSITY_FROM_DEGC: Final[float] = 0.0
DENSITY_TO_DEGC: Final[float] = 40.0

#: Normal gravity at the equator [m/s2], the constant of Somigliana's formula, and the first eccentricity squared, of
#: the ellipsoid WGS 84.
_EQUATORIAL_GRAVITY: Final[float] = 9.7803253359
_SOMIGLIANA: Final[float] = 0.00193185265241
_ECCENTRICITY_SQUARED: Final[float] = 0.00669437999013

#: Change of gravity with height in free air [1/s2].
_FREE_AIR: Final[float] = -3.086e-6


def water_density(temperature_degc: ArrayLike) -> Floats:
    """Return the density of pure water under one atmosphere.

    Parameters
    ----------
    temperature_degc : array_like
        Temperature of the water [degC].

    Returns
    -------
    numpy.ndarray
        Density [kg/m3]; NaN below 0 and above 40 degC, where the formula does not hold.

    Notes
    -----
    rho = a5 [1 - (t + a1)^2 (t + a2) / (a3 (t + a4))]: Tanaka, Girard, Davis, Peuto and Bignell (2001), Metrologia 38,
    301-309, for air-free water of ocean isotopes at 101325 Pa. Salt is not in it: fresh groundwater with 1 g/L of
    dissolved solids is about 0.07 % denser (own estimate); for brackish water give a measured density instead. Water
    under pressure is denser by about 0.005 % per 10 m at the sensor, half of that on average over the column; neither
    is applied here.

    Examples
    --------
    >>> water_density([4.0, 20.0, 45.0]).round(4).tolist()
    [999.9749, 998.2067, nan]
    """
    temperature = np.asarray(temperature_degc, dtype=np.float64)
    inside = (temperature >= DENSITY_FROM_DEGC) & (temperature <= DENSITY_TO_DEGC)
    t = np.where(inside, temperature, np.nan)
    a1, a2, a3, a4, a5 = _TANAKA
    return np.asarray(a5 * (1 - (t + a1) ** 2 * (t + a2) / (a3 * (t + a4))))


def normal_gravity(latitude_deg: ArrayLike, height_m: ArrayLike = 0.0) -> Floats:
    """Return the normal gravity at a latitude and height.

    Parameters
    ----------
    latitude_deg : array_like
        Geodetic latitude, positive north [degrees].
    height_m : array_like, optional
        Height above the ellipsoid, positive upward; zero unless given [m].

    Returns
    -------
    numpy.ndarray
        Gravity, positive downward [m/s2].

    Raises
    ------
    ShapeError
        If the arrays do not broadcast.
    ReductionError
        If a latitude is beyond a pole.

    Notes
    -----
    Somigliana's formula with the constants of WGS 84 (NIMA TR8350.2, third edition; reference from memory), and
    -3.086e-6 m/s2 per metre in free air. The linear gradient falls 4e-7 m/s2 short at 500 m and 45 degrees. A height
    above sea level instead of the ellipsoid errs by up to 3e-4 m/s2, that is 0.3 mm in 10 m of water. The gravity of a
    real place departs from the normal one by 1e-3 m/s2 or so among mountains.

    Examples
    --------
    >>> round(float(normal_gravity(45.0, 500.0)), 7)
    9.8046548
    """
    latitude, height = broadcast(latitude_deg=latitude_deg, height_m=height_m)
    if (np.abs(latitude) > 90).any():
        message = f"A latitude of {float(latitude[np.abs(latitude) > 90][0])} degrees lies beyond a pole."
        raise ReductionError(message, fix="Give the geodetic latitude in degrees, between -90 and 90.")
    s = np.sin(np.radians(latitude)) ** 2
    on_ellipsoid = _EQUATORIAL_GRAVITY * (1 + _SOMIGLIANA * s) / np.sqrt(1 - _ECCENTRICITY_SQUARED * s)
    return np.asarray(on_ellipsoid + _FREE_AIR * height)


def water_column(water_pressure_pa: ArrayLike, *, density_kg_m3: ArrayLike, gravity_m_s2: ArrayLike) -> Floats:
    """Return the column of water above a sensor.

    Parameters
    ----------
    water_pressure_pa : array_like
        Pressure of the water alone: what a vented sensor reads, or an absolute one less the air pressure [Pa].
    density_kg_m3 : array_like
        Mean density of the column [kg/m3].
    gravity_m_s2 : array_like
        Gravity at the well [m/s2].

    Returns
    -------
    numpy.ndarray
        Column, positive upward from the sensor; negative where the sensor reads less than the air [m].

    Notes
    -----
    p / (rho g), with one density for the whole column.

    Examples
    --------
    >>> round(float(water_column(52_130.0, density_kg_m3=1000.0, gravity_m_s2=9.80665)), 5)
    5.31578
    """
    pressure, density, gravity = broadcast(
        water_pressure_pa=water_pressure_pa, density_kg_m3=density_kg_m3, gravity_m_s2=gravity_m_s2
    )
    return pressure / (density * gravity)


def sensor_depth_to_water(hanging_depth_m: ArrayLike, water_column_m: ArrayLike) -> Floats:
    """Return the depth to water from the hanging depth of a sensor.

    Parameters
    ----------
    hanging_depth_m : array_like
        Depth of the sensor's reference below the measuring point, positive downward [m].
    water_column_m : array_like
        Column of water above it [m].

    Returns
    -------
    numpy.ndarray
        Depth to water below the measuring point, positive downward; negative where water stands above it [m].

    Notes
    -----
    The cable's length as installed is seldom known to the centimetre; anchor to manual readings with
    `gwnet.hydro.loggers.drift.anchor_levels`.

    Examples
    --------
    >>> round(float(sensor_depth_to_water(60.0, 5.318)), 3)
    54.682
    """
    hanging, column = broadcast(hanging_depth_m=hanging_depth_m, water_column_m=water_column_m)
    return hanging - column
