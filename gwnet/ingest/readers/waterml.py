"""Levels of WaterML 2.0 documents (OGC 10-126r4) as rows of the table of level events.

The document is read as a stream; what defines entities or a document type is refused, and nothing is fetched. Points
inherit what their series says by default. Lengths become metres, times keep their zone; a time without one is rejected.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from typing import Final, NoReturn
from xml.parsers import expat

from gwnet.clock import zone_of
from gwnet.errors import ClockError, UnreadableFileError
from gwnet.ingest.tables.raw import RawSheet
from gwnet.records import Rejection

_WATERML: Final = "http://www.opengis.net/waterml/2.0"
_PIECE: Final = 1 << 16

#: Units by their codes in UCUM, in metres, exactly.
_METRES: Final = {
    "m": Decimal(1),
    "cm": Decimal("0.01"),
    "mm": Decimal("0.001"),
    "[ft_i]": Decimal("0.3048"),
    "[ft_us]": Decimal(1200) / Decimal(3937),
}
#: Words in the names of observed properties that say which column a value is of.
_DEPTH_WORDS: Final = ("depth_to_water", "depth to water", "depthtowater", "below measuring point")
_ELEVATION_WORDS: Final = ("elevation", "head", "water_level", "waterlevel", "water level", "groundwaterlevel")

HEADINGS: Final = (
    "site", "well", "access", "measured_at", "date", "event", "status", "depth_to_water [m]", "water_elevation [m]",
    "sounded_depth [m]", "quality", "notes",
)  # fmt: skip


@dataclass
class _Node:
    """An element with its attributes, text and children; names are local."""

    name: str
    attributes: dict[str, str]
    line: int
    text: str = ""
    children: list[_Node] = field(default_factory=list)

    def find(self, *names: str) -> _Node | None:
        """Return the first element down a path of local names."""
        node: _Node | None = self
        for name in names:
            node = next((child for child in node.children if child.name == name), None) if node else None
        return node

    def words(self, *names: str) -> str:
        """Return the text of the element down a path, empty where there is none."""
        node = self.find(*names)
        return node.text.strip() if node else ""

    def href(self, *names: str) -> str:
        """Return the reference of the element down a path, empty where there is none."""
        node = self.find(*names)
        return node.attributes.get("href", "") if node else ""


@dataclass(frozen=True)
class _Point:
    """A point of a series as it was written."""

    line: int
    time: str
    value: str
    unit: str
    quality: str
    status: str
    comment: str
    time_known: bool
    sounded: str
    censored: str


@dataclass(frozen=True)
class _Place:
    """Where a series was measured, and the name of the time zone of its monitoring point."""

    site: str
    well: str
    access: str
    zone: str


#: Site, well, access, time as written, and part of a row.
_Key = tuple[str, str, str, str, str]


@dataclass
class _Gathered:
    """What was read of a document."""

    wells: dict[str, tuple[str, str]] = field(default_factory=dict)
    properties: dict[str, str] = field(default_factory=dict)
    rows: dict[_Key, dict[str, str]] = field(default_factory=dict)
    lines: dict[_Key, int] = field(default_factory=dict)
    rejections: list[Rejection] = field(default_factory=list)
    notes: dict[str, int] = field(default_factory=dict)

    def note(self, text: str, count: int = 1) -> None:
        """Count what is passed over."""
        self.notes[text] = self.notes.get(text, 0) + count


def read_waterml(name: str, content: bytes) -> RawSheet:
    """Return the levels of a document as a sheet of level events.

    Parameters
    ----------
    name : str
        Name of the file.
    content : bytes
        Its bytes.

    Returns
    -------
    gwnet.ingest.tables.raw.RawSheet
        One row a time and well, numbered by the line of its point. Where a document has depth and elevation of one
        time, the row has the depth. Series of sensors are passed over, with a warning: they are for loggers.

    Raises
    ------
    UnreadableFileError
        If it is no well-formed XML, defines entities or a document type, or is no WaterML 2.0.
    """
    reader = _Reader(name)
    reader.read(content)
    found = reader.found
    rows = [[row.get(heading, "") for heading in HEADINGS] for row in found.rows.values()]
    warnings = [f"{text} ({count})" for text, count in found.notes.items()]
    return RawSheet(
        file=name,
        title="level_events",
        headings=list(HEADINGS),
        rows=rows,
        numbers=list(found.lines.values()),
        rejections=found.rejections,
        warnings=warnings,
    )


class _Reader:
    """Reads one document; points are handled when they end and not kept as elements."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.found = _Gathered()
        self._open: list[_Node] = []
        self._points: list[_Point] = []
        self._parser = expat.ParserCreate(namespace_separator=" ")
        self._parser.buffer_text = True
        self._parser.StartElementHandler = self._start
        self._parser.EndElementHandler = self._end
        self._parser.CharacterDataHandler = self._text
        self._parser.StartDoctypeDeclHandler = lambda *_: self._refuse(
            "The document defines a document type or entities, which no WaterML needs.", "Write it without a DOCTYPE."
        )

    def read(self, content: bytes) -> None:
        """Read a document."""
        try:
            for start in range(0, len(content), _PIECE):
                self._parser.Parse(content[start : start + _PIECE], False)
            self._parser.Parse(b"", True)
        except (expat.ExpatError, ValueError, LookupError) as error:
            self._refuse(f"The document is no well-formed XML, or not whole: {error}.", "Copy or export it again.")

    def _refuse(self, message: str, fix: str) -> NoReturn:
        raise UnreadableFileError(message, where=self.name, fix=fix)

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        space, _, local = name.rpartition(" ")
        if not self._open and (space, local) != (_WATERML, "Collection"):
            message = f"The document is no WaterML 2.0: it begins with {local!r} of {space or 'no namespace'}."
            self._refuse(message, f"Expected is a Collection of {_WATERML}.")
        plain = {key.rpartition(" ")[2]: value for key, value in attributes.items()}
        self._open.append(_Node(local, plain, self._parser.CurrentLineNumber))

    def _text(self, text: str) -> None:
        if self._open:
            self._open[-1].text += text

    def _end(self, _name: str) -> None:
        # Points and observations do not stay in the tree, so that a long document takes no more memory than its longest
        # series.
        node = self._open.pop()
        if node.name == "point":
            self._points.append(_point(node, self._default()))
        elif node.name == "MonitoringPoint":
            zone = node.words("timeZone", "TimeZone", "zoneAbbreviation")
            self.found.wells[f"#{node.attributes.get('id', '')}"] = (
                node.words("identifier") or node.words("name"),
                zone,
            )
        elif node.name == "Definition":
            self.found.properties[f"#{node.attributes.get('id', '')}"] = " ".join(
                (node.words("identifier"), node.words("name"))
            )
        elif node.name == "OM_Observation":
            self._take(node)
            self._points = []
        elif self._open:
            self._open[-1].children.append(node)

    def _default(self) -> _Node | None:
        series = next((node for node in reversed(self._open) if node.name == "MeasurementTimeseries"), None)
        return series.find("defaultPointMetadata", "DefaultTVPMeasurementMetadata") if series else None

    def _take(self, observation: _Node) -> None:
        """Add the points of an observation to the rows."""
        found = self.found
        # Names of our own export: WaterML has no place of its own for the site and the access.
        parameters = {
            node.href("NamedValue", "name").rpartition(":")[2]: node.words("NamedValue", "value")
            for node in observation.children
            if node.name == "parameter"
        }
        if observation.href("procedure", "ObservationProcess", "processType").endswith("/Sensor"):
            text = "samples of sensors, which are loaded from the files of loggers, were passed over"
            found.note(text, len(self._points))
            return
        feature = observation.find("featureOfInterest")
        href = feature.attributes.get("href", "") if feature else ""
        title = feature.attributes.get("title", "") if feature else ""
        well, zone = found.wells.get(href, ("", ""))
        well = well or title or href.rpartition("/")[2].rpartition(":")[2]
        quantity = self._quantity(observation)
        if not quantity:
            title = observed.attributes.get("title", "") if (observed := observation.find("observedProperty")) else ""
            fix = "Export that property in another way; depths to water and elevations are read."
            message = f"The observed property {title!r} is neither a depth to water nor an elevation."
            self._reject(observation.line, title, "not-a-choice", message, fix)
            return
        part = ""
        code = observation.words("identifier").rpartition(":")[2]
        if parameters and code.isdigit() and int(code) > 1:
            part = code
        for point in self._points:
            self._add(
                point, quantity, _Place(parameters.get("site", ""), well, parameters.get("access", ""), zone), part
            )

    def _quantity(self, observation: _Node) -> str:
        found = observation.find("observedProperty")
        if found is None:
            return ""
        href = found.attributes.get("href", "")
        words = f"{href} {found.attributes.get('title', '')} {self.found.properties.get(href, '')}".lower()
        # Depths first: "depth to water level" has the words of both.
        if any(word in words for word in _DEPTH_WORDS):
            return "depth_to_water"
        return "water_elevation" if any(word in words for word in _ELEVATION_WORDS) else ""

    def _add(self, point: _Point, quantity: str, place: _Place, part: str) -> None:
        if point.status == "pumping test":
            self.found.note("readings of pumping tests, which are a table of their own, were passed over")
            return
        key = (place.site, place.well, place.access, _instant(point.time), part)
        column = f"{quantity} [m]"
        value = self._metres(point.value, point)
        known = self.found.rows.get(key)
        # One reading may stand in a series of depths and in one of elevations: a row holds one of the two, from which
        # the other follows.
        if known is not None:
            if value and not known["depth_to_water [m]"] and not known["water_elevation [m]"]:
                known[column] = value
            return
        self.found.lines[key] = point.line
        self.found.rows[key] = {
            "site": place.site,
            "well": place.well,
            "access": place.access,
            "measured_at": point.time if point.time_known else "",
            "date": "" if point.time_known else _day(point.time, place.zone),
            "event": part,
            "status": _status(point, quantity, value),
            "depth_to_water [m]": value if quantity == "depth_to_water" else "",
            "water_elevation [m]": value if quantity == "water_elevation" else "",
            "sounded_depth [m]": point.sounded,
            "quality": point.quality,
            "notes": point.comment,
        }

    def _metres(self, text: str, point: _Point) -> str:
        """Return a length in metres; the text itself where it is in metres."""
        if not text:
            return ""
        fix = f"Write one of the codes of UCUM that are read: {', '.join(_METRES)}."
        factor = _METRES.get(point.unit)
        if factor is None:
            message = f"The unit of {text!r} is {point.unit!r}." if point.unit else f"{text!r} has no unit."
            self._reject(point.line, point.unit, "unit-unknown", message, fix)
            return ""
        try:
            value = Decimal(text)
        except InvalidOperation:
            value = Decimal("nan")
        if not value.is_finite():
            message = f"{text!r} is not a number."
            self._reject(point.line, text, "not-a-number", message, "Write a number, or a value that is nil.")
            return ""
        return text if factor == 1 else f"{value * factor:.6f}".rstrip("0").rstrip(".")

    def _reject(self, line: int, value: str, problem: str, message: str, fix: str) -> None:
        self.found.rejections.append(Rejection("", self.name, line, None, value, problem, message, fix))


