"""Proposes the tables about places: site, aquifers, wells, construction, measuring points of stations."""

from __future__ import annotations

import re
from typing import Any, Final

from gwnet.ingest.loggers.guess_notes import Notes
from gwnet.ingest.loggers.guess_times import StampSurvey
from gwnet.ingest.loggers.stamps import compile_formats
from gwnet.ingest.mapping.draft import DraftTable
from gwnet.ingest.mapping.intervals import BOTTOM, TOP, read_intervals, share_of_intervals
from gwnet.ingest.mapping.look import Looked
from gwnet.ingest.mapping.source_table import MISSING
from gwnet.ingest.mapping.survey import Survey, column_rule, labels_above, length_rule

#: Quantities that are lengths.
_LENGTHS: Final = frozenset(
    {"ground elevation", "elevation", "point elevation", "height above ground", "total depth", "hole depth"}
)

#: Words of headings of columns that list screens, and the share of cells that must give intervals.
_SCREENS: Final = re.compile(r"\b(screen\w*|open|interval|perf\w*|slot\w*)\b")
_LEAST_INTERVALS: Final = 0.6

#: Most wells for which rows to be filled in are proposed.
_MOST_GIVEN: Final = 30


def propose_places(survey: Survey, notes: Notes) -> list[DraftTable]:
    """Propose the tables about places.

    Parameters as `gwnet.ingest.mapping`.

    Parameters
    ----------
    survey : gwnet.ingest.mapping.survey.Survey
        What files say about their places.

    Returns
    -------
    list of gwnet.ingest.mapping.draft.DraftTable
        Site, aquifers, wells, construction and measuring points.
    """
    tables = [_site(survey)]
    of_wells = survey.stations or next((one for one in survey.looked if _has_well_in_preamble(one)), None)
    if of_wells is None:
        # Readings name wells, too; a table of them without places is better than none.
        of_wells = next((one for one in survey.looked if _has_wells(one)), None)
    if of_wells is not None:
        tables += _wells(of_wells, survey, notes)
    # Each opening is a well of its own, and what the station says holds for all of them.
    if survey.ported is not None and survey.stations is not None:
        return [table for table in (_of_ports(table, survey) for table in tables) if table is not None]
    for one in survey.looked:
        tables += _construction(one, survey, notes)
    return tables


def _of_ports(table: DraftTable, survey: Survey) -> DraftTable | None:
    """Return a table of stations as one of their openings: what is said of a well is looked up for each of them."""
    ported, stations = survey.ported, survey.stations
    assert ported is not None
    assert stations is not None
    if table.source != stations.source.name or table.name == "aquifers":
        return table
    if table.name != "wells":
        return None
    wells = DraftTable("wells", ported.looked.source.name)
    wells.put("well", survey.well_keys[ported.looked.source.name])
    wells.put("cluster", {"column": ported.well})
    survey.looked_up.add(stations.source.name)
    for name, rule in table.columns.items():
        if name == "well" or not isinstance(rule.keys, dict) or not isinstance(rule.keys.get("column"), str | int):
            continue
        found = {"from": stations.source.name, "key": ported.station_well, "value": rule.keys["column"]}
        wells.put(name, {**rule.keys, "column": ported.well, "lookup": found})
    return wells


def _site(survey: Survey) -> DraftTable:
    table = DraftTable("sites", "")
    say = {
        "crs": (survey.crs.partition("|")[0], "projected coordinate system of the site, for example EPSG:25832"),
        "vertical_datum": (survey.datum, "vertical datum of all elevations, or local"),
        "length_unit": (survey.unit, "unit of lengths whose heading names none: m, ft or ftUS"),
        "time_zone": (survey.zone, "time zone of the site, for example Europe/Vienna or UTC-07:00"),
    }
    for column, (value, doubt) in say.items():
        table.put(column, {"value": value}, "" if value else doubt)
    open_crs = survey.crs.partition("|")[2]
    if open_crs:
        table.columns["crs"].check = open_crs
    return table


def _has_well_in_preamble(one: Looked) -> bool:
    quantities = {meaning.quantity for _, _, meaning in labels_above(one)}
    return bool(quantities & {"easting", "latitude"})


def _has_wells(one: Looked) -> bool:
    named = one.having("well", "station", "well name", "level", "depth", "water elevation", "depth to water")
    return bool(named or one.having("depth below ground") or one.source.wide_first)


