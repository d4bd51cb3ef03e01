"""Where wells are in the site's coordinate system, whichever way their coordinates were given."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from gwnet.errors import SettingsError


def located(wells: pd.DataFrame, crs: str) -> pd.DataFrame:
    """Return wells with easting and northing filled in from longitude and latitude where those were given instead.

    Parameters
    ----------
    wells : pandas.DataFrame
        Wells of one site, as `gwnet.store.fetch.registry.wells`.
    crs : str
        Coordinate system of the site, for example ``EPSG:25832``.

    Returns
    -------
    pandas.DataFrame
        A copy; wells without any coordinates keep NaN.

    Raises
    ------
    SettingsError
        If the coordinate system is not known or is not a projected one.

    Notes
    -----
    Longitude and latitude are taken to refer to the geodetic datum of the site's own coordinate system, so no shift of
    datum is made.
    """
    given = wells["easting"].notna() & wells["northing"].notna()
    angular = ~given & wells["longitude"].notna() & wells["latitude"].notna()
    if not angular.any():
        return wells.copy()
    from pyproj import Transformer

    system = projected(crs)
    # always_xy: many systems have latitude first, and places would come out mirrored.
    to_site = Transformer.from_crs(system.geodetic_crs, system, always_xy=True)
    easting, northing = to_site.transform(
        wells.loc[angular, "longitude"].to_numpy(dtype=np.float64),
        wells.loc[angular, "latitude"].to_numpy(dtype=np.float64),
    )
    wells = wells.copy()
    wells.loc[angular, "easting"] = easting
    wells.loc[angular, "northing"] = northing
    return wells


def latitude_of(well: pd.Series, crs: str) -> float:
    """Return the latitude of a well, whichever way its coordinates were given.

    Parameters
    ----------
    well : pandas.Series
        Row of `gwnet.store.fetch.registry.wells`.
    crs : str
        Coordinate system of its site.

    Returns
    -------
    float
        Geodetic latitude, positive north [degrees]; NaN for a well without coordinates, or in a system that is not
        tied to the Earth.
    """
    if not pd.isna(well["latitude"]):
        return float(well["latitude"])
    if pd.isna(well["easting"]) or pd.isna(well["northing"]):
        return float("nan")
    from pyproj import Transformer

    try:
        system = projected(crs)
    # A site without a usable system has no latitude; only gravity needs it, which then takes the standard value.
    except SettingsError:
        return float("nan")
    to_angles = Transformer.from_crs(system, system.geodetic_crs, always_xy=True)
    _, latitude = to_angles.transform(float(well["easting"]), float(well["northing"]))
    return float(latitude) if np.isfinite(latitude) else float("nan")


def projected(crs: str) -> Any:
    """Return a projected coordinate system in metres or feet.

    Parameters as `gwnet.analysis.levels`.

    Raises
    ------
    SettingsError
        If the name is not known or the system is not a projected one.
    """
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    try:
        system = CRS.from_user_input(crs)
    except CRSError:
        message = f"The coordinate system {crs!r} is not known."
        raise SettingsError(message, fix="Give the site's crs as EPSG code, for example EPSG:25832.") from None
    if not system.is_projected:
        message = f"The coordinate system {crs!r} is not a projected one; maps and gradients need metres or feet."
        raise SettingsError(message, fix="Give the site a projected system, for example a UTM zone.")
    return system
