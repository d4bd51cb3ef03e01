"""What files say about their places: which table has the wells, how rows name them, datum, coordinate system, unit."""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from gwnet.ingest.headings import Meaning, read_meaning
from gwnet.ingest.loggers.guess_notes import Notes
from gwnet.ingest.mapping.cells import plain_number
from gwnet.ingest.mapping.look import Looked, LookedColumn
from gwnet.ingest.mapping.source_table import MISSING

if TYPE_CHECKING:
    from gwnet.ingest.mapping.propose import Known

#: EPSG codes of UTM zones north of the equator by geodetic datum: the zone is added.
_UTM_NORTH: Final[tuple[tuple[str, int, range], ...]] = (
    (r"nad.?83", 26900, range(1, 24)),
    (r"etrs", 25800, range(28, 39)),
    (r"nad.?27", 26700, range(1, 23)),
    (r"", 32600, range(1, 61)),
)

#: Words of headings that name a place where nothing else does.
_PLACES: Final = frozenset({"point", "location", "borehole", "plot", "observation"})

#: Share of the names in a table that must be those of stations.
_LEAST_SHARED: Final = 0.8


@dataclass(frozen=True)
class Ported:
    """Readings of wells that are open at several depths, each opening a well of its own.

    Attributes
    ----------
    looked : gwnet.ingest.mapping.look.Looked
        The readings.
    well : str
        Their heading of the well.
    station_well : str
        That of the stations.
    """

    looked: Looked
    well: str
    station_well: str


@dataclass
class Survey:
    """What files say about their places.

    Attributes
    ----------
    looked : list of gwnet.ingest.mapping.look.Looked
        Tables.
    site : str
        Code of the site.
    zone, crs, datum, unit : str
        Time zone, coordinate system, vertical datum and unit of lengths; empty where they are not known.
    now_utc : datetime.datetime or None
        Aware time after which nothing was measured; None where that is not said.
    stations : gwnet.ingest.mapping.look.Looked or None
        The table with one row a well.
    well_keys : dict of str to object
        Rule of the well for each source.
    looked_up : set of str
        Sources that rules look values up in.
    ported : Ported or None
        Readings of wells that are open at several depths.
    has_ground, has_points : bool
        Whether the elevation of the ground, and of measuring points, come with the stations.
    """

    looked: list[Looked]
    site: str
    zone: str
    crs: str
    datum: str
    unit: str
    now_utc: dt.datetime | None = None
    stations: Looked | None = None
    well_keys: dict[str, Any] = field(default_factory=dict)
    looked_up: set[str] = field(default_factory=set)
    ported: Ported | None = None
    has_ground: bool = False
    has_points: bool = False
    has_wells: bool = False


def numbers(one: Looked, place: int) -> np.ndarray:
    """Return the numbers of a column, NaN where a cell is none.

    Parameters
    ----------
    one : gwnet.ingest.mapping.look.Looked
        Its table.
    place : int
        Its place.

    Returns
    -------
    numpy.ndarray
        One number a row.
    """
    values = np.full(len(one.table.rows), np.nan)
    for row, cells in enumerate(one.table.rows):
        if cells[place].strip() in one.source.missing:
            continue
        try:
            values[row] = float(plain_number(cells[place], one.source.decimal, one.source.thousands))
        except ValueError:
            continue
    return values


def column_rule(one: Looked, column: LookedColumn) -> dict[str, Any]:
    """Return the rule that reads a column, with the unit that its heading names.

    Parameters
    ----------
    one : gwnet.ingest.mapping.look.Looked
        Its table.
    column : gwnet.ingest.mapping.look.LookedColumn
        The column.

    Returns
    -------
    dict
        Keys of the rule.
    """
    same = [other for other in one.table.headings if other.casefold() == column.heading.casefold()]
    # Of two columns with one heading only the number says which.
    reference: Any = column.heading if len(same) == 1 and column.heading else column.place + 1
    keys: dict[str, Any] = {"column": reference}
    if column.meaning.unit and column.kind != "stamp":
        keys["unit"] = column.meaning.unit
    elif column.kind == "text" and any(re.search(r"\d\s*(ft|m|in|cm)\b", word) for word in column.words):
        keys["unit"] = "cell"
    return keys


