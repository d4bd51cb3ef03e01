"""Cells of one column of ours, made from the cells of a table by a rule."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Final

import numpy as np

from gwnet import clock
from gwnet.ingest.headings import UNIT_WORDS
from gwnet.ingest.loggers.stamps import StampError, StampFormat, compile_formats, read_stamp
from gwnet.ingest.mapping.mapping import Rule, Source
from gwnet.ingest.mapping.source_table import MISSING, SourceTable, holds
from gwnet.store.columns import NUMBER_KINDS, Column
from gwnet.units import METRES_PER_UNIT

#: Metres in units that no column of ours has; the inch is 25.4 mm exactly (international yard and pound, 1959).
_OTHER_UNITS: Final[dict[str, Decimal]] = {"in": Decimal("0.0254"), "km": Decimal(1000)}
_NUMBER: Final = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d{1,3})?", re.ASCII)
#: No number that is rounded to decimals is larger.
_LARGEST: Final = Decimal(10) ** 15
_WITH_UNIT: Final = re.compile(r"([+-]?[\d.,]+)\s*([^\d\s].*)?", re.ASCII)
#: Where stamps count from, on the clock of the stamp and not of a zone.
_EPOCH: Final = dt.datetime.fromisoformat("1970-01-01T00:00:00")


@dataclass
class Made:
    """Cells of a column.

    Attributes
    ----------
    cells : list of str
        Cells as the loader reads them.
    heading : str
        Heading of the source.
    written : list of str
        Cells of the source.
    unit : str
        Unit of the cells, one of ours; empty where the site's holds.
    problems : dict of int to tuple of str
        Problem, message and fix of rows that cannot be made.
    """

    cells: list[str]
    heading: str
    written: list[str]
    unit: str
    problems: dict[int, tuple[str, str, str]]


Other = Callable[[str], Sequence[SourceTable]]


def make_cells(column: Column, rule: Rule, table: SourceTable, source: Source, tables_of: Other) -> Made:
    """Return the cells of a column for every row of a table.

    Parameters as `gwnet.ingest.mapping`.

    Parameters
    ----------
    column : gwnet.store.columns.Column
        Column of ours.
    source : gwnet.ingest.mapping.mapping.Source
        How the table was read.
    tables_of : callable
        Gives the tables of another source by its name.

    Returns
    -------
    Made
        Cells with the heading and the cells that they come from.

    Raises
    ------
    gwnet.errors.LayoutError
        If the table lacks a column of the rule.
    """
    heading, written = _written(rule, table)
    missing = {*MISSING, *source.missing, *rule.missing}
    # Words for no value first: a pattern or a word list would otherwise be asked what -999 means.
    cells = ["" if cell in missing else cell for cell in (one.strip() for one in written)]
    if rule.pattern:
        pattern = re.compile(rule.pattern)
        cells = [(found[1] or "").strip() if (found := pattern.search(cell)) else "" for cell in cells]
    if rule.lookup is not None:
        cells = _looked_up(rule, cells, tables_of)
    if rule.words or rule.otherwise is not None:
        cells = _in_our_words(rule, cells)
    unit = ""
    problems: dict[int, tuple[str, str, str]] = {}
    if column.kind in NUMBER_KINDS:
        cells, unit = _numbers(column, rule, cells, table, source)
    elif column.kind in {"date", "time", "timestamp"} and (
        rule.formats or rule.zone or rule.time_unknown or rule.first_year
    ):
        cells, problems = _times(column, rule, cells)
    # At last, so that a condition may name any column of the source, whatever became of the cell.
    if rule.only is not None:
        cells = [cell if held else "" for cell, held in zip(cells, holds(rule.only, table), strict=True)]
    return Made(cells, heading, written, unit, problems)


def _written(rule: Rule, table: SourceTable) -> tuple[str, list[str]]:
    """Return the heading and the cells of the source that a rule begins with."""
    count = len(table.rows)
    if rule.value is not None:
        return "", [rule.value] * count
    if rule.above:
        return rule.above, [table.labelled(rule.above)] * count
    if rule.file:
        found = re.search(rule.file, Path(table.title).stem) or re.search(rule.file, table.file)
        return "name of the file", [found[1] if found and found.re.groups else ""] * count
    places = [table.place(reference) for reference in rule.columns]
    names = [table.headings[place] for place in places]
    if len(places) == 1 and not rule.label:
        return names[0], [row[places[0]] for row in table.rows]
    joined = []
    for row in table.rows:
        parts = [(name, row[place].strip()) for name, place in zip(names, places, strict=True)]
        said = [f"{name}: {cell}" if rule.label else cell for name, cell in parts if cell not in MISSING]
        joined.append(("; " if rule.label else rule.join).join(said))
    return " and ".join(names), joined


def _looked_up(rule: Rule, cells: list[str], tables_of: Other) -> list[str]:
    assert rule.lookup is not None
    values: dict[str, str] = {}
    for table in tables_of(rule.lookup.source):
        pairs = zip(table.cells(rule.lookup.key), table.cells(rule.lookup.value), strict=True)
        values |= {key.strip(): value.strip() for key, value in pairs if value.strip() not in MISSING}
    return [values.get(cell, "") for cell in cells]


def _in_our_words(rule: Rule, cells: list[str]) -> list[str]:
    folded = {key.strip().casefold(): value for key, value in rule.words.items()}
    seen: dict[str, str] = {}
    # Each distinct cell once: many rows have few words.
    for cell in set(cells):
        if cell in rule.words:
            seen[cell] = rule.words[cell]
        elif cell.casefold() in folded:
            seen[cell] = folded[cell.casefold()]
        else:
            seen[cell] = rule.otherwise if rule.otherwise is not None else cell
    return [seen[cell] for cell in cells]


def plain_number(cell: str, decimal: str, thousands: str) -> str:
    """Return a number with a decimal point and without marks between thousands; another text as it is.

    Parameters
    ----------
    cell : str
        The cell.
    decimal, thousands : str
        Marks of the file.

    Returns
    -------
    str
        The number as text.
    """
    plain = cell.strip()
    if thousands:
        plain = plain.replace(thousands, "")
    if decimal == ",":
        # 1.234,5 without a declared mark of thousands stays no number: which mark is which would be a guess.
        plain = plain.replace(",", ".") if plain.count(",") == 1 and "." not in plain else plain
    return plain if _NUMBER.fullmatch(plain) else cell


def _numbers(column: Column, rule: Rule, cells: list[str], table: SourceTable, source: Source) -> tuple[list[str], str]:
    """Return numbers with a decimal point, in a unit of ours where the rule asks for arithmetic."""
    marks = (source.decimal, source.thousands)
    if rule.unit == "cell":
        return [_of_cell(cell, marks, column) for cell in cells], "" if column.unit else "m"
    factor, unit = _factor_and_unit(column, rule)
    added = [(1, rule.plus), (-1, rule.minus)]
    others = [(sign, table.cells(reference)) for sign, reference in added if reference is not None]
    plain = [plain_number(_without_unit(cell, rule.unit), *marks) for cell in cells]
    # As it is written, digit for digit: arithmetic would change 10.50 to 10.5, and with it what is kept as read.
    if factor == 1 and not others:
        return plain, unit
    made = []
    for row, cell in enumerate(plain):
        try:
            value = _decimal(cell)
            for sign, column_cells in others:
                value += sign * _decimal(plain_number(column_cells[row], *marks))
        except InvalidOperation:
            # A number whose partner is missing has no sum; a text stays, so that the loader rejects it by its own
            # words.
            made.append("" if _NUMBER.fullmatch(cell) else cell)
            continue
        made.append(_text(value * factor))
    return made, unit


def _without_unit(cell: str, unit: str) -> str:
    """Return a number without the unit behind it, where that is the unit of its column."""
    found = _WITH_UNIT.fullmatch(cell) if unit and cell[-1:] and not cell[-1:].isdigit() else None
    said = (found[2] or "").strip(" .").lower() if found else ""
    return found[1] if found and said and UNIT_WORDS.get(said) == unit else cell


def _factor_and_unit(column: Column, rule: Rule) -> tuple[Decimal, str]:
    """Return what numbers are multiplied with, and their unit then; empty for columns that are no lengths."""
    # Decimal by way of text: a float would bring its binary dust into every product.
    factor, unit = Decimal(str(rule.factor)), rule.unit
    if rule.positive == "up":
        factor = -factor
    if column.kind == "length":
        return (factor * _OTHER_UNITS[unit], "m") if unit in _OTHER_UNITS else (factor, unit)
    if unit in _OTHER_UNITS and column.kind == "coordinate":
        factor *= _OTHER_UNITS[unit]
    elif unit and column.unit in METRES_PER_UNIT and unit != column.unit:
        factor *= _metres(unit) / _metres(column.unit)
    return factor, ""


def _metres(unit: str) -> Decimal:
    return _OTHER_UNITS.get(unit) or Decimal(str(METRES_PER_UNIT[unit]))


def _decimal(cell: str) -> Decimal:
    """Return a number in digits 0 to 9; a Decimal would take those of any script."""
    if not _NUMBER.fullmatch(cell):
        raise InvalidOperation
    return Decimal(cell)


def _text(value: Decimal) -> str:
    if abs(value) >= _LARGEST:
        return str(value)  # no column of ours takes it, and the loader says so
    # To the decimals to which lengths are kept, so that factors leave no dust.
    text = format(round(value, 7).normalize(), "f")
    return "0" if text in {"-0", ""} else text


def _of_cell(cell: str, marks: tuple[str, str], column: Column) -> str:
    """Return a number with its unit behind it in metres, or in the unit of its column."""
    found = _WITH_UNIT.fullmatch(cell)
    unit = UNIT_WORDS.get((found[2] or "").strip(" .").lower(), "") if found else ""
    if found is not None and not found[2]:
        return f"{cell} (without a unit)"  # which is no number: a unit that is not said is not guessed
    if found is None or not unit:
        return cell
    try:
        value = _decimal(plain_number(found[1], *marks)) * _metres(unit)
    except InvalidOperation:
        return cell
    return _text(value / (_metres(column.unit) if column.unit in METRES_PER_UNIT else 1))


def _times(column: Column, rule: Rule, cells: list[str]) -> tuple[list[str], dict[int, tuple[str, str, str]]]:
    """Return dates and times in ISO 8601, and the problems of rows whose time is not one of the zone."""
    formats = compile_formats(rule.formats or ("iso",))
    # Each distinct cell once: a day stands in many rows.
    stamps = {cell: _stamp(cell, formats, rule) for cell in set(cells) if cell}
    zoned = _offsets(stamps, rule.zone) if rule.zone and column.kind == "timestamp" else {}
    texts = {"": "", **{cell: _as_text(column, cell, stamp, zoned) for cell, stamp in stamps.items()}}
    problems = {}
    for row, cell in enumerate(cells):
        if cell in zoned and zoned[cell] in {"skipped", "twice"}:
            problem, words = _NO_TIME[zoned[cell]]
            message = f"The local time {cell!r} {words} in {rule.zone}."
            problems[row] = (
                problem,
                message,
                "Give the zone that the times are in, or a fixed offset such as UTC-08:00.",
            )
    return [texts[cell] for cell in cells], problems


_NO_TIME: Final[dict[str, tuple[str, str]]] = {
    "skipped": ("time-does-not-exist", "does not exist: the clocks were put forward"),
    "twice": ("time-exists-twice", "exists twice: the clocks were put back"),
}


@dataclass(frozen=True)
class _Stamp:
    """A date and time on its own clock."""

    moment: dt.datetime
    has_time: bool
    offset: int | None


def _stamp(cell: str, formats: Sequence[StampFormat], rule: Rule) -> _Stamp | None:
    for one in formats:
        found = one.pattern.fullmatch(cell)
        if found is None:
            continue
        try:
            milliseconds, offset = read_stamp(cell, [one])
        except StampError:
            continue
        moment = _EPOCH + dt.timedelta(milliseconds=milliseconds)
        if rule.first_year and "y" in one.letters:
            # The year of that ending in the hundred years from the first on.
            year = rule.first_year + (moment.year - rule.first_year) % 100
            try:
                moment = moment.replace(year=year)
            except ValueError:  # the 29th of February of a year that has none
                continue
        hours = [place for place, letter in enumerate(one.letters, 1) if letter in {"H", "I", "count"}]
        has_time = any(found[place] is not None for place in hours)
        # Midnight or noon that a program filled in is no time of day; the reading keeps its day alone.
        if has_time and f"{moment:%H:%M}" in rule.time_unknown:
            has_time = False
        # The zone of the rule goes before an offset in the cell, which a program may have added.
        return _Stamp(moment, has_time, None if rule.zone else offset)
    return None


def _offsets(stamps: dict[str, _Stamp | None], zone: str) -> dict[str, str]:
    """Return the offset of each timed stamp in a zone, or why it has none."""
    timed = {cell: stamp for cell, stamp in stamps.items() if stamp is not None and stamp.has_time}
    if not timed:
        return {}
    local = np.array([stamp.moment for stamp in timed.values()], dtype="datetime64[us]")
    answer = clock.to_utc(local, zone)
    texts = [clock.offset_text(int(minutes)) for minutes in answer.offset_minutes]
    return {
        cell: "skipped" if skipped else "twice" if twice else text
        for cell, text, skipped, twice in zip(timed, texts, answer.skipped, answer.twice, strict=True)
    }


def _as_text(column: Column, cell: str, stamp: _Stamp | None, zoned: dict[str, str]) -> str:
    if stamp is None:
        return cell
    if column.kind == "date" or (column.kind == "timestamp" and not stamp.has_time):
        return f"{stamp.moment:%Y-%m-%d}"
    time = (
        f"{stamp.moment:%H:%M:%S}".removesuffix(":00")
        if not stamp.moment.microsecond
        else f"{stamp.moment:%H:%M:%S.%f}"
    )
    if column.kind == "time":
        return time if stamp.has_time else ""
    text = f"{stamp.moment:%Y-%m-%d}T{time}"
    if zoned.get(cell, "skipped") not in {"skipped", "twice"}:
        return text + zoned[cell]
    # Without zone and offset the time stays local, and the loader takes the zone of the site.
    return text if stamp.offset is None else text + clock.offset_text(stamp.offset)


def first_filled(several: Sequence[Made]) -> Made:
    """Return one column of several: in each row the first that is filled.

    Parameters
    ----------
    several : sequence of Made
        Columns in the order in which they are asked.

    Returns
    -------
    Made
        One column; in metres where the units differ.
    """
    first = several[0]
    if len(several) == 1:
        return first
    units = {made.unit for made in several}
    if len(units) > 1:
        # A column has one unit in its heading, so values of two units meet in metres.
        several = [_in_metres(made) for made in several]
    count = len(first.cells)
    chosen = [next((n for n, made in enumerate(several) if made.cells[row]), 0) for row in range(count)]
    return Made(
        [several[n].cells[row] for row, n in enumerate(chosen)],
        " or ".join(dict.fromkeys(made.heading for made in several if made.heading)),
        [several[n].written[row] for row, n in enumerate(chosen)],
        several[0].unit,
        {row: several[n].problems[row] for row, n in enumerate(chosen) if row in several[n].problems},
    )


def _in_metres(made: Made) -> Made:
    factor = _metres(made.unit or "m")
    cells = [_text(Decimal(cell) * factor) if _NUMBER.fullmatch(cell) else cell for cell in made.cells]
    return Made(cells, made.heading, made.written, "m", made.problems)
