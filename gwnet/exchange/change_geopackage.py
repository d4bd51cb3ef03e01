"""Changes between two days as a GeoPackage: changes at wells, contours of change, boundary with the volumes."""

from __future__ import annotations

import numpy as np
import pandas as pd

from gwnet.analysis.maps.change import ChangeResult
from gwnet.exchange.geopackage import Layer, geopackage_of

_WELL_COLUMNS = tuple(
    (
        "well kind measured_before measured_after water_elevation_before_m water_elevation_after_m change_m "
        "uncertainty_m is_significant used reason"
    ).split()
)


def change_geopackage(result: ChangeResult) -> bytes:
    """Return a map of changes as the bytes of a GeoPackage; the same map gives the same bytes.

    Raises
    ------
    OutputError
        If the geo library cannot write it.
    SettingsError
        If the coordinate system is not known or not projected.

    Notes
    -----
    Layers: ``changes`` (points: well, kind, measured_before, measured_after, water_elevation_before_m,
    water_elevation_after_m, change_m, uncertainty_m, is_significant, used, reason), ``contours`` (lines: change_m,
    inferred), ``boundary`` (polygon beyond which nothing is drawn, several where a boundary parts it: aquifer, since,
    date, method, interval_m, area_m2, mean_change_m, mean_change_uncertainty_m, rise_m3, fall_m3 of aquifer,
    storage_coefficient as given, and water_m3, water_lowest_m3, water_highest_m3). Rise is positive.
    """
    drawn = result.surface_map
    layers = (
        Layer("changes", "Point", *_changes(result)),
        Layer("contours", "LineString", *_contours(result)),
        Layer("boundary", "Polygon", *_boundary(result)),
    )
    return geopackage_of(layers, drawn.crs, result.date)


def _changes(result: ChangeResult) -> tuple[pd.DataFrame, list[object]]:
    import shapely

    table = result.wells
    places = zip(table["easting"].astype(float), table["northing"].astype(float), strict=True)
    shapes = [shapely.Point(x, y) if np.isfinite(x) and np.isfinite(y) else None for x, y in places]
    return table[list(_WELL_COLUMNS)].reset_index(drop=True), shapes


def _contours(result: ChangeResult) -> tuple[pd.DataFrame, list[object]]:
    import shapely

    lines = result.surface_map.contours
    columns = pd.DataFrame(
        {
            "change_m": np.array([line.level_m for line in lines], dtype=np.float64),
            "inferred": np.array([line.inferred for line in lines], dtype=np.bool_),
        }
    )
    return columns, [shapely.LineString(np.column_stack([line.x, line.y])) for line in lines]


def _boundary(result: ChangeResult) -> tuple[pd.DataFrame, list[object]]:
    import shapely

    drawn, sums = result.surface_map, result.sums
    # No volume of water without a storage coefficient: the columns stay, empty, so that the layer has one form.
    water = result.water_m3 or (np.nan, np.nan, np.nan)
    columns = pd.DataFrame(
        {
            "aquifer": [result.aquifer],
            "since": [result.since.isoformat()],
            "date": [result.date.isoformat()],
            "method": [drawn.method_text],
            "interval_m": [drawn.interval_m],
            "area_m2": [sums.area_m2],
            "mean_change_m": [sums.mean_m],
            "mean_change_uncertainty_m": [sums.mean_half_width_m if np.isfinite(sums.mean_half_width_m) else np.nan],
            "rise_m3": [sums.rise_m3],
            "fall_m3": [sums.fall_m3],
            "storage_coefficient": ["" if result.storage is None else result.storage.text],
            "water_m3": [water[0]],
            "water_lowest_m3": [water[1]],
            "water_highest_m3": [water[2]],
        }
    )
    region = shapely.Polygon(drawn.boundary) if drawn.region is None else drawn.region
    # A boundary that cuts the control in two gives a multipolygon; the layer is declared as polygons, so each part is a
    # row.
    areas = list(getattr(region, "geoms", [region]))
    return pd.concat([columns] * len(areas), ignore_index=True), areas