def length_rule(one: Looked, column: LookedColumn) -> dict[str, Any]:
    """Return the rule that reads a column of lengths; one without a unit has that of all others of its table.

    Parameters
    ----------
    one : gwnet.ingest.mapping.look.Looked
        Its table.
    column : gwnet.ingest.mapping.look.LookedColumn
        The column.

    Returns
    -------
    dict
        Keys of the rule.
    """
    keys = column_rule(one, column)
    units = {other.meaning.unit for other in one.columns if other.meaning.unit in {"m", "ft", "ftUS"}}
    return keys | ({"unit": units.pop()} if "unit" not in keys and len(units) == 1 else {})


def labels_above(one: Looked) -> list[tuple[str, str, Meaning]]:
    """Return the labels above a table with their values and meanings.

    Parameters
    ----------
    one : gwnet.ingest.mapping.look.Looked
        The table.

    Returns
    -------
    list of tuple
        Label, value and meaning.
    """
    found = []
    for cells in one.table.above:
        filled = [cell.strip() for cell in cells if cell.strip()]
        if len(filled) == 1 and ":" in filled[0]:
            filled = [part.strip() for part in filled[0].lstrip("#").split(":", 1)]
        if len(filled) == 2 and len(filled[0]) < 80:
            label = filled[0].lstrip("# ").rstrip(": ")
            found.append((filled[0].rstrip(": "), filled[1], read_meaning(label)))
    return found


def survey_places(looked: list[Looked], known: Known, notes: Notes) -> Survey:
    """Return what files say about their places.

    Parameters as `gwnet.ingest.mapping`.

    Parameters
    ----------
    looked : list of gwnet.ingest.mapping.look.Looked
        Tables.
    known : gwnet.ingest.mapping.propose.Known
        What is said beforehand.

    Returns
    -------
    Survey
        Stations, keys of wells, and settings of the site.
    """
    stem = re.sub(r"\W+", "-", looked[0].file.name.rsplit("/", 1)[-1].rsplit(".", 1)[0]).strip("-")
    survey = Survey(
        looked, known.site or stem.upper()[:40], known.zone, known.crs, known.datum, known.unit, known.now_utc
    )
    if not known.site:
        notes.add(f"the site is called {survey.site}, after the file; another can be given with --site")
    survey.stations = _stations(looked)
    _well_keys(looked, survey, notes)
    meanings = [column.meaning for one in looked for column in one.columns if column.filled]
    meanings += [meaning for one in looked for _, _, meaning in labels_above(one)]
    units = Counter(m.unit for m in meanings if m.unit in {"m", "ft", "ftUS"})
    survey.unit = survey.unit or (units.most_common(1)[0][0] if units else _unit_above(looked, notes))
    survey.datum = survey.datum or _datum(looked, meanings, notes)
    survey.crs = survey.crs or _crs(looked, notes)
    return survey


def _unit_above(looked: list[Looked], notes: Notes) -> str:
    """Return the unit of lengths that a line above a table names in words."""
    for one in looked:
        text = " ".join(cell for cells in one.table.above for cell in cells).lower()
        for pattern, unit in ((r"\b(feet|foot|ft)\b", "ft"), (r"\b(met(re|er)s?|metros?)\b|[\[(]m[\])]", "m")):
            if re.search(pattern, text):
                notes.add(f"lengths are in {unit}, as said above the table of {one.table.file}")
                return unit
    return ""


def _stations(looked: list[Looked]) -> Looked | None:
    """Return the table with one row a well: the one with coordinates, or else with elevations or depths."""
    for wanted in (("latitude", "easting"), ("total depth", "ground elevation", "height above ground")):
        for one in looked:
            key = one.one("well", "station", "well name")
            dated = any(c.kind == "stamp" and c.meaning.quantity in {"date", "date time"} for c in one.columns)
            if key is not None and one.having(*wanted) and key.distinct >= 0.9 * key.filled and not dated:
                return one
    for one in looked:  # a table of readings that says where each well is
        if one.having("latitude", "easting") and one.one("well", "station", "well name") is not None:
            return one
    return None


