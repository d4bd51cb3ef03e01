"""The field sheet of a gauging round as a workbook that checks what is typed and that ``gwnet load`` takes back.

The sheet ``level_events`` has the headings of that table. Headings and sheets in round brackets only help who fills it
in; loading passes over them.
"""

from __future__ import annotations

import datetime as dt
import io
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd
from xlsxwriter import Workbook
from xlsxwriter.utility import xl_col_to_name

from gwnet.analysis.fieldwork.field_sheet import FieldSheet
from gwnet.exchange.field_checks import check_formula, state_formula
from gwnet.exchange.field_instructions import write_instructions
from gwnet.exchange.field_validation import Lists, add_validations
from gwnet.plain_text import open_workbook

#: Name of the sheet that is loaded.
SHEET: Final = "level_events"

#: Rows for wells and visits that were not planned.
SPARE_ROWS: Final = 10

#: Rows of a well are at most so high [pt]; longer texts stay whole in their cells.
_HIGHEST: Final = 75.0


@dataclass(frozen=True)
class SheetColumn:
    """One column of the sheet.

    Attributes
    ----------
    name : str
        Column of the table, or a name of our own for a help column.
    heading : str
        Heading without its unit.
    width : float
        Width in signs.
    unit : str
        ``length`` for a length in the unit of the site, another unit, or empty.
    to_fill : bool
        Whether the person at the well fills it in.
    look : str
        Format of the cells: text, wrap, length, date, time or number.
    """

    name: str
    heading: str
    width: float
    unit: str = ""
    to_fill: bool = False
    look: str = "text"


def _help(name: str, words: str, width: float, *, unit: str = "", look: str = "text") -> SheetColumn:
    return SheetColumn(name, words, width, unit, look=look)


def _fill(name: str, width: float, *, unit: str = "", look: str = "text") -> SheetColumn:
    return SheetColumn(name, name, width, unit, to_fill=True, look=look)


COLUMNS: Final[tuple[SheetColumn, ...]] = (
    SheetColumn("site", "site", 10),
    SheetColumn("round", "round", 10),
    SheetColumn("well", "well", 10),
    _help("care", "hazards and access", 34, look="wrap"),
    _help("measuring_point", "measuring point", 24, look="wrap"),
    SheetColumn("access", "access", 9),
    _fill("date", 11, look="date"),
    _fill("time", 7, look="time"),
    _fill("status", 15),
    _help("last", "last depth", 9, unit="length", look="length"),
    _help("last_on", "last read on", 11, look="date"),
    _help("low", "expected from", 10, unit="length", look="length"),
    _help("high", "expected to", 10, unit="length", look="length"),
    _fill("depth_to_water", 17, unit="length", look="length"),
    _fill("depth_to_water_2", 17, unit="length", look="length"),
    _fill("depth_to_water_3", 17, unit="length", look="length"),
    _help("state", "state", 11),
    _help("check", "look again", 60, look="wrap"),
    _help("bottom", "bottom", 9, unit="length", look="length"),
    _fill("sounded_depth", 15, unit="length", look="length"),
    _fill("depth_to_product", 17, unit="length", look="length"),
    _fill("product_relative_density", 24, look="number"),
    _fill("instrument", 12),
    _fill("observer", 16),
    _fill("method", 14),
    _fill("discharge", 10, unit="L/s", look="number"),
    _fill("quality", 11),
    _fill("notes", 40, look="wrap"),
    _help("screen", "screen", 16, unit="length"),
    _help("due", "also due", 34, look="wrap"),
)

_PLACE: Final = {column.name: place for place, column in enumerate(COLUMNS)}
_HELP: Final = frozenset(
    {"care", "measuring_point", "last", "last_on", "low", "high", "state", "check", "bottom", "screen", "due"}
)


def heading(column: SheetColumn, unit: str) -> str:
    """Return the heading of a column as it is in the sheet.

    Returns
    -------
    str
        Name and unit; help columns in round brackets.
    """
    shown = {"": "", "length": f" [{unit}]"}.get(column.unit, f" [{column.unit}]")
    return f"({column.heading}{shown})" if column.name in _HELP else f"{column.heading}{shown}"


