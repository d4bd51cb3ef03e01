"""GroundWaterML 2.2 (OGC 16-032r2): wells with their construction, for programs that read boreholes.

Depths are along the hole, positive downward, from the ground. Levels are not in it: they are WaterML 2.0.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import pandas as pd

from gwnet.exchange.extract import Extract
from gwnet.exchange.registry import register_format
from gwnet.exchange.xml_text import CRS, attribute, element_text, number, places_of, point_of, urn

_NAMESPACES: Final = " ".join(
    f'xmlns:{prefix}="http://www.{where}"'
    for prefix, where in {
        "gwml2w": "opengis.net/gwml-well/2.2",
        "gwml2wc": "opengis.net/gwml-wellconstruction/2.2",
        "gml": "opengis.net/gml/3.2",
        "sam": "opengis.net/sampling/2.0",
        "sams": "opengis.net/samplingSpatial/2.0",
        "swe": "opengis.net/swe/2.0",
        "xlink": "w3.org/1999/xlink",
        "xsi": "w3.org/2001/XMLSchema-instance",
    }.items()
)
#: The type that the rules of the standard want exactly once a well.
_ORIGIN: Final = "http://resource.gwml.org/def/elevationType/originElevation"
#: Element of a construction, and of its parts, for each part of ours: the standard has pipes, screens, packs and seals.
_ELEMENTS: Final = {
    "casing": ("Casing", "casing"),
    "sump": ("Casing", "casing"),
    "screen": ("Screen", "screen"),
    "open hole": ("Screen", "screen"),
    "filter pack": ("Filtration", "filter"),
    "seal": ("Sealing", "sealing"),
    "backfill": ("Sealing", "sealing"),
}
_COMPONENTS: Final = {"casing": "Casing", "screen": "Screen", "filter": "Filtration", "sealing": "Sealing"}


@register_format(
    "gwml2",
    "the wells with casings, screens, packs, seals, ground and measuring point as GroundWaterML 2.2",
    ending=".gml",
    takes=("site", "wells", "aquifer", "known_on"),
)
def write_gwml(extract: Extract, path: Path) -> None:
    """Write the wells of an extract with their construction as GroundWaterML 2.2.

    Parameters as `gwnet.exchange`.

    Notes
    -----
    Parts that were removed are left out. A sump is a casing and a backfill a seal, by name; an open hole is a screen
    whose form says so. Diameters, of which the record does not say whether they are inner or outer, are in words.
    """
    places, sites = places_of(extract), extract.record.sites.set_index("site")
    names = extract.record.aquifers.set_index("aquifer")["name"]
    parts, points = (
        dict(iter(table.groupby(["site", "well"], sort=False)))
        for table in (extract.record.construction, extract.record.measuring_points)
    )
    with path.open("w", encoding="utf-8", newline="\n") as file:
        write = file.write
        write('<?xml version="1.0" encoding="UTF-8"?>\n')
        write(f'<sam:SF_SamplingFeatureCollection {_NAMESPACES} gml:id="collection">\n')
        write(f"<gml:description>Wells and their construction; {element_text(extract.state_text)}. Depths are along ")
        write("the hole, positive downward, from the ground.</gml:description>\n")
        for place, row in enumerate(extract.wells.itertuples()):
            key, aquifer = (str(row.site), str(row.well)), str(row.aquifer or "")
            well = _Well(
                row=row,
                name=f"well-{place}",
                place=places[key],
                datum=urn("vertical-datum", sites.loc[row.site, "vertical_datum"]),
                aquifer=(aquifer, str(names.get(aquifer, "") or aquifer)),
            )
            write("<sam:member>")
            _write_well(write, well, parts.get(key, pd.DataFrame()), points.get(key, pd.DataFrame()))
            write("</sam:member>\n")
        write("</sam:SF_SamplingFeatureCollection>\n")


Write = Callable[[str], Any]


class _Well:
    """A well with what its elements share.

    Parameters
    ----------
    row : tuple
        Row of the wells frame.
    name : str
        Id of its element.
    place : tuple of float or None
        Latitude and longitude.
    datum : str
        URN of the vertical datum.
    aquifer : tuple of str
        Code and name of the aquifer.
    """

    def __init__(
        self, row: Any, name: str, place: tuple[float, float] | None, datum: str, aquifer: tuple[str, str]
    ) -> None:
        self.row = row
        self.name = name
        self.place = place
        self.datum = datum
        code, title = aquifer
        # The sampled feature is required, and this is the OGC's own word for one that is not known.
        href = urn("aquifer", code) if code else "http://www.opengis.net/def/nil/OGC/0/unknown"
        self.sampled = f'<sam:sampledFeature xlink:href="{href}" xlink:title={attribute(title or "not known")}/>'


def _write_well(write: Write, well: _Well, parts: pd.DataFrame, points: pd.DataFrame) -> None:
    row = well.row
    write(f'<gwml2w:GW_Well gml:id="{well.name}">')
    write(f'<gml:identifier codeSpace="{urn("well", row.site)}">{element_text(row.well)}</gml:identifier>')
    write(f"<gml:name>{element_text(row.well)}</gml:name>{well.sampled}")
    write(f"<sams:shape{point_of(well.place, f'{well.name}-place')}</sams:shape>\n<gwml2w:gwWellConstruction>")
    _write_borehole(write, well, parts, points)
    write("</gwml2w:gwWellConstruction>\n")
    if math.isnan(row.ground_elevation_m):
        # Required by the schema as well, so an unknown ground is said rather than left out.
        write('<gwml2w:gwWellReferenceElevation xsi:nil="true" nilReason="unknown"/>')
    else:
        write("<gwml2w:gwWellReferenceElevation><gwml2w:Elevation>")
        write(f'<gwml2w:elevation srsName="{well.datum}" srsDimension="1">{number(row.ground_elevation_m)}')
        write(f'</gwml2w:elevation><gwml2w:elevationType xlink:href="{_ORIGIN}" xlink:title="origin elevation"/>')
        write("</gwml2w:Elevation></gwml2w:gwWellReferenceElevation>")
    if not math.isnan(row.total_depth_m):
        write(f"<gwml2w:gwWellTotalLength>{_metres(row.total_depth_m)}</gwml2w:gwWellTotalLength>")
    write("</gwml2w:GW_Well>")


def _write_borehole(write: Write, well: _Well, parts: pd.DataFrame, points: pd.DataFrame) -> None:
    name, row = f"{well.name}-hole", well.row
    write(f'<gwml2wc:Borehole gml:id="{name}">{well.sampled}<sams:shape{_axis(well, name)}</sams:shape>')
    if isinstance(row.drilled_on, dt.date):
        write(f"<gwml2wc:bholeDateOfDrilling>{row.drilled_on.isoformat()}</gwml2wc:bholeDateOfDrilling>")
    # The standard describes a well as it is: it has no time of validity for parts.
    standing = parts[parts["removed_on"].isna()] if len(parts) else parts
    for place, part in enumerate(standing.itertuples()):
        if part.part in _ELEMENTS:
            write(_construction(part, f"{name}-{place}"))
    now = points[points["valid_until_utc"].isna()] if len(points) else points
    known = [point for point in now.itertuples() if not math.isnan(point.elevation_m)]
    for place, point in enumerate(known):
        write(f'\n<gwml2wc:bholeHeadworks><gwml2wc:BoreCollar gml:id="{name}-collar-{place}">')
        words = f"Measuring point {point.access}" + (f": {point.description}" if point.description else "")
        write(f"<gml:description>{element_text(words)}</gml:description>")
        write(f'<gwml2wc:collarElevation srsName="{urn("vertical-datum", point.vertical_datum)}" srsDimension="1">')
        write(f"{number(point.elevation_m)}</gwml2wc:collarElevation></gwml2wc:BoreCollar></gwml2wc:bholeHeadworks>")
    if not known:
        # The schema wants headworks; a hole without a surveyed measuring point says that they are not known.
        write('<gwml2wc:bholeHeadworks xsi:nil="true" nilReason="unknown"/>')
    write("</gwml2wc:Borehole>")


def _axis(well: _Well, name: str) -> str:
    """Return what follows the name of a property in its tag: the hole as a vertical line, or as a point."""
    row = well.row
    # An axis needs both ends in space; with less on record the hole is its place alone.
    if well.place is None or math.isnan(row.ground_elevation_m) or math.isnan(row.total_depth_m):
        return point_of(well.place, f"{name}-place")
    latitude, longitude = well.place
    ends = [row.ground_elevation_m, row.ground_elevation_m - row.total_depth_m]
    positions = " ".join(f"{latitude:.8f} {longitude:.8f} {number(height)}" for height in ends)
    # EPSG:4979 is WGS 84 with the height as third coordinate; the plane system of `CRS` has none.
    crs = f"{CRS.rpartition('/')[0]}/4979"
    return (
        f'><gml:LineString gml:id="{name}-axis" srsName="{crs}"><gml:posList>{positions}</gml:posList></gml:LineString>'
    )


def _construction(part: Any, name: str) -> str:
    """Return one part of a construction."""
    outer, kind = _ELEMENTS[part.part]
    component = f"{_COMPONENTS[kind]}Component"
    words = "" if math.isnan(part.diameter_mm) else f"; diameter {number(part.diameter_mm)} mm"
    material = ""
    if part.material:
        href = urn("material", part.material)
        material = f'<gwml2wc:{kind}Material xlink:href="{href}" xlink:title={attribute(part.material)}/>'
    form = ""
    if part.part == "open hole":
        form = '<gwml2wc:screenForm xlink:href="urn:x-gwnet:form:open-hole" xlink:title="open hole"/>'
    ends = "".join(
        f"<gwml2wc:{end}>{_metres(depth)}</gwml2wc:{end}>"
        for end, depth in (("from", part.top_depth_m), ("to", part.bottom_depth_m))
    )
    about = f"<gml:description>{element_text(part.part + words)}</gml:description>"
    return (
        f'\n<gwml2wc:bholeConstruction><gwml2wc:{outer} gml:id="{name}"><gwml2wc:{kind}Element>'
        f'<gwml2wc:{component} gml:id="{name}-part">'
        f"{about}{ends}{form}{material}</gwml2wc:{component}>"
        f"</gwml2wc:{kind}Element></gwml2wc:{outer}></gwml2wc:bholeConstruction>"
    )


def _metres(size: float) -> str:
    return f'<swe:Quantity><swe:uom code="m"/><swe:value>{number(size)}</swe:value></swe:Quantity>'
