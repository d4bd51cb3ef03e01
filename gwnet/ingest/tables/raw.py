"""A table as it is in a file, headings understood, cells still text; and which table it is."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from difflib import get_close_matches
from typing import Final

from gwnet.errors import IngestError, UnitError, UnknownTableError
from gwnet.ingest.headings import nearest_columns
from gwnet.records import Rejection
from gwnet.store.columns import Table
from gwnet.store.contract import BY_NAME, FORMER_HEADINGS, PROBLEM_COLUMN, TABLES, is_worked_out
from gwnet.units import length_unit, rate_unit, time_unit

#: Most headings of a file that a message names.
_MOST_HEADINGS = 40

#: What gives a unit its usual name, for the kinds of columns whose headings may name several.
_UNITS_OF_KIND: Final[dict[str, Callable[[str], str]]] = {
    "length": length_unit,
    "rate": rate_unit,
    "duration": time_unit,
    "start": time_unit,
}

#: Ends of headings of lengths that name their unit, as exports have them.
_LENGTH_ENDINGS: Final = frozenset({"m", "cm", "mm", "ft", "ftus"})

#: Headings that together only tables of reduced levels have; lengths in metres, feet count alike.
LEVEL_HEADINGS: Final = frozenset("water_elevation_m measuring_point_elevation_m uncertainty_m review".split())

#: The same of all tables that gwnet works out.
_RESULTS: Final = (
    LEVEL_HEADINGS,
    *(
        frozenset(words.split())
        for words in (
            "well kind used reason uncertainty_m",  # levels of a map
            "download_id series_id sha256",  # files of loggers
            "instrument coverage_percent last_manual_reading",  # state of loggers
            "rule severity message",  # findings
            "kind well text day length_m",  # conditions of wells
            "slope_m_per_year p_adjusted direction",  # trends
            "newest newest_m percentile",  # seasons
            "threshold readings_judged state",  # states of thresholds
            "threshold levels_in_period margin_m",  # crossings
            "threshold value_m extreme_m state",  # levels held against thresholds
            "item was now reason recorded_at_utc",  # corrections
            "issue table was now why",  # values of earlier issues
        )
    ),
)
#: Sheet of a workbook that says what the others are.
_ABOUT: Final = "about"
#: Heading of when a row was retired.
_RETIRED: Final = "retired_at_utc"

_HEADING = re.compile(r"\s*(?P<name>[^\[\]]*?)\s*(?:\[(?P<unit>[^\[\]]*)\])?\s*")


@dataclass(frozen=True)
class RawSheet:
    """Rows of text with the numbers that they have in the file.

    Attributes
    ----------
    file : str
        Name of the file, with the sheet for a workbook.
    title : str
        What names the table: the file's stem or the sheet's name.
    headings : list of str
        Headings as written.
    rows : list of list of str
        Cells of each row, as many as there are headings.
    numbers : list of int
        Row numbers in the file, counted from 1.
    rejections : list of gwnet.records.Rejection
        Problems met while reading, without their table.
    delimiter : str
        Delimiter of delimited text; empty for a workbook.
    warnings : list of str
        What was passed over while reading, and the like.
    open_row : int or None
        Number of the last row, where the file ends without the end of its line: the row may have been cut.
    open_columns : tuple of str or None
        For rows that a mapping made of another table: columns of ours made of the cell that may have been cut, or of
        those behind it; None where that is the last heading.
    from_changes : bool
        For measuring points that a mapping made of readings: each begins where the elevation changed in the file.
    origins : dict of str to tuple
        For rows that a mapping made of another table, by column: the heading there, and its cell for each row.
    """

    file: str
    title: str
    headings: list[str]
    rows: list[list[str]]
    numbers: list[int]
    rejections: list[Rejection] = field(default_factory=list)
    delimiter: str = ""
    warnings: list[str] = field(default_factory=list)
    open_row: int | None = None
    open_columns: tuple[str, ...] | None = None
    from_changes: bool = False
    origins: dict[str, tuple[str, list[str]]] = field(default_factory=dict)


@dataclass(frozen=True)
class RawTable:
    """A sheet that is known to be one table of the contract.

    Attributes
    ----------
    sheet : RawSheet
        Its rows.
    table : gwnet.store.columns.Table
        Which table it is.
    places : dict of str to int
        Position of each known column.
    units : dict of str to str
        Units given in headings.
    warnings : list of str
        Unknown columns and the like.
    row_units : dict of str to list of str
        Unit of each row, for columns of lengths whose rows name their own.
    """

    sheet: RawSheet
    table: Table
    places: dict[str, int]
    units: dict[str, str]
    warnings: list[str]
    row_units: dict[str, list[str]] = field(default_factory=dict)

    def cells(self, name: str) -> list[str] | None:
        """Return the cells of a column, None where the file has no such column."""
        place = self.places.get(name)
        return None if place is None else [row[place] for row in self.sheet.rows]

    def written(self, name: str) -> list[str] | None:
        """Return the cells of a column as they are in the file, None where it has no such column."""
        return self.sheet.origins[name][1] if name in self.sheet.origins else self.cells(name)

    def heading(self, name: str) -> str:
        """Return the heading of a column as written in the file."""
        if name in self.sheet.origins:
            return self.sheet.origins[name][0]
        place = self.places.get(name)
        return name if place is None else self.sheet.headings[place].strip()


def split_heading(heading: str) -> tuple[str, str | None]:
    """Return the column's name and the unit in brackets.

    Returns
    -------
    tuple of str
        Name in lower case with underscores, that of today where the heading had another, and the unit or None.

    Examples
    --------
    >>> split_heading("Depth to water [ft]")
    ('depth_to_water', 'ft')
    """
    parts = _HEADING.fullmatch(heading)
    if parts is None:
        return heading.strip().lower(), None
    name = re.sub(r"[\s_]+", "_", parts["name"].strip()).lower()
    name = FORMER_HEADINGS.get(name, name)
    return name, parts["unit"].strip() if parts["unit"] is not None else None


def is_help(title: str) -> bool:
    """Return whether a heading or the name of a sheet only helps a reader: it is wholly in round brackets.

    Examples
    --------
    >>> is_help("(last depth [m])"), is_help("depth_to_water [m]")
    (True, False)
    """
    plain = title.strip()
    return len(plain) > 2 and plain.startswith("(") and plain.endswith(")")


def recognise(sheet: RawSheet, *, keys_only: bool = False) -> RawTable:
    """Say which table a sheet is, by its title or else by its columns.

    Parameters
    ----------
    sheet : RawSheet
        Rows and headings.
    keys_only : bool, optional
        Whether the columns of the key are enough, as for a correction; otherwise every required column must be there.

    Returns
    -------
    RawTable
        The table with its columns found.

    Raises
    ------
    UnknownTableError
        If neither title nor columns tell, or several tables would fit.
    IngestError
        If headings are missing, doubled or have a wrong unit.
    """
    split = [split_heading(heading) for heading in sheet.headings]
    table = find_table(sheet.title) or _by_columns(sheet, split, keys_only=keys_only)
    places, units, warnings, faults = _places(sheet, table, split)
    required, one_of = table.required(keys_only=keys_only)
    faults += [f"column {name!r} is missing" for name in required if name not in places]
    for alternatives in one_of:
        if not any(all(name in places for name in group) for group in alternatives):
            words = " or ".join(" and ".join(group) for group in alternatives)
            faults.append(f"column {words} is missing")
    if faults:
        message = f"The table {table.name!r} cannot be read: {'; '.join(faults)}."
        fix = f"Its columns are: {', '.join(table.names)}."
        if warnings:
            fix = f"{fix} {_describe_headings(sheet)}"
        raise IngestError(message, where=sheet.file, fix=fix)
    return RawTable(sheet, table, places, units, warnings)


def _places(
    sheet: RawSheet, table: Table, split: Sequence[tuple[str, str | None]]
) -> tuple[dict[str, int], dict[str, str], list[str], list[str]]:
    """Return the place of each column and the unit of its heading, what is passed over, and what is wrong."""
    faults: list[str] = []
    places: dict[str, int] = {}
    units: dict[str, str] = {}
    warnings = list(sheet.warnings)
    worked_out: list[str] = []
    for place, (name, unit) in enumerate(_with_units(table, split)):
        if name in places:
            faults.append(f"column {name!r} occurs twice")
        elif name in table.names:
            places[name] = place
            _note_unit(table, name, unit, units, faults)
        elif is_worked_out(table, name):
            worked_out.append(sheet.headings[place].strip())
        elif name and name != PROBLEM_COLUMN and not is_help(sheet.headings[place]):
            warnings.append(_unknown_column(sheet.headings[place], name, table))
    if worked_out:
        warnings.append(f"columns that gwnet works out were passed over: {', '.join(worked_out)}")
    return places, units, warnings, faults


def is_result(sheet: RawSheet) -> bool:
    """Return whether a sheet is a table that gwnet worked out, such as reduced levels, or is about other sheets.

    Parameters
    ----------
    sheet : RawSheet
        Rows and headings.
    """
    names = names_in_metres(sheet)
    return sheet.title == _ABOUT or any(words <= names for words in _RESULTS)


def names_in_metres(sheet: RawSheet) -> set[str]:
    """Return the names of a sheet's columns without their units; those of lengths as if they were in metres.

    Parameters
    ----------
    sheet : RawSheet
        Rows and headings.
    """
    return {split_heading(heading)[0].replace("_ft", "_m") for heading in sheet.headings}


def without_retired(sheet: RawSheet) -> RawSheet:
    """Return a sheet without the rows that it says were retired, as histories of measuring points have them.

    Parameters
    ----------
    sheet : RawSheet
        Rows and headings.

    Returns
    -------
    RawSheet
        The sheet itself where it has no such rows; otherwise with a warning that counts them.
    """
    if _RETIRED not in sheet.headings:
        return sheet
    place = sheet.headings.index(_RETIRED)
    kept = [at for at, row in enumerate(sheet.rows) if not row[place].strip()]
    gone = len(sheet.rows) - len(kept)
    if not gone:
        return sheet
    words = "1 row that is" if gone == 1 else f"{gone} rows that are"
    return replace(
        sheet,
        rows=[sheet.rows[at] for at in kept],
        numbers=[sheet.numbers[at] for at in kept],
        warnings=[
            *sheet.warnings,
            f"{words} no longer on record, as {_RETIRED} says, {'was' if gone == 1 else 'were'} passed over",
        ],
    )


def find_table(title: str) -> Table | None:
    """Return the table whose name the title is, or begins with before a digit, blank or mark.

    Parameters
    ----------
    title : str
        Stem of a file, name of a sheet or layer.

    Returns
    -------
    gwnet.store.columns.Table or None
        The table; None where the title names none.
    """
    plain = re.sub(r"[\s\-]+", "_", title.strip().lower())
    for name in sorted(BY_NAME, key=len, reverse=True):
        if plain == name or re.match(rf"{name}(_|\d|\.|\()", plain):
            return BY_NAME[name]
    return None


def _with_units(table: Table, split: Sequence[tuple[str, str | None]]) -> list[tuple[str, str | None]]:
    """Return names and units of headings, with the unit taken from the end of a name such as ``ground_elevation_m``.

    A heading that says the same as another one without a unit, such as ``measured_at_utc``, keeps its name.
    """
    plain = {name for name, _ in split}
    return [
        found if unit is None and name not in table.names and (found := _parted(table, name))[0] not in plain else pair
        for pair in split
        for name, unit in [pair]
    ]


def _parted(table: Table, name: str) -> tuple[str, str | None]:
    """Return column and unit of a name that ends in a unit which the column may have; the name itself otherwise."""
    for column in table.columns:
        if column.kind == "length" and name.removeprefix(f"{column.name}_") in _LENGTH_ENDINGS:
            return column.name, name.removeprefix(f"{column.name}_")
        if name == column.frame_name != column.name:
            return column.name, "UTC" if column.kind == "timestamp" else column.unit
    return name, None


def _by_columns(sheet: RawSheet, split: Sequence[tuple[str, str | None]], *, keys_only: bool) -> Table:
    names_of = {table.name: {name for name, _ in _with_units(table, split)} for table in TABLES}
    fitting = [table for table in TABLES if _fits(table, names_of[table.name], keys_only=False)]
    if keys_only and not fitting:
        # Whole rows first: the columns of a key alone fit several tables.
        fitting = [table for table in TABLES if _fits(table, names_of[table.name], keys_only=True)]
    scored = sorted(((len(names_of[table.name] & set(table.names)), table.name) for table in fitting), reverse=True)
    if not scored:
        message = "Neither its name nor its columns tell which table this is."
        fix = f"Name it after one of: {', '.join(BY_NAME)}. {_describe_headings(sheet)}"
        raise UnknownTableError(message, where=sheet.file, fix=fix)
    best = [name for score, name in scored if score == scored[0][0]]
    if len(best) > 1:
        message = f"By its columns this could be any of: {', '.join(sorted(best))}."
        raise UnknownTableError(message, where=sheet.file, fix="Name the file or sheet after the table.")
    return BY_NAME[best[0]]


def _describe_headings(sheet: RawSheet) -> str:
    """Return the headings of a file, each with the column of ours that is nearest, and how to make a mapping."""
    pairs = nearest_columns(sheet.headings)
    shown = [f"{heading!r}{f' (nearest: {near})' if near else ''}" for heading, near in pairs[:_MOST_HEADINGS]]
    more = f" and {len(pairs) - _MOST_HEADINGS} more" if len(pairs) > _MOST_HEADINGS else ""
    file = sheet.file.partition(" [")[0]
    return (
        f"Its headings are: {', '.join(shown)}{more}. To read them as they are: gwnet import try {file} --save M.toml."
    )


def _fits(table: Table, names: set[str], *, keys_only: bool) -> bool:
    required, one_of = table.required(keys_only=keys_only)
    met = all(any(set(group) <= names for group in alternatives) for alternatives in one_of)
    return met and set(required) <= names


def _note_unit(table: Table, name: str, unit: str | None, units: dict[str, str], faults: list[str]) -> None:
    if unit is None:
        return
    column = table.column(name)
    if column.kind in _UNITS_OF_KIND:
        try:
            units[name] = _UNITS_OF_KIND[column.kind](unit)
        except UnitError as error:
            faults.append(f"column {name!r}: {error.message} {error.fix}")
    elif column.kind == "timestamp" and unit.upper() == "UTC":
        units[name] = "UTC"
    elif column.unit and unit.lower() != column.unit.lower():
        faults.append(f"column {name!r} is in {column.unit}, not in [{unit}]")
    # Coordinates are in the unit of the site's system, which a heading may name.
    elif not column.unit and column.kind not in {"coordinate"}:
        faults.append(f"column {name!r} has no unit, yet its heading names [{unit}]")


def _unknown_column(written: str, name: str, table: Table) -> str:
    near = get_close_matches(name, table.names, n=1, cutoff=0.6)
    hint = f"; did you mean {near[0]!r}?" if near else ""
    return f"column {written.strip()!r} is not known and was passed over{hint}"
