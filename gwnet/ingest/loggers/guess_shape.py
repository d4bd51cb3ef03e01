"""Where the table of an unknown logger file is: encoding, delimiter, headings, first row, footer, decimal mark."""

from __future__ import annotations

import codecs
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final, NoReturn

from gwnet.errors import IngestError, LayoutError, UnreadableFileError
from gwnet.ingest.loggers.guess_notes import Notes
from gwnet.ingest.loggers.guess_times import looks_like_clock, looks_like_count, looks_like_elapsed, looks_like_stamp
from gwnet.ingest.loggers.layout import Reference
from gwnet.ingest.loggers.plan import split_line
from gwnet.ingest.loggers.sheets import sheet_text
from gwnet.ingest.loggers.text import Head, read_head
from gwnet.ingest.loggers.words import counts_by_heading, is_note, names_time, unit_of

#: In this order: of equally many rows the first holds, and with decimal commas a comma splits rows too.
_DELIMITERS: Final[dict[str, str]] = {"\t": "tab", ";": "semicolon", ",": "comma", "|": "bar", " ": "blank"}
#: Sheets of a workbook that are looked at.
_MOST_SHEETS: Final[int] = 20

_NUMBER: Final = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)*|[.,]\d+)(?:[eE][+-]?\d+)?")


@dataclass
class Shape:
    """Where a table is and how it is written.

    Attributes
    ----------
    head : gwnet.ingest.loggers.text.Head
        Beginning of the file.
    encoding, delimiter : str
        How the text is written.
    sheet : str
        Sheet of a workbook of several; empty for no choice.
    heading_line : int
        Line of the headings; 0 for none.
    first_line : int
        First line of the table.
    units_below : bool
        Whether a line of units is below the headings.
    names : list of str
        Headings.
    units : list of str
        Units below them, empty where there are none.
    rows : list of list of str
        The first rows.
    """

    head: Head
    encoding: str
    delimiter: str
    heading_line: int
    first_line: int
    units_below: bool = False
    sheet: str = ""
    names: list[str] = field(default_factory=list)
    units: list[str] = field(default_factory=list)
    rows: list[list[str]] = field(default_factory=list)

    def above(self) -> list[str]:
        """Return the lines down to the headings."""
        return list(self.head.lines[: self.heading_line or self.first_line - 1])


def find_table(path: Path, notes: Notes) -> Shape:
    """Find the table of a file.

    Parameters
    ----------
    path : pathlib.Path
        The file.
    notes : Notes
        Takes reasons and doubts.

    Returns
    -------
    Shape
        Where it is and how it is written.

    Raises
    ------
    gwnet.errors.UnreadableFileError
        If the file is no text, empty, or has no readings.
    gwnet.errors.LayoutError
        If no rows with a time are found, or the cells of rows and headings do not fit together.
    """
    encoding, *why = _encoding(path)
    notes.add(*why)
    sheet, head = _sheet(path, encoding, notes)
    delimiter, count, first = _table(head)
    shape = Shape(head, "utf-8" if head.mark and encoding == "utf-8" else encoding, delimiter, 0, first)
    shape.sheet = sheet
    shape.rows = [cells for cells in (split_line(x, delimiter) for x in head.lines[first - 1 :]) if any(cells)]
    _headings(shape, count)
    if shape.heading_line:
        preamble = shape.heading_line - 1
        lead = f", after {preamble} line{'s' * (preamble > 1)} of preamble" if preamble else ""
        notes.add(f"headings are in line {shape.heading_line}{lead}; the table begins in {shape.first_line}")
    notes.add(f"cells are separated by a {_DELIMITERS[delimiter]}")
    _refuse_loose_decimals(shape, count)
    longest = max(map(len, shape.rows), default=0)
    beyond = [[cell for cell in row[len(shape.names) :] if cell] for row in shape.rows]
    noted = [cells for cells in beyond if cells]
    # a few words here and there are notes; a cell in each row, or a number, may be of a column
    few = len(noted) <= len(shape.rows) // 5 and all(is_note(cell) for cells in noted for cell in cells)
    if shape.names and noted and few:
        notes.add(f"{len(noted)} rows have words right of the headings, such as {noted[0][0]!r}: they are notes")
    elif shape.names and (noted or longest < len(shape.names)):
        lengths = f"rows have {longest} cells at most and the headings {len(shape.names)}"
        notes.add(doubt=f"{lengths}: what is under a heading may not be of it")
    return shape


