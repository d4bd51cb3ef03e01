"""Proposes level events, and measuring points whose elevation is repeated on every reading."""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter
from itertools import product
from typing import Any, Final

import numpy as np

from gwnet.ingest.headings import read_meaning
from gwnet.ingest.loggers.guess_notes import Notes
from gwnet.ingest.loggers.guess_times import StampSurvey
from gwnet.ingest.loggers.stamps import StampError, compile_formats, read_stamp
from gwnet.ingest.mapping.draft import DraftTable
from gwnet.ingest.mapping.look import Looked, LookedColumn
from gwnet.ingest.mapping.propose_points import propose_points
from gwnet.ingest.mapping.propose_states import propose_states
from gwnet.ingest.mapping.relations import Relation, find_relation
from gwnet.ingest.mapping.source_table import MISSING
from gwnet.ingest.mapping.survey import Survey, column_rule, labels_above, length_rule, numbers

#: Quantities that say a level for certain.
LEVELS: Final[tuple[str, ...]] = (
    "tape at mark",
    "depth to water",
    "depth below ground",
    "water elevation",
)
#: Share of rows at one clock time from which on it stands for an unknown one.
_FILLER_SHARE: Final = 0.2


def propose_levels(one: Looked, survey: Survey, notes: Notes) -> list[DraftTable]:
    """Propose the level events of a table, and its measuring points where each reading has their elevation.

    Parameters as `gwnet.ingest.mapping`.

    Parameters
    ----------
    one : gwnet.ingest.mapping.look.Looked
        The table.
    survey : gwnet.ingest.mapping.survey.Survey
        What is known of the places.

    Returns
    -------
    list of gwnet.ingest.mapping.draft.DraftTable
        Tables; none where it has no levels.
    """
    levels = _levels(one, survey, notes)
    when = _when(one, survey, notes)
    # A number without a day is no level, as an elevation in a list of wells is none.
    if not levels or when is None:
        return []
    events = DraftTable("level_events", one.source.name)
    events.put("well", survey.well_keys[one.source.name])
    events.put("measured_at", *when)
    for column, keys, check in levels:
        events.put(column, keys, check)
    propose_states(one, events, notes)
    for column, quantity in (("method", "method"), ("observer", "observer")):
        found = one.one(quantity)
        if found is not None:
            events.put(column, column_rule(one, found))
            short = [word for word in found.words if len(word) <= 2]
            if column == "method" and short:
                notes.add(f"{found.heading!r} has the codes {', '.join(short)}; they are kept as they are")
    number = _number_of_event(one, events)
    if number is not None:
        events.put("event", column_rule(one, number))
    events.keys["no_level"] = "not measured"
    tables = [events]
    points = propose_points(one, survey, events, notes)
    return [points, events] if points is not None else tables


def _number_of_event(one: Looked, events: DraftTable) -> LookedColumn | None:
    """Return the column with the source's own number of each reading."""
    named = [c for c in one.columns if c.meaning.quantity == "event" or c.meaning.words.endswith(" id")]
    taken = str(events.columns["well"].keys)
    for column in named:
        cells = [row[column.place].strip() for row in one.table.rows]
        if column.heading not in taken and all(cells) and len(set(cells)) >= 0.85 * len(cells):
            return column
    return None


def _levels(one: Looked, survey: Survey, notes: Notes) -> list[tuple[str, dict[str, Any], str]]:
    """Return the columns of ours that say the level, with their rules and doubts, the best first."""
    numeric = [c for c in one.columns if c.kind == "number" and c.meaning.quantity != "other"]
    values = {column.place: numbers(one, column.place) for column in numeric}
    relations = _relations(one, values, survey, notes)
    found: list[tuple[str, dict[str, Any], str]] = []
    mark, water = one.one("tape at mark"), one.one("tape at water")
    if mark is not None and water is not None:
        notes.add(f"{mark.heading!r} less {water.heading!r} is the depth to water; both are kept as read")
        found += [("tape_at_mark", _length(one, mark), ""), ("tape_at_water", _length(one, water), "")]
    taken: set[int] = {column.place for column in (mark, water) if column is not None}
    for quantity, ours in _OURS.items():
        # "Elevation" alone may be of the ground or of the water; only that of the water changes from day to day.
        moving = [c for c in one.having("elevation") if ours == "water_elevation" and _moves(one, c, survey)]
        for column in [*one.having(quantity), *moving][:1]:
            if column.kind != "number" or column.place in taken:
                continue
            said, check = _confirmed(one, column, ours, relations, survey, notes)
            found.append((said, _length(one, column, sign=_sign(column, relations, values, said)), check))
            taken.add(column.place)
    if not found or (len(found) == 1 and found[0][0] == "water_elevation"):
        vague = [c for c in one.having("depth", "level") if c.kind == "number" and c.place not in taken]
        settled = [(column, *_settled(one, column, relations, values, survey, notes)) for column in vague[:2]]
        known = [one_of for one_of in settled if not one_of[2]] or settled[:1]  # two in doubt are one too many
        for place, (column, said, check) in enumerate(known):
            if said not in {name for name, _, _ in found}:
                sign = _sign(column, relations, values, said)
                found.insert(place, (said, _length(one, column, sign=sign), check))
    elif one.having("level") and "water_elevation" not in {name for name, _, _ in found}:
        column = one.having("level")[0]
        if any(relation.rest == column.place for relation in relations):
            found.append(("water_elevation", _length(one, column), ""))
    return list({name: (name, keys, check) for name, keys, check in found}.values())


