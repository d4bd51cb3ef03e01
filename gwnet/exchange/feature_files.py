"""Geometry of the user's own from GeoPackage and GeoJSON: barriers, boundaries, rivers and base layers of maps."""

from __future__ import annotations

import math
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

import numpy as np

from gwnet.analysis.levels.places import projected
from gwnet.analysis.maps.features import MapFeatures, River
from gwnet.errors import SettingsError, UnreadableFileError

#: Endings of the files that are read.
ENDINGS: Final = (".gpkg", ".geojson", ".json")

#: Largest file [bytes], most features of a layer, most corners of a layer.
LARGEST_FILE: Final = 100_000_000
MOST_FEATURES: Final = 50_000
MOST_CORNERS: Final = 1_000_000

#: Attributes of a river that hold its head; metres above the site's vertical datum.
HEADS: Final = ("head_m", "head_start_m", "head_end_m")


def read_features(
    crs: str,
    *,
    barriers: str | Path | None = None,
    boundary: str | Path | None = None,
    rivers: str | Path | None = None,
    base_layers: Sequence[str | Path] = (),
    base_m: float | None = None,
) -> MapFeatures:
    """Read what a map obeys beside its levels.

    Parameters
    ----------
    crs : str
        The site's coordinate system, into which everything is brought.
    barriers, boundary, rivers : str or path, optional
        File, or ``FILE:LAYER``: lines that heads do not reach across; polygons beyond which nothing is drawn; lines
        whose heads enter as control.
    base_layers : sequence of str or path, optional
        Files whose layers are drawn under the map; all layers of a file unless one is named.
    base_m : float, optional
        Elevation of the base of the unit [m].

    Returns
    -------
    gwnet.analysis.maps.features.MapFeatures
        Features in the site's system.

    Raises
    ------
    UnreadableFileError
        If a file or layer cannot be read, is too large, has no coordinate system or no geometry.
    SettingsError
        If the geometry is of the wrong kind.

    Notes
    -----
    A river's head is the third coordinate of its corners; or its attribute ``head_m``; or ``head_start_m`` and
    ``head_end_m`` at its two ends; all in metres above the site's vertical datum. Without any, gauges give it. Its name
    is the attribute ``name``.
    """
    sources: list[str] = []
    walls = () if barriers is None else _lines(barriers, crs, "barriers", sources)
    limit = None if boundary is None else _boundary(boundary, crs, sources)
    courses = () if rivers is None else _rivers(rivers, crs, sources)
    layers = tuple(layer for file in base_layers for layer in _base_layers(file, crs))
    return MapFeatures(
        barriers=tuple(walls),
        boundary=limit,
        rivers=tuple(courses),
        base_m=math.nan if base_m is None else float(base_m),
        layers=layers,
        sources=tuple(sources),
    )


def _base_layers(file: str | Path, crs: str) -> list[tuple[str, Any]]:
    path, layer = _file_and_layer(file)
    names = [layer] if layer else _layer_names(path)
    return [(name, list(_read(path, name, crs).geometry)) for name in names]


def _lines(file: str | Path, crs: str, what: str, sources: list[str]) -> list[Any]:
    path, layer = _file_and_layer(file)
    table = _read(path, layer or _only_layer(path), crs)
    # Programs save single lines as multi-lines of one part; parts are what a map obeys.
    parts = table.geometry.explode(index_parts=False)
    _demand(path, parts, ("LineString",), f"{what} are lines")
    # Heights at the corners mean nothing for a barrier, and would hinder the cutting of its lines.
    found = list(parts.force_2d())
    sources.append(f"{what} from {path.name}{f', layer {layer}' if layer else ''} ({len(found)})")
    return found


def _boundary(file: str | Path, crs: str, sources: list[str]) -> Any:
    import shapely

    path, layer = _file_and_layer(file)
    table = _read(path, layer or _only_layer(path), crs)
    parts = table.geometry.explode(index_parts=False)
    _demand(path, parts, ("Polygon",), "a boundary is a polygon")
    sources.append(f"boundary from {path.name}{f', layer {layer}' if layer else ''}")
    # A polygon drawn by hand often crosses itself; left so, it makes later cuts fail.
    return shapely.unary_union(list(parts.force_2d().make_valid()))


def _rivers(file: str | Path, crs: str, sources: list[str]) -> list[River]:
    path, layer = _file_and_layer(file)
    table = _read(path, layer or _only_layer(path), crs)
    found: list[River] = []
    for number, row in enumerate(table.explode(index_parts=False).to_dict("records"), start=1):
        line = row[table.geometry.name]
        if line.geom_type != "LineString":
            _demand(path, table.geometry, ("LineString", "MultiLineString"), "rivers are lines")
        given = row.get("name")
        name = (given.strip() if isinstance(given, str) else "") or f"river {number}"
        found.append(River(name, line, *_river_heads(path, name, row)))
    sources.append(
        f"rivers from {path.name}{f', layer {layer}' if layer else ''} ({', '.join(river.name for river in found)})"
    )
    return found


