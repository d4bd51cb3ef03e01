"""What documents in XML share: text and numbers made safe, and the places of wells as GML points."""

from __future__ import annotations

import math
import re
from typing import Final
from urllib.parse import quote
from xml.sax.saxutils import escape, quoteattr

import numpy as np

from gwnet.exchange.extract import WORLD, Extract

#: Signs that XML 1.0 does not allow (section 2.2), not even escaped.
_NOT_ALLOWED: Final = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
#: The same in GML: EPSG 4326 by the URI of the OGC has the latitude first.
CRS: Final = "http://www.opengis.net/def/crs/EPSG/0/4326"


def element_text(value: object) -> str:
    """Return text for the content of an element; signs that XML does not allow become U+FFFD."""
    return escape(_NOT_ALLOWED.sub("\N{REPLACEMENT CHARACTER}", str(value)))


def attribute(value: object) -> str:
    """Return text for an attribute, in quotation marks."""
    return quoteattr(_NOT_ALLOWED.sub("\N{REPLACEMENT CHARACTER}", str(value)))


def number(value: float) -> str:
    """Return a number as text without an exponent, to the micrometre.

    Examples
    --------
    >>> number(8.21), number(-0.0), number(1e-7)
    ('8.21', '0', '0')
    """
    text = f"{value:.6f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def places_of(extract: Extract) -> dict[tuple[str, str], tuple[float, float] | None]:
    """Return latitude and longitude (WGS 84, degrees) of wells by site and well; None for no place."""
    from pyproj import Transformer

    wells, systems = extract.wells, extract.record.sites.set_index("site")["crs"]
    places: dict[tuple[str, str], tuple[float, float] | None] = {}
    for site, part in wells.groupby("site", sort=False):
        to_world = Transformer.from_crs(str(systems[site]), WORLD, always_xy=True)
        east, north = (part[name].to_numpy(dtype=np.float64) for name in ("easting", "northing"))
        longitude, latitude = to_world.transform(east, north)
        for well, x, y in zip(part["well"], longitude, latitude, strict=True):
            known = math.isfinite(x) and math.isfinite(y)
            places[str(site), str(well)] = (float(y), float(x)) if known else None
    return places


def point_of(place: tuple[float, float] | None, name: str) -> str:
    """Return what follows the name of a property in its tag: a GML point of a well, or that its place is not known.

    Parameters
    ----------
    place : tuple of float or None
        Latitude and longitude.
    name : str
        Id of the point.
    """
    if place is None:
        return ' nilReason="unknown">'
    position = f"{place[0]:.8f} {place[1]:.8f}"
    return f'><gml:Point gml:id="{name}" srsName="{CRS}"><gml:pos>{position}</gml:pos></gml:Point>'


def urn(kind: str, name: object) -> str:
    """Return the URN of something of ours.

    Examples
    --------
    >>> urn("aquifer", "upper sand")
    'urn:x-gwnet:aquifer:upper%20sand'
    """
    return f"urn:x-gwnet:{kind}:{quote(str(name), safe='')}"