def _moves(one: Looked, column: LookedColumn, survey: Survey) -> bool:
    """Return whether an elevation changes with time, as that of water does and that of a place does not."""
    if column.kind != "number" or one is survey.stations:
        return False
    keys = survey.well_keys[one.source.name]
    names = one.table.cells(keys["column"]) if isinstance(keys.get("column"), str | int) else [""] * len(one.table.rows)
    values: dict[str, set[float]] = {}
    for name, value in zip(names, numbers(one, column.place).tolist(), strict=True):
        values.setdefault(name, set()).add(value)
    # More values than wells and a fifth of the rows: a resurvey or two does not make an elevation move.
    return sum(map(len, values.values())) > 0.2 * len(names) + len(values)


def _length(one: Looked, column: LookedColumn, *, sign: int = 1) -> dict[str, Any]:
    keys = length_rule(one, column)
    words = [word for word in column.odd if not any(sign.isdigit() for sign in word)]
    if words:  # what has a digit may be a level, and is left to be rejected
        keys["missing"] = words
    return keys | ({"positive": "up"} if sign < 0 else {})


def _relations(one: Looked, values: dict[int, np.ndarray], survey: Survey, notes: Notes) -> list[Relation]:
    """Return which elevations less which depths are which elevations, by the numbers themselves."""
    elevations = [
        c.place for c in one.columns if c.meaning.quantity in {"ground elevation", "point elevation", "elevation"}
    ]
    parts = [
        c.place
        for c in one.columns
        if c.meaning.quantity in {"depth to water", "depth below ground", "level", "depth"} or not c.meaning.quantity
    ]
    rests = [
        c.place
        for c in one.columns
        if c.meaning.quantity in {"water elevation", "level", "elevation"} or not c.meaning.quantity
    ]
    headings = one.table.headings
    names = dict(enumerate(headings))
    ground = _ground_of_stations(one, survey)
    if ground is not None:
        place = len(headings)
        values = values | {place: ground}
        names[place] = "ground elevation of the stations"
        elevations.append(place)
    found = []
    for whole in elevations:
        for part in parts:
            for rest in rests:
                if len({whole, part, rest}) == 3 and {whole, part, rest} <= set(values):
                    relation = find_relation(values, whole, part, rest)
                    if relation is not None:
                        found.append(relation)
                        sign = "less" if relation.sign > 0 else "and"
                        notes.add(
                            f"{names[whole]!r} {sign} {names[part]!r} is {names[rest]!r} in {relation.held:,} of "
                            f"{relation.rows:,} rows"
                        )
    return found


def _ground_of_stations(one: Looked, survey: Survey) -> np.ndarray | None:
    """Return the elevation of the ground of each row's well, where another table has it."""
    stations = survey.stations
    if stations is None or stations is one:
        return None
    ground = stations.one("ground elevation", "elevation")
    keys, theirs = survey.well_keys.get(one.source.name), survey.well_keys.get(stations.source.name)
    if ground is None or not isinstance(keys, dict) or not isinstance(theirs, dict):
        return None
    if not isinstance(keys.get("column"), str | int) or not isinstance(theirs.get("column"), str | int):
        return None
    of_well = dict(zip(stations.table.cells(theirs["column"]), numbers(stations, ground.place), strict=True))
    return np.array([of_well.get(well, np.nan) for well in one.table.cells(keys["column"])], dtype=np.float64)


def _confirmed(
    one: Looked, column: LookedColumn, ours: str, relations: list[Relation], survey: Survey, notes: Notes
) -> tuple[str, str]:
    """Return what a depth is below, by its heading and the numbers; and what is in doubt."""
    if ours == "water_elevation":
        return ours, ""
    by_numbers = _reference(one, column, relations)
    if by_numbers:
        # The numbers go before the heading: headings are copied from other tables.
        if by_numbers != ours:
            notes.add(f"{column.heading!r} counts from the {_WORDS[by_numbers]} by its numbers")
        return by_numbers, ""
    if ours == "depth_to_water" and not _has_point(one, survey):
        if column.meaning.reference == "below measuring point":
            return ours, ""
        if survey.has_ground:
            doubt = "is it below ground? The files have the elevation of the ground and none of a measuring point"
            return "depth_below_ground", doubt
    return ours, ""