def _sheet(path: Path, encoding: str, notes: Notes) -> tuple[str, Head]:
    """Return the sheet of a workbook that holds readings, empty where no choice is to be made, and the text."""
    first = sheet_text(path)
    if first is None:
        return "", read_head(path, encoding)
    # The readings often stand behind a sheet about the instrument.
    heads = {title: read_head(path, "utf-8", title) for title in first.titles[:_MOST_SHEETS]}
    with_readings = [title for title, head in heads.items() if _best_table(head) is not None]
    chosen = with_readings[0] if with_readings else first.title
    notes.add(f"the file is a workbook; its sheet {chosen!r} is read")
    others = ", ".join(map(repr, with_readings[1:4]))
    if others:
        notes.add(doubt=f"sheet {others} holds readings as well: give sheet under [text]")
    return chosen if len(first.titles) > 1 else "", heads[chosen]


def _encoding(path: Path) -> tuple[str, str, str]:
    """Return encoding, reason and doubt, from all bytes of the file."""
    try:
        with path.open("rb") as file:
            start = file.read(1 << 14)
            if start.startswith(b"PK\x03\x04"):
                return "utf-8", "", ""  # a workbook is unpacked later
            if start.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
                return "utf-16", "the byte-order mark says UTF-16", ""
            # UTF-16 without a mark, of mostly Latin letters; degree and micro signs stay below 256 as well.
            if len(start) > 20 and start[1::2].count(0) > 0.8 * len(start[1::2]):
                return "utf-16", "every other byte is zero, as in UTF-16", ""
            # All bytes, as the first sign beyond ASCII may stand in a note far down; piece by piece, so that a sign
            # that two pieces share is no error.
            decoder = codecs.getincrementaldecoder("utf-8")("strict")
            high = False
            piece = start
            while piece:
                decoder.decode(piece)
                high = high or not piece.isascii()
                piece = file.read(1 << 20)
            decoder.decode(b"", final=True)
    except OSError:
        return "utf-8", "", ""  # read_head reports what is wrong
    except UnicodeDecodeError:
        return _one_byte(path)
    if start.startswith(codecs.BOM_UTF8):
        return "utf-8", "the byte-order mark says UTF-8", ""
    return "utf-8", "all bytes are UTF-8" if high else "", ""


def _one_byte(path: Path) -> tuple[str, str, str]:
    content = path.read_bytes()
    if content.startswith(codecs.BOM_UTF8):
        return "utf-8", "the byte-order mark says UTF-8", "some bytes are no UTF-8: signs of the text are garbled"
    # Signs in the encoding of Windows, control characters in Latin-1.
    special = sum(content.count(bytes([sign])) for sign in range(0x80, 0xA0))
    if not special:
        return "latin-1", "the bytes are not UTF-8, and all have a sign in Latin-1", ""
    try:
        content.decode("cp1252")
    except UnicodeDecodeError:
        return "latin-1", "the bytes are not UTF-8", "some signs are garbled; the numbers are read as they are"
    return "cp1252", "the bytes are not UTF-8, and all have a sign in Windows-1252", ""


def _is_row(cells: Sequence[str]) -> bool:
    """Return whether cells look like a row of readings: a time and something more."""
    timed = any(looks_like_stamp(cell) or looks_like_count(cell) for cell in cells)
    return len(cells) > 1 and timed and any(_NUMBER.fullmatch(cell) and not looks_like_stamp(cell) for cell in cells)


def _table(head: Head) -> tuple[str, int, int]:
    """Return the delimiter, the usual number of cells, and the first line of the table."""
    # Elapsed times last: they are plain numbers, which a table of stamps has beside them.
    best = _best_table(head) or _elapsed_table(head)
    return best or _refuse_no_rows(head)


def _elapsed_table(head: Head) -> tuple[str, int, int] | None:
    """Return delimiter, number of cells and first line of a table of elapsed times; None for none."""
    for delimiter in _DELIMITERS:
        for n, line in enumerate(head.lines[:3_000], 1):
            cells = split_line(line, delimiter)
            place = next((at for at, cell in enumerate(cells) if counts_by_heading(cell) == 1), None)
            if place is None or len(cells) < 2:
                continue
            for number, below in enumerate(head.lines[n : n + 4], n + 1):
                row = split_line(below, delimiter)
                if len(row) > place and looks_like_elapsed(row[place]) and len(row) > 1:
                    return delimiter, len(row), number
    return None


