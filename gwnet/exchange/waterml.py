"""WaterML 2.0 Part 1 (OGC 10-126r4): levels and heads of loggers as time series, a series for each measuring point.

Elements stand in the order of the schema. The document is written as text, piece by piece, so that a million samples
need no more memory than one series. Definitions of our own are URNs that begin with ``urn:x-gwnet:``; the page on
exchange lists them.
"""

from __future__ import annotations

import datetime as dt
import math
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd

from gwnet.clock import zone_of
from gwnet.exchange.extract import Extract
from gwnet.exchange.level_series import DEPTH, ELEVATION, LevelSeries, iterate_series
from gwnet.exchange.registry import register_format
from gwnet.exchange.xml_text import attribute, element_text, number, places_of, point_of, urn
from gwnet.store.columns import QUALITIES
from gwnet.version import PROGRAM

_NAMESPACES: Final = " ".join(
    f'xmlns:{prefix}="http://www.{where}"'
    for prefix, where in {
        "wml2": "opengis.net/waterml/2.0",
        "gml": "opengis.net/gml/3.2",
        "om": "opengis.net/om/2.0",
        "sam": "opengis.net/sampling/2.0",
        "sams": "opengis.net/samplingSpatial/2.0",
        "swe": "opengis.net/swe/2.0",
        "xlink": "w3.org/1999/xlink",
        "xsi": "w3.org/2001/XMLSchema-instance",
    }.items()
)
_SCHEMA: Final = "http://www.opengis.net/waterml/2.0 http://schemas.opengis.net/waterml/2.0/waterml2.xsd"
_WATERML: Final = "http://www.opengis.net/def/waterml/2.0"
_NIL: Final = "http://www.opengis.net/def/nil/OGC/0"
_CLASSES: Final = ("xsd-collection", "xsd-measurement-timeseries-tvp-observation")
#: Observed properties, which the document defines itself: no list of the standard has them.
_PROPERTIES: Final = {
    DEPTH: (
        "Depth to water below the measuring point",
        "Positive downward; its zero is the measuring point.",
    ),
    ELEVATION: ("Elevation of the water in the well", "Positive upward, above the vertical datum of the site."),
}
#: The own words of the standard for quality (OGC 10-126r4, table 5); others are not coded.
_UNCODED: Final = "unchecked"


@register_format(
    "waterml2",
    "levels and heads of loggers as WaterML 2.0 time series: depths by measuring point, elevations, each with its "
    "quality, bounds and reasons; in metres and UTC",
    ending=".xml",
)
def write_waterml(extract: Extract, path: Path) -> None:
    """Write the levels of an extract as WaterML 2.0.

    Parameters as `gwnet.exchange`.

    Notes
    -----
    Manual readings are ``ManualMethod`` and ``Discontinuous``, heads of loggers ``Sensor`` and ``Continuous``. A bound
    is a value that is nil with a censored reason and its limit as a qualifier; a visit without a level is nil with the
    reason missing. Times are in UTC.
    """
    with path.open("w", encoding="utf-8", newline="\n") as file:
        write = file.write
        _write_head(write, extract)
        datums = _write_points(write, extract)
        for place, series in enumerate(iterate_series(extract), start=1):
            _write_observation(write, series, place, datums, extract.recorded_at_utc)
        write("</wml2:Collection>\n")


Write = Callable[[str], Any]
#: Ids of the monitoring points by site and well, and of the vertical datums by measuring point, or site and well.
Ids = dict[Any, str]


def _write_head(write: Write, extract: Extract) -> None:
    write('<?xml version="1.0" encoding="UTF-8"?>\n')
    write(f'<wml2:Collection {_NAMESPACES} gml:id="collection" xsi:schemaLocation="{_SCHEMA}">\n')
    write(f"<gml:description>Groundwater levels; {element_text(extract.state_text)}</gml:description>\n")
    write('<wml2:metadata><wml2:DocumentMetadata gml:id="document">\n')
    write(f"<wml2:generationDate>{_instant(extract.recorded_at_utc)}</wml2:generationDate>\n")
    write('<wml2:version xlink:href="http://www.opengis.net/waterml/2.0" xlink:title="WaterML 2.0"/>\n')
    write(f"<wml2:generationSystem>{PROGRAM}</wml2:generationSystem>\n")
    for name in _CLASSES:
        href = f"http://www.opengis.net/spec/waterml/2.0/conf/{name}"
        write(f'<wml2:profile xlink:href="{href}" xlink:title="{name}"/>\n')
    write("</wml2:DocumentMetadata></wml2:metadata>\n")
    write('<wml2:localDictionary><gml:Dictionary gml:id="properties">')
    write('<gml:identifier codeSpace="urn:x-gwnet:dictionary">properties</gml:identifier>\n')
    for name, (title, meaning) in _PROPERTIES.items():
        write(f'<gml:dictionaryEntry><gml:Definition gml:id="{name}"><gml:description>{meaning}</gml:description>')
        write(f'<gml:identifier codeSpace="urn:x-gwnet:property">{name}</gml:identifier>')
        write(f"<gml:name>{title}</gml:name></gml:Definition></gml:dictionaryEntry>\n")
    write("</gml:Dictionary></wml2:localDictionary>\n")