def _instant(time: str) -> str:
    """Return an instant as one text however it was written; the text itself where it is none with a zone."""
    try:
        moment = dt.datetime.fromisoformat(time)
    except ValueError:
        return time
    return time if moment.tzinfo is None else moment.astimezone(dt.UTC).isoformat()


def _day(time: str, zone: str) -> str:
    """Return the local date of an instant; the text itself where it is none or the zone is not known."""
    try:
        return dt.datetime.fromisoformat(time).astimezone(zone_of(zone)).date().isoformat()
    except (ValueError, ClockError):
        return time


def _point(node: _Node, default: _Node | None) -> _Point:
    """Return a point with what it inherits."""
    pair = node.find("MeasurementTVP")
    pair = node if pair is None else pair
    own = pair.find("metadata", "TVPMeasurementMetadata")
    value = pair.find("value")
    nil = value is None or value.attributes.get("nil") in ("true", "1")
    categories = dict(_qualifiers(own))
    unit = value.attributes.get("code", "") if value else ""
    for holder in (own, default):
        if holder is not None and not unit:
            code = holder.find("uom")
            unit = code.attributes.get("code", "") if code else ""
    quality = next((href for holder in (own, default) if holder and (href := holder.href("quality"))), "")
    return _Point(
        line=pair.line,
        time=pair.words("time"),
        value=categories.get("as_read", "") if nil or value is None else value.text.strip(),
        unit=unit,
        quality=quality.rpartition("/")[2],
        status=categories.get("status", ""),
        comment=own.words("comment") if own else "",
        time_known="time_of_day" not in categories,
        sounded=categories.get("sounded_depth", ""),
        censored=own.href("censoredReason").rpartition("/")[2] if own else "",
    )


def _qualifiers(own: _Node | None) -> Iterator[tuple[str, str]]:
    """Yield names and values of the qualifiers of our own."""
    for qualifier in own.children if own else ():
        for held in qualifier.children if qualifier.name == "qualifier" else ():
            space, _, name = held.attributes.get("definition", "").rpartition(":")
            if space == "urn:x-gwnet:def":
                yield name, held.words("value")


def _status(point: _Point, quantity: str, value: str) -> str:
    """Return the status that a point states, or what a value that is nil stands for."""
    if value or point.status not in ("", "static"):
        return point.status or "static"
    beyond = {"AboveDetectionRange": "depth_to_water", "BelowDetectionRange": "water_elevation"}
    if point.censored in beyond:
        return "dry" if beyond[point.censored] == quantity else "flowing"
    return "not measured"  # a reading without one value, such as repeats that differ, among them
