"""Wells as GeoJSON (RFC 7946): points in longitude and latitude with particulars and the newest level."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pandas as pd

from gwnet.analysis.levels.display_unit import in_unit
from gwnet.exchange.extract import WORLD, Extract, shapes_of
from gwnet.exchange.registry import WHICH_PART, register_format
from gwnet.plain_text import file_value

#: Digits behind the point of longitude and latitude; the seventh is about a centimetre (RFC 7946, section 11.2).
_DIGITS = 8


@register_format(
    "geojson",
    "the wells as points in longitude and latitude (WGS 84), with their particulars, the number of their levels and "
    "the newest one that is usable or a bound",
    ending=".geojson",
    takes=(*WHICH_PART, "unit"),
)
def write_geojson(extract: Extract, path: Path) -> None:
    """Write the wells of an extract as GeoJSON.

    Parameters as `gwnet.exchange`.

    Notes
    -----
    One feature a well, its ``id`` the site and the well. A well without coordinates has the geometry null, as
    RFC 7946, section 3.2, has it. Columns of lengths end in their unit.
    """
    wells = extract.wells_with_levels
    shown = in_unit(wells.drop(columns=["well_id", "longitude", "latitude"]), extract.unit)
    features = [
        {"type": "Feature", "id": f"{row['site']}/{row['well']}", "geometry": geometry, "properties": row}
        for row, geometry in zip(_records(shown), _geometries(extract, wells), strict=True)
    ]
    # NaN is no JSON: better an error here than a file that only Python reads.
    lines = ",\n".join(json.dumps(feature, ensure_ascii=False, allow_nan=False) for feature in features)
    about = json.dumps(f"Groundwater wells; record as known on {extract.state_text}", ensure_ascii=False)
    text = f'{{"type": "FeatureCollection", "name": "wells", "description": {about}, "features": [\n{lines}\n]}}\n'
    path.write_text(text, encoding="utf-8", newline="\n")


def _records(table: pd.DataFrame) -> list[dict[str, Any]]:
    names = [str(name) for name in table.columns]
    rows = table.itertuples(index=False, name=None)
    return [dict(zip(names, map(file_value, row), strict=True)) for row in rows]


def _geometries(extract: Extract, wells: pd.DataFrame) -> list[dict[str, Any] | None]:
    import geopandas

    # RFC 7946, section 4: coordinates are longitude and latitude of WGS 84, and no other system may be said.
    places = geopandas.GeoSeries(shapes_of(extract, wells), crs=extract.crs).to_crs(WORLD)
    return [
        None if place is None else {"type": "Point", "coordinates": [round(place.x, _DIGITS), round(place.y, _DIGITS)]}
        for place in places
    ]