def _write_points(write: Write, extract: Extract) -> Ids:
    """Write a monitoring point for each well, with its measuring points as vertical datums."""
    ids: Ids = {}
    sites = extract.record.sites.set_index("site")
    places, names = places_of(extract), extract.record.aquifers.set_index("aquifer")["name"]
    points = dict(iter(extract.record.measuring_points.groupby(["site", "well"], sort=False)))
    for row in extract.wells.itertuples():
        key, site = (str(row.site), str(row.well)), sites.loc[row.site]
        ids[key] = f"well-{len(ids)}"
        write(f'<wml2:samplingFeatureMember><wml2:MonitoringPoint gml:id="{ids[key]}">')
        write(f'<gml:identifier codeSpace="{urn("well", row.site)}">{element_text(row.well)}</gml:identifier>')
        write(f"<gml:name>{element_text(row.well)}</gml:name>\n")
        aquifer = str(row.aquifer or "")
        href = urn("aquifer", aquifer) if aquifer else f"{_NIL}/unknown"
        title = str(names.get(aquifer, "") or aquifer or "not known")
        write(f'<sam:sampledFeature xlink:href="{href}" xlink:title={attribute(title)}/>')
        write(f"<sams:shape{point_of(places[key], f'{ids[key]}-place')}</sams:shape>\n")
        write('<wml2:monitoringType xlink:href="urn:x-gwnet:monitoringType:groundwater" xlink:title="Groundwater"/>\n')
        for point in points.get(key, pd.DataFrame()).itertuples():
            ids[int(point.measuring_point_id)] = f"{ids[key]}-point-{point.measuring_point_id}"
            _write_measuring_point(write, point, ids[int(point.measuring_point_id)])
        ids["datum", *key] = f"{ids[key]}-datum"
        _write_site_datum(write, str(site["vertical_datum"]), ids["datum", *key])
        write(_zone(str(site["time_zone"]), extract.recorded_at_utc))
        write("</wml2:MonitoringPoint></wml2:samplingFeatureMember>\n")
    return ids


def _write_measuring_point(write: Write, point: Any, name: str) -> None:
    code = f"{point.well}:{point.access}:{_instant(point.valid_from_utc)}"
    words = f"Measuring point {point.access} of {point.well}: {point.description or 'not described'}"
    write(f'<wml2:verticalDatum><gml:VerticalDatum gml:id="{name}">')
    write(f'<gml:identifier codeSpace="{urn("measuring-point", point.site)}">{element_text(code)}</gml:identifier>')
    write(f"<gml:name>{element_text(words)}</gml:name><gml:scope>Zero of depths to water</gml:scope>")
    if not math.isnan(point.elevation_m):
        space = urn("vertical-datum", point.vertical_datum)
        write(f'<gml:anchorDefinition codeSpace="{space}">{number(point.elevation_m)}</gml:anchorDefinition>')
    if isinstance(point.surveyed_on, dt.date):
        write(f"<gml:realizationEpoch>{point.surveyed_on.isoformat()}</gml:realizationEpoch>")
    write("</gml:VerticalDatum></wml2:verticalDatum>\n")


def _write_site_datum(write: Write, datum: str, name: str) -> None:
    write(f'<wml2:verticalDatum><gml:VerticalDatum gml:id="{name}">')
    write(f'<gml:identifier codeSpace="urn:x-gwnet:vertical-datum">{element_text(datum)}</gml:identifier>')
    write("<gml:scope>Zero of elevations</gml:scope></gml:VerticalDatum></wml2:verticalDatum>\n")


def _zone(name: str, moment: dt.datetime) -> str:
    """Return the time zone of a site: what its clocks are ahead of UTC in winter, and its name."""
    zone = zone_of(name)
    # The smaller of January and July is standard time on either hemisphere.
    offsets = [dt.datetime(moment.year, month, 1, tzinfo=zone).utcoffset() or dt.timedelta(0) for month in (1, 7)]
    minutes = int(min(offsets).total_seconds()) // 60
    sign, size = ("-" if minutes < 0 else "+"), abs(minutes)
    offset = f"{sign}{size // 60:02d}:{size % 60:02d}"
    return (
        f"<wml2:timeZone><wml2:TimeZone><wml2:zoneOffset>{offset}</wml2:zoneOffset>"
        f"<wml2:zoneAbbreviation>{element_text(name)}</wml2:zoneAbbreviation></wml2:TimeZone></wml2:timeZone>\n"
    )


