"""Rows of text of any file: delimited or fixed text, workbook, ODS, GeoPackage, Parquet, or the answer to a query.

No headings are looked for here: a grid is all lines of a file with their numbers.
"""

from __future__ import annotations

import codecs
import csv
import hashlib
import io
import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from pathlib import Path
from typing import Any, Final

from gwnet.errors import UnreadableFileError
from gwnet.ingest.readers import read_bytes
from gwnet.ingest.readers.delimited import has_open_end

#: Delimiters that are tried, those that no number holds first.
DELIMITERS: Final[tuple[str, ...]] = ("\t", ";", "|", ",")
#: Word for any number of blanks between cells.
BLANKS: Final = "blanks"
#: Endings of files that are no text.
BINARY: Final[tuple[str, ...]] = (".xlsx", ".xlsm", ".ods", ".gpkg", ".parquet", ".pq", ".geoparquet")
#: Where the last column of fixed text ends.
_WIDEST: Final = 9_999
_OF_SHEET: Final = re.compile(
    rf"(.+?(?:{'|'.join(map(re.escape, BINARY))}))\.(.+?)(?:\.rejected(?:-\d+)?)+\.csv", re.IGNORECASE
)


@dataclass(frozen=True)
class Grid:
    """Rows of text.

    Attributes
    ----------
    file : str
        Name of the file, with its sheet or layer.
    title : str
        The file's stem, or the sheet's or layer's name.
    sheet : str
        Sheet or layer; empty for text.
    rows : list of list of str
        Cells of each line.
    numbers : list of int
        Line of each row in the file, from 1.
    delimiter : str
        Sign between cells; empty where there is none.
    encoding : str
        Encoding of the text; empty where it is none.
    headed : bool
        Whether the first row holds the names of columns for certain, as in a database.
    open_row : int or None
        Number of the last row, where the text ends without the end of its line.
    formulas : frozenset of tuple of int
        Number of the row and place of each cell that was worked out by a formula, of ODS alone.
    placed : str
        Projected coordinate system of a layer whose places are in its geometry alone; empty for any other.
    """

    file: str
    title: str
    sheet: str
    rows: list[list[str]]
    numbers: list[int]
    delimiter: str = ""
    encoding: str = ""
    headed: bool = False
    open_row: int | None = None
    formulas: frozenset[tuple[int, int]] = frozenset()
    placed: str = ""


@dataclass(frozen=True)
class SourceFile:
    """A file that was read, with its grids.

    Attributes
    ----------
    name : str
        Its name; of a query the address without a password.
    content : bytes
        Its bytes; of a query the rows as CSV.
    sha256 : str
        Their hash.
    text : str
        The text, for files that are text.
    grids : list of Grid
        Its grids, delimited text as its delimiter was found out.
    """

    name: str
    content: bytes
    sha256: str
    text: str = ""
    grids: list[Grid] = field(default_factory=list)


def read_source(address: str, query: str = "") -> SourceFile:
    """Read a file, or the answer to a query.

    Parameters
    ----------
    address : str
        Path of a file, or SQLAlchemy URL of a database.
    query : str, optional
        The SQL, for a database.

    Returns
    -------
    SourceFile
        Bytes and grids.

    Raises
    ------
    gwnet.errors.UnreadableFileError
        If it cannot be read.
    """
    if "://" in address:
        from gwnet.ingest.mapping.binary_grids import query_grid

        grid = query_grid(address, query)
        # What is kept of a query is its answer: the same question may be answered otherwise tomorrow.
        content = as_csv(grid.rows)
        return SourceFile(grid.file, content, hashlib.sha256(content).hexdigest(), "", [grid])
    path = Path(address)
    content = read_bytes(path)
    sha256 = hashlib.sha256(content).hexdigest()
    if path.suffix.lower() in BINARY:
        from gwnet.ingest.mapping.binary_grids import binary_grids

        return SourceFile(path.name, content, sha256, "", binary_grids(path, content))
    text, encoding = decode(path.name, content)
    sheet = original_name(path.name)[1]
    if sheet:  # rows that came from a sheet go back to the mapping as rows of that sheet
        grid = text_grid(path.name, text, delimiter=",")
        return SourceFile(path.name, content, sha256, "", [replace(grid, title=sheet, sheet=sheet, delimiter="")])
    return SourceFile(path.name, content, sha256, text, [text_grid(path.name, text, encoding=encoding)])