def field_workbook(sheet: FieldSheet) -> bytes:
    """Write the field sheet of a round as a workbook.

    Parameters
    ----------
    sheet : gwnet.analysis.fieldwork.field_sheet.FieldSheet
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
    book = open_workbook(target, f"Field sheet {sheet.site} {sheet.round}", sheet.known_on.recorded_at_utc)
    instructions = book.add_worksheet("(instructions)")
    page = book.add_worksheet(SHEET)
    lists = Lists.written(book, sheet.tapes)
    _Page(book, page, sheet, lists).write()
    write_instructions(book, instructions, sheet, states=f"{SHEET}!{_range('state', len(sheet.wells))}")
    page.activate()
    book.close()
    return target.getvalue()


def _range(name: str, count: int) -> str:
    letter = xl_col_to_name(_PLACE[name])
    return f"${letter}$2:${letter}${max(count, 1) + 1}"


class _Page:
    """Writes the sheet that is loaded."""

    def __init__(self, book: Workbook, page: Any, sheet: FieldSheet, lists: Lists) -> None:
        self.book, self.page, self.sheet, self.lists = book, page, sheet, lists
        self.formats = self._formats()

    def write(self) -> None:
        page = self.page
        for place, column in enumerate(COLUMNS):
            page.set_column(place, place, column.width)
            kind = "help heading" if column.name in _HELP else "heading"
            page.write_string(0, place, heading(column, self.sheet.unit), self.formats[kind])
        page.set_row(0, 48)
        earlier = {str(well): group for well, group in self.sheet.earlier.groupby("well", sort=False)}
        for number, well in enumerate(self.sheet.wells.to_dict("records"), start=1):
            self._well(number, well, earlier.get(str(well["well"])))
        first_spare = len(self.sheet.wells) + 1
        for number in range(first_spare, first_spare + SPARE_ROWS):
            self._spare(number)
        self._marks(len(self.sheet.wells))
        self._set_up_page()

    def _formats(self) -> dict[str, Any]:
        length = "0" if self.sheet.decimals == 0 else "0." + "0" * self.sheet.decimals
        looks: dict[str, dict[str, Any]] = {
            "text": {},
            "wrap": {"text_wrap": True},
            "length": {"num_format": length},
            "date": {"num_format": "yyyy-mm-dd", "align": "left"},
            "time": {"num_format": "hh:mm", "align": "left"},
            "number": {},
        }
        plain = {"font_name": "Arial", "font_size": 10, "valign": "top", "border": 1, "border_color": "#9AA5AD"}
        made = {}
        for look, extra in looks.items():
            made[f"fill {look}"] = self.book.add_format({**plain, **extra, "locked": False})
            made[look] = self.book.add_format({**plain, **extra, "locked": True, "bg_color": "#ECEFF1"})
        head = {**plain, "bold": True, "text_wrap": True, "locked": True}
        made["heading"] = self.book.add_format({**head, "bg_color": "#CFD8DC"})
        made["help heading"] = self.book.add_format({**head, "bold": False, "italic": True, "bg_color": "#ECEFF1"})
        made["key"] = self.book.add_format({**plain, "bold": True, "locked": True, "bg_color": "#ECEFF1"})
        return made

    def _well(self, number: int, well: Mapping[str, Any], earlier: pd.DataFrame | None) -> None:
        values = _shown_values(self.sheet, well, earlier)
        several = bool(well["other_accesses"])
        for place, column in enumerate(COLUMNS):
            free = column.to_fill or (column.name == "access" and several)
            look = "key" if column.name == "well" else f"{'fill ' if free else ''}{column.look}"
            self._cell(number, place, values.get(column.name), self.formats[look])
        cells = {name: f"{xl_col_to_name(place)}{number + 1}" for name, place in _PLACE.items()}
        formula = check_formula(cells, self.sheet, self.lists)
        self.page.write_formula(number, _PLACE["check"], formula, self.formats["wrap"], "")
        self.page.write_formula(number, _PLACE["state"], state_formula(cells), self.formats["text"], "")
        self.page.set_row(number, _row_height(values))
        add_validations(self.page, number, _PLACE, self.sheet, self.lists, well=well, earlier=earlier)

    def _spare(self, number: int) -> None:
        for place, column in enumerate(COLUMNS):
            if column.name not in _HELP:
                self.page.write_blank(number, place, None, self.formats[f"fill {column.look}"])
        add_validations(self.page, number, _PLACE, self.sheet, self.lists)

    def _cell(self, row: int, place: int, value: Any, look: Any) -> None:
        write: Callable[..., Any] = self.page.write_blank
        if isinstance(value, str) and value:
            write = self.page.write_string
        elif isinstance(value, float) and not math.isnan(value):
            write = self.page.write_number
        elif isinstance(value, dt.date):
            write = self.page.write_datetime
        else:
            value = None
        write(row, place, value, look)

    def _marks(self, count: int) -> None:
        """Mark rows that are to be looked at again, and those that are complete, by form as well as by colour."""
        again = self.book.add_format({"bold": True, "bg_color": "#F6D9A8", "font_color": "#3B2A00", "underline": 1})
        done = self.book.add_format({"italic": True, "font_color": "#1B5E20"})
        if not count:
            return
        state = f"${xl_col_to_name(_PLACE['state'])}2"
        for names in (("depth_to_water", "depth_to_water_3"), ("state", "check"), ("well", "well")):
            area = (1, _PLACE[names[0]], count, _PLACE[names[1]])
            rule = {"type": "formula", "criteria": f'={state}="look again"', "format": again}
            self.page.conditional_format(*area, rule)
        area = (1, _PLACE["state"], count, _PLACE["state"])
        self.page.conditional_format(*area, {"type": "formula", "criteria": f'={state}="complete"', "format": done})

    def _set_up_page(self) -> None:
        page = self.page
        page.protect("", {"format_columns": True, "format_rows": True, "select_locked_cells": True})
        page.freeze_panes(1, _PLACE["care"])
        page.set_landscape()
        page.set_paper(9)
        page.fit_to_pages(1, 0)
        page.repeat_rows(0)
        page.set_selection(1, _PLACE["time"], 1, _PLACE["time"])


def _shown_values(sheet: FieldSheet, well: Mapping[str, Any], earlier: pd.DataFrame | None) -> dict[str, Any]:
    """Return the content of the row of a well before it is filled in; lengths in the unit of the sheet."""
    read = None if earlier is None else earlier[earlier["depth_to_water_m"].notna()]
    last = None if read is None or read.empty else read.iloc[0]
    others = f"(other accesses: {well['other_accesses']})" if well["other_accesses"] else ""
    hazards = well["hazards"] and f"HAZARDS: {well['hazards']}"
    care = [hazards, well["contamination"], well["access_notes"], well["notes"]]
    screen = (sheet.number(well["screen_top_m"]), sheet.number(well["screen_bottom_m"]))
    return {
        "site": sheet.site,
        "round": sheet.round,
        "well": well["well"],
        "care": "\n".join(text for text in care if text),
        "measuring_point": " ".join(text for text in (well["measuring_point"], others) if text),
        "access": well["access"],
        "date": sheet.starts_on if len(sheet.days) == 1 else None,
        "last": None if last is None else _in_unit(sheet, last["depth_to_water_m"]),
        "last_on": None if last is None else last["measured_on"],
        "low": _in_unit(sheet, well["expected_from_m"]),
        "high": _in_unit(sheet, well["expected_to_m"]),
        "bottom": _in_unit(sheet, well["bottom_m"]),
        "screen": f"{screen[0]} to {screen[1]}" if all(screen) else "",
        "due": well["due"],
    }


def _in_unit(sheet: FieldSheet, value_m: float) -> float:
    return round(float(value_m) / sheet.metres, sheet.decimals)


def _row_height(values: Mapping[str, Any]) -> float:
    """Return the height that the longest wrapped text of a row needs, within a limit [pt]."""
    lines = 2
    for column in COLUMNS:
        text = values.get(column.name)
        if column.look == "wrap" and isinstance(text, str):
            lines = max(lines, sum(1 + int(len(part) / (column.width * 0.95)) for part in text.split("\n")))
    return min(15.0 + 12.75 * (lines - 1), _HIGHEST)