def _well_keys(looked: list[Looked], survey: Survey, notes: Notes) -> None:
    """Find the rule by which each table names the well of a row; readings decide which column of the stations it is."""
    stations = survey.stations
    dated = [one for one in looked if one is not stations and any(column.kind == "stamp" for column in one.columns)]
    others = [one for one in looked if one is not stations and one not in dated]
    shared = ""
    for one in [*dated, *others]:
        pair = _shared_column(one, stations) if stations is not None else None
        if pair is None or stations is None:
            survey.well_keys[one.source.name] = _own_key(one, notes)
            continue
        mine, theirs = pair
        shared = shared or theirs.heading
        keys = _without_unit(column_rule(one, mine))
        port = _port(one, mine)
        if port is not None:
            survey.ported = survey.ported or Ported(one, mine.heading, theirs.heading)
            keys = {"column": [keys["column"], port.heading], "join": "-"}
            notes.add(f"{one.table.file}: each {port.heading!r} of {mine.heading!r} is a well, open at its own depth")
        said = f"{one.table.file}: {mine.heading!r} says the well, by {theirs.heading!r} of {stations.table.file}"
        if theirs.heading != shared and port is None:
            keys["lookup"] = {"from": stations.source.name, "key": theirs.heading, "value": shared}
            survey.looked_up.add(stations.source.name)
        notes.add(said)
        survey.well_keys[one.source.name] = keys
    if stations is not None:
        key = _own_key(stations, Notes()) if not shared else {"column": shared}
        survey.well_keys[stations.source.name] = key
        notes.add(f"{stations.table.file}: {key.get('column', 'the file')!r} is the code of the well")


def _port(one: Looked, well: LookedColumn) -> LookedColumn | None:
    """Return the column that parts a well into openings at several depths, None where there is none."""
    port = one.one("port")
    if port is None or port.place == well.place or port.filled < well.filled:
        return None
    pairs = {(row[well.place], row[port.place]) for row in one.table.rows}
    # A column with one value a well parts nothing.
    return port if len(pairs) > 1.5 * len({name for name, _ in pairs}) else None


def _without_unit(keys: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in keys.items() if key != "unit"}


def _shared_column(one: Looked, stations: Looked) -> tuple[LookedColumn, LookedColumn] | None:
    """Return the column of a table that names stations, and the column of the stations that it names."""
    candidates = one.having("well", "station", "well name", "port") or [c for c in one.columns if c.kind == "text"]
    best: tuple[float, LookedColumn, LookedColumn] | None = None
    for mine in candidates:
        words = set(_cells(one, mine))
        for theirs in stations.columns:
            if not theirs.filled or theirs.distinct < 0.9 * theirs.filled or theirs.kind == "stamp" or not words:
                continue
            share = len(words & set(_cells(stations, theirs))) / len(words)
            same = mine.heading.casefold() == theirs.heading.casefold()
            # Of columns that share the names equally, the one that is called the same.
            if share >= _LEAST_SHARED and (best is None or share + same > best[0]):
                best = (share + same, mine, theirs)
    return None if best is None else (best[1], best[2])


def _own_key(one: Looked, notes: Notes) -> dict[str, Any]:
    """Return the rule that says which well a row is of, by the table alone."""
    candidates = one.having("well", "station", "well name")
    if not candidates:
        candidates = [c for c in one.columns if c.meaning.words in _PLACES and c.filled][:1]
    if candidates:
        return _key_of_columns(one, candidates, notes)
    if one.source.wide_first and one.source.wide_heading == "well":
        wells = one.table.cells("well")
        bracketed = bool(wells) and all(re.search(r"[\[(][^)\]]*[\])]$", well) for well in wells)
        return {"column": "well"} | ({"pattern": r"^(.*?)\s*[\[(]"} if bracketed else {})
    for label, value, meaning in labels_above(one):
        if meaning.quantity in {"well", "station", "well name"} and value:
            notes.add(f"{one.table.file}: the well is {value!r}, under {label!r} above the table")
            return {"above": label}
    notes.add(f"{one.table.file}: no column says the well; it is called after the file or sheet")
    # At last: a file a well is common, and its name is then the code.
    return {"file": "(.+)"}