_WORDS: Final[dict[str, str]] = {"depth_to_water": "measuring point", "depth_below_ground": "ground"}


def _reference(one: Looked, column: LookedColumn, relations: list[Relation]) -> str:
    """Return which of our depths a column is by its relations to elevations; empty where they do not say."""
    said = set()
    for relation in relations:
        if relation.part == column.place:
            meaning = one.columns[relation.whole].meaning if relation.whole < len(one.columns) else None
            if meaning is None or meaning.quantity == "ground elevation":
                said.add("depth_below_ground")
            elif meaning.quantity == "point elevation":
                said.add("depth_to_water")
    # Where ground and measuring point fit both, they are equal there, and say nothing.
    return said.pop() if len(said) == 1 else ""


def _has_point(one: Looked, survey: Survey) -> bool:
    labelled = any(meaning.quantity == "point elevation" for _, _, meaning in labels_above(one))
    return survey.has_points or labelled or one.one("point elevation") is not None


def _settled(
    one: Looked,
    column: LookedColumn,
    relations: list[Relation],
    values: dict[int, np.ndarray],
    survey: Survey,
    notes: Notes,
) -> tuple[str, str]:
    """Return what a level or depth without a reference is, by the numbers; and what is in doubt."""
    by_numbers = _reference(one, column, relations)
    if by_numbers:
        return by_numbers, ""
    if any(relation.rest == column.place for relation in relations):
        return "water_elevation", ""
    title = _said_above(one)
    if title in _OURS:
        notes.add(f"{column.heading!r} is a {title}, as said above the table")
        return _OURS[title], ""
    if column.meaning.quantity == "depth":
        ours = "depth_to_water" if _has_point(one, survey) else "depth_below_ground"
        return ours, "below what: depth_to_water is below the measuring point, depth_below_ground below ground"
    if re.search(r"\bhead\b|hydraulic", column.heading.replace("_", " "), re.IGNORECASE):
        notes.add(f"{column.heading!r} is the elevation of the water: that is what a head is")
        return "water_elevation", ""
    doubt = "an elevation, or a depth below the measuring point (depth_to_water) or below ground (depth_below_ground)?"
    # Only to put something behind the mark CHECK: a person decides, as depth and elevation can look alike.
    low = float(np.nanmedian(values[column.place])) if np.isfinite(values[column.place]).any() else 0.0
    return ("depth_below_ground" if low < 0 else "water_elevation"), doubt


#: Column of ours of each quantity that says a level.
_OURS: Final[dict[str, str]] = {
    "depth to water": "depth_to_water",
    "depth below ground": "depth_below_ground",
    "water elevation": "water_elevation",
}


def _said_above(one: Looked) -> str:
    """Return the quantity that a line above the table names, empty for none."""
    for cells in one.table.above:
        line = " ".join(cell.strip() for cell in cells if cell.strip())
        for text in (line, line.partition(":")[2]):
            quantity = read_meaning(text).quantity if text else ""
            if quantity in _OURS:
                return quantity
    return ""


def _sign(column: LookedColumn, relations: list[Relation], values: dict[int, np.ndarray], ours: str) -> int:
    """Return -1 for a depth that counts upward."""
    if ours == "water_elevation":
        return 1
    signs = [relation.sign for relation in relations if relation.part == column.place]
    if signs:
        return signs[0]
    known = values[column.place][np.isfinite(values[column.place])]
    # Nearly all below zero: a few alone are water above the mark of flowing wells.
    return -1 if known.size and float(np.mean(known < 0)) > 0.95 else 1


