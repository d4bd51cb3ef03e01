"""Proposes a mapping by looking at files: which tables of ours they hold, with the reasons and what is in doubt."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from gwnet.errors import LayoutError
from gwnet.ingest.loggers.guess_notes import Notes
from gwnet.ingest.loggers.guess_times import looks_like_stamp
from gwnet.ingest.mapping.draft import CHECK, DraftTable, write_mapping
from gwnet.ingest.mapping.grids import SourceFile
from gwnet.ingest.mapping.look import Looked, look_at, look_at_columns
from gwnet.ingest.mapping.mapping import Mapping, Source, parse_mapping
from gwnet.ingest.mapping.propose_levels import LEVELS, propose_levels
from gwnet.ingest.mapping.propose_places import propose_places
from gwnet.ingest.mapping.source_table import is_of, open_table
from gwnet.ingest.mapping.survey import survey_places

#: Fewest columns of numbers without a known heading that make a table wide.
_LEAST_WIDE: Final = 2


@dataclass(frozen=True)
class Proposal:
    """A mapping that was inferred from files.

    Attributes
    ----------
    text : str
        The mapping as TOML, with reasons and doubts as comments.
    mapping : gwnet.ingest.mapping.mapping.Mapping
        The same, read.
    reasons : tuple of str
        What was inferred, and from what.
    doubts : tuple of str
        What a person should check: the lines marked CHECK.
    """

    text: str
    mapping: Mapping
    reasons: tuple[str, ...]
    doubts: tuple[str, ...]


@dataclass(frozen=True)
class Known:
    """What the person who asks says beforehand; empty where nothing is said.

    Attributes
    ----------
    site, zone, crs, datum, unit : str
        Code of the site, its time zone, coordinate system, vertical datum and unit of lengths.
    now_utc : datetime.datetime or None
        Aware time after which nothing was measured; None where that is not said.
    """

    site: str = ""
    zone: str = ""
    crs: str = ""
    datum: str = ""
    unit: str = ""
    now_utc: dt.datetime | None = None


def propose_mapping(files: Sequence[SourceFile], known: Known) -> Proposal:
    """Propose a mapping for files.

    Parameters
    ----------
    files : sequence of gwnet.ingest.mapping.grids.SourceFile
        Files that belong together: readings, wells, screens.
    known : Known
        What is said beforehand.

    Returns
    -------
    Proposal
        Mapping, reasons and doubts.

    Raises
    ------
    gwnet.errors.LayoutError
        If no table of wells or levels is found in them.
    """
    notes = Notes()
    # A file a well, or a sheet a year: tables with the same headings are one source.
    looked = _grouped(_look_at_all(files, notes), notes)
    if not looked:
        where = ", ".join(file.name for file in files)
        message = "No table was found: no row of headings with rows of cells below it."
        raise LayoutError(message, where=where, fix="Check that these are tables; a logger's file: gwnet logger try.")
    # Places before levels: whether a depth is below ground or below a point depends on what is known of the wells.
    survey = survey_places(looked, known, notes)
    tables: list[DraftTable] = [*propose_places(survey, notes)]
    for one in looked:
        tables += propose_levels(one, survey, notes)
    used = {table.source for table in tables} | survey.looked_up
    if not any(table.source for table in tables):
        where = ", ".join(file.name for file in files)
        message = "Neither wells nor levels were recognised by the headings."
        known_headings = ", ".join(heading for one in looked for heading in one.table.headings)
        raise LayoutError(
            message,
            where=where,
            fix=f"Write a mapping by hand (gwnet help import); a logger's file: gwnet logger try. "
            f"Headings: {known_headings}.",
        )
    sources = [one.source for one in looked if one.source.name in used]
    for one in looked:
        if one.source.name not in used:
            notes.add(f"{one.table.file}: no table of ours was recognised in it; it is not used")
    tables.sort(key=lambda table: _PLACE.get(table.name, 9))
    name = survey.site.lower()
    text = write_mapping(
        name, survey.site, sources, tables, list(dict.fromkeys(notes.reasons)), list(dict.fromkeys(notes.doubts))
    )
    # Read back from its own text: what is tried is exactly what is saved.
    return Proposal(text, parse_mapping(text, name), tuple(dict.fromkeys(notes.reasons)), tuple(open_checks(text)))


_PLACE: Final[dict[str, int]] = {
    name: place
    for place, name in enumerate(("sites", "aquifers", "wells", "construction", "measuring_points", "level_events"))
}


def open_checks(text: str) -> list[str]:
    """Return the lines of a mapping that a person has yet to check.

    Parameters
    ----------
    text : str
        The mapping as TOML.

    Returns
    -------
    list of str
        Number, line and doubt of each.
    """
    lines = enumerate(text.splitlines(), 1)
    return [
        f"line {number}, {line.split(CHECK)[0].strip()}{line.split(CHECK)[1]}"
        for number, line in lines
        if CHECK in line
    ]


def _look_at_all(files: Sequence[SourceFile], notes: Notes) -> list[Looked]:
    looked: list[Looked] = []
    names: set[str] = set()
    for file in files:
        for grid in file.grids:
            base = re.sub(r"\W+", "_", grid.title).strip("_").lower() or "table"
            name = next(one for one in (base, *(f"{base}_{n}" for n in range(2, 9_999))) if one not in names)
            found = look_at(file, grid, name, notes)
            if found is None:
                notes.add(f"{grid.file}: no table was found in it")
                continue
            names.add(name)
            found.source = replace(found.source, file=file.name, sheet=grid.sheet or "*")
            looked.append(_long(found, notes))
    return looked


def _long(found: Looked, notes: Notes) -> Looked:
    """Return a table with one column a well, or one a day, as one that is made long."""
    columns = found.columns
    stamped = [column.place for column in columns if looks_like_stamp(column.heading)]
    unknown = [
        c.place for c in columns if c.kind == "number" and not c.meaning.quantity and not looks_like_stamp(c.heading)
    ]
    dated = any(column.kind == "stamp" for column in columns)
    has_level = bool(found.having(*LEVELS, "level", "depth"))
    if len(stamped) >= _LEAST_WIDE and stamped == list(range(stamped[0], len(columns))):
        first, heading = stamped[0], "date"
        notes.add(f"{found.table.file}: the columns from {columns[first].heading!r} on are days, one row a well")
    elif dated and not has_level and len(unknown) >= _LEAST_WIDE and not found.having("well", "station", "well name"):
        first, heading = unknown[0], "well"
        # A text among them means that these are no wells, but columns that are not known.
        if any(c.kind not in {"number", ""} for c in columns[first:]):
            return found
        notes.add(f"{found.table.file}: the columns from {columns[first].heading!r} on are wells, one row a time")
    else:
        return found
    source = replace(found.source, wide_first=first + 1, wide_heading=heading, wide_value="level")
    table = open_table(replace(source, delimiter=""), found.file, found.grid)
    return replace(found, source=source, table=table, columns=look_at_columns(table, source))


def _grouped(looked: list[Looked], notes: Notes) -> list[Looked]:
    """Return one of each group of tables with the same headings, its source made to take all of them."""
    groups: dict[tuple[str, ...], list[Looked]] = {}
    for one in looked:
        # The marks as well: 1,5 and 1.5 cannot be read by one source.
        key = (
            *one.table.headings,
            *(str(getattr(one.source, name)) for name in ("heading_row", "decimal", "delimiter")),
        )
        groups.setdefault(key, []).append(one)
    made = []
    for group in groups.values():
        first = group[0]
        if len(group) > 1:
            others = [one for one in looked if one not in group]
            source = replace(
                first.source,
                file=_pattern([one.file.name for one in group]),
                sheet=_pattern([one.grid.sheet for one in group]),
            )
            # A pattern that takes in a table with other headings would misread that one.
            if not any(_fits(source, one) for one in others):
                first.source = source
                first.table = replace(
                    first.table,
                    rows=[row for one in group for row in one.table.rows],
                    numbers=[number for one in group for number in one.table.numbers],
                )
                first.columns = look_at_columns(first.table, source)
                notes.add(f"{len(group)} tables have the same headings and are read alike: {source.file}")
                made.append(first)
                continue
            made += group
            continue
        made.append(first)
    return made


def _pattern(names: list[str]) -> str:
    """Return a pattern with ``*`` that fits names: their common beginning and end."""
    if len(set(names)) == 1:
        return names[0] or "*"
    shortest = min(map(len, names))
    begin = next((n for n in range(shortest) if len({name[n] for name in names}) > 1), shortest)
    end = next((n for n in range(shortest - begin) if len({name[-1 - n] for name in names}) > 1), shortest - begin)
    return names[0][:begin] + "*" + (names[0][len(names[0]) - end :] if end else "")


def _fits(source: Source, other: Looked) -> bool:
    return is_of(source, other.file, other.grid)