def _origin(one: Looked, *quantities: str) -> tuple[dict[str, Any] | None, str]:
    """Return the rule that gives a quantity of a well: of a column, or of a cell above the table; and its heading."""
    column = one.one(*quantities)
    if column is not None:
        rule = length_rule if any(name in _LENGTHS for name in quantities) else column_rule
        return rule(one, column), column.heading
    for quantity in quantities:
        for label, value, meaning in labels_above(one):
            if meaning.quantity == quantity and value:
                keys = {"above": label} | ({"unit": meaning.unit} if meaning.unit else {})
                return keys, label
    return None, ""


_WELL_COLUMNS: Final[tuple[tuple[str, tuple[str, ...]], ...]] = (
    ("easting", ("easting",)),
    ("northing", ("northing",)),
    ("longitude", ("longitude",)),
    ("latitude", ("latitude",)),
    ("aquifer", ("aquifer",)),
    ("purpose", ("purpose",)),
    ("ground_elevation", ("ground elevation",)),
    ("total_depth", ("total depth", "hole depth")),
    ("drilled_on", ("drilled on",)),
    ("decommissioned_on", ("decommissioned on",)),
)


def _wells(one: Looked, survey: Survey, notes: Notes) -> list[DraftTable]:
    name = one.source.name
    wells = DraftTable("wells", name)
    wells.put("well", survey.well_keys[name])
    geographic = bool(one.having("longitude") and one.having("latitude"))
    noted: list[str] = []
    for column, quantities in _WELL_COLUMNS:
        if column in {"easting", "northing"} and geographic:
            continue
        keys, _ = _origin(one, *quantities)
        if keys is None:
            continue
        check = ""
        if column in {"drilled_on", "decommissioned_on"}:
            keys, check = _date_keys(one, keys, survey, notes)
            noted += [keys["column"]] if "missing" in keys else []
        # Coordinates have the unit of their system; kilometres alone are turned into its metres.
        elif column not in {"ground_elevation", "total_depth"} and keys.get("unit") != "km":
            keys.pop("unit", None)
        wells.put(column, keys, check)
    if "ground_elevation" not in wells.columns and one is survey.stations and one.one("elevation") is not None:
        # In a list of wells a bare elevation is that of the ground.
        wells.put("ground_elevation", _origin(one, "elevation")[0])
    _ground_of_readings(one, wells, survey, notes)
    _accuracy(one, wells)
    tables = [wells]
    _names(one, wells, noted)
    if "aquifer" in wells.columns:
        aquifers = DraftTable("aquifers", name)
        aquifers.put("aquifer", wells.columns["aquifer"].keys)
        tables.append(aquifers)
    survey.has_ground = "ground_elevation" in wells.columns
    placed = geographic or "easting" in wells.columns
    if not placed:
        _give_places(one, wells, survey, notes)
    survey.has_wells = bool(placed or wells.given)
    if not survey.has_wells:
        notes.add(
            doubt="the files do not say where the wells are; load them first (gwnet load wells.csv), or add their table"
        )
        tables = []
    return tables + _station_points(one, wells, survey, notes)


def _ground_of_readings(one: Looked, wells: DraftTable, survey: Survey, notes: Notes) -> None:
    """Let the ground's elevation of stations be the last one that the readings of another table say."""
    own = survey.well_keys[one.source.name]
    for other in survey.looked if "ground_elevation" not in wells.columns else ():
        ground, keys = other.one("ground elevation"), survey.well_keys[other.source.name]
        if other is one or ground is None or set(keys) != {"column"} or set(own) != {"column"}:
            continue
        found = {"from": other.source.name, "key": keys["column"], "value": ground.heading}
        wells.put("ground_elevation", {**length_rule(other, ground), "column": own["column"], "lookup": found})
        survey.looked_up.add(other.source.name)
        notes.add(f"the ground's elevation of a well is the last {ground.heading!r} of its readings")
        return


def _names(one: Looked, wells: DraftTable, noted: list[str]) -> None:
    """Keep the other name of a well in its notes, and the columns of which not every cell could be used."""
    named = one.one("well name")
    if named is not None and named.heading not in str(wells.columns["well"].keys):
        noted = [named.heading, *noted]
    if noted:
        wells.put("notes", {"column": noted, "label": True})