def _best_table(head: Head) -> tuple[str, int, int] | None:
    """Return the delimiter, the usual number of cells and the first line of rows with a time; None for none."""
    best: tuple[int, int, str, int] | None = None
    sample = head.lines[:3_000]
    for delimiter in _DELIMITERS:
        # A date and its clock have a blank between them in any table.
        if delimiter == " " and best is not None:
            break
        rows = [(n, split_line(line, delimiter)) for n, line in enumerate(sample, 1) if delimiter in line]
        rows = [(n, cells) for n, cells in rows if _is_row(cells)]
        if not rows:
            continue
        width, often = Counter(len(cells) for _, cells in rows).most_common(1)[0]
        # Not the first row with a time: the preamble may give when the instrument was started and its number.
        first = next(n for n, cells in rows if len(cells) >= width)
        if best is None or often > best[0]:
            best = (often, width, delimiter, first)
    return None if best is None else (best[2], best[1], best[3])


def _refuse_no_rows(head: Head) -> NoReturn:
    where = str(head.path)
    headings = [n for n, line in enumerate(head.lines, 1) if names_time(line) and re.search(r"[,;\t|]", line)]
    if headings and head.whole:
        below = [line for line in head.lines[headings[0] :] if line.strip(" ,;\t|")]
        if not below:
            message = f"The file has headings in line {headings[0]} and no readings below them."
            raise UnreadableFileError(message, where=where, fix="Download it again; nothing was recorded in it.")
    message = (
        "No rows were found that hold a date and a number, separated by commas, semicolons, tabs, bars or blanks "
        f"(the file begins with {head.lines[0][:60]!r})."
    )
    fix = "Check that it is an export of readings; if it is, write a layout by hand and give it with --layout."
    raise LayoutError(message, where=where, fix=fix)


def _headings(shape: Shape, count: int) -> None:
    """Find the headings above the table, and a line of units between."""
    lines = shape.head.lines
    above = [n for n in range(shape.first_line - 1, 0, -1) if lines[n - 1].strip(f" {shape.delimiter}")]
    # Between headings and rows stand a line or two, of units or a rule; further up begins the preamble.
    for step, line in enumerate(above[:3]):
        cells = split_line(lines[line - 1], shape.delimiter)
        timed = any(names_time(cell) or counts_by_heading(cell) == 1 for cell in cells)
        if len(cells) < 2 or not timed or any(map(looks_like_stamp, cells)):
            continue
        shape.heading_line = line
        shape.names = [" ".join(cell.split()) for cell in cells]
        if step == 1 and above[0] == line + 1 and _are_units(lines[above[0] - 1], shape.delimiter):
            shape.units_below = True
            shape.units = split_line(lines[above[0] - 1], shape.delimiter)
        break
    # Headings in a language whose word for time is not known here.
    if not shape.names and above and above[0] == shape.first_line - 1:
        cells = split_line(lines[above[0] - 1], shape.delimiter)
        if len(cells) >= max(2, count - 1) and not any(_NUMBER.fullmatch(cell) for cell in cells):
            shape.heading_line = above[0]
            shape.names = [" ".join(cell.split()) for cell in cells]
    if shape.heading_line:
        shape.units += [""] * (len(shape.names) - len(shape.units))


def _are_units(line: str, delimiter: str) -> bool:
    cells = [cell.strip("[]() ") for cell in split_line(line, delimiter) if cell.strip("[]() ")]
    kinds = ("water pressure", "water column", "water temperature", "conductivity", "battery")
    return any(unit_of(cell, kind) for cell in cells for kind in kinds)