def _write_observation(write: Write, series: LevelSeries, place: int, ids: Ids, recorded: dt.datetime) -> None:
    name, key = f"series-{place}", (series.site, series.well)
    first, last = (_instant(moment) for moment in (series.time_utc[0], series.time_utc[-1]))
    process = "Sensor" if series.instrument else "ManualMethod"
    title = _PROPERTIES[series.quantity][0]
    write(f'<wml2:observationMember><om:OM_Observation gml:id="{name}">')
    write(f'<gml:identifier codeSpace="{urn("series", series.site)}">{element_text(_code(series))}</gml:identifier>\n')
    kind = "http://www.opengis.net/def/observationType/waterml/2.0/MeasurementTimeseriesTVPObservation"
    write(f'<om:type xlink:href="{kind}" xlink:title="Measurement time series"/>\n')
    write(f'<om:phenomenonTime><gml:TimePeriod gml:id="{name}-time"><gml:beginPosition>{first}</gml:beginPosition>')
    write(f"<gml:endPosition>{last}</gml:endPosition></gml:TimePeriod></om:phenomenonTime>\n")
    write(f'<om:resultTime><gml:TimeInstant gml:id="{name}-result"><gml:timePosition>{_instant(recorded)}')
    write("</gml:timePosition></gml:TimeInstant></om:resultTime>\n")
    write(f'<om:procedure><wml2:ObservationProcess gml:id="{name}-process">')
    write(f'<wml2:processType xlink:href="{_WATERML}/processType/{process}" xlink:title="{process}"/>')
    # Depths without a measuring point on record have no datum, rather than that of another point.
    datum = ids.get(series.measuring_point) if series.quantity == DEPTH else ids["datum", *key]
    if datum:
        write(f'<wml2:verticalDatum xlink:href="#{datum}" xlink:title="Zero of the values"/>')
    write("</wml2:ObservationProcess></om:procedure>\n")
    for parameter in ("site", "access", "instrument"):
        if value := str(getattr(series, parameter)):
            write(f'<om:parameter><om:NamedValue><om:name xlink:href="urn:x-gwnet:def:{parameter}" ')
            write(f'xlink:title="{parameter}"/><om:value>{element_text(value)}</om:value>')
            write("</om:NamedValue></om:parameter>\n")
    write(f'<om:observedProperty xlink:href="#{series.quantity}" xlink:title="{title}"/>\n')
    write(f'<om:featureOfInterest xlink:href="#{ids[key]}" xlink:title={attribute(series.well)}/>\n')
    write(f'<om:result><wml2:MeasurementTimeseries gml:id="{name}-values">')
    write("<wml2:metadata><wml2:MeasurementTimeseriesMetadata>")
    write(f'<wml2:temporalExtent xlink:href="#{name}-time" xlink:title="Time of the series"/>')
    write("</wml2:MeasurementTimeseriesMetadata></wml2:metadata>\n")
    # What most points have is said once for the series, and a point says only what differs.
    usual = _usual_quality(series)
    joined = "Continuous" if series.instrument else "Discontinuous"
    write("<wml2:defaultPointMetadata><wml2:DefaultTVPMeasurementMetadata>")
    write(f'{_reference("quality", f"{_WATERML}/quality/{usual}", usual)}<wml2:uom code="m"/>')
    write(_reference("interpolationType", f"{_WATERML}/interpolationType/{joined}", joined))
    write("</wml2:DefaultTVPMeasurementMetadata></wml2:defaultPointMetadata>\n")
    for point in _points(series, usual):
        write(point)
    write("</wml2:MeasurementTimeseries></om:result></om:OM_Observation></wml2:observationMember>\n")


def _code(series: LevelSeries) -> str:
    """Return the name of a series, unlike that of every other of its site."""
    since = "" if series.measuring_point is None else f":{series.measuring_point}"
    words = (series.well, series.access, series.instrument or "manual", series.quantity)
    return f"{':'.join(words)}{since}:{_instant(series.time_utc[0])}:{series.part}"


def _usual_quality(series: LevelSeries) -> str:
    counts = Counter(text if text in QUALITIES else _UNCODED for text in series.quality)
    # Sorted first, so that of equally frequent ones the same is taken every time.
    return str(max(sorted(counts), key=counts.__getitem__))


def _points(series: LevelSeries, usual: str) -> Iterator[str]:
    """Yield the points of a series, each on a line."""
    for start in range(0, len(series), _AT_ONCE):
        yield from _some_points(series, usual, slice(start, start + _AT_ONCE))