def _give_places(one: Looked, wells: DraftTable, survey: Survey, notes: Notes) -> None:
    """Propose rows to be filled in with what the files do not say of the wells."""
    keys = survey.well_keys[one.source.name]
    column = keys.get("column")
    codes = [one.table.title] if column is None else list(dict.fromkeys(cell.strip() for cell in _joined(one, keys)))
    codes = [code for code in codes if code]
    if "above" in keys:
        codes = [one.table.labelled(keys["above"])]
    if not codes or len(codes) > _MOST_GIVEN:
        return
    notes.add("no file says where the wells are; easting and northing are to be filled in for each")
    # Rows to fill in rather than a hint: a person has only to type numbers.
    wells.given = [{"well": code, "easting": "", "northing": ""} for code in codes]
    level = one.having("depth below ground")
    if level and not survey.has_ground:
        wells.given = [row | {"ground_elevation": ""} for row in wells.given]
    wells.given_check = "fill in what is empty, or delete this table where the wells are on record"


def _joined(one: Looked, keys: dict[str, Any]) -> list[str]:
    columns = keys["column"] if isinstance(keys["column"], list) else [keys["column"]]
    cells = [one.table.cells(column) for column in columns]
    texts = [keys.get("join", " ").join(part.strip() for part in row) for row in zip(*cells, strict=True)]
    if "pattern" in keys:
        texts = [(found[1] if (found := re.search(keys["pattern"], text)) else "") for text in texts]
    return texts


def _date_keys(one: Looked, keys: dict[str, Any], survey: Survey, notes: Notes) -> tuple[dict[str, Any], str]:
    """Return the rule of a day, with formats where it is not in ISO 8601, and what is in doubt.

    Where its own cells do not say which number is the day and which the month, the other dates of the files do. Cells
    that are no day, such as a year alone, are no value here.
    """
    if "column" not in keys:
        return keys, ""
    keys = {key: value for key, value in keys.items() if key != "unit"}
    cells = [cell.strip() for cell in one.table.cells(keys["column"]) if cell.strip() not in MISSING]
    formats, doubts = _formats(cells)
    if doubts:
        dates = [
            cell.strip()
            for other in survey.looked
            for column in other.columns
            if column.kind == "stamp"
            for cell in other.table.cells(column.place + 1)
        ]
        wider, open_doubts = _formats([*cells, *dates])
        if not open_doubts:
            notes.add(f"{keys['column']!r} is read in the order of day, month and year of the other dates")
            formats, doubts = wider, []
    written = compile_formats(formats or ["%Y-%m-%d"])
    odd = [cell for cell in dict.fromkeys(cells) if not any(form.pattern.fullmatch(cell) for form in written)]
    used = [form for form, one_of in zip(formats, written, strict=False) if any(map(one_of.pattern.fullmatch, cells))]
    # "ca. 1970" is no day, and still worth keeping.
    if odd:
        notes.add(f"{keys['column']!r} has cells that are no day, which are kept in the notes: {', '.join(odd[:5])}")
        keys["missing"] = odd
    return keys | ({} if used in ([], ["%Y-%m-%d"]) else {"formats": used}), "; ".join(doubts)


def _formats(cells: list[str]) -> tuple[list[str], list[str]]:
    """Return the formats of days, and what is in doubt."""
    stamps = StampSurvey()
    for cell in cells:
        if cell:
            stamps.add(cell)
    own = Notes()
    return stamps.infer_form(own).formats, own.doubts


def _accuracy(one: Looked, wells: DraftTable) -> None:
    for column in one.having("accuracy"):
        words = column.meaning.words
        if "ground_elevation" in wells.columns and re.search(r"elevation|ground|vertical", words):
            wells.put("ground_accuracy", column_rule(one, column))
        elif re.search(r"coord|horizontal|position|location", words) and column.meaning.unit in {"m", "ft", "cm"}:
            wells.put("coordinate_accuracy", column_rule(one, column))


