"""Files of reduced levels as readings: what was recorded is taken, what gwnet worked out of it is passed over."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from gwnet.errors import IngestError, UnitError
from gwnet.ingest.tables.raw import LEVEL_HEADINGS, RawSheet, RawTable, names_in_metres, split_heading
from gwnet.records import Rejection
from gwnet.store.as_recorded import HEADINGS, LEVEL_FROM, LOGGER, MANUAL_READING, PUMPING_TEST, RECORDED, UNIT
from gwnet.store.contract import BY_NAME, PROBLEM_COLUMN
from gwnet.units import length_unit

#: Most missing columns that a message names.
_MOST_NAMED: Final = 4
_KEY: Final = ("site", "well", "measured_at")

#: Where levels that are no manual readings are loaded from.
_ELSEWHERE: Final = {
    LOGGER: "levels of loggers are loaded from the files of the loggers (gwnet logger load)",
    PUMPING_TEST: "readings of pumping tests are loaded from the table pumping_readings",
}


def is_level_file(sheet: RawSheet) -> bool:
    """Return whether a sheet is a table of reduced levels.

    Parameters
    ----------
    sheet : gwnet.ingest.tables.raw.RawSheet
        Rows and headings.
    """
    return names_in_metres(sheet) >= LEVEL_HEADINGS


def has_readings(sheet: RawSheet) -> bool:
    """Return whether a table of reduced levels says what each level comes from, as those do that can be loaded.

    Parameters
    ----------
    sheet : gwnet.ingest.tables.raw.RawSheet
        Rows and headings.
    """
    return LEVEL_FROM in _places(sheet)


def recognise_levels(sheet: RawSheet) -> RawTable:
    """Return a table of reduced levels as the level events that were recorded.

    Parameters
    ----------
    sheet : gwnet.ingest.tables.raw.RawSheet
        Rows and headings of a table of levels.

    Returns
    -------
    gwnet.ingest.tables.raw.RawTable
        A table of level events with the unit of each length row by row; its warnings name the columns that were passed
        over and count the rows that are no manual readings.

    Raises
    ------
    IngestError
        If the table lacks a column of what was recorded.
    """
    require_readings(sheet)
    places = _places(sheet)
    kept, warnings = _manual_rows(sheet, places[LEVEL_FROM])
    columns = {name: name for name in _KEY} | {heading: column.name for heading, column in RECORDED.items()}
    aside = {*columns, LEVEL_FROM, UNIT, PROBLEM_COLUMN}
    passed_over = [heading.strip() for heading in sheet.headings if split_heading(heading)[0] not in aside]
    warnings.append(f"columns that gwnet works out were passed over: {', '.join(passed_over)}")
    left_out = {*sheet.numbers} - {sheet.numbers[at] for at in kept}
    manual = replace(
        sheet,
        rows=[sheet.rows[at] for at in kept],
        numbers=[sheet.numbers[at] for at in kept],
        rejections=[problem for problem in sheet.rejections if problem.row not in left_out],
    )
    return RawTable(
        manual,
        BY_NAME["level_events"],
        {column: places[heading] for heading, column in columns.items()},
        {},
        [*sheet.warnings, *warnings],
        _row_units(manual, places),
    )


def require_readings(sheet: RawSheet) -> None:
    """Refuse a table of reduced levels that lacks a column of what was recorded.

    Parameters
    ----------
    sheet : gwnet.ingest.tables.raw.RawSheet
        Rows and headings of a table of levels.

    Raises
    ------
    IngestError
        If a column is missing; all that are missing are named.
    """
    places = _places(sheet)
    missing = [name for name in (*_KEY, *HEADINGS) if name not in places]
    if missing:
        more = f" and {len(missing) - _MOST_NAMED} more" if len(missing) > _MOST_NAMED else ""
        message = (
            "These are reduced levels without all that was recorded of them, and corrected depths are no readings; "
            f"missing: {', '.join(missing[:_MOST_NAMED])}{more}."
        )
        fix = (
            "Write the file again with gwnet levels --format csv or as the annex of a report, or load what "
            "gwnet export datapackage writes."
        )
        raise IngestError(message, where=sheet.file, fix=fix)


def _places(sheet: RawSheet) -> dict[str, int]:
    return {split_heading(heading)[0]: place for place, heading in enumerate(sheet.headings)}


def _manual_rows(sheet: RawSheet, place: int) -> tuple[list[int], list[str]]:
    """Return the rows that are manual readings, and where the others are loaded from."""
    kinds = [row[place].strip() for row in sheet.rows]
    counts = {kind: kinds.count(kind) for kind in _ELSEWHERE}
    warnings = [
        f"{count} row{'s' if count > 1 else ''} passed over: {_ELSEWHERE[kind]}"
        for kind, count in counts.items()
        if count
    ]
    for at, kind in enumerate(kinds):
        if kind not in {MANUAL_READING, *_ELSEWHERE}:
            message = f"{LEVEL_FROM} is not {kind!r} but {MANUAL_READING}, {LOGGER} or {PUMPING_TEST}."
            fix = "Correct the word, or delete the row."
            sheet.rejections.append(
                Rejection("", sheet.file, sheet.numbers[at], None, kind, "not-a-choice", message, fix)
            )
    return [at for at, kind in enumerate(kinds) if kind not in _ELSEWHERE], warnings


def _row_units(sheet: RawSheet, places: dict[str, int]) -> dict[str, list[str]]:
    """Return the unit of each row of the columns of readings; a row without a reading has none to name."""
    headings = {column.name: heading for heading, column in RECORDED.items() if column.reading}
    columns = list(headings)
    units: dict[str, list[str]] = {name: [] for name in columns}
    known: dict[str, dict[str, str]] = {}
    for number, row in zip(sheet.numbers, sheet.rows, strict=True):
        cell = row[places[UNIT]].strip()
        if cell not in known:
            known[cell] = _units_of_cell(cell, columns)
        for name in columns:
            units[name].append(known[cell].get(name, "m"))
        if cell and not known[cell]:
            message = f"{UNIT} is {cell!r}, which is no unit of length."
            fix = "Write a unit, or column=unit pairs separated by ; where the lengths of a row differ."
            sheet.rejections.append(Rejection("", sheet.file, number, None, cell, "unit-unknown", message, fix))
            continue
        # Without its unit a depth in feet would be taken for one in metres.
        for name, heading in headings.items():
            if (reading := row[places[heading]].strip()) and name not in known[cell]:
                message = f"{UNIT} does not say the unit of {heading}."
                fix = "Write one unit for the row, or column=unit pairs separated by ; for all its lengths."
                sheet.rejections.append(
                    Rejection("", sheet.file, number, heading, reading, "unit-unknown", message, fix)
                )
    return units


def _units_of_cell(cell: str, columns: list[str]) -> dict[str, str]:
    """Return the unit of each column that a cell names; none where the cell cannot be read."""
    try:
        if "=" not in cell:
            return dict.fromkeys(columns, length_unit(cell)) if cell else {}
        pairs = [pair.partition("=") for pair in cell.split(";")]
        return {name.strip(): length_unit(unit) for name, _, unit in pairs}
    except UnitError:
        return {}
