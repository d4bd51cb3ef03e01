"""Serial numbers that files on record give, beside those of the instruments that they were loaded for.

The number is read again from the kept bytes of a file, by the layout that it was loaded with: where the number of the
instrument is corrected later, the matter is settled.
"""

from __future__ import annotations

import datetime as dt
import tempfile
from pathlib import Path
from typing import Final

import pandas as pd
from sqlalchemy import Connection

from gwnet.errors import IngestError
from gwnet.ingest.loggers.layout import parse_layout
from gwnet.ingest.loggers.plan import serial_of
from gwnet.ingest.loggers.remembered import plain_serial
from gwnet.ingest.loggers.text import HEAD, read_head
from gwnet.store.fetch import samples as fetch_samples
from gwnet.store.fetch.programme import instruments
from gwnet.store.fetch.sources import write_source

#: Columns of `find_other_serials`.
OTHER_SERIAL_COLUMNS: Final = ("instrument", "quantity", "file", "given", "recorded", "first_utc", "last_utc")


def find_other_serials(connection: Connection, known_on: dt.datetime | None = None) -> pd.DataFrame:
    """Return the files on record that give another serial number than that of their instrument.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection of a reading unit of work.
    known_on : datetime.datetime, optional
        The record as it was known then.

    Returns
    -------
    pandas.DataFrame
        Columns of `OTHER_SERIAL_COLUMNS`, one row a file, in order of loading; first and last are of its samples.
    """
    downloads = fetch_samples.downloads(connection, known_on)
    table = instruments(connection, known_on)
    recorded = {
        str(code): str(serial)
        for code, serial in zip(table["instrument"], table["serial"], strict=True)
        if plain_serial(serial)
    }
    downloads = downloads[downloads["instrument"].isin(recorded) & downloads["source_file_id"].notna()]
    downloads = downloads[downloads["layout_text"].fillna("") != ""]
    rows = []
    for _, of_file in downloads.groupby(["source_file_id", "instrument"], sort=False):
        first = of_file.iloc[0]
        given = _serial_in(connection, first)
        own = recorded[str(first["instrument"])]
        if plain_serial(given) and plain_serial(given) != plain_serial(own):
            times = (of_file["first_utc"].min(), of_file["last_utc"].max())
            rows.append((first["instrument"], first["quantity"], first["file"], given, own, *times))
    found = pd.DataFrame(rows, columns=list(OTHER_SERIAL_COLUMNS))
    return found.astype(dict.fromkeys(("first_utc", "last_utc"), "datetime64[us, UTC]"))


def _serial_in(connection: Connection, download: pd.Series) -> str:
    """Return the serial number that a kept file gives; empty for none."""
    try:
        layout = parse_layout(str(download["layout_text"]), where="layout on record")
        with tempfile.TemporaryDirectory() as folder:
            # a workbook is read whole, of text its beginning
            is_workbook = bool(layout.sheet) or str(download["file"]).lower().endswith((".xlsx", ".xlsm"))
            most = None if is_workbook else HEAD + 1
            path = write_source(connection, int(download["source_file_id"]), Path(folder), most_bytes=most)
            return serial_of(layout, read_head(path, layout.encoding, layout.sheet)) or ""
    except IngestError:
        return ""  # what cannot be read again gives no number to compare