def original_name(name: str) -> tuple[str, str]:
    """Return the name of the file, and of the sheet or layer, of which a file holds rejected rows.

    Parameters
    ----------
    name : str
        Name of a file, such as ``levels.rejected.csv`` or ``book.xlsx.Sheet1.rejected-2.csv``.

    Returns
    -------
    tuple of str
        Here ``levels.csv`` and nothing, ``book.xlsx`` and ``Sheet1``; any other name is its own.
    """
    found = _OF_SHEET.fullmatch(name)
    if found is not None:
        return found[1], found[2]
    return re.sub(r"(\.rejected(-\d+)?)+(?=(\.[^.]*)?$)", "", name), ""


def as_csv(rows: Iterable[Sequence[str]]) -> bytes:
    """Return rows of text as the bytes of a CSV file."""
    written = io.StringIO(newline="")
    csv.writer(written, lineterminator="\n").writerows(rows)
    return written.getvalue().encode("utf-8")


def decode(name: str, content: bytes, encoding: str = "") -> tuple[str, str]:
    r"""Return the text of a file and its encoding.

    Parameters
    ----------
    name : str
        Name of the file.
    content : bytes
        Its bytes.
    encoding : str, optional
        Encoding, where it is known.

    Returns
    -------
    tuple of str
        Text with ``\n`` at the end of lines; encoding.

    Raises
    ------
    gwnet.errors.UnreadableFileError
        If it is no text, or not in that encoding.
    """
    if content.startswith(codecs.BOM_UTF8):
        tried = ["utf-8-sig"]
    elif content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        tried = ["utf-16"]
    elif encoding:
        tried = [encoding]
    # UTF-16 without its mark: of most letters every other byte is zero.
    elif len(content) > 20 and content[1:4000:2].count(0) > 0.8 * len(content[1:4000:2]):
        tried = ["utf-16-le"]
    else:
        # UTF-8 first, as text of another encoding is hardly ever valid in it; latin-1 last, as it takes every byte.
        tried = ["utf-8", "cp1252", "latin-1"]
    if b"\x00" in content and not tried[0].startswith("utf-16"):
        message = "The file holds zero bytes: it is not text."
        raise UnreadableFileError(message, where=name, fix=f"Text, or one of {', '.join(BINARY)}, is read.")
    for one in tried:
        try:
            text = content.decode(one)
        except (UnicodeDecodeError, LookupError):
            continue
        plain = text.replace("\r\n", "\n").replace("\r", "\n")
        return plain, "utf-8" if one == "utf-8-sig" else one
    message = f"The file is not in the encoding {tried[0]}."
    raise UnreadableFileError(message, where=name, fix="Give another encoding, for example cp1252.")


def text_grid(
    name: str, text: str, *, delimiter: str = "", widths: tuple[int, ...] = (), comment: str = "", encoding: str = ""
) -> Grid:
    """Return the lines of delimited or fixed text as cells.

    Parameters
    ----------
    name : str
        Name of the file.
    text : str
        Its text.
    delimiter : str, optional
        Sign between cells; found out unless given.
    widths : tuple of int, optional
        Widths of the columns of fixed text.
    comment : str, optional
        Lines that begin so are left out.
    encoding : str, optional
        Encoding, to be noted.

    Returns
    -------
    Grid
        All lines.
    """
    sign = "" if widths else delimiter or find_delimiter(text)
    lines = text.split("\n")
    numbers = list(range(1, len(lines) + 1))
    if widths:
        numbers = [n for n, line in enumerate(lines, 1) if line.strip() and not (comment and line.startswith(comment))]
        rows = [_cut(lines[n - 1], widths) for n in numbers]
    elif sign == BLANKS:
        rows = [line.split() for line in lines]
    elif not sign:
        rows = [[line] for line in lines]
    else:
        rows, numbers = _split(name, text, sign, comment)
    is_open = bool(rows) and any(rows[-1]) and has_open_end(text)
    return Grid(
        name,
        Path(original_name(name)[0]).stem,
        "",
        rows,
        numbers,
        sign,
        encoding,
        open_row=numbers[-1] if is_open else None,
    )


