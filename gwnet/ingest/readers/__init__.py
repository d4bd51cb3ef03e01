"""From the bytes of a file to sheets of text."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from gwnet.errors import UnreadableFileError
from gwnet.ingest.tables.raw import RawSheet

DELIMITED: Final[tuple[str, ...]] = (".csv", ".tsv", ".txt")
WORKBOOKS: Final[tuple[str, ...]] = (".xlsx",)
#: Files whose sheets, layers or tables have the names of ours.
NAMED: Final[tuple[str, ...]] = (".ods", ".gpkg", ".parquet")
SUFFIXES: Final[tuple[str, ...]] = (*DELIMITED, *WORKBOOKS, *NAMED)

#: Largest file that is read [bytes].
LARGEST_FILE: Final[int] = 1 << 30


def read_bytes(path: Path) -> bytes:
    """Return the bytes of a file.

    Raises
    ------
    UnreadableFileError
        If it does not exist, cannot be read, is empty or too large.
    """
    try:
        # Asked before the bytes are read: a wrong file of many gigabytes would not fit in memory.
        size = path.stat().st_size
        if size > LARGEST_FILE:
            message = f"The file has {size / 1e9:.1f} GB; at most {LARGEST_FILE / 1e9:.1f} GB are read at once."
            raise UnreadableFileError(message, where=str(path), fix="Split it, for example by year.")
        content = path.read_bytes()
    except FileNotFoundError:
        raise UnreadableFileError("There is no such file or folder.", where=str(path), fix="Check the name.") from None
    except OSError as error:
        message = f"The file cannot be read: {error.strerror or error}."
        raise UnreadableFileError(message, where=str(path), fix="Check its permissions.") from error
    if not content.strip():
        raise UnreadableFileError("The file is empty.", where=str(path), fix="Save it again, or leave it out.")
    return content


def read_sheets(name: str, content: bytes) -> list[RawSheet]:
    """Return the sheets of a file.

    Parameters
    ----------
    name : str
        Name of the file; its ending says what it is.
    content : bytes
        Its bytes.

    Returns
    -------
    list of gwnet.ingest.tables.raw.RawSheet
        One for delimited text, one for each sheet that is not empty for a workbook, one for each layer or table.

    Raises
    ------
    UnreadableFileError
        If the file is not what its name says, or of a kind that is not read.
    """
    suffix = Path(name).suffix.lower()
    if suffix in DELIMITED:
        from gwnet.ingest.readers.delimited import read_delimited

        return [read_delimited(name, content)]
    if suffix in WORKBOOKS:
        from gwnet.ingest.readers.workbook import read_workbook

        return read_workbook(name, content)
    if suffix in NAMED:
        from gwnet.ingest.mapping.named_sheets import read_named

        return read_named(name, content)
    message = f"Files ending in {suffix or 'nothing'!r} are not read."
    fix = f"Save it as one of: {', '.join(SUFFIXES)}."
    if suffix == ".xml":
        fix = f"A WaterML document is loaded by 'gwnet import {name}'; save others as one of: {', '.join(SUFFIXES)}."
    raise UnreadableFileError(message, where=name, fix=fix)
