"""A potentiometric map as a GeoPackage (OGC 12-128r15, version 1.3): control, contours, arrows, boundary."""

from __future__ import annotations

import datetime as dt
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from gwnet.analysis.levels.display_unit import in_unit
from gwnet.analysis.levels.places import projected
from gwnet.analysis.maps.result import MapResult
from gwnet.errors import OutputError, SettingsError

#: Column of the control layer and where it comes from in the control frame.
_CONTROL = {
    "well": "well",
    "kind": "kind",
    "measured_at": "measured_at",
    "measured_at_utc": "measured_at_utc",
    "water_elevation_m": "water_elevation_m",
    "uncertainty_m": "uncertainty_m",
    "status": "status",
    "used": "used",
    "reason": "reason",
    "source": "source",
}


def map_geopackage(result: MapResult) -> bytes:
    """Return a map as the bytes of a GeoPackage; the same map gives the same bytes.

    Parameters
    ----------
    result : gwnet.analysis.maps.result.MapResult
        The map; its ``crs`` must be given.

    Raises
    ------
    OutputError
        If the geo library cannot write it.
    SettingsError
        If the map has no coordinate system, or one that is not known or not projected.

    Notes
    -----
    Layers: ``control`` (points: well, kind, measured_at, measured_at_utc, water_elevation_m, uncertainty_m, status,
    used, reason), ``contours`` (lines: elevation_m, inferred, depression), ``arrows`` (lines from tail to tip:
    azimuth_deg clockwise from grid north, gradient in m/m, inferred), ``boundary`` (polygon beyond which nothing is
    drawn, several where barriers or a boundary part it: aquifer, date, method, interval_m, vertical_datum); where heads
    stand above the ground also ``above_ground`` (polygons: aquifer, date). Elevations are positive upward [m];
    of a map in feet lengths are in feet and
    their columns end in ``_ft``. Wells
    without coordinates have no geometry. The time of the last change, which the format asks for, is the start of the
    map's date, not the clock.
    """
    if not result.crs:
        raise SettingsError("The map has no coordinate system.", fix="Give the site's crs to make_map.")
    layers: tuple[Layer, ...] = (
        Layer("control", "Point", *_control(result)),
        Layer("contours", "LineString", *_contours(result)),
        Layer("arrows", "LineString", *_arrows(result)),
        Layer("boundary", "Polygon", *_boundary(result)),
    )
    if result.above_ground is not None:
        layers = (*layers, Layer("above_ground", "Polygon", *_above_ground(result)))
    layers = tuple(replace(layer, columns=in_unit(layer.columns, result.unit)) for layer in layers)
    return geopackage_of(layers, result.crs, result.date)


@dataclass(frozen=True, eq=False)
class Layer:
    """A layer of a GeoPackage.

    Attributes
    ----------
    name : str
        Its name.
    kind : str
        ``Point``, ``LineString`` or ``Polygon``; empty for a table without geometry.
    columns : pandas.DataFrame
        Columns beside each geometry.
    shapes : sequence
        Geometries, None where a row has none; empty for a table without geometry.
    description : str
        What it holds, for the list of contents.
    """

    name: str
    kind: str
    columns: pd.DataFrame
    shapes: Sequence[Any]
    description: str = ""


def geopackage_of(layers: Sequence[Layer], crs: str, date: dt.date) -> bytes:
    """Return layers as the bytes of a GeoPackage; the same layers give the same bytes.

    Parameters
    ----------
    layers : sequence of Layer
        Layers, in order.
    crs : str
        Coordinate system of all of them.
    date : datetime.date
        Its start is given as the time of the last change, which the format asks for.

    Raises
    ------
    OutputError
        If the geo library cannot write it.
    SettingsError
        If the coordinate system is not known or not projected.
    """
    # Refused before anything is written, in words: the library's own error would be about a number of a system.
    projected(crs)
    try:
        # The bytes are handed on from there, so that all files of a map are written or none.
        with tempfile.TemporaryDirectory(prefix="gwnet-") as folder:
            path = Path(folder) / "map.gpkg"
            write_layers(path, layers, crs, date)
            return path.read_bytes()
    except (OSError, RuntimeError) as error:  # the geo library's own errors are RuntimeErrors
        message = f"The GeoPackage cannot be written: {getattr(error, 'strerror', None) or error}."
        raise OutputError(message) from error


