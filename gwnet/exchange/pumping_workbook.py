"""The sheet of a pumping test as a workbook that ``gwnet load`` takes back as it is.

Its sheets ``pumping_rates`` and ``pumping_readings`` have the headings of those tables. Headings and sheets in round
brackets only help who fills it in; loading passes over them, and over rows in which nothing was filled in.
"""

from __future__ import annotations

import io
from typing import Any, Final

from xlsxwriter import Workbook

from gwnet.analysis.fieldwork.field_sheet import GOVERNS
from gwnet.analysis.fieldwork.pumping_sheet import TEST_CAUTIONS, PumpingSheet
from gwnet.plain_text import open_workbook
from gwnet.store.pumping_tables import RATE_METHODS

#: Rows for rates, and rows of each well beyond its schedule.
RATE_ROWS: Final = 25
SPARE_ROWS: Final = 10

_HOW: Final = (
    "Fill in the white cells; grey cells are there to help and are locked. Rows in which nothing is filled in are "
    "passed over.",
    "Write the time of day at which you really read, hh:mm:ss, with its date; or the minutes since the pump started in "
    "elapsed. The planned minutes are a plan.",
    "Depths are in {unit} below the measuring point, as the tape shows them; corrections are applied later.",
    "Where the probe was held at a depth, write that depth in set_depth, falling or rising in passed, and the time of "
    "passing; leave depth_to_water empty.",
    "In pumping_rates write one row when the pump starts, one at each change, and one of 0 where it stood still. With "
    "a bucket, write litres and seconds as well.",
    "Never alter a reading. Say in the notes what was met.",
    "Hand the workbook back as it is: gwnet load FILE takes it, every row or none, and says what to fix.",
)

#: Columns of the sheets: name, width, look, whether to be filled in. A length has the unit of the sheet.
_RATES: Final = (
    *(("site", 10, "text", False), ("test", 12, "text", False), ("well", 10, "text", False)),
    *(("from", 20, "moment", True), ("rate [L/s]", 11, "number", True), ("method", 18, "text", True)),
    *(("volume [L]", 11, "number", True), ("seconds [s]", 11, "number", True), ("notes", 40, "text", True)),
)
_READINGS: Final = (
    *(("site", 10, "text", False), ("test", 12, "text", False), ("well", 10, "text", False)),
    *(("(phase)", 10, "text", False), ("(planned minute)", 10, "number", False), ("date", 12, "date", True)),
    *(("time", 10, "time", True), ("elapsed [min]", 10, "number", True), ("depth_to_water [{}]", 15, "length", True)),
    *(("set_depth [{}]", 12, "length", True), ("passed", 10, "text", True), ("instrument", 12, "text", True)),
    *(("observer", 16, "text", True), ("quality", 11, "text", True), ("notes", 40, "text", True)),
)


def pumping_workbook(sheet: PumpingSheet) -> bytes:
    """Write the sheet of a test as a workbook.

    Parameters
    ----------
    sheet : gwnet.analysis.fieldwork.pumping_sheet.PumpingSheet
        What it says.

    Returns
    -------
    bytes
        An ``.xlsx`` file; the same content gives the same bytes.

    Notes
    -----
    Text from the record is always written as text, so that none of it can run as a formula.
    """
    target = io.BytesIO()
    book = open_workbook(target, f"Pumping test sheet {sheet.site} {sheet.test}", sheet.known_on.recorded_at_utc)
    formats = _formats(book, sheet)
    _write_instructions(book, sheet)
    _write_page(book, "pumping_rates", _RATES, formats, sheet, [[sheet.site, sheet.test, sheet.well]] * RATE_ROWS)
    readings = _write_page(book, "pumping_readings", _READINGS, formats, sheet, _reading_rows(sheet))
    readings.activate()
    book.close()
    return target.getvalue()


def _reading_rows(sheet: PumpingSheet) -> list[list[Any]]:
    rows: list[list[Any]] = []
    for well in sheet.wells.to_dict("records"):
        # Rows beyond the schedule: a test that is prolonged must not run out of rows in the night.
        planned: list[tuple[Any, Any]] = [*sheet.schedule[str(well["kind"])], *[(None, None)] * SPARE_ROWS]
        rows += [[sheet.site, sheet.test, well["well"], phase, minute] for phase, minute in planned]
    return rows