def _station_points(one: Looked, wells: DraftTable, survey: Survey, notes: Notes) -> list[DraftTable]:
    """Propose measuring points of stations that have one elevation, or a height above ground."""
    elevation, _ = _origin(one, "point elevation")
    height, _ = _origin(one, "height above ground")
    stamps = {c.meaning.quantity for c in one.columns if c.kind == "stamp"}
    dated = bool(stamps & ({"date", "date time"} | ({""} if one is not survey.stations else set())))
    if dated and elevation is not None and "above" not in elevation:
        return []  # the elevation is repeated on every reading
    ground = wells.columns.get("ground_elevation")
    if elevation is None and (height is None or ground is None or not isinstance(ground.keys, dict)):
        return []
    points = DraftTable("measuring_points", one.source.name)
    points.put("well", survey.well_keys[one.source.name])
    # Before nearly any reading; a later date would leave the oldest ones without a point.
    points.put("valid_from", {"value": "1900-01-01"})
    notes.add("measuring points have no date of survey and are taken to hold since 1900-01-01")
    if elevation is None:
        assert height is not None
        assert ground is not None
        assert isinstance(ground.keys, dict)
        # Only where both have one unit does this add up; the rule carries that of the ground.
        elevation = ground.keys | {"plus": height.get("column", "")}
        notes.add("the elevation of the measuring point is that of the ground with the height above it")
    points.put("elevation", elevation)
    if height is not None:
        points.put("height_above_ground", height)
    elif ground is not None and isinstance(ground.keys, dict) and "column" in elevation and "column" in ground.keys:
        points.put("height_above_ground", elevation | {"minus": ground.keys["column"]})
    survey.has_points = True
    return [points]


def _construction(one: Looked, survey: Survey, notes: Notes) -> list[DraftTable]:
    """Propose screens: one pair of columns, or several numbered ones."""
    tops = one.having("screen top") or one.having("interval top")
    bottoms = one.having("screen bottom") or one.having("interval bottom")
    tables = []
    pairs: list[tuple[dict[str, Any], dict[str, Any], str]] = [
        (length_rule(one, top), length_rule(one, bottom), top.heading)
        # Not strict: a source may have more tops than bottoms, and the pairs that are whole still count.
        for top, bottom in zip(tops, bottoms, strict=False)
    ]
    if not pairs:
        top, label = _origin(one, "screen top")
        bottom, _ = _origin(one, "screen bottom")
        pairs = [(top, bottom, label)] if top is not None and bottom is not None else []
    for top_keys, bottom_keys, heading in pairs:
        table = DraftTable("construction", one.source.name)
        table.put("well", survey.well_keys[one.source.name])
        table.put("part", {"value": "screen"})
        table.put("top_depth", top_keys)
        table.put("bottom_depth", bottom_keys)
        diameter = one.one("diameter")
        if diameter is not None and diameter.kind == "number" and diameter.meaning.unit:
            table.put("diameter", column_rule(one, diameter))
        notes.add(f"{one.table.file}: screens from {heading!r} on, as depths below ground")
        tables.append(table)
    return tables or _listed_screens(one, survey, notes)


def _listed_screens(one: Looked, survey: Survey, notes: Notes) -> list[DraftTable]:
    """Propose screens of a column that lists the intervals of a well in one cell."""
    tables = []
    for column in one.columns:
        cells = one.table.cells(column.place + 1)
        is_screen = column.meaning.quantity == "screen interval" or _SCREENS.search(column.meaning.words)
        if not is_screen or share_of_intervals(cells, one.source.decimal) < _LEAST_INTERVALS:
            continue
        reference = column_rule(one, column)["column"]
        unit = column.meaning.unit or _unit_of_intervals(cells, one.source.decimal)
        unit = unit or length_rule(one, column).get("unit", "")
        keys = {} if unit in {"", "cell"} else {"unit": unit}
        table = DraftTable("construction", one.source.name, keys={"intervals": reference})
        table.put("well", survey.well_keys[one.source.name])
        table.put("part", {"value": "screen"})
        table.put("top_depth", {"column": TOP} | keys)
        table.put("bottom_depth", {"column": BOTTOM} | keys)
        notes.add(f"{one.table.file}: each interval in {column.heading!r} is a screen, as depths below ground")
        tables.append(table)
    return tables


def _unit_of_intervals(cells: list[str], decimal: str) -> str:
    """Return the unit that is written behind intervals, where they agree; ``cell`` where they do not."""
    ends = {top.partition(" ")[2] for cell in cells for top, _ in read_intervals(cell, decimal) or ()}
    known = ends - {""}
    return known.pop() if len(known) == 1 else "cell" if known else ""