def _when(one: Looked, survey: Survey, notes: Notes) -> tuple[Any, str] | None:
    """Return the rule that says when a row was measured, and what is in doubt."""
    stamps = [c for c in one.having("date time", "date", "time") if c.kind == "stamp"]
    # Whatever the column is called: what looks like times throughout is when.
    stamps += [c for c in one.columns if c.kind == "stamp" and not c.meaning.quantity]
    if not stamps and one.source.wide_heading == "date" and one.source.wide_first:
        stamps = [c for c in one.columns if c.heading == "date"]
    if not stamps:
        return (
            ({"value": ""}, "no column says when; give the day, as YYYY-MM-DD")
            if one.having("level", *LEVELS)
            else None
        )
    days = [c for c in stamps if c.meaning.quantity == "date"]
    clock = next((c for c in one.having("time", "date time") if c.kind == "clock"), None)
    best = days[0] if clock is not None and days else stamps[0]
    if clock is None:
        best = next((c for c in stamps if any(":" in cell for cell in _some(one, c))), stamps[0])
    keys, check = _stamp_keys(one, best, clock, survey, notes)
    known = one.one("time quality")
    day = next((c for c in days if c is not best), None)
    if known is not None and known.words and day is not None:
        sure = [
            word for word in known.words if not re.search(r"only|unknown|not known|estimat|no time|day", word.lower())
        ]
        if sure and len(sure) < len(known.words):
            rest = ", ".join(word for word in known.words if word not in sure)
            notes.add(
                f"the time of day counts where {known.heading!r} is {', '.join(sure)}; where it is {rest}, "
                "the day alone"
            )
            keys.pop("time_unknown", None)
            return [
                keys | {"only": {"column": known.heading, "is": sure}},
                _stamp_keys(one, day, None, survey, Notes())[0],
            ], check
    others = [c.heading for c in stamps if c is not best]
    if others:
        notes.add(
            f"the time is {best.heading!r}; {', '.join(map(repr, others))} "
            f"{'is' if len(others) == 1 else 'are'} not used"
        )
    return keys, check


def _first_year(texts: set[str], formats: list[str], now: dt.datetime | None) -> int:
    """Return from which year on two-digit years are, where some would not have come yet; 0 where they have."""
    # Without a clock nothing is in the future.
    if now is None:
        return 0
    written = compile_formats([form for form in formats if "%y" in form])
    for text, form in product(texts, written):
        try:
            # A day more, as local clocks may be ahead of UTC.
            if form.pattern.fullmatch(text) and read_stamp(text, [form])[0] > (now.timestamp() + 86_400) * 1_000:
                # So that the newest two-digit year that is possible is that of now.
                return now.year - 99
        except StampError:
            continue
    return 0


def _some(one: Looked, column: LookedColumn) -> list[str]:
    return [row[column.place].strip() for row in one.table.rows[:2_000] if row[column.place].strip() not in MISSING]


def _stamp_keys(
    one: Looked, column: LookedColumn, clock: LookedColumn | None, survey: Survey, notes: Notes
) -> tuple[dict[str, Any], str]:
    """Return the rule of a date and time, with its formats, and what is in doubt."""
    columns = [column] if clock is None else [column, clock]
    texts = [" ".join(part for c in columns if (part := row[c.place].strip()) not in MISSING) for row in one.table.rows]
    survey_of_all = StampSurvey()
    clocks: Counter[str] = Counter()
    for text in texts:
        if text:
            survey_of_all.add(text)
            found = re.search(r"(\d{1,2}:\d{2})(?::00(?:\.0+)?)?\s*(?:[AaPp]\.?[Mm]\.?)?(?:Z|[+-]\d\d:?\d\d)?$", text)
            clocks[found[1].zfill(5) if found else ""] += 1
    own = Notes()
    form = survey_of_all.infer_form(own)
    notes.reasons += [f"{one.table.file}: {reason}" for reason in own.reasons]
    headings = [c.heading for c in columns]
    keys: dict[str, Any] = {"column": headings if clock is not None else column_rule(one, column)["column"]}
    if form.formats != ["%Y-%m-%d"]:
        keys["formats"] = form.formats
    first_year = _first_year(set(texts), form.formats, survey.now_utc)
    if first_year:
        keys["first_year"] = first_year
        notes.add(f"two-digit years are those from {first_year} on, as some would not have come yet")
    timed = sum(count for text, count in clocks.items() if text)
    fillers = [
        text for text in ("00:00", "12:00") if timed and clocks[text] > _FILLER_SHARE * timed and clocks[text] > 2
    ]
    if fillers:
        keys["time_unknown"] = fillers
        share = sum(clocks[text] for text in fillers) / timed
        notes.add(f"{share:.0%} of the times are {' or '.join(fillers)}; they stand for an unknown time of day")
    if form.has_offset and fillers == ["00:00"] and clocks["00:00"] == timed:
        notes.add("the Z or offset says nothing, as no row has a time of day; the days are local ones")
    elif form.has_offset and "00:00" in fillers and all(text.endswith(("Z", "+00:00", "")) for text in texts):
        keys["zone"] = survey.zone or "UTC"
        own.add(
            doubt="local times in this zone, or UTC? Midnights stand for no time of day, which speaks against the Z"
        )
    elif form.has_offset:
        notes.add(
            'each time says its own offset; where it is wrong, give zone = "…" in measured_at, which goes before it'
        )
    return keys, "; ".join(own.doubts)