def _formats(book: Workbook, sheet: PumpingSheet) -> dict[str, Any]:
    length = "0" if sheet.decimals == 0 else "0." + "0" * sheet.decimals
    looks: dict[str, dict[str, Any]] = {
        "text": {},
        "number": {},
        "length": {"num_format": length},
        "date": {"num_format": "yyyy-mm-dd", "align": "left"},
        "time": {"num_format": "hh:mm:ss", "align": "left"},
        "moment": {"num_format": "yyyy-mm-dd hh:mm:ss", "align": "left"},
    }
    plain = {"font_name": "Arial", "font_size": 10, "border": 1, "border_color": "#9AA5AD"}
    made = {f"fill {look}": book.add_format({**plain, **extra, "locked": False}) for look, extra in looks.items()}
    made |= {look: book.add_format({**plain, **extra, "bg_color": "#ECEFF1"}) for look, extra in looks.items()}
    head = {**plain, "bold": True, "text_wrap": True, "valign": "top", "bg_color": "#CFD8DC"}
    return made | {"heading": book.add_format(head)}


def _write_page(
    book: Workbook,
    title: str,
    columns: tuple[tuple[str, int, str, bool], ...],
    formats: dict[str, Any],
    sheet: PumpingSheet,
    rows: list[list[Any]],
) -> Any:
    """Write one sheet that is loaded: prepared cells locked, the others free."""
    page = book.add_worksheet(title)
    for place, (name, width, _, _) in enumerate(columns):
        page.set_column(place, place, width)
        page.write_string(0, place, name.format(sheet.unit), formats["heading"])
    for number, prepared in enumerate(rows, start=1):
        for place, (_, _, look, to_fill) in enumerate(columns):
            cell = formats[f"fill {look}" if to_fill else look]
            value = prepared[place] if place < len(prepared) else None
            if isinstance(value, str):
                page.write_string(number, place, value, cell)
            elif value is not None:
                page.write_number(number, place, value, cell)
            else:
                # A blank with its format: without one the cell would be locked with the rest of the sheet.
                page.write_blank(number, place, None, cell)
    # Without the unit in square brackets.
    names = [name.partition(" ")[0] for name, _, _, _ in columns]
    lists = {"passed": ["falling", "rising"], "method": list(RATE_METHODS)}
    for name in lists.keys() & set(names):
        place = names.index(name)
        page.data_validation(1, place, len(rows), place, {"validate": "list", "source": lists[name]})
    page.protect("", {"format_columns": True, "format_rows": True, "select_locked_cells": True})
    page.freeze_panes(1, 3)
    page.set_landscape()
    page.set_paper(9)
    page.fit_to_pages(1, 0)
    page.repeat_rows(0)
    return page


def _write_instructions(book: Workbook, sheet: PumpingSheet) -> None:
    plain: dict[str, Any] = {"font_name": "Arial", "font_size": 10, "valign": "top"}
    title = book.add_format({**plain, "bold": True, "font_size": 14})
    strong = book.add_format({**plain, "bold": True})
    wrapped = book.add_format({**plain, "text_wrap": True})
    page = book.add_worksheet("(instructions)")
    page.hide_gridlines(2)
    page.set_column(0, 0, 24)
    page.set_column(1, 1, 90)
    page.write_string(0, 0, f"Pumping test {sheet.test} of {sheet.well}, {sheet.site}", title)
    facts = [
        ("Kind", sheet.kind),
        ("Purpose", sheet.purpose),
        ("Crew", sheet.crew),
        ("Start", f"{sheet.starts_at:%Y-%m-%d %H:%M}, local time ({sheet.time_zone})"),
        ("Made from the record", f"as known on {sheet.known_on.text}"),
    ]
    lines = [(name, text) for name, text in facts if text]
    for heading, texts in (("How to fill it in", _HOW), ("Cautions", (*TEST_CAUTIONS, GOVERNS))):
        lines += [(heading if place == 0 else "", text.format(unit=sheet.unit)) for place, text in enumerate(texts)]
    for row, (name, text) in enumerate(lines, start=2):
        page.write_string(row, 0, name, strong)
        page.write_string(row, 1, text, wrapped)
        page.set_row(row, 13.5 * (1 + (len(text) - 1) // 100))
    page.set_landscape()
    page.fit_to_pages(1, 0)
    page.protect("", {"select_locked_cells": True})
