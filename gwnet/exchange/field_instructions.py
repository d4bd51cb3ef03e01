"""The sheet of a field workbook that says how to fill it in."""

from __future__ import annotations

from typing import Any, Final

from xlsxwriter import Workbook

from gwnet.analysis.fieldwork.field_sheet import CAUTIONS, DEVIATIONS, GOVERNS, SEASON_DAYS, FieldSheet

_HOW: Final = (
    "Fill in the white cells of the sheet level_events, one row a well; grey cells are there to help and are locked.",
    "Read the depth twice, lifting the tape in between. The two must agree within {tolerance} {unit}; if they do not, "
    "read again and say in the notes what was met. Never alter a reading: keep all of them.",
    "Depths are in {unit} below the measuring point that is described in the row, never in inches. Write the number as "
    "the tape shows it; corrections are applied later.",
    "Without a reading, choose the status that says why: dry, obstructed, no access, … A row with neither is passed "
    "over and reported as not filled in.",
    "The column (look again) says at once what does not fit. A warning can be overruled when the reading is right: "
    "say so in the notes.",
    "The expected range comes from the well's own levels within {season} days of the calendar day in earlier years: "
    "median and {deviations:g} robust standard deviations. It is a hint, not a limit.",
    "Wells that are not on the list, and second visits, go into the white rows below it.",
    "Sound the bottom where it is due, and wherever the well was dry.",
    "Hand the workbook back as it is: gwnet load FILE takes it, every row or none, and says what to fix.",
)


def write_instructions(book: Workbook, page: Any, sheet: FieldSheet, *, states: str) -> None:
    """Write the sheet of instructions.

    Parameters
    ----------
    book : xlsxwriter.Workbook
        The workbook.
    page : xlsxwriter.worksheet.Worksheet
        Its sheet for the instructions.
    sheet : gwnet.analysis.fieldwork.field_sheet.FieldSheet
        The round.
    states : str
        Range of the cells that say whether a row is complete.
    """
    plain: dict[str, Any] = {"font_name": "Arial", "font_size": 10, "valign": "top"}
    title = book.add_format({**plain, "bold": True, "font_size": 14})
    strong = book.add_format({**plain, "bold": True})
    wrapped = book.add_format({**plain, "text_wrap": True})
    text = book.add_format(plain)
    page.hide_gridlines(2)
    page.set_column(0, 0, 24)
    page.set_column(1, 1, 90)
    page.write_string(0, 0, f"Field sheet: {sheet.site_name or sheet.site}, round {sheet.round}", title)
    row = 2
    for name, value in _facts(sheet):
        page.write_string(row, 0, name, strong)
        page.write_string(row, 1, value, wrapped)
        row += 1
    page.write_string(row, 0, "Complete", strong)
    # With an empty result: programs that do not calculate on opening would show the 0 that is stored otherwise.
    page.write_formula(row, 1, f'=COUNTIF({states},"complete")&" of {len(sheet.wells)}"', text, "")
    page.write_string(row + 1, 0, "To be looked at again", strong)
    page.write_formula(row + 1, 1, f'=COUNTIF({states},"look again")&""', text, "")
    row += 3
    settings = {
        "tolerance": sheet.number(sheet.tolerance_m),
        "unit": sheet.unit,
        "season": SEASON_DAYS,
        "deviations": DEVIATIONS,
    }
    for heading, lines in (("How to fill it in", _HOW), ("Cautions", (*CAUTIONS, GOVERNS))):
        page.write_string(row, 0, heading, strong)
        for line in lines:
            words = line.format(**settings) if heading.startswith("How") else line
            page.write_string(row, 1, words, wrapped)
            # No program fits rows to wrapped text that another has written; about 108 letters of this face fill the
            # column.
            page.set_row(row, 13.5 * (1 + (len(words) - 1) // 108))
            row += 1
        row += 1
    page.set_landscape()
    page.fit_to_pages(1, 0)
    page.protect("", {"select_locked_cells": True})


def _facts(sheet: FieldSheet) -> list[tuple[str, str]]:
    span = f"{sheet.starts_on}" if len(sheet.days) == 1 else f"{sheet.starts_on} to {sheet.ends_on}"
    facts = [
        ("Site", f"{sheet.site}{f', {sheet.site_name}' if sheet.site_name else ''}"),
        ("Round", f"{sheet.round}{f', {sheet.purpose}' if sheet.purpose else ''}"),
        ("Days", f"{span}, local time ({sheet.time_zone})"),
        ("Crew", sheet.crew),
        ("Unit of depths", sheet.unit),
        ("Tapes on record", ", ".join(sheet.tapes)),
        ("Tape checks due", "; ".join(sheet.tapes_due)),
        ("Notes of the round", sheet.notes),
        ("Made from the record", f"as known on {sheet.known_on.text}"),
    ]
    return [(name, value) for name, value in facts if value]
