"""The field sheets of a round, on paper and as a workbook, gathered from the record and written."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

from gwnet.analysis.fieldwork.field_sheet import FieldSheet, field_sheet
from gwnet.analysis.fieldwork.planning import Programme, planned_wells
from gwnet.errors import NotFoundError, SettingsError
from gwnet.exchange.field_workbook import field_workbook
from gwnet.reporting.definition.parse import safe_name
from gwnet.reporting.pdf.field_sheet import field_sheet_pdf
from gwnet.store.contract import STATUSES
from gwnet.store.fetch.round_values import RoundValues
from gwnet.store.snapshot import Snapshot
from gwnet.whole_files import write_files


def gather(record: Snapshot, round_code: str, *, date: dt.date | None = None) -> FieldSheet:
    """Gather what the field sheets of a round say.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of one site.
    round_code : str
        Code of the round.
    date : datetime.date, optional
        Day for which the sheets are made; all days of the round unless given.

    Returns
    -------
    gwnet.analysis.fieldwork.field_sheet.FieldSheet
        Content of the sheets.

    Raises
    ------
    NotFoundError
        If the round is not on record.
    SettingsError
        If none of its wells is in use on its first day, or the date is none of its days.
    """
    rounds = record.rounds[record.rounds["round"] == round_code]
    if rounds.empty:
        message = f"There is no round {round_code!r} at site {record.site}."
        raise NotFoundError(message, fix="Plan it with 'gwnet rounds plan', or load it in a table rounds.")
    row = rounds.iloc[0]
    # A round of one day may be on record without its end.
    starts_on, ends_on = row["starts_on"], row["ends_on"] or row["starts_on"]
    if date is not None and not starts_on <= date <= ends_on:
        message = f"{date} is no day of round {round_code}, {starts_on} to {ends_on}."
        raise SettingsError(message, fix="Give one of its days, or plan the round anew.")
    # As of the day of the visit: what is due and which tape is in service may differ between days of a round.
    planning = Programme(record, date or starts_on)
    usable = planning.wells_in_use
    order = [code for code in row["wells"] if code in usable] if row["wells"] else planned_wells(planning, None)
    if not order:
        message = f"None of the wells of round {round_code} is in use on {planning.on}."
        raise SettingsError(message, fix="Plan the round anew with 'gwnet rounds plan'.")
    state = record.state
    assert state is not None  # a round is on record
    texts = {name: row[name] for name in ("purpose", "crew", "notes")}
    planned = RoundValues(planning.on, date or ends_on, tuple(order), **texts)
    return field_sheet(planning, round_code, planned, statuses=STATUSES, known_on=state)


def write_field_sheets(sheet: FieldSheet, out: Path, *, page: str = "A4") -> list[Path]:
    """Write the field sheets of a round: a PDF to print and a workbook to fill in, both or none.

    Parameters
    ----------
    sheet : gwnet.analysis.fieldwork.field_sheet.FieldSheet
        Content.
    out : pathlib.Path
        Folder; made when it does not exist.
    page : str, optional
        ``A4`` or ``Letter``.

    Returns
    -------
    list of pathlib.Path
        The PDF and the workbook.

    Raises
    ------
    OutputError
        If the folder cannot be written.
    """
    stem = f"{safe_name(sheet.site)}_{safe_name(sheet.round)}"
    # Sheets of several days of one round must not replace each other in a folder.
    if len(sheet.days) == 1:
        stem += f"_{sheet.starts_on}"
    files = {
        f"{stem}_field_sheet.pdf": field_sheet_pdf(sheet, page=page),
        f"{stem}_field_sheet.xlsx": field_workbook(sheet),
    }
    return list(write_files(out, files, "field sheets").values())