def write_layers(path: Path, layers: Sequence[Layer], crs: str, date: dt.date) -> None:
    """Write layers and tables into a new GeoPackage.

    Parameters
    ----------
    path : pathlib.Path
        File to make.
    layers : sequence of Layer
        Layers, in order.
    crs : str
        Coordinate system of all that have geometry.
    date : datetime.date
        Its start is given as the time of the last change, which the format asks for.
    """
    import pyogrio

    # The library stamps the layers with the clock otherwise, and no two exports of one map would be equal.
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": f"{date.isoformat()}T00:00:00.000Z"})
    try:
        for layer in layers:
            _write_layer(path, layer, crs)
    finally:
        # The setting is one of the whole process: given back, or later files would carry this date too.
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


def _write_layer(path: Path, layer: Layer, crs: str) -> None:
    import geopandas
    import pyogrio

    about = {"DESCRIPTION": layer.description} if layer.description else {}
    into: dict[str, Any] = {
        "layer": layer.name,
        "driver": "GPKG",
        "append": path.exists(),
        # Said, as the default moves with the version of the library, and with it the bytes.
        "dataset_options": {"VERSION": "1.3"},
    }
    # dates, which pandas has by way of Arrow alone, are dates only on that way
    into["use_arrow"] = any(isinstance(dtype, pd.ArrowDtype) for dtype in layer.columns.dtypes)
    if not layer.kind:
        options = {"ASPATIAL_VARIANT": "GPKG_ATTRIBUTES", **about}
        pyogrio.write_dataframe(layer.columns, path, layer_options=options, **into)
        return
    shapes = geopandas.GeoSeries(list(layer.shapes), crs=crs)
    placed = geopandas.GeoDataFrame(layer.columns, geometry=shapes, crs=crs)
    options = {"GEOMETRY_NAME": "geom", **about}
    pyogrio.write_dataframe(placed, path, geometry_type=layer.kind, layer_options=options, **into)


def _control(result: MapResult) -> tuple[pd.DataFrame, list[Any]]:
    import shapely

    control = result.control
    if "source" not in control:
        control = control.assign(source=control["kind"].map({"well": "manual", "stage": "stage"}))
    columns = pd.DataFrame({name: control[source].to_numpy() for name, source in _CONTROL.items()})
    # A GeoPackage keeps no more than milliseconds.
    columns["measured_at_utc"] = control["measured_at_utc"].dt.tz_convert("UTC").astype("datetime64[ms, UTC]").array
    columns["used"] = control["used"].astype(bool).to_numpy()
    places = zip(control["easting"].astype(float), control["northing"].astype(float), strict=True)
    return columns, [shapely.Point(x, y) if np.isfinite(x) and np.isfinite(y) else None for x, y in places]


def _contours(result: MapResult) -> tuple[pd.DataFrame, list[Any]]:
    import shapely

    lines = result.contours
    columns = pd.DataFrame(
        {
            "elevation_m": np.array([line.level_m for line in lines], dtype=np.float64),
            "inferred": np.array([line.inferred for line in lines], dtype=np.bool_),
            "depression": np.array([line.depression for line in lines], dtype=np.bool_),
        }
    )
    return columns, [shapely.LineString(np.column_stack([line.x, line.y])) for line in lines]


def _arrows(result: MapResult) -> tuple[pd.DataFrame, list[Any]]:
    import shapely

    arrows = result.arrows
    columns = pd.DataFrame(
        {
            "azimuth_deg": np.array([arrow.azimuth_deg for arrow in arrows], dtype=np.float64),
            "gradient": np.array([arrow.gradient for arrow in arrows], dtype=np.float64),
            "inferred": np.array([arrow.inferred for arrow in arrows], dtype=np.bool_),
        }
    )
    return columns, [shapely.LineString(arrow.ends) for arrow in arrows]


def _boundary(result: MapResult) -> tuple[pd.DataFrame, list[Any]]:
    import shapely

    shapes = _areas(shapely.Polygon(result.boundary) if result.region is None else result.region)
    columns = pd.DataFrame(
        {
            "aquifer": result.aquifer,
            "date": result.date.isoformat(),
            "method": result.method_text,
            "interval_m": result.interval_m,
            "vertical_datum": result.vertical_datum,
        },
        index=range(len(shapes)),
    )
    return columns, shapes


def _above_ground(result: MapResult) -> tuple[pd.DataFrame, list[Any]]:
    shapes = _areas(result.above_ground)
    columns = pd.DataFrame({"aquifer": result.aquifer, "date": result.date.isoformat()}, index=range(len(shapes)))
    return columns, shapes


def _areas(shape: Any) -> list[Any]:
    return list(getattr(shape, "geoms", [shape]))