def _key_of_columns(one: Looked, candidates: list[LookedColumn], notes: Notes) -> dict[str, Any]:
    whole = [column for column in candidates if column.filled >= 0.99 * max(other.filled for other in candidates)]
    best = whole[0]
    keys = _without_unit(column_rule(one, best))
    port = one.one("port")
    if port is not None and port.filled == best.filled and port.distinct > 1 and best.meaning.quantity == "well":
        notes.add(f"{one.table.file}: a well is {best.heading!r} with {port.heading!r}, each open at its own depth")
        return {"column": [keys["column"], port.heading], "join": "-"}
    notes.add(f"{one.table.file}: {best.heading!r} says the well")
    return keys


def _cells(one: Looked, column: LookedColumn) -> list[str]:
    return [row[column.place].strip() for row in one.table.rows if row[column.place].strip() not in MISSING]


def _datum(looked: list[Looked], meanings: list[Meaning], notes: Notes) -> str:
    for one in looked:
        column = one.one("vertical datum")
        if column is not None and column.words:
            word = max(column.words, key=lambda w: column.words[w])
            found = read_meaning(f"elevation {word}").datum or word
            notes.add(f"the vertical datum is {found}, in {column.heading!r}")
            if len(column.words) > 1:
                notes.add(
                    doubt=f"{column.heading!r} has several datums: {', '.join(column.words)}; elevations differ by them"
                )
            return found
    datums = Counter(meaning.datum for meaning in meanings if meaning.datum)
    if datums:
        found = datums.most_common(1)[0][0]
        notes.add(f"the vertical datum is {found}, as headings say")
        return found
    return ""


def _crs(looked: list[Looked], notes: Notes) -> str:
    """Return the coordinate system: one that is named, or the UTM zone of longitudes."""
    said = [value for one in looked for _, value, meaning in labels_above(one) if meaning.quantity == "crs"]
    for one in looked:
        column = one.one("crs")
        said += list(column.words) if column is not None else []
    for text in said:
        code = re.search(r"(?:EPSG\D{0,3})?\b(\d{4,5})\b", text, re.IGNORECASE)
        if code and not _is_geographic(int(code[1])):
            notes.add(f"the coordinate system is EPSG:{code[1]}, as said by {text!r}")
            return f"EPSG:{code[1]}"
    zones = [found for text in said if (found := re.search(r"utm\D*(\d{1,2})\s*([ns]?)\b", text, re.IGNORECASE))]
    # South of the equator the numbers are others.
    if zones and zones[0][2].lower() != "s":
        zone = int(zones[0][1])
        return f"EPSG:{25800 + zone}|{zones[0][0]!r} is EPSG:{25800 + zone} on ETRS89 or EPSG:{32600 + zone} on WGS 84"
    for one in looked:
        longitude, latitude = one.one("longitude"), one.one("latitude")
        if longitude is None or latitude is None:
            continue
        east, north = (float(np.nanmedian(numbers(one, c.place))) for c in (longitude, latitude))
        # There is no UTM farther north.
        if not (abs(east) <= 180 and abs(north) <= 84):
            continue
        zone = int((east + 180) // 6) % 60 + 1
        horizontal = one.one("horizontal datum")
        words = (
            max(horizontal.words, key=lambda w: horizontal.words[w]).lower() if horizontal and horizontal.words else ""
        )
        # Datums whose zones do not reach the place are passed over; WGS 84 has all of them and is the last.
        base = next(
            code
            for pattern, code, zones in _UTM_NORTH
            if re.search(pattern, words) and zone in zones and (words or not pattern)
        )
        code_of = base + zone if north >= 0 else 32700 + zone
        datum = f" on {words.upper()}" if words else ""
        notes.add(f"the coordinate system is EPSG:{code_of}: UTM zone {zone}, where the longitudes lie{datum}")
        return f"EPSG:{code_of}"
    return ""


def _is_geographic(code: int) -> bool:
    # EPSG numbers systems of latitude and longitude there.
    return 4000 < code < 5000