def _cut(line: str, widths: tuple[int, ...]) -> list[str]:
    cells, place = [], 0
    for width in widths:
        cells.append(line[place : place + width].strip())
        place += width
    return [*cells, line[place:].strip()] if line[place:].strip() else cells


def _split(name: str, text: str, delimiter: str, comment: str) -> tuple[list[list[str]], list[int]]:
    # Remarks may be longer than the usual limit of 128 kB; an unclosed quote still runs into this one.
    csv.field_size_limit(1 << 20)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    rows: list[list[str]] = []
    numbers: list[int] = []
    before = 0
    try:
        for cells in reader:
            # A row begins in the line after the one where the last ended: cells in quotes run over several lines.
            number, before = before + 1, reader.line_num
            if comment and cells and cells[0].startswith(comment):
                continue
            rows.append(cells)
            numbers.append(number)
    except csv.Error as error:
        message = f"The file is not well-formed after line {before}: {error}."
        raise UnreadableFileError(message, where=name, fix="Check the quotes in that line.") from error
    return rows, numbers


def find_delimiter(text: str) -> str:
    """Return the sign between the cells of a text: the one with which most lines have the same number of cells.

    Parameters
    ----------
    text : str
        The text.

    Returns
    -------
    str
        Delimiter; empty where no sign parts two lines.
    """
    # A part is enough to tell, and a file may have millions of lines.
    sample = [line for line in text[: 1 << 18].split("\n")[:2000] if line.strip()]
    best, chosen = (0, 0), ""
    for delimiter in DELIMITERS:
        try:
            widths = Counter(len(cells) for cells in csv.reader(sample, delimiter=delimiter) if len(cells) > 1)
        except csv.Error:
            continue
        if not widths:
            continue
        width, often = max(widths.items(), key=lambda item: (item[1], item[0]))
        # In twentieths, so that a few odd lines do not decide over the number of columns.
        score = (round(20 * often / len(sample)), width)
        if score > best:
            best, chosen = score, delimiter
    # Blanks at last: every sentence has them.
    tokens = Counter(len(line.split()) for line in sample)
    if not chosen and len(sample) > 2 and max(tokens) > 1 and tokens[max(tokens)] >= 0.9 * len(sample):
        return BLANKS
    return chosen


def find_widths(text: str) -> tuple[int, ...]:
    """Return the widths of the columns of fixed text, by the places where every line has a blank.

    Parameters
    ----------
    text : str
        The text.

    Returns
    -------
    tuple of int
        Widths; none where lines have no blanks in common.
    """
    lines = [line.expandtabs() for line in text[: 1 << 18].split("\n")[:2000] if line.strip()]
    usual = Counter(len(line.split()) for line in lines)
    count = max(usual, key=lambda number: usual[number]) if usual else 0
    # By the lines that look alike: a title or a total would close every gap between columns.
    lines = [line for line in lines if len(line.split()) == count]
    if count < 2 or len(lines) < 3:
        return ()
    longest = max(map(len, lines))
    blank = [all(place >= len(line) or line[place] == " " for line in lines) for place in range(longest)]
    starts = [place for place in range(1, longest) if blank[place - 1] and not blank[place]]
    edges = [0, *starts, _WIDEST]  # the last column goes on, however long a line is
    return tuple(after - before for before, after in pairwise(edges)) if starts else ()


def text_of(value: Any) -> str:
    """Return a value of a database or workbook as the text that a CSV file would hold.

    Parameters
    ----------
    value : object
        The value.

    Returns
    -------
    str
        Its text; empty for none.
    """
    import datetime as dt
    import math

    if value is None or (isinstance(value, float) and math.isnan(value)):
        return ""
    if isinstance(value, dt.datetime):
        # Midnight is how a date is stored as a moment.
        if value.time() == dt.time() and value.tzinfo is None:
            return value.date().isoformat()
        return value.isoformat(timespec="microseconds" if value.microsecond else "seconds")
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    if isinstance(value, float):
        # Workbooks keep 5 as 5.0; codes and years would not be found with the point.
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    return str(value)