def _refuse_loose_decimals(shape: Shape, count: int) -> None:
    """Refuse rows that have more cells than headings because of decimal commas between commas."""
    if shape.delimiter != "," or not shape.names or count <= len(shape.names):
        return
    # The part behind a decimal comma is digits only.
    extra = [cell for row in shape.rows[:50] for cell in row[len(shape.names) :] if cell]
    if extra and all(cell.isdigit() for cell in extra):
        message = (
            f"The headings have {len(shape.names)} cells and the rows {count}: numbers with a decimal comma are "
            "between commas, so cells and decimals cannot be distinguished."
        )
        place = f"{shape.head.path}, row {shape.first_line}"
        fix = "Export again with semicolons or tabs between the cells, or with decimal points."
        raise IngestError(message, where=place, fix=fix)


def reference(shape: Shape, place: int) -> Reference:
    """Return how a layout names a column.

    Parameters
    ----------
    shape : Shape
        The table.
    place : int
        Place of the column.

    Returns
    -------
    int or str
        Its heading; a pattern of its beginning, where an offset or a number that could be a serial number follows; its
        number, where another has the same heading.
    """
    names = shape.names
    name = names[place]
    changing = re.search(r"\d{4,}|(?:GMT|UTC)\s*[+-]", name)
    if changing is not None:
        start = re.split(r"[(\[]", name[: changing.start()])[0].rstrip(" ,;:-")
        # The same export in another encoding has one to three signs in place of a degree sign.
        pattern = re.sub(r"[^\x00-\x7f]+", ".{1,3}", f"^{re.escape(start)}".replace(r"\ ", " "))
        if len(start) > 2 and [n for n, other in enumerate(names) if re.search(pattern, other)][:1] == [place]:
            return f"/{pattern}/"
    # A heading that occurs twice means its first column only; the others go by number.
    same = [n for n, other in enumerate(names) if other.casefold() == name.casefold()]
    slashed = len(name) > 2 and name[0] == name[-1] == "/"
    return name if name and same[0] == place and not slashed else place + 1


def footer_of(lines: Sequence[str], delimiter: str) -> str:
    """Return the first of the last lines of a file that is no row of its table, empty where there is none.

    Parameters
    ----------
    lines : sequence of str
        The last lines.
    delimiter : str
        Sign between cells.

    Returns
    -------
    str
        The line.
    """
    heading = ""
    for line in reversed([line for line in lines if line.strip()]):
        cells = split_line(line, delimiter)
        if any(looks_like_stamp(cell) or looks_like_clock(cell) or looks_like_count(cell) for cell in cells):
            break
        # Numbers without words may be a row that was cut off, and no footer.
        if len(re.findall(r"[^\W\d_]", line)) < 3:
            return ""
        heading = line
    return heading


def decimal_of(cells: Sequence[str], delimiter: str, notes: Notes) -> tuple[str, str]:
    """Return the decimal mark and the mark of thousands of numbers.

    Parameters
    ----------
    cells : sequence of str
        Cells of columns of values.
    delimiter : str
        Sign between cells.
    notes : Notes
        Takes reasons and doubts.

    Returns
    -------
    tuple of str
        Decimal mark; mark of thousands, empty where there is none.
    """
    points = [cell for cell in cells if re.fullmatch(r"[+-]?\d*\.\d+(?:[eE][+-]?\d+)?", cell)]
    commas = [cell for cell in cells if re.fullmatch(r"[+-]?\d*,\d+(?:[eE][+-]?\d+)?", cell)]
    # A number with both marks decides: each of them alone may be either.
    for decimal, thousands in ((",", "."), (".", ","), (".", "'"), (",", "'"), (".", " "), (",", " ")):
        both = rf"[+-]?\d{{1,3}}(?:{re.escape(thousands)}\d{{3}})+{re.escape(decimal)}\d+"
        example = next((cell for cell in cells if re.fullmatch(both, cell)), None)
        if example is not None:
            notes.add(f"numbers have {thousands!r} between thousands, as in {example!r}")
            return decimal, thousands
    if commas and len(commas) >= len(points):
        notes.add(f"numbers have a decimal comma, as in {commas[0]!r}")
        if points:
            notes.add(doubt=f"{len(points)} numbers have a point, such as {points[0]!r}")
        elif all(re.fullmatch(r"[+-]?\d{1,3},\d{3}", cell) for cell in commas) and delimiter != ";":
            notes.add(doubt=f"the comma in {commas[0]!r} could also be between thousands")
        return ",", ""
    if commas:
        notes.add(doubt=f"{len(commas)} numbers have a comma, such as {commas[0]!r}")
    return ".", ""