def _river_heads(path: Path, name: str, row: dict[str, Any]) -> tuple[float, float]:
    heads = []
    # One head for the whole river goes before those of its ends; without any, the heads come from gauges or corners.
    for column in HEADS:
        value = row.get(column)
        if value is None or value == "":
            heads.append(math.nan)
            continue
        try:
            heads.append(float(value))
        except (TypeError, ValueError):
            message = f"{column} of {name} is {value!r}, not a number."
            raise SettingsError(
                message, where=str(path), fix="Give heads in metres above the vertical datum."
            ) from None
    same, first, last = heads
    return (same, same) if math.isfinite(same) else (first, last)


def _demand(path: Path, shapes: Any, kinds: Sequence[str], rule: str) -> None:
    wrong = sorted({str(kind) for kind in shapes.geom_type if kind not in kinds})
    if wrong:
        message = f"It holds {', '.join(wrong)}, but {rule}."
        raise SettingsError(message, where=str(path), fix="Name another layer as FILE:LAYER.")


def _file_and_layer(file: str | Path) -> tuple[Path, str]:
    """Return path and layer of ``FILE`` or ``FILE:LAYER``."""
    text = str(file)
    path, layer = Path(text), ""
    # The whole text first, and the last colon after: a path may have colons of its own, such as that of a drive.
    if not path.is_file() and ":" in text:
        before, _, layer = text.rpartition(":")
        path = Path(before)
    if not path.is_file():
        raise UnreadableFileError("There is no such file.", where=text, fix="Give FILE or FILE:LAYER.")
    if path.suffix.lower() not in ENDINGS:
        message = f"Geometry is read from {', '.join(ENDINGS)}, not from {path.suffix or 'a file without ending'}."
        raise UnreadableFileError(message, where=str(path), fix="Save it as GeoPackage or GeoJSON.")
    if path.stat().st_size > LARGEST_FILE:
        message = f"The file has {path.stat().st_size / 1e6:.0f} MB; {LARGEST_FILE / 1e6:.0f} MB are read at most."
        raise UnreadableFileError(message, where=str(path), fix="Cut it to the site.")
    return path, layer


def _layer_names(path: Path) -> list[str]:
    import pyogrio

    try:
        with _unwarned():
            found = pyogrio.list_layers(path)
    except (pyogrio.errors.DataSourceError, RuntimeError) as error:
        raise _unreadable(path, error) from error
    # Tables without geometry, such as those of styles, are layers as well to the library.
    names = [str(name) for name, kind in found if kind is not None]
    if not names:
        raise UnreadableFileError("No layer has geometry.", where=str(path))
    return names


def _only_layer(path: Path) -> str:
    names = _layer_names(path)
    if len(names) > 1:
        message = f"It has several layers: {', '.join(names)}."
        raise UnreadableFileError(message, where=str(path), fix=f"Name one, for example {path.name}:{names[0]}.")
    return names[0]


def _read(path: Path, layer: str, crs: str) -> Any:
    """Return a layer in the site's system, without empty geometries."""
    import pyogrio
    import shapely

    names = _layer_names(path)
    if layer not in names:
        message = f"There is no layer {layer!r}."
        raise UnreadableFileError(message, where=str(path), fix=f"Its layers: {', '.join(names)}.")
    try:
        with _unwarned():
            # Counted before it is read: a layer of a whole country would take the memory first.
            count = int(pyogrio.read_info(path, layer=layer, force_feature_count=True)["features"])
        if count > MOST_FEATURES:
            message = f"Layer {layer} has {count} features; {MOST_FEATURES} are read at most."
            raise UnreadableFileError(message, where=str(path), fix="Cut it to the site.")
        with _unwarned():
            table = pyogrio.read_dataframe(path, layer=layer)
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, RuntimeError) as error:
        raise _unreadable(path, error) from error
    table = table[table.geometry.notna() & ~table.geometry.is_empty]
    if table.empty:
        message = f"Layer {layer} holds no geometry."
        raise UnreadableFileError(message, where=str(path))
    corners = int(np.sum(shapely.get_num_coordinates(table.geometry.to_numpy())))
    if corners > MOST_CORNERS:
        message = f"Layer {layer} has {corners} corners; {MOST_CORNERS} are read at most."
        raise UnreadableFileError(message, where=str(path), fix="Simplify it, or cut it to the site.")
    if table.crs is None:
        message = f"Layer {layer} has no coordinate system."
        raise UnreadableFileError(message, where=str(path), fix="Save it with its coordinate system.")
    placed = table.to_crs(projected(crs))
    # The library gives infinite coordinates, and no error, for places that a projection does not reach.
    if not np.isfinite(placed.total_bounds).all():
        message = f"Layer {layer} cannot be brought into {crs}: some of its places do not exist there."
        raise UnreadableFileError(message, where=str(path), fix="Check the layer's coordinate system.")
    return placed


@contextmanager
def _unwarned() -> Iterator[None]:
    """Keep the geo library's own warnings back: what matters of them comes as an error."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        yield


def _unreadable(path: Path, error: Exception) -> UnreadableFileError:
    why = str(error).split("; ")[0].rstrip(".")  # what follows is about drivers of the geo library
    message = f"It cannot be read as geometry: {why}."
    return UnreadableFileError(message, where=str(path), fix="Save it again as GeoPackage or GeoJSON.")
