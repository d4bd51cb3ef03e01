"""The record as a GeoPackage (OGC 12-128r15, version 1.3): wells and other places as layers, the rest as tables."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import pandas as pd

from gwnet.analysis.levels.display_unit import in_unit
from gwnet.exchange.extract import Extract, shapes_of
from gwnet.exchange.geopackage import Layer, write_layers
from gwnet.exchange.registry import WHICH_PART, register_format
from gwnet.exchange.tables import ExportTable, export_tables, worked_out

#: Colours of the layers that have geometry, and the column that labels them.
_STYLES: Final = {
    "wells": ("#1f5a8c", "well"),
    "measuring_points": ("#6b6b6b", "well"),
    "stages": ("#2a9d8f", "gauge"),
}

#: Points of one colour with a label, in the OGC's language of styles (Styled Layer Descriptor 1.1.0, 05-078r4).
_SLD: Final = """<?xml version="1.0" encoding="UTF-8"?>
<StyledLayerDescriptor version="1.1.0" xmlns="http://www.opengis.net/sld" xmlns:se="http://www.opengis.net/se" \
xmlns:ogc="http://www.opengis.net/ogc"><NamedLayer><se:Name>{layer}</se:Name><UserStyle><se:Name>{layer}</se:Name>\
<se:FeatureTypeStyle><se:Rule><se:PointSymbolizer><se:Graphic><se:Mark><se:WellKnownName>circle</se:WellKnownName>\
<se:Fill><se:SvgParameter name="fill">{colour}</se:SvgParameter></se:Fill></se:Mark><se:Size>8</se:Size></se:Graphic>\
</se:PointSymbolizer><se:TextSymbolizer><se:Label><ogc:PropertyName>{label}</ogc:PropertyName></se:Label>\
<se:Fill><se:SvgParameter name="fill">{colour}</se:SvgParameter></se:Fill></se:TextSymbolizer></se:Rule>\
</se:FeatureTypeStyle></UserStyle></NamedLayer></StyledLayerDescriptor>"""


@register_format(
    "geopackage",
    "layers of wells (with screens, the number of levels and the newest one), measuring points and gauges, and tables "
    "of construction, levels, thresholds, rounds, instruments, files of loggers and all others; styles in "
    "`layer_styles`, unit and meaning of every column in `column_descriptions`",
    ending=".gpkg",
    takes=(*WHICH_PART, "unit"),
)
def write_geopackage(extract: Extract, path: Path) -> None:
    """Write the tables of an extract as a GeoPackage.

    Parameters as `gwnet.exchange`.

    Notes
    -----
    Layers are in the coordinate system of the sites, or in WGS 84 where these have different ones. The time of the last
    change, which the format asks for, is the day on which the state of the record was recorded, not the clock.
    """
    wells = extract.wells_with_levels.drop(columns="well_id")
    tables = [worked_out("wells", "A well, with the newest level that is usable or a bound.", wells)]
    tables += [table for table in export_tables(extract) if table.name != "wells"]
    layers = [_layer(extract, table) for table in tables]
    # Behind the layers: styles are of those that were written with geometry.
    layers += [_styles(extract, layers), _descriptions(tables, extract.unit)]
    write_layers(path, layers, extract.crs, extract.recorded_at_utc.date())


def _layer(extract: Extract, table: ExportTable) -> Layer:
    """Return a table as a layer; with points where its rows have a place."""
    frame = table.frame[[column.name for column in table.columns]]
    shown = in_unit(_typed(table, frame), extract.unit)
    # They have a height and no place of their own: they are drawn where their wells are.
    if table.name == "measuring_points":
        places = extract.wells[["site", "well", "easting", "northing"]]
        placed = frame[["site", "well"]].merge(places, on=["site", "well"], how="left")
        return Layer(table.name, "Point", shown, shapes_of(extract, placed), table.title)
    if {"easting", "northing"} <= set(frame.columns):
        return Layer(table.name, "Point", shown, shapes_of(extract, frame), table.title)
    return Layer(table.name, "", shown, (), table.title)


def _typed(table: ExportTable, frame: pd.DataFrame) -> pd.DataFrame:
    """Return a frame whose dates and instants the geo library knows as such."""
    import pyarrow as pa

    changed: dict[str, Any] = {}
    for column in table.columns:
        values = frame[column.name]
        if column.kind == "date":
            changed[column.name] = pd.Series(
                # pandas has no type for a day; as an instant at midnight it would move with the zone of whoever reads
                # it.
                pd.array(pa.array(values, type=pa.date32(), from_pandas=True), dtype=pd.ArrowDtype(pa.date32())),
                index=values.index,
            )
        elif column.kind == "instant":
            changed[column.name] = values.dt.tz_convert("UTC").astype("datetime64[ms, UTC]")
        elif column.kind == "text":
            changed[column.name] = values.astype(object)
    return frame.assign(**changed)


def _styles(extract: Extract, layers: list[Layer]) -> Layer:
    """Return the table of styles that programs which draw GeoPackages look for (common practice, no source)."""
    drawn = [layer for layer in layers if layer.name in _STYLES and layer.kind]
    rows = [
        {
            "f_table_catalog": "",
            "f_table_schema": "",
            "f_table_name": layer.name,
            "f_geometry_column": "geom",
            "styleName": layer.name,
            "styleQML": "",
            "styleSLD": _SLD.format(layer=layer.name, colour=_STYLES[layer.name][0], label=_STYLES[layer.name][1]),
            "useAsDefault": True,
            "description": layer.description,
            "owner": "",
            "ui": "",
            "update_time": pd.Timestamp(extract.recorded_at_utc.date(), tz="UTC"),
        }
        for layer in drawn
    ]
    frame = pd.DataFrame(rows)
    # An empty frame has no times to give the type to.
    if len(frame):
        frame["update_time"] = frame["update_time"].astype("datetime64[ms, UTC]")
    return Layer("layer_styles", "", frame, (), "Styles of the layers.")


def _descriptions(tables: list[ExportTable], unit: str) -> Layer:
    rows = []
    for table in tables:
        frame = table.frame.iloc[:0][[column.name for column in table.columns]]
        for column, name in zip(table.columns, map(str, in_unit(frame, unit).columns), strict=True):
            rows.append((table.name, name, unit if name != column.name else column.unit, column.meaning))
    frame = pd.DataFrame(rows, columns=["table_name", "column_name", "unit", "description"])
    return Layer("column_descriptions", "", frame, (), "Unit and meaning of every column.")