def _some_points(series: LevelSeries, usual: str, span: slice) -> Iterator[str]:
    # numpy writes a whole array of times; one by one they would take far longer.
    texts = np.datetime_as_string(series.time_utc[span], unit="us").tolist()
    times = [text.removesuffix(".000000") for text in texts]
    columns = (
        series.value_m, series.limit_m, series.bound, series.quality, series.unusable, series.status, series.review,
        series.comment, series.uncertainty_m, series.sounded_depth_m, series.time_known,
    )  # fmt: skip
    manual = not series.instrument
    for time, *cells in zip(times, *(column[span].tolist() for column in columns), strict=True):
        value, limit, bound, *rest = cells
        metadata = _metadata(series.quantity, usual, value, limit, bound, *rest, manual=manual)
        written = f"<wml2:value>{number(value)}</wml2:value>"
        # The value of a bounded point is nil, and the bound is a qualifier: no reader may take it for a level.
        if bound or math.isnan(value):
            written = '<wml2:value xsi:nil="true"/>'
        if metadata:
            metadata = (
                f"<wml2:metadata><wml2:TVPMeasurementMetadata>{metadata}</wml2:TVPMeasurementMetadata></wml2:metadata>"
            )
        yield f"<wml2:point><wml2:MeasurementTVP><wml2:time>{time}Z</wml2:time>{written}{metadata}" + _POINT_END


#: Points that are held as text and numbers of Python at one time.
_AT_ONCE: Final = 20_000

_POINT_END: Final = "</wml2:MeasurementTVP></wml2:point>\n"


def _metadata(
    quantity: str,
    usual: str,
    value: float,
    limit: float,
    bound: str,
    quality: str,
    unusable: str,
    status: str,
    review: str,
    comment: str,
    uncertainty: float,
    sounded: float,
    time_known: bool,
    *,
    manual: bool,
) -> str:
    """Return what a point says beyond the default, in the order of the schema."""
    parts = []
    coded = quality if quality in QUALITIES else _UNCODED
    if coded != usual:
        parts.append(_reference("quality", f"{_WATERML}/quality/{coded}", coded))
    if not bound and math.isnan(value):
        parts.append(_reference("nilReason", f"{_NIL}/missing", "missing"))
    if comment:
        parts.append(f"<wml2:comment>{element_text(comment)}</wml2:comment>")
    categories = {"status": status, "review": review, "unusable": unusable}
    if manual and not time_known:
        categories["time_of_day"] = "not known"
    if status == _USUAL_STATUS and not bound and not math.isnan(value):
        # Said by default: of a value that states no status, static is meant.
        del categories["status"]
    parts += [_category(name, text) for name, text in categories.items() if text]
    quantities = {"limit": limit, "as_read": value if bound else math.nan, "sounded_depth": sounded}
    parts += [_quantity(name, size) for name, size in quantities.items() if not math.isnan(size)]
    if bound:
        # The words of the OGC are about detection ranges of instruments; there are none for bounds of levels.
        above = bound == ">="
        reason = "AboveDetectionRange" if above else "BelowDetectionRange"
        parts.append(_reference("censoredReason", f"{_NIL}/{reason}", reason))
    # At each sample of a logger it would be as long as the value again; the netCDF export has it.
    if not math.isnan(uncertainty) and quantity == ELEVATION and manual:
        parts.append(
            '<wml2:accuracy><swe:Quantity definition="urn:x-gwnet:def:half_width_95"><swe:uom code="m"/>'
            f"<swe:value>{number(uncertainty)}</swe:value></swe:Quantity></wml2:accuracy>"
        )
    return "".join(parts)


#: Status of a value that states none.
_USUAL_STATUS: Final = "static"


def _reference(name: str, href: str, title: str) -> str:
    return f'<wml2:{name} xlink:href="{href}" xlink:title="{title}"/>'


def _category(name: str, text: str) -> str:
    return (
        f'<wml2:qualifier xlink:title="{name}"><swe:Category definition="urn:x-gwnet:def:{name}">'
        f"<swe:value>{element_text(text)}</swe:value></swe:Category></wml2:qualifier>"
    )


def _quantity(name: str, size: float) -> str:
    return (
        f'<wml2:qualifier xlink:title="{name}"><swe:Quantity definition="urn:x-gwnet:def:{name}"><swe:uom code="m"/>'
        f"<swe:value>{number(size)}</swe:value></swe:Quantity></wml2:qualifier>"
    )


def _instant(moment: Any) -> str:
    """Return an instant in UTC as xs:dateTime."""
    stamp = pd.Timestamp(moment)
    stamp = stamp.tz_localize("UTC") if stamp.tzinfo is None else stamp.tz_convert("UTC")
    text = stamp.isoformat(timespec="microseconds" if stamp.microsecond else "seconds")
    return str(text).replace("+00:00", "Z")
