"""The field sheets of a round, on paper and as a workbook, gathered from the record and written."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pandas as pd
from sqlalchemy import Connection

from gwnet.analysis.fieldwork.field_sheet import FieldSheet, RoundFacts, field_sheet
from gwnet.analysis.fieldwork.planning import planned_wells, programme, standing
from gwnet.errors import NotFoundError, SettingsError
from gwnet.exchange.field_workbook import field_workbook
from gwnet.ingest.tables.declared import STATUSES
from gwnet.reporting.definition.parse import safe_name
from gwnet.reporting.pdf.field_sheet import field_sheet_pdf
from gwnet.store.fetch import programme as fetch_programme
from gwnet.store.fetch import registry as fetch
from gwnet.whole_files import write_files


def gather(
    connection: Connection,
    site: pd.Series,
    round_code: str,
    *,
    date: dt.date | None = None,
    known_on: dt.datetime | None = None,
) -> FieldSheet:
    """Gather what the field sheets of a round say.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    site : pandas.Series
        Settings of the site.
    round_code : str
        Code of the round.
    date : datetime.date, optional
        Day for which the sheets are made; all days of the round unless given.
    known_on : datetime.datetime, optional
        Record as known at this time.

    Returns
    -------
    gwnet.analysis.fieldwork.field_sheet.FieldSheet
        Content of the sheets.

    Raises
    ------
    NotFoundError
        If the round is not on record.
    SettingsError
        If none of its wells stands on its first day, or the date is none of its days.
    """
    rounds = fetch_programme.rounds(connection, known_on, str(site["site"]))
    found = rounds[rounds["round"] == round_code]
    if found.empty:
        message = f"There is no round {round_code!r} at site {site['site']}."
        raise NotFoundError(message, fix="Plan it with 'gwnet round plan', or load it in a table rounds.")
    row = found.iloc[0]
    starts_on, ends_on = row["starts_on"], row["ends_on"] or row["starts_on"]
    if date is not None and not starts_on <= date <= ends_on:
        message = f"{date} is no day of round {round_code}, {starts_on} to {ends_on}."
        raise SettingsError(message, fix="Give one of its days, or plan the round anew.")
    planned = RoundFacts(
        code=round_code,
        starts_on=date or starts_on,
        ends_on=date or ends_on,
        purpose=row["purpose"],
        crew=row["crew"],
        notes=row["notes"],
    )
    made = programme(connection, site, planned.starts_on, known_on)
    stand, _ = standing(made)
    order = [code for code in row["wells"] if code in stand] if row["wells"] else planned_wells(made, None)
    if not order:
        message = f"None of the wells of round {round_code} stands on {planned.starts_on}."
        raise SettingsError(message, fix="Plan the round anew with 'gwnet round plan'.")
    moment = known_on or fetch.cut_off(connection)
    assert moment is not None  # a round is on record
    return field_sheet(made, planned, order, statuses=STATUSES, known_on_utc=moment)


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
    if len(sheet.days) == 1:
        stem += f"_{sheet.starts_on}"
    files = {
        f"{stem}_field_sheet.pdf": field_sheet_pdf(sheet, page=page),
        f"{stem}_field_sheet.xlsx": field_workbook(sheet),
    }
    return list(write_files(out, files, "field sheets").values())
